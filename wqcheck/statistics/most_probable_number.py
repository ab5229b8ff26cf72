"""Turns the positive tubes of a dilution series into the most probable number of organisms per 100 mL."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq
from scipy.special import ndtri

from wqcheck.tables import Sign

Floats = npt.NDArray[np.float64]

PER_ML = 100.0


@dataclass(frozen=True, slots=True)
class MostProbableNumber:
    """A most probable number.

    Attributes
    ----------
    sign : Sign
        ``<`` when no tube was positive, ``>`` when all were; the value is then that of the next tube.
    value : float
        Organisms per 100 mL.
    log_error : float
        Standard error of the natural logarithm of the value; NaN with a sign.
    """

    sign: Sign
    value: float
    log_error: float

    def limits(self, confidence: float = 0.95) -> tuple[float, float]:
        """Return two-sided confidence limits per 100 mL, normal on the log scale; NaN with a sign.

        (Haldane 1939, J. Hyg. 39:289; Jarvis, Wilrich and Wilrich 2010, J. Appl. Microbiol. 109:1660.)
        """
        reach = float(ndtri((1 + confidence) / 2)) * self.log_error
        return float(self.value * np.exp(-reach)), float(self.value * np.exp(reach))


def most_probable_number(
    volumes_ml: Sequence[float], tubes: Sequence[int], positive: Sequence[int]
) -> MostProbableNumber:
    """Return the number of organisms per 100 mL under which the positive tubes are most likely.

    Parameters
    ----------
    volumes_ml : sequence of float
        Volume in each tube of a dilution, mL of the undiluted sample.
    tubes, positive : sequence of int
        Tubes of each dilution, and how many of them were positive.

    Raises
    ------
    ValueError
        The lengths differ, a volume is not above 0, more tubes were positive than there were, or there was only one.

    Notes
    -----
    The density λ solves ``Σ g v / (1 - exp(-λ v)) = Σ n v`` (US FDA, Bacteriological Analytical Manual, Appendix 2,
    2010; Standard Methods 9221 C). Without a positive tube the value is below that of one positive tube of the
    smallest volume, with all positive above that of one negative tube of the smallest volume, as tables print it.
    """
    volume = np.asarray(volumes_ml, dtype=np.float64)
    number, found = np.asarray(tubes, dtype=np.int64), np.asarray(positive, dtype=np.int64)
    if not (volume.shape == number.shape == found.shape and volume.ndim == 1 and len(volume)):
        raise ValueError(f"one volume, number and positive count per dilution, got {volume}, {number}, {found}")
    if not ((volume > 0) & (found >= 0) & (found <= number) & (number > 0)).all():
        raise ValueError(f"volumes above 0 and 0 <= positive <= tubes, got {volume}, {number}, {found}")
    if number.sum() == 1:
        raise ValueError("one tube alone shows presence or absence and gives no number")
    smallest = np.arange(len(volume)) == np.argmin(volume)
    if found.sum() == 0:
        return MostProbableNumber(Sign.LESS, PER_ML * _density(volume, number, found + smallest), float("nan"))
    if (found == number).all():
        return MostProbableNumber(Sign.GREATER, PER_ML * _density(volume, number, found - smallest), float("nan"))
    density = _density(volume, number, found)
    spread = (number * volume**2 / np.expm1(density * volume)).sum() * density**2
    return MostProbableNumber(Sign.EQUAL, PER_ML * density, float(1 / np.sqrt(spread)))


def _density(volume: Floats, number: npt.NDArray[np.int64], found: npt.NDArray[np.int64]) -> float:
    """Return the density per mL at which the likelihood of some, but not all, tubes positive is highest."""
    total = float(number @ volume)

    def slope(log_density: float) -> float:
        grown = -np.expm1(-np.exp(log_density) * volume)
        return float((found * volume / grown).sum()) - total

    least = np.log(found.sum() / total) - 1
    most = np.log(700 / volume.min())
    return float(np.exp(brentq(slope, least, most, xtol=1e-13)))
