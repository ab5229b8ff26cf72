"""Turns readings over time and limit tables into verdicts on series: percentile, running average, share, plan of a lot.

Every series is counted twice, with each result at the least and at the greatest that it can be (a non-detect: nothing,
and its full limit). A rule is met when the greater figure meets it and exceeded when the lesser one does, so that no
convention about non-detects can turn a verdict; one that a regulation names can be asked for instead.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date
from enum import StrEnum
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import pandera.pandas as pa
from pandera.typing import DataFrame, Series

from wqcheck.judging.judge import judge
from wqcheck.judging.ranges import Bools, Floats
from wqcheck.limit_tables.columns import is_number
from wqcheck.limit_tables.loading import LimitTable
from wqcheck.statistics.lot_judging import lots_judged
from wqcheck.statistics.series_rules import QUARTERS, NonDetects, Rank, lead_and_copper_percentile, percentile
from wqcheck.statistics.series_windows import Window, half_years, running_years
from wqcheck.tables import Judged, Limits, Readings, Rule, Sign, Verdict

LEAD_AND_COPPER = "141.80"
"""How the clause of a 90th percentile begins that 40 CFR 141.80(c)(3) counts."""

PERCENTILE = "percentile "
"""How the status of a row with another percentile begins: ``percentile 95``."""

RUNNING_AVERAGE = "running annual average"
"""What the note of a screening row says when its text judges the running annual average."""

USED = (
    Judged.batch, Judged.point, Judged.sampled_at, Judged.parameter, Judged.sign, Judged.table, Judged.rule,
    Judged.upper, Judged.limit_unit, Judged.limit_class, Judged.status, Judged.clause, Judged.limit_line,
    Judged.compared_low, Judged.compared_high, Judged.verdict, Judged.reason,
)  # fmt: skip
"""Columns of judged rows that are looked at."""


class Statistic(StrEnum):
    """What of a series is compared with the limit."""

    PERCENTILE = "percentile"
    RUNNING_AVERAGE = "running annual average"
    SHARE = "share within the limit"
    PLAN = "sampling plan"


class JudgedSeries(pa.DataFrameModel):
    """One row per series, limit row and period: a monitoring half-year, a window of four quarters, a lot, or all.

    ``low`` and ``high`` are the ends of the figure (for shares 0 to 1) in ``unit``; ``n`` results, of which
    ``non_detects`` are only known from above and ``unknown`` not at all. ``reason`` says how the figure was counted.
    """

    parameter: Series[str]
    point: Series[str] = pa.Field(nullable=True)
    table: Series[str]
    statistic: Series[str] = pa.Field(isin=list(Statistic))
    period: Series[str]
    n: Series[int]
    non_detects: Series[int]
    unknown: Series[int]
    low: Series[float] = pa.Field(nullable=True)
    high: Series[float] = pa.Field(nullable=True)
    upper: Series[float] = pa.Field(nullable=True)
    unit: Series[str] = pa.Field(nullable=True)
    clause: Series[str]
    limit_class: Series[str] = pa.Field(alias="class")
    verdict: Series[str] = pa.Field(isin=[Verdict.PASS, Verdict.FAIL, Verdict.UNDETERMINED])
    reason: Series[str]

    class Config:
        """Exactly these columns, in this order, with these types."""

        strict = True
        ordered = True


@dataclass(frozen=True, slots=True, eq=False)
class Values:
    """The results of one series in the limit's unit, arrays of shape (n,): ends, days (NaT where not stated)."""

    low: Floats
    high: Floats
    days: npt.NDArray[np.datetime64]
    non_detect: Bools
    unknown: Bools

    def take(self, chosen: Bools) -> Values:
        """Return the *chosen* results (shape (n,))."""
        return Values(*(getattr(self, field.name)[chosen] for field in fields(self)))


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """One series: its first judged row (with the limit), its point (blank for all) and its results."""

    first: pd.Series
    point: str
    results: Values


@dataclass(frozen=True, slots=True)
class Convention:
    """What non-detects count as (None: both nothing and their limit), and the rank of a position between two."""

    non_detects: NonDetects | None
    rank: Rank


BOTH = Convention(None, Rank.UP)
"""Verdicts that hold for non-detects as nothing and as their limit."""

Notes = Mapping[tuple[str, float], str]


