"""Turns headings on several rows above analytes (a sample over ``Result | Flag | LOQ``) into one group per sample."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from wqcheck.parameters import normalise
from wqcheck.sheets.content import Kind, kind_of
from wqcheck.sheets.grid import Cells
from wqcheck.sheets.groups import group_starts
from wqcheck.sheets.headings import heading_role
from wqcheck.sheets.table import Column, Table, read_heading

_ROWS_ABOVE = 8
_OF_SAMPLES = frozenset(
    ["sample", "point", "batch", "stage", "replicate", "sampled_at", "sampled_time", "received_at", "analysed_at"]
)
_OF_COLUMNS = frozenset(["", "parameter", "cas", "unit", "method", "limit", "result", "other"])
"""Roles of what may stand left of the names of samples without saying what they are."""

_OF_ANALYTES = frozenset(
    ["parameter", "cas", "unit", "method", "limit", "reporting_limit", "detection_limit", "fraction"]
)


def row_of_parts(cells: Cells, header: int | None) -> int | None:
    """Return the row of headings, or the one below it where that tells apart what stands below each sample of it."""
    if header is None or header + 1 >= len(cells):
        return header
    upper, lower = ([_role(cell) for cell in cells[row]] for row in (header, header + 1))
    if not {"parameter", "cas"} & set(upper) or lower.count("result") < 1:
        return header
    named = [column for column, role in enumerate(upper) if role in {"parameter", "cas"}]
    filled = [column for column, cell in enumerate(cells[header + 1]) if cell is not None]
    known = sum(lower[column] not in {"", "parameter"} for column in filled)
    below = not any(cells[header + 1, column] is not None for column in named) and known >= 0.5 * len(filled)
    return header + 1 if below and len(filled) > 1 else header


def with_headings_above(cells: Cells, header: int, columns: Mapping[int, Column]) -> dict[int, Column]:
    """Return *columns* with what names the analytes, left of all results, taken from the rows above *header*."""
    results = [c for c, column in columns.items() if column.role == "result"]
    joined = dict(columns)
    if len(results) < 1:
        return joined
    for row in range(header - 1, max(-1, header - 1 - _ROWS_ABOVE), -1):
        for c, column in joined.items():
            text = cells[row, c]
            if c < min(results) and not column.heading and isinstance(text, str) and _role(text) in _OF_ANALYTES:
                joined[c] = read_heading(text.strip())
    return joined


def with_groups(cells: Cells, table: Table) -> Table | None:
    """Return a long *table* as a crosstab where rows above its headings name the samples of its result columns."""
    results = table.with_role("result")
    headings = {normalise(table.columns[c].heading) for c in results}
    if table.header is None or not results or len(headings) != 1 or "" in headings:
        return None
    grouped = replace(table, kind="crosstab", why="analytes down, a group of columns for each sample")
    begin = group_starts(grouped, results)[0]
    special = dict[int, str]()
    for row in range(max(0, table.header - _ROWS_ABOVE), table.header):
        role = _names_of(cells, row, begin, len(results), special)
        if role:
            special[row] = role
    return replace(grouped, special=special) if special else None


def _names_of(cells: Cells, row: int, begin: int, groups: int, known: Mapping[int, str]) -> str:
    """Return what a row says of each group: as its label says, else dates, else points and then numbers of samples."""
    across = [cell for cell in cells[row, begin:] if cell is not None]
    label = next((cell for cell in cells[row, :begin][::-1] if isinstance(cell, str)), "")
    role, labels = _role(label), [cell for cell in across if isinstance(cell, str) and cell.rstrip().endswith(":")]
    if not across or labels or role not in _OF_SAMPLES | _OF_COLUMNS:
        return ""
    if groups == 1 and role not in {"parameter", "cas", "unit"}:
        return ""
    if groups > 1 and len(across) < max(2, groups // 8):
        return ""
    if role in _OF_SAMPLES:
        return role
    if all(kind_of(cell) == Kind.DATE for cell in across):
        return "sampled_at"
    return next((name for name in ("point", "sample") if name not in known.values()), "")


def _role(cell: object) -> str:
    return heading_role(cell.strip().rstrip(" :")) if isinstance(cell, str) else ""
