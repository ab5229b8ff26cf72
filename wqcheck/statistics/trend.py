"""Turns dated results into a Mann-Kendall test, a Sen slope with its interval, and the day a limit would be crossed.

The test takes everything below the highest reporting limit as one tie. The slope is bounded instead: each pair of
results gives the least and the greatest slope that both intervals allow.
"""

from __future__ import annotations

from functools import lru_cache
from math import erfc, factorial, inf, isnan, nan, sqrt
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.stats import norm

Floats = npt.NDArray[np.float64]

EXACT_UP_TO = 40
"""Results without ties up to which the probability is counted out; beyond that the normal law is close enough."""

CONFIDENCE = 0.95
FEWEST = 8
"""Sampling days from which a trend is told: the shortest series that Grath et al. (2001), on trends in groundwater for
the Water Framework Directive, accept (from memory); with fewer, one odd result makes a trend."""


class MannKendall(NamedTuple):
    """The test: results ``n``, score ``s``, its variance, ``z`` (with continuity), two-sided ``p``; counted or not."""

    n: int
    s: int
    variance: float
    z: float
    p: float
    exact: bool


class Slope(NamedTuple):
    """Sen slope per day between two ends, which agree without non-detects; its confidence interval from both.

    ``day`` is the median day; ``level_low`` and ``level_high`` are the ends of the median result there.
    """

    low: float
    high: float
    interval_low: float
    interval_high: float
    day: float
    level_low: float
    level_high: float


class Crossing(NamedTuple):
    """Days from the last result until the line meets a limit: earliest, by the line, latest; infinite when never."""

    earliest: float
    expected: float
    latest: float


def tied_below(low: npt.ArrayLike, high: npt.ArrayLike) -> Floats:
    """Return figures to rank results by: all that lies below the highest reporting limit is one tie.

    Parameters
    ----------
    low, high : array_like, shape (n,)
        Ends of each result; they differ where it is a non-detect.

    Notes
    -----
    Helsel et al. (2020), USGS Techniques and Methods 4-A3, chapter 12 (trends with several reporting limits; clause
    from memory).
    """
    least, most = np.asarray(low, dtype=np.float64), np.asarray(high, dtype=np.float64)
    censored = least < most
    if not censored.any():
        return most.copy()
    limit = most[censored].max()
    return np.where(censored | (most < limit), -inf, most)


def mann_kendall(days: npt.ArrayLike, values: npt.ArrayLike) -> MannKendall:
    """Return the Mann-Kendall test of *values* over *days*, both of shape (n,), in any order.

    Notes
    -----
    Gilbert (1987), Statistical Methods for Environmental Pollution Monitoring, 16.4. Ties of days and of values lessen
    the variance (Kendall 1970). Without ties and with at most :data:`EXACT_UP_TO` results the probability is counted.
    """
    at, read = (np.unique(np.asarray(part, dtype=np.float64), return_inverse=True)[1] for part in (days, values))
    n = len(at)
    s = sum(int((np.sign(at[k + 1 :] - at[k]) * np.sign(read[k + 1 :] - read[k])).sum()) for k in range(n - 1))
    variance = _variance(n, np.bincount(at), np.bincount(read)) if n > 2 else nan
    z = (s - np.sign(s)) / sqrt(variance) if variance > 0 else 0.0
    exact = n <= EXACT_UP_TO and len(set(at)) == n and len(set(read)) == n
    p = exact_probability(n, s) if exact else erfc(abs(z) / sqrt(2))
    return MannKendall(n, s, variance, float(z), p if n > 1 else nan, exact)


