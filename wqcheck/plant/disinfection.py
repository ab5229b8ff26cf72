"""Turns doses, residuals and contact times of disinfection into the credit that United States tables give for them.

A credit is what a regulation grants for a validated reactor or a calculated contact time. It is not a demonstrated
removal: only counts before and after show that. The tables are for surface water under 40 CFR 141; the local regulator
decides what counts here.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

UV_CREDITS = (0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0)
UV_DOSES = {
    "cryptosporidium": (1.6, 2.5, 3.9, 5.8, 8.5, 12.0, 15.0, 22.0),
    "giardia": (1.5, 2.1, 3.0, 5.2, 7.7, 11.0, 15.0, 22.0),
    "virus": (39.0, 58.0, 79.0, 100.0, 121.0, 143.0, 163.0, 186.0),
}
"""Validated dose in mJ/cm² for each log credit: 40 CFR 141.720(d)(1), low-pressure lamps, filtered water."""

CT_TEMPERATURES = (0.5, 5.0, 10.0, 15.0, 20.0, 25.0)  # °C; the first column is for 0.5 or below (1 or below in some)
CT_TABLES = {
    ("giardia", "chlorine dioxide"): (3, (63.0, 26.0, 23.0, 19.0, 15.0, 11.0)),
    ("giardia", "ozone"): (3, (2.9, 1.9, 1.4, 0.95, 0.72, 0.48)),
    ("giardia", "chloramine"): (3, (3800.0, 2200.0, 1850.0, 1500.0, 1100.0, 750.0)),
    ("virus", "free chlorine"): (4, (12.0, 8.0, 6.0, 4.0, 3.0, 2.0)),
    ("virus", "ozone"): (4, (1.8, 1.2, 1.0, 0.6, 0.5, 0.3)),
    ("virus", "chlorine dioxide"): (4, (50.1, 33.4, 25.1, 16.7, 12.5, 8.4)),
    ("virus", "chloramine"): (4, (2883.0, 1988.0, 1491.0, 994.0, 746.0, 497.0)),
}
"""Log inactivation and its CT in mg·min/L at each temperature: 40 CFR 141.74(b)(3)(v) and EPA guidance manual 1991,
App. E, written from memory but for the cells that the tests check. pH 6 to 9; ozone and chloramine as there stated.
"""
MOST_CREDIT = {"giardia": 3.0, "virus": 4.0}
BAFFLING = {"unbaffled": 0.1, "poor": 0.3, "average": 0.5, "superior": 0.7, "perfect": 1.0}
"""T10/T of a tank by its baffles, EPA Disinfection Profiling and Benchmarking manual."""


class Inactivation(NamedTuple):
    """Ratio of the CT given to the CT asked, the log10 inactivation it stands for, and the credit, which is capped."""

    ratio: Floats
    log: Floats
    credit: Floats


def uv_dose(intensity: npt.ArrayLike, seconds: npt.ArrayLike) -> Floats:
    """Return dose in mJ/cm² of mW/cm² over seconds; the mean intensity in the reactor, not the sensor's."""
    return np.multiply(intensity, seconds, dtype=np.float64)


def uv_credit(dose: npt.ArrayLike, target: str) -> Floats:
    """Return the log credit of a validated dose.

    Parameters
    ----------
    dose : array_like
        mJ/cm², validated reduction-equivalent dose after its uncertainty.
    target : str
        ``cryptosporidium``, ``giardia`` or ``virus``.

    Returns
    -------
    Floats
        The highest credit whose dose is reached (no interpolation), 0 below the first, 4 at most; NaN for NaN.
    """
    given = np.asarray(dose, dtype=np.float64)
    rows = np.searchsorted(UV_DOSES[target], given, side="right")
    credits = np.concatenate([[0.0], UV_CREDITS])
    return np.where(np.isfinite(given), credits[np.minimum(rows, len(UV_CREDITS))], np.nan)


