"""Turns an xls or xlsb file into the marks of its sheets, and an xls file into cells where the first reader fails."""

from __future__ import annotations

import datetime as dt
import io
import struct
import zipfile
from collections.abc import Iterator
from typing import Any

from wqcheck.sheets.marks import Marks

ERRORS = {0x00: "#NULL!", 0x07: "#DIV/0!", 0x0F: "#VALUE!", 0x17: "#REF!", 0x1D: "#NAME?", 0x24: "#NUM!", 0x2A: "#N/A"}
"""Codes of errors in binary workbooks (Microsoft MS-XLS 2.5.10, MS-XLSB 2.5.97.2)."""

_ROW, _ERROR, _FORMULA_ERROR, _LAST_CELL = 0, 3, 11, 11
"""Kinds of records of xlsb sheets: a row, and its cells, of which all up to 11 begin with their column."""


def open_xls(data: bytes) -> Any:
    """Return an xls file as xlrd opens it, with the looks of its cells.

    Raises
    ------
    Exception
        Whatever that library raises over a damaged file.
    """
    import xlrd

    return xlrd.open_workbook(file_contents=data, formatting_info=True, ragged_rows=True, logfile=io.StringIO())


def check_chains(data: bytes) -> None:
    """Follow the chains of sectors of a compound file, for a reader may walk in a circle for ever.

    Raises
    ------
    ValueError
        A chain does not end, or no stream of a workbook stands in the file.
    """
    from xlrd.compdoc import CompDoc, CompDocError

    try:
        found = CompDoc(data, logfile=io.StringIO())
        streams = [found.get_named_stream(name) for name in ("Workbook", "Book")]
    except (CompDocError, AssertionError, IndexError, struct.error, UnicodeError) as problem:
        raise ValueError(f"its sectors make no sound chain: {problem}") from problem
    if not any(streams):
        raise ValueError("no workbook stands in the compound file")


def xls_marks(book: Any) -> dict[str, Marks]:
    """Return the marks of each sheet of an opened xls file by its name."""
    return {sheet.name: _sheet_marks(book, sheet) for sheet in book.sheets()}


def _sheet_marks(book: Any, sheet: Any) -> Marks:
    struck = {n for n, form in enumerate(book.xf_list) if book.font_list[form.font_index].struck_out}
    errors = [(r, c) for r in range(sheet.nrows) for c, kind in enumerate(sheet.row_types(r)) if kind == 5]
    marks = Marks(
        texts={(r, c): ERRORS.get(sheet.cell_value(r, c), "#ERROR") for r, c in errors},
        hidden_rows={r for r, row in sheet.rowinfo_map.items() if row.hidden},
        hidden_columns={c for c, column in sheet.colinfo_map.items() if column.hidden},
        rows=sheet.nrows, columns=sheet.ncols,
    )  # fmt: skip
    if struck:
        looks = ((r, c, sheet.cell_xf_index(r, c)) for r in range(sheet.nrows) for c in range(sheet.row_len(r)))
        marks.struck = {(r, c) for r, c, look in looks if look in struck and sheet.cell_type(r, c) not in {0, 6}}
    return marks


def xls_rows(book: Any, sheet: Any) -> list[list[Any]]:
    """Return the cells of one sheet of an opened xls file as Python objects."""
    return [[_value(book, cell) for cell in sheet.row(r)] for r in range(sheet.nrows)]


def _value(book: Any, cell: Any) -> Any:
    import xlrd

    if cell.ctype == xlrd.XL_CELL_DATE:
        moment: dt.datetime = xlrd.xldate_as_datetime(cell.value, book.datemode)
        return moment.date() if moment.time() == dt.time() else moment
    if cell.ctype == xlrd.XL_CELL_ERROR:
        return ERRORS.get(cell.value, "#ERROR")
    return bool(cell.value) if cell.ctype == xlrd.XL_CELL_BOOLEAN else (cell.value if cell.ctype else None)


def xlsb_marks(archive: zipfile.ZipFile) -> list[Marks]:
    """Return errors and extent of each sheet part of an xlsb file, in the order of their numbers.

    Raises
    ------
    ValueError
        A record does not end within its part.
    """
    parts = [part for part in archive.namelist() if "worksheets/" in part.lower() and part.lower().endswith(".bin")]
    return [_binary_sheet(archive.read(part)) for part in sorted(parts, key=lambda part: (len(part), part))]


def _binary_sheet(data: bytes) -> Marks:
    marks, row = Marks(), 0
    for kind, start, size in _records(data):
        if kind == _ROW and size >= 4:
            row = struct.unpack_from("<I", data, start)[0]
        elif kind <= _LAST_CELL and size >= 8:
            column = struct.unpack_from("<I", data, start)[0]
            marks.reach(row, column)
            if kind in {_ERROR, _FORMULA_ERROR} and size >= 9:
                marks.texts[row, column] = ERRORS.get(data[start + 8], "#ERROR")
    return marks


def _records(data: bytes) -> Iterator[tuple[int, int, int]]:
    """Yield kind, start and size of each record of an xlsb part (Microsoft MS-XLSB 2.1.4)."""
    place, end = 0, len(data)
    while place < end:
        kind, place = _number(data, place, 2)
        size, place = _number(data, place, 4)
        if place + size > end:
            raise ValueError("a record of the sheet does not end within its part")
        yield kind, place, size
        place += size


def _number(data: bytes, place: int, most: int) -> tuple[int, int]:
    value = 0
    for n in range(most):
        if place >= len(data):
            raise ValueError("a record of the sheet is cut off")
        byte = data[place]
        place += 1
        value |= (byte & 0x7F) << (7 * n)
        if byte < 0x80:
            break
    return value, place
