"""Attribute plans, the coliform rules for bottled water and most probable numbers agree with published tables."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from tests.table_rows import readings_of
from wqcheck.judging.plans import plans_named
from wqcheck.judging.ranges import Ranges, own_ranges
from wqcheck.statistics.most_probable_number import most_probable_number
from wqcheck.statistics.sampling_plans import (
    AttributePlan,
    acceptance_probability,
    acceptance_probability_of_lot,
    decide_lot,
)
from wqcheck.tables import Sign, Verdict

THREE_CLASS = AttributePlan(n=5, c=2, m=10, M=100)
FERMENTATION, FILTER = (row.plan for row in plans_named("us_coliforms"))


def units(texts: str) -> Ranges:
    """Return what units like ``<2.2 3.6 >23 ?`` can be, through a table of readings."""
    rows = []
    for word in texts.split():
        sign = word[0] if word[0] in "<>" else "="
        value = None if word == "?" else float(word.lstrip("<>"))
        sign = "not done" if word == "?" else sign
        rows.append({"parameter": "total_coliforms", "sign": sign, "value": value, "unit": "MPN", "volume_ml": 100.0})
    return own_ranges(readings_of(rows))


@pytest.mark.parametrize(
    ("lot", "verdict"),
    [
        ("5 12 20 8 9", Verdict.PASS),
        ("5 12 20 80 9", Verdict.FAIL),
        ("5 12 8 8 150", Verdict.FAIL),
        ("10 10 100 10 10", Verdict.PASS),
    ],
)
def test_one_lot_by_a_three_class_plan(lot: str, verdict: Verdict) -> None:
    """Codex CXG 50 and ICMSF, by definition: m is acceptable and M marginal; n = 5, c = 2, m = 10, M = 100."""
    assert decide_lot(units(lot), THREE_CLASS).verdict == verdict


@pytest.mark.parametrize(
    ("plan", "lot", "verdict"),
    [
        (AttributePlan(5, 1, 10, 100), "10 10 100 10 10", Verdict.PASS),  # all cheese, E. coli per g
        (AttributePlan(5, 1, 10, 100), "11 11 5 5 5", Verdict.FAIL),
        (AttributePlan(5, 1, 10, 100), "5 5 5 5 101", Verdict.FAIL),
        (AttributePlan(5, 1, 3, 9), "3 3 9 3 3", Verdict.PASS),  # unpasteurised milk for retail, E. coli per mL
        (AttributePlan(5, 1, 3, 9), "3 3 9.1 3 3", Verdict.FAIL),
        (AttributePlan(5, 1, 3, 9), "3 3 9 3", Verdict.UNDETERMINED),
    ],
)
def test_lots_by_plans_of_an_act(plan: AttributePlan, lot: str, verdict: Verdict) -> None:
    """Australia New Zealand Food Standards Code, Standard 1.6.1, section 1.6.1—2(c): a lot is unacceptable if more than
    c units are greater than m, or any is greater than M; Schedule 27, S27—4, gives these n, c, m and M.
    """  # noqa: D205 one sentence says it
    assert decide_lot(units(lot), plan).verdict == verdict


@pytest.mark.parametrize(
    ("lot", "verdict"),
    [
        ("5 5 5 5", Verdict.UNDETERMINED),  # a unit short
        ("5 5 5 5 ?", Verdict.UNDETERMINED),
        ("5 5 5 150", Verdict.FAIL),  # no other unit could mend that
        ("50 50 50 5", Verdict.FAIL),
        ("50 50 50 5 5 5", Verdict.UNDETERMINED),  # c belongs to n = 5
        ("<200 5 5 5 5", Verdict.UNDETERMINED),
        ("<20 <20 5 5 5", Verdict.PASS),
        ("<20 <20 <20 5 5", Verdict.UNDETERMINED),
        (">100 5 5 5 5", Verdict.FAIL),
        (">50 5 5 5 5", Verdict.UNDETERMINED),
    ],
)
def test_a_lot_that_is_not_fully_known_never_passes(lot: str, verdict: Verdict) -> None:
    assert decide_lot(units(lot), THREE_CLASS).verdict == verdict


@pytest.mark.parametrize(
    ("share", "accepted"),
    [(0.01, 0.95099), (0.05, 0.77378), (0.1, 0.59049), (0.2, 0.32768), (0.3, 0.16807), (0.5, 0.03125)],
)
def test_operating_characteristic_of_five_units_none_positive(share: float, accepted: float) -> None:
    """ICMSF (2011), Microorganisms in Foods 8: n = 5, c = 0; (1 - p)^5."""
    assert acceptance_probability(AttributePlan(5, 0, 0), share) == pytest.approx(accepted, abs=1e-5)


def test_operating_characteristic_of_other_plans() -> None:
    """ICMSF (2011): n = 5, c = 2 at 20 %; n = 60, c = 0 at 5 %; 5 drawn of a lot of 100 with 10 positive."""
    assert acceptance_probability(AttributePlan(5, 2, 0), 0.2) == pytest.approx(0.94208, abs=1e-5)
    assert acceptance_probability(AttributePlan(60, 0, 0), 0.05) == pytest.approx(0.04607, abs=1e-5)
    assert acceptance_probability_of_lot(AttributePlan(5, 0, 0), 100, 10) == pytest.approx(0.58375, abs=1e-5)


@settings(max_examples=40, deadline=None)
@given(st.integers(1, 20), st.data())
def test_operating_characteristics_agree_with_general_distributions(n: int, data: st.DataObject) -> None:
    """Reference: multinomial and hypergeometric distributions of scipy.stats."""
    c = data.draw(st.integers(0, n - 1))
    marginal, defective = data.draw(st.floats(0, 0.6)), data.draw(st.floats(0, 0.4))
    shares = [1 - marginal - defective, marginal, defective]
    expected = sum(stats.multinomial.pmf([n - k, k, 0], n, shares) for k in range(c + 1))
    plan = AttributePlan(n, c, 10, 100)
    assert acceptance_probability(plan, marginal, defective) == pytest.approx(expected, abs=1e-9)
    size = data.draw(st.integers(n, 60))
    bad = data.draw(st.integers(0, size))
    expected = stats.hypergeom.cdf(c, size, bad, n)
    assert acceptance_probability_of_lot(plan, size, bad) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(
    "wrong", [{"n": 5, "c": 5, "m": 1}, {"n": 5, "c": -1, "m": 1}, {"n": 5, "c": 1, "m": 10, "M": 1}]
)
def test_a_plan_that_cannot_be_is_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="must be"):
        AttributePlan(**wrong)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="shares"):
        acceptance_probability(THREE_CLASS, 0.7, 0.7)


NINE = "<1.1 " * 9


@pytest.mark.parametrize(
    ("sample", "verdict"),
    [
        (NINE + "<1.1", Verdict.PASS),
        (NINE + "5.1", Verdict.PASS),  # one unit of 2.2 or more is allowed
        (NINE + "9.2", Verdict.FAIL),
        ("<1.1 " * 8 + "2.2 2.2", Verdict.FAIL),
        ("<2.2 " * 10, Verdict.PASS),  # below 2.2 is not 2.2
        ("<2.3 " * 10, Verdict.UNDETERMINED),
        (NINE + ">8.0", Verdict.UNDETERMINED),
        (NINE + ">23", Verdict.FAIL),
        (NINE, Verdict.UNDETERMINED),
    ],
)
def test_coliforms_of_bottled_water_by_fermentation(sample: str, verdict: Verdict) -> None:
    """21 CFR 165.110(b)(2)(i)(A): of ten units at most one of 2.2 or more MPN per 100 mL, none of 9.2 or more."""
    assert decide_lot(units(sample), FERMENTATION).verdict == verdict


@pytest.mark.parametrize(
    ("sample", "verdict"),
    [
        ("0 0 0 0 0 0 0 0 0 0", Verdict.PASS),
        ("0 0 0 0 0 0 0 0 0 10", Verdict.PASS),  # one unit, mean 1.0
        ("0 0 0 0 0 0 0 0 0 11", Verdict.FAIL),  # mean 1.1
        ("0 0 0 0 0 0 0 0 4 4", Verdict.FAIL),  # two units, though the mean is 0.8
        ("0 0 0 0 0 0 0 3.9 3.9 2", Verdict.PASS),
        ("<1 <1 <1 <1 <1 <1 <1 <1 <1 <1", Verdict.PASS),
        ("<1 <1 <1 <1 <1 <1 <1 <1 <1 3", Verdict.UNDETERMINED),  # mean between 0.3 and 1.2
        ("0 0 0 0 0 0 0 0 0 >80", Verdict.FAIL),
        ("0 0 0 0 0 0 0 0 >80", Verdict.FAIL),  # a tenth unit could not bring the mean down to 1
        ("0 0 0 0 0 0 0 0 3 ?", Verdict.UNDETERMINED),
    ],
)
def test_coliforms_of_bottled_water_by_membrane_filter(sample: str, verdict: Verdict) -> None:
    """21 CFR 165.110(b)(2)(i)(A): at most one unit of 4.0 or more per 100 mL, and a mean of at most 1."""
    assert decide_lot(units(sample), FILTER).verdict == verdict


THREE_TUBES = {
    "001": 3.0, "010": 3.0, "011": 6.1, "020": 6.2, "100": 3.6, "101": 7.2, "110": 7.4, "111": 11, "200": 9.2,
    "210": 15, "211": 20, "220": 21, "221": 28, "300": 23, "310": 43, "311": 75, "320": 93, "321": 150, "330": 240,
    "331": 460, "332": 1100,
}  # fmt: skip
"""US FDA, Bacteriological Analytical Manual, Appendix 2 (Blodgett 2010), Table 1: MPN per g, tubes of 0.1, 0.01 and
0.001 g; cells from memory except 001, 111, 220 and 332."""

FIVES = {
    "100": 2.0, "111": 6.1, "210": 6.8, "310": 11, "420": 22, "430": 27, "500": 23, "510": 33, "520": 49, "530": 79,
    "540": 130, "550": 240, "551": 350, "552": 540, "553": 920, "554": 1600,
}  # fmt: skip
"""Standard Methods 9221 C, MPN index per 100 mL: five tubes each of 10, 1 and 0.1 mL."""


def counts(outcome: str) -> Sequence[int]:
    return [int(digit) for digit in outcome]


@pytest.mark.parametrize("outcome", FIVES)
def test_table_of_five_tubes(outcome: str) -> None:
    found = most_probable_number([10, 1, 0.1], [5, 5, 5], counts(outcome))
    assert found.sign == Sign.EQUAL
    assert found.value == pytest.approx(FIVES[outcome], rel=0.03)


@pytest.mark.parametrize("outcome", THREE_TUBES)
def test_table_of_three_tubes(outcome: str) -> None:
    found = most_probable_number([0.1, 0.01, 0.001], [3, 3, 3], counts(outcome))
    assert found.value / 100 == pytest.approx(THREE_TUBES[outcome], rel=0.03)


@pytest.mark.parametrize(
    ("positive", "printed"),
    [(1, 1.1), (2, 2.2), (3, 3.6), (4, 5.1), (5, 6.9), (6, 9.2), (7, 12.0), (8, 16.1), (9, 23.0)],
)
def test_table_of_ten_tubes(positive: int, printed: float) -> None:
    """Standard Methods 9221 C, ten tubes of 10 mL (from memory); 2.2 and 9.2 are the figures of 21 CFR 165.110."""
    assert most_probable_number([10], [10], [positive]).value == pytest.approx(printed, abs=0.051)


@pytest.mark.parametrize(("positive", "printed"), [(1, 1.1), (2, 2.6), (3, 4.6), (4, 8.0)])
def test_table_of_five_tubes_of_20_ml(positive: int, printed: float) -> None:
    """Standard Methods 9221 C, five tubes of 20 mL (from memory)."""
    assert most_probable_number([20], [5], [positive]).value == pytest.approx(printed, abs=0.051)


@pytest.mark.parametrize(
    ("positive", "tubes", "volumes", "per_ml"),
    [
        ([5, 3, 0], [5] * 3, [10, 1, 0.1], 0.792),
        ([6, 2, 1, 0], [10] * 4, [10, 1, 0.1, 0.01], 0.1215),
        ([3, 1, 1], [3] * 3, [1, 0.1, 0.01], 7.5),
        ([20, 14, 3], [20] * 3, [1, 0.1, 0.01], 13),
        ([5, 3, 0], [10] * 3, [0.1, 0.01, 0.001], 9.950764),
    ],
)
def test_examples_of_handbooks(positive: list[int], tubes: list[int], volumes: list[float], per_ml: float) -> None:
    """Haas, Rose and Gerba (2014), example 6.4 and p. 178; Jarvis et al. (2010); Blodgett's spreadsheet."""
    assert most_probable_number(volumes, tubes, positive).value / 100 == pytest.approx(per_ml, rel=0.03)