def required_uv_dose(credit: npt.ArrayLike, target: str) -> Floats:
    """Return the validated dose in mJ/cm² for a log credit, the next higher row; NaN above 4 and for NaN."""
    asked = np.asarray(credit, dtype=np.float64)
    rows = np.searchsorted(UV_CREDITS, asked, side="left")
    doses = np.append(UV_DOSES[target], np.nan)
    return np.where(asked > 0, doses[rows], np.where(asked == 0, 0.0, np.nan))


def contact_time(volume: npt.ArrayLike, flow: npt.ArrayLike, baffling: npt.ArrayLike) -> Floats:
    """Return minutes that 90 % of the water stays: m³ over m³/h, times T10/T (see :data:`BAFFLING`); NaN without flow.

    Take the lowest level and the highest hourly flow.
    """
    rate = np.asarray(flow, dtype=np.float64)
    return np.asarray(60 * np.multiply(volume, baffling, dtype=np.float64) / np.where(rate > 0, rate, np.nan))


def giardia_ct_free_chlorine(
    log: npt.ArrayLike, residual: npt.ArrayLike, temperature: npt.ArrayLike, ph: npt.ArrayLike
) -> Floats:
    """Return CT in mg·min/L for a log inactivation of *Giardia* by free chlorine.

    Parameters
    ----------
    log, residual, temperature, ph : array_like
        log10 inactivation asked; mg/L Cl₂ at the end of the segment; °C; pH.

    Returns
    -------
    Floats
        Regression of Smith, Clark, Pierce & Regli (1995), which EPA's manual adopts in place of its table; within 10 %
        of it. Residuals below 0.4 and temperatures below 0.5 are taken as these, temperatures above 25 as 25, pH below
        6 as 6. NaN above pH 9 and above 4 mg/L, which it does not cover.
    """
    chlorine = np.maximum(np.asarray(residual, dtype=np.float64), 0.4)
    warmth = np.clip(np.asarray(temperature, dtype=np.float64), 0.5, 25.0)
    reaction = np.maximum(np.asarray(ph, dtype=np.float64), 6.0)
    cold = 0.353 * (12.006 + np.exp(2.46 - 0.073 * warmth + 0.125 * chlorine + 0.389 * reaction))
    warm = 0.361 * (-2.261 + np.exp(2.69 - 0.065 * warmth + 0.111 * chlorine + 0.361 * reaction))
    covered = (reaction <= 9) & (chlorine <= 4)
    return np.asarray(log * np.where(covered, np.where(warmth < 12.5, cold, warm), np.nan))


def required_ct(target: str, disinfectant: str, temperature: npt.ArrayLike) -> Floats:
    """Return the CT in mg·min/L of a table for its own log inactivation, at the next lower temperature given there."""
    _, values = CT_TABLES[target, disinfectant]
    warmth = np.asarray(temperature, dtype=np.float64)
    column = np.maximum(np.searchsorted(CT_TEMPERATURES, warmth, side="right") - 1, 0)
    return np.where(np.isfinite(warmth), np.asarray(values)[column], np.nan)


def inactivation(given: npt.ArrayLike, required: npt.ArrayLike, target: str) -> Inactivation:
    """Return what CT values of successive segments are worth, 40 CFR 141.534.

    Parameters
    ----------
    given, required : array_like
        Shape (n,), one per segment: CT reached and CT for the target's full credit (3 log *Giardia*, 4 log virus), in
        mg·min/L. A segment whose requirement is not known makes the whole not known.
    target : str
        ``giardia`` or ``virus``.

    Returns
    -------
    Inactivation
        Σ given/required; 3 or 4 times it; and the credit, which never passes 3 or 4.
    """
    ratio = np.sum(np.atleast_1d(np.asarray(given, dtype=np.float64) / np.asarray(required, dtype=np.float64)))
    log = MOST_CREDIT[target] * ratio
    return Inactivation(np.asarray(ratio), np.asarray(log), np.minimum(log, MOST_CREDIT[target]))
