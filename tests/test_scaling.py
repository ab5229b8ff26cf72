"""Saturation of concentrates agrees with Standard Methods, handbook solubilities and a geochemistry library."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wqcheck.plant import scaling
from wqcheck.plant.ion_activities import (
    IonWater,
    activities,
    charge_balance,
    davies,
    debye_hueckel_constants,
    ionic_strength,
    second_dissociation,
    truesdell_jones,
    van_t_hoff,
)

BRACKISH = IonWater(
    temperature=25.0, ph=7.4, calcium=160.0, magnesium=60.0, sodium=600.0, alkalinity=220.0, sulfate=420.0,
    chloride=900.0, potassium=12.0, nitrate=10.0, strontium=4.0, barium=0.05, fluoride=0.9, silica=22.0,
)  # fmt: skip
SOFT = IonWater(
    temperature=15.0, ph=7.0, calcium=20.0, magnesium=5.0, sodium=12.0, alkalinity=60.0, sulfate=12.0, chloride=14.0,
    strontium=0.1, barium=0.02, fluoride=0.2, silica=10.0,
)  # fmt: skip
SEAWATER = IonWater(
    temperature=25.0, ph=8.22, calcium=421.8, magnesium=1321.5, sodium=11015.7, potassium=408.3, chloride=19798.1,
    sulfate=2774.4, alkalinity=118.9,
)  # fmt: skip
"""Nordstrom et al. (1979), the seawater of example 1 of PHREEQC's manual, mg/kg times 1.023."""
DILUTE = IonWater(
    temperature=25.0, ph=7.0, calcium=0.0, magnesium=0.0, sodium=0.0, alkalinity=1e-6, sulfate=0.0, chloride=0.0
)
WATERS = {
    "brackish": BRACKISH,
    "concentrate": scaling.concentrate_water(BRACKISH, 0.75),
    "cold": replace(BRACKISH, temperature=8.0),
    "warm alkaline": replace(BRACKISH, temperature=35.0, ph=8.8),
    "soft": SOFT,
    "seawater": SEAWATER,
}


def only(**ions: float) -> IonWater:
    """Return pure water with some ions in mg/L."""
    return replace(DILUTE, **ions)


@cache
def geochemistry(database: str) -> Any:
    return pytest.importorskip("phreeqpython").PhreeqPython(database)


def by_library(water: IonWater, database: str) -> Any:
    """Return the library's solution of a water."""
    parts: dict[str, Any] = {"units": "mg/l", "temp": float(water.temperature), "pH": float(water.ph)}
    parts |= {
        "Ca": water.calcium,
        "Mg": water.magnesium,
        "Na": water.sodium,
        "K": water.potassium,
        "Cl": water.chloride,
    }
    parts |= {"Sr": water.strontium, "Ba": water.barium, "F": water.fluoride}
    parts = {key: value if key == "units" else float(value) for key, value in parts.items()}
    parts = {key: value for key, value in parts.items() if key == "units" or np.isfinite(value)}
    parts["Alkalinity"] = f"{float(water.alkalinity)} as CaCO3"
    parts["S(6)"] = f"{float(water.sulfate)} as SO4"
    if np.isfinite(water.silica):
        parts["Si"] = f"{float(water.silica)} as SiO2"
    return geochemistry(database).add_solution_raw(parts)


def test_constants_of_carbonate_equilibria() -> None:
    """Standard Methods 2330 B (Plummer & Busenberg 1982), 5 to 50 °C; 10.33 and 8.48 at 25 °C in its table."""
    celsius = np.array([5, 10, 15, 20, 25, 30, 40, 50])
    pk2 = [10.5544, 10.4879, 10.4284, 10.3756, 10.3289, 10.2879, 10.2217, 10.1744]
    pksc = [8.3942, 8.4105, 8.4302, 8.4533, 8.4798, 8.5098, 8.5797, 8.6628]
    a = [0.4944, 0.4982, 0.5022, 0.5064, 0.5108, 0.5155, 0.5255, 0.5365]
    assert second_dissociation(celsius) == pytest.approx(pk2, abs=5e-4)
    assert scaling.calcite_product(celsius) == pytest.approx(pksc, abs=5e-4)
    assert debye_hueckel_constants(celsius)[0] == pytest.approx(a, abs=5e-4)


