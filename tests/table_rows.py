"""Builds checked tables for tests from rows that give only the columns that matter."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd
import pandera.pandas as pa
from pandera.typing import DataFrame

from wqcheck.tables import Judged, Readings

READING = {"reported": "1", "sign": "=", "workbook": "book.xlsx", "sheet": "Results"}
JUDGED = {**READING, "table": "some_table", "source": "Some source", "clause": "Table 1", "reason": "some reason"}


def readings_of(rows: Sequence[Mapping[str, Any]]) -> DataFrame[Readings]:
    """Return one reading per row; cells count down column B."""
    return Readings.validate(_frame(Readings, READING, rows))


def judged_of(rows: Sequence[Mapping[str, Any]]) -> DataFrame[Judged]:
    """Return one judged row per row; cells count down column B."""
    return Judged.validate(_frame(Judged, JUDGED, rows))


def _frame(
    model: type[pa.DataFrameModel], defaults: Mapping[str, Any], rows: Sequence[Mapping[str, Any]]
) -> pd.DataFrame:
    full = [{**defaults, "cell": f"B{line}", **row} for line, row in enumerate(rows, start=2)]
    columns = model.to_schema().columns
    unknown = {name for row in rows for name in row} - set(columns)
    assert not unknown, f"no such columns: {unknown}"
    types = {name: str(column.dtype) for name, column in columns.items()}
    return pd.DataFrame(
        {name: pd.Series([row.get(name) for row in full], dtype=types[name]) for name in columns},
    )
