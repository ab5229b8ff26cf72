"""Turns the binary parts of an xlsb file into the marks of its sheets: errors, hidden rows and columns, extent.

Records and their contents are those of Microsoft MS-XLSB (``BrtRowHdr`` 2.4.761, ``BrtColInfo``); the numbers of their
kinds are from memory. A reader may walk in a circle for ever over a
record that is shorter than its kind asks for, so such a part is refused.
"""

from __future__ import annotations

import struct
import zipfile
from collections.abc import Iterator

from wqcheck.errors import WorkbookError
from wqcheck.sheets.archives import whole_part
from wqcheck.sheets.marks import MOST_COLUMNS, MOST_ROWS, Marks, outside
from wqcheck.sheets.reading_limits import ReadingLimits
from wqcheck.sheets.xls_marks import ERRORS

_ROW, _TEXT, _COLUMNS = 0, 6, 60
_ERRORS = frozenset([3, 11])
_SHORTEST = {0: 17, 1: 8, 2: 12, 3: 9, 4: 9, 5: 16, 6: 12, 7: 12, 8: 12, 9: 16, 10: 9, 11: 9}
"""Fewest bytes of a row header and of the kinds of cells, all of which begin with their column and their style: blank,
small number, error, boolean, number, text, shared text, and formulas of a text, number, boolean and error."""

_BEGIN, _END = 145, 146
_HIDDEN_ROW, _HIDDEN_COLUMN = 0x10, 0x01


def xlsb_marks(name: str, archive: zipfile.ZipFile, limits: ReadingLimits) -> list[Marks]:
    """Return the marks of each sheet part of an xlsb file, in the order of their numbers.

    Raises
    ------
    ValueError
        A record does not end within its part, or is too short for its kind.
    WorkbookError
        A cell stands outside of any sheet, or a part is larger than allowed.
    """
    parts = [part for part in archive.namelist() if "worksheets/" in part.lower() and part.lower().endswith(".bin")]
    ordered = sorted(parts, key=lambda part: (len(part), part))
    return [_sheet(name, part, whole_part(archive, part, limits)) for part in ordered]


def _sheet(name: str, part: str, data: bytes) -> Marks:
    marks, row, within = Marks(), 0, False
    for kind, start, size in _records(data):
        if kind in {_BEGIN, _END}:
            within = kind == _BEGIN
        elif kind == _COLUMNS and size >= 18:
            _hide_columns(marks, *struct.unpack_from("<II8xH", data, start))
        if not within or kind not in _SHORTEST:
            continue
        _check_size(kind, data[start : start + size])
        [number] = struct.unpack_from("<I", data, start)
        if kind == _ROW:
            row = number
            marks.hidden_rows |= {row} if data[start + 11] & _HIDDEN_ROW else set()
            continue
        if row >= MOST_ROWS or number >= MOST_COLUMNS:
            raise WorkbookError(outside(name, part, f"row {row + 1}, column {number + 1}"))
        marks.reach(row, number)
        marks.texts |= {(row, number): ERRORS.get(data[start + 8], "#ERROR")} if kind in _ERRORS else {}
    return marks


def _check_size(kind: int, record: bytes) -> None:
    if len(record) < _SHORTEST[kind]:
        raise ValueError("a record of the sheet is too short for its kind")
    if kind == _TEXT and struct.unpack_from("<I", record, 8)[0] * 2 > len(record) - 12:
        raise ValueError("a text of the sheet does not end within its record")


def _hide_columns(marks: Marks, first: int, last: int, look: int) -> None:
    if look & _HIDDEN_COLUMN:
        marks.hidden_columns.update(range(first, min(last + 1, MOST_COLUMNS)))


def _records(data: bytes) -> Iterator[tuple[int, int, int]]:
    """Yield kind, start and size of each record of a part (Microsoft MS-XLSB 2.1.4, from memory)."""
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