def test_second_dissociation_agrees_with_an_older_fit() -> None:
    """Harned & Scholes as in Newfoundland's Calculation of the Langelier Index, step 1: pK₂ 10.331 at 298 K."""
    assert second_dissociation(298 - 273.15) == pytest.approx(10.331, abs=0.005)


def test_langelier_index_of_a_circulating_example() -> None:
    """Four-factor form (Langelier 1936, Carrier 1965): pH 7.5, TDS 320, Ca 150, alkalinity 34 as CaCO₃; −0.7, 0.3."""
    water = only(ph=7.5, calcium=150 * 40.078 / 100.086, alkalinity=34.0)
    found = [
        float(scaling.langelier_index(replace(water, temperature=warm), 320, simplified=True)) for warm in (25.0, 82.0)
    ]
    assert found == pytest.approx([-0.7312, 0.2661], abs=0.002)


def test_methods_for_one_water_differ_as_published() -> None:
    """Davis (2010), Water and Wastewater Engineering, eq. 7-36: pHs 8.00; 7.77 in full and 7.97 in four factors."""
    assert scaling.saturation_ph(40, 120, 400, 20) == pytest.approx(7.766, abs=0.01)
    assert scaling.simplified_saturation_ph(40, 120, 400, 20) == pytest.approx(7.966, abs=0.01)
    assert scaling.simplified_saturation_ph(40, 120, 400, 20) == pytest.approx(8.001, abs=0.05)


def test_calcium_as_carbonate_moves_the_index_by_four_tenths() -> None:
    """log10(100.09/40.08) = 0.40: the commonest slip of basis."""
    wrong = scaling.saturation_ph(40 * 100.086 / 40.078, 120, 400, 20)
    assert scaling.saturation_ph(40, 120, 400, 20) - wrong == pytest.approx(0.397, abs=0.001)


def test_stiff_davis_index_of_seawater_is_far_below_its_langelier_index() -> None:
    """Seawater is close to zero on it and near 1 on the other (values recalled from memory, no source)."""
    stiff = float(scaling.stiff_davis_index(replace(SEAWATER, ph=8.1)))
    full = float(scaling.langelier_index(replace(SEAWATER, ph=8.1), 35_000))
    assert abs(stiff) < 0.3
    assert full - stiff > 0.5
    low, high = scaling.stiff_davis_constant([1.19999, 1.2], 25)
    assert low == pytest.approx(high, abs=0.12)
    assert np.isnan(scaling.stiff_davis_constant([0.0, 5.0], 25)).all()


def test_amorphous_silica_by_temperature() -> None:
    """Rimstidt & Barnes (1980), Geochim. Cosmochim. Acta 44, recomputed; PHREEQC's table beside it, within 3 %."""
    found = scaling.silica_solubility([5, 10, 15, 20, 25, 30, 35, 40], 4.0)
    assert found == pytest.approx([75.34, 84.41, 94.17, 104.6, 115.8, 127.8, 140.4, 153.8], rel=1e-3)
    assert scaling.silica_solubility([5, 15, 25, 35], 4.0) == pytest.approx([77.7, 95.9, 116.7, 140.1], rel=0.035)


def test_silica_dissolves_more_only_in_alkaline_water() -> None:
    """At pH 9.83, the first pK of silicic acid at 25 °C, half is ionised (Nordstrom et al. 1990); refused above 9.5."""
    neutral, alkaline, over = scaling.silica_solubility(25, [7.0, 9.5, 9.83])
    assert alkaline / neutral == pytest.approx(1 + 10 ** (9.5 - 9.83), rel=0.01)
    assert np.isnan(over)


