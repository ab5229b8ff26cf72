"""Turns pressure drops over time into a robust trend with its interval, and into the days that cartridges have left."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy import stats

from wqcheck.plant.figures import PRACTICE, Figure
from wqcheck.plant.pretreatment import CHANGE_OUT
from wqcheck.plant.readings import PlantReadings
from wqcheck.quantities import in_both_systems

CONFIDENCE = 0.95
FEWEST = 4
"""Readings from which the interval of a trend is given; below that it would say nothing."""


class RobustTrend(NamedTuple):
    """Median of the pairwise slopes per day, its interval, and the line at day 0 (unit of the readings)."""

    slope: float
    low: float
    high: float
    start: float


def robust_trend(days: npt.ArrayLike, values: npt.ArrayLike, confidence: float = CONFIDENCE) -> RobustTrend:
    """Return the Theil–Sen line through readings; one odd reading does not move it.

    Parameters
    ----------
    days, values : array_like
        Shape (n,); NaN readings are left out.
    confidence : float
        Of the interval, as a fraction.

    Returns
    -------
    RobustTrend
        NaN with fewer than two days; the interval is NaN with fewer than :data:`FEWEST` readings.

    Notes
    -----
    Sen (1968), J. Am. Stat. Assoc. 63, 1379–1389; Helsel et al. (2020), USGS Techniques and Methods 4-A3, 10.1. The
    line goes through the medians of days and values (Conover 1999).
    """
    at, read = np.asarray(days, dtype=np.float64), np.asarray(values, dtype=np.float64)
    known = np.isfinite(at) & np.isfinite(read)
    at, read = at[known], read[known]
    if np.unique(at).size < 2:
        return RobustTrend(np.nan, np.nan, np.nan, np.nan)
    with np.errstate(invalid="ignore"):  # many ties leave no interval: it is not known
        found = stats.theilslopes(read, at, confidence)
    ends = (float(found.low_slope), float(found.high_slope)) if at.size >= FEWEST else (np.nan, np.nan)
    return RobustTrend(float(found.slope), *ends, float(found.intercept))


def days_left(days: npt.ArrayLike, drops: npt.ArrayLike, limit: float = CHANGE_OUT[1]) -> tuple[float, float, float]:
    """Return the days from the last reading until the trend reaches *limit*: by the line, at the least, at the most.

    0 where the last reading is there already; infinity where the line does not rise; NaN where it is not known.
    """
    at, drop = np.asarray(days, dtype=np.float64), np.asarray(drops, dtype=np.float64)
    trend = robust_trend(at, drop)
    if np.isnan(trend.slope):
        return np.nan, np.nan, np.nan
    last = float(np.nanmax(at))
    if float(drop[np.nanargmax(at)]) >= limit:
        return 0.0, 0.0, 0.0
    room = limit - (trend.start + trend.slope * last)
    line, least, most = (_days(room, slope) for slope in (trend.slope, trend.high, trend.low))
    return line, least, most


def _days(room: float, slope: float) -> float:
    if np.isnan(slope):
        return np.nan
    return max(0.0, room / slope) if slope > 0 else np.inf


def service_figures(readings: PlantReadings, change_out: float = CHANGE_OUT[1]) -> tuple[Figure, ...]:
    """Return the trend of the cartridge pressure drop and the days left, with the interval of both.

    ``change_out`` is the drop in kPa at which cartridges are changed.
    """
    if not readings.cartridges:
        return ()
    at, drops = np.array(readings.cartridges).T
    trend = robust_trend(at, drops)
    line, least, most = days_left(at, drops, change_out)
    rise = f"95 % interval {_shown_slope(trend.low)} to {_shown_slope(trend.high)} a day; {len(at)} readings"
    span = f"95 % interval {_shown(least)} to {_shown(most)} days; clogging speeds up near its end"
    return (
        Figure("rise of the cartridge pressure drop a day", trend.slope, "pressure", "median of pairwise slopes",
               "Sen (1968)", "", rise),
        Figure("days to cartridge change-out, robust", line if np.isfinite(line) else np.nan, "number",
               "(limit − line)/slope", PRACTICE, "", "the drop does not rise" if np.isinf(line) else span),
    )  # fmt: skip


def _shown_slope(slope: float) -> str:
    return in_both_systems(float(f"{slope:.3g}"), "pressure")


def _shown(days: float) -> str:
    return "no end" if np.isinf(days) else "not known" if np.isnan(days) else f"{days:.0f}"
