"""Percentiles, running averages, shares and sums follow the regulation or handbook that names each."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.table_rows import readings_of
from wqcheck.judging.ranges import own_ranges
from wqcheck.statistics.censored import LeftCensored
from wqcheck.statistics.rounding import Tie, round_to_place
from wqcheck.statistics.series_rules import (
    NonDetects,
    Rank,
    compliant_share,
    lead_and_copper_percentile,
    percentile,
    running_annual_average,
)
from wqcheck.statistics.sum_bounds import directive_mean, directive_sum, sum_bounds

WAFERS = [
    *(95.1772, 95.1567, 95.1937, 95.1959, 95.1442, 95.0610, 95.1591, 95.1195, 95.1065, 95.0925, 95.1990, 95.1682),
]
"""NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.2, percentiles (from memory)."""

VALUES = st.lists(st.integers(0, 10_000).map(lambda hundredths: hundredths / 100), min_size=1, max_size=60)


def test_the_90th_percentile_of_ten_samples_is_the_ninth() -> None:
    """40 CFR 141.80(c)(3)(i) to (iii); data of a state's handout, whose later steps copy 0.015 as 0.012."""
    lead = [0.020, 0.010, 0.006, 0.005, 0.000, 0.015, 0.006, 0.005, 0.002, 0.000]
    assert {lead_and_copper_percentile(lead, rank) for rank in (Rank.UP, Rank.NEAREST, Rank.BETWEEN)} == {0.015}


def test_the_90th_percentile_of_five_samples_is_the_mean_of_the_two_highest() -> None:
    """40 CFR 141.80(c)(3)(iv); data and result 0.014 of the same handout."""
    assert lead_and_copper_percentile([0.008, 0.006, 0.020, 0.000, 0.001]) == 0.014


@pytest.mark.parametrize("values", [[3.0], [1.0, 3.0], [3.0, 2.0, 1.0], [1.0, 2.0, 3.0, 0.0]])
def test_the_90th_percentile_of_fewer_than_five_samples_is_the_highest(values: list[float]) -> None:
    """40 CFR 141.80(c)(3)(v)."""
    assert lead_and_copper_percentile(values) == 3.0


@pytest.mark.parametrize(
    ("n", "nearest", "up", "between"),
    [(6, 5, 6, 5.4), (7, 6, 7, 6.3), (9, 8, 9, 8.1), (15, 14, 14, 13.5), (20, 18, 18, 18), (25, 23, 23, 22.5)],
)
def test_a_position_that_is_no_whole_number_follows_the_convention_asked_for(
    n: int, nearest: int, up: int, between: float
) -> None:
    """0.9 n by hand; to the nearest, 0.5 and more up: state handout. The regulation is silent."""
    ranks = np.arange(1, n + 1)
    assert lead_and_copper_percentile(ranks, Rank.NEAREST) == nearest
    assert lead_and_copper_percentile(ranks, Rank.UP) == up
    assert lead_and_copper_percentile(ranks, Rank.BETWEEN) == pytest.approx(between)


@pytest.mark.parametrize(("rank", "expected"), [(Rank.WEIBULL, 95.1981), (Rank.LINEAR, 95.1957)])
def test_percentiles_of_the_handbook(rank: Rank, expected: float) -> None:
    """NIST/SEMATECH e-Handbook 7.2.6.2: 95.1981, and 95.1957 the way of spreadsheets (from memory)."""
    assert percentile(WAFERS, 0.9, rank) == pytest.approx(expected, abs=5e-5)


@settings(max_examples=40, deadline=None)
@given(VALUES, st.sampled_from([0.05, 0.25, 0.5, 0.75, 0.9, 0.95, 0.98]))
def test_percentiles_agree_with_numpy(values: list[float], share: float) -> None:
    """Reference: numpy.quantile, definitions 1, 4, 5, 6 and 7 of Hyndman and Fan (1996)."""
    pairs = {
        Rank.UP: "inverted_cdf",
        Rank.BETWEEN: "interpolated_inverted_cdf",
        Rank.HAZEN: "hazen",
        Rank.WEIBULL: "weibull",
        Rank.LINEAR: "linear",
    }
    for rank, method in pairs.items():
        assert percentile(values, share, rank) == pytest.approx(np.quantile(values, share, method=method))  # type: ignore[call-overload]


@settings(max_examples=40, deadline=None)
@given(VALUES, st.sampled_from(list(Rank)))
def test_percentiles_rise_with_the_share_and_stay_among_the_results(values: list[float], rank: Rank) -> None:
    found = [percentile(values, share, rank) for share in np.linspace(0, 1, 41)]
    assert (np.diff(found) >= 0).all()
    assert min(values) <= found[0]
    assert found[-1] == max(values)


@settings(max_examples=40, deadline=None)
@given(VALUES)
def test_rounding_the_position_up_never_gives_the_lower_90th_percentile(values: list[float]) -> None:
    up = lead_and_copper_percentile(values)
    assert all(lead_and_copper_percentile(values, rank) <= up for rank in (Rank.NEAREST, Rank.BETWEEN))


