"""Turns readings of filters, carbon and cartridges before the membranes into their working figures and triggers.

All functions take arrays of one shape or numbers. Trigger values are arguments: the makers' own prevail.
"""

from __future__ import annotations

from enum import StrEnum
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from wqcheck.quantities import PSI
from wqcheck.units import tidy

Floats = npt.NDArray[np.float64]

HIGHEST_SDI = 5.0  # 15-minute index of a feed to spiral-wound membranes (common practice; the maker's own prevails)
MOST_PLUGGING = 75.0  # %, ASTM D4189: above it a shorter run is asked for
CHANGE_OUT = (float(tidy(8 * PSI)), float(tidy(10 * PSI)))
"""8 and 10 psi over a cartridge filter, in kPa (common practice, no source)."""
_FLAT = 1e-9  # of the drop per day: rounding of the fit
CLEANING = {"flow": -0.10, "passage": 0.10, "passage_watch": 0.05, "differential": 0.15}
"""Change since the baseline, as a fraction, at which membranes are cleaned (common practice, no source)."""


class SiltDensity(NamedTuple):
    """Plugging in percent, the index in percent per minute, and whether the run may be reported (plugging ≤ 75 %)."""

    plugging: Floats
    sdi: Floats
    reportable: npt.NDArray[np.bool_]


class State(StrEnum):
    """What a trigger says."""

    FINE = "within"
    WATCH = "plan it"
    DUE = "act on it"
    UNKNOWN = "not known"


class Trend(NamedTuple):
    """Straight line through pressure drops: kPa per day, and days from the last reading to the limit.

    ``days`` is 0 when the limit is passed, infinity when the drop does not rise, NaN with fewer than two days.
    """

    slope: float
    days: float


def silt_density(first: npt.ArrayLike, last: npt.ArrayLike, minutes: npt.ArrayLike = 15.0) -> SiltDensity:
    """Return the silt density index of a run, ASTM D4189.

    Parameters
    ----------
    first, last : array_like
        Seconds to collect the same volume at the start and after *minutes*, at 207 kPa through 0.45 µm.
    minutes : array_like
        Length of the run, 15 (or 10, 5 for heavy water).

    Returns
    -------
    SiltDensity
        (1 − first/last)·100 and that over *minutes*. No 15-minute index can pass 6.67, and above 75 % plugging it
        may not be reported: the run is repeated over 10 or 5 minutes. NaN for times that are not above zero.
    """
    start, end = np.asarray(first, dtype=np.float64), np.asarray(last, dtype=np.float64)
    usable = (start > 0) & (end >= start)
    plugging = np.where(usable, (1 - start / np.where(usable, end, 1.0)) * 100, np.nan)
    return SiltDensity(plugging, plugging / np.asarray(minutes, dtype=np.float64), plugging <= MOST_PLUGGING)


def empty_bed_contact_time(bed_volume: npt.ArrayLike, flow: npt.ArrayLike) -> Floats:
    """Return minutes that water stays in an empty bed of m³ at m³/h; NaN without flow."""
    return _over(60 * np.asarray(bed_volume, dtype=np.float64), flow)


def loading_rate(flow: npt.ArrayLike, area: npt.ArrayLike) -> Floats:
    """Return filter loading in m/h: flow in m³/h over bed area in m²."""
    return _over(flow, area)


def change_out_state(drop: npt.ArrayLike, limits: tuple[float, float] = CHANGE_OUT) -> npt.NDArray[np.str_]:
    """Return whether cartridges are due at a pressure drop in kPa: planned from the first limit, due from the second.

    A drop that is not known or negative is ``not known``, never ``within``.
    """
    kpa = tidy(drop)
    told = [kpa >= limits[1], kpa >= limits[0], kpa >= 0]
    return np.select(told, [State.DUE, State.WATCH, State.FINE], State.UNKNOWN).astype(np.str_)


def days_to_change_out(days: npt.ArrayLike, drops: npt.ArrayLike, limit: float = CHANGE_OUT[1]) -> Trend:
    """Return when a straight line through the pressure drops reaches *limit*.

    Parameters
    ----------
    days, drops : array_like
        Shape (n,): day of each reading since any day, and pressure drop in kPa at one flow. NaN readings are left out.
    limit : float
        kPa.

    Returns
    -------
    Trend
        Least squares. The line is carried on as far as it goes: clogging speeds up near its end, so read it as the
        longest time.
    """
    at, drop = np.asarray(days, dtype=np.float64), np.asarray(drops, dtype=np.float64)
    known = np.isfinite(at) & np.isfinite(drop)
    at, drop = at[known], drop[known]
    if np.unique(at).size < 2:
        return Trend(np.nan, np.nan)
    slope, start = np.polyfit(at, drop, 1)
    latest = float(drop[np.argmax(at)])
    if latest >= limit:
        return Trend(float(slope), 0.0)
    if slope <= _FLAT * max(1.0, float(np.abs(drop).max())):
        return Trend(float(slope), np.inf)
    return Trend(float(slope), max(0.0, float((limit - start) / slope - at.max())))


def cleaning_states(
    flow: npt.ArrayLike, passage: npt.ArrayLike, differential: npt.ArrayLike, triggers: dict[str, float] | None = None
) -> dict[str, npt.NDArray[np.str_]]:
    """Return for each figure whether its change since the baseline calls for cleaning.

    Parameters
    ----------
    flow, passage, differential : array_like
        Change of normalised permeate flow, standardised salt passage and normalised differential pressure, as
        fractions (−0.1 is 10 % less).
    triggers : dict[str, float], optional
        As :data:`CLEANING`.

    Returns
    -------
    dict[str, ndarray]
        ``flow``, ``passage``, ``differential`` → words of :class:`State`; a change that is not known is ``not known``.
    """
    limits = CLEANING | (triggers or {})
    risen = np.asarray(passage, dtype=np.float64)
    return {
        "flow": _state(-np.asarray(flow, dtype=np.float64), -limits["flow"], -limits["flow"]),
        "passage": _state(risen, limits["passage_watch"], limits["passage"]),
        "differential": _state(np.asarray(differential, dtype=np.float64), *[limits["differential"]] * 2),
    }


def _state(change: Floats, watch: float, due: float) -> npt.NDArray[np.str_]:
    rounded = np.round(change, 12)
    told = [rounded >= due, rounded >= watch, np.isfinite(rounded)]
    return np.select(told, [State.DUE, State.WATCH, State.FINE], State.UNKNOWN).astype(np.str_)


def _over(part: npt.ArrayLike, whole: npt.ArrayLike) -> Floats:
    bottom = np.asarray(whole, dtype=np.float64)
    return np.asarray(np.asarray(part, dtype=np.float64) / np.where(bottom > 0, bottom, np.nan))
