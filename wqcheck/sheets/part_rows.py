"""Turns rows such as *Qualifier* and *LOQ* below each sample of a wide table into parts of the results above them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from wqcheck.sheets.coded import Coded, Flags
from wqcheck.sheets.grid import Cells
from wqcheck.sheets.headings import heading_role

BENCH = frozenset(["bench", "dilution"])
"""Roles of rows that tell how the laboratory worked: by whom, with what, in which series, how far diluted."""

PARTS = BENCH | frozenset(["qualifier", "reporting_limit", "detection_limit", "uncertainty", "method"])
"""Roles of rows that belong to one row of results and not to the whole table."""

UNKNOWN = "other"
"""Role of such rows below a label that is not known; ``Result`` labels those of results in their table."""

_LABEL_COLUMNS = 4


def part_rows(cells: Cells) -> tuple[int, Mapping[int, str]]:
    """Return the column of labels and the role of each row of *cells* that is a part of one row of results.

    That is so where a label of :data:`PARTS` stands in at least two rows, each without any other heading; a label that
    stands once says something of the whole table.
    """
    for column in range(min(_LABEL_COLUMNS, cells.shape[1])):
        labels = Coded.of(cells[:, column]).map(_part)
        rows = np.flatnonzero(labels.known())
        rows = rows[[_headings_in(cells[row]) == 1 for row in rows]] if len(rows) >= 2 else rows[:0]
        roles = {int(row): str(labels.distinct[labels.codes[row]]) for row in rows}
        if len(roles) > len(set(roles.values())):
            return column, {**roles, **_unknown_parts(cells, column)}
    return -1, {}


def _unknown_parts(cells: Cells, column: int) -> dict[int, str]:
    """Return the rows whose label is not known and stands in several, where other rows are labelled as results."""
    labels = Coded.of(cells[:, column])
    roles = labels.map(lambda cell: heading_role(cell.strip().rstrip(" :")) if isinstance(cell, str) else None)
    if not roles.equal_to("result").any():
        return {}
    times = np.bincount(labels.codes[labels.known()], minlength=len(labels.distinct))
    known = roles.flags(lambda role: role == "result" or role in PARTS)
    unknown = labels.flags(lambda cell: isinstance(cell, str)) & ~known & (times[labels.codes] > 1)
    return {int(row): UNKNOWN for row in np.flatnonzero(unknown)}


def rows_beside(
    cells: Cells, parts: Mapping[int, str], others: Sequence[int], owners: Sequence[int]
) -> Mapping[str, Mapping[int, int]]:
    """Return, by role, the row that belongs to each row of results: the nearest of these above it, else below.

    *others* are the rows that are neither parts nor results, *owners* the columns that name a sample; a row that names
    another sample than the results next to it belongs to none.
    """
    filled: Flags = np.array((cells != None).any(axis=1), dtype=bool)  # noqa: E711 elementwise
    filled[[*parts, *others]] = False
    results = np.flatnonzero(filled)
    if not len(results):
        return {}
    below = min(parts) < int(results[0])
    found: dict[str, dict[int, int]] = {}
    for row, role in parts.items():
        place = int(np.searchsorted(results, row)) - (0 if below else 1)
        if 0 <= place < len(results) and not _differ(cells, row, int(results[place]), owners):
            found.setdefault(role, {}).setdefault(int(results[place]), row)
    return found


def _differ(cells: Cells, row: int, result: int, owners: Sequence[int]) -> bool:
    pairs = [(cells[row, column], cells[result, column]) for column in owners]
    return any(own is not None and other is not None and own != other for own, other in pairs)


def _part(cell: object) -> str | None:
    role = heading_role(cell.strip().rstrip(" :")) if isinstance(cell, str) else ""
    return role if role in PARTS else None


def _headings_in(cells: Cells) -> int:
    return sum(isinstance(cell, str) and heading_role(cell.strip().rstrip(" :")) != "" for cell in cells)
