"""Turns what was not read of a table, and looks like a result, into findings; nearly all of them hold the batch."""

from __future__ import annotations

import re

import numpy as np

from wqcheck.findings import Finding, Severity
from wqcheck.near_names import did_you_mean
from wqcheck.parameters import normalise
from wqcheck.sheets.coded import Coded, Flags
from wqcheck.sheets.columns import analytes_of, texts_of
from wqcheck.sheets.content import RESULT_LIKE, Kind, kind_of, kinds_of
from wqcheck.sheets.extraction import Extraction
from wqcheck.sheets.headings import heading_role
from wqcheck.sheets.part_rows import UNKNOWN
from wqcheck.sheets.recognise import analyte_inside
from wqcheck.sheets.roles import RoleGrid, cell_names, column_name, first_cells

_STATEMENT = re.compile(r"\d\s*(?:[µμumn]?g/|ppm|ppb|CFU|UFC|KBE|MPN|NTU|Bq|pCi)", re.I)
_OF_A_LIMIT = re.compile(
    r"limit|\b(?:loq|lod|lq|ld|mdl|pql|mcl|vmp|max\w*|who|oms|epa|eu|standard\w*|guid\w*|method\w*|norm\w*"
    r"|detect\w+ lev\w+)\b",
    re.I,
)
_FACTOR = re.compile(r"dilut|multipl|factor|faktor|facteur|diluc", re.I)
_COMPARED = frozenset(["limit", "computed", "verdict", "reporting_limit", "detection_limit"])
_LONG_SENTENCE = 160
REQUEST_SHEET = "Request"
"""Name of the sheet of a blank form."""
NEEDED_HEADING = "needed"
"""Heading, normalised, of the column of a blank form that says of a row why its result is needed."""


def say_unread_column(work: Extraction, position: int, tested: set[str]) -> None:
    """Hold for a column of a table that holds results beside results, and whose heading is not known to be anything.

    In a table with analytes across, so does a column of limits or means of an analyte that no other column gives;
    *tested* are the codes that do have results.
    """
    column = work.table.columns[position]
    compared = work.table.kind == "wide" and column.role in _COMPARED
    if column.role and not compared:
        return
    given = work.grid.sheet.column(position).taken(work.result_rows)
    found = np.flatnonzero(given.flags(lambda cell: bool(kind_of(cell) & RESULT_LIKE)))
    if not len(found):
        return
    heading = column.heading or column_name(position)
    where = work.at(int(work.result_rows[found[0]]), position)
    inside = analyte_inside(heading) if compared else None
    if inside is not None and inside.code not in tested:
        message = (
            f"the column {heading!r} was taken for {column.role.replace('_', ' ')}, but no other column gives "
            "results of what it names; head it with the name of the parameter and its unit"
        )
        work.note("column not read", message, where, heading, Severity.HOLD)
    elif column.role == "" and not work.layout.is_no_parameter(heading) and not _tells_nothing(column.heading, given):
        near = f"; {did_you_mean(column.heading)} Answer it once in a sheet layout" if column.heading else ""
        message = (
            f"the column {heading!r} holds numbers or results, but its heading says neither parameter nor use; it was "
            f"not read; correct the heading or remove the column{near}"
        )
        work.note("column not read", message, where, heading, Severity.HOLD)


def _tells_nothing(heading: str, given: Coded) -> bool:
    """Return whether a column without a heading numbers the rows, or a column of factors holds 1 alone."""
    if heading == "":
        return _counts_rows(given)
    return _FACTOR.search(heading) is not None and set(given.distinct) == {1.0}


def say_unknown_rows(work: Extraction) -> None:
    """Hold for values in rows below a label that is not known, beside rows that are labelled as results."""
    results = work.table.with_role("analyte")
    rows = [row for row, role in work.table.parts.items() if role == UNKNOWN]
    held = [(r, c) for r in rows for c in results if bool(kind_of(work.cells[r, c]) & RESULT_LIKE)]
    if held:
        row, column = held[0]
        labels = (str(cell) for r, _ in held for cell in work.cells[r, :column] if cell is not None)
        message = (
            f"{len(held)} value(s) stand in rows whose label is not known, between rows that are labelled as results; "
            "they were not read: correct the label, or take the rows out"
        )
        work.note("rows not read", message, work.at(row, column), first_cells(dict.fromkeys(labels)), Severity.HOLD)


def _counts_rows(given: Coded) -> bool:
    """Return whether the cells number the rows one after the other."""
    numbers = given.objects()[given.known()]
    return set(map(type, given.distinct)) == {float} and set(np.diff(numbers.astype(np.float64))) == {1.0}