def test_no_tube_and_every_tube_positive_give_a_sign() -> None:
    """Standard Methods 9221 C: <1.8 and >1600; Bacteriological Analytical Manual, Appendix 2: <3.0 and >1100 per g."""
    for volumes, tubes, low, high in (([10, 1, 0.1], [5] * 3, 1.8, 1600), ([0.1, 0.01, 0.001], [3] * 3, 300, 110_000)):
        none, every = (most_probable_number(volumes, tubes, found) for found in ([0, 0, 0], tubes))
        assert (none.sign, every.sign) == (Sign.LESS, Sign.GREATER)
        assert none.value == pytest.approx(low, rel=0.03)
        assert every.value == pytest.approx(high, rel=0.03)
        assert np.isnan(none.limits()).all()


def test_error_of_the_logarithm_agrees_with_a_binomial_one() -> None:
    """One dilution, by the delta method: λ = -ln(1 - p)/v with the variance of p, p (1 - p)/n."""
    found = most_probable_number([10], [10], [4])
    p = 0.4
    expected = np.sqrt(p / (10 * (1 - p))) / -np.log(1 - p)
    assert found.log_error == pytest.approx(expected)
    low, high = found.limits()
    assert np.sqrt(low * high) == pytest.approx(found.value)
    assert np.log(high / low) == pytest.approx(2 * 1.959964 * expected, rel=1e-6)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 5), st.integers(0, 5), st.integers(0, 5), st.floats(0.01, 100))
