"""Statistics of results with non-detects agree with published figures and with general survival and fitting code."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import stats

from wqcheck.statistics.censored import KaplanMeier, LeftCensored, Leftover, NoStatistic, kaplan_meier
from wqcheck.statistics.censored_models import (
    SUBSTITUTION_WARNING,
    FilledIn,
    Lognormal,
    maximum_likelihood,
    plotting_positions,
    regression_on_order_statistics,
    substitution,
)

OAHU = "<1 <1 1.7 <1 <1 <2 3.2 <2 <2 2.8 <2 <2 <2 <2 <2 0.7 0.9 0.5 0.5 <0.9 0.5 0.7 0.6 1.5"
"""Arsenic, µg/L (Tomlinson 2003, Manoa Stream; Helsel 2005, Nondetects and Data Analysis, ch. 6)."""

MANGANESE = "<5 12.1 16.9 21.6 <2 <5 7.7 53.6 9.5 45.9 <5 5.3 12.6 106.3 34.5 6.3 11.9 10 <2 77.2 17.9 22.7 3.3 8.4 <2"
"""Manganese, ppb (US EPA 2009, Unified Guidance, EPA 530/R-09-007, example 15-1)."""

LEAD = "<1 <1 2 2.5 2.8 <3 3.4 3.9 <4 <4 <4 4.5 4.9 5.5 5.5 5.5 <6 6.7 6.9 7.4 <9 9.5 <10 <10 10 15 49 200 9060"
"""Lead (Beal 2010, A macro for summary statistics on left censored data, Proc. 17th SESUG)."""

TOY = "<0.5 0.5 1 <1.5 5 10 100"
"""The seven values of the help pages of a general R package for non-detects."""

SETS = pytest.mark.parametrize("text", [OAHU, MANGANESE, LEAD, TOY], ids=["arsenic", "manganese", "lead", "seven"])

RESULTS = st.lists(
    st.tuples(st.integers(1, 400).map(lambda tenths: tenths / 10), st.booleans()), min_size=4, max_size=40
)


def sample(text: str) -> LeftCensored:
    words = text.split()
    value = np.array([float(word.removeprefix("<")) for word in words])
    return LeftCensored(value, np.array([not word.startswith("<") for word in words], dtype=bool))


def drawn(results: list[tuple[float, bool]]) -> LeftCensored:
    return LeftCensored(np.array([value for value, _ in results]), np.array([found for _, found in results]))


def curve(of: LeftCensored) -> KaplanMeier:
    found = kaplan_meier(of)
    assert isinstance(found, KaplanMeier)
    return found


def filled(found: FilledIn | NoStatistic) -> FilledIn:
    assert isinstance(found, FilledIn)
    return found


def fitted(of: LeftCensored) -> Lognormal:
    found = maximum_likelihood(of)
    assert isinstance(found, Lognormal)
    return found


def test_kaplan_meier_of_the_arsenic_set() -> None:
    """Helsel (2005), ch. 6: mean 0.949, median 0.70 (from memory); the standard error is 0.807 / √24 there."""
    found = curve(sample(OAHU))
    assert found.n == 24
    assert found.detects == 11
    assert found.leftover == 0
    assert found.mean() == pytest.approx(0.949, abs=5e-4)
    assert found.median == 0.7
    assert found.mean_error() * np.sqrt(24) == pytest.approx(0.807, abs=5e-4)


def test_kaplan_meier_of_the_manganese_set() -> None:
    """US EPA (2009), example 15-1: the leftover 0.21 is counted at the lowest limit, 2 ppb."""
    found = curve(sample(MANGANESE))
    assert found.leftover == pytest.approx(0.21)
    assert found.mean() == pytest.approx(19.867, abs=1e-4)
    assert found.mean(Leftover.SMALLEST_DETECT) == pytest.approx(20.14, abs=1e-4)
    assert found.median == 10.0


def test_kaplan_meier_of_the_lead_set_where_a_detection_is_tied_with_a_limit() -> None:
    """Beal (2010): mean 325.34, standard deviation 1651.09, standard error 315.0, leftover at the least detection."""
    found = curve(sample(LEAD))
    assert found.leftover == pytest.approx(0.138491, abs=1e-6)
    assert found.mean(Leftover.SMALLEST_DETECT) == pytest.approx(325.34, abs=0.005)
    assert found.standard_deviation(Leftover.SMALLEST_DETECT) == pytest.approx(1651.09, abs=0.006)
    assert found.mean_error(Leftover.SMALLEST_DETECT) == pytest.approx(315.0, abs=0.05)
    assert found.mean() == pytest.approx(325.2011, abs=1e-4)


def test_kaplan_meier_where_a_limit_equals_the_smallest_detection() -> None:
    """Values of the package's help pages, recomputed by hand: masses 1/7, 1/7, 1/7, then 4/21 three times."""
    found = curve(sample(TOY))
    assert found.mass == pytest.approx([4 / 21, 4 / 21, 1 / 7, 1 / 7, 1 / 7])
    assert found.mean() == pytest.approx((100 + 10 + 5) / 7 + (1 + 0.5 + 0.5) * 4 / 21)
    assert found.median == 1.0


