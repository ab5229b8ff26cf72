"""Turns headings into columns, and what is known of rows and columns into the layout of one table."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from wqcheck.sheets.headings import heading_role
from wqcheck.sheets.recognise import Analyte, recognise_analyte, trailing_unit, unit_or_none
from wqcheck.units import Unit

_NUMBERED = re.compile(r"[A-Za-z] ?\d{1,2}")

SPECIAL_ROWS = frozenset(
    ["unit", "reporting_limit", "detection_limit", "method", "limit", "verdict", "computed", "uncertainty", "cas",
     "bench", "dilution"]
)  # fmt: skip
"""Roles that the first text of a row can give the whole row of a wide table."""

IDENTITY = ("sample", "point", "batch", "stage", "replicate", "lab", "product", "plant", "line", "tank")


@dataclass(frozen=True, slots=True)
class Column:
    """What one column is: role, heading as given, and the analyte and unit that the heading names."""

    role: str
    heading: str = ""
    analyte: Analyte | None = None
    unit: Unit | None = None
    unit_text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """The layout of one table.

    ``header`` is the row of headings (None when there is none), ``first`` the first data row, ``special`` maps rows of
    the table that hold no results to their role (``unit``, ``reporting_limit``, ``point`` …); all rows count from 0.
    ``parts`` are rows that belong to one row of results (its qualifiers, its limits), and ``rows_beside`` says to
    which, by role.
    """

    kind: str
    header: int | None
    first: int
    columns: Mapping[int, Column]
    special: Mapping[int, str] = field(default_factory=dict)
    parts: Mapping[int, str] = field(default_factory=dict)
    rows_beside: Mapping[str, Mapping[int, int]] = field(default_factory=dict)
    realigned: bool = False
    why: str = ""

    def with_role(self, role: str) -> list[int]:
        """Return the positions of the columns with *role*, left to right."""
        return [position for position, column in sorted(self.columns.items()) if column.role == role]


def read_heading(text: str) -> Column:
    """Return what a heading says of its column."""
    role, analyte = heading_role(text.rstrip(" :")), recognise_analyte(text)
    if role in {"verdict", "limit", "computed", "remark"} and (analyte is None or role == "verdict"):
        return Column(role, text)
    if analyte is not None:
        return Column("analyte", text, analyte, analyte.unit, analyte.unit_text)
    unit, unit_text = _unit_in_heading(text)
    return Column(role, text, None, unit, unit_text)


def looks_numbered(text: str) -> bool:
    """Return whether *text* may as well be the number of a sample (``S2``, ``N 2``) as a formula."""
    return _NUMBERED.fullmatch(text.strip()) is not None


def without_mere_numbers(columns: dict[int, Column]) -> dict[int, Column]:
    """Return *columns* with headings such as ``S1, S2, S3`` taken for samples where no heading is surely an analyte."""
    named = [column for column in columns.values() if column.analyte is not None]
    if not named or not all(looks_numbered(column.heading) for column in named):
        return columns
    return {c: Column("", column.heading) if column.analyte else column for c, column in columns.items()}


def _unit_in_heading(text: str) -> tuple[Unit | None, str]:
    start, end = max(text.rfind("("), text.rfind("[")), max(text.rfind(")"), text.rfind("]"))
    inside = text[start + 1 : end] if 0 <= start < end else ""
    return (unit_or_none(inside), inside) if inside else trailing_unit(text)
