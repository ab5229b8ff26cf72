"""Charts, trends and drift flags agree with published figures, and no figure for a non-detect raises a flag."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from math import inf

import numpy as np
import pandas as pd
import pymannkendall
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from tests.limit_rows import table_of
from tests.table_rows import readings_of
from wqcheck.history_files.phrases import DASH, forecast_words, trend_words
from wqcheck.statistics.control_chart import RULES, Lines, broken_rules, individuals_chart, lines_of
from wqcheck.statistics.drift import Drift, drift_flags, histories
from wqcheck.statistics.trend import crossing, exact_probability, mann_kendall, sen_slope, tied_below

FLOW = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
UNIT = Lines(0.0, 1.0, -3.0, 3.0, 1.128, 3.685)
LEAD = table_of("lead", {"parameter": "lead", "rule": "max", "upper": "10", "unit": "µg/L"})


def test_individuals_chart() -> None:
    """NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2: 50.81, UCL 55.8041, LCL 45.8159, MR 1.8778."""
    chart = individuals_chart(FLOW, FLOW)
    assert chart is not None
    lines = chart.at_low
    assert [round(x, 4) for x in (lines.centre, lines.upper, lines.lower, lines.range_centre)] == [
        50.81, 55.8041, 45.8159, 1.8778,
    ]  # fmt: skip
    assert chart.broken == ()


@pytest.mark.parametrize(
    ("number", "breaks", "keeps"),
    [
        (1, [0, 3.01], [0, 3.0]),
        (2, [0.5] * 9, [0.5] * 8 + [-0.5]),
        (3, [0, 0.1, 0.2, 0.3, 0.4, 0.5], [0, 0.1, 0.2, 0.3, 0.3, 0.4]),
        (4, [0.1, -0.1] * 7, [0.1, -0.1] * 6 + [-0.2, 0.1]),
        (5, [2.1, 0, 2.1], [2.1, 0, -2.1]),
        (6, [1.1, 1.1, 0, 1.1, 1.1], [1.1, 1.1, 0, 0, 1.1]),
        (7, [0.9, -0.9, 0.9] * 5, [0.9, -0.9, 0.9] * 4 + [0.9, 1.0, 0.9]),
        (8, [1.1, -1.1] * 4, [1.1, -1.1] * 3 + [1.1, 0.9]),
    ],
)
def test_each_chart_rule(number: int, breaks: list[float], keeps: list[float]) -> None:
    """Nelson (1984), J. Qual. Technol. 16, 237-239, tests 1 to 8 (from memory), with sigma 1 around 0."""
    found = [{one.rule.number for one in broken_rules(np.array(run, dtype=float), UNIT)} for run in (breaks, keeps)]
    assert number in found[0]
    assert number not in found[1]
    assert [rule.number for rule in RULES] == list(range(1, 9))


def test_rising_reporting_limits_break_no_rule() -> None:
    limits = [0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 9.0, 20.0]
    at_limits = individuals_chart(limits, limits)
    asked = individuals_chart([0.0] * 10, limits)
    assert at_limits is not None
    assert at_limits.broken
    assert asked is not None
    assert asked.broken == ()


def test_score_and_counted_probability() -> None:
    """Gilbert (1987), 16.4.1 and Table A18 (from memory): 10, 15, 14, 20 gives S = 4, p 0.167; n = 5 as listed."""
    test = mann_kendall(range(4), [10, 15, 14, 20])
    assert (test.s, round(test.p / 2, 3)) == (4, 0.167)
    listed = {2: 0.408, 4: 0.242, 6: 0.117, 8: 0.042, 10: 0.0083}
    assert {s: round(exact_probability(5, s) / 2, len(str(p)) - 2) for s, p in listed.items()} == listed


@pytest.mark.parametrize("seed", range(5))
def test_trend_against_libraries(seed: int) -> None:
    """Libraries pymannkendall and scipy.stats (kendalltau, theilslopes): S, variance, z, p, slope and interval."""
    drawn = np.random.default_rng(seed)
    tied, free, days = drawn.integers(0, 9, 60).astype(float), drawn.normal(size=12), np.arange(60.0)
    theirs, ours = pymannkendall.original_test(tied), mann_kendall(days, tied)
    assert (ours.s, ours.variance, ours.z, ours.p) == pytest.approx((theirs.s, theirs.var_s, theirs.z, theirs.p))
    assert mann_kendall(days[:12], free).p == pytest.approx(stats.kendalltau(days[:12], free, method="exact").pvalue)
    shared = drawn.integers(0, 20, 60).astype(float)
    both = mann_kendall(shared, tied)
    no_continuity = 2 * stats.norm.sf(abs(both.s) / np.sqrt(both.variance))
    assert no_continuity == pytest.approx(stats.kendalltau(shared, tied, method="asymptotic").pvalue)
    slope, line = sen_slope(days, tied, tied), stats.theilslopes(tied, days)
    assert slope.low == slope.high == pytest.approx(line.slope)
    assert slope.interval_low <= line.low_slope + 1e-12
    assert slope.interval_high >= line.high_slope - 1e-12


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.integers(1, 20), st.booleans(), st.floats(0, 1)), min_size=5, max_size=15))
def test_slope_bounds_hold_for_any_figure_of_a_non_detect(rows: list[tuple[int, bool, float]]) -> None:
    high = np.array([value for value, _, _ in rows], dtype=float)
    low = np.array([0.0 if below else value for value, below, _ in rows])
    guess = low + (high - low) * np.array([share for _, _, share in rows])
    days = np.arange(len(rows))
    bounds, one = sen_slope(days, low, high), sen_slope(days, guess, guess)
    assert bounds.low - 1e-9 <= one.low <= bounds.high + 1e-9


def test_below_the_highest_reporting_limit_all_is_one_tie() -> None:
    assert tied_below([0, 3, 0, 5, 6], [1, 3, 5, 5, 6]).tolist() == [-inf, -inf, -inf, 5, 6]


def test_crossing_of_a_straight_line() -> None:
    days, values = np.arange(11.0), np.arange(11.0)
    met = crossing(sen_slope(days, values, values), 20.0, 10.0)
    assert met == (10.0, 10.0, 10.0)
    assert crossing(sen_slope(days, -values, -values), 20.0, 10.0).expected == inf
    assert crossing(sen_slope(days, values, values), 9.0, 10.0).expected == 0.0


def flags(texts: Sequence[str]) -> dict[str, object]:
    rows = [
        {"parameter": "lead", "reported": text, "sign": text[0] if text[0] in "<?" else "=", "unit": "µg/L",
         "value": None if text == "?" else float(text.lstrip("<")), "point": "FP",
         "sampled_at": pd.Timestamp("2026-01-01") + pd.Timedelta(days=7 * place)}
        for place, text in enumerate(texts)
    ]  # fmt: skip
    rows = [{**row, "sign": "unreadable" if row["sign"] == "?" else row["sign"]} for row in rows]
    table = drift_flags(readings_of(rows), [LEAD], product="packaged", on=date(2026, 6, 1))
    assert len(table) == 1
    return {str(name): value for name, value in table.iloc[0].items()}


def test_drifting_though_still_passing() -> None:
    row = flags([str(2 + 0.5 * place) for place in range(12)])
    assert row["drift"] == Drift.DRIFTING
    assert row["crossing"] == pd.Timestamp("2026-01-01") + pd.Timedelta(days=7 * 16)


@pytest.mark.parametrize(
    ("texts", "drift"),
    [
        (["5", "4", "6", "5", "4", "6", "5", "5"], Drift.STEADY),
        ([f"<{1 + place}" for place in range(8)], Drift.STEADY),
        (["2", "3", "4", "11"], Drift.OVER),
        (["2", "3"], Drift.NOT_KNOWN),
        (["?", "?", "?", "?"], Drift.NOT_KNOWN),
        (["9", "8", "8.5", "7", "7.5", "6", "6.5", "5"], Drift.STEADY),
        ([str(2 + place) for place in range(7)], Drift.NOT_KNOWN),
    ],
)
def test_other_series(texts: list[str], drift: Drift) -> None:
    assert flags(texts)["drift"] == drift


def test_a_chart_rule_without_a_trend_only_asks_to_look() -> None:
    """One result far up, with no trend: a signal of the chart, and weaker words than a drift."""
    row = flags(["2", "2.2", "2.1", "1.9", "2", "2.1", "1.9", "2.2", "2", "2.1", "1.9", "7"])
    assert row["drift"] == Drift.LOOK
    assert "rule 1" in str(row["reason"])


def test_a_trend_beyond_the_horizon_is_told_and_is_no_drift() -> None:
    row = flags(["1", "1.04", "1.02", "1.08", "1.06", "1.12", "1.1", "1.16"])
    assert row["drift"] == Drift.STEADY
    assert "meets the limit in" in str(row["reason"])


def test_results_of_one_morning_make_no_trend() -> None:
    """Days are counted, not results; fewer than eight tell no trend (Grath et al. 2001, from memory)."""
    rows = [
        {"parameter": "lead", "reported": str(place), "value": float(place), "unit": "µg/L", "point": "FP",
         "sampled_at": pd.Timestamp("2026-01-01") + pd.Timedelta(days=7 * (place // 4), hours=place)}
        for place in range(9)
    ]  # fmt: skip
    row = drift_flags(readings_of(rows), [LEAD], product="packaged", on=date(2026, 6, 1)).iloc[0].to_dict()
    assert row["drift"] == Drift.NOT_KNOWN
    assert "9 usable result(s) of 3 day(s)" in row["reason"]
    assert pd.isna(row["crossing"])
    assert forecast_words(row) == DASH
    assert trend_words(row) == "not tested"


def test_no_open_end_is_printed() -> None:
    """A forecast without a latest day says so in words, and an unknown interval is called unknown."""
    row = {"p": 0.01, "crossing": pd.Timestamp("2026-12-10"), "crossing_earliest": pd.Timestamp("2026-11-01"),
           "crossing_latest": pd.NaT, "unit": "mg/L", "basis": None, "slope_low": 2.0, "slope_high": 2.0,
           "interval_low": -inf, "interval_high": inf}  # fmt: skip
    assert forecast_words(row) == "about 2026-12-10 (95 %: 2026-11-01 or later)"
    assert "95 % interval not known" in trend_words(row)


def test_a_result_beyond_its_limit_does_not_move_the_centre() -> None:
    """NIST/SEMATECH e-Handbook, 1.3.5.1: the median is not pulled by an extreme result."""
    texts = ["1", "1.1", "0.9", "1", "1.1", "0.9", "1", "14"]
    rows = [
        {"parameter": "lead", "reported": text, "value": float(text), "unit": "µg/L", "point": "FP",
         "sampled_at": pd.Timestamp("2026-01-01") + pd.Timedelta(days=7 * place)}
        for place, text in enumerate(texts)
    ]  # fmt: skip
    one = histories(readings_of(rows), [LEAD], product="packaged", on=date(2026, 6, 1))[0]
    assert one.chart is not None
    assert one.chart.at_low.centre == 1.0
    assert [broken.place for broken in one.chart.broken if broken.rule.number == 1] == [7]


def test_a_series_that_mostly_stands_still_keeps_a_spread() -> None:
    """Of equal results the median range is 0; the mean range counts then, so that the rules do not fall silent."""
    assert lines_of([1, 1, 1, 1, 1, 1, 1, 5], robust=True).sigma == pytest.approx(4 / 7 / 1.128)


def test_a_series_under_a_yearly_average_drifts_too() -> None:
    """No single result meets a limit on an average, yet results that rise toward its figure drift."""
    mean = table_of("thm", {"parameter": "lead", "rule": "mean_max", "upper": "10", "unit": "µg/L"})
    rows = [
        {"parameter": "lead", "reported": str(place), "sign": "=", "unit": "µg/L", "value": 2 + 0.5 * place,
         "point": "FP", "sampled_at": pd.Timestamp("2026-01-01") + pd.Timedelta(days=7 * place)}
        for place in range(12)
    ]  # fmt: skip
    table = drift_flags(readings_of(rows), [mean], product="packaged", on=date(2026, 6, 1))
    assert table["drift"].tolist() == [Drift.DRIFTING]