@SETS
def test_kaplan_meier_agrees_with_a_general_survival_estimator_of_the_flipped_results(text: str) -> None:
    """Reference: scipy.stats.ecdf of right-censored data."""
    of = sample(text)
    flipped = 1e4 - of.value
    survival = stats.ecdf(stats.CensoredData(uncensored=flipped[of.detected], right=flipped[~of.detected])).sf
    found = curve(of)
    reached = found.leftover + np.cumsum(found.mass)
    below = reached - found.mass
    for value, expected in zip(found.value, below, strict=True):
        assert survival.evaluate(1e4 - value) == pytest.approx(expected, abs=1e-12)


@settings(max_examples=40, deadline=None)
@given(RESULTS)
def test_kaplan_meier_without_non_detects_is_the_ordinary_mean_and_median(results: list[tuple[float, bool]]) -> None:
    of = drawn([(value, True) for value, _ in results])
    found = curve(of)
    assert found.mean() == pytest.approx(of.value.mean())
    assert found.median == pytest.approx(np.median(of.value))
    assert found.mean_error() == pytest.approx(of.value.std(ddof=1) / np.sqrt(len(of.value)))
    for share in (0.05, 0.5, 0.9, 0.95):
        ordinary = np.quantile(of.value, share, method="averaged_inverted_cdf")
        assert found.percentile(share) == pytest.approx(ordinary)


@settings(max_examples=40, deadline=None)
@given(RESULTS)
def test_kaplan_meier_stays_between_the_bounds_and_its_percentiles_rise(results: list[tuple[float, bool]]) -> None:
    of = drawn(results)
    assume(of.detected.sum() >= 3)
    found = curve(of)
    assert found.mass.sum() + found.leftover == pytest.approx(1)
    means = [found.mean(place) for place in (Leftover.ZERO, Leftover.LOWEST_LIMIT, Leftover.SMALLEST_DETECT)]
    assert of.substituted(0).mean() <= means[0] + 1e-9
    assert means[0] <= means[1] + 1e-9 <= means[2] + 2e-9
    assert means[1] <= of.substituted(1).mean() + 1e-9
    known = [found.percentile(share) for share in np.linspace(0.01, 1, 34)]
    steps = np.diff([value for value in known if not np.isnan(value)])
    assert (steps >= 0).all()
    assert known[-1] == of.value[of.detected].max()


def test_a_percentile_within_the_leftover_is_not_known() -> None:
    found = curve(sample("<2 <2 <2 <2 <2 <2 3 4 5"))
    assert found.leftover == pytest.approx(6 / 9)
    assert np.isnan(found.median)
    assert found.percentile(0.95) == 5