def test_no_results_have_no_percentile() -> None:
    assert np.isnan(lead_and_copper_percentile([]))


def test_running_annual_average_of_trihalomethanes() -> None:
    """New York State Department of Health, Annual Water Quality Report guidance, Appendix B: 73, 74, 73, 74 µg/L."""
    quarterly = [55, 125, 65, 45, 60, 120, 70]
    days = pd.date_range("1998-05-15", periods=7, freq="QS-APR") + pd.Timedelta(days=20)
    found = running_annual_average(days, quarterly)
    assert found.running_average[3:].tolist() == [72.5, 73.75, 72.5, 73.75]
    assert found.quarters.tolist() == [1, 2, 3, 4, 4, 4, 4]
    printed = [round_to_place(str(value), "1", Tie.UP) for value in found.running_average[3:]]
    assert printed == [Decimal(73), Decimal(74), Decimal(73), Decimal(74)]


def test_a_quarter_counts_once_however_many_samples_it_has() -> None:
    """40 CFR 141.133(b)(1)(i): the average of quarterly averages."""
    days = ["2026-01-05", "2026-01-19", "2026-02-02", "2026-04-07", "2026-07-07", "2026-10-06"]
    found = running_annual_average(np.array(days, dtype="datetime64[D]"), [90, 90, 90, 30, 30, 30])
    assert found.running_average[-1] == 45
    assert found.n.tolist() == [3, 1, 1, 1]


def test_a_quarter_without_samples_is_left_out_and_seen() -> None:
    """US EPA (2001), EPA 816-R-01-012: the available quarters count; above the limit already, nothing can mend it."""
    days = np.array(["2025-02-01", "2025-05-01", "2025-11-01"], dtype="datetime64[D]")
    found = running_annual_average(days, [100, 80, 180])
    assert found.quarter.astype(str).tolist() == ["2025-01", "2025-04", "2025-07", "2025-10"]
    assert np.isnan(found.average[2])
    assert found.quarters[-1] == 3
    assert found.running_average[-1] == 120
    assert found.at_least[-1] == 90


def test_non_detects_count_as_the_rule_says() -> None:
    of = LeftCensored(np.array([2.0, 4.0, 5.0]), np.array([False, False, True]))
    assert NonDetects.ZERO.counted(of).tolist() == [0, 0, 5]
    assert NonDetects.HALF.counted(of).tolist() == [1, 2, 5]
    assert NonDetects.LIMIT.counted(of).tolist() == [2, 4, 5]


def test_the_compliant_share_leaves_undecidable_results_open() -> None:
    """By hand: 2 meet 10, 1 does not, ``<20`` and ``not done`` may or may not."""
    signs = [("=", 9.0), ("=", 10.0), ("=", 10.5), ("<", 20.0), ("not done", None)]
    readings = readings_of(
        [{"parameter": "lead", "sign": sign, "value": value, "unit": "µg/L"} for sign, value in signs]
    )
    share = compliant_share(own_ranges(readings), "max", float("nan"), 10.0)
    assert (share.passed, share.failed, share.undetermined) == (2, 1, 2)
    assert share.low == 0.4
    assert share.high == 0.8


MEMBERS = st.lists(st.tuples(st.integers(0, 9999), st.booleans(), st.integers(0, 100)), min_size=1, max_size=20)


@given(MEMBERS)
def test_bounds_of_a_sum_are_in_order_and_differ_by_the_limits(members: list[tuple[int, bool, int]]) -> None:
    values, detected, weights = (list(part) for part in zip(*members, strict=True))
    found = sum_bounds(values, detected, weights)
    assert found.lower <= found.middle <= found.upper
    hidden = sum(value * weight for value, seen, weight in members if seen is False)
    assert found.upper - found.lower == pytest.approx(hidden)
    assert found.middle == pytest.approx((found.lower + found.upper) / 2)


def test_an_unknown_member_makes_the_sum_unknown() -> None:
    found = sum_bounds([[1.0, np.nan], [1.0, 2.0]], [[True, True], [True, False]])
    assert np.isnan(found.lower[0])
    assert np.isnan(found.upper[0])
    assert [bound[1] for bound in found] == [1.0, 2.0, 3.0]


def test_directive_2009_90_means_and_sums() -> None:
    """Commission Directive 2009/90/EC, Article 5(1) to (3): half in a mean, zero in a sum; by hand."""
    values, detected = [0.02, 0.03, 0.02], [False, True, False]
    mean = directive_mean(values, detected)
    assert mean.value == pytest.approx(0.05 / 3)
    assert mean.below_limit
    assert mean.limit == 0.02
    assert directive_sum(values, detected) == 0.03
    assert not directive_mean([0.02, 0.09], [False, True]).below_limit
    assert not directive_mean([0.02, 0.09], [True, True]).below_limit
