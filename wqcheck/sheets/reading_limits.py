"""Turns what a file may cost into stated limits: more than these is refused with a sentence, before memory is spent."""

from __future__ import annotations

from dataclasses import dataclass

_MIB = 1024 * 1024


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingLimits:
    """The most that one file may ask for; ``dataclasses.replace(READING_LIMITS, cells=…)`` makes others.

    Attributes
    ----------
    file_bytes, text_bytes, web_page_bytes : int
        Size of any file, of a delimited text, and of a web page or XML spreadsheet.
    unpacked_bytes, part_bytes : int
        Size of all parts of a zip file unpacked, and of one part that has to be held whole (texts, styles).
    ratio : int
        How many times larger than packed a part of more than ``ratio_from_bytes`` may be.
    parts, members, sheets : int
        Parts of a zip file, files in a zipped folder, sheets of a workbook.
    columns : int
        Columns of one sheet, which is where forms of workbooks end (common practice of spreadsheet programs).
    cells : int
        Rows times columns of all sheets, from A1 to the last used cell of each; blank ones count, for they take memory.
    """

    file_bytes: int = 512 * _MIB
    text_bytes: int = 256 * _MIB
    web_page_bytes: int = 32 * _MIB
    unpacked_bytes: int = 1024 * _MIB
    part_bytes: int = 128 * _MIB
    ratio: int = 250
    ratio_from_bytes: int = 16 * _MIB
    parts: int = 5_000
    members: int = 500
    sheets: int = 1_000
    columns: int = 16_384
    cells: int = 16_000_000


READING_LIMITS = ReadingLimits()
"""What holds where a caller states nothing else."""