@pytest.mark.parametrize("estimator", [kaplan_meier, regression_on_order_statistics, maximum_likelihood])
@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "there are no results"),
        ("<1 <1 <1 <3 <3", "all 5 results are non-detects, the highest below 3"),
        ("<1 <1 2 3", "only 2 of 4 results are detections"),
    ],
)
def test_too_few_detections_give_a_reason_and_no_figure(estimator: object, text: str, why: str) -> None:
    assert callable(estimator)
    found = estimator(sample(text))
    assert isinstance(found, NoStatistic)
    assert found.reason.startswith(why)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("<1 " * 17 + "1 2 3", "85% of the results are non-detects"),
        ("0 1 2 3", "a result of 0 or less has no logarithm"),
        ("<1 2 2 3 3", "fewer than 3 different values were detected"),
    ],
)
def test_a_series_that_carries_no_lognormal_fit_gives_a_reason(text: str, why: str) -> None:
    for estimator in (regression_on_order_statistics, maximum_likelihood):
        found = estimator(sample(text))
        assert isinstance(found, NoStatistic)
        assert found.reason.startswith(why)


def test_order_statistics_of_the_manganese_set() -> None:
    """US EPA (2009), ch. 15, with Weibull's constant 0 and Blom's 0.375: mean, variation, moments of the logarithms."""
    weibull = filled(regression_on_order_statistics(sample(MANGANESE)))
    blom = filled(regression_on_order_statistics(sample(MANGANESE), offset=0.375))
    assert weibull.mean == pytest.approx(19.827673, rel=2e-6)
    assert blom.mean == pytest.approx(19.88618, rel=2e-6)
    assert weibull.standard_deviation / weibull.mean == pytest.approx(1.304725, rel=2e-6)
    assert blom.standard_deviation / blom.mean == pytest.approx(1.298868, rel=2e-6)
    logs = np.log(blom.value)
    assert logs.mean() == pytest.approx(2.298656, rel=2e-6)
    assert logs.std(ddof=1) == pytest.approx(1.238104, rel=2e-6)


def test_order_statistics_of_the_arsenic_set() -> None:
    """Helsel (2005), ch. 6: mean 0.972, standard deviation 0.718, median 0.700 (from memory)."""
    found = filled(regression_on_order_statistics(sample(OAHU)))
    assert found.mean == pytest.approx(0.972, abs=5e-4)
    assert found.standard_deviation == pytest.approx(0.718, abs=5e-4)
    assert found.percentile(0.5) == 0.7


def test_order_statistics_of_seven_values() -> None:
    """Help pages of a general R package for non-detects: 16.68977, 36.91544, 1.0."""
    found = filled(regression_on_order_statistics(sample(TOY)))
    assert found.mean == pytest.approx(16.68977, rel=1e-5)
    assert found.standard_deviation == pytest.approx(36.91544, rel=1e-5)
    assert found.percentile(0.5) == 1.0


@settings(max_examples=40, deadline=None)
@given(RESULTS)
def test_plotting_positions_are_probabilities_that_rise_with_the_detections(results: list[tuple[float, bool]]) -> None:
    of = drawn(sorted(results))
    position = plotting_positions(of)
    assert ((position > 0) & (position < 1)).all()
    assert (np.diff(position[of.detected]) > 0).all()


def test_plotting_positions_without_non_detects_are_weibulls() -> None:
    """Weibull (1939): i/(n + 1)."""
    assert plotting_positions(sample("1 2 3 4")) == pytest.approx([0.2, 0.4, 0.6, 0.8])


def test_maximum_likelihood_of_the_arsenic_set() -> None:
    """Helsel (2005), ch. 6: mean 0.945, standard deviation 0.656, median 0.777 (from memory)."""
    found = fitted(sample(OAHU))
    assert found.mu == pytest.approx(-0.252829, abs=1e-5)
    assert found.sigma == pytest.approx(0.626948, abs=1e-5)
    assert found.mean == pytest.approx(0.945, abs=5e-4)
    assert found.standard_deviation == pytest.approx(0.656, abs=5e-4)
    assert found.percentile(0.5) == pytest.approx(0.777, abs=5e-4)


