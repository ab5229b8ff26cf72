"""Turns a table of a workbook that lists parameters by a code of the laboratory into the names and units of its codes.

A code counts where results stand below the same heading and no other column of theirs names an analyte. Small whole
numbers, with which a list is numbered, are no codes.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from wqcheck.findings import Finding, Severity
from wqcheck.parameters import normalise
from wqcheck.sheets.grid import Sheet
from wqcheck.sheets.headers import best_header, probe_of
from wqcheck.sheets.layouts import FoundTable
from wqcheck.sheets.recognise import Analyte, recognise_analyte, unit_or_none
from wqcheck.sheets.roles import RoleGrid, cell_text
from wqcheck.sheets.table import Column, Table, read_heading

MOSTLY = 0.8
"""Share of the codes of a column that a list must know (common practice, no source)."""

_CODE = re.compile(r"(?=.*[^\W\d]).+|\d{3,}")
_CODES = frozenset(["", "other", "sample", "parameter", "cas"])


@dataclass(frozen=True, eq=False)
class ParameterList:
    """One list: its part of a sheet, row of headings, columns, and what each code below a heading means."""

    part: Sheet
    header: int
    columns: Mapping[int, Column]
    codes: Mapping[str, Mapping[str, Analyte]]
    used: set[str] = field(default_factory=set)


def parameter_lists(tables: Sequence[FoundTable]) -> tuple[ParameterList, ...]:
    """Return the lists of parameters among the *tables* of a workbook."""
    return tuple(one for table in tables if isinstance(table.found, str) and (one := _list(table.part)) is not None)


def with_codes(table: Table, part: Sheet, lists: Iterable[ParameterList]) -> tuple[Table, Mapping[str, Analyte]]:
    """Return a *table* of results without analytes with its column of codes named, and what these mean."""
    if table.kind != "list" or table.header is None:
        return table, {}
    for c, column in table.columns.items():
        below = part.column(c).taken(np.arange(table.first, len(part.cells)))
        texts = {cell_text(cell) for cell in below.distinct}
        for one in lists:
            codes = one.codes.get(normalise(column.heading), {}) if column.role in _CODES else {}
            if texts and len(texts & codes.keys()) >= MOSTLY * len(texts):
                one.used.update(texts & codes.keys())
                named = {**table.columns, c: Column("parameter", column.heading)}
                return replace(table, kind="long", columns=named), codes
    return table, {}


def explain_parameters(grid: RoleGrid, one: ParameterList) -> None:
    """Give every cell of a list of parameters its role."""
    grid.mark(one.header, slice(None), "heading", "heading of its column in a list of parameters")
    rows = np.arange(one.header + 1, len(grid.sheet.cells))
    for c, column in one.columns.items():
        coded = normalise(column.heading) in one.codes and one.used
        role = "parameter" if coded else column.role.replace("_", " ") or "other column"
        why = "a code by which the parameters of results are known" if coded else "said of the parameter of its row"
        grid.mark(rows, c, role, f"{why}, in a list of parameters")


def say_parameters(one: ParameterList, workbook: str) -> Iterator[Finding]:
    """Yield a finding that says which codes the list named."""
    where = f"{workbook}|{one.part.name}" if one.part.name else workbook
    message = f"a list of parameters; it says what {len(one.used)} code(s) beside results mean"
    yield Finding(code="parameter list", severity=Severity.NOTE, message=message, where=where)


def _list(part: Sheet) -> ParameterList | None:
    header = best_header(probe_of(part.cells)) if part.cells.size else None
    if header is None:
        return None
    columns = {c: read_heading(str(cell).strip()) for c, cell in enumerate(part.cells[header]) if cell is not None}
    named = [c for c, column in columns.items() if column.role == "parameter"]
    named = [c for c in named if _names(part, header, c)]
    if not named:
        return None
    units = [c for c, column in columns.items() if column.role == "unit"]
    codes: dict[str, dict[str, Analyte]] = {}
    for c, column in columns.items():
        if c != named[0] and column.role in _CODES and normalise(column.heading):
            found = _meanings(part, header, (c, named[0]), units)
            codes |= {normalise(column.heading): found} if found else {}
    return ParameterList(part, header, columns, codes) if codes else None


def _names(part: Sheet, header: int, column: int) -> bool:
    cells = [cell for cell in part.cells[header + 1 :, column] if cell is not None]
    known = sum(isinstance(cell, str) and recognise_analyte(cell.strip()) is not None for cell in cells)
    return len(cells) > 0 and known >= 0.5 * len(cells)


def _meanings(part: Sheet, header: int, pair: tuple[int, int], units: Sequence[int]) -> dict[str, Analyte]:
    """Return what each code of a column means; one that stands beside several parameters means none."""
    found: dict[str, Analyte] = {}
    doubled: set[str] = set()
    for row in part.cells[header + 1 :]:
        code, name = (cell_text(row[c]) if row[c] is not None else "" for c in pair)
        analyte = recognise_analyte(name) if name and _CODE.fullmatch(code) else None
        if analyte is None:
            continue
        text = next((cell_text(row[c]) for c in units if row[c] is not None), "")
        unit = unit_or_none(text) if text else None
        if analyte.unit is None and unit is not None:
            analyte = replace(analyte, unit=unit, unit_text=text, basis=analyte.basis or unit.basis)
        if found.setdefault(code, analyte) != analyte:
            doubled.add(code)
    return {code: analyte for code, analyte in found.items() if code not in doubled}
