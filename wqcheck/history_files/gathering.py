"""Turns the records of a period into the tables of its summary: batches, statistics, comparisons, rules on series."""

from __future__ import annotations

import tempfile
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import cast

import numpy as np
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.errors import WqcheckError
from wqcheck.history_files.comparisons import ATTENTION, comparisons_of
from wqcheck.history_files.period import Period
from wqcheck.limit_tables.loading import load_limits
from wqcheck.quality.controls_apart import is_control
from wqcheck.records.history import series_names
from wqcheck.records.period import batches_of, results_of, tables_used, verdicts_of
from wqcheck.records.store import Store
from wqcheck.statistics.drift import HORIZON_DAYS, DriftFlags, History, flags_of, histories_of
from wqcheck.statistics.series import SeriesStatistics, statistics_by_point
from wqcheck.statistics.series_judging import LEAD_AND_COPPER, JudgedSeries, Notes, Statistic, notes_of, series_verdicts
from wqcheck.statistics.series_lines import SeriesLines, series_lines, share_used, unlimited_histories
from wqcheck.tables import Judged, Readings

LOOK_BACK = timedelta(days=3 * 365)
"""How far before the end of the period trends and charts begin: three years (our own choice)."""

MOST_CHARTS = 24
"""Charts of series that ask for attention, at most; chosen ones come on top."""

