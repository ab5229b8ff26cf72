"""Turns the records of a period into its batches, its results and its verdicts, each result once.

A result belongs to the day on which it was sampled; one without a day to the batch that it was taken in with. A batch
belongs to the first day on which its samples were taken, else to the start of its run, else to the day it was taken in.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import date, timedelta
from typing import Any

import pandas as pd
from pandera.typing import DataFrame
from sqlalchemy import ColumnElement, Select, and_, func, or_, select

from wqcheck.records.certificates import documents
from wqcheck.records.frames import READING_COLUMNS, VERDICT_COLUMNS, frame_of, listed
from wqcheck.records.schema import Batches, CheckFiles, Checks, Decisions, Files, judged, log, readings, table_of
from wqcheck.records.standing import latest_of
from wqcheck.records.store import Store
from wqcheck.statistics import drift, series_judging
from wqcheck.tables import Judged, Readings

SAME = (Readings.workbook, Readings.sheet, Readings.cell, Readings.sample, Readings.sampled_at, Readings.reported)
"""What two readings share when they are one result, taken in with two batches."""

_SAME_LIMIT = (*SAME, Judged.table, Judged.limit_line, Judged.parameter)

JUDGED_COLUMNS = tuple(dict.fromkeys((*drift.USED, *series_judging.USED, *SAME, Judged.limit_basis)))
"""Columns of the judged rows that are given: what series are judged by, and where each result stands."""


def batches_of(store: Store, since: date, until: date) -> pd.DataFrame:
    """Return the batches of a period, oldest first.

    Columns: entry (of the latest check), batch, plant, day (ISO text), product, product_name, state, at, person,
    reason, override (1 against the advice), recommended, documents (numbers in force).
    """
    known, checks, steps = table_of(Batches), table_of(Checks), table_of(Decisions)
    sampled = (
        select(readings.c.entry, func.min(readings.c.sampled_at).label("sampled"))
        .where(readings.c.combined == 0)
        .group_by(readings.c.entry)
        .subquery()
    )
    names = [known.c.batch, known.c.plant, known.c.product, known.c.product_name, known.c.run_start]
    wanted = (
        select(checks.c.entry, *names, sampled.c.sampled, log.c.at.label("taken_in"), steps.c.state, steps.c.at,
               steps.c.person, steps.c.reason, steps.c.override, checks.c.disposition.label("recommended"))
        .join_from(checks, known, and_(known.c.batch == checks.c.batch, latest_of(Batches)))
        .join(steps, and_(steps.c.batch == checks.c.batch, latest_of(Decisions)))
        .join(log, log.c.seq == checks.c.entry)
        .outerjoin(sampled, sampled.c.entry == checks.c.entry)
        .where(latest_of(Checks))
    )  # fmt: skip
    with store.reading() as connection:
        frame = listed(connection.execute(wanted))
    frame = frame.astype({name: "str" for name in frame.columns if name not in ("entry", "override")})
    started = frame["run_start"].where(frame["run_start"].str.match(r"\d{4}-\d{2}-\d{2}"))
    frame["day"] = frame["sampled"].fillna(started).fillna(frame["taken_in"]).str[:10]
    within = frame[frame["day"].between(since.isoformat(), until.isoformat())]
    papers = documents(store)
    valid = papers[papers["status"].eq("in force")].groupby("batch")["number"].agg("; ".join)
    named = within.assign(documents=within["batch"].map(valid).astype("str").fillna(""))
    return named.drop(columns=["run_start", "sampled", "taken_in"]).sort_values(["day", "batch"], ignore_index=True)


def results_of(
    store: Store, parameter: str | None, since: date, until: date, entries: Collection[int]
) -> DataFrame[Readings]:
    """Return the results of a parameter in a period at every point, oldest first, those without a day at the end.

    Parameters
    ----------
    store : Store
    parameter : str or None
        Catalogue code; None for results whose name is no known parameter.
    since, until : date
        First and last day.
    entries : collection of int
        Log entries of checks (as :func:`batches_of` gives them) whose undated results belong to the period.
    """
    named = readings.c.parameter.is_(None) if parameter is None else readings.c.parameter == parameter
    return _results(store, and_(named, _sampled(since, until)), entries)


def every_result(store: Store, since: date, until: date) -> DataFrame[Readings]:
    """Return the dated results of a period of all parameters at every point, oldest first, each once."""
    return _results(store, _sampled(since, until, undated=False), ())


def _results(store: Store, wanted_ones: ColumnElement[bool], entries: Collection[int]) -> DataFrame[Readings]:
    checks = table_of(Checks)
    columns = [readings.c[name] for name in READING_COLUMNS]
    wanted = (
        select(*columns, readings.c.entry)
        .join_from(readings, checks, checks.c.entry == readings.c.entry)
        .where(readings.c.combined == 0, latest_of(Checks), wanted_ones)
        .order_by(readings.c.sampled_at.is_(None), readings.c.sampled_at, readings.c.entry, readings.c.place)
    )
    frame = _within(store, wanted, READING_COLUMNS, entries)
    return Readings.validate(_once(frame, SAME))


def verdicts_of(
    store: Store, since: date, until: date, entries: Collection[int] | None, series: tuple[str, str] | None = None
) -> pd.DataFrame:
    """Return the recorded verdicts on the results of a period (:data:`JUDGED_COLUMNS`), oldest first.

    Parameters are those of :func:`results_of`; ``entries`` None keeps every undated result, ``series`` is one parameter
    and its point (blank where none is stated), all by default. A result that no limit binds is left out.
    """
    wanted = _verdicts().where(_sampled(since, until))
    if series is not None:
        parameter, point = series
        at = readings.c.point == point if point else readings.c.point.is_(None)
        wanted = wanted.where(readings.c.parameter == parameter, at)
    return _once(_within(store, wanted, JUDGED_COLUMNS, entries), _SAME_LIMIT)


def latest_verdicts(store: Store, since: date, until: date, most: int) -> pd.DataFrame:
    """Return the last *most* dated verdicts of every series and limit row in a period (:data:`JUDGED_COLUMNS`)."""
    checks = table_of(Checks)
    series = [judged.c[Judged.table], judged.c[Judged.limit_line], readings.c.parameter, readings.c.point]
    place = func.row_number().over(partition_by=series, order_by=readings.c.sampled_at.desc()).label("back")
    ranked = (
        select(judged.c.entry, judged.c.place, place)
        .join_from(judged, readings, _reading())
        .where(judged.c[Judged.table].is_not(None), judged.c.entry.in_(select(checks.c.entry).where(latest_of(Checks))))
        .where(_sampled(since, until, undated=False))
        .subquery()
    )
    kept = and_(ranked.c.entry == judged.c.entry, ranked.c.place == judged.c.place, ranked.c.back <= most)
    return _once(_within(store, _verdicts().join(ranked, kept), JUDGED_COLUMNS, ()), _SAME_LIMIT)


def tables_used(store: Store, entries: Collection[int]) -> pd.DataFrame:
    """Return the limit tables that checks used, each file once: name, title, sha256, content (bytes), newest last."""
    table, files = table_of(CheckFiles), table_of(Files)
    wanted = (
        select(table.c.name, table.c.title, table.c.sha256, func.max(table.c.entry).label("entry"))
        .where(table.c.kind == "limit table", table.c.entry.in_(list(entries)))
        .group_by(table.c.name, table.c.title, table.c.sha256)
        .order_by("entry", table.c.name)
    )
    with store.reading() as connection:
        rows = connection.execute(wanted).all()
        contents = select(files.c.sha256, files.c.content).where(files.c.sha256.in_([row.sha256 for row in rows]))
        content = {digest: bytes(found) for digest, found in connection.execute(contents)}
    frame = pd.DataFrame([tuple(row)[:3] for row in rows], columns=["name", "title", "sha256"])
    return frame.assign(content=[content.get(digest, b"") for digest in frame["sha256"]])


def state_of_checks(store: Store) -> int:
    """Return the log entry of the newest check: results and verdicts are the same while it is the same."""
    with store.reading() as connection:
        return int(connection.execute(select(func.max(table_of(Checks).c.entry))).scalar() or 0)


def _reading() -> ColumnElement[bool]:
    return and_(readings.c.entry == judged.c.entry, readings.c.place == judged.c.reading)


def _verdicts() -> Select[*tuple[Any, ...]]:
    """Return the statement for judged rows of the latest checks, oldest result first."""
    checks = table_of(Checks)
    columns = [(readings if name in READING_COLUMNS else judged).c[name] for name in JUDGED_COLUMNS]
    named = [
        func.coalesce(column, checks.c.batch).label(name) if name == Judged.batch else column
        for name, column in zip(JUDGED_COLUMNS, columns, strict=True)
    ]
    return (
        select(*named, judged.c.entry)
        .join_from(judged, readings, _reading())
        .join(checks, checks.c.entry == judged.c.entry)
        .where(judged.c[Judged.table].is_not(None), latest_of(Checks))
        .order_by(readings.c.sampled_at.is_(None), readings.c.sampled_at, judged.c.entry, judged.c.place)
    )


def _sampled(since: date, until: date, *, undated: bool = True) -> ColumnElement[bool]:
    after = readings.c.sampled_at >= since.isoformat()
    within = and_(after, readings.c.sampled_at < (until + timedelta(days=1)).isoformat())
    return or_(within, readings.c.sampled_at.is_(None)) if undated else within


def _within(
    store: Store, wanted: Select[*tuple[Any, ...]], columns: tuple[str, ...], entries: Collection[int] | None
) -> pd.DataFrame:
    """Return the rows of a statement whose last column is the log entry; undated ones of *entries* only, if given."""
    with store.reading() as connection:
        rows = connection.execute(wanted).all()
    model = Judged if set(columns) & set(VERDICT_COLUMNS) else Readings
    frame = frame_of([tuple(row)[:-1] for row in rows], columns, model)
    if entries is None:
        return frame
    entry = pd.Series([row[-1] for row in rows], dtype="int64")
    return frame[frame[Readings.sampled_at].notna() | entry.isin(list(entries))].reset_index(drop=True)


def _once(frame: pd.DataFrame, same: Sequence[str]) -> pd.DataFrame:
    """Return rows without those that several batches share; without a day two results cannot be told to be one."""
    again = frame.duplicated(list(same)) & frame[Readings.sampled_at].notna()
    return frame[again.eq(False)].reset_index(drop=True)
