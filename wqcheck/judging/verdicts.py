"""Turns the range that a result can be, and a limit in the same unit, into a verdict and the margin that is left."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from wqcheck.judging.ranges import Bools, Floats, Ints, Ranges, Trouble
from wqcheck.tables import Rule, Verdict
from wqcheck.units import tidy

Words = npt.NDArray[np.object_]

VERDICTS = tuple(Verdict)
"""Verdicts by number; arrays of verdicts hold numbers until they become a column."""

UPPER_RULES = (Rule.MAX, Rule.RANGE, Rule.SUM_MAX, Rule.RATIO_SUM_MAX)
LOWER_RULES = (Rule.MIN, Rule.RANGE)
SERIES_RULES = (Rule.PERCENTILE_MAX, Rule.MEAN_MAX, Rule.ATTRIBUTE_PLAN)
"""Rules on a series of results, which no single result can meet or fail."""


class DecisionRule(StrEnum):
    """How a result beside its limit is decided when its uncertainty is known (ILAC-G8:09/2019, section 4.2).

    ``SIMPLE`` is binary simple acceptance (clause 4.2.1): the value alone counts. ``GUARD_BAND`` is the non-binary
    statement with a guard band ``w = r U`` (clause 4.2.3). ``GUARDED_ACCEPTANCE`` is the binary statement with that
    guard band (clause 4.2.2): what meets the limit by less than it fails.
    """

    SIMPLE = "simple acceptance"
    GUARD_BAND = "guard band"
    GUARDED_ACCEPTANCE = "guarded acceptance"


@dataclass(frozen=True, slots=True, eq=False)
class Bounds:
    """What each of n limits allows: arrays of shape (n,); an end that a rule does not have is infinite.

    ``decidable`` is False for the rules that need a series of results.
    """

    lower: Floats
    upper: Floats
    decidable: Bools

    def take(self, places: Ints) -> Bounds:
        """Return the bounds at *places* (integers, any number of them)."""
        return Bounds(self.lower[places], self.upper[places], self.decidable[places])


@dataclass(frozen=True, slots=True, eq=False)
class Verdicts:
    """What comparing gave; arrays of shape (n,).

    ``verdict`` holds places in :data:`VERDICTS`, ``compared`` is in the limit's unit, ``margin`` dimensionless.
    """

    verdict: Ints
    compared: Floats
    margin: Floats


def bounds(rule: Words, lower: Floats, upper: Floats) -> Bounds:
    """Return what limits with those rules and ends allow; a missing end of a rule that needs it stays NaN."""
    words = rule.astype(str)
    return Bounds(
        lower=np.where(np.isin(words, LOWER_RULES), tidy(lower), -np.inf),
        upper=np.select(
            [words == Rule.ABSENT, np.isin(words, UPPER_RULES)], [np.zeros(len(words)), tidy(upper)], default=np.inf
        ),
        decidable=np.isin(words, (*UPPER_RULES, *LOWER_RULES, Rule.ABSENT)),
    )


def rounded(ranges: Ranges, step: Floats, half_up: Bools) -> Ranges:
    """Return the *ranges* with both ends rounded to a multiple of *step*, as the rounding method of ASTM E29 does.

    Parameters
    ----------
    ranges : Ranges
        In the unit of their limits, shape (n,).
    step : array of float, shape (n,)
        Place of the last digit of each limit; NaN leaves a range as it is.
    half_up : array of bool, shape (n,)
        What becomes of a digit exactly in the middle: away from zero, else to the even neighbour.
    """
    asked = np.isfinite(step)
    if not asked.any():
        return ranges
    ends = [_to_step(end, step, half_up) for end in (ranges.low, ranges.high)]
    low, high = (np.where(asked, new, old) for new, old in zip(ends, (ranges.low, ranges.high), strict=True))
    return replace(ranges, low=low, high=high, open_low=ranges.open_low & ~asked, open_high=ranges.open_high & ~asked)


def _to_step(values: Floats, step: Floats, half_up: Bools) -> Floats:
    steps = tidy(values / step)
    up = np.copysign(np.floor(np.abs(steps) + 0.5), steps)
    return tidy(np.where(half_up, up, np.rint(steps)) * step)


def decide(ranges: Ranges, allowed: Bounds, guard: Floats) -> Verdicts:
    """Return the verdict of each range.

    It passes when the whole range is allowed, fails when none of it is, and stays undetermined otherwise. Verdicts
    are only ever assigned on a comparison that holds, so that a NaN end leaves the first word, *undetermined*.

    Parameters
    ----------
    ranges : Ranges
        What each result can be, in the unit of its limit, shape (n,).
    allowed : Bounds
        The limits, shape (n,).
    guard : array of float, shape (n,)
        Width of the guard band in the unit of the limit, 0 for simple acceptance. A result that passes or fails by
        less than that does so conditionally.
    """
    with np.errstate(invalid="ignore"):  # infinite ends minus infinite ends are NaN, and compare as False
        return _decide(ranges, allowed, guard)


def _decide(ranges: Ranges, allowed: Bounds, guard: Floats) -> Verdicts:
    usable = (ranges.trouble == Trouble.NONE) & allowed.decidable
    inside = usable & (ranges.high <= allowed.upper) & (ranges.low >= allowed.lower)
    above = usable & ((ranges.low > allowed.upper) | ((ranges.low == allowed.upper) & ranges.open_low))
    under = usable & ((ranges.high < allowed.lower) | ((ranges.high == allowed.lower) & ranges.open_high))
    verdict = np.full(len(usable), VERDICTS.index(Verdict.UNDETERMINED), dtype=np.int64)
    verdict[inside] = VERDICTS.index(Verdict.PASS)
    verdict[above | under] = VERDICTS.index(Verdict.FAIL)
    if (guard > 0).any():
        near = _near(ranges, allowed, guard)
        verdict[inside & near] = VERDICTS.index(Verdict.CONDITIONAL_PASS)
        verdict[(above | under) & near] = VERDICTS.index(Verdict.CONDITIONAL_FAIL)
    compared = _deciding_end(ranges, allowed, above, under)
    margin = np.where(inside | above | under, _margin(ranges, allowed, above | under), np.nan)
    return Verdicts(verdict, compared, margin)


def _near(ranges: Ranges, allowed: Bounds, guard: Floats) -> Bools:
    """Tell which ranges reach into the guard band on either side of a limit."""
    near_upper = (ranges.high > tidy(allowed.upper - guard)) & (ranges.low <= tidy(allowed.upper + guard))
    near_lower = (ranges.low < tidy(allowed.lower + guard)) & (ranges.high >= tidy(allowed.lower - guard))
    near: Bools = (guard > 0) & (near_upper | near_lower)
    return near


def _deciding_end(ranges: Ranges, allowed: Bounds, above: Bools, under: Bools) -> Floats:
    """Return the value of an exact result, otherwise the end that decides or leaves open; NaN where it is infinite."""
    over, only_lower = ranges.high > allowed.upper, np.isinf(allowed.upper)
    nearer_lower = only_lower | (ranges.low - allowed.lower < allowed.upper - ranges.high)
    end = np.select([above, under, over, nearer_lower], [ranges.low, ranges.high, ranges.high, ranges.low], ranges.high)
    detected_only = above & ranges.open_low & (ranges.low == 0)
    return np.where(np.isfinite(end) & (detected_only == np.False_), end, np.nan)


def _margin(ranges: Ranges, allowed: Bounds, outside: Bools) -> Floats:
    """Return the share of the limit that is left: of the limit itself, or of the width of a range of limits."""
    to_upper = allowed.upper - np.where(outside, ranges.low, ranges.high)
    to_lower = np.where(outside, ranges.high, ranges.low) - allowed.lower
    width = allowed.upper - allowed.lower
    whole = np.select(
        [np.isfinite(width), np.isfinite(allowed.upper), np.isfinite(allowed.lower)],
        [width, np.abs(allowed.upper), np.abs(allowed.lower)],
        default=np.nan,
    )
    left = np.fmin(to_upper, to_lower)
    known = np.isfinite(left) & (whole > 0)
    share: Floats = np.full(len(left), np.nan)
    share[known] = left[known] / whole[known]
    return tidy(share)