@pytest.mark.parametrize(
    ("salt", "ions", "tolerance"),
    [
        ("gypsum", {"calcium": 15.2e-3 * 40_078, "sulfate": 15.2e-3 * 96_056}, 0.06),
        ("barite", {"barium": 2.42 * 137.33 / 233.39, "sulfate": 2.42 * 96.056 / 233.39}, 0.1),
        ("celestite", {"strontium": 125 * 87.62 / 183.68, "sulfate": 125 * 96.056 / 183.68}, 0.25),
        ("fluorite", {"calcium": 15.5 * 40.078 / 78.07, "fluoride": 15.5 * 2 * 18.998 / 78.07}, 0.25),
    ],
)
def test_a_saturated_solution_is_saturated(salt: str, ions: dict[str, float], tolerance: float) -> None:
    """Handbook solubilities at 25 °C, recalled: gypsum 15.2 mmol/kg, BaSO₄ 2.4, SrSO₄ 113-135, CaF₂ 15-16 mg/L."""
    ratio = float(scaling.saturation_ratios(only(**ions))[salt])
    assert ratio == pytest.approx(1, abs=2 * tolerance)
    assert 1 - 2 * tolerance < ratio


def test_leaving_out_activities_would_call_gypsum_many_times_saturated() -> None:
    """At 15.2 mmol/kg the plain product is nine times 10^−4.58 (its constant in Nordstrom et al. 1990)."""
    assert scaling.solubility_product("gypsum", 25) == pytest.approx(-4.58, abs=0.005)
    assert 15.2e-3**2 / 10**-4.58 > 8


@pytest.mark.parametrize(
    ("salt", "constant"), [("gypsum", -4.58), ("barite", -9.97), ("celestite", -6.63), ("fluorite", -10.60)]
)
def test_solubility_products_at_25_degrees(salt: str, constant: float) -> None:
    """Table of Nordstrom et al. (1990): log10 K at 25 °C stated beside each temperature function."""
    assert scaling.solubility_product(salt, 25) == pytest.approx(constant, abs=0.01)


@pytest.mark.parametrize("name", WATERS)
def test_saturation_agrees_with_a_geochemistry_library(name: str) -> None:
    """PHREEQC, phreeqc.dat: its indices, activities and ion pairs, found by other means from like constants."""
    water = WATERS[name]
    found = by_library(water, "phreeqc.dat")
    mine = {salt: float(np.log10(value)) for salt, value in scaling.saturation_ratios(water).items()}
    mine["calcite"] = float(scaling.calcite_index(water))
    phases = {"gypsum": "Gypsum", "celestite": "Celestite", "fluorite": "Fluorite", "calcite": "Calcite"}
    for salt, phase in phases.items():
        if np.isfinite(mine[salt]):
            assert mine[salt] == pytest.approx(found.si(phase), abs=0.1), salt
    if np.isfinite(mine["silica"]):
        assert mine["silica"] == pytest.approx(found.si("SiO2(a)"), abs=0.05)
    assert activities(water).ionic_strength == pytest.approx(found.I, rel=0.05)


@pytest.mark.parametrize("name", ["brackish", "concentrate", "cold", "soft"])
def test_barite_is_called_sooner_than_by_the_library(name: str) -> None:
    """phreeqc.dat took a later constant (Blount 1977): ours, of 1990, lies 0.1 to 0.3 higher, on the safe side."""
    mine = float(np.log10(scaling.saturation_ratios(WATERS[name])["barite"]))
    assert 0.05 < mine - by_library(WATERS[name], "phreeqc.dat").si("Barite") < 0.35


def test_seawater_agrees_with_the_manual_of_the_library() -> None:
    """PHREEQC manual, example 1: ionic strength 0.675 mol/kg, calcite index 0.74 (0.76 in later editions)."""
    assert activities(SEAWATER).ionic_strength == pytest.approx(0.675, rel=0.03)
    assert scaling.calcite_index(SEAWATER) == pytest.approx(0.75, abs=0.05)
    assert charge_balance(SEAWATER) == pytest.approx(0.0006, abs=5e-4)


def test_ionic_strength_of_seawater_without_pairs() -> None:
    """Reference seawater has 0.7226 mol/kg (Millero et al. 2008); counting a litre as a kilogram adds 2.3 %."""
    assert ionic_strength(SEAWATER) == pytest.approx(0.7226 * 1.023, rel=0.005)


