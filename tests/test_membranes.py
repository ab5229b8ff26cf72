"""Figures of the reverse-osmosis unit agree with standards, textbooks and recomputation; units change no verdict."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wqcheck.plant import membranes
from wqcheck.plant.membranes import MembraneDay
from wqcheck.quantities import KINDS, QuantityError, read_quantity, show_quantity, to_us

START = MembraneDay(
    feed_flow=8.0, permeate_flow=6.0, feed_pressure=1200.0, differential=170.0, permeate_pressure=40.0,
    temperature=25.0, feed_tds=2500.0, permeate_tds=50.0,
)  # fmt: skip
REGISTRY: Any = pint.UnitRegistry()
FRACTIONS = st.floats(0, 0.98)


def test_concentration_factor_counts_what_passes() -> None:
    """ASTM D4582 and D3739, 7.1 and 7.2: feed 100, recovery 75 %, passage 0, 2 and 10 %."""
    assert 100 * membranes.concentration_factor(0.75, [0, 0.02, 0.1]) == pytest.approx([400, 394, 370])


def test_design_example_of_a_textbook() -> None:
    """Metcalf & Eddy/Asano type example: 4,000 m³/d of permeate, recovery and rejection 90 %, feed 400 g/m³.

    Published: feed 4,444 and concentrate 444 m³/d, 40 and 3,643 g/m³ (the last from rounded flows; 3,640 exactly).
    """
    feed = 4000 / 0.9
    assert membranes.recovery(4000, feed) == pytest.approx(0.9)
    assert feed == pytest.approx(4444, rel=2e-4)
    assert feed - 4000 == pytest.approx(444, rel=2e-3)
    strong = 400 * float(membranes.concentration_factor(0.9, 0.1))
    assert strong == pytest.approx(3643, rel=2e-3)
    closure = membranes.mass_closure((feed, 4000, feed - 4000), (400, 40, strong))
    assert closure.fraction == pytest.approx(0, abs=1e-12)


def test_three_rejections_of_the_same_readings() -> None:
    """Definitions of ASTM D4194 and D4516: feed 1,000, permeate 20, recovery 75 %."""
    found = membranes.rejections(1000, 20, 0.75)
    assert [float(value) for value in found] == pytest.approx([0.98, 0.98918, 0.991903], abs=1e-5)
    assert 1000 * membranes.log_mean_factor(0.75) == pytest.approx(1848.39, abs=0.01)
    assert membranes.log_mean_factor(0.0) == 1.0


def test_osmotic_pressure_as_sodium_chloride() -> None:
    """ASTM D4516 formula, recomputed: 2,000, 5,000 and 35,000 mg/L at 25 °C, 1,500 mg/L at 15 °C."""
    found = membranes.osmotic_pressure_as_nacl([2000, 5000, 35000, 1500], [25, 25, 25, 15])
    assert found == pytest.approx([158.575, 397.633, 2869.96, 114.885], rel=1e-4)


def test_osmotic_pressure_of_a_textbook_salt_water() -> None:
    """Sincero & Sincero, Physical-Chemical Treatment of Water and Wastewater, example 8.3: 3,000 mg/L, 235.80 kPa."""
    assert membranes.osmotic_pressure_as_nacl(3000, 25) == pytest.approx(235.80, rel=0.015)
    assert membranes.osmotic_pressure_by_rule(3000) == pytest.approx(235.80, rel=0.15)


def test_osmotic_pressure_counts_ions() -> None:
    """0.227 mol/L NaCl and 0.078 mol/L MgSO₄ at 298.15 K: 14.924 atm; a circulating answer of 7.46 counts moles."""
    found = membranes.osmotic_pressure_of_ions(2 * 0.227 + 2 * 0.078, 25)
    assert found == pytest.approx(14.924 * 101.325, rel=1e-3)
    assert membranes.osmotic_pressure_of_ions(2 * 2000 / 58_440, 25) == pytest.approx(169.68, rel=1e-3)


def test_temperature_factor_follows_a_published_table() -> None:
    """US Army TM 10-4610-309-14, WP 0083, table 3 (flow relative to 77 °F); its two reciprocal forms."""
    celsius = (np.array([32, 41, 50, 59, 68, 77, 86, 95, 104]) - 32) / 1.8
    published = [0.5, 0.58, 0.66, 0.76, 0.87, 1.0, 1.15, 1.32, 1.51]
    assert membranes.temperature_flow_factor(celsius, 2400) == pytest.approx(published, abs=0.045)
    product = membranes.temperature_flow_factor(celsius) * membranes.temperature_correction(celsius)
    assert product == pytest.approx(np.ones(9))
    assert float(membranes.temperature_flow_factor(30)) > 1 > float(membranes.temperature_correction(30))


def test_net_driving_pressure_takes_off_every_loss() -> None:
    """ASTM D4516: Pf − ΔP/2 − Pp − πfb + πp, each osmotic pressure by its formula on the log-mean concentration."""
    mean = 2500 * math.log(4) / 0.75
    brine = 0.2654 * mean * 298.15 / (1000 - mean / 1000)
    permeate = 0.2654 * 50 * 298.15 / (1000 - 0.05)
    assert membranes.net_driving_pressure(START) == pytest.approx(1200 - 85 - 40 - brine + permeate)


def test_a_day_normalised_to_itself_is_itself() -> None:
    assert membranes.normalised_permeate_flow(START, START) == pytest.approx(6.0)
    assert membranes.standardised_salt_passage(START, START) == pytest.approx(0.02)
    assert membranes.normalised_differential(START, START) == pytest.approx(170)


def test_cold_water_alone_is_no_fouling() -> None:
    """A flow that falls as the temperature factor (and the osmotic pressure) says is normalised to what it was."""
    cold = replace(START, temperature=15.0)
    drive = membranes.net_driving_pressure(cold) / membranes.net_driving_pressure(START)
    flow = 6.0 * float(drive * membranes.temperature_flow_factor(15.0))
    fallen = replace(cold, permeate_flow=flow, feed_flow=flow / 0.75)
    assert flow < 4.7
    assert membranes.normalised_permeate_flow(fallen, START) == pytest.approx(6.0)


def test_standardised_salt_passage_of_the_standard() -> None:
    """ASTM D4516-19a 6.3, recomputed: passage 2.1111 %, flow 9 for 10, 18 °C for 25 °C, K 2640, equal recovery."""
    standard = replace(START, permeate_flow=10.0, feed_flow=40 / 3, feed_tds=1000.0, temperature=25.0)
    actual = replace(standard, permeate_flow=9.0, feed_flow=12.0, feed_tds=1200.0, permeate_tds=0.0211111 * 1200)
    actual = replace(actual, temperature=18.0)
    assert membranes.standardised_salt_passage(actual, standard, 2640.0) == pytest.approx(0.023508, rel=1e-3)


def test_standardised_salt_passage_at_another_recovery() -> None:
    """ASTM D4516 6.3 term by term: at a lower recovery the feed channel is weaker, so less passes."""
    actual = replace(START, feed_flow=12.0, feed_tds=3000.0, permeate_tds=54.0)
    mean_standard, mean_actual = 2500 * math.log(4) / 0.75, 3000 * math.log(2) / 0.5
    expected = 54 / 3000 * (6 / 6) * (mean_standard / mean_actual) * (3000 / 2500)
    assert membranes.standardised_salt_passage(actual, START) == pytest.approx(expected)
    assert expected > 54 / 3000


def test_differential_pressure_is_compared_at_the_same_mean_flow() -> None:
    """Doubling every flow raises an unfouled drop by 2^1.5 (desalination wiki of UNSW on ASTM data normalisation)."""
    doubled = replace(START, feed_flow=16.0, permeate_flow=12.0, differential=170 * 2**1.5)
    assert membranes.normalised_differential(doubled, START) == pytest.approx(170)


def test_balances_show_what_is_lacking() -> None:
    closure = membranes.flow_closure([10.0, 10.0], [7.5, 7.5], [2.5, 2.0])
    assert closure.difference == pytest.approx([0, -0.5])
    assert closure.fraction == pytest.approx([0, -0.05])


def test_nonsense_is_not_a_number() -> None:
    assert math.isnan(membranes.recovery(5, 0))
    assert np.isnan(membranes.concentration_factor([1.0, -0.1, 0.5, np.nan], [0, 0, 1.1, 0])).all()
    weak = replace(START, feed_pressure=200.0)
    assert membranes.net_driving_pressure(weak) < 0
    assert math.isnan(membranes.normalised_permeate_flow(weak, START))
    assert math.isnan(membranes.change_since(5.0, 0.0))


@given(FRACTIONS, FRACTIONS, st.floats(0, 1))
def test_the_concentrate_is_never_weaker_and_grows_with_recovery(one: float, other: float, passage: float) -> None:
    low, high = membranes.concentration_factor(sorted([one, other]), passage)
    assert low * (1 + 1e-12) >= 1
    assert low <= high * (1 + 1e-12)


@given(st.floats(1, 1e4), st.floats(0, 1), FRACTIONS)
def test_the_nominal_rejection_is_the_lowest(feed: float, passage: float, recovered: float) -> None:
    nominal, log_mean, arithmetic = membranes.rejections(feed, feed * passage, recovered)
    assert nominal <= log_mean + 1e-12
    assert nominal <= arithmetic + 1e-12


@given(st.sampled_from(sorted(KINDS)), st.floats(0.01, 1e6))
def test_units_go_there_and_back(kind: str, value: float) -> None:
    us = {"gal/min/ft²": "gpm/ft2", "1": ""}.get(KINDS[kind].us, KINDS[kind].us)
    assert read_quantity(f"{to_us(value, kind)!r} {us}".strip(), kind) == pytest.approx(value, rel=1e-9)


@pytest.mark.parametrize(
    ("text", "kind", "pint_unit"),
    [
        ("1 gal/min", "flow", "gallon/minute"), ("1 gpd", "flow", "gallon/day"), ("1 L/s", "flow", "liter/second"),
        ("1 m3/d", "flow", "meter**3/day"), ("1 gal", "volume", "gallon"), ("1 ft3", "volume", "foot**3"),
        ("1 ft2", "area", "foot**2"), ("1 psi", "pressure", "psi"), ("1 bar", "pressure", "bar"),
        ("1 µg/L", "concentration", "microgram/liter"), ("1 s", "duration", "second"), ("1 J/m²", "dose", "J/m**2"),
        ("1 gpm/ft²", "speed", "gallon/minute/foot**2"), ("1 d", "duration", "day"),
        ("1 µW s/cm²", "dose", "µW*s/cm**2"),
    ],
)  # fmt: skip
def test_units_agree_with_a_unit_library(text: str, kind: str, pint_unit: str) -> None:
    """The reference is pint's registry of definitions."""
    inside = {"°C": "degC", "mg/L": "mg/liter", "mJ/cm²": "mJ/cm**2", "m³/h": "m**3/hour"}.get(KINDS[kind].si)
    inside = inside or KINDS[kind].si.replace("²", "**2").replace("³", "**3").replace("m/h", "m/hour")
    expected = REGISTRY.Quantity(1, pint_unit).to(inside).magnitude
    assert read_quantity(text, kind) == pytest.approx(expected, rel=1e-11)


def test_ultraviolet_doses_are_not_confused_by_a_thousand() -> None:
    """1 mJ/cm² = 1 mW·s/cm² = 1,000 µW·s/cm² = 10 J/m² (EPA UV Disinfection Guidance Manual)."""
    doses = [read_quantity(text, "dose") for text in ("40 mJ/cm2", "40 mW s/cm²", "40000 µW s/cm²", "400 J/m2")]
    assert doses == [40.0] * 4


@pytest.mark.parametrize("text", ["12", "1,5 m3/h", "twelve m3/h", "12 furlongs", "", None, True, "12 psi"])
def test_a_flow_without_its_unit_is_refused_with_the_units_known(text: object) -> None:
    with pytest.raises(QuantityError, match="units: m3/h"):
        read_quantity(text, "flow")


def test_quantities_are_shown_in_either_system() -> None:
    assert show_quantity(22.712470704, "flow") == "22.71 m³/h"
    assert show_quantity(22.712470704, "flow", us_units=True) == "100 gal/min"
    assert show_quantity(25.0, "temperature", us_units=True) == "77 °F"
    assert show_quantity(math.nan, "pressure") == "not known"
