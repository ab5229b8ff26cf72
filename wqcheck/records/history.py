"""Turns the readings of all checks into the series of one parameter at one point, each result once."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

import pandas as pd
from pandera.typing import DataFrame
from sqlalchemy import Select, func, select

from wqcheck.records.frames import READING_COLUMNS, frame_of
from wqcheck.records.schema import Checks, readings, table_of
from wqcheck.records.standing import latest_of
from wqcheck.records.store import Store
from wqcheck.tables import Readings

_SAME = (Readings.workbook, Readings.sheet, Readings.cell, Readings.sample, Readings.sampled_at, Readings.reported)
"""What two readings share when they are one result, taken in with two batches."""


def history(
    store: Store, point: str | Sequence[str], parameter: str, since: date | None = None, until: date | None = None
) -> DataFrame[Readings]:
    """Return the results of a parameter at a sampling point, oldest first, from the latest check of each batch.

    Parameters
    ----------
    store : Store
    point : str or sequence of str
        Sampling point as the readings name it, or all its spellings.
    parameter : str
        Catalogue code.
    since, until : date, optional
        First and last day; with either of them undated results are left out, else they stand at the end.

    Returns
    -------
    DataFrame[Readings]
        One row per result; ``batch`` is the one that the sheet states, or that it was taken in for. A result that
        several batches share stands once.
    """
    with store.reading() as connection:
        rows = connection.execute(series_statement(point, parameter, since, until)).all()
    frame = frame_of([tuple(row) for row in rows], READING_COLUMNS, Readings)
    return Readings.validate(frame.drop_duplicates(list(_SAME)).reset_index(drop=True))


def series_statement(
    point: str | Sequence[str], parameter: str, since: date | None = None, until: date | None = None
) -> Select[*tuple[Any, ...]]:
    """Return the statement for :func:`history`; it walks the index of point, parameter and time."""
    checks = table_of(Checks)
    spellings = [point] if isinstance(point, str) else list(point)
    columns = [
        func.coalesce(readings.c.batch, checks.c.batch).label("batch") if name == Readings.batch else readings.c[name]
        for name in READING_COLUMNS
    ]
    wanted = (
        select(*columns)
        .join_from(readings, checks, checks.c.entry == readings.c.entry)
        .where(readings.c.point.in_(spellings), readings.c.parameter == parameter, readings.c.combined == 0)
        .where(latest_of(Checks))
        .order_by(readings.c.sampled_at.is_(None), readings.c.sampled_at, readings.c.entry, readings.c.place)
    )
    if since is not None:
        wanted = wanted.where(readings.c.sampled_at >= since.isoformat())
    if until is not None:
        wanted = wanted.where(readings.c.sampled_at < (until + timedelta(days=1)).isoformat())
    return wanted


def series_names(store: Store) -> pd.DataFrame:
    """Return which series there are: point, parameter, results (how many), first and last (days, ISO text)."""
    columns = [readings.c.point, readings.c.parameter]
    times = [func.min(readings.c.sampled_at), func.max(readings.c.sampled_at)]
    wanted = select(*columns, func.count(), *times).where(readings.c.combined == 0, readings.c.parameter.is_not(None))
    with store.reading() as connection:
        rows = connection.execute(wanted.group_by(*columns).order_by(*columns)).all()
    frame = pd.DataFrame(rows, columns=["point", "parameter", "results", "first", "last"])
    return frame.assign(first=frame["first"].str[:10], last=frame["last"].str[:10])
