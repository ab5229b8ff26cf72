"""Turns one table whose results are read into the roles of its other cells and what is odd about it."""

from __future__ import annotations

import pandas as pd

from wqcheck.sheets.dilutions import say_dilutions
from wqcheck.sheets.extraction import Extraction
from wqcheck.sheets.other_samples import say_other_samples
from wqcheck.sheets.roles import cell_text, column_name, first_cells
from wqcheck.sheets.shown_findings import say_shown
from wqcheck.sheets.unread import say_blank_results, say_moved_headings, say_unknown_rows, say_unread_column
from wqcheck.sheets.verdicts import say_verdicts
from wqcheck.tables import Readings


def say_of_table(work: Extraction, readings: pd.DataFrame) -> None:
    """Explain the rest of a table and say what is odd about its results."""
    tested = set(readings[Readings.parameter].dropna().unique())
    say_shown(work, readings[Readings.unit].to_numpy(dtype=object))
    _explain_rest(work, tested)
    _say_declined(work)
    say_verdicts(work)
    say_other_samples(work)
    say_blank_results(work, tested)
    say_moved_headings(work)
    say_unknown_rows(work)
    say_dilutions(work)


def _say_declined(work: Extraction) -> None:
    """Say which cells are no results only because the sheet layout says so."""
    cells = work.found.declined
    if cells:
        naming = work.table.with_role("parameter")[0]
        names = dict.fromkeys(cell_text(work.cells[row, naming]) for row, _ in cells)
        message = f"{len(cells)} cell(s) are no results only because the sheet layout says that their name is none"
        work.note("layout replaced", message, work.at(*cells[0]), first_cells(names))


def _explain_rest(work: Extraction, tested: set[str]) -> None:
    """Give every cell of the table that no step used a role, and report columns that look like results."""
    grid, table = work.grid, work.table
    for position, column in table.columns.items():
        say_unread_column(work, position, tested)
        left = grid.unexplained_in(position)
        if not left.any():
            continue
        heading = column.heading or column_name(position)
        if column.role in {"", "other"} and work.layout.is_no_parameter(column.heading):
            grid.mark(left, position, "other column", f"the sheet layout says that {heading!r} is no parameter")
            continue
        if column.role in {"", "other"}:
            grid.mark(left, position, "other column", f"the heading {heading!r} names nothing that results need")
        else:
            role = column.role.replace("_", " ")
            name = "not used" if column.role in {"result", "analyte"} else role
            grid.mark(left, position, name, f"column of {role}; not a result of its own")
    grid.mark_all(grid.unexplained(), "text", "section heading, remark or footer in the table")
