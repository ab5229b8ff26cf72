"""Turns the counts of the units of one lot into a decision by its attribute plan, and a plan into its chances.

A unit is known as a range (``<2.2``, ``>23``): the lot passes or fails only when every possibility does.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.special import bdtr, gammaln

from wqcheck.judging.ranges import Bools, Floats, Ranges, Trouble
from wqcheck.tables import Verdict
from wqcheck.units import tidy


@dataclass(frozen=True, slots=True)
class AttributePlan:
    """An attribute plan (Codex CXG 50; ICMSF).

    Attributes
    ----------
    n : int
        Units to examine.
    c : int
        Units that may be marginal.
    m : float
        A unit above it is marginal (three-class) or defective (two-class).
    M : float or None
        A unit above it fails the lot; None in a two-class plan.
    counts_at_limit : bool
        Whether a unit exactly at ``m`` or ``M`` already counts as above it ("2.2 or more").
    mean : float or None
        The most that the arithmetic mean of the n units may be; None where the plan asks none.

    Raises
    ------
    ValueError
        ``0 <= c < n`` or ``m <= M`` does not hold.
    """

    n: int
    c: int
    m: float
    M: float | None = None
    counts_at_limit: bool = False
    mean: float | None = None

    def __post_init__(self) -> None:
        if not 0 <= self.c < self.n:
            raise ValueError(f"c must be at least 0 and below n, got n={self.n}, c={self.c}")
        if self.M is not None and not self.m <= self.M:
            raise ValueError(f"m must be at most M, got m={self.m}, M={self.M}")


class LotDecision(NamedTuple):
    """Verdict on one lot (pass, fail or undetermined) and why, as a clause."""

    verdict: Verdict
    reason: str


def plan_text(plan: AttributePlan, unit: str = "", volume_ml: float = 1.0) -> str:
    """Return *plan* in the usual letters, with the *unit* and the volume (mL) that it counts in."""
    per = f" {unit}/{'' if volume_ml == 1 else f'{volume_ml:.12g} '}mL" if unit else ""
    ends = [f"n = {plan.n}", f"c = {plan.c}", f"m = {plan.m:.12g}"]
    ends += [] if plan.M is None else [f"M = {plan.M:.12g}"]
    ends += [] if plan.mean is None else [f"mean at most {plan.mean:.12g}"]
    ends.append("at or above counts" if plan.counts_at_limit else "above counts")
    return f"sampling plan {', '.join(ends)}{per}"


def _beyond(plan: AttributePlan, figure: float) -> str:
    """Return in words what lies beyond m or M."""
    return f"{'at or above' if plan.counts_at_limit else 'above'} {figure:g}"


def decide_lot(units: Ranges, plan: AttributePlan) -> LotDecision:
    """Return the decision on one lot.

    Parameters
    ----------
    units : Ranges
        What each unit can be, in the unit of ``m``, shape (units,). Fewer usable units than the plan asks for can
        fail a lot but never pass it. More than it asks for pass only when any n of them would, and leave it
        undetermined otherwise, because c belongs to n.
    plan : AttributePlan
        The plan.
    """
    usable = units.trouble == Trouble.NONE
    marginal, perhaps_marginal = (int((found & usable).sum()) for found in _above(units, plan.m, plan.counts_at_limit))
    ceiling = np.nan if plan.M is None else plan.M  # nothing lies beyond NaN
    defective, perhaps_defective = (found & usable for found in _above(units, ceiling, plan.counts_at_limit))
    low, high = _means(units, plan.n)
    allowed = np.inf if plan.mean is None else plan.mean
    if defective.any():
        return LotDecision(Verdict.FAIL, f"{int(defective.sum())} unit(s) {_beyond(plan, ceiling)}, where none may be")
    if marginal > plan.c and len(units.low) <= plan.n:
        return LotDecision(Verdict.FAIL, f"{marginal} units {_beyond(plan, plan.m)}, where {plan.c} may be")
    if low > allowed:
        return LotDecision(Verdict.FAIL, f"the mean, at least {low:.4g}, exceeds {allowed:g}")
    if usable.sum() < max(plan.n, len(units.low)):
        short = f"{int(usable.sum())} usable units of the {max(plan.n, len(units.low))} that count"
        return LotDecision(Verdict.UNDETERMINED, short)
    if perhaps_defective.any() or perhaps_marginal > plan.c:
        more = f", and the plan is for {plan.n}" * (len(units.low) > plan.n)
        words = f"{perhaps_marginal} of {len(units.low)} units lie, or may lie, {_beyond(plan, plan.m)}{more}"
        return LotDecision(Verdict.UNDETERMINED, words)
    if high > allowed:
        return LotDecision(Verdict.UNDETERMINED, f"the mean lies between {low:.4g} and {high:.4g}")
    return LotDecision(Verdict.PASS, _met(plan, marginal, len(units.low), high))


def _met(plan: AttributePlan, marginal: int, given: int, mean: float) -> str:
    shown = f"; the mean is at most {mean:.4g}" if plan.mean is not None else ""
    return f"{marginal} of {given} units {_beyond(plan, plan.m)}, {plan.c} may be{shown}"


def decide_unit(unit: Ranges, plan: AttributePlan, given: int) -> LotDecision:
    """Return what one unit, shape (1,), says of itself where the *given* units of its lot do not decide the plan.

    A unit that would be the one that is allowed beyond m, or that lies above the mean, needs the others and stays
    undetermined.
    """
    missing = f"the plan asks for {plan.n} units of a lot, here {given}" if given < plan.n else "the lot is not decided"
    if unit.trouble[0] != Trouble.NONE:
        return LotDecision(Verdict.UNDETERMINED, f"this unit cannot be compared, and {missing}")
    _, perhaps_marginal = _above(unit, plan.m, plan.counts_at_limit)
    if perhaps_marginal[0]:
        return LotDecision(Verdict.UNDETERMINED, f"this unit lies, or may lie, {_beyond(plan, plan.m)}, and {missing}")
    if plan.mean is not None and unit.high[0] > plan.mean:
        return LotDecision(Verdict.UNDETERMINED, f"this unit may lie above the mean of {plan.mean:g}, and {missing}")
    return LotDecision(Verdict.PASS, f"this unit meets the plan, which says nothing about others: {missing}")


def _means(units: Ranges, n: int) -> tuple[float, float]:
    """Return the least and the greatest mean that n of the *units* can have; a missing unit counts from nothing."""
    usable = units.trouble == Trouble.NONE
    low = np.sort(np.where(usable, units.low, 0.0))[:n]
    high = np.sort(np.where(usable, units.high, np.inf))[::-1][:n]
    least = float(tidy(low.sum() / n))
    return least, float(tidy(high.sum() / n)) if len(high) == n else np.inf


def _above(units: Ranges, limit: float, counts_at_limit: bool) -> tuple[Bools, Bools]:
    """Tell which units surely, and which perhaps, lie beyond *limit*."""
    if counts_at_limit:
        return units.low >= limit, (units.high > limit) | ((units.high == limit) & (units.open_high == np.False_))
    return (units.low > limit) | ((units.low == limit) & units.open_low), units.high > limit


def acceptance_probability(plan: AttributePlan, marginal: float, defective: float = 0.0) -> float:
    """Return the chance that a plan accepts a lot: its operating characteristic.

    Parameters
    ----------
    plan : AttributePlan
        Two- or three-class.
    marginal : float
        Share of units (0 to 1) between m and M; above m in a two-class plan.
    defective : float
        Share of units above M; 0 in a two-class plan.

    Notes
    -----
    Two-class: the binomial distribution function at c. Three-class: no unit above M and at most c between m and M,
    which is ``(1 - defective)^n`` times the binomial with ``marginal/(1 - defective)`` (ICMSF 2018, Microorganisms in
    Foods 7, 2nd ed., ch. 7). A lot is taken as large; see :func:`acceptance_probability_of_lot`.
    """
    if not (marginal >= 0 and defective >= 0 and marginal + defective <= 1):
        raise ValueError(f"shares must be 0 to 1 together, got {marginal} and {defective}")
    if defective == 1:
        return 0.0
    return float((1 - defective) ** plan.n * bdtr(plan.c, plan.n, marginal / (1 - defective)))


def acceptance_probability_of_lot(plan: AttributePlan, size: int, above_m: int) -> float:
    """Return the chance that a two-class plan accepts a lot of *size* units, *above_m* of them above m.

    The hypergeometric distribution function at c, for lots that are not large beside n (Codex CXG 50).
    """
    found = np.arange(max(0, plan.n - (size - above_m)), min(plan.c, above_m, plan.n) + 1)
    ways = _log_choose(above_m, found) + _log_choose(size - above_m, plan.n - found) - _log_choose(size, plan.n)
    return float(np.exp(ways).sum())


def _log_choose(n: int, k: npt.ArrayLike) -> Floats:
    chosen: Floats = gammaln(n + 1.0) - gammaln(np.asarray(k) + 1.0) - gammaln(n - np.asarray(k) + 1.0)
    return chosen


SHARES = (0.01, 0.05, 0.1, 0.2, 0.3, 0.5)
"""Shares of units beyond m at which an operating characteristic is printed."""


def operating_characteristic(plan: AttributePlan) -> str:
    """Return in words how often *plan* accepts a lot with a given share of units beyond m, and none beyond M.

    A plan that also asks for a mean accepts less often than that.
    """
    shown = ", ".join(f"{acceptance_probability(plan, share):.1%} at {share:.0%}" for share in SHARES)
    return f"accepts {shown} of units beyond m" + (", less often with its mean" if plan.mean is not None else "")