@SETS
def test_maximum_likelihood_agrees_with_a_general_fit(text: str) -> None:
    """Reference: scipy.stats.lognorm.fit of left-censored data, a simplex search good to about four figures."""
    of = sample(text)
    sigma, _, scale = stats.lognorm.fit(stats.CensoredData.left_censored(of.value, ~of.detected), floc=0)
    found = fitted(of)
    assert found.sigma == pytest.approx(sigma, rel=5e-4)
    assert found.percentile(0.5) == pytest.approx(scale, rel=5e-4)


def test_confidence_limits_without_non_detects_follow_from_the_normal_theory() -> None:
    """Information of a normal sample: variances s²/n and s²/(2n), no covariance (Meeker, Hahn and Escobar 2017)."""
    values = np.exp(np.array([0.1, 0.4, 0.9, 1.3, 1.8, 2.2]))
    found = fitted(LeftCensored(values, np.ones(6, dtype=bool)))
    variance = np.log(values).var()
    assert found.covariance == pytest.approx(np.diag([variance / 6, variance / 12]), abs=1e-7)
    z = stats.norm.ppf(0.95)
    reach = stats.norm.ppf(0.975) * np.sqrt(variance * (1 / 6 + z**2 / 12))
    centre = np.log(values).mean() + z * np.sqrt(variance)
    assert found.percentile_limits(0.95) == pytest.approx((np.exp(centre - reach), np.exp(centre + reach)), rel=1e-6)


@SETS
def test_confidence_limits_enclose_the_estimate_and_widen_with_confidence(text: str) -> None:
    found = fitted(sample(text))
    inner, outer = found.mean_limits(0.8), found.mean_limits(0.99)
    assert outer[0] < inner[0] < found.mean < inner[1] < outer[1]
    inner, outer = found.percentile_limits(0.95, 0.8), found.percentile_limits(0.95, 0.99)
    assert outer[0] < inner[0] < found.percentile(0.95) < inner[1] < outer[1]


def test_observed_information_agrees_with_differences_of_the_likelihood() -> None:
    """Reference: second differences of the log-likelihood written with scipy.stats.norm."""
    of = sample(OAHU)
    found = fitted(of)

    def likelihood(mu: float, sigma: float) -> float:
        z = (np.log(of.value) - mu) / sigma
        seen = stats.norm.logpdf(z[of.detected]) - np.log(sigma)
        return float(seen.sum() + stats.norm.logcdf(z[~of.detected]).sum())

    step = 1e-4
    point = np.array([found.mu, found.sigma])
    information = np.zeros((2, 2))
    for i, j in np.ndindex(2, 2):
        a, b = np.eye(2)[i] * step, np.eye(2)[j] * step
        corners = [likelihood(*(point + s * a + t * b)) * s * t for s in (1, -1) for t in (1, -1)]
        information[i, j] = -sum(corners) / (4 * step**2)
    assert found.covariance == pytest.approx(np.linalg.inv(information), rel=1e-4)


@settings(max_examples=25)
@given(st.sampled_from([OAHU, MANGANESE, TOY]), st.floats(1e-3, 1e3))
def test_a_change_of_unit_scales_the_fit(text: str, factor: float) -> None:
    of = sample(text)
    plain, scaled = fitted(of), fitted(LeftCensored(of.value * factor, of.detected))
    assert scaled.sigma == pytest.approx(plain.sigma, rel=1e-5)
    assert scaled.mean == pytest.approx(plain.mean * factor, rel=1e-5)


def test_substitution_is_marked_as_such() -> None:
    found = filled(substitution(sample("<2 <4 3 5"), 0.5))
    assert list(found.value) == [1, 2, 3, 5]
    assert found.warning == SUBSTITUTION_WARNING
    assert filled(substitution(sample("2 4 3"), 0.5)).warning == ""
    assert isinstance(substitution(sample("<2 <4"), 0.5), NoStatistic)


@pytest.mark.parametrize(
    ("value", "detected"), [([1.0, np.nan], [True, True]), ([-1.0], [False]), ([1.0], [True, False])]
)
def test_what_is_no_series_is_refused(value: list[float], detected: list[bool]) -> None:
    with pytest.raises(ValueError, match="value"):
        LeftCensored(np.array(value), np.array(detected))
