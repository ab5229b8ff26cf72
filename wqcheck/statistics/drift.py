"""Turns results over time and limit tables into one row per series and limit that says whether it drifts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from math import isfinite, nan
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import pandera.pandas as pa
from pandera.typing import DataFrame, Series

from wqcheck.judging.judge import judge
from wqcheck.languages.catalogues import ENGLISH, Catalogue
from wqcheck.limit_tables.loading import LimitTable
from wqcheck.statistics.control_chart import Broken, Chart, individuals_chart
from wqcheck.statistics.trend import FEWEST, Crossing, MannKendall, Slope, crossing, mann_kendall, sen_slope, tied_below
from wqcheck.tables import Judged, Readings, Rule, Sign, Verdict

SIGNIFICANT = 0.05
"""Two-sided probability below which a trend counts (common practice, no source)."""

HORIZON_DAYS = 365
"""How far ahead a forecast crossing raises the flag (common practice, no source)."""

MOST = 1000
"""The latest results of a series that trend and chart look at."""

YEAR = 365.25
LOGARITHMIC = frozenset({"ph"})
COMPARED = (Rule.MAX, Rule.MIN, Rule.RANGE, Rule.SUM_MAX, Rule.RATIO_SUM_MAX, Rule.PERCENTILE_MAX, Rule.MEAN_MAX)
"""Rules with a number that a series can drift toward."""

KEYS = (Judged.table, Judged.limit_line, Judged.limit_unit, Judged.parameter, Judged.point)
"""What the judged rows of one series under one limit row share."""

USED = (
    *KEYS, Judged.sampled_at, Judged.sign, Judged.rule, Judged.lower, Judged.upper, Judged.clause,
    Judged.compared_low, Judged.compared_high, Judged.verdict,
)  # fmt: skip
"""Columns of judged rows that are looked at."""


class Drift(StrEnum):
    """What a series does against one limit; a chart rule alone is weaker than a trend that comes to the limit."""

    OVER = "beyond the limit"
    DRIFTING = "drifting, still passing"
    LOOK = "look at it"
    STEADY = "no drift shown"
    NOT_KNOWN = "not known"


class DriftFlags(pa.DataFrameModel):
    """One row per series and limit row.

    ``n`` results were looked at, ``left_out`` were undated or say no figure. ``latest`` is the latest verdict. ``p`` is
    two-sided; the slope is in ``unit`` per year, between two ends, with the ends of its 95 % interval. Crossings are
    days; NaT where never, or not known. ``rules`` lists the chart rules broken in the period and their side.
    """

    parameter: Series[str]
    point: Series[str] = pa.Field(nullable=True)
    table: Series[str]
    clause: Series[str] = pa.Field(nullable=True)
    limit_line: Series[float]
    lower: Series[float] = pa.Field(nullable=True)
    upper: Series[float] = pa.Field(nullable=True)
    unit: Series[str] = pa.Field(nullable=True)
    n: Series[int]
    non_detects: Series[int]
    left_out: Series[int]
    first: Series[pd.Timestamp] = pa.Field(nullable=True)
    last: Series[pd.Timestamp] = pa.Field(nullable=True)
    latest: Series[str] = pa.Field(isin=list(Verdict), nullable=True)
    score: Series[float] = pa.Field(nullable=True)
    p: Series[float] = pa.Field(nullable=True)
    slope_low: Series[float] = pa.Field(nullable=True)
    slope_high: Series[float] = pa.Field(nullable=True)
    interval_low: Series[float] = pa.Field(nullable=True)
    interval_high: Series[float] = pa.Field(nullable=True)
    crossing_earliest: Series[pd.Timestamp] = pa.Field(nullable=True)
    crossing: Series[pd.Timestamp] = pa.Field(nullable=True)
    crossing_latest: Series[pd.Timestamp] = pa.Field(nullable=True)
    rules: Series[str]
    drift: Series[str] = pa.Field(isin=list(Drift))
    reason: Series[str]

    class Config:
        """Exactly these columns, in this order, with these types."""

        strict = True
        ordered = True


@dataclass(frozen=True, slots=True, eq=False)
class History:
    """The results of one series against one limit row, oldest first; arrays of shape (n,), ends in the limit's unit."""

    limit: Mapping[str, Any]
    days: npt.NDArray[np.datetime64]
    low: npt.NDArray[np.float64]
    high: npt.NDArray[np.float64]
    verdicts: npt.NDArray[np.object_]
    left_out: int

    @property
    def numbers(self) -> npt.NDArray[np.float64]:
        """Sampling times in days since 1970."""
        return self.days.astype("datetime64[s]").astype(np.float64) / 86400

    @property
    def chart(self) -> Chart | None:
        """The control chart over all results; by medians where one is beyond its limit and would move the centre."""
        beyond = np.isin(self.verdicts.astype(str), [str(Verdict.FAIL), str(Verdict.CONDITIONAL_FAIL)]).any()
        robust = bool(beyond) or self.limit[Judged.parameter] in LOGARITHMIC
        return individuals_chart(self.low, self.high, robust=robust)


