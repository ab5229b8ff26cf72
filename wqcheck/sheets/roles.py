"""Turns what was decided about each cell into a ledger: no non-empty cell of a sheet is without a role and a reason."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from wqcheck.numerals import format_number
from wqcheck.sheets.coded import Coded
from wqcheck.sheets.grid import BLANK, Sheet

READING = ("result", "")
"""Role and reason of the cells that are readings themselves; all others stand in the ledger."""

UNUSED = ("not used", "no heading, label or neighbour says what it is")


class RoleGrid:
    """The role and reason of every cell of one sheet, written as rows and columns are explained."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
        self._known: dict[tuple[str, str], int] = {UNUSED: 0}
        self._codes = np.zeros(sheet.cells.shape, dtype=np.int16, order="F")
        self._filled = np.asarray(sheet.stored != BLANK)

    def mark(self, rows: object, columns: object, role: str, reason: str) -> None:
        """Give the cells at *rows* × *columns* (anything numpy can index with) a role and a reason."""
        self._codes[rows, columns] = self._known.setdefault((role, reason), len(self._known))  # type: ignore[index]

    def mark_all(self, cells: npt.NDArray[np.bool_], role: str, reason: str) -> None:
        """Give the flagged *cells* (shape of the sheet) a role and a reason."""
        self._codes[cells] = self._known.setdefault((role, reason), len(self._known))

    def filled(self) -> int:
        """Return the number of non-empty cells."""
        return int(self.filled_cells().sum())

    def unexplained(self) -> npt.NDArray[np.bool_]:
        """Return, per cell, whether it is non-empty and has no role yet."""
        return np.asarray(self.filled_cells() & (self._codes == 0))

    def unexplained_in(self, column: int) -> npt.NDArray[np.bool_]:
        """Return, per row, whether its cell in *column* is non-empty and has no role yet."""
        return np.asarray(self._filled[:, column] & (self._codes[:, column] == 0))

    def texts(self) -> npt.NDArray[np.bool_]:
        """Return, per cell, whether it was taken for a title, remark or other text that is no part of a result."""
        marks = [code for (role, _), code in self._known.items() if role in {"text", "label", "label value"}]
        return np.asarray(self._filled & np.isin(self._codes, marks))

    def marked(self, role: str) -> npt.NDArray[np.bool_]:
        """Return, per cell, whether it is non-empty and was given *role*."""
        marks = [code for (known, _), code in self._known.items() if known == role]
        return np.asarray(self._filled & np.isin(self._codes, marks))

    def ledger(self, workbook: str) -> pd.DataFrame:
        """Return one row per non-empty cell that is not a result (columns of ``tables.Ledger``)."""
        listed = list(self._known)
        filled = self.filled_cells()
        is_result = np.array([pair == READING for pair in listed])
        rows, columns = np.nonzero(filled & ~is_result[self._codes])
        codes = self._codes[rows, columns].astype(np.int64)
        return pd.DataFrame(
            {
                "workbook": pd.Series([workbook] * len(rows), dtype="str"),
                "sheet": pd.Series([self.sheet.name] * len(rows), dtype="str"),
                "cell": cell_name_texts(rows + self.sheet.top, columns),
                "text": Coded.of(self.sheet.cells[rows, columns]).map(cell_text).texts(),
                "role": Coded(codes, tuple(role for role, _ in listed)).texts(),
                "reason": Coded(codes, tuple(reason for _, reason in listed)).texts(),
            }
        )

    def filled_cells(self) -> npt.NDArray[np.bool_]:
        """Return, per cell, whether it is non-empty."""
        return self._filled


def column_name(column: int) -> str:
    """Return the letters of *column* (0 is ``A``)."""
    letters = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


def cell_names(rows: npt.NDArray[np.int64], columns: npt.NDArray[np.int64]) -> npt.NDArray[np.object_]:
    """Return names such as ``F12`` for 0-based *rows* and *columns* of one shape."""
    if not len(rows):
        return np.array([], dtype=object)
    letters = np.array([column_name(c) for c in range(int(columns.max()) + 1)], dtype=object)
    numbers = np.array([str(r) for r in range(1, int(rows.max()) + 2)], dtype=object)
    return np.asarray(letters[columns] + numbers[rows], dtype=object)


def cell_name_texts(rows: npt.NDArray[np.int64], columns: npt.NDArray[np.int64]) -> pd.Series[str]:
    """Return the names of :func:`cell_names` as a text series; Arrow makes them many times faster than objects."""
    kind = pa.large_string()
    letters = pa.array([column_name(c) for c in range(int(columns.max(initial=-1)) + 1)], kind).take(pa.array(columns))
    names = pc.binary_join_element_wise(letters, pa.array(rows + 1).cast(kind), pa.scalar("", kind))
    return pd.Series(names, dtype="str")


def cell_text(cell: object) -> str:
    """Return one cell as text: a number in its shortest form, a date as ISO."""
    if isinstance(cell, str):
        return cell.strip()
    if isinstance(cell, float):
        return format_number(cell) if math.isfinite(cell) else str(cell)
    if isinstance(cell, dt.datetime):
        return cell.isoformat(" ") if cell.time() != dt.time() else cell.date().isoformat()
    return str(cell).strip()


def first_cells(names: Iterable[str], most: int = 5) -> str:
    """Return the first cell names of a list for a sentence, with how many more there are."""
    listed = list(names)
    more = f" and {len(listed) - most} more" if len(listed) > most else ""
    return ", ".join(listed[:most]) + more
