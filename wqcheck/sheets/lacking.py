"""Turns the tables of a workbook into the places where a result could stand and none does."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from wqcheck.sheets.reading import ReadResult
from wqcheck.sheets.roles import READING, RoleGrid, cell_names, cell_text
from wqcheck.sheets.table import Table


@dataclass(frozen=True, slots=True, kw_only=True)
class Lacking:
    """A cell without a result: the name of its parameter on the sheet, its sheet and cell, and what it says."""

    parameter: str
    sheet: str
    cell: str
    given: str


def lacking(read: ReadResult) -> tuple[Lacking, ...]:
    """List the cells that say that a test was not done, and the empty ones among results of their row or column.

    A row that names a parameter and gives no result is listed by the cell of its name. A row or column without any
    result is none of the batch's and its empty cells are not listed, but for a column headed by a parameter.
    """
    pairs = zip(read.grids, read.tables, strict=True)
    return tuple(each for grid, one in pairs if not isinstance(one.table, str) for each in _of_table(grid, one.table))


def _of_table(grid: RoleGrid, table: Table) -> Iterator[Lacking]:
    places = np.argwhere(grid.marked("not tested") | _empty(grid, table))
    rows, columns = places[:, 0], places[:, 1]
    naming = table.with_role("parameter")
    for row, column, cell in zip(rows, columns, cell_names(rows + grid.sheet.top, columns), strict=True):
        heading = table.columns[int(column)].heading if int(column) in table.columns else ""
        name = heading if table.kind == "wide" or not naming else cell_text(grid.sheet.cells[row, naming[0]])
        own = grid.filled_cells()[row, column] and not (naming and column == naming[0])
        given = cell_text(grid.sheet.cells[row, column]) if own else ""
        yield Lacking(parameter=name, sheet=grid.sheet.name, cell=cell, given=given)


def _empty(grid: RoleGrid, table: Table) -> npt.NDArray[np.bool_]:
    """Return, per cell, whether it is empty where others of its row give results."""
    results, empty = grid.marked(READING[0]), np.zeros(grid.sheet.cells.shape, dtype=bool)
    if table.kind not in {"wide", "crosstab"}:
        return empty
    columns = table.with_role("analyte" if table.kind == "wide" else "result")
    columns = [c for c in columns if table.kind == "wide" or results[:, c].any()]
    rows = np.asarray(results.any(axis=1))
    empty[:, columns] = rows[:, None] & ~grid.filled_cells()[:, columns]
    return empty
