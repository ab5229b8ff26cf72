"""Turns a cell of a sheet into the cells around it, with the headings above, as a person would see them there."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from wqcheck.limit_tables.columns import split_list
from wqcheck.sheets.grid import Sheet
from wqcheck.sheets.roles import cell_text, column_name

REACH = 4
"""Rows and columns that are shown on each side."""

_CELL = re.compile(r"^\$?([A-Z]{1,3})\$?([1-9][0-9]{0,6})$")
_FIRST_CELL = re.compile(r"(?:^|[^A-Za-z0-9])\$?([A-Z]{1,3})\$?([1-9][0-9]{0,6})(?![A-Za-z0-9])")


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """The cells around one cell.

    ``rows`` are the row numbers of the file and ``columns`` the letters; ``texts`` has one text per row × column, blank
    for an empty cell. ``row`` and ``column`` name the cell itself, ``headings`` the row numbers that hold headings.
    """

    sheet: str
    rows: tuple[int, ...]
    columns: tuple[str, ...]
    texts: tuple[tuple[str, ...], ...]
    row: int
    column: str
    headings: frozenset[int]


def surroundings(
    sheets: Sequence[Sheet], sheet: str, cell: str, headings: Iterable[int] = (), reach: int = REACH,
    beside: Iterable[str] = (),
) -> Surroundings | None:  # fmt: skip
    """Return the cells around one cell, None where the book has no such cell.

    Parameters
    ----------
    sheets : sequence of Sheet
        The sheets of the book, or the tables that they were cut into.
    sheet, cell : str
        Name of the sheet (blank for a text file) and of the cell (``F12``).
    headings : iterable of int
        Row numbers of the file that hold headings; the nearest one above is shown even if it is further away.
    reach : int
        Rows and columns on each side.
    beside : iterable of str
        Cells of the same row that tell what the row is about; their columns are shown first, however far away, in
        the place of the farthest before the cell.
    """
    place = cell_position(cell)
    parts = [part for part in sheets if part.name == sheet]
    if place is None or not parts:
        return None
    row, column = place
    home = next((part for part in parts if part.top <= row < part.top + len(part.cells)), None)
    if home is None or column >= home.cells.shape[1]:
        return None
    known = sorted({number - 1 for number in headings})
    above = [number for number in known if number < row - reach][-1:] if not _within(known, row, reach) else []
    near = range(max(row - reach, 0), row + reach + 1)
    last = max(part.top + len(part.cells) for part in parts)
    rows = [number for number in [*above, *near] if number < last]
    after = min(column + reach + 1, max(part.cells.shape[1] for part in parts))
    told = {at[1] for name in beside if (at := cell_position(name)) is not None and at[0] == row}
    told -= set(range(column - reach, after))
    columns = [*sorted(told), *range(max(column - max(reach - len(told), 0), 0), after)]
    return Surroundings(
        sheet=sheet, rows=tuple(number + 1 for number in rows), columns=tuple(map(column_name, columns)),
        texts=tuple(_row_texts(parts, number, columns) for number in rows), row=row + 1, column=column_name(column),
        headings=frozenset(number + 1 for number in known if number in rows),
    )  # fmt: skip


def cell_position(cell: str) -> tuple[int, int] | None:
    """Return row and column of a name such as ``F12``, both counted from 0; None for anything else."""
    found = _CELL.match(cell.strip())
    return _position(found[1], found[2]) if found else None


def first_cell(text: str) -> str:
    """Return the first cell that a text such as ``B2, B3 and 4 more`` names, blank where it names none."""
    found = _FIRST_CELL.search(text)
    return found[1] + found[2] if found else ""


def cell_places(cells: str, workbook: str = "", sheet: str = "") -> tuple[tuple[str, str, str], ...]:
    """Return workbook, sheet and cell of each place in a ``;`` list.

    A place leaves out what it has in common with the row of *workbook* and *sheet* that the list stands in.
    """
    found = []
    for part in split_list(cells):
        book, _, place = part.rpartition("|")
        own_sheet, _, name = place.rpartition("!")
        found.append((book or workbook, own_sheet or sheet, name))
    return tuple(found)


def heading_rows(cells: Iterable[str]) -> frozenset[int]:
    """Return the row numbers of cell names, for the ledger's cells of the role ``heading``."""
    return frozenset(place[0] + 1 for cell in cells if (place := cell_position(cell)) is not None)


def _position(letters: str, number: str) -> tuple[int, int]:
    column = 0
    for letter in letters:
        column = column * 26 + ord(letter) - 64
    return int(number) - 1, column - 1


def _within(known: Sequence[int], row: int, reach: int) -> bool:
    return any(row - reach <= number <= row for number in known)


def _row_texts(parts: Sequence[Sheet], number: int, columns: Sequence[int]) -> tuple[str, ...]:
    """Return the texts of one row of the file, from whichever part of the sheet holds it."""
    part = next((part for part in parts if part.top <= number < part.top + len(part.cells)), None)
    if part is None:
        return ("",) * len(columns)
    cells = part.cells[number - part.top]
    shown = [cells[at] if at < np.size(cells) else None for at in columns]
    return tuple("" if cell is None else cell_text(cell) for cell in shown)
