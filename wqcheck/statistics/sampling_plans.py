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

    def __post_init__(self) -> None:
        if not 0 <= self.c < self.n:
            raise ValueError(f"c must be at least 0 and below n, got n={self.n}, c={self.c}")
        if self.M is not None and not self.m <= self.M:
            raise ValueError(f"m must be at most M, got m={self.m}, M={self.M}")


class LotDecision(NamedTuple):
    """Verdict on one lot (pass, fail or undetermined) and why, as a clause."""

    verdict: Verdict
    reason: str


FERMENTATION_PLAN = AttributePlan(n=10, c=1, m=2.2, M=9.2, counts_at_limit=True)
"""21 CFR 165.110(b)(2)(i)(A), multiple-tube fermentation: MPN per 100 mL of each of ten units."""

FILTER_PLAN = AttributePlan(n=10, c=1, m=4.0, counts_at_limit=True)
"""21 CFR 165.110(b)(2)(i)(A), membrane filter: organisms per 100 mL of each of ten units; the mean counts as well."""

FILTER_MEAN = 1.0
"""21 CFR 165.110(b)(2)(i)(A): the arithmetic mean of a membrane-filter sample, organisms per 100 mL, at most this."""


def decide_lot(units: Ranges, plan: AttributePlan) -> LotDecision:
    """Return the decision on one lot.

    Parameters
    ----------
    units : Ranges
        What each unit can be, in the unit of ``m``, shape (units,). Fewer usable units than the plan asks for can
        fail a lot but never pass it; more than it asks for leave it undetermined, because c belongs to n.
    plan : AttributePlan
        The plan.
    """
    usable = units.trouble == Trouble.NONE
    marginal, perhaps_marginal = (found & usable for found in _above(units, plan.m, plan.counts_at_limit))
    ceiling = np.nan if plan.M is None else plan.M  # nothing lies beyond NaN
    defective, perhaps_defective = (found & usable for found in _above(units, ceiling, plan.counts_at_limit))
    if defective.any():
        return LotDecision(Verdict.FAIL, f"{int(defective.sum())} unit(s) beyond {ceiling:g}, where none may be")
    if len(units.low) > plan.n:
        return LotDecision(Verdict.UNDETERMINED, f"{len(units.low)} units, and the plan is for {plan.n}")
    if marginal.sum() > plan.c:
        return LotDecision(Verdict.FAIL, f"{int(marginal.sum())} units beyond {plan.m:g}, where {plan.c} may be")
    if usable.sum() < plan.n:
        return LotDecision(
            Verdict.UNDETERMINED, f"{int(usable.sum())} usable units of the {plan.n} that the plan needs"
        )
    if perhaps_defective.any() or perhaps_marginal.sum() > plan.c:
        return LotDecision(Verdict.UNDETERMINED, "the reported ranges do not say how many units lie beyond the limits")
    return LotDecision(Verdict.PASS, f"{int(marginal.sum())} of {plan.n} units beyond {plan.m:g}, {plan.c} may be")


def coliforms_by_fermentation(units: Ranges) -> LotDecision:
    """Return the decision on the coliforms of a bottled-water sample by multiple-tube fermentation.

    Of ten units, at most one may have an MPN of 2.2 or more per 100 mL and none of 9.2 or more
    (21 CFR 165.110(b)(2)(i)(A)). *units* are MPN per 100 mL, shape (units,).
    """
    return decide_lot(units, FERMENTATION_PLAN)


def coliforms_by_filter(units: Ranges) -> LotDecision:
    """Return the decision on the coliforms of a bottled-water sample by membrane filter.

    Of ten units, at most one may have 4.0 or more per 100 mL, and the arithmetic mean may not exceed 1
    (21 CFR 165.110(b)(2)(i)(A)). *units* are organisms per 100 mL, shape (units,).
    """
    decision = decide_lot(units, FILTER_PLAN)
    low, high = (float(tidy(np.nansum(end) / max(len(end), FILTER_PLAN.n))) for end in (units.low, units.high))
    if low > FILTER_MEAN and decision.verdict != Verdict.FAIL:
        return LotDecision(Verdict.FAIL, f"the mean, at least {low:.4g}, exceeds {FILTER_MEAN:g}")
    if decision.verdict != Verdict.PASS:
        return decision
    if high <= FILTER_MEAN:
        return LotDecision(Verdict.PASS, f"{decision.reason}; the mean of {high:.4g} is at most {FILTER_MEAN:g}")
    return LotDecision(Verdict.UNDETERMINED, f"the mean lies between {low:.4g} and {high:.4g}")


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