def test_activity_coefficients_of_the_textbooks() -> None:
    """Kielland's table (1937), recalled: z = 1 and 2 at 0.01 mol/L about 0.90 and 0.675, at 0.1 about 0.76 and 0.40."""
    a, b = debye_hueckel_constants(25)
    assert 10 ** davies(1, [0.01, 0.1], a) == pytest.approx([0.90, 0.76], abs=0.03)
    assert 10 ** truesdell_jones("calcium", [0.01, 0.1], a, b) == pytest.approx([0.675, 0.405], abs=0.03)
    assert 10 ** davies(0, 0.5, a) == 1.0


def test_constants_follow_the_temperature_by_their_enthalpy() -> None:
    """Ionisation of water, 13.36 kcal/mol: pKw 14.34, 14.00, 13.68 at 15, 25, 35 °C (handbook, recalled)."""
    assert -van_t_hoff(-13.995, 13.362, [15, 25, 35]) == pytest.approx([14.34, 14.00, 13.68], abs=0.02)


def test_water_without_ions_has_no_balance() -> None:
    assert np.isnan(charge_balance(only(alkalinity=0.0)))


def test_what_was_not_measured_is_not_evaluated() -> None:
    found = scaling.indices(replace(BRACKISH, barium=np.nan, silica=np.nan))
    assert np.isnan(found["barite"])
    assert np.isnan(found["silica"])
    assert np.isfinite(found["gypsum"])
    needed = scaling.indices(replace(BRACKISH, sulfate=np.nan))
    assert np.isnan([needed["gypsum"], needed["calcite"]]).all()


def test_water_too_strong_for_the_law_is_not_evaluated() -> None:
    brine = replace(SEAWATER, **{ion: 2 * float(getattr(SEAWATER, ion)) for ion in ("sodium", "chloride")})
    assert np.isnan(scaling.calcite_index(brine))


def test_concentrate_is_more_alkaline_than_its_feed() -> None:
    """ASTM D3739: carbon dioxide passes, so at 75 % recovery the pH rises by log10 4 = 0.60."""
    strong = scaling.concentrate_water(BRACKISH, 0.75)
    assert float(strong.ph) - 7.4 == pytest.approx(0.602, abs=0.001)
    assert float(strong.calcium) == pytest.approx(640)
    passing = scaling.concentrate_water(BRACKISH, 0.75, {"sodium": 0.1})
    assert float(passing.sodium) == pytest.approx(600 * 3.7)


def test_highest_recovery_is_where_the_first_salt_reaches_its_limit() -> None:
    limits = {"gypsum": 1.0, "silica": 1.0}
    safe = scaling.highest_safe_recovery(BRACKISH, limits)
    assert safe.limiting == min(safe.per_salt, key=lambda salt: safe.per_salt[salt])
    for offset, fits in ((0.0, True), (0.001, False)):
        index = scaling.indices(scaling.concentrate_water(BRACKISH, safe.highest + offset))[safe.limiting]
        assert (float(index) <= limits[safe.limiting]) is fits


def test_a_feed_already_saturated_leaves_no_recovery() -> None:
    safe = scaling.highest_safe_recovery(BRACKISH)
    assert safe.highest == 0.0
    assert safe.limiting in {"barite", "calcite"}
    unknown = scaling.highest_safe_recovery(replace(BRACKISH, barium=np.nan), {"barite": 1.0})
    assert np.isnan(unknown.highest)


IONS = st.floats(0.5, 800)


@settings(max_examples=40, deadline=None)
@given(IONS, IONS, IONS, IONS, st.floats(6, 8), st.floats(2, 40))
def test_more_recovery_never_gives_less_saturation(
    calcium: float, sodium: float, sulfate: float, alkalinity: float, ph: float, warmth: float
) -> None:
    feed = replace(BRACKISH, calcium=calcium, sodium=sodium, sulfate=sulfate, alkalinity=alkalinity, ph=ph)
    strong = scaling.concentrate_water(replace(feed, temperature=warmth), np.linspace(0, 0.9, 19))
    for salt, index in scaling.indices(strong).items():
        steps = np.diff(index[np.isfinite(index)])
        assert (steps > -1e-6).all(), salt
