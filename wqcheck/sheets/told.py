"""Turns what a sheet layout says of a table's columns into its layout: what the reader found, but for what was told."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field, replace

from wqcheck.findings import Finding, Severity
from wqcheck.parameters import catalogue, normalise
from wqcheck.sheet_layouts.records import NO_ANSWERS, RESULT_ROLES, ColumnAnswer, NameAnswer, SheetLayout, TableAnswer
from wqcheck.sheets.grid import Sheet
from wqcheck.sheets.layout import find_table
from wqcheck.sheets.recognise import Analyte
from wqcheck.sheets.result_cells import find_result_cells
from wqcheck.sheets.roles import RoleGrid, cell_text, column_name
from wqcheck.sheets.table import Column, Table

NO_TABLE = TableAnswer()


@dataclass(eq=False, kw_only=True)
class Told:
    """What a sheet layout says of one table.

    ``columns`` are its answers by position, ``named`` the columns that have their parameter from it, ``findings`` what
    of it was refused or took the place of what the sheet says.
    """

    layout: SheetLayout = NO_ANSWERS
    table: TableAnswer = NO_TABLE
    columns: Mapping[int, ColumnAnswer] = field(default_factory=dict)
    named: frozenset[int] = frozenset()
    findings: list[Finding] = field(default_factory=list)
    workbook: str = ""
    sheet: str = ""

    def note(self, code: str, message: str, given: str = "", severity: Severity = Severity.NOTE) -> None:
        """Keep a finding about the table as a whole."""
        where = f"{self.workbook}|{self.sheet}" if self.sheet else self.workbook
        self.findings.append(Finding(code=code, severity=severity, message=message, where=where, given=given))


NOT_USED = "layout not used"
REPLACED = "layout replaced"


def told_table(sheet: Sheet, found: Table | str, told: Told) -> Table | str:
    """Return the layout of the table in *sheet* as *told*, or as *found* where nothing else was told.

    What was told is not used where cells that are results without it would be none with it, unless the sheet layout
    says ``replace = true``; a finding says so.
    """
    header = _told_header(sheet, found, told.table)
    base = found if header is None else find_table(sheet.cells, header)
    columns = {} if isinstance(base, str) else dict(base.columns)
    headed = _headings(sheet, columns, base, header)
    told.columns = dict(_positions(headed, told))
    changed = dict(_changed(columns, headed, told))
    if header is None and not changed:
        return found
    table = find_table(sheet.cells, header, changed)
    lost = _lost(sheet, found, table, _denied(columns, changed))
    kept_back = told.table.replace or any(told.columns[c].replace for c in told.columns)
    if lost and not kept_back:
        told.note(
            NOT_USED, f"{lost} cell(s) that are read as results would be none as the sheet layout has the columns, "
            "so its columns are not used; mend it, or write replace = true there", told.layout.path, Severity.HOLD,
        )  # fmt: skip
        told.columns = {}
        return found
    if lost:
        told.note(REPLACED, f"{lost} cell(s) are no results only because the sheet layout says so", told.layout.path)
    told.named = frozenset(c for c, column in changed.items() if column.analyte is not None)
    return table


def _told_header(sheet: Sheet, found: Table | str, answer: TableAnswer) -> int | None:
    """Return the row of headings (in the part of the sheet) where the layout names another than was found."""
    if answer.header is None:
        return None
    row = answer.header - 1 - sheet.top
    same = not isinstance(found, str) and found.header == row
    return None if same or not 0 <= row < len(sheet.cells) else row


def _headings(sheet: Sheet, columns: Mapping[int, Column], table: Table | str, header: int | None) -> dict[int, str]:
    """Return the heading of each column: as joined by the reader, else the text in the row of headings."""
    row = header if header is not None or isinstance(table, str) else table.header
    stand = {} if row is None else {c: cell_text(cell) for c, cell in enumerate(sheet.cells[row]) if cell is not None}
    return {**stand, **{c: column.heading for c, column in columns.items() if column.heading}}


def _positions(headings: Mapping[int, str], told: Told) -> Iterator[tuple[int, ColumnAnswer]]:
    """Yield the column that each answer is about; one that no column has is a finding."""
    places: dict[str, list[int]] = {}
    for position, heading in sorted(headings.items()):
        places.setdefault(normalise(heading), []).append(position)
    letters = {column_name(position): position for position in range(16_384)} if _by_letter(told.table) else {}
    for answer in told.table.columns:
        here = places.get(normalise(answer.heading), []) if answer.heading else [letters[answer.column]]
        if len(here) >= answer.nth:
            yield here[answer.nth - 1], answer
        elif answer.role or answer.parameter or answer.unit:
            told.note(NOT_USED, "the sheet layout speaks of a column that this table has not", answer.heading)


def _by_letter(answer: TableAnswer) -> bool:
    return any(column.column for column in answer.columns)


def _changed(columns: Mapping[int, Column], headings: Mapping[int, str], told: Told) -> Iterator[tuple[int, Column]]:
    """Yield the columns that were told to be something else than was found."""
    for position in sorted({*columns, *headings}):
        found = columns.get(position, Column("", headings.get(position, "")))
        answer = told.columns.get(position)
        column = _with_role(found, answer, told) if answer is not None else found
        by_name = _by_name(found, told)
        column = _with_parameter(column, answer if answer and answer.parameter else by_name, told)
        if column.role in {"", "analyte"} and column.analyte is None and told.layout.is_no_parameter(column.heading):
            column = Column("other", column.heading, None, column.unit, column.unit_text)
        if column != found:
            yield position, column


def _by_name(column: Column, told: Told) -> NameAnswer | None:
    return told.layout.name_of(column.heading) if column.heading and column.role not in {"verdict", "limit"} else None


def _with_role(column: Column, answer: ColumnAnswer, told: Told) -> Column:
    role = "" if answer.role == "other" and column.role == "" else answer.role
    if not role or role == column.role:
        return column
    if column.role in RESULT_ROLES and role not in RESULT_ROLES and not answer.replace:
        told.note(
            NOT_USED, f"the sheet layout says that this column of results is {role.replace('_', ' ')}; it is read as "
            "results all the same, for the layout does not say replace = true", column.heading,
        )  # fmt: skip
        return column
    analyte = column.analyte if role in RESULT_ROLES else None
    return Column(role, column.heading, analyte, column.unit, column.unit_text)


def _with_parameter(column: Column, answer: ColumnAnswer | NameAnswer | None, told: Told) -> Column:
    """Return the column with the parameter that was told, where its heading names none or may be replaced."""
    if answer is None or not answer.parameter or column.role == "result":
        return column
    own = column.analyte
    if own is not None and own.code != answer.parameter:
        names = f"{catalogue()[own.code].name} … {catalogue()[answer.parameter].name}".split(" … ")
        if not answer.replace:
            message = f"the heading names {names[0]}, the sheet layout says {names[1]}; the heading holds"
            told.note(NOT_USED, message, column.heading)
            return column
        told.note(REPLACED, f"the heading names {names[0]}; the sheet layout replaces it by {names[1]}", column.heading)
        own = None
    analyte = own or Analyte(answer.parameter)
    analyte = replace(analyte, basis=analyte.basis or answer.basis, fraction=analyte.fraction or answer.fraction)
    return Column("analyte", column.heading, analyte, column.unit, column.unit_text)


def _denied(columns: Mapping[int, Column], changed: Mapping[int, Column]) -> list[int]:
    """Return the columns of an unknown parameter that are told to be none."""
    unknown = {c for c, column in columns.items() if column.role == "analyte" and column.analyte is None}
    return [c for c, column in changed.items() if c in unknown and column.role == "other"]


def _lost(sheet: Sheet, found: Table | str, table: Table | str, denied: Collection[int] = ()) -> int:
    """Return how many cells are results of the table as *found*, columns *denied* apart, and none of *table*."""
    if isinstance(found, str):
        return 0
    before = _result_places(sheet, found, denied)
    return len(before if isinstance(table, str) else before - _result_places(sheet, table))


def _result_places(sheet: Sheet, table: Table, apart: Collection[int] = ()) -> set[tuple[int, int]]:
    cells = find_result_cells(RoleGrid(sheet), table)
    places = zip(cells.rows.tolist(), cells.columns.tolist(), strict=True)
    return {(row, column) for row, column in places if column not in apart}
