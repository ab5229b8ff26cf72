"""Turns the bytes of a workbook or text file into sheets of plain cells.

A cell is None when blank, else ``str``, ``float``, ``date``, ``datetime`` or ``time``. Positions are those of
the file: row 0, column 0 is A1. xlsx, xlsm, xls, xlsb and ods go through python-calamine, with openpyxl as second
reader for xlsx files on which it fails; all else is text (csv, tsv, txt) with its encoding and delimiter found.
"""

from __future__ import annotations

import codecs
import csv
import hashlib
import io
import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from wqcheck.errors import WorkbookError
from wqcheck.sheets.formulas import cells_without_value

Cells = npt.NDArray[np.object_]

_ZIP, _OLE = b"PK\x03\x04", b"\xd0\xcf\x11\xe0"
_BOMS = ((codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))
_OTHER_FILES = {
    b"%PDF": "a PDF document", b"\x89PNG": "a picture", b"\xff\xd8\xff": "a picture", b"GIF8": "a picture",
    b"{\\rtf": "a text document", b"<?xml": "an XML file", b"<!doctype": "a web page", b"<html": "a web page",
    b"<table": "a web page", b"Rar!": "an archive", b"7z\xbc\xaf": "an archive", b"\x1f\x8b": "an archive",
}  # fmt: skip
"""What the first bytes say of files that are neither workbooks nor delimited text, whatever their name."""

_NO_WORKBOOK = "{} is neither a workbook nor text; give an .xlsx, .xls, .ods or .csv file"
_CONTROL = re.compile(r"[\x00-\x08\x0e-\x1f]")
_DELIMITERS = ",;\t|"
BLANK, TEXT, NUMBER, OTHER, _WHOLE, _FLAG = range(6)
"""How a cell is stored; whole numbers and booleans only until they are turned into floats and words."""


@dataclass(frozen=True, slots=True, eq=False)
class Sheet:
    """One sheet, or one of the tables below one another in it: rows × columns of cells.

    ``name`` is ``""`` for a text file; ``stored`` says of each cell whether it is :data:`BLANK`, :data:`TEXT`,
    :data:`NUMBER` or :data:`OTHER`; ``top`` is the number of rows of the file above the first row of ``cells``.
    """

    name: str
    cells: Cells
    stored: npt.NDArray[np.int8]
    hidden: bool = False
    top: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class Book:
    """One workbook: file name, SHA-256 of its bytes, its sheets, and remarks on how it was opened."""

    name: str
    sha256: str
    sheets: tuple[Sheet, ...]
    remarks: tuple[str, ...] = ()


def open_book(source: Path | tuple[str, bytes]) -> Book:
    """Return the sheets of *source*.

    Parameters
    ----------
    source : Path or (name, bytes)
        A file, or an upload with its file name.

    Raises
    ------
    WorkbookError
        The file is missing, empty, encrypted or no workbook; the sentence says which and how to mend it.
    """
    name, data = _load(source)
    if not data:
        raise WorkbookError(f"{name} is empty (0 bytes); save or send the file again")
    start = data.removeprefix(codecs.BOM_UTF8).lstrip()[:16]
    for mark, kind in _OTHER_FILES.items():
        if start.startswith(mark) or start.lower().startswith(mark):
            raise WorkbookError(f"{name} is {kind}; ask for the results as .xlsx, .ods or .csv, or save them so")
    remarks: list[str] = []
    if data.startswith((_ZIP, _OLE)):
        sheets = _workbook_sheets(name, data, remarks)
    else:
        sheets = (_text_sheet(name, data, remarks),)
    return Book(name, hashlib.sha256(data).hexdigest(), sheets, tuple(remarks))


def _load(source: Path | tuple[str, bytes]) -> tuple[str, bytes]:
    if isinstance(source, tuple):
        return source
    if not source.exists():
        raise WorkbookError(f"{source} does not exist; check the path")
    if not source.is_file():
        raise WorkbookError(f"{source} is not a file; give the path of a workbook or CSV file")
    try:
        return source.name, source.read_bytes()
    except OSError as problem:
        raise WorkbookError(
            f"{source} cannot be opened ({problem.strerror}); close it elsewhere or copy it"
        ) from problem


def _workbook_sheets(name: str, data: bytes, remarks: list[str]) -> tuple[Sheet, ...]:
    import python_calamine

    if data.startswith(_OLE) and "EncryptedPackage".encode("utf-16-le") in data:
        raise WorkbookError(f"{name} is protected by a password; open it, save a copy without password and give that")
    try:
        book = python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(data))
        hidden = {
            sheet.name for sheet in book.sheets_metadata if sheet.visible != python_calamine.SheetVisibleEnum.Visible
        }
        worksheets = {
            sheet.name for sheet in book.sheets_metadata if sheet.typ == python_calamine.SheetTypeEnum.WorkSheet
        }
        unsaved = cells_without_value(data) if data.startswith(_ZIP) else {}
        found = []
        for sheet in (book.get_sheet_by_name(name) for name in book.sheet_names if name in worksheets):
            rows = _with_texts(sheet.to_python(skip_empty_area=False), unsaved.get(sheet.name, {}))
            plain = _sheet(sheet.name, rows, hidden=sheet.name in hidden)
            _spread_down(plain.cells, sheet.merged_cell_ranges or ())
            found.append(plain)
        return tuple(found)
    except (KeyboardInterrupt, SystemExit):
        raise
    except BaseException as problem:
        return _second_reader(name, data, problem, remarks)


