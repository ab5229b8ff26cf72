"""Turns a measured value, its uncertainty and a limit into the probability of conformity, guard bands and risks.

:mod:`wqcheck.judging.verdicts` decides single results with a guard band of the expanded uncertainty; this module says
how wide a band must be and how often a decision is wrong.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from numpy.typing import ArrayLike
from scipy.integrate import quad
from scipy.special import ndtr, ndtri

from wqcheck.tables import Verdict
from wqcheck.units import tidy

Floats = npt.NDArray[np.float64]

COVERAGE = 2.0
"""Coverage factor k of an expanded uncertainty of about 95 % (JCGM 100:2008, 6.2)."""


@dataclass(frozen=True, slots=True)
class Interval:
    """What is allowed, in one unit; an end that a rule does not have is infinite.

    Raises
    ------
    ValueError
        ``lower < upper`` does not hold.
    """

    lower: float = -np.inf
    upper: float = np.inf

    def __post_init__(self) -> None:
        if not self.lower < self.upper:
            raise ValueError(f"the lower end must be below the upper, got {self.lower} and {self.upper}")


class Risks(NamedTuple):
    """Joint probabilities that an item does not conform and is accepted, or conforms and is rejected."""

    consumer: float
    producer: float


def conformance_probability(value: ArrayLike, standard_uncertainty: ArrayLike, tolerance: Interval) -> Floats:
    """Return the probability that the true value lies in *tolerance*, normal, no prior knowledge.

    Parameters
    ----------
    value, standard_uncertainty : array_like
        Measured value, and its standard uncertainty (above 0) in the same unit: the expanded one divided by k.
    tolerance : Interval
        One- or two-sided.

    Notes
    -----
    ``Φ((T_U - y)/u) - Φ((T_L - y)/u)`` (JCGM 106:2012, 7.3 and 7.4). At a limit it is one half.
    """
    y, u = np.asarray(value, dtype=np.float64), np.asarray(standard_uncertainty, dtype=np.float64)
    return conformance_probabilities(y, u, np.asarray(tolerance.lower), np.asarray(tolerance.upper))


def conformance_probabilities(value: Floats, standard_uncertainty: Floats, lower: Floats, upper: Floats) -> Floats:
    """Return the same for a tolerance of its own for each value; an end that a limit does not have is infinite.

    All arguments in one unit, of shapes that broadcast; an unknown value or uncertainty (NaN) gives NaN.
    """
    probability: Floats = ndtr((upper - value) / standard_uncertainty) - ndtr((lower - value) / standard_uncertainty)
    return probability


def guard_band(expanded_uncertainty: float, multiple: float = 1.0) -> float:
    """Return the width ``w = r U`` of a guard band (ILAC-G8:09/2019, 4.2.2 and Table 1), in the unit of U."""
    return multiple * expanded_uncertainty


def guard_band_for(probability: float, standard_uncertainty: float) -> float:
    """Return the width at which a value at a one-sided acceptance limit conforms with *probability*.

    ``w = z u`` with the one-sided ``z`` (JCGM 106:2012, 7.3.2 and Table 1): 1.645 u for 95 %, not 1.96 u.
    """
    return float(ndtri(probability)) * standard_uncertainty


def acceptance_interval(tolerance: Interval, width: float) -> Interval:
    """Return *tolerance* narrowed by a guard band of that *width* at each limit, widened if it is negative.

    Raises
    ------
    ValueError
        The guard bands leave nothing: the uncertainty is too large for the limits.
    """
    lower, upper = (float(tidy(end)) for end in (tolerance.lower + width, tolerance.upper - width))
    if not lower < upper:
        raise ValueError(f"guard bands of {width:g} leave nothing between {tolerance.lower:g} and {tolerance.upper:g}")
    return Interval(lower, upper)


def guarded_verdict(value: float, tolerance: Interval, width: float) -> Verdict:
    """Return the binary decision with guard band (ILAC-G8:09/2019, 4.2.2): pass in the acceptance interval, else fail.

    A value that is not known (NaN) stays undetermined. The non-binary statement is
    :func:`wqcheck.judging.verdicts.decide`.
    """
    accepted = acceptance_interval(tolerance, width)
    compared = float(tidy(value))
    if accepted.lower <= compared <= accepted.upper:
        return Verdict.PASS
    return Verdict.FAIL if compared < accepted.lower or compared > accepted.upper else Verdict.UNDETERMINED


def global_risks(
    process: Callable[[float], float], measurement: float, tolerance: Interval, acceptance: Interval, reach: Interval
) -> Risks:
    """Return the consumer's and the producer's global risk of deciding on an item drawn from a process.

    Parameters
    ----------
    process : callable
        Probability density of the true value.
    measurement : float
        Standard uncertainty of the measuring system, above 0.
    tolerance, acceptance : Interval
        Allowed true values, and measured values that are accepted.
    reach : Interval
        Finite interval outside of which the density is negligible.

    Notes
    -----
    JCGM 106:2012, 9.4, formulas (17) and (19), by numerical integration; joint risks, not conditional ones.
    """

    def accepted(true: float) -> float:
        return float(ndtr((acceptance.upper - true) / measurement) - ndtr((acceptance.lower - true) / measurement))

    def conforming(true: float) -> bool:
        return tolerance.lower <= true <= tolerance.upper

    def integral(weight: Callable[[float], float]) -> float:
        edges = (tolerance.lower, tolerance.upper, acceptance.lower, acceptance.upper)
        inner = sorted({edge for edge in edges if reach.lower < edge < reach.upper})
        points = [reach.lower, *inner, reach.upper]
        return float(
            sum(quad(lambda true: process(true) * weight(true), a, b, limit=200)[0] for a, b in pairwise(points))
        )

    return Risks(
        consumer=integral(lambda true: 0.0 if conforming(true) else accepted(true)),
        producer=integral(lambda true: 1.0 - accepted(true) if conforming(true) else 0.0),
    )
