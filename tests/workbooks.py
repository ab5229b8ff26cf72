"""Writes small workbooks for tests and reads them back."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import openpyxl
import pandas as pd

from wqcheck.sheets import ReadResult, read_workbook

Rows = Sequence[Any]


def xlsx_bytes(sheets: Mapping[str, Rows], merged: Iterable[str] = (), hidden: Iterable[str] = ()) -> bytes:
    """Return an xlsx file with these sheets; None leaves a cell empty, *merged* ranges are of the first sheet."""
    book = openpyxl.Workbook()
    for number, (name, rows) in enumerate(sheets.items()):
        sheet = book.worksheets[0] if number == 0 else book.create_sheet()
        sheet.title = name
        sheet.sheet_state = "hidden" if name in hidden else "visible"
        for line, row in enumerate(rows, start=1):
            for column, value in enumerate(row, start=1):
                if value is not None:
                    sheet.cell(line, column, value)
    for area in merged:
        book.worksheets[0].merge_cells(area)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def csv_text(rows: Rows, delimiter: str = ",", line_end: str = "\n") -> str:
    """Return *rows* as delimited text; None is an empty field."""
    stream = io.StringIO()
    csv.writer(stream, delimiter=delimiter, lineterminator=line_end).writerows(rows)
    return stream.getvalue()


def read_rows(rows: Rows, merged: Iterable[str] = ()) -> ReadResult:
    """Return what a workbook with one sheet ``Results`` of these rows gives."""
    return read_workbook(("book.xlsx", xlsx_bytes({"Results": rows}, merged)))


def table_of(read: ReadResult, *columns: str) -> list[tuple[Any, ...]]:
    """Return these columns of the readings as tuples, blanks as None and dates as ISO text."""
    plain = read.readings[list(columns)].astype(object)
    for column in columns:
        if isinstance(read.readings[column].dtype, pd.DatetimeTZDtype) or read.readings[column].dtype.kind == "M":
            plain[column] = [
                None if pd.isna(at) else at.isoformat(" ").removesuffix(" 00:00:00") for at in plain[column]
            ]
    return [tuple(None if pd.isna(cell) else cell for cell in row) for row in plain.itertuples(index=False, name=None)]


def roles_of(read: ReadResult) -> dict[str, str]:
    """Return the role of each cell that is no result."""
    ledger = read.ledger()
    return dict(zip(ledger["cell"], ledger["role"], strict=True))


def said(read: ReadResult) -> dict[str, str]:
    """Return the findings: code and the place within the workbook."""
    return {finding.code: finding.where.partition("|")[2] for finding in read.findings}