def test_mpn_maximises_the_likelihood_whatever_the_volume(a: int, b: int, c: int, factor: float) -> None:
    found = most_probable_number([10, 1, 0.1], [5, 5, 5], [a, b, c])
    scaled = most_probable_number([10 * factor, factor, 0.1 * factor], [5, 5, 5], [a, b, c])
    assert scaled.value * factor == pytest.approx(found.value, rel=1e-9)
    if found.sign != Sign.EQUAL:
        return
    volumes, positive = np.array([10, 1, 0.1]), np.array([a, b, c])

    def likelihood(per_100_ml: float) -> float:
        return float(stats.binom.logpmf(positive, 5, -np.expm1(-per_100_ml / 100 * volumes)).sum())

    best = likelihood(found.value)
    assert all(likelihood(found.value * step) <= best for step in (0.9, 0.999, 1.001, 1.1))


@pytest.mark.parametrize(
    ("volumes", "tubes", "positive"),
    [([10, 1], [5], [1]), ([10], [5], [6]), ([0], [5], [1]), ([10], [5], [-1]), ([100], [1], [1]), ([], [], [])],
)
def test_what_is_no_dilution_series_is_refused(volumes: list[float], tubes: list[int], positive: list[int]) -> None:
    with pytest.raises(ValueError, match=r"volume|tube"):
        most_probable_number(volumes, tubes, positive)
