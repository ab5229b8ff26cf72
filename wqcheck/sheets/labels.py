"""Turns the labels around a table (``Batch: B-12``, ``Sampled | 2026-03-01``) into facts about all its results."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from wqcheck.sheets.content import Kind, kind_of
from wqcheck.sheets.grid import Cells
from wqcheck.sheets.headings import BATCH_LABELS, heading_role
from wqcheck.sheets.recognise import unit_or_none
from wqcheck.sheets.roles import RoleGrid
from wqcheck.sheets.table import Table
from wqcheck.units import Unit

FACT_ROLES = BATCH_LABELS | frozenset(
    ["sample", "point", "batch", "stage", "lab", "method", "sampled_at", "received_at", "analysed_at", "sampled_time"]
)
_ALL_IN = re.compile(
    r".*\b(?:results?|values?|concentrations?|resultats?|resultados?|werte)\b.*\b(?:in|en|em)\s+\(?(?P<unit>[^\s()]+)\)?.*",
    re.I,
)


@dataclass(frozen=True, slots=True)
class Fact:
    """One label's value: the cell as it stands and where."""

    role: str
    value: object
    row: int
    column: int


def read_labels(grid: RoleGrid, table: Table | None, last: int) -> tuple[dict[str, Fact], Unit | None]:
    """Return the facts in the cells above and below the table, first of each role, and a unit said for all results.

    Every cell looked at gets a role in *grid*; *last* is the row after the last result.
    """
    cells = grid.sheet.cells
    above = len(cells) if table is None else (table.first if table.header is None else table.header)
    facts: dict[str, Fact] = {}
    unit: Unit | None = None
    unexplained = np.asarray(grid.unexplained().any(axis=1))
    near = [*range(min(above, 200)), *range(last, min(len(cells), last + 200))]
    for row in [r for r in near if unexplained[r]]:
        columns = np.flatnonzero(np.array([cell is not None for cell in cells[row]], dtype=bool))
        unit = unit or _unit_for_all([str(cells[row, c]) for c in columns])
        _read_row(grid, row, [int(c) for c in columns], facts)
    return facts, unit


def _unit_for_all(texts: list[str]) -> Unit | None:
    matches = [match for text in texts if (match := _ALL_IN.fullmatch(text))]
    return unit_or_none(matches[0]["unit"].strip(".,;")) if matches else None


def _read_row(grid: RoleGrid, row: int, columns: list[int], facts: dict[str, Fact]) -> None:
    cells = grid.sheet.cells
    skip: set[int] = set()
    for position, column in enumerate(columns):
        if column in skip:
            continue
        text = str(cells[row, column]).strip()
        label, _, inline = text.partition(":")
        role = heading_role(label) if isinstance(cells[row, column], str) else ""
        after = columns[position + 1] if position + 1 < len(columns) else None
        if after is not None and _is_label(cells[row, after], text):
            after = None
        if role and inline.strip():
            _keep(facts, Fact(role, inline.strip(), row, column))
            grid.mark(row, column, "label", f"label and value in one cell ({role.replace('_', ' ')})")
        elif role and after is not None:
            _keep(facts, Fact(role, cells[row, after], row, after))
            grid.mark(row, column, "label", f"names the value beside it ({role.replace('_', ' ')})")
            grid.mark(row, after, "label value", f"said for all results of the sheet ({role.replace('_', ' ')})")
            skip.add(after)
        elif text.endswith(":") and after is not None:
            grid.mark(row, column, "label", "names the value beside it; not used")
            grid.mark(row, after, "label value", "its label is not one that results need; not used")
            skip.add(after)
        elif text.endswith(":"):
            grid.mark(row, column, "label", "no value stands beside it")
        else:
            grid.mark(row, column, "text", "title, remark or signature outside the table")


def is_label_row(cells: Cells) -> bool:
    """Return whether a row of *cells* says the sample, point, batch or date of the results below it."""
    filled = [cell for cell in cells if cell is not None]
    if not filled or not isinstance(filled[0], str):
        return False
    label, _, inline = filled[0].strip().partition(":")
    return heading_role(label) in FACT_ROLES and bool(
        inline.strip() or (len(filled) > 1 and not _is_label(filled[1], filled[0]))
    )


def _is_label(cell: object, before: str) -> bool:
    """Return whether *cell* is a label of its own; behind a label with a colon only another colon says so."""
    if not isinstance(cell, str):
        return False
    if cell.rstrip().endswith(":") or before.rstrip().endswith(":"):
        return cell.rstrip().endswith(":")
    return bool(kind_of(cell) & Kind.HEADING) and len(cell) > 4


def _keep(facts: dict[str, Fact], fact: Fact) -> None:
    if fact.role in FACT_ROLES and str(fact.value).strip() not in {"", "-"}:
        facts.setdefault(fact.role, fact)
