"""Turns the bytes of a limit file, CSV or XLSX, into numbered rows of text cells, or into what makes it unreadable.

A workbook cell is taken as it shows: a number with the decimals of its format, a date as an ISO date. A CSV file may
have ``;`` between its cells and then decimal commas, as spreadsheet programs of many countries save it.
"""

from __future__ import annotations

import csv
import io
import re
import warnings
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from pathlib import Path
from typing import TYPE_CHECKING, Any

from wqcheck.errors import LimitTableError, TableProblem
from wqcheck.limit_tables.columns import COLUMNS, NUMBER_COLUMNS, is_number

if TYPE_CHECKING:
    from openpyxl.cell.cell import Cell, MergedCell

Rows = list[tuple[int, dict[str, str]]]
"""Line of the file (row of the sheet) and its cells by column name."""

WORKBOOK_SUFFIXES = (".xlsx", ".xlsm")
HEADER_LINE = 1

_FORMULA_LIKE = re.compile(r"'*[=+\-@]")
_DECIMAL_COMMA = re.compile(r"[+-]?\d*,\d+([eE][+-]?\d+)?", re.ASCII)
_COULD_BE_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}")
_FIXED = re.compile(r"0(?:\.(0+))?")
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f]")
_COMMA_IN_DOUBT = (
    "the comma can be a decimal or a thousands comma; write the number with a decimal point and without thousands marks"
)

Cells = list[str]


@dataclass(frozen=True, slots=True)
class _Grid:
    """Non-blank rows with their lines, and what is wrong with single cells."""

    rows: list[tuple[int, Cells]]
    problems: tuple[TableProblem, ...] = ()


def read_cells(path: Path, content: bytes) -> tuple[Rows, list[TableProblem]]:
    """Return the rows below the header of the file *content* with all cells stripped, and the bad cells.

    Parameters
    ----------
    path : Path
        Names the file in problems; its ending says whether it is a workbook.
    content : bytes
        What was read from it.

    Raises
    ------
    LimitTableError
        The file is no limit table at all: not readable, or not with this header.
    """
    if content.startswith(b"PK\x03\x04") or path.suffix.lower() in WORKBOOK_SUFFIXES:
        grid = _workbook_grid(path, content)
    else:
        grid = _text_grid(path, content)
    rows, problems = _named_rows(path.name, grid.rows)
    return rows, [*grid.problems, *problems]


def refused(path: Path, given: str, message: str) -> LimitTableError:
    """Return the error for a file that cannot be used as a whole."""
    return LimitTableError(path, [TableProblem(path.name, HEADER_LINE, "", given, message)])


def guarded(text: str) -> str:
    """Return *text* so that a spreadsheet that opens the CSV file takes it for no formula; numbers stay bare."""
    return f"'{text}" if _FORMULA_LIKE.match(text) and not is_number(text) else text


def _unguarded(text: str) -> str:
    return text[1:] if text.startswith("'") and _FORMULA_LIKE.match(text) else text


def _named_rows(file: str, records: list[tuple[int, Cells]]) -> tuple[Rows, list[TableProblem]]:
    rows: Rows = []
    problems = []
    for line, cells in records:
        trimmed = _without_blank_end(cells)
        if len(trimmed) != len(COLUMNS):
            message = (
                f"a row has {len(COLUMNS)} cells and this one {len(trimmed)}; "
                "put quotes around a cell that holds the mark between cells"
            )
            problems.append(TableProblem(file, line, "", ",".join(cells)[:80], message))
            continue
        row = dict(zip(COLUMNS, trimmed, strict=True))
        problems += control_problems(file, line, row)
        rows.append((line, row))
    return rows, problems


def control_problems(file: str, line: int, row: Mapping[str, str]) -> list[TableProblem]:
    """Return a problem for each cell of a row that holds a character that no file can carry."""
    return [
        TableProblem(file, line, column, text, "the cell holds a control character; type it again")
        for column, text in row.items()
        if _CONTROL.search(text)
    ]


def _without_blank_end(cells: Cells) -> Cells:
    """Drop blank cells beyond the last column, as spreadsheet programs add them."""
    beyond = cells[len(COLUMNS) :]
    return cells if any(beyond) else cells[: len(COLUMNS)]


def _text_grid(path: Path, content: bytes) -> _Grid:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        message = f"the file is not UTF-8 (byte {error.start}); save it as CSV UTF-8"
        raise refused(path, content[error.start : error.end].hex(), message) from None
    delimiter = max(",;", key=lambda mark: len(set(COLUMNS) & set(_header_cells(text, mark))))
    try:
        records = list(_numbered(text, delimiter))
    except csv.Error as error:
        raise refused(path, str(error), "the file cannot be read as CSV; save it again") from None
    header = _without_blank_end(records[0][1]) if records else []
    if header != list(COLUMNS):
        raise _wrong_header(path, header)
    body = [(line, [_unguarded(cell) for cell in cells]) for line, cells in records[1:]]
    return _with_points(path.name, body) if delimiter == ";" else _Grid(body)


