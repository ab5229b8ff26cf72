"""Units are recognised by their spellings, and converted by published factors.

Sources: NIST Special Publication 811 (2008), appendix B.8 (curie, rem, grain, gallon, psi); ISO 7888:1985 (conductivity
at 20 and 25 °C); DIN 38409-6:1986 (1 °dH is 10 mg/L CaO); atomic weights of the periodictable library
(CIAAW); Clark and French degrees: grain per UK gallon and 10 mg/L CaCO3 (common practice, no source).
"""

from __future__ import annotations

import math
from contextlib import suppress
from decimal import Decimal
from typing import Any

import numpy as np
import periodictable
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wqcheck import units
from wqcheck.errors import UnknownUnitError
from wqcheck.parameters import catalogue
from wqcheck.units import COUNT_UNITS, Conversion, Unit, conversion, recognise_unit, tidy

GRAIN_MG, US_GALLON_L, UK_GALLON_L = 64.79891, 3.785412, 4.54609
"""NIST SP 811, B.8: grain, gallon (U.S.), gallon (Canadian and U.K.)."""

NOT_PINT = frozenset(
    [
        "CFU",
        "MPN",
        "count",
        "NTU",
        "FNU",
        "TON",
        "TFN",
        "MFL",
        "fibres/L",
        "MΩ·cm",
        "EU/mL",
        "FAU",
        "dilution",
        "mg/L Pt",
        "pH",
        "°C",
        "°F",
        "°dH",
        "°fH",
        "°e",
        "gpg",
    ]
)
"""Canonical labels that pint does not know, or takes for something else."""


def mass(formula: str) -> float:
    """Return the mass of one mole in g from another library's atomic weights."""
    return float(periodictable.formula(formula).mass)


def factor(parameter: str, unit: str, basis: str, to_unit: str, to_basis: str = "") -> float:
    found = conversion(parameter, unit, basis, to_unit, to_basis)
    assert found.low == found.high
    return found.low


def refused(found: Conversion) -> bool:
    return math.isnan(found.low) and math.isnan(found.high) and found.note != ""


@pytest.mark.parametrize(
    ("texts", "label"),
    [
        ("mg/L|mg/l|MG/L|mg / L|(mg/l)|[mg/L]|mg l-1|mg·L⁻¹|mg L^-1|mgL-1|mg/dm3|g/m³|µg/mL|ppm|mg/litre", "mg/L"),
        ("µg/L|μg/l|ug/L|mcg/L|ug l-1|ppb|ng/mL|mg/m3|microgramos por litro", "µg/L"),
        ("ng/L|pg/mL|nanograms per litre", "ng/L"),
        ("mmol/L|mmol l-1", "mmol/L"), ("meq/L|mEq/l|mval/l", "meq/L"), ("Bq/L|Bq l-1", "Bq/L"), ("pCi/L", "pCi/L"),
        ("µS/cm|uS/cm|µS cm⁻¹|umhos/cm|µmho/cm", "µS/cm"), ("mS/cm|dS/m", "mS/cm"), ("mS/m", "mS/m"),
        ("NTU|N.T.U.|UNT", "NTU"), ("FNU|FTU|NFU|TE/F", "FNU"),
        ("TCU|Hazen|mg/L Pt-Co|mg Pt/L|°Hazen|PCU|uH", "mg/L Pt"),
        ("pH|pH units|unités pH|std units|s.u.", "pH"), ("°C|ºC|deg C|Grad C", "°C"), ("°dH|dH|° dH", "°dH"),
        ("°fH|fH|°fr", "°fH"),
        ("-|--|none|sans unité|dimensionless", "1"), ("%|Prozent", "%"), ("‰|‰ VSMOW", "‰"), ("m-1|1/m", "m⁻¹"),
        ("mSv/a|mSv/year", "mSv"),
    ],
)  # fmt: skip
def test_spellings_of_one_unit(texts: str, label: str) -> None:
    assert {recognise_unit(text).label for text in texts.split("|")} == {label}


