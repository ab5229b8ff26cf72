"""Turns a workbook as a laboratory sends it into readings, findings and a ledger of every other cell."""

from wqcheck.sheets.lacking import Lacking, lacking
from wqcheck.sheets.opening import files_within
from wqcheck.sheets.reading import ReadResult, ReadTable, read_books, read_workbook, unread_book
from wqcheck.sheets.reading_limits import READING_LIMITS, ReadingLimits

__all__ = [
    "READING_LIMITS",
    "Lacking",
    "ReadResult",
    "ReadTable",
    "ReadingLimits",
    "files_within",
    "lacking",
    "read_books",
    "read_workbook",
    "unread_book",
]
