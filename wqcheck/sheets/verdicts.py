"""Turns what the laboratory itself says of its results (*fail*, *voldoet niet*, *no cumple*) into findings that hold.

A verdict of the laboratory makes no result pass or fail here; where it is bad it has to be looked at, for the
laboratory may know more than the sheet.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

import numpy as np

from wqcheck.findings import Severity
from wqcheck.sheets.coded import Coded, Flags
from wqcheck.sheets.columns import texts_of
from wqcheck.sheets.extraction import Extraction
from wqcheck.sheets.headings import heading_role
from wqcheck.sheets.roles import cell_names, first_cells
from wqcheck.sheets.verdict_words import says_fail, says_verdict


def say_verdicts(work: Extraction) -> None:
    """Hold for results that a verdict, flag or remark of the laboratory calls bad, in columns and in rows."""
    failed, given = np.zeros(work.count, dtype=bool), ""
    for texts, bad in _beside(work):
        failed |= bad
        given = given or str(next((text for text, _ in texts.groups(bad)), ""))
    if failed.any():
        message = (
            f"the laboratory itself calls {int(failed.sum())} result(s) bad; find out why before they are used, "
            "whatever the limits say"
        )
        work.note("laboratory verdict", message, work.where(np.flatnonzero(failed)), given, Severity.HOLD)
    _say_rows(work)


def _beside(work: Extraction) -> Iterator[tuple[Coded, Flags]]:
    """Yield, for each column beside the results, its texts and whether they are a bad verdict (shape (n,))."""
    own = work.beside.get("verdict", {})
    for result, column in own.items():
        heading = work.table.columns[column].heading
        texts = texts_of(work.per_row(column)).without(work.found.columns != result)
        yield texts, texts.flags(partial(says_fail, heading=heading))
    for column in [c for c in work.table.with_role("verdict") if c not in own.values()]:
        texts, heading = texts_of(work.per_row(column)), work.table.columns[column].heading
        yield texts, texts.flags(partial(says_fail, heading=heading))
    for role in ("qualifier", "remark"):
        texts = work.row_texts(role)
        yield texts, texts.flags(lambda text: says_verdict(text) == "fail")


def _say_rows(work: Extraction) -> None:
    """Hold for bad verdicts in rows that give the verdict of each column."""
    if work.table.kind not in {"wide", "crosstab"}:
        return
    label = 0 if work.table.kind == "wide" else work.table.with_role("parameter")[0]
    named = Coded.of(work.cells[:, label]).flags(
        lambda cell: isinstance(cell, str) and heading_role(cell.strip().rstrip(" :")) == "verdict"
    )
    rows = np.flatnonzero(named)
    bad = Coded.of(work.cells[rows].ravel()).flags(lambda cell: says_verdict(cell) in {"fail", "no"})
    at, columns = np.nonzero(bad.reshape(len(rows), work.cells.shape[1]))
    if len(at):
        names = cell_names(rows[at] + work.grid.sheet.top, columns)
        message = "a row of verdicts of the laboratory calls results bad; find out why before they are used"
        where = work.at(int(rows[at[0]]), int(columns[0]))
        work.note("laboratory verdict", message, where, first_cells(names), Severity.HOLD)