def histories(readings: DataFrame[Readings], tables: Sequence[LimitTable], *, product: str, on: date) -> list[History]:
    """Return every series of *readings* under each limit row that it can drift toward.

    Parameters are those of :func:`drift_flags`. What is undated, or whose range has no finite ends, is counted only.
    """
    return histories_of(judge(readings, tables, product=product, on=on))


def histories_of(judged: pd.DataFrame, most: int = MOST) -> list[History]:
    """Return every series of judged rows under each limit row that it can drift toward.

    Parameters
    ----------
    judged : DataFrame
        At least the columns of :data:`USED`; a limit row is told by table and line, and where its
        figures changed in between, those beside the latest result count.
    most : int
        How many of the latest results are looked at.
    """
    wanted = judged[Judged.rule].isin(list(COMPARED)) & judged[Judged.sign].ne(Sign.NOT_DONE)
    bound = judged[wanted & judged[[Judged.lower, Judged.upper]].notna().any(axis=1)]
    bound = bound.sort_values(Judged.sampled_at, kind="stable")
    return [_history(group, most) for _, group in bound.groupby(list(KEYS), dropna=False, sort=False)]


def _history(group: pd.DataFrame, most: int) -> History:
    ends = group[[Judged.compared_low, Judged.compared_high]].to_numpy(dtype=np.float64)
    usable = np.isfinite(ends).all(axis=1) & group[Judged.sampled_at].notna().to_numpy()
    days = group[Judged.sampled_at].to_numpy(dtype="datetime64[s]")
    kept = np.flatnonzero(usable)[-most:]
    latest = group.iloc[kept[-1] if len(kept) else -1]
    limit = {str(name): value for name, value in latest.items()}
    verdicts = group[Judged.verdict].to_numpy(dtype=object)
    return History(limit, days[kept], ends[kept, 0], ends[kept, 1], verdicts[kept], int((usable == np.False_).sum()))


def drift_flags(
    readings: DataFrame[Readings],
    tables: Sequence[LimitTable],
    *,
    product: str,
    on: date,
    since: date | None = None,
    horizon_days: float = HORIZON_DAYS,
) -> DataFrame[DriftFlags]:
    """Return what every series does against each limit.

    Parameters
    ----------
    readings : DataFrame
        Results of any batches and books, any order; left as it is.
    tables : sequence of LimitTable
    product : str
        A word of :class:`wqcheck.tables.Product`.
    on : date
        Selects the rows in force for results without a sampling day.
    since : date, optional
        Chart rules broken before this day are not told; none is left out by default.
    horizon_days : float
        How far ahead a forecast crossing counts.

    Notes
    -----
    A series drifts when its latest result passes (under a rule on the series: lies within its figure), its trend is
    significant toward the limit and the line meets it within the horizon. One of the one-sided chart rules (1, 2, 3, 5,
    6) broken on the limit's side, without such a trend, only asks to look at it: in a chart of many points that is in
    order some rule breaks by chance.
    """
    found = histories(readings, tables, product=product, on=on)
    return flags_of(found, since, horizon_days)


def flags_of(found: Sequence[History], since: date | None, horizon_days: float) -> DataFrame[DriftFlags]:
    """Return the flags of series as :func:`histories` gives them."""
    rows = [_row(one, since, horizon_days) for one in found]
    columns = DriftFlags.to_schema().columns
    types = {name: str(column.dtype) for name, column in columns.items()}
    return DriftFlags.validate(
        pd.DataFrame({name: pd.Series([row[name] for row in rows], dtype=types[name]) for name in columns})
    )


def _row(one: History, since: date | None, horizon_days: float) -> dict[str, Any]:
    test, slope = trend_of(one)
    side = limit_side(one, slope)
    limit = float(one.limit[Judged.upper if side > 0 else Judged.lower])
    last = float(one.numbers[-1]) if len(one.days) else nan
    met = crossing(slope, limit, last)
    chart = one.chart if sampling_days(one) >= FEWEST else None
    broken = [b for b in (chart.broken if chart else ()) if since is None or one.days[b.place] >= _day(since)]
    trend = test.p < SIGNIFICANT and np.sign(test.s) == side and met.expected <= horizon_days
    toward = [b for b in broken if b.side and _nears(one, b.side)]
    drift = _drift(one, bool(trend), bool(toward))
    days = {name: _after(one, value) for name, value in zip(
        ("crossing_earliest", "crossing", "crossing_latest"), met, strict=True)}  # fmt: skip
    ends = {name: getattr(slope, name.removeprefix("slope_")) * YEAR
            for name in ("slope_low", "slope_high", "interval_low", "interval_high")}  # fmt: skip
    return (
        _identity(one) | days | ends
        | {"score": float(test.s) if sampling_days(one) >= FEWEST else nan, "p": test.p,
           "rules": "; ".join(rule_words(broken)), "drift": drift,
           "reason": _reason(one, test, met, toward if drift in (Drift.DRIFTING, Drift.LOOK) else [])}
    )  # fmt: skip