def judge_series(
    readings: DataFrame[Readings],
    tables: Sequence[LimitTable],
    *,
    product: str,
    on: date,
    non_detects: NonDetects | None = None,
    rank: Rank = Rank.UP,
) -> DataFrame[JudgedSeries]:
    """Return the verdict on each series of *readings* under each limit row that binds it.

    Parameters
    ----------
    readings : DataFrame
        One row per reported result, any order; left as it is.
    tables : sequence of LimitTable
        As loaded; each is judged on its own. Rows with ``percentile_max``, ``mean_max`` and ``attribute_plan``, and
        screening rows whose text judges the running annual average, are judged on the series; of every other row the
        share of results within the limit is given.
    product : str
        A word of :class:`wqcheck.tables.Product`.
    on : date
        Selects the rows in force for results without a sampling day.
    non_detects : NonDetects or None
        What a non-detect counts as; by default both nothing and its limit, and the verdict holds for both.
    rank : Rank
        What becomes of a position 0.9 n that is no whole number; see
        :func:`wqcheck.statistics.series_rules.lead_and_copper_percentile`.

    Raises
    ------
    wqcheck.limit_tables.loading.UnknownProductError
        *product* is not one of the words.
    """
    judged = judge(readings, tables, product=product, on=on)
    return series_verdicts(judged, notes_of(tables), Convention(non_detects, rank))


def notes_of(tables: Sequence[LimitTable]) -> Notes:
    """Return the note of each limit row of *tables*, by table and line."""
    return {
        (table.name, float(line)): note
        for table in tables
        for line, note in zip(table.rows[Limits.line], table.rows[Limits.note].fillna(""), strict=True)
    }


def series_verdicts(judged: pd.DataFrame, notes: Notes, convention: Convention = BOTH) -> DataFrame[JudgedSeries]:
    """Return the verdict on each series of judged rows; see :func:`judge_series`.

    Parameters
    ----------
    judged : DataFrame
        At least the columns of :data:`USED`.
    notes : mapping
        As :func:`notes_of` gives them; a row without one is no screening row.
    convention : Convention
        How non-detects and ranks count.
    """
    bound = judged[judged[Judged.verdict].ne(Verdict.NO_LIMIT) & judged[Judged.sign].ne(Sign.NOT_DONE)]
    rows: list[dict[str, Any]] = []
    for _, group in bound.groupby([Judged.table, Judged.limit_line, Judged.parameter], sort=False):
        first = group.iloc[0]
        rows += _series_rows(group, notes.get((first[Judged.table], first[Judged.limit_line]), ""), convention)
    return _table(rows)


def _series_rows(group: pd.DataFrame, note: str, convention: Convention) -> Iterator[dict[str, Any]]:
    """Yield the rows of all results under one limit row."""
    first = group.iloc[0]
    rule, status = str(first[Judged.rule]), _text(first[Judged.status])
    if rule == Rule.ATTRIBUTE_PLAN:
        yield from ({**_limit(first, Statistic.PLAN), **lot} for lot in lots_judged(group))
        return
    if rule == Rule.PERCENTILE_MAX and str(first[Judged.clause]).startswith(LEAD_AND_COPPER):
        yield from _lead_and_copper(group, convention)
        return
    averaged = rule == Rule.MEAN_MAX or (status.startswith("screening") and RUNNING_AVERAGE in note.casefold())
    for point, results in group.groupby(Judged.point, sort=False, dropna=False):
        case = Case(first, _text(point), _values(results, convention.non_detects))
        if averaged:
            yield from _average_rows(case)
        if rule == Rule.PERCENTILE_MAX:
            yield _percentile_row(case, status)
        elif rule != Rule.MEAN_MAX:
            yield _share_row(case, results[Judged.verdict])


def _lead_and_copper(group: pd.DataFrame, convention: Convention) -> Iterator[dict[str, Any]]:
    """Yield a row per half-year, over the taps of all points."""
    values = _values(group, convention.non_detects)
    said = f"90th percentile of all taps (40 CFR 141.80(c)(3); a position between two: {convention.rank})"
    case = Case(group.iloc[0], "", values)
    for window in half_years(values.days):
        part = values.take(window.chosen)
        ends = [lead_and_copper_percentile(end, convention.rank) for end in (part.low, part.high)]
        yield _figures(case, Statistic.PERCENTILE, window, (ends[0], ends[1]), said)


def _percentile_row(case: Case, status: str) -> dict[str, Any]:
    """Return the row of a percentile over all results of a point; of an unknown percentile it is undetermined."""
    share, window = _share_of(status), Window.over(case.results.days)
    if share is None:
        said = "the limit row does not say which percentile; write percentile 95 in its status"
        return _figures(case, Statistic.PERCENTILE, window, (np.nan, np.nan), said)
    low, high = (percentile(end, share, Rank.UP) for end in (case.results.low, case.results.high))
    said = f"percentile {share * 100:g}, a position between two counting as the upper"
    return _figures(case, Statistic.PERCENTILE, window, (low, high), said)