@pytest.mark.parametrize(
    ("texts", "unit"),
    [
        ("mg/L as N|mg/L N|mg N/L|mgN/L|mg/l NO3-N|mg/L (as N)|mg/L-N|mg/L expressed as N|mg/l como N", Unit("mg/L",
        "N")),
        ("mg/L NO3|mg/L as NO3|mg/l NO3-", Unit("mg/L", "NO3")),
        ("mg/L CaCO3|mg CaCO3/L|mg/L as CaCO3", Unit("mg/L", "CaCO3")),
        ("µg N/l", Unit("µg/L", "N")), ("mgO2/L|mg/L O2", Unit("mg/L", "O2")), ("mg/L SiO2", Unit("mg/L", "SiO2")),
        ("µS/cm at 25 °C|µS/cm à 25°C|µS/cm @25°C|uS/cm (25 °C)", Unit("µS/cm", "25 °C")),
        ("µS/cm 20°C", Unit("µS/cm", "20 °C")),
        ("CFU/100 mL|UFC/100ml|KBE/100 ml|cfu per 100 mL", Unit("CFU", volume_ml=100)),
        ("CFU/mL|UFC/ml", Unit("CFU", volume_ml=1)),
        ("MPN/100 mL|NMP/100mL|NPP/100 ml", Unit("MPN", volume_ml=100)),
        ("n/100 mL|/100 mL|Nº/100ml", Unit("count", volume_ml=100)),
        ("CFU/250 mL", Unit("CFU", volume_ml=250)), ("CFU/L", Unit("CFU", volume_ml=1000)),
        ("oocysts/10 L", Unit("count", volume_ml=10_000)),
    ],
)  # fmt: skip
def test_basis_and_volume_stand_in_the_unit_text(texts: str, unit: Unit) -> None:
    assert {recognise_unit(text) for text in texts.split("|")} == {unit}


@pytest.mark.parametrize(
    "text", ["furlong", "", " ", "mg", "L", "mg/L/d", "mg-L", "ug/1", "mg/l of what", "JTU", "5", "Lead", "mg/L mg/L"]
)
def test_a_text_in_no_table_is_refused_with_the_text(text: str) -> None:
    with pytest.raises(UnknownUnitError) as caught:
        recognise_unit(text)
    assert caught.value.text == text


@given(st.text(max_size=20))
def test_a_unit_text_is_recognised_or_refused_and_nothing_else(text: str) -> None:
    with suppress(UnknownUnitError):
        assert recognise_unit(text).label


@pytest.mark.parametrize(
    ("parameter", "unit", "basis", "to_unit", "to_basis", "expected"),
    [
        ("lead", "µg/L", "", "mg/L", "", 1e-3), ("lead", "ng/L", "", "µg/L", "", 1e-3),
        ("lead", "g/L", "", "mg/L", "", 1e3), ("lead", "kg/m³", "", "mg/L", "", 1e3),
        ("nitrate", "mg/L", "N", "mg/L", "NO3", mass("NO3") / mass("N")),
        ("nitrate", "µg/L", "N", "mg/L", "NO3", mass("NO3") / mass("N") / 1e3),
        ("nitrite", "mg/L", "N", "mg/L", "NO2", mass("NO2") / mass("N")),
        ("ammonium", "mg/L", "N", "mg/L", "NH4", mass("NH4") / mass("N")),
        ("ammonium", "mg/L", "NH3", "mg/L", "NH4", mass("NH4") / mass("NH3")),
        ("phosphate", "mg/L", "P", "mg/L", "PO4", mass("PO4") / mass("P")),
        ("phosphate", "mg/L", "P2O5", "mg/L", "PO4", 2 * mass("PO4") / mass("P2O5")),
        ("silica", "mg/L", "Si", "mg/L", "SiO2", mass("SiO2") / mass("Si")),
        ("nitrate", "mmol/L", "", "mg/L", "NO3", mass("NO3")), ("sulfate", "meq/L", "", "mg/L", "", mass("SO4") / 2),
        ("sodium", "meq/L", "", "mg/L", "", mass("Na")),
        ("calcium", "meq/L", "", "mg/L", "", mass("Ca") / 2),
        ("hardness", "mmol/L", "", "mg/L", "CaCO3", mass("CaCO3")),
        ("hardness", "meq/L", "", "mg/L", "CaCO3", mass("CaCO3") / 2),
        ("alkalinity", "meq/L", "", "mg/L", "CaCO3", mass("CaCO3") / 2),
        ("alkalinity", "mg/L", "HCO3", "mg/L", "CaCO3", mass("CaCO3") / 2 / mass("HCO3")),
        ("hardness", "°dH", "", "mg/L", "CaCO3", 10 * mass("CaCO3") / mass("CaO")),
        ("hardness", "°fH", "", "mg/L", "CaCO3", 10),
        ("hardness", "°e", "", "mg/L", "CaCO3", GRAIN_MG / UK_GALLON_L),
        ("hardness", "gpg", "", "mg/L", "CaCO3", GRAIN_MG / US_GALLON_L),
        ("tritium", "pCi/L", "", "Bq/L", "", 3.7e10 * 1e-12), ("radon", "Bq/m³", "", "Bq/L", "", 1e-3),
        ("indicative_dose", "mrem", "", "mSv", "", 1e-2),
        ("electrical_conductivity", "mS/m", "25 °C", "µS/cm", "25 °C", 10),
        ("electrical_conductivity", "mS/cm", "20 °C", "µS/cm", "20 °C", 1e3),
        ("electrical_conductivity", "µS/cm", "20 °C", "µS/cm", "25 °C", 1.116),
        ("electrical_conductivity", "µS/cm", "25 °C", "µS/cm", "20 °C", 1 / 1.116),
        ("turbidity", "FNU", "", "NTU", "", 1), ("escherichia_coli", "MPN", "", "CFU", "", 1),
        ("ph", "1", "", "pH", "", 1), ("a_new_name", "µg/L", "", "mg/L", "", 1e-3),
    ],
)  # fmt: skip
def test_factors_agree_with_published_ones(
    parameter: str, unit: str, basis: str, to_unit: str, to_basis: str, expected: float
) -> None:
    assert factor(parameter, unit, basis, to_unit, to_basis) == pytest.approx(expected, rel=1e-4)