def trend_of(one: History) -> tuple[MannKendall, Slope]:
    """Return test and slope of a series; all NaN with fewer than :data:`FEWEST` days of sampling.

    Several results of one day say how much results differ, and nothing of what changes from day to day.
    """
    if sampling_days(one) < FEWEST:
        return MannKendall(len(one.days), 0, nan, nan, nan, False), Slope(*[nan] * 7)
    return mann_kendall(one.numbers, tied_below(one.low, one.high)), sen_slope(one.numbers, one.low, one.high)


def sampling_days(one: History) -> int:
    """Return on how many days a series was sampled."""
    return len(np.unique(one.days.astype("datetime64[D]")))


def limit_side(one: History, slope: Slope) -> int:
    """Return which limit the series moves toward: 1 the upper, -1 the lower."""
    lower, upper = (isfinite(one.limit[name]) for name in (Judged.lower, Judged.upper))
    if lower and upper:
        return -1 if slope.low + slope.high < 0 else 1
    return 1 if upper else -1


def _nears(one: History, side: int) -> bool:
    """Tell whether there is a limit on that side."""
    return isfinite(one.limit[Judged.upper if side > 0 else Judged.lower])


def _drift(one: History, trend: bool, signal: bool) -> Drift:
    if not len(one.days):
        return Drift.NOT_KNOWN
    latest = one.verdicts[-1]
    if latest in (Verdict.FAIL, Verdict.CONDITIONAL_FAIL):
        return Drift.OVER
    if latest not in (Verdict.PASS, Verdict.CONDITIONAL_PASS) and not _within_figure(one):
        return Drift.NOT_KNOWN
    if trend or signal:
        return Drift.DRIFTING if trend else Drift.LOOK
    return Drift.STEADY if sampling_days(one) >= FEWEST else Drift.NOT_KNOWN


def _within_figure(one: History) -> bool:
    """Tell whether the latest result lies within the figure of a rule on the series, which no single one can meet."""
    on_series = one.limit[Judged.rule] in (Rule.MEAN_MAX, Rule.PERCENTILE_MAX)
    return bool(on_series and one.high[-1] <= one.limit[Judged.upper])


def _identity(one: History) -> dict[str, Any]:
    days = one.days
    names = {
        "parameter": Judged.parameter, "point": Judged.point, "table": Judged.table, "clause": Judged.clause,
        "limit_line": Judged.limit_line, "lower": Judged.lower, "upper": Judged.upper, "unit": Judged.limit_unit,
    }  # fmt: skip
    return {name: one.limit[column] for name, column in names.items()} | {
        "n": len(days),
        "non_detects": int((one.low < one.high).sum()),
        "left_out": one.left_out,
        "first": pd.Timestamp(days[0]) if len(days) else pd.NaT,
        "last": pd.Timestamp(days[-1]) if len(days) else pd.NaT,
        "latest": one.verdicts[-1] if len(days) else None,
    }


def _after(one: History, days: float) -> Any:
    """Return the day that lies *days* after the last result; NaT beyond 200 years, or where it is not known."""
    return pd.Timestamp(one.days[-1]) + pd.Timedelta(days=round(days)) if days < 200 * YEAR else pd.NaT


def _day(day: date) -> np.datetime64:
    return np.datetime64(day, "s")


def rule_words(broken: Sequence[Broken], say: Catalogue = ENGLISH) -> list[str]:
    """Return each broken rule with its side, and how many times."""
    side = {1: f" ({say('upward')})", -1: f" ({say('downward')})", 0: ""}
    counts: dict[str, int] = {}
    for one in broken:
        told = say("rule {number}: {words}", number=one.rule.number, words=say(one.rule.words))
        words = f"{told}{side[one.side]}"
        counts[words] = counts.get(words, 0) + 1
    return [
        words if number == 1 else say("{words}, {number} times", words=words, number=number)
        for words, number in counts.items()
    ]


def _reason(one: History, test: MannKendall, met: Crossing, toward: Sequence[Broken]) -> str:
    said = []
    if sampling_days(one) < FEWEST:
        said.append(f"{len(one.days)} usable result(s) of {sampling_days(one)} day(s); a trend needs {FEWEST} days")
    elif test.p < SIGNIFICANT and isfinite(met.expected):
        said.append(f"Mann-Kendall S = {test.s}, p = {test.p:.2g}; the Sen line meets the limit in {_span(met)}")
    else:
        said.append(f"Mann-Kendall S = {test.s}, p = {test.p:.2g}")
    said += [f"toward the limit, {words}" for words in rule_words(toward)]
    said += [f"{one.left_out} left out, undated or without a figure"] if one.left_out else []
    return "; ".join(said)


def _span(met: Crossing) -> str:
    early, late = (f"{days:.0f}" if days < 200 * YEAR else "" for days in (met.earliest, met.latest))
    interval = f"{early} to {late}" if late else f"{early} or more" if early else "not known"
    return f"{met.expected:.0f} days (95 % interval {interval})"
