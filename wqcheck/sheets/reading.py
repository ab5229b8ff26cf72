"""Turns a whole workbook into readings, findings and the ledger of every cell that is not a result."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import pandas as pd
from pandera.typing import DataFrame

from wqcheck.findings import Finding, Severity
from wqcheck.sheet_layouts.records import NO_ANSWERS, SheetLayout
from wqcheck.sheets.answers import count_told_cells
from wqcheck.sheets.extract import extract
from wqcheck.sheets.extraction import Extraction
from wqcheck.sheets.grid import Book, Sheet
from wqcheck.sheets.headings import BATCH_LABELS
from wqcheck.sheets.labels import Fact, read_labels
from wqcheck.sheets.layouts import FoundTable, Layouts, choose_layout, find_tables
from wqcheck.sheets.lists import Lists, lists_of
from wqcheck.sheets.mark_findings import mark_findings
from wqcheck.sheets.opening import open_book, open_books
from wqcheck.sheets.parameter_lists import with_codes
from wqcheck.sheets.reading_limits import READING_LIMITS, ReadingLimits
from wqcheck.sheets.result_cells import find_result_cells
from wqcheck.sheets.roles import RoleGrid, cell_text
from wqcheck.sheets.sheet_names import points_by_sheet
from wqcheck.sheets.table import Table
from wqcheck.sheets.table_findings import say_of_table
from wqcheck.sheets.told import NO_TABLE, Told, told_table
from wqcheck.sheets.unread import statements
from wqcheck.tables import Ledger, Readings
from wqcheck.units import Unit

_TYPES = {"datetime64[ns]": "datetime64[us]"}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReadTable:
    """One table as it was read: as ``found`` before any sheet layout, and as ``table`` with it.

    ``orders`` are the orders of day and month by role (``?`` where the column proves none), ``marks`` the decimal marks
    of its columns of texts (blank where nothing proves one), ``ambiguous`` the place and some texts of dates by role.
    """

    found: FoundTable
    table: Table | str
    orders: Mapping[str, str] = field(default_factory=dict)
    marks: Mapping[int, str] = field(default_factory=dict)
    ambiguous: Mapping[str, tuple[str, str]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReadResult:
    """What one workbook gave.

    Attributes
    ----------
    name, sha256 : str
        File name and digest of the bytes.
    readings : DataFrame[Readings]
        One row per reported result.
    findings : tuple of Finding
        What is odd about the sheets, each with its cell.
    labels : dict of str to str
        What the labels around the tables say of the batch (``batch``, ``product``, ``run_start`` …).
    cells : int
        Non-empty cells in the workbook: readings and ledger rows add up to it.
    tables : tuple of ReadTable
        The tables, each as it was read.
    layout : SheetLayout or None
        The sheet layout that was applied.
    """

    name: str
    sha256: str
    readings: DataFrame[Readings]
    findings: tuple[Finding, ...]
    labels: dict[str, str]
    cells: int
    grids: tuple[RoleGrid, ...]
    tables: tuple[ReadTable, ...] = ()
    layout: SheetLayout | None = None

    def ledger(self) -> DataFrame[Ledger]:
        """Return one row per non-empty cell that is not a result."""
        frames = [grid.ledger(self.name) for grid in self.grids]
        table = pd.concat(frames, ignore_index=True) if frames else _empty(Ledger)
        return Ledger.validate(table)


def read_workbook(
    source: Path | tuple[str, bytes], layouts: Layouts = None, limits: ReadingLimits = READING_LIMITS
) -> ReadResult:
    """Return the readings of a workbook or text file; the layout of each table is found by its content.

    Parameters
    ----------
    source : Path or (name, bytes)
        A file, or an upload with its file name.
    layouts : Path, SheetLayout, sequence of SheetLayout or None
        A folder of sheet layouts, or some, of which the one that matches the headings is applied; or one that is
        applied in any case. A finding says which it was and what it supplied.
    limits : ReadingLimits
        The most that the file may ask for.

    Raises
    ------
    wqcheck.errors.WorkbookError
        The file cannot be read at all, asks for more than allowed, or is a zipped folder of several books.
    wqcheck.errors.SheetLayoutError
        A file in the folder of layouts is not usable.
    """
    return _read_book(open_book(source, limits), layouts, alone=True)


def read_books(
    source: Path | tuple[str, bytes], layouts: Layouts = None, limits: ReadingLimits = READING_LIMITS
) -> tuple[ReadResult, ...]:
    """Return what each book of *source* gave: of a file one, of a zipped folder its own findings and each book in it.

    Raises
    ------
    wqcheck.errors.WorkbookError
        Nothing of it can be read, or it asks for more than *limits* allow.
    """
    books = open_books(source, limits)
    results = [_read_book(book, layouts, alone=len(books) == 1) for book in books]
    if len(books) > 1 and all(result.readings.empty for result in results):
        message = "no result was read from any book of this zipped folder"
        nothing = Finding(code="no results", severity=Severity.HOLD, message=message, where=books[0].name)
        results[0] = replace(results[0], findings=(*results[0].findings, nothing))
    return tuple(results)


def unread_book(name: str, content: bytes, why: str) -> ReadResult:
    """Return what stands for a file that could not be read beside others: no result, and a finding that holds.

    Parameters
    ----------
    name, content : str, bytes
        The file.
    why : str
        The sentence that says why, and how to mend it.
    """
    message = f"this file was not read, so nothing of it was checked: {why}"
    return _read_book(Book(name, hashlib.sha256(content).hexdigest(), (), (), (message,)), None, alone=False)


def _read_book(book: Book, layouts: Layouts, *, alone: bool) -> ReadResult:
    taken = _Taken(book)
    for text in book.remarks:
        taken.note("reader", text, book.name)
    for text in book.doubts:
        taken.note("reader", text, book.name, Severity.HOLD)
    found = [find_tables(sheet) for sheet in book.sheets]
    every = [table for tables in found for table in tables]
    layout, said = choose_layout(every, layouts, book.name, book.sha256)
    taken.findings += said
    taken.layout = layout or NO_ANSWERS
    taken.lists, taken.sheet_points = lists_of(every), points_by_sheet(found)
    for sheet, tables in zip(book.sheets, found, strict=True):
        _read_sheet(taken, sheet, tables)
    pairs = zip(taken.grids, taken.tables, strict=True)
    without = [grid for grid, table in pairs if isinstance(table.table, str)]
    taken.findings.extend(taken.lists.explained(without, book.name))
    frames = taken.frames or [_empty(Readings)]
    readings = Readings.validate(frames[0] if len(frames) == 1 else pd.concat(frames, ignore_index=True))
    if readings.empty and (alone or book.sheets):
        why = taken.reasons[0] if taken.reasons else "its table holds no result"
        taken.note("no results", f"no result was read: {why}", book.name, Severity.HOLD if alone else Severity.NOTE)
    if layout is not None:
        _say_layout(taken, layout)
    return ReadResult(
        name=book.name, sha256=book.sha256, readings=readings, findings=tuple(taken.findings), labels=taken.labels,
        cells=sum(grid.filled() for grid in taken.grids), grids=tuple(taken.grids), tables=tuple(taken.tables),
        layout=layout,
    )  # fmt: skip


@dataclass(eq=False)
class _Taken:
    """What was read of a workbook so far; ``reasons`` says why a table was not read."""

    book: Book
    frames: list[pd.DataFrame] = field(default_factory=list)
    grids: list[RoleGrid] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    labels: dict[str, str] = field(default_factory=dict)
    reasons: list[str] = field(default_factory=list)
    layout: SheetLayout = NO_ANSWERS
    supplied: Counter[str] = field(default_factory=Counter)
    tables: list[ReadTable] = field(default_factory=list)
    lists: Lists = field(default_factory=Lists)
    sheet_points: frozenset[str] = frozenset()

    def note(self, code: str, message: str, where: str, severity: Severity = Severity.NOTE) -> None:
        self.findings.append(Finding(code=code, severity=severity, message=message, where=where))


def _say_layout(taken: _Taken, layout: SheetLayout) -> None:
    """Say which sheet layout was applied and what it supplied."""
    gave = [f"{what} of {count} result(s)" for what, count in taken.supplied.items() if count]
    supplied = f"it supplied {', '.join(gave)}" if gave else "the sheet states all that it could supply"
    taken.findings.append(
        Finding(
            code="sheet layout", severity=Severity.NOTE, where=taken.book.name, given=layout.path,
            message=f"the sheet layout {layout.name!r} was applied: {supplied}",
        )
    )  # fmt: skip


def _read_sheet(taken: _Taken, sheet: Sheet, tables: tuple[FoundTable, ...]) -> None:
    """Read the tables of one sheet in turn; what labels say above one holds below it until another says else."""
    where = f"{taken.book.name}|{sheet.name}" if sheet.name else taken.book.name
    if sheet.hidden:
        taken.note("hidden sheet", "this sheet is hidden in the workbook; it was read all the same", where)
    taken.findings.extend(mark_findings(sheet, where))
    facts, unit = dict[str, Fact](), None
    read, reasons = len(taken.frames), len(taken.reasons)
    for found in tables:
        facts, unit = _read_table(taken, found, facts, unit)
    unread = len(taken.frames) == read and sheet.cells.size and len(taken.book.sheets) > 1
    if unread and not any(taken.lists.of_part(found.part) for found in tables):
        taken.note("no results", f"no result was read: {taken.reasons[reasons]}", where)


def _read_table(
    taken: _Taken, given: FoundTable, known: Mapping[str, Fact], unit: Unit | None
) -> tuple[dict[str, Fact], Unit | None]:
    """Read one table and return what labels say from here on."""
    grid = RoleGrid(given.part)
    taken.grids.append(grid)
    told = _told(taken, given)
    table = given.found if told.layout is NO_ANSWERS else told_table(given.part, given.found, told)
    table, codes = (table, {}) if isinstance(table, str) else with_codes(table, given.part, taken.lists.parameters)
    taken.findings += told.findings
    if isinstance(table, str):
        taken.reasons.append(table)
        taken.tables.append(ReadTable(found=given, table=table))
        own, own_unit = read_labels(grid, taken.lists.of_part(given.part), len(given.part.cells))
        _keep_labels(taken.labels, own)
        taken.findings.extend(statements(grid, taken.book.name, whole=True))
        return {**known, **own}, own_unit or unit
    found = find_result_cells(grid, table, told.layout)
    own, own_unit = read_labels(grid, table, found.end)
    _keep_labels(taken.labels, own)
    facts, unit = {**known, **own}, own_unit or unit
    samples = taken.lists.samples.beside(given.part)
    work = Extraction(
        grid,
        table,
        facts,
        unit,
        taken.book.name,
        found,
        told,
        samples=samples,
        codes=codes,
        sheet_points=taken.sheet_points,
    )
    taken.frames.append(extract(work))
    if told.layout is not NO_ANSWERS:
        count_told_cells(work)
    say_of_table(work, taken.frames[-1])
    work.findings.extend(statements(grid, taken.book.name, whole=False))
    taken.findings.extend(work.findings)
    taken.supplied += work.supplied
    taken.tables.append(
        ReadTable(found=given, table=table, orders=work.orders, marks=work.parsed.marks, ambiguous=work.ambiguous)
    )
    return facts, unit


def _told(taken: _Taken, given: FoundTable) -> Told:
    """Return what the sheet layout, if there is one, says of a table."""
    layout = taken.layout
    known = NO_TABLE if layout is NO_ANSWERS else layout.table_for(given.fingerprint) or NO_TABLE
    return Told(layout=layout, table=known, workbook=taken.book.name, sheet=given.part.name)


def _keep_labels(labels: dict[str, str], facts: dict[str, Fact]) -> None:
    for role, fact in facts.items():
        if role in BATCH_LABELS | {"batch", "lab", "sampled_at"}:
            labels.setdefault(role, cell_text(fact.value))


def _empty(model: type[Readings] | type[Ledger]) -> pd.DataFrame:
    types = {name: str(column.dtype) for name, column in model.to_schema().columns.items()}
    return pd.DataFrame({name: pd.Series(dtype=_TYPES.get(kind, kind)) for name, kind in types.items()})
