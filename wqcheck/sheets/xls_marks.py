"""Turns an xls file into the marks of its sheets, and into cells where the first reader fails."""

from __future__ import annotations

import datetime as dt
import io
import struct
from typing import Any

from wqcheck.sheets.marks import Marks
from wqcheck.sheets.number_formats import may_differ

ERRORS = {0x00: "#NULL!", 0x07: "#DIV/0!", 0x0F: "#VALUE!", 0x17: "#REF!", 0x1D: "#NAME?", 0x24: "#NUM!", 0x2A: "#N/A"}
"""Codes of errors in binary workbooks (``BErr`` of Microsoft MS-XLS and MS-XLSB, from memory)."""

_DIMENSIONS, _DIMENSIONS_SIZE = 0x0200, 14
_CELLS = frozenset([0x0006, 0x00BD, 0x00BE, 0x00D6, 0x00FD, 0x0201, 0x0203, 0x0204, 0x0205, 0x027E])
_BEGINNING = 0x0809
"""Records of cells, which begin with row and column, and of the beginning of a sheet (MS-XLS, from memory)."""


def open_xls(data: bytes) -> Any:
    """Return an xls file as xlrd opens it, with the looks of its cells.

    Raises
    ------
    Exception
        Whatever that library raises over a damaged file.
    """
    import xlrd

    return xlrd.open_workbook(file_contents=data, formatting_info=True, ragged_rows=True, logfile=io.StringIO())


def check_sound(data: bytes) -> None:
    """Refuse an xls file over which a reader may walk in a circle for ever, or make room for cells that it has not.

    Counts of sectors are those of the header (Microsoft MS-CFB 2.2), the extent of a sheet that of its record
    ``Dimensions`` (MS-XLS; number of the clause 2.4.90 from memory).

    Raises
    ------
    ValueError
        A chain of sectors does not end, a count or an extent cannot be, or no workbook stands in the file.
    """
    from xlrd.compdoc import CompDoc, CompDocError

    shift, *counts = struct.unpack_from("<30xH8xII16xI4xI", data.ljust(512, b"\0"))
    if shift not in {9, 12} or any(count > len(data) >> shift for count in counts):
        raise ValueError("its header counts more sectors than it holds")
    try:
        found = CompDoc(data, logfile=io.StringIO())
        streams = [found.get_named_stream(name) for name in ("Workbook", "Book")]
    except (CompDocError, AssertionError, IndexError, struct.error, UnicodeError) as problem:
        raise ValueError(f"its sectors make no sound chain: {problem}") from problem
    if not any(streams):
        raise ValueError("no workbook stands in the compound file")
    for stream in filter(None, streams):
        _check_extents(stream)


def _check_extents(stream: bytes) -> None:
    place = last = 0
    while place + 4 <= len(stream):
        kind, size = struct.unpack_from("<HH", stream, place)
        if kind == _BEGINNING:
            last = 0
        if kind in _CELLS and size >= 4 and place + 8 <= len(stream):
            row, column = struct.unpack_from("<HH", stream, place + 4)
            if row < last or column >= 256:
                raise ValueError("a cell stands beyond the last column, or its row before that of the cell ahead of it")
            last = row
        if kind == _DIMENSIONS and place + 4 + _DIMENSIONS_SIZE <= len(stream):
            top, end, left, right = struct.unpack_from("<IIHH", stream, place + 4)
            if size >= _DIMENSIONS_SIZE and not (top <= end <= 65_536 and left <= right <= 256):
                raise ValueError("a sheet says that it reaches beyond the last row or column")
        place += 4 + size


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
    notes = ((place, " ".join(str(note.text).split())) for place, note in sheet.cell_note_map.items())
    marks.comments = {place: text for place, text in notes if text}
    odd = _odd_styles(book)
    if struck or odd:
        places = ((r, c) for r in range(sheet.nrows) for c in range(sheet.row_len(r)))
        looks = {place: sheet.cell_xf_index(*place) for place in places if sheet.cell_type(*place) not in {0, 6}}
        marks.struck = {place for place, look in looks.items() if look in struck}
        marks.formats = {place: odd[look] for place, look in looks.items() if look in odd}
    return marks


def _odd_styles(book: Any) -> dict[int, str]:
    """Return, by number of the cell style, each format that could show something else than the value."""
    codes = {key: form.format_str for key, form in book.format_map.items() if may_differ(form.format_str or "")}
    return {number: codes[form.format_key] for number, form in enumerate(book.xf_list) if form.format_key in codes}


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
