"""Turns the days on a batch's results, its run and its limit tables into findings where they cannot speak for it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.findings import Finding, Severity
from wqcheck.judging.binding import all_rows, bound_rows
from wqcheck.judging.ranges import Bools
from wqcheck.limit_tables.loading import LimitTable, product_word
from wqcheck.quality.sample_amounts import cells_of
from wqcheck.release.rules import ReleaseRules
from wqcheck.sheets.coded import Coded
from wqcheck.sheets.dates import parse_dates
from wqcheck.tables import Limits, Readings, Sign

_DAYS = {Readings.sampled_at: "sampled", Readings.received_at: "received", Readings.analysed_at: "analysed"}
_UNREAD = ("ambiguous date", "no full date")
_BATCH_ONLY = "give each batch results of its own run, or correct the day"


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """What is known of a batch when its samples are looked at: its number, run start as text, day of the check."""

    batch: str
    start: str
    on: date


def day_findings(readings: DataFrame[Readings], run: Run, rules: ReleaseRules, product: str) -> Iterator[Finding]:
    """Yield a finding per sample whose days are to come, before the run, too old, or missing.

    Parameters
    ----------
    readings : DataFrame[Readings]
        Results of the batch's finished water.
    run : Run
        The batch, its run and the day of the check.
    rules : ReleaseRules
        ``sample_days`` is how many days old a result may be where the start of the run is not known.
    product : str
        Kind of water: a result that states the batch, or of a parameter that each batch must have, holds; the others,
        such as those of a yearly panel, inform.
    """
    tested = Readings.validate(readings[readings[Readings.sign].ne(Sign.NOT_DONE)])
    required = {code for entry in rules.required.get(product, ()) for code in entry}
    own = tested[Readings.batch].notna() | tested[Readings.parameter].isin(required)
    yield from _to_come(tested, run)
    starts = _starts(run.start)
    if run.start and not starts:
        yield _unclear(run, "is no date that can be read")
    if any(start.normalize() > pd.Timestamp(run.on) for start in starts):
        yield _unclear(run, f"lies after the day of the check, {run.on:%Y-%m-%d}")
    yield from _too_early(tested, own, starts) if starts else _too_old(tested, own, run, rules)
    yield from _undated(tested[tested[Readings.parameter].isin(required)], run)


def force_findings(
    readings: DataFrame[Readings], tables: Sequence[LimitTable], product: str, on: date
) -> Iterator[Finding]:
    """Yield a finding per table and sampling day on which not one of its rows for this kind of water was in force."""
    word = product_word(product)
    days = readings[Readings.sampled_at].fillna(pd.Timestamp(on)).dt.normalize()
    for table in tables:
        rows = bound_rows(all_rows([table]), word).rows
        if rows.empty:
            continue
        begun, ended = (rows[name] for name in (Limits.valid_from, Limits.valid_to))
        for day, sampled in readings.groupby(days, sort=True):
            known = (begun.isna() | (begun <= day)) & (ended.isna() | (ended >= day))
            if not known.any():
                message = (
                    f"no limit of {table.title} for {product} water was in force on {day:%Y-%m-%d}, when "
                    f"{_samples(sampled)} was sampled, so {len(sampled)} result(s) were not compared with it; correct "
                    "the day, or choose the edition that held then"
                )
                yield _finding("no limit in force", message, sampled)


def unread_days(readings: DataFrame[Readings], said: Iterable[Finding]) -> Iterator[Finding]:
    """Yield a finding that holds where sheets give days that could not be read, *said* so, and results have none."""
    undated = readings[readings[Readings.sampled_at].isna() & readings[Readings.sign].ne(Sign.NOT_DONE)]
    for finding in said:
        rows = undated[[finding.where.startswith(str(book)) for book in undated[Readings.workbook]]]
        if finding.code in _UNREAD and len(rows):
            message = (
                f"{len(rows)} result(s) of {_samples(rows)} have no sampling day, for what the sheet gives cannot be "
                "read as one; write the day as 2026-06-16, or answer the order of day and month in a sheet layout"
            )
            yield Finding(
                code="day not read", severity=Severity.HOLD, message=message, where=finding.where, given=finding.given
            )


def _to_come(readings: DataFrame[Readings], run: Run) -> Iterator[Finding]:
    for column, word in _DAYS.items():
        day = readings[column].dt.normalize()
        late = readings[day > pd.Timestamp(run.on)]
        for when, rows in late.groupby(day[late.index], sort=True):
            message = (
                f"{_samples(rows)} was {word} on {when:%Y-%m-%d}, after the day of the check, {run.on:%Y-%m-%d}; "
                "correct the day (day and month interchanged?)"
            )
            yield _finding("day to come", message, rows)


def _too_early(
    readings: DataFrame[Readings], own: pd.Series[bool], starts: Sequence[pd.Timestamp]
) -> Iterator[Finding]:
    """Yield samples taken before the run began; where its start can be read in two ways, before the later one."""
    latest = max(starts)
    early = pd.Series(_before(readings[Readings.sampled_at], latest), index=readings.index)
    for day, rows, holds in _by_day(readings, early, own):
        message = (
            f"{_samples(rows)} was sampled on {day:%Y-%m-%d}, before the run began on {latest:%Y-%m-%d %H:%M}, so "
            f"{len(rows)} result(s) say nothing about this batch; {_BATCH_ONLY}"
        )
        yield _finding("sampled before the run", message, rows, holds)


def _before(sampled: pd.Series, start: pd.Timestamp) -> Bools:
    """Return which samples were surely taken before *start*; a midnight stands for its whole day."""
    whole_day = (sampled == sampled.dt.normalize()) | (start == start.normalize())
    earlier = (sampled.dt.normalize() < start.normalize()) | (~whole_day & (sampled < start))
    found: Bools = earlier.to_numpy(dtype=np.bool_)
    return found


def _too_old(readings: DataFrame[Readings], own: pd.Series[bool], run: Run, rules: ReleaseRules) -> Iterator[Finding]:
    oldest = pd.Timestamp(run.on) - pd.Timedelta(days=rules.sample_days)
    for day, rows, holds in _by_day(readings, readings[Readings.sampled_at].dt.normalize() < oldest, own):
        message = (
            f"{_samples(rows)} was sampled on {day:%Y-%m-%d}, {(pd.Timestamp(run.on) - day).days} days before the "
            f"check; the release rules allow {rules.sample_days} where the start of the run is not known, so "
            f"{len(rows)} result(s) may not be of this batch; state when the run began, or {_BATCH_ONLY}"
        )
        yield _finding("sample too old", message, rows, holds)


def _by_day(
    readings: DataFrame[Readings], chosen: pd.Series[bool], own: pd.Series[bool]
) -> Iterator[tuple[pd.Timestamp, pd.DataFrame, bool]]:
    """Yield the *chosen* readings of each sampling day, those that hold and those that inform apart."""
    for holds in (True, False):
        rows = readings[chosen & own.eq(holds)]
        for day, group in rows.groupby(rows[Readings.sampled_at].dt.normalize(), sort=True):
            yield pd.Timestamp(str(day)), group, holds


def _undated(readings: pd.DataFrame, run: Run) -> Iterator[Finding]:
    """Yield required results without a sampling day, those that name no batch either apart.

    Without the day nothing shows that the sample was taken during the run, or analysed within its holding time; a day
    of receipt or analysis only says what was not later. Other results, such as a yearly panel, may lack it.
    """
    undated = readings[readings[Readings.sampled_at].isna()]
    loose = undated[Readings.batch].isna()
    for rows, code, lack in (
        (undated[loose], "no batch and no day", "neither batch nor sampling day, so nothing says that they are of"),
        (undated[~loose], "no sampling day", "no sampling day, so nothing says that they were taken during the run of"),
    ):
        if len(rows):
            message = (
                f"{len(rows)} required result(s) of {_samples(rows)} state {lack} {run.batch}; add the day of sampling "
                "to the sheet"
            )
            yield _finding(code, message, rows)


def _starts(text: str) -> tuple[pd.Timestamp, ...]:
    """Return the times that the start of a run can mean: both where day and month may be interchanged."""
    if not text.strip():
        return ()
    cell = Coded.of(np.array([text.strip()], dtype=object))
    times = {pd.Timestamp(parse_dates(cell, order).times[0]) for order in ("dmy", "mdy")}
    return tuple(sorted(time for time in times if not pd.isna(time)))


def _unclear(run: Run, why: str) -> Finding:
    message = f"the start of the run {why}, so no sample can be set beside it; write it as 2026-06-16 06:10"
    return Finding(code="run start", severity=Severity.HOLD, message=message, given=run.start)


def _samples(rows: pd.DataFrame) -> str:
    names = rows[Readings.sample].fillna(rows[Readings.point]).dropna().unique().tolist()
    return f"sample {', '.join(map(str, names[:3]))}{' …' * (len(names) > 3)}" if names else "a sample without a name"


def _finding(code: str, message: str, rows: pd.DataFrame, holds: bool = True) -> Finding:
    severity = Severity.HOLD if holds else Severity.NOTE
    return Finding(code=code, severity=severity, message=message, where=cells_of(rows))
