"""Turns one series into what is drawn of it: points, limits, control lines and signals, trend, forecast, averages."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite

import numpy as np
import numpy.typing as npt
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.statistics.censored import Floats
from wqcheck.statistics.control_chart import Chart
from wqcheck.statistics.drift import (
    HORIZON_DAYS,
    LOGARITHMIC,
    MOST,
    SIGNIFICANT,
    History,
    limit_side,
    trend_of,
)
from wqcheck.statistics.series_rules import QUARTERS, running_annual_average
from wqcheck.statistics.series_units import in_common_units, series_names
from wqcheck.statistics.trend import Crossing, MannKendall, Slope, crossing
from wqcheck.tables import Judged, Readings, Sign, Verdict

LINE_POINTS = 200
BAND_POINTS = 13
"""Days at which the forecast band is given: its ends are straight, but it opens from the middle of the results."""


@dataclass(frozen=True, slots=True, eq=False)
class SeriesLines:
    """A series with what was computed of it.

    ``band`` has day (datetime64), middle, low and high from the last result to the horizon, in the unit of the series;
    it is empty unless the trend is significant. ``averages`` has quarter (its first month), low and high: running
    annual averages with non-detects as nothing and as their limit, where four quarters have results.
    """

    history: History
    chart: Chart | None
    test: MannKendall
    slope: Slope
    met: Crossing
    band: pd.DataFrame
    averages: pd.DataFrame

    @property
    def unit(self) -> str:
        """The unit of all figures."""
        unit = self.history.limit[Judged.limit_unit]
        return unit if isinstance(unit, str) else ""

    def line(self, low: float, high: float) -> pd.DataFrame:
        """Return day and value of the Sen line from the first result to the horizon, where it lies between two figures.

        No rows without a significant trend.
        """
        if self.band.empty:
            return pd.DataFrame({"day": pd.Series(dtype="datetime64[s]"), "value": pd.Series(dtype="float64")})
        slope, last = self.slope, self.band["day"].to_numpy()[-1].astype("datetime64[s]").astype(np.float64) / 86400
        days: Floats = np.linspace(self.history.numbers[0], last, LINE_POINTS)
        level, pace = (slope.level_low + slope.level_high) / 2, (slope.low + slope.high) / 2
        value = level + pace * (days - slope.day)
        rows = pd.DataFrame({"day": (days * 86400).round().astype("datetime64[s]"), "value": value})
        return rows[rows["value"].between(low, high)].reset_index(drop=True)

    @property
    def significant(self) -> bool:
        """Whether the Mann-Kendall test shows a trend."""
        return self.test.p < SIGNIFICANT


def series_lines(one: History, horizon_days: float = HORIZON_DAYS) -> SeriesLines:
    """Return what is drawn of a series; the forecast reaches *horizon_days* beyond the last result."""
    test, slope = trend_of(one)
    side = limit_side(one, slope)
    limit = float(one.limit[Judged.upper if side > 0 else Judged.lower])
    last = float(one.numbers[-1]) if len(one.days) else np.nan
    known = test.p < SIGNIFICANT and isfinite(slope.low + slope.high)
    return SeriesLines(
        history=one, chart=one.chart, test=test, slope=slope, met=crossing(slope, limit, last),
        band=_band(slope, last, horizon_days if known else 0.0), averages=_averages(one),
    )  # fmt: skip


def unlimited_histories(readings: DataFrame[Readings], most: int = MOST) -> list[History]:
    """Return the series of *readings* beside which no limit stands, one for each parameter and point.

    Parameters
    ----------
    readings : DataFrame
        One row per reported result, any order; left as it is.
    most : int
        How many of the latest results are looked at.
    """
    ranges, unit = in_common_units(readings)
    frame = pd.DataFrame({
        Judged.parameter: series_names(readings), Judged.point: readings[Readings.point],
        Judged.sampled_at: readings[Readings.sampled_at], Judged.limit_unit: unit.to_numpy(),
        "low": ranges.low, "high": ranges.high, "done": readings[Readings.sign].ne(Sign.NOT_DONE),
    })  # fmt: skip
    frame = frame[frame["done"]].sort_values(Judged.sampled_at, kind="stable")
    groups = frame.groupby([Judged.parameter, Judged.point], dropna=False, sort=False)
    return [_history(group, most) for _, group in groups]


def share_used(one: History) -> float:
    """Return the share of the upper limit that the latest result takes; 0 without either."""
    upper = float(one.limit[Judged.upper])
    return float(one.high[-1]) / upper if len(one.high) and upper > 0 else 0.0


def _history(group: pd.DataFrame, most: int) -> History:
    ends = group[["low", "high"]].to_numpy(dtype=np.float64)
    usable = np.isfinite(ends).all(axis=1) & group[Judged.sampled_at].notna().to_numpy()
    kept = np.flatnonzero(usable)[-most:]
    named = {str(name): group[name].iloc[0] for name in (Judged.parameter, Judged.point, Judged.limit_unit)}
    limit = named | {
        Judged.table: "", Judged.clause: None, Judged.limit_line: 0.0, Judged.rule: "", Judged.lower: np.nan,
        Judged.upper: np.nan,
    }  # fmt: skip
    days = group[Judged.sampled_at].to_numpy(dtype="datetime64[s]")
    verdicts = np.full(len(kept), str(Verdict.NO_LIMIT), dtype=object)
    return History(limit, days[kept], ends[kept, 0], ends[kept, 1], verdicts, int((usable == np.False_).sum()))


def _band(slope: Slope, last: float, reach: float) -> pd.DataFrame:
    """Return the Sen line and the lines of its interval from the last day on; no rows for a reach of nothing."""
    days: Floats = np.linspace(last, last + reach, BAND_POINTS) if reach else np.empty(0)
    ahead = days - slope.day
    level = (slope.level_low + slope.level_high) / 2
    return pd.DataFrame({
        "day": (days * 86400).round().astype("datetime64[s]"),
        "middle": level + (slope.low + slope.high) / 2 * ahead,
        "low": slope.level_low + slope.interval_low * ahead,
        "high": slope.level_high + slope.interval_high * ahead,
    })  # fmt: skip


def _averages(one: History) -> pd.DataFrame:
    empty = pd.DataFrame({"quarter": pd.Series(dtype="datetime64[s]"), "low": [], "high": []})
    if not len(one.days) or one.limit[Judged.parameter] in LOGARITHMIC:
        return empty
    ends: list[npt.NDArray[np.float64]] = []
    for values in (one.low, one.high):
        found = running_annual_average(one.days, values)
        ends.append(found.running_average)
    whole = found.quarters == QUARTERS
    quarters = found.quarter[whole].astype("datetime64[s]")
    return pd.DataFrame({"quarter": quarters, "low": ends[0][whole], "high": ends[1][whole]})