def test_nitrate_as_nitrogen_is_the_factor_that_laboratories_print() -> None:
    # 4.4268 and 0.2259: printed in many laboratory handbooks (common practice, no source).
    assert round(factor("nitrate", "mg/L", "N", "mg/L", "NO3"), 2) == 4.43
    assert round(factor("nitrate", "mg/L", "NO3", "mg/L", "N"), 4) == 0.2259


@pytest.mark.parametrize(
    ("parameter", "ends"),
    [
        ("nitrate", {1, mass("NO3") / mass("N")}),
        ("nitrite", {1, mass("NO2") / mass("N")}),
        ("ammonium", {1, mass("NH4") / mass("N")}),
    ],
)
def test_without_a_stated_basis_the_factors_span_all_usual_ones(parameter: str, ends: set[float]) -> None:
    entry = catalogue()[parameter]
    found = conversion(parameter, "mg/L", "", "mg/L", entry.basis)
    assert [found.low, found.high] == pytest.approx([min(ends), max(ends)], rel=1e-4)
    assert "basis is not stated" in found.note


def test_conductivity_without_a_stated_temperature_spans_both() -> None:
    found = conversion("electrical_conductivity", "µS/cm", None, "µS/cm", "20 °C")
    assert [found.low, found.high] == pytest.approx([1 / 1.116, 1])


@pytest.mark.parametrize(
    ("parameter", "unit", "basis", "to_unit", "to_basis"),
    [
        ("lead", "", "", "mg/L", ""), ("lead", "NTU", "", "mg/L", ""), ("lead", "%", "", "mg/L", ""),
        ("lead", "mg/kg", "", "mg/L", ""),
        ("temperature", "°F", "", "°C", ""), ("temperature", "pH", "", "°C", ""), ("ph", "mg/L", "", "pH", ""),
        ("colour", "mg/L", "", "mg/L Pt", ""),
        ("colour", "mg/L Pt", "", "TON", ""), ("odour", "TON", "", "°C", ""),
        ("nitrate", "mg/L", "P", "mg/L", "NO3"), ("uranium", "Bq/L", "", "µg/L", ""),
        ("trihalomethanes_total", "mmol/L", "", "mg/L", ""), ("benzene", "meq/L", "", "mg/L", ""),
        ("escherichia_coli", "mg/L", "", "CFU", ""),
    ],
)  # fmt: skip
def test_what_cannot_be_converted_is_not_a_number_and_says_why(
    parameter: str, unit: str, basis: str, to_unit: str, to_basis: str
) -> None:
    assert refused(conversion(parameter, unit, basis, to_unit, to_basis))


