"""Builds invented limit tables for tests from rows that give only the cells that matter."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pandas as pd

from wqcheck.limit_tables.columns import COLUMNS
from wqcheck.limit_tables.loading import LimitTable, typed_rows

LIMIT = {
    "parameter": "lead", "rule": "max", "unit": "µg/L", "product": "any", "class": "health",
    "source": "Invented table for tests", "clause": "no. 1", "evidence": "memory",
}  # fmt: skip


def table_of(name: str, *rows: Mapping[str, str]) -> LimitTable:
    """Return a table of *rows*; cells that a row does not give are those of ``LIMIT``, or blank."""
    full = [{column: {**LIMIT, **row}.get(column, "") for column in COLUMNS} for row in rows]
    text = pd.DataFrame(full, columns=list(COLUMNS), dtype="str")
    typed = typed_rows(text, list(range(2, len(rows) + 2)))
    written = {line: (row["lower"], row["upper"]) for line, row in enumerate(full, start=2)}
    return LimitTable(
        name=name, title=LIMIT["source"], path=Path(f"{name}.csv"), digest="", rows=typed, written=written
    )