def say_blank_results(work: Extraction, tested: set[str]) -> None:
    """Report the rows of a long table that name an analyte and give no result: they are not done.

    It informs where a result of the analyte stands nowhere in the table (*tested* are the codes that have one), or is
    missing for some samples. In a request form it holds where the form says that the result is needed.
    """
    naming = work.table.with_role("parameter")
    if work.table.kind != "long" or not naming or not tested:
        return
    filled = work.grid.filled_cells()
    blank = ~filled[:, work.table.with_role("result")].any(axis=1) & filled[:, naming[0]] & (filled.sum(axis=1) > 1)
    blank[: work.table.first] = False
    units = work.table.with_role("unit")
    blank &= filled[:, units].any(axis=1) if units else True
    needed = [c for c, column in work.table.columns.items() if normalise(column.heading) == NEEDED_HEADING]
    rows = np.flatnonzero(blank)
    codes = analytes_of(texts_of(work.grid.sheet.column(naming[0]).taken(rows))).attribute("code")
    work.grid.mark(rows[codes.known()], naming[0], "not tested", "its row gives no result: not done")
    asked = filled[rows][:, needed].any(axis=1) if needed else np.zeros(len(rows), dtype=bool)
    elsewhere = codes.flags(lambda code: code in tested)
    for lacking, why, severity in (
        (codes.known() & asked, "that the form says are needed", Severity.HOLD),
        (codes.known() & ~asked & ~elsewhere, "and no other row does", Severity.NOTE),
        (codes.known() & ~asked & elsewhere, "though other rows do", Severity.NOTE),
    ):
        at = np.flatnonzero(lacking)
        if len(at):
            named = dict.fromkeys(str(codes.distinct[code]).replace("_", " ") for code in codes.codes[at])
            names = first_cells(named)
            message = (
                f"{len(at)} row(s) of the sheet name {names} but give no result, {why}; they count as not done: "
                "ask for them, or take the rows out of the sheet"
            )
            work.note("no result given", message, work.at(int(rows[at[0]]), naming[0]), names, severity)


def say_moved_headings(work: Extraction) -> None:
    """Hold where the headings of a table stand once more below it in another order, for then columns change meaning."""
    header, naming = work.table.header, work.table.with_role("parameter")
    if header is None or not naming:
        return
    headings = {cell for cell in work.cells[header] if isinstance(cell, str)}
    below = work.grid.sheet.column(naming[0]).flags(lambda cell: cell in headings)[work.table.first :]
    for row in np.flatnonzero(below) + work.table.first:
        again = [c for c, cell in enumerate(work.cells[row]) if cell is not None and cell in headings]
        if len(again) > 1 and any(work.cells[row, c] != work.cells[header, c] for c in again):
            message = "headings stand here once more in another order; give each table a sheet of its own"
            work.note("headings moved", message, work.at(int(row), naming[0]), severity=Severity.HOLD)


def statements(grid: RoleGrid, workbook: str, *, whole: bool) -> list[Finding]:
    """Return a finding where text outside the results states one (``lead retested at 50 µg/L``).

    With *whole* the table could not be read at all, and rows that hold an analyte beside a value count too.
    """
    cells = grid.sheet.cells
    flagged = grid.texts() | (whole & grid.filled_cells())
    flagged[flagged] = Coded.of(cells[flagged]).flags(_states_a_result)
    if whole:
        flagged |= _rows_of_results(grid)
    rows, columns = np.nonzero(flagged)
    if not len(rows):
        return []
    place = f"{grid.sheet.name}!" if grid.sheet.name else ""
    where = f"{workbook}|{place}{first_cells(cell_names(rows + grid.sheet.top, columns))}"
    message = "text outside the results names an analyte and a value and was not read; put results into the table"
    given = str(cells[rows[0], columns[0]])
    return [Finding(code="result not read", severity=Severity.HOLD, message=message, where=where, given=given)]


def _states_a_result(cell: object) -> bool:
    if not isinstance(cell, str) or len(cell) > _LONG_SENTENCE or _STATEMENT.search(cell) is None:
        return False
    return _OF_A_LIMIT.search(cell) is None and analyte_inside(cell) is not None


def _rows_of_results(grid: RoleGrid) -> Flags:
    """Return, per cell, whether it is a value in a row with an analyte and below no heading of a limit or the like."""
    cells = grid.sheet.cells
    kinds = kinds_of(cells)
    named = ((kinds & int(Kind.ANALYTE)) != 0).any(axis=1)
    values = ((kinds & int(RESULT_LIKE)) != 0) & named[:, None]
    for column in np.flatnonzero(values.any(axis=0)):
        roles = {heading_role(cell.rstrip(" :")) for cell in cells[:, column] if isinstance(cell, str)}
        values[:, column] &= not roles - {"", "result", "parameter"}
    return np.asarray(values)