LABELS = sorted(
    {unit.label for unit in units._spellings().whole.values()}
    | {"mmol/L", "meq/L", "Bq/L", "pCi/L", "g/L", "pg/L", "kg/m³"}
)
PARAMETERS = sorted(catalogue())


@given(st.sampled_from(PARAMETERS), st.sampled_from(LABELS), st.sampled_from(LABELS), st.data())
def test_there_and_back_is_the_same_and_every_unit_is_itself(
    parameter: str, unit: str, to_unit: str, data: st.DataObject
) -> None:
    bases = [*catalogue()[parameter].bases] or [""]
    basis, to_basis = data.draw(st.sampled_from(bases)), data.draw(st.sampled_from(bases))
    there = conversion(parameter, unit, basis, to_unit, to_basis)
    back = conversion(parameter, to_unit, to_basis, unit, basis)
    assert math.isnan(there.low) == math.isnan(back.low)
    assert refused(there) or there.low * back.low == pytest.approx(1, rel=1e-9)
    own = conversion(parameter, unit, basis, unit, basis)
    assert refused(own) or own.low == pytest.approx(1)


def test_a_value_at_the_limit_equals_it_after_tidying_for_every_whole_microgram() -> None:
    micrograms = np.arange(1, 10_000, dtype=np.float64)
    milligrams = micrograms * factor("lead", "µg/L", "", "mg/L")
    exact = np.array([float(Decimal(int(number)) / 1000) for number in micrograms])
    assert (milligrams > exact).sum() > 1000
    np.testing.assert_array_equal(tidy(milligrams), tidy(exact))


@given(st.floats(allow_nan=True, allow_infinity=True))
def test_tidying_moves_a_number_by_less_than_its_twelfth_digit_and_is_done_once(value: float) -> None:
    once = tidy(np.array([value]))
    np.testing.assert_array_equal(tidy(once), once)
    if math.isfinite(value) and 1e-290 < abs(value) < 1e290:
        assert once[0] == pytest.approx(value, rel=1e-11)


def test_only_canonical_labels_reach_the_unit_library(monkeypatch: pytest.MonkeyPatch) -> None:
    registry, library = units._registry()
    asked: list[str] = []

    class Listening:
        def Quantity(self, value: float, name: str) -> Any:
            asked.append(name)
            return registry.Quantity(value, name)

    monkeypatch.setattr(units, "_registry", lambda: (Listening(), library))
    units._pint_factor.cache_clear()
    conversion.cache_clear()
    try:
        for label in sorted(_all_labels()):
            conversion("lead", label, "", "mg/L", "")
    finally:
        units._pint_factor.cache_clear()
        conversion.cache_clear()
    assert asked
    assert not NOT_PINT & set(asked)
    assert set(asked) <= {units._pint_name(label) for label in _all_labels()}


def _all_labels() -> set[str]:
    spellings = units._spellings()
    composed = {f"{amount}/{volume}" for amount in spellings.amount.values() for volume in spellings.volume.values()}
    return {unit.label for unit in spellings.whole.values()} | composed | set(spellings.count.values())


@pytest.mark.parametrize("label", sorted(_all_labels()))
def test_every_canonical_label_is_known_to_the_unit_library_or_listed_here(label: str) -> None:
    name = units._pint_name(label)
    if name:
        assert label not in NOT_PINT
        assert units._registry()[0].Quantity(1, name).magnitude == 1
    else:
        assert label in NOT_PINT or label.partition("/")[0].endswith("eq")


def test_counts_convert_one_to_one_whatever_their_name() -> None:
    assert {factor("escherichia_coli", one, "", other) for one in COUNT_UNITS for other in COUNT_UNITS} == {1}


def test_a_million_fibres_per_litre_is_what_the_rule_on_asbestos_counts() -> None:
    """40 CFR 141.62(b)(2): 7 million fibres per litre longer than 10 µm."""
    assert recognise_unit("million fibers/L").label == "MFL"
    assert factor("asbestos", "fibres/L", "", "MFL") == 1e-6
