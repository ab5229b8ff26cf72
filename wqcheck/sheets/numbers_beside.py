"""Turns the cells beside results (limits, uncertainties, volumes) into numbers, with one decimal mark for them all."""

from __future__ import annotations

from wqcheck.findings import Severity
from wqcheck.numerals import AMBIGUOUS_COMMA, AMBIGUOUS_POINT
from wqcheck.results import parse_result
from wqcheck.sheets.coded import Coded, Numbers
from wqcheck.sheets.columns import mark_beside
from wqcheck.sheets.extraction import Extraction
from wqcheck.sheets.roles import cell_text


def numbers_beside(work: Extraction, cells: Coded, what: str) -> Numbers:
    """Return the plain numbers in the *cells* that stand beside n results (shape (n,)); signs and units are left off.

    A text such as ``1.000`` that may mean two numbers, for neither the cells nor the sheet prove a decimal mark, is
    none, and a finding that names *what* they are holds.
    """
    stated = {mark for mark in work.parsed.marks.values() if mark}
    mark = mark_beside(work.grid.sheet, cells.distinct, stated.pop() if len(stated) == 1 else "", work.layout.decimal)
    read = cells.map(lambda cell: parse_result(cell if isinstance(cell, float) else cell_text(cell), mark))
    unsure = read.flags(lambda result: result.problem in {AMBIGUOUS_COMMA, AMBIGUOUS_POINT})
    for given, positions in cells.groups(unsure):
        message = (
            f"the {what} of these results {read.distinct[read.codes[positions[0]]].problem}; none is taken until then"
        )
        work.note("number in doubt", message, work.where(positions), str(given), Severity.HOLD)
    return read.map(lambda result: result.value).numbers()
