"""Turns a comparison of limit tables into a CSV file and a workbook in which no text can act as a formula."""

from __future__ import annotations

import csv
import io
from typing import Any

import pandas as pd
from openpyxl import Workbook

from wqcheck.certificate_files.sheet_cells import add_sheet, set_up_print
from wqcheck.limit_tables.cells import guarded

_WIDE, _NARROW, _SIDE = 44, 16, 26
_LONG_TEXTS = frozenset({"reason", "source", "evidence", "limit", "clause"})


def comparison_csv(compared: pd.DataFrame) -> bytes:
    """Return every line of a comparison as CSV with a UTF-8 mark; formula-like text is guarded, numbers stay bare.

    Parameters
    ----------
    compared : DataFrame
        Rows of :class:`wqcheck.limit_comparison.comparison.ComparedLimits`.
    """
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(compared.columns)
    writer.writerows([guarded(_text(cell)) for cell in row] for row in compared.to_numpy(dtype=object).tolist())
    return buffer.getvalue().encode("utf-8-sig")


def comparison_workbook(compared: pd.DataFrame, beside: pd.DataFrame, said: str) -> bytes:
    """Return a comparison as a workbook: side by side, then every line of it, then what was compared.

    Parameters
    ----------
    compared, beside : DataFrame
        The comparison, and :func:`wqcheck.limit_comparison.side_by_side.side_by_side` of it.
    said : str
        Which tables for which water on which day.
    """
    book = Workbook()
    del book["Sheet"]
    add_sheet(book, "Side by side", dict.fromkeys(map(str, beside.columns), _SIDE), beside.to_numpy().tolist())
    widths = {str(name): _WIDE if name in _LONG_TEXTS else _NARROW for name in compared.columns}
    rows = compared.to_numpy(dtype=object).tolist()
    add_sheet(book, "Every line", widths, [[None if pd.isna(cell) else cell for cell in row] for row in rows])
    add_sheet(book, "What was compared", {"what": 120}, [[line] for line in said.splitlines()])
    set_up_print(book)
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def _text(cell: Any) -> str:
    return "" if pd.isna(cell) else f"{cell:.12g}" if isinstance(cell, float) else str(cell)
