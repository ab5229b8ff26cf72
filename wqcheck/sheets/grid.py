"""Turns rows of cells, as an engine gives them, into sheets of plain cells.

A cell is None when blank, else ``str``, ``float``, ``date``, ``datetime`` or ``time``. Positions are those of
the file: row 0, column 0 is A1.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import islice
from typing import Any

import numpy as np
import numpy.typing as npt

from wqcheck.sheets.coded import Coded
from wqcheck.sheets.marks import Marks

Cells = npt.NDArray[np.object_]

BLANK, TEXT, NUMBER, OTHER = range(4)
"""How a cell is stored."""

_ROWS_AT_ONCE = 256
"""Few enough that a block of rows stays in the cache of the processor: larger ones take a quarter longer."""


@dataclass(frozen=True, slots=True, eq=False)
class Sheet:
    """One sheet, or one of the tables below one another in it: rows × columns of cells.

    ``name`` is ``""`` for a text file; ``stored`` says of each cell whether it is :data:`BLANK`, :data:`TEXT`,
    :data:`NUMBER` or :data:`OTHER`; ``top`` is the number of rows of the file above the first row of ``cells``;
    ``marks`` says what stands beside the values in the whole sheet, such as hidden rows. ``codes`` says of each cell
    which of the ``distinct`` cells of its column it is, -1 where it is None.
    """

    name: str
    cells: Cells
    stored: npt.NDArray[np.int8]
    codes: npt.NDArray[np.int32]
    distinct: tuple[tuple[Any, ...], ...]
    hidden: bool = False
    top: int = 0
    marks: Marks = field(default_factory=Marks)

    def column(self, column: int) -> Coded:
        """Return one column, each distinct cell once."""
        return Coded(self.codes[:, column].astype(np.int64), self.distinct[column])

    def rows(self, start: int, end: int) -> Sheet:
        """Return the rows from *start* up to *end* as a sheet of its own."""
        if (start, end) == (0, len(self.cells)):
            return self
        part = slice(start, end)
        return replace(
            self, cells=self.cells[part], stored=self.stored[part], codes=self.codes[part], top=self.top + start
        )

    def with_columns(self, start: int, end: int) -> Sheet:
        """Return the sheet with all columns blank but those from *start* up to *end*."""
        here = np.zeros(self.cells.shape[1], dtype=bool)
        here[start:end] = True
        cells, stored, codes = self.cells.copy(), self.stored.copy(), self.codes.copy()
        cells[:, ~here], stored[:, ~here], codes[:, ~here] = None, BLANK, -1
        return replace(self, cells=cells, stored=stored, codes=codes)

    def spread_down(self, top: int, bottom: int, column: int) -> None:
        """Write the cell at *top* of *column* into the rows below it up to *bottom*; they stay stored as blank."""
        self.cells[top + 1 : bottom + 1, column] = self.cells[top, column]
        self.codes[top + 1 : bottom + 1, column] = self.codes[top, column]


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

    Equal cells of a column become one object, and a block of rows at a time is taken, so that memory holds each once.
    """
    columns = [_Column() for _ in range(width)]
    source = iter(rows)
    while block := list(islice(source, _ROWS_AT_ONCE)):
        if set(map(len, block)) != {width}:
            block = [row if len(row) == width else [*row, *[None] * (width - len(row))] for row in block]
        for column, cells in zip(columns, zip(*block, strict=True), strict=True):
            column.take(cells)
    codes = [np.concatenate(column.blocks) if column.blocks else _NO_CODES for column in columns]
    return sheet_of_columns(name, codes, [column.distinct for column in columns], hidden=hidden, marks=marks)


def sheet_of_columns(
    name: str,
    codes: Sequence[npt.NDArray[np.int32]],
    distinct: Sequence[Sequence[Any]],
    *,
    hidden: bool = False,
    marks: Marks | None = None,
) -> Sheet:
    """Return columns as a sheet: for each the *codes* of its cells (-1 is blank), which point into *distinct*."""
    end = max((int(np.flatnonzero(column >= 0)[-1]) + 1 for column in codes if (column >= 0).any()), default=0)
    shape = (end, len(codes))
    kept, stored = np.empty(shape, dtype=np.int32, order="F"), np.empty(shape, dtype=np.int8, order="F")
    cells = np.empty(shape, dtype=object, order="F")
    for place, (column, values) in enumerate(zip(codes, distinct, strict=True)):
        kept[:, place] = column[:end]
        table = np.array([*map(_STORED.__getitem__, map(type, values)), BLANK], dtype=np.int8)
        stored[:, place] = table[kept[:, place]]
        objects = np.empty(len(values) + 1, dtype=object)
        objects[:-1] = values
        cells[:, place] = objects[kept[:, place]]
    return Sheet(name, cells, stored, kept, tuple(map(tuple, distinct)), hidden, marks=marks or Marks())


class _Column(dict[Any, int]):
    """The distinct cells of a column met so far, each with its number, and the numbers of all cells in blocks."""

    def __init__(self) -> None:
        super().__init__({None: -1})
        self.distinct: list[Any] = []
        self.blocks: list[npt.NDArray[np.int32]] = []

    def __missing__(self, cell: Any) -> int:
        if isinstance(cell, str):
            if not cell.strip():
                self[cell] = -1
                return -1
        elif isinstance(cell, float) and math.isnan(cell):
            return self["nan"]
        number = self[cell] = len(self.distinct)
        self.distinct.append(cell)
        return number

    def take(self, cells: Sequence[Any]) -> None:
        """Take in the next cells of the column."""
        if not set(map(type, cells)) <= _AS_THEY_ARE:
            cells = [_as_kept(cell) for cell in cells]
        self.blocks.append(np.fromiter(map(self.__getitem__, cells), dtype=np.int32, count=len(cells)))


def _as_kept(cell: Any) -> Any:
    if isinstance(cell, bool):
        return str(cell).upper()
    try:
        return float(cell) if isinstance(cell, int) else cell
    except OverflowError:
        return str(cell)


class _Stored(dict[type, int]):
    """How a cell of each type is stored."""

    def __missing__(self, kind: type) -> int:
        return OTHER


_STORED = _Stored({str: TEXT, float: NUMBER})
_AS_THEY_ARE = frozenset([type(None), str, float])
_NO_CODES = np.empty(0, dtype=np.int32)
