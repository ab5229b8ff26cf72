"""Turns results in order of sampling into a control chart for individuals, and into the rules that its points break.

A result is an interval: a non-detect reaches from nothing to its reporting limit. The chart is drawn twice, with every
result at its low end and at its high end, and a rule counts as broken only where both charts break it, so that no
choice of a figure for a non-detect can break one.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from wqcheck.units import tidy

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

SIGMA_FROM_MEAN_RANGE = 1.128
"""d2 of two: mean moving range of a normal sample over its sigma (NIST/SEMATECH e-Handbook, 6.3.2.2)."""

SIGMA_FROM_MEDIAN_RANGE = 0.9539
"""Median moving range of a normal sample over its sigma: √2 · 0.67449, the upper quartile of the normal law."""

RANGE_LIMIT = 3.267
"""D4 of two: upper limit of the moving range over its mean (NIST/SEMATECH e-Handbook, 6.3.2)."""

FEWEST = 8
"""Results from which a chart is drawn; with fewer its limits would mean little (common practice, no source)."""


class Pattern(StrEnum):
    """What a run of points is looked at for."""

    BEYOND = "beyond, on one side"
    STEADY = "steadily rising or falling"
    TURNING = "up and down in turn"
    NEAR = "near the centre"
    FAR = "far from the centre"


class ChartRule(NamedTuple):
    """One test: ``need`` of ``window`` successive points show the pattern, measured at ``sigmas`` from the centre."""

    number: int
    words: str
    pattern: Pattern
    window: int
    need: int
    sigmas: float = 0.0


RULES = (
    ChartRule(1, "a point more than 3 sigma from the centre", Pattern.BEYOND, 1, 1, 3.0),
    ChartRule(2, "9 points in a row on one side of the centre", Pattern.BEYOND, 9, 9),
    ChartRule(3, "6 points in a row steadily rising or falling", Pattern.STEADY, 6, 6),
    ChartRule(4, "14 points in a row going up and down in turn", Pattern.TURNING, 14, 14),
    ChartRule(5, "2 of 3 points more than 2 sigma away on one side", Pattern.BEYOND, 3, 2, 2.0),
    ChartRule(6, "4 of 5 points more than 1 sigma away on one side", Pattern.BEYOND, 5, 4, 1.0),
    ChartRule(7, "15 points in a row within 1 sigma of the centre", Pattern.NEAR, 15, 15, 1.0),
    ChartRule(8, "8 points in a row all more than 1 sigma away", Pattern.FAR, 8, 8, 1.0),
)
"""Tests for assignable causes: Nelson (1984), J. Qual. Technol. 16, 237–239, and ISO 8258:1991, which ISO 7870-2 took
over from (numbers and wording of both from memory; later editions of ISO 7870-2 may keep fewer)."""


class Broken(NamedTuple):
    """One rule broken at one point: place in the series, the rule, and the side (1 above or rising, -1, 0 neither)."""

    place: int
    rule: ChartRule
    side: int


class Lines(NamedTuple):
    """Centre, sigma, both control limits and the limit of the moving range, in the unit of the results."""

    centre: float
    sigma: float
    lower: float
    upper: float
    range_centre: float
    range_upper: float


@dataclass(frozen=True, slots=True, eq=False)
class Chart:
    """A chart with its results at their low ends and at their high ends, and the rules that both break."""

    at_low: Lines
    at_high: Lines
    broken: tuple[Broken, ...]


def lines_of(values: npt.ArrayLike, robust: bool = False) -> Lines:
    """Return centre and limits of a chart for individuals.

    Parameters
    ----------
    values : array_like, shape (n,)
        Results in order of sampling, one unit, none NaN, n ≥ 2.
    robust : bool
        Whether the median of results and of moving ranges is taken instead of their mean: for pH, which is logarithmic
        and is never averaged, and where an outlier is known. Where most results do not move, the mean range counts.

    Notes
    -----
    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2: centre x̄, limits x̄ ± 3 · mean moving range/1.128.
    """
    results = np.asarray(values, dtype=np.float64)
    ranges = np.abs(np.diff(results))
    centre = float(np.median(results) if robust else results.mean())
    middle = float(np.median(ranges)) if robust else 0.0
    sigma = middle / SIGMA_FROM_MEDIAN_RANGE if middle > 0 else float(ranges.mean()) / SIGMA_FROM_MEAN_RANGE
    mean_range = sigma * SIGMA_FROM_MEAN_RANGE
    return Lines(centre, sigma, centre - 3 * sigma, centre + 3 * sigma, mean_range, RANGE_LIMIT * mean_range)


def individuals_chart(
    low: npt.ArrayLike, high: npt.ArrayLike, base: int | None = None, robust: bool = False
) -> Chart | None:
    """Return the chart of results that are intervals.

    Parameters
    ----------
    low, high : array_like, shape (n,)
        Ends of each result in order of sampling, one unit, finite; a detection has two equal ends.
    base : int, optional
        How many of the first results set centre and limits; all by default.
    robust : bool
        See :func:`lines_of`.

    Returns
    -------
    Chart or None
        None with fewer than :data:`FEWEST` results to set the limits.
    """
    ends = [np.asarray(end, dtype=np.float64) for end in (low, high)]
    first = len(ends[0]) if base is None else base
    if first < FEWEST:
        return None
    lines = [lines_of(end[:first], robust) for end in ends]
    broken = [set(broken_rules(end, line)) for end, line in zip(ends, lines, strict=True)]
    both = sorted(broken[0] & broken[1], key=lambda one: (one.place, one.rule.number))
    return Chart(lines[0], lines[1], tuple(both))


def broken_rules(values: Floats, lines: Lines) -> Iterator[Broken]:
    """Yield every rule that the points break, at the last point of each run; none where nothing varies."""
    if not lines.sigma > 0:
        return
    away = tidy((values - lines.centre) / lines.sigma)
    for rule in RULES:
        for side, places in _shown(rule, away):
            yield from (Broken(int(place), rule, side) for place in np.flatnonzero(places))


def _shown(rule: ChartRule, away: Floats) -> Iterator[tuple[int, Bools]]:
    """Yield by side at which points a rule is broken; *away* is in sigmas from the centre, shape (n,)."""
    if rule.pattern == Pattern.NEAR:
        yield 0, _runs(np.abs(away) < rule.sigmas, rule)
    elif rule.pattern == Pattern.FAR:
        yield 0, _runs(np.abs(away) > rule.sigmas, rule)
    elif rule.pattern == Pattern.TURNING:
        step = np.sign(np.diff(away, prepend=np.nan))
        turned = np.concatenate([[False], step[1:] * step[:-1] < 0])  # NaN of the first point turns nothing
        yield 0, _runs(turned, rule, rule.window - 2)
    else:
        for side in (1, -1):
            if rule.pattern == Pattern.STEADY:
                moved = np.diff(away, prepend=np.nan) * side > 0
                yield side, _runs(moved, rule, rule.window - 1)
            else:
                yield side, _runs(away * side > rule.sigmas, rule)


def _runs(shown: Bools, rule: ChartRule, window: int | None = None) -> Bools:
    """Tell where the point itself and enough of those before it show the pattern."""
    length = rule.window if window is None else window
    need = rule.need if window is None else window
    counted = np.convolve(shown, np.ones(length, dtype=np.int64))[: len(shown)]
    enough: Bools = shown & (counted >= need)
    return enough
