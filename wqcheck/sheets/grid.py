"""Turns rows of cells, as an engine gives them, into sheets of plain cells.

A cell is None when blank, else ``str``, ``float``, ``date``, ``datetime`` or ``time``. Positions are those of
the file: row 0, column 0 is A1.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import islice
from typing import Any

import numpy as np
import numpy.typing as npt

from wqcheck.sheets.marks import Marks

Cells = npt.NDArray[np.object_]

BLANK, TEXT, NUMBER, OTHER, _WHOLE, _FLAG = range(6)
"""How a cell is stored; whole numbers and booleans only until they are turned into floats and words."""

_ROWS_AT_ONCE = 8192


@dataclass(frozen=True, slots=True, eq=False)
class Sheet:
    """One sheet, or one of the tables below one another in it: rows × columns of cells.

    ``name`` is ``""`` for a text file; ``stored`` says of each cell whether it is :data:`BLANK`, :data:`TEXT`,
    :data:`NUMBER` or :data:`OTHER`; ``top`` is the number of rows of the file above the first row of ``cells``;
    ``marks`` says what stands beside the values in the whole sheet, such as hidden rows.
    """

    name: str
    cells: Cells
    stored: npt.NDArray[np.int8]
    hidden: bool = False
    top: int = 0
    marks: Marks = field(default_factory=Marks)


@dataclass(frozen=True, slots=True, eq=False)
class Book:
    """One workbook: file name, SHA-256 of its bytes, its sheets, and remarks on how it was opened.

    ``doubts`` are remarks that forbid release until they are settled.
    """

    name: str
    sha256: str
    sheets: tuple[Sheet, ...]
    remarks: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()


def sheet_of(name: str, rows: Iterable[Any], width: int, *, hidden: bool = False, marks: Marks | None = None) -> Sheet:
    """Return *rows* as a sheet: blanks None, whole numbers floats, booleans their word, no blank rows at the end.

    Equal texts become one object, and a block of rows at a time is taken, so that memory holds each text once.
    """
    blocks, storages = [], []
    known: dict[str, str] = {}
    source = iter(rows)
    while block := list(islice(source, _ROWS_AT_ONCE)):
        cells, stored = _block(block, width, known)
        blocks.append(cells)
        storages.append(stored)
    cells = np.concatenate(blocks) if blocks else np.empty((0, width), dtype=object)
    stored = np.concatenate(storages) if storages else np.empty((0, width), dtype=np.int8)
    used = np.flatnonzero((stored != BLANK).any(axis=1))
    end = int(used[-1]) + 1 if len(used) else 0
    return Sheet(name, cells[:end], stored[:end], hidden, marks=marks or Marks())


def _block(rows: list[Any], width: int, known: dict[str, str]) -> tuple[Cells, npt.NDArray[np.int8]]:
    flat = [cell for row in rows for cell in (row if len(row) == width else [*row, *[None] * (width - len(row))])]
    keep = known.setdefault
    flat = [keep(cell, cell) if cell.__class__ is str else cell for cell in flat]
    stored = np.array(_storages(flat), dtype=np.int8)
    cells = np.empty(len(flat), dtype=object)
    cells[:] = flat
    cells[stored == BLANK] = None
    whole = stored == _WHOLE
    cells[whole], stored[whole] = cells[whole].astype(np.float64), NUMBER
    flags = stored == _FLAG
    cells[flags], stored[flags] = [str(cell).upper() for cell in cells[flags]], TEXT
    return cells.reshape(len(rows), width), stored.reshape(len(rows), width)


def _storages(cells: list[Any]) -> list[int]:
    """Return for each of *cells* how it is stored; one expression, for it meets every cell of a book.

    Blank text begins below ``!`` or beyond ASCII, so that nearly all texts are told by one comparison.
    """
    return [
        BLANK if cell is None
        else (BLANK if (cell < "!" or cell > "\x7f") and not cell.strip() else TEXT) if cell.__class__ is str
        else NUMBER if cell.__class__ is float
        else _FLAG if cell.__class__ is bool
        else _WHOLE if cell.__class__ is int
        else OTHER
        for cell in cells
    ]  # fmt: skip
