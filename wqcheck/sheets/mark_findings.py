"""Turns what stands in a sheet beside its values (hidden rows and columns, struck cells) into findings."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import groupby

from wqcheck.findings import Finding, Severity
from wqcheck.sheets.grid import BLANK, Sheet
from wqcheck.sheets.roles import column_name, first_cells


def mark_findings(sheet: Sheet, where: str) -> Iterator[Finding]:
    """Yield a finding for each kind of mark on cells of *sheet* that hold something; *where* is ``workbook|sheet``."""
    marks, held = sheet.marks, sheet.stored != BLANK
    rows = [row for row in sorted(marks.hidden_rows) if row < len(held) and held[row].any()]
    if rows:
        why = "some by a filter, " if marks.filtered else ""
        message = f"rows are hidden in this sheet ({why}{len(rows)} with content); they were read all the same"
        yield _note("hidden rows", message, where, _runs(rows, lambda row: str(row + 1)))
    columns = [c for c in sorted(marks.hidden_columns) if c < held.shape[1] and held[:, c].any()]
    if columns:
        message = f"columns are hidden in this sheet ({len(columns)} with content); they were read all the same"
        yield _note("hidden columns", message, where, _runs(columns, column_name))
    struck = [(r, c) for r, c in sorted(marks.struck) if r < held.shape[0] and c < held.shape[1] and held[r, c]]
    if struck:
        names = first_cells([f"{column_name(c)}{r + 1}" for r, c in struck])
        yield Finding(
            code="struck through", severity=Severity.HOLD, given=names, where=where,
            message=f"{len(struck)} cell(s) are struck through, as laboratories do with what is void; they were read "
            "all the same: ask whether they hold, and delete those that do not",
        )  # fmt: skip


def _note(code: str, message: str, where: str, given: str) -> Finding:
    return Finding(code=code, severity=Severity.NOTE, message=message, where=where, given=given)


def _runs(numbers: Iterable[int], name: object) -> str:
    """Name sorted *numbers* as runs such as ``4-9, 12``."""
    assert callable(name)
    runs = [[n for _, n in run] for _, run in groupby(enumerate(numbers), key=lambda pair: pair[1] - pair[0])]
    texts = [name(run[0]) if len(run) == 1 else f"{name(run[0])}-{name(run[-1])}" for run in runs]
    return first_cells(texts, 8)
