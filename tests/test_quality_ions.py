"""Ion sums, solids, conductivity and hardness agree with published analyses, recomputed where those contain errors."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pandera.typing import DataFrame

from tests.table_rows import readings_of
from wqcheck.findings import Severity
from wqcheck.quality.checks import check_quality
from wqcheck.quality.ion_balance import Balance, accepted_difference, balance_of, ions_of
from wqcheck.quality.mineral_checks import calculated_conductivity, calculated_solids
from wqcheck.quality.sample_amounts import samples_of
from wqcheck.tables import Readings

BASES = {
    "calcium": "Ca", "magnesium": "Mg", "sodium": "Na", "potassium": "K", "bicarbonate": "HCO3", "carbonate": "CO3",
    "chloride": "Cl", "sulfate": "SO4", "nitrate": "NO3", "fluoride": "F", "silica": "SiO2", "alkalinity": "CaCO3",
    "hardness": "CaCO3", "nitrate_plus_nitrite": "N", "electrical_conductivity": "25 °C",
}  # fmt: skip
UNITS = {"electrical_conductivity": "µS/cm", "ph": "pH"}

LECTURE = {
    "calcium": 92.0, "magnesium": 34.0, "sodium": 8.2, "potassium": 1.4, "bicarbonate": 325.0, "sulfate": 84.0,
    "chloride": 9.6, "nitrate": 13.0,
}  # fmt: skip
"""University lecture notes "Water Analysis Report" (checking correctness of analyses, after Standard Methods 1030 E);
0.1 mg/L Fe(III) left out."""

BAR_GRAPH = {
    "calcium": 95.0, "magnesium": 26.0, "sodium": 15.0, "bicarbonate": 160.0, "sulfate": 135.0, "chloride": 73.0,
}  # fmt: skip
"""Ion concentration bar graph, a problem of the Masters and Ela / Davis and Cornwell type."""

COURSE = {
    "calcium": 70.0, "magnesium": 9.7, "sodium": 6.9, "potassium": 0.1, "bicarbonate": 140.3, "sulfate": 96.0,
    "chloride": 10.6,
}  # fmt: skip
"""Course problem of the Reynolds and Richards / Viessman type, "Is this an acceptable analysis?"."""

WYOMING = {
    "calcium": 25.0, "magnesium": 14.0, "sodium": 190.0, "potassium": 13.0, "bicarbonate": 707.0, "chloride": 7.0,
    "sulfate": 1.2, "fluoride": 1.1, "silica": 20.0,
}  # fmt: skip
"""Bartos and Ogle (2002), USGS Water-Resources Investigations Report 02-4045, Table 4, sample 1."""

SITE_134 = {
    "calcium": 30.97, "magnesium": 18.21, "sodium": 8.182, "potassium": 2.254, "sulfate": 19.308, "chloride": 10.603,
    "fluoride": 0.237, "silica": 40.27, "nitrate_plus_nitrite": 0.562, "alkalinity": 136.3, "ph": 7.22,
    "electrical_conductivity": 337.0,
}  # fmt: skip
TAN_2272 = {
    "calcium": 100.5, "magnesium": 82.0, "sodium": 166.5, "potassium": 7.956, "sulfate": 47.412, "chloride": 129.4,
    "fluoride": 0.147, "silica": 32.4, "nitrate_plus_nitrite": 0.05677, "alkalinity": 805.2, "ph": 7.46,
    "electrical_conductivity": 1710.0,
}  # fmt: skip
LITTLE_LOST_RIVER = {
    "calcium": 28.0, "magnesium": 9.2, "sodium": 5.6, "potassium": 1.1, "sulfate": 1.0, "chloride": 4.4,
    "fluoride": 0.1, "silica": 14.0, "nitrate_plus_nitrite": 0.11, "alkalinity": 91.0, "ph": 8.3,
    "electrical_conductivity": 234.0,
}  # fmt: skip
"""USGS National Water Information System, in the data set of the R package inldata 1.2.5 (public domain)."""


def water(amounts: Mapping[str, float], **others: Any) -> DataFrame[Readings]:
    """Return one sample with these results, in mg/L on the basis that each usually has."""
    rows = [
        {"sample": "S1", "parameter": code, "value": value, "reported": f"{value:g}", "unit": UNITS.get(code, "mg/L"),
         "basis": BASES.get(code), **others}
        for code, value in amounts.items()
    ]  # fmt: skip
    return readings_of(rows)


def balance(amounts: Mapping[str, float]) -> Balance:
    samples = samples_of(water(amounts))
    return balance_of(ions_of(samples), samples.amount("ph"))


def codes(readings: DataFrame[Readings]) -> list[str]:
    return [finding.code for finding in check_quality(readings)]


@pytest.mark.parametrize(
    ("amounts", "cations", "anions", "percent", "tolerance"),
    [
        (LECTURE, 7.7867 - 0.0054, 7.5559, 1.470, 0.02),  # published 7.79 and 7.56, with iron
        (BAR_GRAPH, 7.5327, 7.4924, 0.268, 0.01),
        (COURSE, 4.5941, 4.5972, -0.035, 0.01),
        (WYOMING, 10.997, 11.867, -3.809, 0.02),
        (SITE_134, 3.4575, 3.4774, -0.29, 0.02),
        (TAN_2272, 19.209, 20.739, -3.83, 0.02),
        (LITTLE_LOST_RIVER, 2.426, 1.9765, 10.21, 0.02),
    ],
)
def test_sums_of_charge_of_published_analyses(
    amounts: Mapping[str, float], cations: float, anions: float, percent: float, tolerance: float
) -> None:
    """Sums recomputed from the printed concentrations; sources beside each analysis above."""
    found = balance(amounts)
    assert found.cations_low[0] == pytest.approx(cations, abs=tolerance)
    assert found.anions_low[0] == pytest.approx(anions, abs=tolerance)
    assert found.percent[0] == pytest.approx(percent, abs=tolerance)


@pytest.mark.parametrize(
    ("anions", "accepted"),
    [(0.5, 0.2), (3.0, 0.2), (5.0, 0.02 * 10), (9.9, 0.02 * 19.8), (20.0, 0.05 * 40), (500.0, 0.05 * 1000)],
)
def test_the_band_depends_on_the_sum_of_anions(anions: float, accepted: float) -> None:
    """APHA Standard Methods 1030 E: ± 0.2 meq/L up to 3, 2 % up to 10, 5 % above."""
    assert accepted_difference(np.array([anions]), np.array([anions]))[0] == pytest.approx(accepted)


def test_a_balance_is_judged_by_its_band_and_not_by_a_flat_share() -> None:
    """−3.8 % is accepted at 20.7 meq/L (TAN 2272), 10 % is not at 2 meq/L (Little Lost River); sources above."""
    assert balance(TAN_2272).excess[0] == pytest.approx(3.83 / 5, abs=0.01)
    assert balance(LITTLE_LOST_RIVER).excess[0] == pytest.approx((2.426 - 1.9765) / 0.2, abs=0.02)
    assert "ion balance" not in codes(water(TAN_2272))
    assert "ion balance" in codes(water(LITTLE_LOST_RIVER))


def test_a_permeate_at_minus_twelve_percent_may_balance() -> None:
    """Below 3 meq/L the band is absolute (1030 E): here 0.16 meq/L apart. Invented figures."""
    dilute = {"calcium": 1.0, "magnesium": 0.5, "sodium": 11.0, "potassium": 0.4, "chloride": 22.0, "sulfate": 2.0,
              "nitrate": 0.5, "alkalinity": 4.0}  # fmt: skip
    assert balance(dilute).percent[0] < -10
    assert codes(water(dilute)) == []


@pytest.mark.parametrize(
    ("amounts", "solids"),
    [(SITE_134, 214.3), (TAN_2272, 1049.7), (LITTLE_LOST_RIVER, 118.5)],
)
def test_calculated_solids(amounts: Mapping[str, float], solids: float) -> None:
    """0.6 alkalinity as CaCO3 plus the ions and SiO2 (1030 E), recomputed. The nitrate there is part of NO3 + NO2."""
    plain = {code: value for code, value in amounts.items() if code != "nitrate_plus_nitrite"}
    plain["nitrate"] = amounts["nitrate_plus_nitrite"] * 62.004 / 14.007
    samples = samples_of(water(plain))
    low, high = calculated_solids(samples, ions_of(samples))
    assert low[0] == pytest.approx(solids, rel=0.005)
    assert low[0] == high[0]


def test_the_lecture_adds_bicarbonate_whole_and_so_misses_its_own_criterion() -> None:
    """The lecture notes print 567.2 mg/L and a ratio of 1.06, for they add 325 mg/L of bicarbonate undiminished.

    With 0.6 of the alkalinity as CaCO3 (266.6 mg/L), as its formula says, the ratio of 603.5 mg/L is 1.50.
    """
    samples = samples_of(water(LECTURE))
    low, _ = calculated_solids(samples, ions_of(samples))
    assert low[0] - 0.6 * 325 * 50.043 / 61.016 + 325 == pytest.approx(567.2, abs=0.05)
    assert 603.5 / low[0] == pytest.approx(1.50, abs=0.01)
    assert "dissolved solids" in codes(water({**LECTURE, "total_dissolved_solids": 603.5}))
    assert "dissolved solids" not in codes(water({**LECTURE, "total_dissolved_solids": 440.0}))


@pytest.mark.parametrize(
    ("amounts", "speciated", "measured"),
    [(SITE_134, 332.1, 339.4), (TAN_2272, 1728.4, 1711.5), (LITTLE_LOST_RIVER, 210.5, 214.0)],
)
def test_calculated_conductivity_of_natural_waters(
    amounts: Mapping[str, float], speciated: float, measured: float
) -> None:
    """Laboratory conductivity (USGS) and that of a speciation with PHREEQC lie within 5 % of the calculated range."""
    low, high = calculated_conductivity(ions_of(samples_of(water(amounts))))
    for figure in (speciated, measured):
        assert 0.95 * low[0] < figure < 1.05 * high[0]


@pytest.mark.parametrize(("molar", "microsiemens"), [(0.0005, 73.9), (0.001, 146.9), (0.01, 1412.0), (0.1, 12880.0)])
def test_calculated_conductivity_of_potassium_chloride(molar: float, microsiemens: float) -> None:
    """Potassium chloride at 25 °C, APHA Standard Methods Table 2510:I and CRC Handbook (from memory)."""
    others = dict.fromkeys(("calcium", "magnesium", "sodium", "sulfate", "alkalinity"), 0.0)
    solution = {**others, "potassium": molar * 39098, "chloride": molar * 35450}
    low, high = calculated_conductivity(ions_of(samples_of(water(solution))))
    assert low[0] < microsiemens < 1.1 * high[0]


@pytest.mark.parametrize(
    ("amounts", "published"), [(BAR_GRAPH, 344.3), (WYOMING, 120.0), (SITE_134, 152.5), (TAN_2272, 590.4)]
)
def test_hardness_is_that_of_calcium_and_magnesium(amounts: Mapping[str, float], published: float) -> None:
    """2.497 Ca + 4.118 Mg (APHA Standard Methods 2340 B); hardness as the sources above print it."""
    assert 2.497 * amounts["calcium"] + 4.118 * amounts["magnesium"] == pytest.approx(published, rel=0.004)
    assert "hardness" not in codes(water({**amounts, "hardness": published}))
    assert "hardness" in codes(water({**amounts, "hardness": 0.8 * published}))
    assert "hardness" in codes(water({**amounts, "hardness": 1.25 * published}))


def test_calcium_given_as_calcium_carbonate_is_found() -> None:
    """Ca as CaCO3 is 2.497 times Ca (CIAAW 2021 atomic weights)."""
    assert "hardness" in codes(water({**SITE_134, "calcium": 2.497 * 30.97, "hardness": 152.5}))
    assert "ion balance" in codes(water({**SITE_134, "calcium": 2.497 * 30.97}))


def test_alkalinity_and_bicarbonate_give_the_same_charge() -> None:
    """580 mg/L ANC as CaCO3 are 707 mg/L HCO3: HCO3 = ANC / 0.8202 (USGS WRIR 02-4045, footnote 2; Hem 1985 p. 57)."""
    titrated = {code: value for code, value in WYOMING.items() if code != "bicarbonate"} | {"alkalinity": 580.0}
    assert balance(titrated).anions_low[0] == pytest.approx(balance(WYOMING).anions_low[0], rel=0.001)


def test_bicarbonate_and_carbonate_are_added() -> None:
    """A milliequivalent is 61.016 mg of bicarbonate or 30.004 mg of carbonate (CIAAW 2021)."""
    split = {**WYOMING, "bicarbonate": 707 - 61.016, "carbonate": 30.004}
    assert balance(split).anions_low[0] == pytest.approx(balance(WYOMING).anions_low[0], rel=1e-4)


@pytest.mark.parametrize("missing", ["calcium", "magnesium", "sodium", "chloride", "sulfate", "alkalinity"])
def test_without_a_major_ion_there_is_no_balance(missing: str) -> None:
    readings = water({code: value for code, value in SITE_134.items() if code != missing})
    found = [finding for finding in check_quality(readings) if finding.code.startswith("ion balance")]
    assert [finding.code for finding in found] == ["ion balance not evaluable"]
    assert missing in found[0].message


def test_a_missing_potassium_only_excuses_what_it_could_explain() -> None:
    """Potassium adds to the cations: it can explain too few of them, not too many."""
    bare = {code: value for code, value in SITE_134.items() if code != "potassium"}
    few, many = {**bare, "sodium": 1.0}, {**bare, "sodium": 40.0}
    assert "ion balance not evaluable" in codes(water(few))
    assert "ion balance" in codes(water(many))


def test_non_detects_enter_as_bounds() -> None:
    """Chloride <40 could be 10.6, which balances (site 134), and could be nothing; it is not taken as either."""
    rows = water(SITE_134)
    chloride = rows[Readings.parameter].eq("chloride")
    changed = rows.assign(
        **{
            Readings.sign: rows[Readings.sign].mask(chloride, "<"),
            Readings.value: rows[Readings.value].mask(chloride, 40.0),
        }
    )
    samples = samples_of(Readings.validate(changed))
    found = balance_of(ions_of(samples), samples.amount("ph"))
    assert found.anions_low[0] == pytest.approx(3.4774 - 10.603 / 35.45, abs=0.005)
    assert found.anions_high[0] == pytest.approx(3.4774 + (40 - 10.603) / 35.45, abs=0.005)
    assert "ion balance" not in [finding.code for finding in check_quality(Readings.validate(changed))]


def test_a_basis_that_is_not_stated_widens_the_sum() -> None:
    """Nitrate 45 may be as NO3 (0.73 meq/L) or as N (3.2 meq/L): no finding rests on either."""
    rows = [
        {"sample": "S1", "parameter": code, "value": value, "reported": f"{value:g}", "unit": "mg/L",
         "basis": None if code == "nitrate" else BASES[code]}
        for code, value in {**LECTURE, "nitrate": 45.0}.items()
    ]  # fmt: skip
    samples = samples_of(readings_of(rows))
    found = balance_of(ions_of(samples), samples.amount("ph"))
    assert found.anions_high[0] - found.anions_low[0] == pytest.approx(45 / 14.007 - 45 / 62.004, rel=1e-4)


def test_sound_published_analyses_give_no_note_on_conductivity() -> None:
    """TAN 2272 leaves the band 0.9 to 1.1 of 1030 E (1.12 and 1.21) although sound: its own ions explain it."""
    for amounts in (SITE_134, TAN_2272):
        assert [code for code in codes(water(amounts)) if "conductivity" in code] == []
    assert 100 * balance(TAN_2272).anions_low[0] / 1710 == pytest.approx(1.213, abs=0.005)


@pytest.mark.parametrize("factor", [0.001, 0.5, 2.0, 1000.0])
def test_a_conductivity_that_does_not_fit_is_noted(factor: float) -> None:
    changed = {**SITE_134, "electrical_conductivity": 337 * factor}
    found = [finding for finding in check_quality(water(changed)) if finding.code == "conductivity and ions"]
    assert [finding.severity for finding in found] == [Severity.NOTE]


@pytest.mark.parametrize(
    ("solids", "conductivity", "noted"),
    [(214.0, 337.0, False), (337.0, 337.0, True), (160.0, 337.0, True), (38.0, 76.0, False), (20.0, 76.0, True)],
)
def test_solids_by_conductivity(solids: float, conductivity: float, noted: bool) -> None:
    """0.55 to 0.7 (1030 E); sodium chloride 58.44/126.5 = 0.46, so a permeate at 0.5 is sound."""
    found = codes(water({"total_dissolved_solids": solids, "electrical_conductivity": conductivity}))
    assert ("solids and conductivity" in found) is noted


@pytest.mark.parametrize(
    ("amounts", "noted"),
    [
        ({"carbonate": 12.0, "bicarbonate": 200.0, "ph": 7.4}, True),
        ({"carbonate": 12.0, "bicarbonate": 200.0, "ph": 8.6}, False),
        ({"carbonate": 12.0, "bicarbonate": 200.0, "ph": 8.2}, False),
        ({"alkalinity": 50.0, "ph": 3.6}, True),
        ({"alkalinity": 50.0, "ph": 5.5}, False),
    ],
)
def test_forms_of_alkalinity_beside_ph(amounts: Mapping[str, float], noted: bool) -> None:
    """End points of the titration: pH 8.3 for carbonate, about 4.5 for all of it (APHA Standard Methods 2320 B)."""
    assert ("alkalinity forms" in codes(water(amounts))) is noted


MASS_PER_CHARGE = {
    "calcium": 20.039, "magnesium": 12.1525, "sodium": 22.99, "potassium": 39.098, "chloride": 35.45,
    "sulfate": 48.028, "nitrate": 62.004, "alkalinity": 50.043,
}  # fmt: skip
"""g per mole of charge, from the abridged standard atomic weights (CIAAW 2021)."""

SHARES = st.lists(st.floats(0.1, 1.0), min_size=4, max_size=4)


@st.composite
def balanced_waters(draw: st.DrawFn) -> dict[str, float]:
    """Draw a water whose charges balance to 0.2 %, each ion at least a fortieth of its sum (invented)."""
    total = draw(st.floats(1.0, 20.0))
    amounts = {}
    for ions in (("calcium", "magnesium", "sodium", "potassium"), ("chloride", "sulfate", "nitrate", "alkalinity")):
        shares = draw(SHARES)
        for ion, share in zip(ions, shares, strict=True):
            amounts[ion] = float(f"{total * share / sum(shares) * MASS_PER_CHARGE[ion]:.4g}")
    return amounts


@given(amounts=balanced_waters())
@settings(max_examples=40, deadline=None)
def test_a_balanced_water_gives_no_finding(amounts: dict[str, float]) -> None:
    hardness = float(f"{2.497 * amounts['calcium'] + 4.118 * amounts['magnesium']:.4g}")
    ions = sum(value for code, value in amounts.items() if code != "alkalinity")
    solids = float(f"{1.1 * (ions + 0.6 * amounts['alkalinity']):.4g}")
    assert codes(water({**amounts, "hardness": hardness, "total_dissolved_solids": solids, "ph": 7.5})) == []


@given(amounts=balanced_waters(), wrong=st.sampled_from(sorted(MASS_PER_CHARGE)))
@settings(max_examples=40, deadline=None)
def test_one_ion_a_thousand_times_too_large_gives_one_finding_that_holds(amounts: dict[str, float], wrong: str) -> None:
    found = check_quality(water({**amounts, wrong: 1000 * amounts[wrong]}))
    assert [(finding.code, finding.severity) for finding in found] == [("ion balance", Severity.HOLD)]
    assert found[0].where.startswith("book.xlsx|Results!B2")
