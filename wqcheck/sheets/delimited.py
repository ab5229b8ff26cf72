"""Turns delimited text in whatever encoding, with whatever delimiter and line end, into a sheet of cells."""

from __future__ import annotations

import codecs
import csv
import io
from collections import Counter
from contextlib import suppress
from typing import Literal

import numpy as np
import pyarrow as pa
import pyarrow.csv as arrow_csv

from wqcheck.errors import WorkbookError
from wqcheck.sheets.grid import Book, Sheet, sheet_of, sheet_of_columns
from wqcheck.sheets.reading_limits import ReadingLimits

_BOMS = ((codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))
NO_WORKBOOK = "{} is neither a workbook nor text; give an .xlsx, .xls, .ods or .csv file"
_TOO_MANY = (
    "{} reaches over {:,} cells and {:,} are allowed; check that it is delimited text, share it out over several "
    "files, or raise the limit"
)
_TOO_WIDE = (
    "{} has rows of {:,} columns and {:,} are allowed; check that it is delimited text with one row on each line, or "
    "raise the limit"
)
_UNCLOSED = (
    "a quotation mark is opened and never closed, so all quotation marks were read as plain text; look whether the "
    "rows around it were cut rightly, or save the file again"
)
_CONTROL = bytes([*range(9), *range(14, 32)])
_DELIMITERS = ",;\t|"


def text_book(name: str, data: bytes, sha256: str, limits: ReadingLimits) -> Book:
    """Return the one sheet of the delimited text *data*.

    Raises
    ------
    WorkbookError
        It is no text, cannot be decoded, or is larger than *limits* allow.
    """
    if len(data) > limits.text_bytes:
        raise WorkbookError(too_large(name, len(data), limits.text_bytes))
    text, encoding = decode(name, data)
    text = text.replace("\r\n", "\n").replace("\r", "\n") if "\r" in text else text
    delimiter = _delimiter(text)
    fields = text.count(delimiter) + text.count("\n")
    if fields > limits.cells:
        raise WorkbookError(_TOO_MANY.format(name, fields, limits.cells))
    remarks = [] if encoding in {"utf-8", "utf-8-sig"} else [f"read as {encoding} text"]
    unclosed = text.count('"') % 2 == 1
    doubts = [_UNCLOSED] if unclosed else []
    width = text.partition("\n")[0].count(delimiter) + 1
    plain = (unclosed or '"' not in text) and width <= limits.columns
    sheet = _even_sheet(text, delimiter, width) if plain else None
    if sheet is None:
        rows = _rows(name, text, delimiter, csv.QUOTE_NONE if unclosed else csv.QUOTE_MINIMAL)
        width = max(map(len, rows), default=0)
        if len(rows) * width > limits.cells:
            raise WorkbookError(_TOO_MANY.format(name, len(rows) * width, limits.cells))
        if width > limits.columns:
            raise WorkbookError(_TOO_WIDE.format(name, width, limits.columns))
        sheet = sheet_of("", rows, width)
    return Book(name, sha256, (sheet,), tuple(remarks), tuple(doubts))


def _rows(name: str, text: str, delimiter: str, quoting: Literal[0, 3]) -> list[list[str]]:
    csv.field_size_limit(max(csv.field_size_limit(), len(text)))
    try:
        return list(csv.reader(io.StringIO(text), delimiter=delimiter, quoting=quoting))
    except csv.Error as problem:
        raise WorkbookError(f"{name} cannot be read as delimited text ({problem}); save it again as CSV") from problem


def _even_sheet(text: str, delimiter: str, width: int) -> Sheet | None:
    """Return the sheet of a text without quoted fields, None where its rows have not all the same number of fields.

    Arrow cuts such a text many times faster than the csv module, and gives each distinct text of a column once.
    """
    data = text.encode()
    names = [str(place) for place in range(width)]
    kind = pa.dictionary(pa.int32(), pa.string())
    try:
        table = arrow_csv.read_csv(
            pa.BufferReader(data),
            arrow_csv.ReadOptions(use_threads=False, block_size=len(data) + 1, column_names=names),
            arrow_csv.ParseOptions(delimiter=delimiter, quote_char=False, ignore_empty_lines=False),
            arrow_csv.ConvertOptions(column_types=dict.fromkeys(names, kind)),
        )
    except pa.ArrowInvalid:
        return None
    columns = [column.combine_chunks() for column in table.columns]
    distinct = [column.dictionary.to_pylist() for column in columns]
    blank = [np.array([not value.strip() for value in values], dtype=bool) for values in distinct]
    codes = [column.indices.to_numpy(zero_copy_only=False) for column in columns]
    filled = [np.where(none[column], np.int32(-1), column) for column, none in zip(codes, blank, strict=True)]
    return sheet_of_columns("", filled, distinct)


def too_large(name: str, given: int, allowed: int) -> str:
    """Return the sentence that refuses a file of *given* bytes where *allowed* are."""
    return (
        f"{name} has {given / 2**20:,.0f} MiB and {allowed / 2**20:,.0f} MiB are allowed; share it out over several "
        "files, or raise the limit"
    )


def decode(name: str, data: bytes) -> tuple[str, str]:
    """Return *data* as text and the encoding that it was in."""
    encoding = next((encoding for bom, encoding in _BOMS if data.startswith(bom)), "")
    marked = encoding != ""
    if not encoding and b"\0" in data[:4000]:
        even, odd = data[:4000:2].count(0), data[1:4000:2].count(0)
        encoding = "utf-16-le" if odd > 4 * even else "utf-16-be" if even > 4 * odd else ""
        if not encoding:
            raise WorkbookError(NO_WORKBOOK.format(name))
    for candidate in [encoding] if encoding else ["utf-8", "cp1252", "latin-1"]:
        with suppress(UnicodeDecodeError):
            text = data.decode(candidate)
            if _has_control(text):
                raise WorkbookError(NO_WORKBOOK.format(name))
            return text, candidate
    if not marked:
        raise WorkbookError(NO_WORKBOOK.format(name))
    raise WorkbookError(f"{name} cannot be decoded as {encoding} text; save it again as UTF-8")


def _has_control(text: str) -> bool:
    encoded = text.encode()
    return len(encoded.translate(None, _CONTROL)) < len(encoded)


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
