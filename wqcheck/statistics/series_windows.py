"""Turns sampling days into the periods that a rule on a series asks for: half-years, and windows of four quarters."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from wqcheck.judging.ranges import Bools, Floats
from wqcheck.statistics.series_rules import QUARTERS, running_annual_average

Days = npt.NDArray[np.datetime64]
ALL_TIME = "no dates"


@dataclass(frozen=True, slots=True, eq=False)
class Window:
    """One period: its name, which of n results it holds (shape (n,)), whether all are dated, quarters with results."""

    name: str
    chosen: Bools
    dated: bool = True
    quarters: int = 0

    @classmethod
    def over(cls, days: Days) -> Window:
        """Return the period from the first to the last of *days*, with every result."""
        known = days[np.isnat(days) == np.False_]
        ends = [np.datetime_as_string(day, unit="D") for day in (known.min(), known.max())] if len(known) else []
        name = " to ".join(dict.fromkeys(ends)) or ALL_TIME
        return cls(name, np.ones(len(days), dtype=np.bool_), dated=len(known) == len(days))


def half_years(days: Days) -> Iterator[Window]:
    """Yield the calendar half-years with results, in order, and the undated results as a window of their own.

    Monitoring periods of six months begin on 1 January and 1 July (40 CFR 141.86(d)(1), from memory). While any result
    is undated no half-year is known to be complete.
    """
    undated = np.isnat(days)
    number = days.astype("datetime64[M]").astype(np.int64) // 6
    for half in np.unique(number[undated == np.False_]).tolist():
        year = 1970 + half // 2
        name = f"{year}-07 to {year}-12" if half % 2 else f"{year}-01 to {year}-06"
        yield Window(name, (undated == np.False_) & (number == half), dated=not undated.any())
    if undated.any():
        yield Window(ALL_TIME, undated, dated=False)


def running_years(days: Days, low: Floats, high: Floats) -> Iterator[tuple[Window, float, float]]:
    """Yield each window of four calendar quarters that ends in a quarter with results, and the ends of its average.

    The lower end takes a quarter without results as nothing; both are averages of quarterly averages. Undated results
    belong to no quarter: they make one window of their own, whose average can be anything.
    """
    undated = np.isnat(days)
    dated = undated == np.False_
    if dated.any():
        least = running_annual_average(days[dated], low[dated])
        most = running_annual_average(days[dated], np.where(np.isfinite(high), high, 0.0)[dated])
        quarter = days.astype("datetime64[M]").astype(np.int64) // 3
        for place in np.flatnonzero(least.n > 0).tolist():
            last = int(least.quarter[place].astype(np.int64)) // 3
            chosen = dated & (quarter <= last) & (quarter > last - QUARTERS)
            name = f"four quarters to {1970 + last // 4} Q{last % 4 + 1}"
            window = Window(name, chosen, dated=not undated.any(), quarters=int(least.quarters[place]))
            bounded = bool(np.isfinite(high[chosen]).all())
            yield window, float(least.at_least[place]), float(most.running_average[place]) if bounded else np.inf
    if undated.any():
        yield Window(ALL_TIME, undated, dated=False), 0.0, np.inf
