"""Turns what a workbook file says beside the values of a sheet into one record, whatever the form of the file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from html import unescape

from wqcheck.errors import WorkbookError
from wqcheck.sheets.reading_limits import ReadingLimits

MOST_ROWS, MOST_COLUMNS = 1_048_576, 16_384
"""Rows and columns of a sheet (common practice of spreadsheet programs)."""

Place = tuple[int, int]
"""Row and column of a cell, from 0."""


@dataclass(slots=True, eq=False)
class Marks:
    """What stands in one sheet beside values; rows and columns count from 0.

    ``texts`` are errors (``#N/A``) and formulas without a saved value, which would else read as blank; ``rows`` and
    ``columns`` how far the sheet reaches; ``filtered`` says that some of the hidden rows are hidden by a filter.
    ``comments`` are the texts of comments on cells, ``formats`` the number formats that can show something else than
    the value, ``shown`` the texts that the file itself says it shows for numbers that they are not, ``merged`` the
    first and the last cell of merged ones.
    """

    texts: dict[Place, str] = field(default_factory=dict)
    hidden_rows: set[int] = field(default_factory=set)
    hidden_columns: set[int] = field(default_factory=set)
    struck: set[Place] = field(default_factory=set)
    comments: dict[Place, str] = field(default_factory=dict)
    formats: dict[Place, str] = field(default_factory=dict)
    shown: dict[Place, str] = field(default_factory=dict)
    merged: list[tuple[Place, Place]] = field(default_factory=list)
    filtered: bool = False
    rows: int = 0
    columns: int = 0

    def reach(self, row: int, column: int) -> None:
        """Take in that a cell stands at *row* and *column*."""
        self.rows, self.columns = max(self.rows, row + 1), max(self.columns, column + 1)


def outside(name: str, part: str, given: str) -> str:
    """Return the sentence that refuses a workbook with a cell beyond the last row or column of any sheet."""
    return (
        f"{name} names a cell outside of any sheet in {part!r} ({given[:40]}); open it in a spreadsheet program and "
        "save it as a new .xlsx or .csv"
    )


def check_extent(name: str, sheets: Mapping[str, Marks], limits: ReadingLimits) -> None:
    """Refuse a workbook with more sheets, or more cells from A1 to the last one of each sheet, than *limits* allow."""
    if len(sheets) > limits.sheets:
        raise WorkbookError(
            f"{name} has {len(sheets):,} sheets and {limits.sheets:,} are allowed; share them out over several files, "
            "or raise the limit"
        )
    cells = sum(marks.rows * marks.columns for marks in sheets.values())
    if cells > limits.cells:
        widest = max(sheets, key=lambda sheet: sheets[sheet].rows * sheets[sheet].columns)
        marks = sheets[widest]
        raise WorkbookError(
            f"{name} reaches over {cells:,} cells and {limits.cells:,} are allowed (sheet {unescape(widest)!r}: "
            f"{marks.rows:,} rows of {marks.columns:,} columns); delete stray cells far from the table, share it out "
            "over several files, or raise the limit"
        )
