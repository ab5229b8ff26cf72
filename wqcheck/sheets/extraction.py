"""Turns a sheet, its layout and its result cells into one object that the steps of extraction share."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from wqcheck.findings import Finding, Severity
from wqcheck.sheet_layouts.records import SheetLayout
from wqcheck.sheets.coded import Coded, Flags
from wqcheck.sheets.columns import ParsedResults, texts_of
from wqcheck.sheets.grid import Cells
from wqcheck.sheets.groups import columns_beside
from wqcheck.sheets.headings import heading_role
from wqcheck.sheets.labels import Fact
from wqcheck.sheets.recognise import Analyte
from wqcheck.sheets.result_cells import Positions, ResultCells
from wqcheck.sheets.roles import RoleGrid, cell_names, column_name, first_cells
from wqcheck.sheets.sample_lists import NO_LISTS, SampleLists
from wqcheck.sheets.table import Table
from wqcheck.sheets.told import Told
from wqcheck.units import Unit

TELL_APART = frozenset(["point"])
"""Roles of which the column with most different names is used where several are filled alike."""


@dataclass(eq=False)
class Extraction:
    """One sheet on its way to readings: its cells, layout and labels, and the findings made so far.

    ``facts`` are what labels around the table say of all results, ``sheet_unit`` the unit said for all of them,
    ``told`` what a sheet layout says; ``supplied`` counts the results that it gave something. ``orders`` keeps the
    order of day and month that the dates of each role have, ``ambiguous`` where it cannot be told and some such texts.
    ``samples`` are lists of samples in other tables, ``entries`` what they say of the sample of each result;
    ``codes`` are the parameters that a list in another table says of codes, ``sheet_points`` the names of sheets that
    may be points.
    """

    grid: RoleGrid
    table: Table
    facts: Mapping[str, Fact]
    sheet_unit: Unit | None
    workbook: str
    found: ResultCells
    told: Told = field(default_factory=Told)
    findings: list[Finding] = field(default_factory=list)
    supplied: Counter[str] = field(default_factory=Counter)
    orders: dict[str, str] = field(default_factory=dict)
    ambiguous: dict[str, tuple[str, str]] = field(default_factory=dict)
    samples: SampleLists = NO_LISTS
    entries: Coded | None = None
    codes: Mapping[str, Analyte] = field(default_factory=dict)
    sheet_points: frozenset[str] = frozenset()

    @property
    def cells(self) -> Cells:
        """The cells of the sheet, rows × columns."""
        return self.grid.sheet.cells

    @property
    def layout(self) -> SheetLayout:
        """The sheet layout that is applied; one without answers where none is."""
        return self.told.layout

    @property
    def parsed(self) -> ParsedResults:
        """What the n result cells say."""
        return self.found.parsed

    @property
    def count(self) -> int:
        """The number of results."""
        return len(self.found.rows)

    @cached_property
    def result_rows(self) -> Positions:
        """The rows of the sheet that hold results, each once."""
        present = np.zeros(len(self.cells), dtype=bool)
        present[self.found.rows] = True
        return np.flatnonzero(present)

    def per_row(self, column: int) -> Coded:
        """Return, for each result, the cell of its row in *column*."""
        return self.grid.sheet.column(column).taken(self.found.rows)

    def per_column(self, row: int) -> Coded:
        """Return, for each result, the cell of its column in *row*."""
        return Coded.of(self.cells[row]).taken(self.found.columns)

    def of_columns(self, values: Mapping[int, object]) -> Coded:
        """Return, for each result, the entry of *values* for its column."""
        return Coded.of(self.found.columns).map(lambda column: values.get(int(column)))

    def column_of(self, role: str, instead_of: Collection[int] = ()) -> int | None:
        """Return the fullest column of *role*, of equals the one that tells most rows apart, and mark all of that role.

        The columns of *instead_of* are taken only where there is no other; those of one group of columns are not.
        """
        own = set(self.beside.get(role, {}).values())
        columns = [column for column in self.table.with_role(role) if column not in own]
        if not columns or not self.count:
            return None
        first = [column for column in columns if column not in instead_of] or columns
        best = first[0] if len(first) == 1 else self._fullest(first, role)
        for column in columns:
            spare = f"; column {column_name(best)} is used instead" if column != best else ""
            self.grid.mark(
                self.result_rows, column, role.replace("_", " "), f"belongs to the results of its row{spare}"
            )
        return best

    def _fullest(self, columns: list[int], role: str) -> int:
        codes = self.grid.sheet.codes[self.result_rows][:, columns]
        apart = [len(np.unique(codes[:, place])) if role in TELL_APART else 0 for place in range(len(columns))]
        return columns[max(range(len(columns)), key=lambda place: ((codes[:, place] >= 0).sum(), apart[place], -place))]

    @cached_property
    def beside(self) -> Mapping[str, Mapping[int, int]]:
        """By role, the column that belongs to each result column alone."""
        return columns_beside(self.table)

    def cells_of(self, role: str) -> Coded | None:
        """Return, for each result, its cell in the column of *role*: of its group, else of the table."""
        column, own, below = self.column_of(role), self.beside.get(role), self.table.rows_beside.get(role)
        if below and self.count:
            rows = self._rows_below(below)
            return Coded.of(np.asarray(self.cells[rows, self.found.columns], dtype=object)).without(rows < 0)
        if not own or not self.count:
            return None if column is None else self.per_row(column)
        at = np.full(self.cells.shape[1], -1 if column is None else column)
        at[list(own)] = list(own.values())
        for place in own.values():
            self.grid.mark(self.result_rows, place, role.replace("_", " "), "belongs to the result of its group")
        places = at[self.found.columns]
        cells = np.asarray(self.cells[self.found.rows, places], dtype=object)
        cells[places < 0] = None
        return Coded.of(cells)

    def _rows_below(self, below: Mapping[int, int]) -> Positions:
        """Return, for each result, the row that gives a part of it, -1 where none does."""
        at = np.full(len(self.cells), -1)
        at[list(below)] = list(below.values())
        return np.asarray(at[self.found.rows])

    def _label(self, row: int, role: str) -> str | None:
        texts = (cell for cell in self.cells[row] if isinstance(cell, str))
        return next((text for text in texts if heading_role(text.strip().rstrip(" :")) == role), None)

    def headings_of(self, role: str) -> Coded:
        """Return, for each result, the heading of its column of *role*, or the label of its row."""
        if below := self.table.rows_beside.get(role):
            labels = {row: self._label(part, role) for row, part in below.items()}
            return Coded.of(self.found.rows).map(lambda row: labels.get(int(row)))
        column, own = self.column_of(role), self.beside.get(role, {})
        headings = {c: self.table.columns[place].heading or None for c, place in own.items()}
        general = "" if column is None else self.table.columns[column].heading
        return self.of_columns(headings).or_else(Coded.all_the_same(general, self.count))

    def row_texts(self, role: str) -> Coded:
        """Return, for each result, the text in its column of *role*."""
        cells = self.cells_of(role)
        return Coded.blank(self.count) if cells is None else texts_of(cells)

    def special_row(self, role: str) -> int | None:
        """Return the row that gives *role* for each column of results."""
        return next((row for row, found in self.table.special.items() if found == role), None)

    def where(self, positions: Positions) -> str:
        """Name the cells of the results at *positions* for a finding."""
        names = cell_names(self.found.rows[positions[:6]] + self.grid.sheet.top, self.found.columns[positions[:6]])
        more = ["…"] * (len(positions) - len(names))
        return self._place(first_cells([*names, *more]))

    def at(self, row: int, column: int) -> str:
        """Name one cell for a finding."""
        return self._place(f"{column_name(column)}{row + self.grid.sheet.top + 1}")

    def _place(self, cells: str) -> str:
        sheet = f"{self.grid.sheet.name}!" if self.grid.sheet.name else ""
        return f"{self.workbook}|{sheet}{cells}"

    def supply(self, what: str, rows: Flags) -> None:
        """Count the flagged results (shape (n,)) that the sheet layout gave *what*."""
        self.supplied[what] += int(rows.sum())

    def note(self, code: str, message: str, where: str, given: str = "", severity: Severity = Severity.NOTE) -> None:
        """Keep a finding."""
        self.findings.append(Finding(code=code, severity=severity, message=message, where=where, given=given))
