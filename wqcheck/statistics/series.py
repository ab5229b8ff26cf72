"""Turns readings over time into one row of statistics per parameter and sampling point, in one unit, with bounds.

Mean, median and 95th percentile are Kaplan-Meier estimates; beside each stand the ends between which the figure of the
results at hand lies, with every non-detect as nothing and as its full reporting limit.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import pandera.pandas as pa
from pandera.typing import DataFrame, Series

from wqcheck.judging.ranges import Bools, Floats, Ints, Trouble, is_count
from wqcheck.statistics.censored import KaplanMeier, LeftCensored, NoStatistic, kaplan_meier
from wqcheck.statistics.series_rules import NonDetects, Rank, lead_and_copper_percentile, running_annual_average
from wqcheck.statistics.series_units import in_common_units, series_names
from wqcheck.tables import Readings
from wqcheck.train.removal_words import interval_text
from wqcheck.units import tidy

EXTREMES = ("least", "greatest")
SHARES = {"median": 0.5, "percentile_95": 0.95}

TROUBLES = {
    Trouble.NOT_DONE: "not done",
    Trouble.UNREADABLE: "unreadable",
    Trouble.NO_VALUE: "without a value",
    Trouble.NO_REPORTING_LIMIT: "not detected without a reporting limit",
    Trouble.IMPOSSIBLE: "below the least possible value",
    Trouble.NO_CONVERSION: "not convertible into the unit of the others",
    Trouble.NO_VOLUME: "without the volume examined",
}


class SeriesStatistics(pa.DataFrameModel):
    """One row per parameter, sampling point and fraction.

    Of ``n`` results some are ``detects``, ``non_detects`` (organisms: none found), ``partly_known`` (a range, or more
    than a figure) and ``unusable``. ``first`` and ``last`` are sampling days; ``least`` and ``greatest`` the extreme
    results as text. Figures are in ``unit``; ``percentile_90`` follows the lead and copper rule,
    ``running_annual_average`` is that of the latest quarter, over the ``quarters`` (at most 4) that have results; fewer
    than 4 make no year. An upper end is infinite where a result is only known from below. ``reason`` says why a figure
    is missing and what to beware of.
    """

    parameter: Series[str]
    point: Series[str] = pa.Field(nullable=True)
    fraction: Series[str] = pa.Field(nullable=True)
    unit: Series[str] = pa.Field(nullable=True)
    n: Series[int]
    detects: Series[int]
    non_detects: Series[int]
    partly_known: Series[int]
    unusable: Series[int]
    first: Series[pd.Timestamp] = pa.Field(nullable=True)
    last: Series[pd.Timestamp] = pa.Field(nullable=True)
    undated: Series[int]
    least: Series[str]
    greatest: Series[str]
    mean: Series[float] = pa.Field(nullable=True)
    mean_low: Series[float] = pa.Field(nullable=True)
    mean_high: Series[float] = pa.Field(nullable=True)
    mean_error: Series[float] = pa.Field(nullable=True)
    median: Series[float] = pa.Field(nullable=True)
    median_low: Series[float] = pa.Field(nullable=True)
    median_high: Series[float] = pa.Field(nullable=True)
    percentile_95: Series[float] = pa.Field(nullable=True)
    percentile_95_low: Series[float] = pa.Field(nullable=True)
    percentile_95_high: Series[float] = pa.Field(nullable=True)
    running_annual_average: Series[float] = pa.Field(nullable=True)
    quarters: Series[int]
    percentile_90: Series[float] = pa.Field(nullable=True)
    reason: Series[str]

    class Config:
        """Exactly these columns, in this order, with these types."""

        strict = True
        ordered = True


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """The results of one series, n of them.

    Attributes
    ----------
    low, high : array of float, shape (n,)
        What each can be, in the unit of the series; NaN where it is unusable.
    trouble : array of int, shape (n,)
        Words of :class:`~wqcheck.judging.ranges.Trouble`.
    days : array of datetime, shape (n,)
        Sampling days.
    counted, logarithmic : bool
        Whether organisms are counted; whether the scale is one that is not averaged.
    """

    low: Floats
    high: Floats
    trouble: Ints
    days: npt.NDArray[np.datetime64]
    counted: bool
    logarithmic: bool

    @property
    def usable(self) -> Bools:
        """Whether each result says anything in the unit of the series."""
        usable: Bools = self.trouble == Trouble.NONE
        return usable

    @property
    def non_detect(self) -> Bools:
        """Whether each result is only known to be below a finite limit, or is 0."""
        below: Bools = (
            self.usable & (self.low <= 0) & np.isfinite(self.high) & ((self.low < self.high) | (self.high == 0))
        )
        return below

    @property
    def detect(self) -> Bools:
        """Whether each result is one number other than 0."""
        detect: Bools = self.usable & (self.low == self.high) & (self.high != 0)
        return detect

    def sample(self) -> LeftCensored | NoStatistic:
        """Return the usable results in order of sampling, or why they are no such series.

        Organisms of which none was found are the number 0 and no non-detect.
        """
        known = self.detect | self.non_detect
        partly = int((self.usable & (known == np.False_)).sum())
        if partly:
            return NoStatistic(f"{partly} result(s) are known only from below or as a range")
        high = self.high[known]
        if self.counted and len(high) and (high == 0).all():
            return NoStatistic(f"none was found in any of {len(high)} results")
        return LeftCensored(high, (self.low == self.high)[known])


def statistics_by_point(
    readings: DataFrame[Readings], non_detects: NonDetects = NonDetects.ZERO, rank: Rank = Rank.UP
) -> DataFrame[SeriesStatistics]:
    """Return the statistics of every series in *readings*, in order of appearance.

    Parameters
    ----------
    readings : DataFrame
        One row per reported result; left as it is. Replicates count as results of their own.
    non_detects : NonDetects
        What a non-detect counts as in the running annual average and the 90th percentile. US rules say zero: 40 CFR
        141.23(i)(1) and 141.24(f)(15) for averages, 141.89(a)(3) for lead (clauses by memory).
    rank : Rank
        What becomes of a 0.9 n that is no whole number.
    """
    ranges, unit = in_common_units(readings)
    days, counted = readings[Readings.sampled_at].to_numpy(dtype="datetime64[ns]"), is_count(readings)
    told = pd.DataFrame(
        {
            "parameter": series_names(readings),
            "point": readings[Readings.point],
            "fraction": readings[Readings.fraction],
        }
    ).reset_index(drop=True)
    told["unit"] = unit.to_numpy()
    labels = {str(name): told[name].to_numpy(dtype=object) for name in told}
    rows = []
    for places in told.groupby(["parameter", "point", "fraction"], dropna=False, sort=False).indices.values():
        group = Group(
            low=ranges.low[places],
            high=ranges.high[places],
            trouble=ranges.trouble[places],
            days=days[places],
            counted=bool(counted[places].all()),
            logarithmic=labels["parameter"][places[0]] == "ph",
        )
        identity = {name: words[places[0]] for name, words in labels.items()}
        rows.append(identity | _row(group, non_detects, rank))
    return _table(rows)


def _table(rows: list[dict[str, Any]]) -> DataFrame[SeriesStatistics]:
    types: dict[str, str] = {name: str(column.dtype) for name, column in SeriesStatistics.to_schema().columns.items()}
    values = {name: [row[name] for row in rows] for name in types}
    for name in EXTREMES:
        ends = pd.DataFrame(values[name], columns=["low", "high"], dtype=np.float64)
        values[name] = interval_text(ends["low"], ends["high"]).to_list()
    columns = {name: pd.Series(values[name], dtype=kind) for name, kind in types.items()}
    return SeriesStatistics.validate(pd.DataFrame(columns))


def _row(group: Group, non_detects: NonDetects, rank: Rank) -> dict[str, Any]:
    """Return all that is computed of one series."""
    sample = group.sample()
    estimate = kaplan_meier(sample) if isinstance(sample, LeftCensored) else sample
    row = {**_counts(group), **_bounds(group), **_estimates(estimate)}
    row |= _rule_figures(group, non_detects, rank)
    known = group.low[group.usable], group.high[group.usable]
    if isinstance(estimate, KaplanMeier):  # where both bounds agree, the figure is known
        row |= {name: row[f"{name}_low"] for name in SHARES if row[f"{name}_low"] == row[f"{name}_high"]}
    if group.logarithmic:
        row |= dict.fromkeys(("mean", "mean_low", "mean_high", "mean_error", "running_annual_average"), np.nan)
    return row | _extremes(*known) | {"reason": _reason(group, estimate, row)}


def _counts(group: Group) -> dict[str, Any]:
    detects, non_detects = int(group.detect.sum()), int(group.non_detect.sum())
    usable = int(group.usable.sum())
    return {
        "n": len(group.low),
        "detects": detects,
        "non_detects": non_detects,
        "partly_known": usable - detects - non_detects,
        "unusable": len(group.low) - usable,
        "first": np.fmin.reduce(group.days),
        "last": np.fmax.reduce(group.days),
        "undated": int(np.isnat(group.days).sum()),
    }


def _bounds(group: Group) -> dict[str, float]:
    """Return the ends of mean and percentiles: all results at their low ends, and all at their high ends."""
    row = {}
    for end, values in (("low", group.low[group.usable]), ("high", group.high[group.usable])):
        known = len(values) > 0
        row[f"mean_{end}"] = float(tidy(values.mean())) if known else np.nan
        for name, share in SHARES.items():
            row[f"{name}_{end}"] = _ordinary_percentile(values, share) if known else np.nan
    return row


def _ordinary_percentile(values: Floats, share: float) -> float:
    """Return a percentile as Kaplan-Meier gives it without non-detects (Hyndman and Fan 1996, definition 2)."""
    ordered, position = np.sort(values), float(tidy(share * len(values)))
    first = int(np.ceil(position)) - 1
    second = min(int(position), len(values) - 1)
    return float(tidy((ordered[first] + ordered[second]) / 2))


def _estimates(estimate: KaplanMeier | NoStatistic) -> dict[str, float]:
    if isinstance(estimate, NoStatistic):
        return dict.fromkeys(("mean", "mean_error", *SHARES), np.nan)
    row = {"mean": estimate.mean(), "mean_error": estimate.mean_error()}
    row |= {name: estimate.percentile(share) for name, share in SHARES.items()}
    return {name: float(tidy(value)) for name, value in row.items()}


def _rule_figures(group: Group, non_detects: NonDetects, rank: Rank) -> dict[str, float]:
    """Return the 90th percentile and the latest running annual average; organisms of which none was found are 0."""
    none: dict[str, float] = {"percentile_90": np.nan, "running_annual_average": np.nan, "quarters": 0}
    if (group.usable & ((group.detect | group.non_detect) == np.False_)).any() or not group.usable.any():
        return none
    counted = LeftCensored(group.high[group.usable], group.detect[group.usable])
    values = non_detects.counted(counted)
    row = none | {"percentile_90": lead_and_copper_percentile(values, rank)}
    days = group.days[group.usable]
    dated = np.isnat(days) == np.False_
    if dated.any():
        latest = running_annual_average(days[dated], values[dated])
        row |= {"running_annual_average": float(latest.running_average[-1]), "quarters": int(latest.quarters[-1])}
    return row


def _extremes(low: Floats, high: Floats) -> dict[str, tuple[float, float]]:
    """Return the ends of the lowest and of the highest result; NaN of no usable results."""
    if not len(low):
        return dict.fromkeys(EXTREMES, (np.nan, np.nan))
    least, greatest = np.lexsort((low, high))[0], np.lexsort((high, low))[-1]
    return {"least": (low[least], high[least]), "greatest": (low[greatest], high[greatest])}


def _reason(group: Group, estimate: KaplanMeier | NoStatistic, row: dict[str, Any]) -> str:
    """Return why figures are missing and what to beware of, clauses parted by semicolons."""
    said = [estimate.reason] if isinstance(estimate, NoStatistic) else []
    if isinstance(estimate, KaplanMeier):
        hidden = [name.replace("_95", "") for name in SHARES if np.isnan(row[name])]
        said += [f"the {name} lies among the non-detects" for name in hidden]
        if estimate.leftover and not group.logarithmic:
            said.append(f"the lowest {estimate.leftover:.0%} count as {estimate.lowest_limit:.6g} in the mean")
    said += ["pH is logarithmic and is not averaged"] if group.logarithmic else []
    for word, phrase in TROUBLES.items():
        number = int((group.trouble == word).sum())
        said += [f"{number} left out, {phrase}"] if number else []
    said += [f"{row['undated']} undated, not in the running average"] if row["undated"] else []
    return "; ".join(said)
