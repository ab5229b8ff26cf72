"""Turns the bytes of an xlsx, xlsm, xls, xlsb or ods file into sheets, with a second reader where the first one fails.

python-calamine reads all of them; it leaves errors and formulas without a saved value blank, so these come from the
marks of the sheets. openpyxl (xlsx) and xlrd (xls) are the second readers.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

from wqcheck.errors import WorkbookError
from wqcheck.sheets.archives import open_archive
from wqcheck.sheets.grid import Book, Sheet, sheet_of
from wqcheck.sheets.marks import Marks, check_extent
from wqcheck.sheets.ods_marks import ods_marks
from wqcheck.sheets.ooxml_marks import ooxml_marks
from wqcheck.sheets.reading_limits import ReadingLimits
from wqcheck.sheets.shown_marks import add_shown_marks
from wqcheck.sheets.xls_marks import check_sound, open_xls, xls_marks, xls_rows
from wqcheck.sheets.xlsb_marks import xlsb_marks

ZIP, OLE = b"PK\x03\x04", b"\xd0\xcf\x11\xe0"
_MANIFEST = "META-INF/manifest.xml"
_PASSWORD = "{} is protected by a password; open it, save a copy without password and give that"
_NOT_LOOKED_AT = (
    "number formats and struck cells of a binary .xlsb workbook are not looked at; where they may matter, save it as "
    ".xlsx and read that"
)
_UNREAD_COMMENTS = (
    "the workbook has comments on its cells, which cannot be read in the binary form .xlsb; save it as .xlsx and read "
    "that"
)
_NOT_CHECKED = (
    "cells that hold an error could not be told from blank ones, for the file is damaged in part; open it in a "
    "spreadsheet program, save it as .xlsx and read that"
)


@dataclass(slots=True, eq=False)
class _Opened:
    """A workbook file on its way to sheets; ``old`` is an xls file as xlrd opened it."""

    name: str
    data: bytes
    limits: ReadingLimits
    marks: dict[str, Marks] = field(default_factory=dict)
    in_order: list[Marks] = field(default_factory=list)
    old: Any = None
    remarks: list[str] = field(default_factory=list)
    doubts: list[str] = field(default_factory=list)

    def marks_of(self, sheet: str, number: int, of: int) -> Marks:
        """Return the marks of the sheet of that name, or of that number where marks are known by number alone."""
        if len(self.in_order) == of:
            return self.in_order[number]
        return self.marks.get(sheet) or Marks()


def workbook_book(name: str, data: bytes, sha256: str, limits: ReadingLimits) -> Book:
    """Return the sheets of a workbook file.

    Raises
    ------
    WorkbookError
        It is encrypted, damaged beyond reading, or asks for more than *limits* allow.
    """
    opened = _Opened(name, data, limits)
    if data.startswith(OLE):
        _take_old_marks(opened)
    else:
        _take_marks(opened)
    try:
        sheets = tuple(_first_reader(opened))
    except (KeyboardInterrupt, SystemExit, WorkbookError, MemoryError):
        raise
    except BaseException as problem:
        sheets = _second_reader(opened, problem)
    return Book(name, sha256, sheets, tuple(opened.remarks), tuple(opened.doubts))


def _take_marks(opened: _Opened) -> None:
    with open_archive(opened.name, opened.data, opened.limits) as archive:
        parts = set(archive.namelist())
        if "content.xml" in parts:
            if b"manifest:encryption-data" in (archive.read("META-INF/manifest.xml") if _MANIFEST in parts else b""):
                raise WorkbookError(_PASSWORD.format(opened.name))
            opened.marks = ods_marks(opened.name, archive)
        elif "xl/workbook.bin" in parts:
            opened.in_order = xlsb_marks(opened.name, archive, opened.limits)
            opened.remarks.append(_NOT_LOOKED_AT)
            if any("comments" in part.lower() for part in parts):
                opened.doubts.append(_UNREAD_COMMENTS)
        else:
            opened.marks = ooxml_marks(opened.name, archive, opened.limits)
            add_shown_marks(archive, opened.limits, opened.marks)
    numbered = {str(number): marks for number, marks in enumerate(opened.in_order, start=1)}
    check_extent(opened.name, opened.marks or numbered, opened.limits)


def _take_old_marks(opened: _Opened) -> None:
    if "EncryptedPackage".encode("utf-16-le") in opened.data:
        raise WorkbookError(_PASSWORD.format(opened.name))
    try:
        opened.old = open_xls(opened.data)
        opened.marks = xls_marks(opened.old)
    except Exception as problem:
        if "encrypted" in str(problem).lower():
            raise WorkbookError(_PASSWORD.format(opened.name)) from problem
        opened.doubts.append(_NOT_CHECKED)
    check_extent(opened.name, opened.marks, opened.limits)


def _first_reader(opened: _Opened) -> Iterator[Sheet]:
    import python_calamine

    if opened.data.startswith(OLE):
        check_sound(opened.data)
    book = python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(opened.data))
    visible, worksheet = python_calamine.SheetVisibleEnum.Visible, python_calamine.SheetTypeEnum.WorkSheet
    listed = [(sheet.name, sheet.visible != visible) for sheet in book.sheets_metadata if sheet.typ == worksheet]
    for number, (name, hidden) in enumerate(listed):
        marks = opened.marks_of(name, number, len(listed))
        sheet = book.get_sheet_by_name(name)
        width = max([sheet.end[1] + 1 if sheet.end else 0, *(column + 1 for _, column in marks.texts)])
        as_it_is = sheet.start and sheet.start[1] == 0 and not marks.texts
        rows = sheet.iter_rows() if as_it_is else _rows(sheet, marks, width)
        plain = sheet_of(name, rows, width, hidden=hidden, marks=marks)
        marks.merged.extend(sheet.merged_cell_ranges or ())
        _spread_down(plain, marks.merged)
        yield plain


def _rows(sheet: Any, marks: Marks, width: int) -> Iterator[list[Any]]:
    """Yield the rows of the sheet from its first on, with the texts of *marks* in their cells."""
    texts: dict[int, dict[int, str]] = {}
    for (place, column), text in marks.texts.items():
        texts.setdefault(place, {})[column] = text
    left = [None] * (sheet.start[1] if sheet.start else 0)
    number = 0
    for cells in sheet.iter_rows() if sheet.start else ():
        row = [*left, *cells] if left else cells
        yield _with(row, texts.get(number), width) if texts else row
        number += 1
    for later in range(number, max(texts, default=-1) + 1):
        yield _with([], texts.get(later), width)


def _with(row: list[Any], texts: dict[int, str] | None, width: int) -> list[Any]:
    if not texts:
        return row
    filled = [*row, *[None] * (width - len(row))]
    for column, text in texts.items():
        filled[column] = text
    return filled


def _spread_down(sheet: Sheet, merged: Iterable[tuple[tuple[int, int], tuple[int, int]]]) -> None:
    """Write the value of a cell that is merged over rows of one column into each of them."""
    for (top, left), (bottom, right) in merged:
        if left == right < sheet.cells.shape[1] and top < len(sheet.cells):
            sheet.spread_down(top, bottom, left)


def _second_reader(opened: _Opened, first: BaseException) -> tuple[Sheet, ...]:
    reason = " ".join(str(first).split())[:120] or type(first).__name__
    try:
        sheets = _by_xlrd(opened) if opened.data.startswith(OLE) else _by_openpyxl(opened)
    except Exception as problem:
        kind = "an old binary file" if opened.data.startswith(OLE) else "a zip file"
        raise WorkbookError(
            f"{opened.name} cannot be read as a workbook: it is {kind} with contents that no reader understands "
            f"({reason}); open it in a spreadsheet program and save it as .xlsx or .csv"
        ) from problem
    opened.remarks.append(f"read with the second reader, for the first one failed: {reason}")
    return sheets


def _by_xlrd(opened: _Opened) -> tuple[Sheet, ...]:
    if opened.old is None:
        raise ValueError("the second reader does not understand it either")
    return tuple(
        sheet_of(
            sheet.name, xls_rows(opened.old, sheet), sheet.ncols, hidden=sheet.visibility != 0,
            marks=opened.marks.get(sheet.name),
        )
        for sheet in opened.old.sheets()
    )  # fmt: skip


def _by_openpyxl(opened: _Opened) -> tuple[Sheet, ...]:
    import openpyxl

    sheets = []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        book = openpyxl.load_workbook(io.BytesIO(opened.data), read_only=True, data_only=True)
        for sheet in book.worksheets:
            sheet.reset_dimensions()
            marks = opened.marks.get(sheet.title) or Marks()
            rows = [list(row) for row in sheet.iter_rows(values_only=True)]
            width = max(map(len, rows), default=0)
            sheets.append(sheet_of(sheet.title, rows, width, hidden=sheet.sheet_state != "visible", marks=marks))
        book.close()
    return tuple(sheets)
