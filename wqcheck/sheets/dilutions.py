"""Turns factors of dilution beside results into findings: nothing says whether a result was counted back by them."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np

from wqcheck.findings import Severity
from wqcheck.sheets.extraction import Extraction
from wqcheck.sheets.roles import cell_names, cell_text, first_cells

_NONE = re.compile(
    r"[x×]?\s*1(?:[.,]0+)?\s*[x×]?|1\s*[:/]\s*1|-+|—|n\.?a\.?|no|non|nein|nee|não|none|neat|undiluted", re.I
)
"""Factors that change nothing, and words for no dilution."""


def say_dilutions(work: Extraction) -> None:
    """Hold for each factor of dilution other than 1 in the columns and rows of the table."""
    places = [(row, column) for row, column in _cells(work) if not _NONE.fullmatch(cell_text(work.cells[row, column]))]
    if not places:
        return
    rows, columns = (np.array(part, dtype=np.int64) for part in zip(*places, strict=True))
    names = cell_names(rows + work.grid.sheet.top, columns)
    message = (
        "factors of dilution stand beside these results, and nothing says whether they were counted back to the water "
        "itself; ask, write the results of the undiluted water, and take the factors out"
    )
    given = first_cells(dict.fromkeys(cell_text(work.cells[place]) for place in places))
    sheet = f"{work.grid.sheet.name}!" if work.grid.sheet.name else ""
    where = f"{work.workbook}|{sheet}{first_cells(list(names), 6)}"
    work.note("dilution", message, where, given, Severity.HOLD)


def _cells(work: Extraction) -> Iterator[tuple[int, int]]:
    """Yield the place of each cell with a factor."""
    cells, table = work.cells, work.table
    results = table.with_role("analyte" if table.kind == "wide" else "result")
    for column in table.with_role("dilution"):
        yield from ((int(row), column) for row in work.result_rows if cells[row, column] is not None)
    rows = [row for row, role in (*table.special.items(), *table.parts.items()) if role == "dilution"]
    for row in (*rows, *work.found.dilutions):
        yield from ((row, column) for column in results if cells[row, column] is not None)
