"""Turns the results of a period into the one figure that a rule on a series compares: percentile, average, share.

Each function takes plain numbers in one unit: what becomes of a non-detect is the caller's choice, as data
(:class:`NonDetects`), because each rule names its own.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from wqcheck.judging.ranges import Ranges
from wqcheck.judging.verdicts import VERDICTS, bounds, decide
from wqcheck.statistics.censored import Floats, LeftCensored
from wqcheck.tables import Verdict
from wqcheck.units import tidy

QUARTERS = 4
NO_GUARD = 0.0


class NonDetects(StrEnum):
    """What a non-detect counts as in a rule: nothing, half its reporting limit, or the limit itself."""

    ZERO = "zero"
    HALF = "half"
    LIMIT = "limit"

    @property
    def share(self) -> float:
        """The share of the reporting limit."""
        return {NonDetects.ZERO: 0.0, NonDetects.HALF: 0.5, NonDetects.LIMIT: 1.0}[self]

    def counted(self, sample: LeftCensored) -> Floats:
        """Return the results of *sample* as the rule counts them, shape (n,)."""
        return sample.substituted(self.share)


class Rank(StrEnum):
    """Which rank of n ascending results stands for the percentile at a share p, counted from 1.

    ``UP``: p·n, rounded up where it is no whole number. ``NEAREST``: p·n to the nearest, a half up. ``BETWEEN``: p·n,
    between two results in proportion. ``WEIBULL``: p·(n + 1). ``HAZEN``: p·n + 0.5. ``LINEAR``: 1 + p·(n - 1), what
    spreadsheets do. (Definitions 1, 4, 6, 5 and 7 of Hyndman and Fan 1996, Am. Stat. 50:361; ``NEAREST`` is the
    rule of state handouts.)
    """

    UP = "rounded up"
    NEAREST = "nearest"
    BETWEEN = "in proportion"
    WEIBULL = "Weibull"
    HAZEN = "Hazen"
    LINEAR = "spreadsheet"


def percentile(values: npt.ArrayLike, share: float, rank: Rank) -> float:
    """Return the percentile of *values* (any order, one unit) at *share* (0 to 1); NaN of no values.

    A position beyond the first or last result takes that result.
    """
    ordered = np.sort(np.asarray(values, dtype=np.float64))
    n = len(ordered)
    if n == 0:
        return float("nan")
    exact = {Rank.WEIBULL: share * (n + 1), Rank.HAZEN: share * n + 0.5, Rank.LINEAR: 1 + share * (n - 1)}
    position = float(tidy(exact.get(rank, share * n)))
    if rank == Rank.UP:
        position = np.ceil(position)
    elif rank == Rank.NEAREST:
        position = np.floor(position + 0.5)
    return float(np.interp(position, np.arange(1, n + 1), ordered))


def lead_and_copper_percentile(values: npt.ArrayLike, rank: Rank = Rank.UP) -> float:
    """Return the 90th percentile of a monitoring period under the lead and copper rule; NaN of no values.

    Parameters
    ----------
    values : array_like, shape (n,)
        All samples of the period, one unit.
    rank : Rank
        For more than five samples, what becomes of a 0.9 n that is no whole number: the regulation is silent, and
        states differ. Rounded up, the default, never gives the lower figure.

    Notes
    -----
    40 CFR 141.80(c)(3): (i) to (iii) the result whose ascending number is 0.9 n; (iv) of five samples the average of
    the two highest; (v) of fewer than five the highest.
    """
    ordered = np.sort(np.asarray(values, dtype=np.float64))
    if len(ordered) == 5:
        return float(tidy(ordered[-2:].mean()))
    return percentile(ordered, 1.0 if len(ordered) < 5 else 0.9, rank)


class Quarters(NamedTuple):
    """Calendar quarters from the first to the last with results; arrays of shape (quarters,).

    ``quarter`` is the first month of each; ``n`` counts its results, ``average`` is theirs (NaN of none), ``quarters``
    counts those with results among the last four, ``running_average`` is theirs, and ``at_least`` what it would be if
    the quarters without results were nil.
    """

    quarter: npt.NDArray[np.datetime64]
    n: npt.NDArray[np.int64]
    average: Floats
    quarters: npt.NDArray[np.int64]
    running_average: Floats
    at_least: Floats


def running_annual_average(days: npt.ArrayLike, values: npt.ArrayLike) -> Quarters:
    """Return quarterly averages and the running average of the last four calendar quarters.

    Parameters
    ----------
    days : array_like of datetime, shape (n,)
        Sampling days, at least one, none blank.
    values : array_like, shape (n,)
        Results in one unit, all of one point.

    Notes
    -----
    40 CFR 141.133(b)(1)(i): a running annual arithmetic average, computed quarterly, of quarterly arithmetic
    averages; by location 40 CFR 141.620(d). Where quarters lack, the available ones count (US EPA 2001, EPA
    816-R-01-012), which is no compliance with the monitoring itself; ``at_least`` above a limit exceeds it whatever
    the other quarters bring (141.133(a)(3)).
    """
    number = np.asarray(days, dtype="datetime64[M]").astype(np.int64) // 3
    place = number - number.min()
    n = np.bincount(place)
    total = np.bincount(place, weights=np.asarray(values, dtype=np.float64))
    average = np.divide(total, n, out=np.full(len(n), np.nan), where=n > 0)
    last_four = np.ones(QUARTERS)
    quarters = np.rint(np.convolve(n > 0, last_four)[: len(n)]).astype(np.int64)
    summed = np.convolve(np.nan_to_num(average), last_four)[: len(n)]
    running = np.divide(summed, quarters, out=np.full(len(n), np.nan), where=quarters > 0)
    first_months = ((number.min() + np.arange(len(n))) * 3).astype("datetime64[M]")
    return Quarters(first_months, n, tidy(average), quarters, tidy(running), tidy(summed / QUARTERS))


@dataclass(frozen=True, slots=True)
class CompliantShare:
    """How many of a series meet a limit; ``undetermined`` ones may or may not."""

    passed: int
    failed: int
    undetermined: int

    @property
    def low(self) -> float:
        """The least that the compliant share can be (0 to 1); NaN of no results."""
        total = self.passed + self.failed + self.undetermined
        return self.passed / total if total else float("nan")

    @property
    def high(self) -> float:
        """The most that the compliant share can be (0 to 1); NaN of no results."""
        total = self.passed + self.failed + self.undetermined
        return (self.passed + self.undetermined) / total if total else float("nan")


def compliant_share(ranges: Ranges, rule: str, lower: float, upper: float) -> CompliantShare:
    """Return how many results meet a limit, each judged as a single result is.

    Parameters
    ----------
    ranges : Ranges
        What each result can be, in the unit of the limit, shape (n,).
    rule : str
        ``max``, ``min``, ``range`` or ``absent``.
    lower, upper : float
        The limit; NaN for the end that the rule does not have.
    """
    n = len(ranges.low)
    allowed = bounds(np.full(n, rule, dtype=object), np.full(n, lower), np.full(n, upper))
    verdict = decide(ranges, allowed, np.full(n, NO_GUARD)).verdict
    passed, failed = (int((verdict == VERDICTS.index(word)).sum()) for word in (Verdict.PASS, Verdict.FAIL))
    return CompliantShare(passed, failed, n - passed - failed)