def _header_cells(text: str, delimiter: str) -> Cells:
    first = next((line for line in text.splitlines() if line.strip()), "")
    return _without_blank_end([cell.strip() for cell in next(csv.reader([first], delimiter=delimiter), [])])


def _wrong_header(path: Path, header: Sequence[str]) -> LimitTableError:
    missing = ", ".join(column for column in COLUMNS if column not in header) or "none"
    message = f"the header must be {','.join(COLUMNS)}; missing: {missing}"
    return refused(path, ",".join(header), message)


def _numbered(text: str, delimiter: str) -> Iterator[tuple[int, Cells]]:
    """Yield each non-blank record of CSV *text* with the line on which it begins."""
    reader = csv.reader(io.StringIO(text, newline=""), strict=True, delimiter=delimiter)
    begins = 1
    for cells in reader:
        stripped = [_plain(cell) for cell in cells]
        if any(stripped):
            yield begins, stripped
        begins = reader.line_num + 1


def _plain(text: str) -> str:
    return text.replace("\r\n", "\n").replace("\r", "\n").strip()


def _with_points(file: str, records: list[tuple[int, Cells]]) -> _Grid:
    """Write decimal commas of the number columns as points; a comma that may mark thousands is a problem."""
    places = [COLUMNS.index(column) for column in (*NUMBER_COLUMNS, "weights")]
    problems = []
    for line, cells in records:
        for place in places:
            if place >= len(cells) or "," not in cells[place]:
                continue
            parts = [part.strip() for part in cells[place].split(";")]
            if any(_COULD_BE_THOUSANDS.fullmatch(part) for part in parts):
                problems.append(TableProblem(file, line, COLUMNS[place], cells[place], _COMMA_IN_DOUBT))
            cells[place] = ";".join(
                part.replace(",", ".") if _DECIMAL_COMMA.fullmatch(part) else part for part in parts
            )
    return _Grid(records, tuple(problems))


def _workbook_grid(path: Path, content: bytes) -> _Grid:
    from openpyxl import load_workbook  # noqa: PLC0415 a CSV table needs no workbook library

    try:
        with warnings.catch_warnings(action="ignore"):  # of parts of a workbook that are not copied, such as pictures
            book = load_workbook(io.BytesIO(content))
    except (zipfile.BadZipFile, KeyError, ValueError, OSError, TypeError) as error:
        given = " ".join(str(error).split())[:120]
        raise refused(path, given, "the workbook cannot be read; save it as .xlsx again, without a password") from None
    tables = {}
    for sheet in book.worksheets:
        lines = [(number, list(cells)) for number, cells in enumerate(sheet.iter_rows(), start=1)]
        tables[sheet.title] = [(line, cells) for line, cells in lines if any(cell_text(cell) for cell in cells)]
    limits = {title: rows for title, rows in tables.items() if rows and _texts(rows[0][1]) == list(COLUMNS)}
    if not limits:
        first = next((rows for rows in tables.values() if rows), [])
        raise _wrong_header(path, _texts(first[0][1]) if first else [])
    if len(limits) > 1:
        raise refused(path, ", ".join(limits), "more than one sheet holds a limit table; keep one of them in this file")
    body = next(iter(limits.values()))[1:]
    return _Grid([(line, _padded(_texts(cells))) for line, cells in body], tuple(_cell_problems(path.name, body)))


def _texts(cells: Sequence[Any]) -> Cells:
    return _without_blank_end([cell_text(cell) for cell in cells])


def _padded(cells: Cells) -> Cells:
    return cells + [""] * (len(COLUMNS) - len(cells))


def cell_text(cell: Cell | MergedCell) -> str:
    """Return the content of a workbook cell as it shows: numbers with the decimals of their format, ISO dates."""
    value = cell.value
    if isinstance(value, bool):
        return str(value).upper()
    if isinstance(value, int | float):
        return _number_text(value, str(cell.number_format))
    if isinstance(value, datetime):
        return value.date().isoformat() if value.time() == time() else value.isoformat(" ")
    if isinstance(value, date | time):
        return value.isoformat()
    return "" if value is None else _plain(str(value))


def _number_text(value: float, number_format: str) -> str:
    """Write a number with the decimals that its cell shows, unless that would change it."""
    fixed = _FIXED.fullmatch(number_format)
    shown = f"{value:.{len(fixed[1] or '')}f}" if fixed else ""
    if shown and float(shown) == value:
        return shown
    return str(int(value)) if value == int(value) and abs(value) < 1e15 else repr(float(value))


def _cell_problems(file: str, body: list[tuple[int, list[Any]]]) -> Iterator[TableProblem]:
    messages = {
        "f": "the cell holds a formula; put its value there instead",
        "e": "the cell holds an error of the spreadsheet; correct it",
    }
    for line, cells in body:
        for column, cell in zip(COLUMNS, cells, strict=False):
            if cell.data_type in messages:
                yield TableProblem(file, line, column, cell_text(cell), messages[cell.data_type])
