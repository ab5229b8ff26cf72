"""Turns results with non-detects into the bounds of their sum or mean: non-detects as nothing, half and all of a limit.

The true sum of the results lies between the lower and the upper bound; no convention narrows that.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from wqcheck.units import tidy

Floats = npt.NDArray[np.float64]


class SumBounds(NamedTuple):
    """Lower, middle and upper bound, in the unit of the results; arrays of the shape of the sums."""

    lower: Floats
    middle: Floats
    upper: Floats


class ReportedMean(NamedTuple):
    """A mean as Directive 2009/90/EC has it reported: the value, and whether it is *less than* ``limit``."""

    value: float
    below_limit: bool
    limit: float


def sum_bounds(values: npt.ArrayLike, detected: npt.ArrayLike, weights: npt.ArrayLike = 1.0) -> SumBounds:
    """Return the bounds of weighted sums over the last axis.

    Parameters
    ----------
    values : array_like, shape (..., members)
        Results, or reporting limits of non-detects, one unit. A NaN member makes its sum unknown.
    detected : array_like of bool, shape (..., members)
        Whether each is a detection.
    weights : array_like, shape (members,) or scalar
        Factors, at least 0, such as toxic equivalents.

    Notes
    -----
    Lower, medium and upper bound as in Commission Regulation (EU) 2017/644, Annex I: non-detects as zero, half the
    limit of quantification, and the limit (the annex by memory).
    """
    terms = np.asarray(values, dtype=np.float64) * np.asarray(weights, dtype=np.float64)
    found = np.asarray(detected, dtype=np.bool_)
    return SumBounds(*(tidy(np.where(found, terms, share * terms).sum(axis=-1)) for share in (0.0, 0.5, 1.0)))


def directive_sum(values: npt.ArrayLike, detected: npt.ArrayLike) -> Floats:
    """Return sums over the last axis in which a non-detect counts as zero (Directive 2009/90/EC, Article 5(3))."""
    return sum_bounds(values, detected).lower


def directive_mean(values: npt.ArrayLike, detected: npt.ArrayLike) -> ReportedMean:
    """Return the mean in which a non-detect counts as half its limit of quantification.

    Parameters
    ----------
    values, detected : array_like, shape (n,)
        Results of one substance (limits of quantification where not detected), n at least 1.

    Notes
    -----
    Directive 2009/90/EC, Article 5(1); under 5(2) a mean below the limit of quantification is reported as less than
    it. Of several limits the highest is taken here, which the article leaves open.
    """
    value, found = np.asarray(values, dtype=np.float64), np.asarray(detected, dtype=np.bool_)
    mean = float(tidy(sum_bounds(value, found).middle / len(value)))
    limit = float(value[~found].max()) if (~found).any() else float("nan")
    return ReportedMean(mean, mean < limit, limit)
