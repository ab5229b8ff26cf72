"""Turns a workbook as a laboratory sends it into readings, findings and a ledger of every other cell."""

from wqcheck.sheets.reading import ReadResult, ReadTable, read_workbook

__all__ = ["ReadResult", "ReadTable", "read_workbook"]
