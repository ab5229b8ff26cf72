"""The trend of a pressure drop is robust, has an interval, and says how many days are left."""

from __future__ import annotations

from itertools import combinations
from statistics import median

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wqcheck.plant.pretreatment import days_to_change_out
from wqcheck.plant.service import days_left, robust_trend


def test_slope_of_the_published_example() -> None:
    """Sen (1968), J. Am. Stat. Assoc. 63, 1379-1389, section 6, from memory: slope 4, 93 % interval 26/7 to 35/8.

    The line through the medians meets 4 at day 0.
    """
    days, values = [1, 2, 3, 4, 10, 12, 18], [9, 15, 19, 20, 45, 55, 78]
    trend = robust_trend(days, values, 0.93)
    assert trend.slope == pytest.approx(4)
    assert trend.start == pytest.approx(4)
    assert trend.low == pytest.approx(26 / 7)
    assert trend.high == pytest.approx(35 / 8)


def test_one_odd_reading_does_not_move_the_line() -> None:
    """Helsel et al. (2020), USGS Techniques and Methods 4-A3, 10.1, from memory: 1, 2, 3, 4, 5, 16, 7 rise by 1."""
    assert robust_trend(range(1, 8), [1, 2, 3, 4, 5, 16, 7]).slope == pytest.approx(1)


@given(st.lists(st.tuples(st.integers(0, 60), st.floats(0, 100)), min_size=2, max_size=12))
def test_slope_is_the_median_of_all_pairwise_slopes(readings: list[tuple[int, float]]) -> None:
    days, drops = zip(*readings, strict=True)
    slopes = [(b - a) / (t - s) for (s, a), (t, b) in combinations(readings, 2) if s != t]
    trend = robust_trend(days, drops)
    assert trend.slope == pytest.approx(median(slopes)) if slopes else np.isnan(trend.slope)


def test_days_left_agree_with_the_least_squares_line_where_the_readings_lie_on_one() -> None:
    """2 psi and 0.1 psi a day reach 10 psi 80 days after the start, 52 after the reading of day 28 (by hand)."""
    days = np.arange(0, 29, 7)
    line, least, most = days_left(days, 2 + 0.1 * days, 10.0)
    assert line == pytest.approx(52) == pytest.approx(days_to_change_out(days, 2 + 0.1 * days, 10.0).days)
    assert least == pytest.approx(52)
    assert most == pytest.approx(52)


def test_days_left_where_nothing_can_be_told() -> None:
    assert all(np.isnan(days_left([1], [2.0], 10.0)))
    assert days_left([0, 7, 14, 21], [2.0, 2.0, 2.0, 2.0], 10.0)[0] == np.inf
    assert days_left([0, 7], [2.0, 11.0], 10.0) == (0, 0, 0)
    line, least, most = days_left([0, 7], [2.0, 4.0], 10.0)
    assert line == pytest.approx(21)
    assert np.isnan(least)
    assert np.isnan(most)