def _share_of(status: str) -> float | None:
    word = status.removeprefix(PERCENTILE).strip()
    if not status.startswith(PERCENTILE) or not is_number(word):
        return None
    share = float(word) / 100
    return share if 0 < share < 1 else None


def _average_rows(case: Case) -> Iterator[dict[str, Any]]:
    """Yield a row per window of four quarters (40 CFR 141.133(b)(1)(i)); fewer can only exceed (141.133(a)(3))."""
    for window, low, high in running_years(case.results.days, case.results.low, case.results.high):
        whole = window.quarters == QUARTERS
        said = f"average of {window.quarters} quarterly averages (40 CFR 141.133(b)(1)(i))"
        said += "" if whole else "; only four quarters can meet it, fewer can exceed it (141.133(a)(3))"
        yield _figures(case, Statistic.RUNNING_AVERAGE, window, (low, high if whole else np.inf), said)


def _share_row(case: Case, verdict: pd.Series) -> dict[str, Any]:
    """Return how many results of a point meet their limit, each judged by itself."""
    n = len(verdict)
    passed = int(verdict.isin([Verdict.PASS, Verdict.CONDITIONAL_PASS]).sum())
    failed = int(verdict.isin([Verdict.FAIL, Verdict.CONDITIONAL_FAIL]).sum())
    found = Verdict.FAIL if failed else Verdict.PASS if passed == n else Verdict.UNDETERMINED
    said = f"{passed} of {n} results meet the limit, {failed} do not, {n - passed - failed} cannot be told"
    row = _limit(case.first, Statistic.SHARE) | _counts(case, Window.over(case.results.days))
    return row | {"low": passed / n, "high": (n - failed) / n, "verdict": found, "reason": said}


def _figures(case: Case, statistic: Statistic, window: Window, ends: tuple[float, float], said: str) -> dict[str, Any]:
    """Return the row of a figure that lies between two *ends*; where days are missing it may fail but never passes."""
    low, high = ends
    upper = float(case.first[Judged.upper])
    verdict = Verdict.UNDETERMINED
    if low > upper:
        verdict = Verdict.FAIL
    elif high <= upper and window.dated:
        verdict = Verdict.PASS
    undated = "" if window.dated else "; sampling days are missing, so not all of the period is known"
    row = _limit(case.first, statistic) | _counts(case, window)
    return row | {"low": low, "high": high, "verdict": verdict, "reason": said + undated}


def _limit(first: pd.Series, statistic: Statistic) -> dict[str, Any]:
    names = {"parameter": Judged.parameter, "table": Judged.table, "upper": Judged.upper, "unit": Judged.limit_unit}
    names |= {"clause": Judged.clause, "class": Judged.limit_class}
    return {name: first[column] for name, column in names.items()} | {"statistic": statistic}


def _counts(case: Case, window: Window) -> dict[str, Any]:
    part = case.results.take(window.chosen)
    return {
        "point": case.point or None,
        "period": window.name,
        "n": len(part.low),
        "non_detects": int(part.non_detect.sum()),
        "unknown": int(part.unknown.sum()),
    }


def _values(results: pd.DataFrame, non_detects: NonDetects | None) -> Values:
    """Return the results of one series; one that says nothing can be anything from nothing upward."""
    low = results[Judged.compared_low].to_numpy(dtype=np.float64)
    high = results[Judged.compared_high].to_numpy(dtype=np.float64)
    unknown = np.isnan(low) | np.isnan(high)
    low, high = np.where(unknown, 0.0, low), np.where(unknown, np.inf, high)
    below = (unknown == np.False_) & (low <= 0) & np.isfinite(high) & (high > low)
    if non_detects is not None:
        counted = non_detects.share * high
        low, high = np.where(below, counted, low), np.where(below, counted, high)
    return Values(low, high, results[Judged.sampled_at].to_numpy(dtype="datetime64[s]"), below, unknown)


def _text(value: object) -> str:
    return value if isinstance(value, str) else ""


def _table(rows: Sequence[dict[str, Any]]) -> DataFrame[JudgedSeries]:
    columns = JudgedSeries.to_schema().columns
    types = {name: str(column.dtype) for name, column in columns.items()}
    table = pd.DataFrame({name: pd.Series([row[name] for row in rows], dtype=types[name]) for name in columns})
    return JudgedSeries.validate(table)