def _spread_down(cells: Cells, merged: Iterable[tuple[tuple[int, int], tuple[int, int]]]) -> None:
    """Write the value of a cell that is merged over rows of one column into each of them; they stay stored as blank."""
    for (top, left), (bottom, right) in merged:
        if left == right < cells.shape[1] and top < len(cells):
            cells[top + 1 : bottom + 1, left] = cells[top, left]


def _with_texts(rows: list[list[Any]], texts: Mapping[tuple[int, int], str]) -> list[list[Any]]:
    """Return *rows* with *texts* in their cells, the rows lengthened where need be."""
    for (row, column), text in texts.items():
        rows.extend([] for _ in range(row + 1 - len(rows)))
        rows[row].extend([None] * (column + 1 - len(rows[row])))
        rows[row][column] = text
    return rows


def _second_reader(name: str, data: bytes, first: BaseException, remarks: list[str]) -> tuple[Sheet, ...]:
    import openpyxl

    reason = " ".join(str(first).split())[:120] or type(first).__name__
    try:
        book = openpyxl.load_workbook(io.BytesIO(data), read_only=False, data_only=True)
    except Exception as problem:
        kind = "a zip file" if data.startswith(_ZIP) else "an old binary file"
        raise WorkbookError(
            f"{name} cannot be read as a workbook: it is {kind} with contents that no reader understands ({reason}); "
            "open it in a spreadsheet program and save it as .xlsx or .csv"
        ) from problem
    remarks.append(f"read with the second reader, for the first one failed: {reason}")
    return tuple(
        _sheet(sheet.title, list(sheet.iter_rows(values_only=True)), hidden=sheet.sheet_state != "visible")
        for sheet in book.worksheets
    )


def _text_sheet(name: str, data: bytes, remarks: list[str]) -> Sheet:
    text, encoding = _decode(name, data)
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    delimiter = _delimiter(text)
    if encoding not in {"utf-8", "utf-8-sig"}:
        remarks.append(f"read as {encoding} text")
    csv.field_size_limit(max(csv.field_size_limit(), len(text)))
    try:
        return _sheet("", list(csv.reader(io.StringIO(text), delimiter=delimiter)))
    except csv.Error as problem:
        raise WorkbookError(f"{name} cannot be read as delimited text ({problem}); save it again as CSV") from problem


def _decode(name: str, data: bytes) -> tuple[str, str]:
    encoding = next((encoding for bom, encoding in _BOMS if data.startswith(bom)), "")
    marked = encoding != ""
    if not encoding and b"\0" in data[:4000]:
        even, odd = data[:4000:2].count(0), data[1:4000:2].count(0)
        encoding = "utf-16-le" if odd > 4 * even else "utf-16-be" if even > 4 * odd else ""
        if not encoding:
            raise WorkbookError(_NO_WORKBOOK.format(name))
    for candidate in [encoding] if encoding else ["utf-8", "cp1252", "latin-1"]:
        with suppress(UnicodeDecodeError):
            text = data.decode(candidate)
            if _CONTROL.search(text):
                raise WorkbookError(_NO_WORKBOOK.format(name))
            return text, candidate
    if not marked:
        raise WorkbookError(_NO_WORKBOOK.format(name))
    raise WorkbookError(f"{name} cannot be decoded as {encoding} text; save it again as UTF-8")


def _delimiter(text: str) -> str:
    """Return the delimiter that cuts the first lines into the most even rows of more than one field."""
    lines = [line for line in text[:200_000].split("\n")[:200] if line.strip()]

    def evenness(delimiter: str) -> tuple[float, int]:
        try:
            widths = [len(row) for row in csv.reader(lines, delimiter=delimiter)]
        except csv.Error:
            return 0.0, 0
        wide = Counter(width for width in widths if width > 1)
        if not wide:
            return 0.0, 0
        width, often = wide.most_common(1)[0]
        return often / len(widths) * min(width, 8) ** 0.5, width

    return max(_DELIMITERS, key=evenness)


def _sheet(name: str, rows: Sequence[Iterable[Any]], *, hidden: bool = False) -> Sheet:
    """Return *rows* as a sheet: blanks None, whole numbers floats, booleans their word, no blank rows at the end."""
    listed = [row if isinstance(row, list) else list(row) for row in rows]
    width = max(map(len, listed), default=0)
    if any(len(row) != width for row in listed):
        listed = [row + [None] * (width - len(row)) for row in listed]
    cells = np.empty((len(listed), width), dtype=object)
    if cells.size:
        cells[:] = listed
    stored = np.array(_storages(cells.ravel().tolist()), dtype=np.int8).reshape(cells.shape)
    cells[stored == BLANK] = None
    whole = stored == _WHOLE
    cells[whole], stored[whole] = cells[whole].astype(np.float64), NUMBER
    flags = stored == _FLAG
    cells[flags], stored[flags] = [str(cell).upper() for cell in cells[flags]], TEXT
    used = np.flatnonzero((stored != BLANK).any(axis=1))
    end = int(used[-1]) + 1 if len(used) else 0
    return Sheet(name, cells[:end], stored[:end], hidden)


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
