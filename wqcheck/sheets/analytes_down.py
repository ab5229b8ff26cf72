"""Turns a sheet with a column of analyte names into a long table (a result column) or a crosstab (samples across)."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace

from wqcheck.parameters import normalise
from wqcheck.sheets.content import Kind, Profile, kind_of
from wqcheck.sheets.grid import Cells
from wqcheck.sheets.grouped_samples import with_groups, with_headings_above
from wqcheck.sheets.headers import Probe
from wqcheck.sheets.headings import heading_role
from wqcheck.sheets.result_names import result_by_parts_of_name
from wqcheck.sheets.table import IDENTITY, Column, Table

_IDENTIFIER = re.compile(
    r"(.* )?(id|ids|no|nr|num|number|numero|nummer|codes?|cod|codigo|ref|reference|key|index|item)"
)
"""Headings of numbers that name things; a sample that stands above results has a number or name behind such a word."""


def analytes_down(
    cells: Cells, probe: Probe, header: int | None, columns: dict[int, Column], profiles: list[Profile], analytes: int
) -> Table | str:
    """Return the layout of a table whose column *analytes* names one analyte per row, or why there is none."""
    columns = {c: Column("", column.heading) if column.role == "analyte" else column for c, column in columns.items()}
    columns[analytes] = Column("parameter", columns[analytes].heading)
    columns = columns if header is None else with_headings_above(cells, header, columns)
    columns = _with_unit_column(columns, profiles)
    first = 0 if header is None else header + 1
    named = [c for c, column in columns.items() if column.role == "result" and profiles[c].filled]
    named = named or result_by_parts_of_name(columns, profiles, analytes)
    columns |= {c: replace(columns[c], role="result") for c in named}
    if named:
        table = Table(kind="long", header=header, first=first, columns=columns)
        grouped = with_groups(cells, table)
        if grouped is not None:
            return grouped
        best = max(named, key=lambda c: (round(profiles[c].result_like, 1), -c))
        for c in set(named) - {best}:
            columns[c] = other_result(columns[c], profiles[c])
        if profiles[best].result_like > 0.15 or len(named) == 1:
            return Table(
                kind="long", header=header, first=first, columns=columns, why="analyte column and result column"
            )
    results = _crosstab_results(columns, profiles, analytes)
    if not results:
        return "analyte names were found, but no column with results beside them"
    columns |= {c: _of_sample(columns[c]) for c in results}
    special = _crosstab_special_rows(cells, probe, header, analytes, results)
    return Table(
        kind="crosstab",
        header=header,
        first=first,
        columns=columns,
        special=special,
        why="analytes down, samples across",
    )


def _with_unit_column(columns: dict[int, Column], profiles: list[Profile]) -> dict[int, Column]:
    """Take a column of units without a heading for the unit column where none is headed so."""
    if any(column.role == "unit" for column in columns.values()):
        return columns
    free = [c for c, column in columns.items() if column.role in {"", "other"} and profiles[c].unit >= 0.6]
    return columns | {c: Column("unit", columns[c].heading) for c in free[:1]}


def other_result(column: Column, content: Profile) -> Column:
    """Keep a second result column as results when it holds numbers, else as the laboratory's flags."""
    if content.result_like > 0.5 and content.number > 0.3:
        return column
    return Column("qualifier", column.heading)


def _crosstab_results(columns: Mapping[int, Column], profiles: list[Profile], analytes: int) -> list[int]:
    """Return the columns that hold results, headed by a sample, point or date rather than by a role."""
    free = {"", "result", *IDENTITY, "sampled_at", "sampled_time"}
    found = [
        c for c, column in columns.items()
        if c != analytes and column.role in free and profiles[c].filled and profiles[c].result_like >= 0.4
        and not _IDENTIFIER.fullmatch(normalise(column.heading))
    ]  # fmt: skip
    unheaded = [c for c in found if c < analytes]
    return [c for c in found if c not in unheaded or not _counts_up(profiles[c])]


def _of_sample(column: Column) -> Column:
    """Return a column headed by a sample or point as results, with the concentration that its heading may state."""
    stated = column.unit is not None and "/" in column.unit.label
    return replace(column, role="result") if stated else Column("result", column.heading)


def _counts_up(content: Profile) -> bool:
    return content.distinct == content.filled and content.number > 0.95


def _crosstab_special_rows(
    cells: Cells, probe: Probe, header: int | None, analytes: int, results: Iterable[int]
) -> dict[int, str]:
    """Find rows of the heading zone that say of each sample its point, number or date."""
    results = list(results)
    names = probe.kinds[:, analytes] & int(Kind.ANALYTE)
    first_analyte = next(
        (int(r) for r, hit in zip(probe.rows, names, strict=True) if hit and (header is None or r > header)), 0
    )
    special: dict[int, str] = {}
    for row in range(max(0, (header or 0) - 6), first_analyte):
        label = next((str(cell) for cell in cells[row, : min(results)] if cell is not None), "")
        dated = not label and all(kind_of(cell) in {Kind.DATE, Kind.BLANK} for cell in cells[row, results])
        role = "sampled_at" if dated else heading_role(label.rstrip(" :"))
        across = sum(cells[row, c] is not None for c in results)
        if row != header and role and across >= max(1, len(results) // 2) and (across > 1 or len(results) == 1):
            special[row] = role
    return special
