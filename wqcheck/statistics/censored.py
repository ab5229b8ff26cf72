"""Turns results with non-detects into mean, median and percentiles without assuming a distribution (Kaplan-Meier).

A non-detect is known only to lie below its reporting limit. Of no detection, or of too few, there is no statistic but
a :class:`NoStatistic` that says why. A non-detect is not below 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

LEAST_DETECTS = 3
"""Detections without which no statistic is given (common practice, no source)."""

_ROUNDING = 1e-12  # probabilities closer than this are the same


class Leftover(StrEnum):
    """Where the probability below the smallest detection is placed when a mean is formed.

    ``LOWEST_LIMIT``: at the lowest reporting limit below it (US EPA 2009, example 15-1). ``SMALLEST_DETECT``: at the
    smallest detection, which is never lower. ``ZERO``: at 0, which bounds the mean from below.
    """

    LOWEST_LIMIT = "lowest reporting limit"
    SMALLEST_DETECT = "smallest detection"
    ZERO = "zero"


class NoStatistic(NamedTuple):
    """Why there is no figure, as a clause without a full stop."""

    reason: str


@dataclass(frozen=True, slots=True, eq=False)
class LeftCensored:
    """Results of one series, in one unit; arrays of shape (n,).

    Attributes
    ----------
    value : array of float
        The result of a detection, the reporting limit of a non-detect; finite, and a limit at least 0.
    detected : array of bool
        Whether it is a detection.

    Raises
    ------
    ValueError
        The shapes differ, a value is missing or infinite, or a reporting limit negative.
    """

    value: Floats
    detected: Bools

    def __post_init__(self) -> None:
        if self.value.shape != self.detected.shape or self.value.ndim != 1:
            raise ValueError(f"value and detected must be of one length, got {self.value.shape}, {self.detected.shape}")
        if not (np.isfinite(self.value) & (self.detected | (self.value >= 0))).all():
            raise ValueError(f"every value must be finite, and every reporting limit at least 0, got {self.value}")

    def substituted(self, share: float) -> Floats:
        """Return the results with each non-detect replaced by *share* (0 to 1) of its reporting limit."""
        return np.where(self.detected, self.value, share * self.value)


def too_few(sample: LeftCensored, least: int = LEAST_DETECTS) -> NoStatistic | None:
    """Return why *sample* carries no statistic, None when it has at least *least* detections."""
    n, detects = len(sample.value), int(sample.detected.sum())
    if n == 0:
        return NoStatistic("there are no results")
    if detects == 0:
        return NoStatistic(f"all {n} results are non-detects, the highest below {sample.value.max():.6g}")
    if detects < least:
        return NoStatistic(f"only {detects} of {n} results are detections, and {least} are needed")
    return None


@dataclass(frozen=True, slots=True, eq=False)
class KaplanMeier:
    """An estimated distribution: ``mass`` on each distinct detection, and ``leftover`` below the smallest of them.

    Attributes
    ----------
    n, detects : int
        Results, and detections among them.
    value, mass : array of float, shape (distinct detections,)
        Ascending detections and their probability; with ``leftover`` the probabilities sum to 1.
    at_risk, events : array of int, shape (distinct detections,)
        Results at or below each value, and detections at it.
    leftover : float
        Probability of non-detects that no detection lies below.
    lowest_limit : float
        The lowest reporting limit, or the smallest detection if that is lower.
    """

    n: int
    detects: int
    value: Floats
    mass: Floats
    at_risk: npt.NDArray[np.int64]
    events: npt.NDArray[np.int64]
    leftover: float
    lowest_limit: float

    def place(self, leftover: Leftover = Leftover.LOWEST_LIMIT) -> float:
        """Return the value at which the leftover probability is placed."""
        places = {Leftover.LOWEST_LIMIT: self.lowest_limit, Leftover.SMALLEST_DETECT: float(self.value[0])}
        return places.get(leftover, 0.0)

    def mean(self, leftover: Leftover = Leftover.LOWEST_LIMIT) -> float:
        """Return the mean, in the unit of the results: the sum of value times probability (US EPA 2009, 15.3)."""
        return float(self.value @ self.mass + self.leftover * self.place(leftover))

    def standard_deviation(self, leftover: Leftover = Leftover.LOWEST_LIMIT) -> float:
        """Return the standard deviation of the estimated distribution, in the unit of the results.

        Two others circulate: this times the root of n/(n - 1), and :meth:`mean_error` times the root of n.
        """
        mean, place = self.mean(leftover), self.place(leftover)
        return float(np.sqrt(self.mass @ (self.value - mean) ** 2 + self.leftover * (place - mean) ** 2))

    def mean_error(self, leftover: Leftover = Leftover.LOWEST_LIMIT) -> float:
        """Return the standard error of the mean; 0 when all results are the same.

        Notes
        -----
        ``se² = m/(m - 1) · Σ A² d / (r (r - d))`` over the detections, with ``A`` the area under the distribution
        function below each, ``d`` its detections, ``r`` the results at or below it and ``m`` all detections (Kaplan
        and Meier 1958, J. Am. Stat. Assoc. 53:457, section 5; so used by Helsel 2012 and Beal 2010).
        """
        below = self.leftover + np.concatenate([[0.0], np.cumsum(self.mass)[:-1]])
        area = np.cumsum(below * np.diff(self.value, prepend=self.place(leftover)))
        rest = self.at_risk - self.events
        parts = np.divide(area**2 * self.events, self.at_risk * rest, out=np.zeros_like(area), where=rest > 0)
        return float(np.sqrt(self.detects / (self.detects - 1) * parts.sum())) if self.detects > 1 else float("nan")

    def percentile(self, share: float) -> float:
        """Return the value below which *share* (0 to 1) of the distribution lies; NaN when it is not known.

        It is the least detection at which the distribution function reaches *share*, and the middle of two detections
        where the function is exactly *share* between them, so that without non-detects the median is the ordinary
        one. Within the leftover probability it is only known to be below :attr:`lowest_limit`.
        """
        reached = self.leftover + np.cumsum(self.mass)
        if share <= self.leftover + _ROUNDING and self.leftover > 0:
            return float("nan")
        first = min(int(np.searchsorted(reached, share - _ROUNDING)), len(reached) - 1)
        flat = abs(reached[first] - share) <= _ROUNDING and first + 1 < len(reached)
        return float((self.value[first] + self.value[first + 1]) / 2 if flat else self.value[first])

    @property
    def median(self) -> float:
        """The median, in the unit of the results; NaN when it is only known to be below the lowest limit."""
        return self.percentile(0.5)


def kaplan_meier(sample: LeftCensored, least: int = LEAST_DETECTS) -> KaplanMeier | NoStatistic:
    """Return the Kaplan-Meier distribution of results with non-detects.

    Parameters
    ----------
    sample : LeftCensored
        The results of one series, shape (n,).
    least : int
        Detections needed.

    Notes
    -----
    The product-limit estimator takes results that are known from below; results known from above are flipped first
    (Helsel 2012, Statistics for Censored Environmental Data, ch. 6; US EPA 2009, Unified Guidance, EPA 530/R-09-007,
    15.3). Working downward from the highest detection is the same. At a tie the detection counts as the higher one.
    """
    refused = too_few(sample, least)
    if refused is not None:
        return refused
    detections = sample.value[sample.detected]
    value, events = np.unique(detections, return_counts=True)
    at_risk = np.searchsorted(np.sort(sample.value), value, side="right")
    under = np.cumprod((1 - events / at_risk)[::-1])[::-1]
    leftover = float(under[0]) if under[0] > _ROUNDING else 0.0
    return KaplanMeier(
        n=len(sample.value),
        detects=len(detections),
        value=value,
        mass=np.append(under[1:], 1.0) - under,
        at_risk=at_risk.astype(np.int64),
        events=events.astype(np.int64),
        leftover=leftover,
        lowest_limit=float(sample.value.min()),
    )