def exact_probability(n: int, s: int) -> float:
    """Return how likely a score at least as far from 0 as *s* is among all orders of *n* different results."""
    beyond = sum(_orders(n)[(n * (n - 1) // 2 + abs(s)) // 2 :])
    return min(1.0, 2 * beyond / factorial(n))


@lru_cache(maxsize=64)
def _orders(n: int) -> tuple[int, ...]:
    """Return how many orders of n results have 0, 1, 2 … pairs in rising order; exact whole numbers."""
    counts = [1]
    for size in range(2, n + 1):
        longer = [0] * (len(counts) + size - 1)
        for place, count in enumerate(counts):
            for more in range(size):
                longer[place + more] += count
        counts = longer
    return tuple(counts)


def _variance(n: int, *ties: npt.NDArray[np.int64]) -> float:
    """Return the variance of the score; *ties* are the sizes of the groups of equal days, and of equal values."""
    t, u = (sizes.astype(np.float64) for sizes in ties)
    single = (n * (n - 1) * (2 * n + 5) - sum((g * (g - 1) * (2 * g + 5)).sum() for g in (t, u))) / 18
    threes = np.prod([(g * (g - 1) * (g - 2)).sum() for g in (t, u)]) / (9 * n * (n - 1) * (n - 2))
    twos = np.prod([(g * (g - 1)).sum() for g in (t, u)]) / (2 * n * (n - 1))
    return max(0.0, float(single + threes + twos))


def sen_slope(days: npt.ArrayLike, low: npt.ArrayLike, high: npt.ArrayLike, confidence: float = CONFIDENCE) -> Slope:
    """Return the median of the pairwise slopes, as bounds, with its interval.

    Parameters
    ----------
    days : array_like, shape (n,)
        Sampling days as numbers; pairs on one day have no slope.
    low, high : array_like, shape (n,)
        Ends of each result, one unit, finite.
    confidence : float
        Of the interval, as a fraction.

    Notes
    -----
    Sen (1968), J. Am. Stat. Assoc. 63, 1379–1389; Gilbert (1987), 16.5: with C = z·√Var(S) and N' slopes, the interval
    ends at ranks (N' − C)/2 and (N' + C)/2 + 1, here rounded outward. The ties of the variance are those of the low
    ends or the high ends, whichever give the wider interval.
    """
    at, least, most = (np.asarray(part, dtype=np.float64) for part in (days, low, high))
    first, second = np.triu_indices(len(at), k=1)
    swap = at[first] > at[second]
    before, after = np.where(swap, second, first), np.where(swap, first, second)
    span = at[after] - at[before]
    apart = span > 0
    if not apart.any():
        middle_day = float(np.median(at)) if len(at) else nan
        return Slope(nan, nan, nan, nan, middle_day, nan, nan)
    before, after, span = before[apart], after[apart], span[apart]
    lows, highs = np.sort((least[after] - most[before]) / span), np.sort((most[after] - least[before]) / span)
    reach = _reach(at, least, most, confidence)
    bottom = int(np.floor((len(span) - reach) / 2)) - 1
    top = int(np.ceil((len(span) + reach) / 2))
    ends = (lows[bottom], highs[top]) if bottom >= 0 and top < len(span) else (-inf, inf)
    middle = float(np.median(at)), float(np.median(least)), float(np.median(most))
    return Slope(float(np.median(lows)), float(np.median(highs)), float(ends[0]), float(ends[1]), *middle)


def _reach(at: Floats, least: Floats, most: Floats, confidence: float) -> float:
    """Return C = z·√Var(S)."""
    variance = max(mann_kendall(at, end).variance for end in (least, most))
    return float(norm.ppf((1 + confidence) / 2)) * sqrt(variance) if variance >= 0 else inf


def crossing(slope: Slope, limit: float, last_day: float) -> Crossing:
    """Return when the line through the medians meets *limit*, in days after *last_day*.

    The earliest is the steepest line of the interval from the end of the level nearer to the limit, the latest the
    flattest from the farther end. A line that turns away never meets it; one that is beyond it has met it (0 days).
    Every figure is NaN where the slope is not known.
    """
    if isnan(slope.low) or isnan(limit):
        return Crossing(nan, nan, nan)
    rises = limit >= (slope.level_low + slope.level_high) / 2
    near, far = (slope.level_high, slope.level_low) if rises else (slope.level_low, slope.level_high)
    steep, flat = (slope.interval_high, slope.interval_low) if rises else (slope.interval_low, slope.interval_high)
    middle, level = (slope.low + slope.high) / 2, (near + far) / 2
    lead = last_day - slope.day
    found = [_met(limit - start, pace, rises) - lead for start, pace in ((near, steep), (level, middle), (far, flat))]
    return Crossing(*(max(0.0, days) for days in found))


def _met(room: float, pace: float, rises: bool) -> float:
    """Return the days until *room* is used up at *pace*; what is used up already took none."""
    toward, left = (pace, room) if rises else (-pace, -room)
    if left <= 0:
        return -inf
    return 0.0 if toward == inf else left / toward if toward > 0 else inf
