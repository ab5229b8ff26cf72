"""Turns a whole workbook into readings, findings and the ledger of every cell that is not a result."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.findings import Finding, Severity
from wqcheck.sheets.coded import Coded
from wqcheck.sheets.extract import extract
from wqcheck.sheets.extraction import Extraction
from wqcheck.sheets.grid import Book, Sheet, open_book
from wqcheck.sheets.headings import BATCH_LABELS
from wqcheck.sheets.labels import Fact, read_labels
from wqcheck.sheets.layout import Table, find_table
from wqcheck.sheets.result_cells import find_result_cells
from wqcheck.sheets.roles import RoleGrid, cell_text, column_name
from wqcheck.tables import Ledger, Readings

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
    findings = [Finding(code="reader", severity=Severity.NOTE, message=text, where=book.name) for text in book.remarks]
    frames, grids, labels = [], [], dict[str, str]()
    for sheet in book.sheets:
        grid = RoleGrid(sheet)
        grids.append(grid)
        frames.append(_read_sheet(book, sheet, grid, labels, findings))
    readings = Readings.validate(pd.concat(frames, ignore_index=True) if frames else _empty(Readings))
    if readings.empty:
        findings.append(_no_results(book))
    return ReadResult(
        name=book.name, sha256=book.sha256, readings=readings, findings=tuple(findings), labels=labels,
        cells=sum(grid.filled() for grid in grids), grids=tuple(grids),
    )  # fmt: skip


def _read_sheet(
    book: Book, sheet: Sheet, grid: RoleGrid, labels: dict[str, str], findings: list[Finding]
) -> pd.DataFrame:
    where = f"{book.name}|{sheet.name}" if sheet.name else book.name
    if sheet.hidden:
        text = "this sheet is hidden in the workbook; it was read all the same"
        findings.append(Finding(code="hidden sheet", severity=Severity.NOTE, message=text, where=where))
    table = find_table(sheet.cells)
    if isinstance(table, str):
        facts, _ = read_labels(grid, None, len(sheet.cells))
        _keep_labels(labels, facts)
        if sheet.cells.size and len(book.sheets) > 1:
            findings.append(
                Finding(code="no results", severity=Severity.NOTE, message=f"no result was read: {table}", where=where)
            )
        return _empty(Readings)
    found = find_result_cells(grid, table)
    last = int(found.rows.max()) + 1 if len(found.rows) else len(sheet.cells)
    facts, unit = read_labels(grid, table, last)
    _keep_labels(labels, facts)
    work = Extraction(grid, table, facts, unit, book.name, found)
    frame = extract(work)
    _explain_rest(work)
    findings.extend(work.findings)
    return frame


def _keep_labels(labels: dict[str, str], facts: dict[str, Fact]) -> None:
    for role, fact in facts.items():
        if role in BATCH_LABELS | {"batch", "lab", "sampled_at"}:
            labels.setdefault(role, cell_text(fact.value))


def _explain_rest(work: Extraction) -> None:
    """Give every cell of the table that no step used a role, and report columns that look like results."""
    grid, table = work.grid, work.table
    for position, column in table.columns.items():
        left = grid.unexplained()[:, position]
        if not left.any():
            continue
        heading = column.heading or column_name(position)
        if column.role in {"", "other"}:
            grid.mark(left, position, "other column", f"the heading {heading!r} names nothing that results need")
        else:
            role = column.role.replace("_", " ")
            grid.mark(left, position, role, f"column of {role}; not a result of its own")
        _say_unread_numbers(work, position, column.role, heading)
    grid.mark(*np.nonzero(grid.unexplained()), "text", "section heading, remark or footer in the table")


def _say_unread_numbers(work: Extraction, position: int, role: str, heading: str) -> None:
    cells = Coded.of(work.cells[work.result_rows, position] if role == "" else np.array([], dtype=object))
    if len(cells.codes) and cells.flags(lambda cell: isinstance(cell, float)).mean() > 0.5:
        work.note(
            "column not read", f"the column {heading!r} holds numbers, but its heading is no known parameter; it was not read",
            work.at(int(work.result_rows[0]), position), heading,
        )  # fmt: skip


def _no_results(book: Book) -> Finding:
    reasons: Sequence[str] = [str(t) for s in book.sheets if isinstance(t := find_table(s.cells), str)]
    why = reasons[0] if reasons else "its table holds no result"
    return Finding(code="no results", severity=Severity.HOLD, message=f"no result was read: {why}", where=book.name)


def _empty(model: type[Readings] | type[Ledger]) -> pd.DataFrame:
    types = {name: str(column.dtype) for name, column in model.to_schema().columns.items()}
    return pd.DataFrame({name: pd.Series(dtype=_TYPES.get(kind, kind)) for name, kind in types.items()})
