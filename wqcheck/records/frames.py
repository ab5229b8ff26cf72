"""Turns checked tables into rows of the store and back, column by column, without losing a digit or a blank.

Text stays text, numbers stay binary floating point numbers (infinite ends included), times become ISO 8601 text.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import isnan
from typing import Any

import numpy as np
import pandas as pd
from pandera.typing import DataFrame
from sqlalchemy import Result

from wqcheck.records.log import Row
from wqcheck.tables import Judged, Readings, Stages

Model = type[Readings] | type[Judged] | type[Stages]

READING_COLUMNS = tuple(Readings.to_schema().columns)
VERDICT_COLUMNS = tuple(name for name in Judged.to_schema().columns if name not in READING_COLUMNS)
"""Columns of a judged row that its reading does not have."""


def rows_of(frame: pd.DataFrame, columns: Sequence[str]) -> list[Row]:
    """Return the rows of some columns of a table as plain values, blanks as ``None``."""
    return list(zip(*(_plain(frame[name]) for name in columns), strict=True))


def frame_of(rows: Sequence[Row], columns: Sequence[str], model: Model) -> pd.DataFrame:
    """Return rows of plain values as a table with the column types of *model*."""
    types = {name: str(column.dtype) for name, column in model.to_schema().columns.items()}
    values = list(zip(*rows, strict=True)) if rows else [()] * len(columns)
    return pd.DataFrame({name: _typed(values[place], types[name]) for place, name in enumerate(columns)})


def listed(found: Result[Any]) -> pd.DataFrame:
    """Return what a query *found* as a table with its column names; an attribute look-up per row is saved."""
    return pd.DataFrame([tuple(row) for row in found], columns=list(found.keys()))


def split_judged(readings: DataFrame[Readings], judged: DataFrame[Judged]) -> tuple[list[Row], list[Row]]:
    """Return the rows of readings and of verdicts that hold a check without writing a reading twice.

    Parameters
    ----------
    readings : DataFrame[Readings]
        All results read, n of them.
    judged : DataFrame[Judged]
        Some of them against limits, and sums or ratios of them.

    Returns
    -------
    (list, list)
        Rows for ``readings`` (``combined``, then the columns of a reading): the n read, then one for each distinct sum
        or ratio; and rows for ``judged`` (place of the reading, then the columns of a verdict).
    """
    read = rows_of(readings, READING_COLUMNS)
    places: dict[Row, int] = {}
    for place, row in enumerate(read):
        places.setdefault(row, place)
    kept: list[Row] = [(0, *row) for row in read]
    pointers = []
    for row in rows_of(judged, READING_COLUMNS):
        if row not in places:
            places[row] = len(kept)
            kept.append((1, *row))
        pointers.append(places[row])
    verdicts = rows_of(judged, VERDICT_COLUMNS)
    return kept, [(place, *row) for place, row in zip(pointers, verdicts, strict=True)]


def _plain(series: pd.Series[Any]) -> list[Any]:
    """Give the values of a column as ``str``, ``float`` or ``None``."""
    if pd.api.types.is_datetime64_any_dtype(series.dtype):
        moments = series.to_numpy("datetime64[us]")
        whole = bool((moments[~np.isnat(moments)].astype(np.int64) % 1_000_000 == 0).all())
        texts = np.datetime_as_string(moments, unit="s" if whole else "us").tolist()
        return [None if text == "NaT" else text for text in texts]
    if pd.api.types.is_numeric_dtype(series.dtype):
        return [None if isnan(value) else value + 0.0 for value in series.astype(float).tolist()]
    blank = series.isna().to_numpy()
    clean = series.where(~series.isna(), "").astype("str").str.replace("\x00", "\ufffd", regex=False)
    return [None if missing else text for missing, text in zip(blank, clean.tolist(), strict=True)]


def _typed(values: Sequence[Any], kind: str) -> pd.Series[Any]:
    if kind.startswith("datetime64"):
        return pd.Series(pd.to_datetime(pd.Series(values, dtype="str"), format="ISO8601")).astype("datetime64[us]")
    if kind == "float64":
        return pd.Series([float("nan") if value is None else value for value in values], dtype="float64")
    return pd.Series(values, dtype="str")
