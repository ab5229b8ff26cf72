"""Turns a table layout into the cells that hold results, and says of every other cell why it holds none."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from wqcheck.sheet_layouts.records import NO_ANSWERS, SheetLayout
from wqcheck.sheets.columns import ParsedResults, parse_results
from wqcheck.sheets.content import RESULT_LIKE, kinds_of
from wqcheck.sheets.grid import Cells, Sheet
from wqcheck.sheets.headings import heading_role, summary_role
from wqcheck.sheets.own_words import with_own_words
from wqcheck.sheets.part_rows import BENCH, UNKNOWN
from wqcheck.sheets.recognise import analyte_inside, recognise_analyte, unit_or_none
from wqcheck.sheets.roles import READING, RoleGrid
from wqcheck.sheets.table import IDENTITY, Table
from wqcheck.tables import Sign

Positions = npt.NDArray[np.int64]

ROW_ROLES = (*IDENTITY, "sampled_at", "sampled_time", "received_at", "analysed_at")


@dataclass(frozen=True, slots=True)
class ResultCells:
    """The n result cells of a table: 0-based rows and columns (shape (n,)), what they say, cells without owner.

    ``end`` is the row after the last one of the table, results that were not tested counted in; ``dilutions`` are the
    rows that name a factor of dilution where others name an analyte; ``declined`` are cells that hold no result only
    because the sheet layout says that the name of their row is no parameter.
    """

    rows: Positions
    columns: Positions
    parsed: ParsedResults
    orphans: tuple[tuple[int, int], ...]
    end: int
    dilutions: tuple[int, ...] = ()
    declined: tuple[tuple[int, int], ...] = ()


def find_result_cells(grid: RoleGrid, table: Table, layout: SheetLayout = NO_ANSWERS) -> ResultCells:
    """Return the result cells of *table* and mark it, its headings and its untested cells in *grid*.

    A cell that only the sheet *layout* says is not tested stays a result, so that no layout takes results away.
    """
    data_rows = _data_rows(grid, table)
    rows, columns = _candidates(grid, table, data_rows)
    plain = parse_results(grid.sheet, rows, columns, layout.decimal)
    parsed = with_own_words(plain, layout)
    sign = parsed.part("sign")
    untested = sign.equal_to(Sign.NOT_DONE) & plain.part("sign").equal_to(Sign.NOT_DONE)
    grid.mark(rows[untested], columns[untested], "not tested", "the cell says that there is no result")
    declined = _declined(grid.sheet, table, rows, layout)
    grid.mark(rows[declined], columns[declined], "not used", "the sheet layout says that its name is no parameter")
    untested |= declined
    alone = _without_owner(grid, table, rows) & ~untested
    unreadable = sign.equal_to(Sign.UNREADABLE)
    below = _below_results(grid.sheet, table, rows, unreadable)
    alone |= below
    words = below | (alone & (unreadable | _above_names(grid, table, rows)))
    words |= unreadable & _labelled(grid.sheet, table, rows)
    alone |= words
    grid.mark(rows[words], columns[words], "text", "not in a row of results")
    orphan = alone & ~words
    grid.mark(rows[orphan], columns[orphan], "not used", "a value whose row names no sample, point, date or analyte")
    kept = ~untested & ~alone
    grid.mark(rows[kept], columns[kept], *READING)
    lost = tuple((int(r), int(c)) for r, c in zip(rows[orphan], columns[orphan], strict=True))
    end = int(rows[~alone].max(initial=-1)) + 1 or len(data_rows)
    diluted = tuple(map(int, np.flatnonzero(_bench_rows(grid.sheet, table, "dilution"))))
    said = tuple((int(r), int(c)) for r, c in zip(rows[declined], columns[declined], strict=True))
    return ResultCells(rows[kept], columns[kept], parsed.taken(kept), lost, end, diluted, said)


def _declined(sheet: Sheet, table: Table, rows: Positions, layout: SheetLayout) -> npt.NDArray[np.bool_]:
    """Return, per result, whether its row has a name that *layout* says is no parameter, and that none is known by."""
    naming = table.with_role("parameter")
    if not naming or not layout.not_parameters:
        return np.zeros(len(rows), dtype=bool)
    return (
        sheet.column(naming[0])
        .taken(rows)
        .flags(
            lambda name: (
                isinstance(name, str) and layout.is_no_parameter(name) and recognise_analyte(name.strip()) is None
            )
        )
    )


def _data_rows(grid: RoleGrid, table: Table) -> npt.NDArray[np.bool_]:
    """Return, per row of the sheet, whether it can hold results; headings, special and label rows cannot."""
    usable = np.zeros(len(grid.sheet.cells), dtype=bool)
    usable[table.first :] = True
    if table.header is not None:
        grid.mark(table.header, slice(None), "heading", "heading of its column")
        repeated = _repeats(grid.sheet, table.header)
        grid.mark(repeated, slice(None), "heading", "the headings once more")
        usable[repeated] = False
    for row, role in table.special.items():
        grid.mark(row, slice(None), "heading", f"a row that gives the {role.replace('_', ' ')} of each column")
        usable[row] = False
    _take_out_parts(grid, table, usable)
    if table.kind in {"long", "list"}:
        summary = usable & _summary_rows(grid.sheet, table)
        grid.mark(summary, slice(None), "not used", "a row of limits or of values computed from other rows")
        usable &= ~summary
    if table.kind == "crosstab":
        label = table.with_role("parameter")[0]
        held = np.asarray(grid.filled_cells()[:, table.with_role("result")].any(axis=1))
        united = np.zeros(len(usable), dtype=bool)
        for column in table.with_role("unit"):
            united |= grid.sheet.column(column).flags(lambda cell: unit_or_none(str(cell)) is not None)
        roles = grid.sheet.column(label).map(_row_label).without(united)
        for role in roles.distinct:
            here = usable & held & roles.equal_to(role)
            grid.mark(here, slice(None), "heading", f"a row that gives the {role.replace('_', ' ')} of each column")
            usable &= ~here
    return usable


def _take_out_parts(grid: RoleGrid, table: Table, usable: npt.NDArray[np.bool_]) -> None:
    """Explain the rows that are parts of results or tell how the laboratory worked; they cannot hold results."""
    for row, role in table.parts.items():
        own = role in BENCH or (role != UNKNOWN and row in table.rows_beside.get(role, {}).values())
        named = role.replace("_", " ")
        why = f"the {named} of the results beside it" if own else "its row belongs to no row of results"
        grid.mark(row, slice(None), named if own else "not used", why)
        usable[row] = False
    for role in sorted(BENCH) if table.kind in {"long", "crosstab"} else ():
        here = usable & _bench_rows(grid.sheet, table, role)
        grid.mark(here, slice(None), role, "tells how the laboratory worked; no result")
        usable &= ~here


def _bench_rows(sheet: Sheet, table: Table, role: str) -> npt.NDArray[np.bool_]:
    """Return, per row, whether a word of *role* (one of :data:`BENCH`) stands where others name an analyte."""
    naming = table.with_role("parameter") if table.kind in {"long", "crosstab"} else []
    if not naming:
        return np.zeros(len(sheet.cells), dtype=bool)
    found = sheet.column(naming[0]).flags(
        lambda cell: isinstance(cell, str) and heading_role(cell.strip().rstrip(" :")) == role
    )
    found[: table.first] = False
    return found


def _summary_rows(sheet: Sheet, table: Table) -> npt.NDArray[np.bool_]:
    """Return, per row of a long table, whether *Mean*, *Limit* … stands where others name a sample, and no date."""
    summary = np.zeros(len(sheet.cells), dtype=bool)
    for column in [c for role in ("sample", "point") for c in table.with_role(role)]:
        names = sheet.column(column)
        summary |= names.flags(lambda name: isinstance(name, str) and summary_role(name) != "")
    if (naming := table.with_role("parameter")) and summary.any():
        names = sheet.column(naming[0])
        summary &= names.without(summary | (np.arange(len(summary)) < table.first)).known_values(names)
    dated = np.asarray(sheet.codes[:, table.with_role("sampled_at")] >= 0)
    return summary & ~dated.any(axis=1)


def _row_label(cell: object) -> str | None:
    if not isinstance(cell, str) or analyte_inside(cell.strip()) is not None:
        return None
    role = heading_role(cell.strip().rstrip(" :"))
    return role if role in {*ROW_ROLES, "limit", "verdict", "computed", "remark", "sampled_by", "other_date"} else None


def _repeats(sheet: Sheet, header: int) -> Positions:
    """Return the rows that repeat most of the headings and hold nothing else."""
    filled = np.flatnonzero(sheet.codes[header] >= 0)
    wanted = max(2, int(0.6 * len(filled)))
    few = filled[: len(filled) - wanted + 1]  # a row that repeats enough of the headings repeats one of these
    rows = np.flatnonzero((sheet.codes[:, few] == sheet.codes[header, few]).any(axis=1))
    again = sheet.codes[rows][:, filled]
    same = again == sheet.codes[header, filled]
    rows = rows[(same.sum(axis=1) >= wanted) & (same | (again < 0)).all(axis=1)]
    return np.asarray(rows[rows != header])


def _candidates(grid: RoleGrid, table: Table, data_rows: npt.NDArray[np.bool_]) -> tuple[Positions, Positions]:
    columns = table.with_role("analyte" if table.kind == "wide" else "result")
    if not columns:
        return _values_behind_names(grid.sheet.cells, data_rows)
    filled = grid.filled_cells()[:, columns] & data_rows[:, None]
    rows, positions = np.nonzero(filled)
    return rows, np.asarray(columns, dtype=np.int64)[positions]


def _values_behind_names(cells: Cells, data_rows: npt.NDArray[np.bool_]) -> tuple[Positions, Positions]:
    """Return the result behind the name in each row of a list without headings that holds just these two cells."""
    kinds = kinds_of(cells)
    filled = kinds != 0
    pair = (filled.sum(axis=1) == 2) & data_rows
    last = cells.shape[1] - 1 - np.argmax(filled[:, ::-1], axis=1)
    is_result = (kinds[np.arange(len(cells)), last] & int(RESULT_LIKE)) != 0
    rows = np.flatnonzero(pair & is_result)
    return rows, last[rows]


def _without_owner(grid: RoleGrid, table: Table, rows: Positions) -> npt.NDArray[np.bool_]:
    """Return, per result, whether its row names neither sample, point, date nor analyte although others do.

    In a table with analytes across, any other headed column (a town, a street) tells a row from a stray value too.
    """
    if table.kind == "crosstab":
        return np.asarray(~grid.filled_cells()[rows, table.with_role("parameter")[0]])
    if table.header is None:
        return np.zeros(len(rows), dtype=bool)
    naming = [c for role in (*ROW_ROLES, "parameter", "cas") for c in table.with_role(role)]
    if not naming:
        return np.zeros(len(rows), dtype=bool)
    if table.kind == "wide":
        naming += [c for c, column in table.columns.items() if column.role in {"", "other"} and column.heading]
    named = np.asarray(grid.filled_cells()[:, naming].any(axis=1))[rows]
    return np.asarray(~named) if named.any() else np.zeros(len(rows), dtype=bool)


def _below_results(
    sheet: Sheet, table: Table, rows: Positions, unreadable: npt.NDArray[np.bool_]
) -> npt.NDArray[np.bool_]:
    """Return, per result of a long table, whether it is a signature or remark below the last row that is a result."""
    naming = table.with_role("parameter") if table.kind == "long" else []
    if not naming or not len(rows):
        return np.zeros(len(rows), dtype=bool)
    names = sheet.column(naming[0]).taken(rows)
    known = names.flags(lambda name: isinstance(name, str) and recognise_analyte(name.strip()) is not None)
    doubtful = unreadable & ~known
    for column in table.with_role("unit"):
        doubtful &= ~sheet.column(column).taken(rows).flags(lambda cell: unit_or_none(str(cell)) is not None)
    return np.asarray(doubtful & (rows > rows[~doubtful].max(initial=-1)))


def _above_names(grid: RoleGrid, table: Table, rows: Positions) -> npt.NDArray[np.bool_]:
    """Return, per result of a crosstab, whether it stands above the first analyte and so belongs to the headings."""
    if table.kind != "crosstab":
        return np.zeros(len(rows), dtype=bool)
    named = np.flatnonzero(grid.filled_cells()[table.first :, table.with_role("parameter")[0]])
    return np.asarray(rows < table.first + (named[0] if len(named) else 0))


def _labelled(sheet: Sheet, table: Table, rows: Positions) -> npt.NDArray[np.bool_]:
    """Return, per result of a crosstab, whether its row is named by a heading of no result (``Sub-Matrix: WATER``)."""
    if table.kind != "crosstab":
        return np.zeros(len(rows), dtype=bool)
    return sheet.column(table.with_role("parameter")[0]).taken(rows).flags(_names_no_analyte)


def _names_no_analyte(cell: object) -> bool:
    if not isinstance(cell, str) or analyte_inside(cell.strip()) is not None:
        return False
    return heading_role(cell.partition(":")[0].strip()) not in {"", "parameter", "result"}


def group_names(cells: Cells, rows: Positions) -> Cells:
    """Return, per result row of a list without headings, the path of group rows above it and its own name."""
    filled = np.asarray(cells != None, dtype=bool)  # noqa: E711 elementwise
    texts = cells[np.arange(len(cells)), np.argmax(filled, axis=1)]
    alone = np.asarray(filled.sum(axis=1) == 1)
    seen = pd.Series(texts[alone]).astype(str).str.strip().value_counts()
    common = set(seen[seen > max(2, 0.1 * seen.sum())].index)
    paths = np.empty(len(cells), dtype=object)
    upper = lower = ""
    for row, text in enumerate(texts):
        name = str(text).strip() if text is not None else ""
        if alone[row] and name:
            upper, lower = (upper, name) if name in common else (name, "")
        paths[row] = " / ".join(part for part in (upper, lower, name) if part)
    return np.asarray(paths[rows], dtype=object)
