"""Turns a table with several result columns into the columns beside each of them that belong to it alone.

A deliverable repeats ``Result | Qualifier | LOQ`` for every sample across, or ``Lead | Lead flag | Zinc | Zinc flag``
for every analyte across. What stands in such a group says nothing of the results of another one.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping, Sequence

from wqcheck.sheets.recognise import analyte_inside
from wqcheck.sheets.table import Table

OF_ONE_RESULT = (
    "unit",
    "qualifier",
    "reporting_limit",
    "detection_limit",
    "uncertainty",
    "basis",
    "volume_ml",
    "verdict",
)
"""Roles of columns that belong to the result on their left where one stands between results."""

OF_ONE_OR_ALL = (
    "method", "lab", "remark", "fraction", "sample", "point", "batch", "stage", "replicate", "sampled_at",
    "sampled_time", "received_at", "analysed_at",
)  # fmt: skip
"""Roles of columns that do so only where at least half of the results have one of their own."""


def columns_beside(table: Table) -> Mapping[str, Mapping[int, int]]:
    """Return, by role, the column that belongs to each result column alone; results without one are left out."""
    results = table.with_role("analyte" if table.kind == "wide" else "result")
    if len(results) < 2:
        return {}
    starts = group_starts(table, results)
    found: dict[str, Mapping[int, int]] = {}
    for role in (*OF_ONE_RESULT, *OF_ONE_OR_ALL):
        columns = table.with_role(role)
        own = _by_name(table, results, columns) if table.kind == "wide" else {}
        if not own and any(results[0] < column < results[-1] for column in columns):
            own = _by_place(results, starts, columns)
        if own and (role in OF_ONE_RESULT or 2 * len(own) >= len(results)):
            found[role] = own
    return found


def group_starts(table: Table, results: Sequence[int]) -> list[int]:
    """Return the first column of the group of each of *results*: some forms have a sign or flag before the value.

    That is so where the same headings stand before each result column and none of them behind the last one.
    """
    ahead = 0
    while _repeated_ahead(table, results, ahead + 1):
        ahead += 1
    behind = [c for c, column in table.columns.items() if c > results[-1] and column.role in OF_ONE_RESULT]
    return [column - (0 if behind else ahead) for column in results]


def _repeated_ahead(table: Table, results: Sequence[int], steps: int) -> bool:
    """Return whether the column *steps* before each result has one heading and role, and is no result itself."""
    before = [table.columns.get(column - steps) for column in results]
    first = before[0]
    if first is None or first.role not in {*OF_ONE_RESULT, *OF_ONE_OR_ALL, "sign"}:
        return False
    return all(column is not None and (column.role, column.heading) == (first.role, first.heading) for column in before)


def _by_place(results: Sequence[int], starts: Sequence[int], columns: Sequence[int]) -> dict[int, int]:
    own: dict[int, int] = {}
    for column in columns:
        group = bisect_right(starts, column) - 1
        if group >= 0:
            own.setdefault(results[group], column)
    return own


def _by_name(table: Table, results: Sequence[int], columns: Sequence[int]) -> dict[int, int]:
    """Return the columns whose heading names the analyte of exactly one result column (``Lead MDL``)."""
    named: dict[str, list[int]] = {}
    for column in results:
        analyte = table.columns[column].analyte
        if analyte is not None:
            named.setdefault(analyte.code, []).append(column)
    own: dict[int, int] = {}
    for column in columns:
        inside = analyte_inside(table.columns[column].heading)
        here = named.get(inside.code, []) if inside else []
        if len(here) == 1:
            own.setdefault(here[0], column)
    return own
