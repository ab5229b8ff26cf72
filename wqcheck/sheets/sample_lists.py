"""Turns the tables of a workbook that list samples by their number into what they say of each sample.

A list is a table without results whose headings name a sample and its point, batch or date; or one with a row for
each sample and results of its own, such as those of the field. Numbers are compared as they are written, but for blanks
around them: whatever differs in case, inner blanks or signs is told and never joined.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from wqcheck.sheets.dates import parse_dates
from wqcheck.sheets.grid import Sheet
from wqcheck.sheets.headers import best_header, probe_of
from wqcheck.sheets.layouts import FoundTable
from wqcheck.sheets.roles import cell_text, column_name
from wqcheck.sheets.table import Column, read_heading

LISTED_TEXTS = ("point", "batch", "stage")
LISTED_TIMES = ("sampled_at", "received_at", "analysed_at")
_LISTED = frozenset([*LISTED_TEXTS, *LISTED_TIMES])
_NUMBER = re.compile(r"(?=.*\d).{3,}")
"""What numbers a sample also beyond its own sheet; ``1`` and ``2`` stand on many sheets for other samples."""


@dataclass(frozen=True, slots=True)
class Entry:
    """What the lists say of one sample, blank where nothing; ``doubled`` names the roles of which they say two things.

    ``place`` is the cell of its number.
    """

    place: str = ""
    point: str = ""
    batch: str = ""
    stage: str = ""
    sampled_at: Any = None
    received_at: Any = None
    analysed_at: Any = None
    doubled: tuple[str, ...] = ()


@dataclass(eq=False)
class SampleList:
    """One list: its part of a sheet, its row of headings and its columns; ``rows`` are those that name a sample.

    ``used`` are the rows whose samples have results elsewhere, and ``key`` the column of the numbers by which they do.
    """

    part: Sheet
    header: int
    columns: Mapping[int, Column]
    alone: bool
    used: set[int] = field(default_factory=set)
    key: int = -1

    @cached_property
    def orders(self) -> Mapping[str, str]:
        """The order of day and month that the column of each role of time proves."""
        below = np.arange(self.header + 1, len(self.part.cells))
        return {
            column.role: parse_dates(self.part.column(c).taken(below)).order
            for c, column in sorted(self.columns.items(), reverse=True)
            if column.role in LISTED_TIMES
        }

    def numbers(self, column: int) -> dict[str, list[int]]:
        """Return the rows of each number that stands in *column*."""
        found: dict[str, list[int]] = {}
        for row in range(self.header + 1, len(self.part.cells)):
            cell = self.part.cells[row, column]
            if cell is not None and (self.alone or _NUMBER.fullmatch(cell_text(cell))):
                found.setdefault(cell_text(cell), []).append(row)
        return found

    @cached_property
    def by_number(self) -> Mapping[int, Mapping[str, list[int]]]:
        """The rows of each number, by column: those headed as a sample first, then those of no known heading."""
        free = {"sample"} if not self.alone else {"sample", "", "other"}
        columns = [c for c, column in self.columns.items() if column.role in free]
        return {c: self.numbers(c) for c in sorted(columns, key=lambda c: (self.columns[c].role != "sample", c))}

    def cell(self, row: int, role: str) -> Any:
        """Return what a row says of *role*, None where nothing."""
        here = (self.part.cells[row, c] for c, column in self.columns.items() if column.role == role)
        return next((cell for cell in here if cell is not None), None)

    def place(self, row: int, column: int) -> str:
        """Name one cell of the list within the workbook."""
        sheet = f"{self.part.name}!" if self.part.name else ""
        return f"{sheet}{column_name(column)}{row + self.part.top + 1}"


class SampleLists:
    """All lists of samples of one workbook."""

    def __init__(self, lists: Iterable[SampleList] = ()) -> None:
        self.lists = tuple(lists)

    def beside(self, part: Sheet) -> SampleLists:
        """Return the lists but for the one that stands in *part* itself."""
        return SampleLists(one for one in self.lists if one.part is not part)

    def without_results(self) -> SampleLists:
        """Return the lists that hold nothing but samples."""
        return SampleLists(one for one in self.lists if one.alone)

    def knows(self, names: Iterable[str], *, every: bool = True) -> bool:
        """Return whether a column of some list holds *every* one of the names, or else any of them."""
        wanted = set(names)
        columns = (numbers.keys() for one in self.lists for numbers in one.by_number.values())
        return any(wanted <= known if every else bool(wanted & known) for known in columns)

    def order(self, role: str) -> str:
        """Return the order of day and month that the lists prove for *role*, blank where none or several do."""
        orders = {order for one in self.lists if (order := one.orders.get(role, ""))}
        return orders.pop() if len(orders) == 1 else ""

    def rows_of(self, wanted: Iterable[str]) -> dict[str, list[tuple[SampleList, int]]]:
        """Return the rows of each number in the lists: of the columns of a list, that with most of *wanted* counts.

        A column that is not headed as the number of a sample counts only where it holds some of them.
        """
        names = set(wanted)
        rows: dict[str, list[tuple[SampleList, int]]] = {}
        for one in self.lists:
            best = max(one.by_number, key=lambda c: len(names & one.by_number[c].keys()), default=None)
            if best is None or not (one.columns[best].role == "sample" or names & one.by_number[best].keys()):
                continue
            one.key = best if one.key < 0 else one.key
            for name, places in one.by_number[best].items():
                rows.setdefault(name, []).extend((one, row) for row in places)
        return rows


def sample_lists(tables: Sequence[FoundTable]) -> SampleLists:
    """Return the lists of samples among the *tables* of a workbook."""
    return SampleLists(one for table in tables if (one := sample_list(table)) is not None)


def sample_list(table: FoundTable) -> SampleList | None:
    """Return *table* as a list of samples, None where it is none."""
    found, part = table.found, table.part
    if isinstance(found, str):
        header = best_header(probe_of(part.cells)) if part.cells.size else None
        if header is None:
            return None
        headings = {c: str(cell).strip() for c, cell in enumerate(part.cells[header]) if cell is not None}
        columns: Mapping[int, Column] = {c: read_heading(text) for c, text in headings.items()}
    elif found.kind == "wide" and found.header is not None:
        header, columns = found.header, found.columns
    else:
        return None
    roles = {column.role for column in columns.values()}
    if "sample" not in roles or not roles & _LISTED or header + 1 >= len(part.cells):
        return None
    return SampleList(part, header, columns, isinstance(found, str))


def entry_of(places: Sequence[tuple[SampleList, int]]) -> Entry:
    """Return what the rows of one sample say of it."""
    given: dict[str, Any] = {}
    doubled: list[str] = []
    for role in (*LISTED_TEXTS, *LISTED_TIMES):
        cells = [cell for one, row in places if (cell := one.cell(row, role)) is not None]
        values = list(dict.fromkeys(cell_text(cell) if role in LISTED_TEXTS else cell for cell in cells))
        given |= {role: values[0]} if len(values) == 1 else {}
        doubled += [role] if len(values) > 1 else []
    one, row = places[0]
    return Entry(place=one.place(row, one.key), doubled=tuple(doubled), **given)


NO_LISTS = SampleLists()