SeriesKey = tuple[str, str]
"""Parameter and sampling point, blank where none is stated."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PeriodSummary:
    """The tables of one period.

    ``comparisons`` has a row per series and limit row, what asks for attention first; ``unlimited`` the flags of series
    that no limit binds; ``charts`` the series that are drawn. ``left_out`` says what is in no table.
    """

    period: Period
    batches: pd.DataFrame
    statistics: DataFrame[SeriesStatistics]
    comparisons: pd.DataFrame
    unlimited: DataFrame[DriftFlags]
    rules: DataFrame[JudgedSeries]
    charts: tuple[SeriesLines, ...]
    not_drawn: int
    tables: pd.DataFrame
    left_out: tuple[str, ...]


def summarise(
    store: Store, period: Period, *, chosen: Sequence[SeriesKey] = (), horizon_days: float = HORIZON_DAYS
) -> PeriodSummary:
    """Return the summary of a period.

    Parameters
    ----------
    store : Store
    period : Period
    chosen : sequence of (str, str)
        Parameter code and point of series that are drawn whether or not they ask for attention.
    horizon_days : float
        How far beyond the last result a forecast reaches.
    """
    batches = batches_of(store, period.since, period.until)
    entries = set(batches["entry"])
    back = min(period.since, period.until - LOOK_BACK)
    verdicts = verdicts_of(store, back, period.until, entries)
    found = [one for one in histories_of(verdicts) if _reaches(one, period.since)]
    tables = tables_used(store, entries)
    notes, unread = _notes(tables)
    rules = _rules(verdicts, notes, period)
    comparisons = comparisons_of(_in_period(verdicts, period), flags_of(found, period.since, horizon_days), rules)
    statistics, free, left_out = _statistics(store, period, back, entries)
    bound = set(zip(comparisons["parameter"], comparisons["point"].fillna(""), strict=True))
    free = [one for one in free if _key(one) not in bound and _reaches(one, period.since)]
    wanted, not_drawn = _drawn(comparisons, chosen)
    return PeriodSummary(
        period=period, batches=batches, statistics=statistics, comparisons=comparisons,
        unlimited=flags_of(free, period.since, horizon_days), rules=rules,
        charts=_charts(found, free, wanted, horizon_days), not_drawn=not_drawn,
        tables=tables.drop(columns="content"), left_out=(*left_out, *unread),
    )  # fmt: skip


def _reaches(one: History, since: date) -> bool:
    """Tell whether a series has results in the period, or none that could say when it ended."""
    return not len(one.days) or bool(one.days[-1] >= pd.Timestamp(since).to_datetime64())


def _in_period(frame: pd.DataFrame, period: Period) -> pd.DataFrame:
    """Return the rows of the period; undated ones belong to one of its batches already."""
    return frame[frame[Readings.sampled_at].isna() | frame[Readings.sampled_at].ge(pd.Timestamp(period.since))]


def _statistics(
    store: Store, period: Period, back: date, entries: Collection[int]
) -> tuple[DataFrame[SeriesStatistics], list[History], tuple[str, ...]]:
    """Return the statistics of the period, the series without regard to limits, and what was left out."""
    names = series_names(store)
    recent = names["last"].isna() | names["last"].ge(period.since.isoformat())
    tables, free, controls = [], list[History](), 0
    for code in names.loc[recent, "parameter"].drop_duplicates():
        readings = results_of(store, str(code), back, period.until, entries)
        apart = is_control(readings)
        controls += len(_in_period(readings[apart], period))
        readings = Readings.validate(readings[apart == np.False_].reset_index(drop=True))
        within = _in_period(readings, period)
        if len(within):
            tables.append(statistics_by_point(Readings.validate(within.reset_index(drop=True))))
            free += unlimited_histories(readings)
    unnamed = len(results_of(store, None, period.since, period.until, entries))
    said = (
        [f"{controls} results of control samples (blanks, spikes, standards) are in no statistic"] if controls else []
    )
    said += [f"{unnamed} results whose name is no known parameter are in no statistic"] if unnamed else []
    empty = pd.DataFrame(columns=list(SeriesStatistics.to_schema().columns))
    table = pd.concat(tables, ignore_index=True) if tables else empty
    return cast(DataFrame[SeriesStatistics], table), free, tuple(said)


def _notes(tables: pd.DataFrame) -> tuple[Notes, tuple[str, ...]]:
    """Return the notes of the limit tables as they are kept, and which of them can no longer be read."""
    notes: dict[tuple[str, float], str] = {}
    unread = []
    with tempfile.TemporaryDirectory() as folder:
        for row in tables.to_dict("records"):
            path = Path(folder, Path(str(row["name"])).name)
            path.write_bytes(row["content"])
            try:
                notes |= notes_of([load_limits(path)])
            except WqcheckError:
                unread.append(f"the limit table {row['name']} ({str(row['sha256'])[:12]}) cannot be read as it is "
                              "kept: its notes on running averages were not followed")  # fmt: skip
    return notes, tuple(unread)


def _rules(verdicts: pd.DataFrame, notes: Notes, period: Period) -> DataFrame[JudgedSeries]:
    """Return the rules on series: averages and half-years that end or begin in the period, percentiles, lots."""
    long = series_verdicts(verdicts[_from(verdicts, _reach_back(period.since))], notes)
    windows = np.array([_window_end(str(name)) >= period.since.isoformat()[:7] for name in long["period"]], dtype=bool)
    half_years = long["statistic"].eq(Statistic.PERCENTILE) & long["clause"].str.startswith(LEAD_AND_COPPER)
    short = series_verdicts(_in_period(verdicts, period), notes)
    own = short["statistic"].isin([Statistic.PERCENTILE, Statistic.PLAN])
    own &= short["clause"].str.startswith(LEAD_AND_COPPER).eq(False)
    kept = [long[(long["statistic"].eq(Statistic.RUNNING_AVERAGE) | half_years) & windows], short[own]]
    return JudgedSeries.validate(pd.concat(kept, ignore_index=True))


def _from(frame: pd.DataFrame, since: date) -> pd.Series[bool]:
    return frame[Judged.sampled_at].isna() | frame[Judged.sampled_at].ge(pd.Timestamp(since))


def _reach_back(since: date) -> date:
    """Return the first day that a window of four quarters, or a half-year, of the first day can begin on."""
    quarter = date(since.year, 3 * ((since.month - 1) // 3) + 1, 1)
    return (pd.Timestamp(quarter) - pd.DateOffset(months=9)).date()


def _window_end(name: str) -> str:
    """Return the last month of a window of :mod:`wqcheck.statistics.series_windows`; without days always the last."""
    last = name.rpartition(" to ")[2]
    if " Q" in last:
        year, quarter = last.split(" Q")
        return f"{year}-{3 * int(quarter):02d}"
    return last if last[:4].isdigit() else "9999-12"


def _key(one: History) -> SeriesKey:
    point = one.limit[Judged.point]
    return str(one.limit[Judged.parameter]), point if isinstance(point, str) else ""


def _drawn(comparisons: pd.DataFrame, chosen: Sequence[SeriesKey]) -> tuple[list[SeriesKey], int]:
    """Return which series are drawn, what asks for attention first, and how many more would be."""
    asking = comparisons[comparisons["grade"].lt(len(ATTENTION))]
    keys = list(dict.fromkeys(zip(asking["parameter"], asking["point"].fillna(""), strict=True)))
    return list(dict.fromkeys([*keys[:MOST_CHARTS], *chosen])), max(0, len(keys) - MOST_CHARTS)


def _charts(
    found: Sequence[History], free: Sequence[History], wanted: Sequence[SeriesKey], horizon_days: float
) -> tuple[SeriesLines, ...]:
    """Return the lines of the wanted series, each beside the tightest of its limits."""
    best: dict[SeriesKey, History] = {}
    for one in sorted((*found, *free), key=_tightness):
        if len(one.days):
            best.setdefault(_key(one), one)
    return tuple(series_lines(best[key], horizon_days) for key in wanted if key in best)


def _tightness(one: History) -> tuple[int, float]:
    """Order limits: any before none, then by the share of the limit that the latest result takes."""
    return (0 if one.limit[Judged.table] else 1), -share_used(one)
