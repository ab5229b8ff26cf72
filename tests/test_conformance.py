"""Probabilities of conformity, guard bands, risks and rounding agree with the guides and standards that define them."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from wqcheck.judging.ranges import Ranges, Trouble
from wqcheck.judging.verdicts import VERDICTS, bounds, decide
from wqcheck.statistics.conformance import (
    COVERAGE,
    Interval,
    acceptance_interval,
    conformance_probability,
    global_risks,
    guard_band,
    guard_band_for,
    guarded_verdict,
)
from wqcheck.statistics.rounding import Method, Tie, round_to_figures, round_to_place, within_upper
from wqcheck.tables import Rule, Verdict

UPPER = Interval(upper=10.0)


@pytest.mark.parametrize(("probability", "z"), [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)])
def test_one_sided_z_of_a_conformance_probability(probability: float, z: float) -> None:
    """JCGM 106:2012, Table 1 (from memory), and the probability back again."""
    width = guard_band_for(probability, 0.5)
    assert width / 0.5 == pytest.approx(z, abs=0.006)
    assert conformance_probability(10.0 - width, 0.5, UPPER) == pytest.approx(probability)


def test_two_sided_conformance_probability() -> None:
    """JCGM 106:2012, 7.6, viscosity of an oil: y = 13.6, u = 1.8, 12.5 to 16.3 mm²/s give 0.66."""
    assert conformance_probability(13.6, 1.8, Interval(12.5, 16.3)) == pytest.approx(0.66263, abs=1e-5)


@pytest.mark.parametrize(("k", "probability"), [(1.645, 0.950015), (1.96, 0.975002), (2, 0.97725), (3, 0.99865)])
def test_probability_at_the_limit_and_at_the_limit_less_the_expanded_uncertainty(k: float, probability: float) -> None:
    """JCGM 106:2012, 7.2 to 8.2: one half at the limit, Φ(k) one expanded uncertainty below it."""
    found = conformance_probability([10.0, 10.0 - k * 0.3], 0.3, UPPER)
    assert found == pytest.approx([0.5, probability], abs=1e-6)
    lower = conformance_probability([10.0, 10.0 + k * 0.3], 0.3, Interval(lower=10.0))
    assert lower == pytest.approx([0.5, probability], abs=1e-6)


@pytest.mark.parametrize(
    ("multiple", "most"), [(3.0, 1e-6), (1.5, 0.0016), (1.0, 0.025), (0.83, 0.05), (0.0, 0.5), (-1.0, 0.98)]
)
def test_specific_risk_of_a_guard_band(multiple: float, most: float) -> None:
    """ILAC-G8:09/2019, Table 1: the risk of a false acceptance at the acceptance limit, by r in w = r U."""
    expanded = 0.6
    limit = acceptance_interval(UPPER, guard_band(expanded, multiple)).upper
    risk = 1 - float(conformance_probability(limit, expanded / COVERAGE, UPPER))
    assert risk <= most
    assert risk == pytest.approx(stats.norm.sf(COVERAGE * multiple), abs=1e-12)


GUARDED = [
    (8.9, Verdict.PASS), (9.0, Verdict.PASS), (9.5, Verdict.CONDITIONAL_PASS), (10.0, Verdict.CONDITIONAL_PASS),
    (10.5, Verdict.CONDITIONAL_FAIL), (11.0, Verdict.CONDITIONAL_FAIL), (11.2, Verdict.FAIL),
]  # fmt: skip
"""ILAC-G8:09/2019, 4.2.3 and Figure 5, with U = 1 at a limit of 10; a result at the limit meets it."""


@pytest.mark.parametrize(("value", "statement"), GUARDED)
def test_binary_and_non_binary_statement_of_one_result(value: float, statement: Verdict) -> None:
    """ILAC-G8:09/2019, 4.2.2 and 4.2.3: what passes only conditionally is no pass under a binary guarded rule."""
    one = np.array([value])
    word, plain = np.full(1, "", dtype=object), np.full(1, False)
    ranges = Ranges(one, one, plain, plain, np.full(1, int(Trouble.NONE)), word)
    allowed = bounds(np.full(1, Rule.MAX, dtype=object), np.full(1, np.nan), np.full(1, 10.0))
    verdict = VERDICTS[decide(ranges, allowed, np.full(1, guard_band(1.0))).verdict[0]]
    assert verdict == statement
    binary = Verdict.PASS if statement == Verdict.PASS else Verdict.FAIL
    assert guarded_verdict(value, UPPER, guard_band(1.0)) == binary


def test_guarded_verdict_of_an_unknown_value_and_of_too_wide_a_band() -> None:
    assert guarded_verdict(float("nan"), UPPER, 1.0) == Verdict.UNDETERMINED
    with pytest.raises(ValueError, match=r"leave nothing between 6\.5 and 9\.5"):
        acceptance_interval(Interval(6.5, 9.5), 1.5)
    with pytest.raises(ValueError, match="below the upper"):
        Interval(9.5, 6.5)


@given(st.floats(0, 20), st.floats(0, 5), st.floats(0, 5))
def test_a_wider_guard_band_never_turns_a_fail_into_a_pass(value: float, width: float, more: float) -> None:
    if guarded_verdict(value, UPPER, width) == Verdict.FAIL:
        assert guarded_verdict(value, UPPER, width + more) == Verdict.FAIL


def test_global_risks_of_a_resistor_with_guard_bands() -> None:
    """JCGM 106:2012, 9.5: 1500 Ω, process 0.12, measurement 0.04, limits ± 0.2, accepted ± 0.18: about 1 % and 7 %."""
    process = stats.norm(1500, 0.12).pdf
    found = global_risks(process, 0.04, Interval(1499.8, 1500.2), Interval(1499.82, 1500.18), Interval(1498.8, 1501.2))
    assert found.consumer == pytest.approx(0.009878, abs=2e-6)
    assert found.producer == pytest.approx(0.06903, abs=2e-5)


def test_global_risks_with_one_limit_and_a_gamma_process() -> None:
    """JCGM 106:2012, 9.5.4, ball bearings: gamma of shape 4 and scale 1/4 µm, limit 2 µm, measurement 0.25 µm."""
    process = stats.gamma(4, scale=0.25).pdf
    reach, tolerance = Interval(0.0, 12.0), Interval(upper=2.0)
    simple = global_risks(process, 0.25, tolerance, tolerance, reach)
    assert simple.consumer == pytest.approx(0.008019111884, rel=1e-4)
    assert simple.producer == pytest.approx(0.017445, abs=2e-6)
    guarded = global_risks(process, 0.25, tolerance, acceptance_interval(tolerance, 0.3281712284559932), reach)
    assert guarded.consumer == pytest.approx(0.001, rel=1e-4)
    assert guarded.producer == pytest.approx(0.075494, abs=2e-6)


@pytest.mark.parametrize(
    ("limit", "ratio", "share", "accepted_wrongly", "rejected_wrongly"),
    [(2, 4, 1, 0.008, 0.015), (2.5, 4, 1, 0.0025, 0.00532), (2, 2, 0.91, 0.008, 0.066)],
)
def test_global_risks_of_a_normal_process(
    limit: float, ratio: float, share: float, accepted_wrongly: float, rejected_wrongly: float
) -> None:
    """Deaver (1994), Guardbanding with confidence, NCSL: limits in process sigma, acceptance at a share of them."""
    found = global_risks(
        stats.norm.pdf,
        1 / ratio,
        Interval(-limit, limit),
        Interval(-share * limit, share * limit),
        Interval(-9.0, 9.0),
    )
    assert found.consumer == pytest.approx(accepted_wrongly, abs=1e-4)
    assert found.producer == pytest.approx(rejected_wrongly, abs=2e-4)


def test_absolute_and_rounding_method_disagree_on_one_result() -> None:
    """ASTM E29, sections 5 and 6: 0.54 against at most 0.5."""
    assert not within_upper("0.54", "0.5")
    assert within_upper("0.54", "0.5", Method.ROUNDING)
    assert not within_upper("0.56", "0.5", Method.ROUNDING)
    assert within_upper("0.5", "0.5")


@pytest.mark.parametrize(
    ("result", "limit", "figures", "rounded", "exceeds"),
    [
        ("4.04", "4.0", 2, "4.0", False),
        ("4.05", "4.0", 2, "4.1", True),
        ("14.9", "10", 1, "10", False),
        ("15.0", "10", 1, "20", True),
        ("1.49", "1", 1, "1", False),
        ("1.50", "1", 1, "2", True),
    ],
)
def test_significant_figures_of_the_pfas_limits(
    result: str, limit: str, figures: int, rounded: str, exceeds: bool
) -> None:
    """US EPA (2024), PFAS: Significant Figures and Rounding Requirements; 40 CFR 141.61(c)(2): PFOA, PFHxS, index."""
    assert round_to_figures(result, figures, Tie.UP) == Decimal(rounded)
    assert within_upper(result, limit, Method.ROUNDING, Tie.UP, figures) is not exceeds


@pytest.mark.parametrize(("text", "rounded"), [("0.145", "0.15"), ("0.284", "0.28")])
def test_rounding_half_up_before_the_comparison(text: str, rounded: str) -> None:
    """European Pharmacopoeia, General Notices (answers of the EDQM)."""
    assert round_to_figures(text, 2, Tie.UP) == Decimal(rounded)
    assert round_to_place(text, "0.01", Tie.UP) == Decimal(rounded)


@pytest.mark.parametrize(
    ("text", "place", "even", "up"),
    [
        ("12.223", "0.1", "12.2", "12.2"),
        ("12.251", "0.1", "12.3", "12.3"),
        ("12.275", "0.1", "12.3", "12.3"),
        ("12.25", "0.1", "12.2", "12.3"),
        ("12.35", "0.1", "12.4", "12.4"),
        ("1222.3", "10", "1220", "1220"),
        ("1225.0", "10", "1220", "1230"),
        ("1235.0", "10", "1240", "1240"),
        ("-12.25", "0.1", "-12.2", "-12.3"),
        ("72.5", "1", "72", "73"),
    ],
)
def test_rounding_to_a_place(text: str, place: str, even: str, up: str) -> None:
    """ISO 80000-1:2009, Annex B, rules A and B (from memory); 72.5 to 73, New York State Department of Health."""
    assert round_to_place(text, place) == Decimal(even)
    assert round_to_place(text, place, Tie.UP) == Decimal(up)


def test_rounding_that_carries_over_keeps_the_number_of_figures() -> None:
    assert str(round_to_figures("99.6", 2)) == "1.0E+2"
    assert str(round_to_figures("0.000", 2)) == "0.000"
    assert str(round_to_figures("0.0996", 2)) == "0.10"


def test_long_numbers_are_rounded_to_the_last_digit() -> None:
    assert round_to_place("1234567890123456789012345678901234567890.5", "1", Tie.UP) == Decimal(
        "1234567890123456789012345678901234567891"
    )
    assert round_to_place("1e40", "0.01") == Decimal("1e40")


@given(st.decimals(-1000, 1000, places=4), st.integers(1, 6), st.sampled_from(list(Tie)))
def test_rounding_is_idempotent_and_near(value: Decimal, figures: int, tie: Tie) -> None:
    once = round_to_figures(value, figures, tie)
    assert round_to_figures(once, figures, tie) == once
    unit = Decimal(1).scaleb(value.adjusted() - figures + 1) if value else Decimal(0)
    assert abs(once - value) <= unit / 2
    place = round_to_place(value, "0.01", tie)
    assert round_to_place(place, "0.01", tie) == place
    assert abs(place - value) <= Decimal("0.005")


@pytest.mark.parametrize("text", ["", "<0.5", "nan", "Infinity", "0,5", "1e41", "1e-41"])
def test_text_that_is_no_number_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="number"):
        round_to_place(text, "0.1")


def test_a_place_of_zero_and_no_figures_are_refused() -> None:
    with pytest.raises(ValueError, match="must not be 0"):
        round_to_place("1", "0")
    with pytest.raises(ValueError, match="must be 1 to 40"):
        round_to_figures("1", 0)
