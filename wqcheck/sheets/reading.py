"""Turns a whole workbook into readings, findings and the ledger of every cell that is not a result."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd
from pandera.typing import DataFrame

from wqcheck.findings import Finding, Severity
from wqcheck.sheets.extract import extract
from wqcheck.sheets.extraction import Extraction
from wqcheck.sheets.grid import Book, Sheet, open_book
from wqcheck.sheets.headings import BATCH_LABELS
from wqcheck.sheets.labels import Fact, read_labels
from wqcheck.sheets.layout import find_table
from wqcheck.sheets.result_cells import find_result_cells
from wqcheck.sheets.roles import RoleGrid, cell_text, column_name
from wqcheck.sheets.stacked import split_tables
from wqcheck.sheets.unread import say_blank_results, say_moved_headings, say_unread_column, statements
from wqcheck.tables import Ledger, Readings
from wqcheck.units import Unit

_TYPES = {"datetime64[ns]": "datetime64[us]"}


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
    """

    name: str
    sha256: str
    readings: DataFrame[Readings]
    findings: tuple[Finding, ...]
    labels: dict[str, str]
    cells: int
    grids: tuple[RoleGrid, ...]

    def ledger(self) -> DataFrame[Ledger]:
        """Return one row per non-empty cell that is not a result."""
        frames = [grid.ledger(self.name) for grid in self.grids]
        table = pd.concat(frames, ignore_index=True) if frames else _empty(Ledger)
        return Ledger.validate(table)


def read_workbook(source: Path | tuple[str, bytes]) -> ReadResult:
    """Return the readings of a workbook or text file; layouts are found sheet by sheet.

    Parameters
    ----------
    source : Path or (name, bytes)
        A file, or an upload with its file name.

    Raises
    ------
    wqcheck.errors.WorkbookError
        The file cannot be read at all.
    """
    book = open_book(source)
    taken = _Taken(book)
    for text in book.remarks:
        taken.note("reader", text, book.name)
    for sheet in book.sheets:
        _read_sheet(taken, sheet)
    frames = taken.frames or [_empty(Readings)]
    readings = Readings.validate(pd.concat(frames, ignore_index=True))
    if readings.empty:
        why = taken.reasons[0] if taken.reasons else "its table holds no result"
        taken.note("no results", f"no result was read: {why}", book.name, Severity.HOLD)
    return ReadResult(
        name=book.name, sha256=book.sha256, readings=readings, findings=tuple(taken.findings), labels=taken.labels,
        cells=sum(grid.filled() for grid in taken.grids), grids=tuple(taken.grids),
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

    def note(self, code: str, message: str, where: str, severity: Severity = Severity.NOTE) -> None:
        self.findings.append(Finding(code=code, severity=severity, message=message, where=where))


def _read_sheet(taken: _Taken, sheet: Sheet) -> None:
    """Read the tables of one sheet in turn; what labels say above one holds below it until another says else."""
    where = f"{taken.book.name}|{sheet.name}" if sheet.name else taken.book.name
    if sheet.hidden:
        taken.note("hidden sheet", "this sheet is hidden in the workbook; it was read all the same", where)
    facts, unit = dict[str, Fact](), None
    read, reasons = len(taken.frames), len(taken.reasons)
    for part in split_tables(sheet):
        facts, unit = _read_table(taken, part, facts, unit)
    if len(taken.frames) == read and sheet.cells.size and len(taken.book.sheets) > 1:
        taken.note("no results", f"no result was read: {taken.reasons[reasons]}", where)


def _read_table(
    taken: _Taken, sheet: Sheet, known: Mapping[str, Fact], unit: Unit | None
) -> tuple[dict[str, Fact], Unit | None]:
    """Read one table and return what labels say from here on."""
    grid = RoleGrid(sheet)
    taken.grids.append(grid)
    table = find_table(sheet.cells)
    if isinstance(table, str):
        taken.reasons.append(table)
        own, own_unit = read_labels(grid, None, len(sheet.cells))
        _keep_labels(taken.labels, own)
        taken.findings.extend(statements(grid, taken.book.name, whole=True))
        return {**known, **own}, own_unit or unit
    found = find_result_cells(grid, table)
    own, own_unit = read_labels(grid, table, found.end)
    _keep_labels(taken.labels, own)
    facts, unit = {**known, **own}, own_unit or unit
    work = Extraction(grid, table, facts, unit, taken.book.name, found)
    taken.frames.append(extract(work))
    tested = set(taken.frames[-1][Readings.parameter].dropna().unique())
    _explain_rest(work, tested)
    say_blank_results(work, tested)
    say_moved_headings(work)
    work.findings.extend(statements(grid, taken.book.name, whole=False))
    taken.findings.extend(work.findings)
    return facts, unit


def _keep_labels(labels: dict[str, str], facts: dict[str, Fact]) -> None:
    for role, fact in facts.items():
        if role in BATCH_LABELS | {"batch", "lab", "sampled_at"}:
            labels.setdefault(role, cell_text(fact.value))


def _explain_rest(work: Extraction, tested: set[str]) -> None:
    """Give every cell of the table that no step used a role, and report columns that look like results."""
    grid, table = work.grid, work.table
    for position, column in table.columns.items():
        say_unread_column(work, position, tested)
        left = grid.unexplained()[:, position]
        if not left.any():
            continue
        heading = column.heading or column_name(position)
        if column.role in {"", "other"}:
            grid.mark(left, position, "other column", f"the heading {heading!r} names nothing that results need")
        else:
            role = column.role.replace("_", " ")
            name = "not used" if column.role in {"result", "analyte"} else role
            grid.mark(left, position, name, f"column of {role}; not a result of its own")
    grid.mark_all(grid.unexplained(), "text", "section heading, remark or footer in the table")


def _empty(model: type[Readings] | type[Ledger]) -> pd.DataFrame:
    types = {name: str(column.dtype) for name, column in model.to_schema().columns.items()}
    return pd.DataFrame({name: pd.Series(dtype=_TYPES.get(kind, kind)) for name, kind in types.items()})
