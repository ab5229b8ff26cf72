"""What cannot all be right in a table of readings is found, with cells, numbers and a source; what is sound is not."""

from __future__ import annotations

import time
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pandera.typing import DataFrame

from tests.table_rows import readings_of
from wqcheck.batch import check_workbook, take_in
from wqcheck.findings import Finding, Severity
from wqcheck.parameters import catalogue
from wqcheck.quality.checks import SHOWN, check_quality
from wqcheck.quality.control_samples import relative_percent_difference
from wqcheck.quality.controls_apart import control_notes, is_control
from wqcheck.quality.part_whole import wholes
from wqcheck.quality.plausibility import possible_values
from wqcheck.quality.sample_roles import sample_roles
from wqcheck.release.decision import BatchDetails, Disposition
from wqcheck.tables import Readings, Sign

SAMPLES = Path(__file__).resolve().parent.parent / "sample_results"
NOON = pd.Timestamp("2026-03-02 12:00")


def result(parameter: str, text: str, unit: str | None = "mg/L", **others: Any) -> dict[str, Any]:
    """Return a row of sample S1: *text* as a number, or with ``<`` before it, or the word for none."""
    sign = "<" if text.startswith("<") else "absent" if text == "absent" else "="
    value = None if sign == "absent" else float(text.lstrip("<"))
    return {
        "sample": "S1",
        "parameter": parameter,
        "reported": text,
        "sign": sign,
        "value": value,
        "unit": unit,
        **others,
    }


def found_in(*rows: dict[str, Any]) -> list[Finding]:
    return list(check_quality(readings_of(rows)))


def codes(*rows: dict[str, Any]) -> list[str]:
    return [finding.code for finding in found_in(*rows)]


@pytest.mark.parametrize(
    ("whole", "part", "consistent"),
    [
        (result("iron", "0.30", fraction="total"), result("iron", "0.32", fraction="dissolved"), False),
        (result("iron", "0.32", fraction="total"), result("iron", "0.30", fraction="dissolved"), True),
        (result("kjeldahl_nitrogen", "1.5", basis="N"), result("ammonium", "1.2", basis="N"), True),
        (result("kjeldahl_nitrogen", "1.0", basis="N"), result("ammonium", "1.2", basis="N"), False),
        (result("total_suspended_solids", "200"), result("volatile_suspended_solids", "210"), False),
    ],
)
def test_a_part_is_not_more_than_its_whole(whole: dict[str, Any], part: dict[str, Any], consistent: bool) -> None:
    """ASTM D596 section 9.4, logical consistency."""
    assert (codes(whole, part) == []) is consistent


def test_only_what_uncertainty_does_not_explain_is_found() -> None:
    """0.02 apart is within the combined uncertainty √(0.03² + 0.03²) = 0.042."""
    whole, part = (
        result("iron", text, fraction=name, uncertainty=0.03)
        for text, name in (("0.30", "total"), ("0.32", "dissolved"))
    )
    assert codes(whole, part) == []


@pytest.mark.parametrize(
    ("nitrate", "nitrogen", "consistent"),
    [
        (result("nitrate", "44.3", basis="NO3"), "10.1", True),
        (result("nitrate", "44.3", basis="NO3"), "9.0", False),
        (result("nitrate", "10.0", basis="N"), "10.1", True),
        (result("nitrate", "44.3", basis="N"), "10.1", False),
        (result("nitrate", "<44.3", basis="N"), "10.1", True),
        (result("nitrate", "44.3", basis=None), "10.1", True),
    ],
)
def test_forms_of_nitrogen_are_compared_as_nitrogen(nitrate: dict[str, Any], nitrogen: str, consistent: bool) -> None:
    """44.3 mg/L NO3 are 10.0 mg/L N (62.004/14.007 = 4.427, CIAAW 2021); a basis not stated may be either."""
    assert (codes(result("total_nitrogen", nitrogen, basis="N"), nitrate) == []) is consistent


def coliforms(total: str, coli: str, volumes: tuple[float, float] = (100.0, 100.0)) -> list[Finding]:
    return found_in(
        result("total_coliforms", total, "CFU", volume_ml=volumes[0]),
        result("escherichia_coli", coli, "CFU", volume_ml=volumes[1]),
    )


@pytest.mark.parametrize(
    ("total", "coli", "severity"),
    [
        ("absent", "4", Severity.HOLD),
        ("<1", "4", Severity.HOLD),
        ("20", "21", Severity.NOTE),
        ("20", "20", None),
        ("20", "absent", None),
        ("absent", "absent", None),
    ],
)
def test_escherichia_coli_are_coliforms(total: str, coli: str, severity: Severity | None) -> None:
    """E. coli belong to the coliforms (ISO 9308-1): where some grew, total coliforms cannot be absent."""
    assert [finding.severity for finding in coliforms(total, coli)] == ([severity] if severity else [])


def test_counts_in_different_volumes_are_not_compared() -> None:
    """One organism in 250 mL need not be in the 100 mL beside it."""
    assert coliforms("absent", "1", (100.0, 250.0)) == []


THMS = ("chloroform", "bromodichloromethane", "dibromochloromethane", "bromoform")


def thms(total: str, *members: str) -> list[Finding]:
    rows = [result(code, text, "µg/L") for code, text in zip(THMS, members, strict=False)]
    return found_in(result("trihalomethanes_total", total, "µg/L"), *rows)


@pytest.mark.parametrize(
    ("total", "members", "severity"),
    [
        ("22.3", ("2.2", "3.9", "6.4", "9.8"), None),
        ("9.8", ("2.2", "3.9", "6.4", "9.8"), Severity.HOLD),
        ("21.9", ("2.2", "3.9", "6.4", "9.8"), Severity.NOTE),
        ("40", ("2.2", "3.9", "6.4", "9.8"), Severity.NOTE),
        ("40", ("2.2", "3.9", "6.4"), None),
        ("2.0", ("<0.5", "<0.5", "0.6", "1.4"), None),
        ("3.0", ("<0.5", "<0.5", "0.6", "1.4"), None),
        ("<2", ("<0.5", "<0.5", "<0.5", "<0.5"), None),
    ],
)
def test_total_trihalomethanes_are_the_sum_of_the_four(
    total: str, members: tuple[str, ...], severity: Severity | None
) -> None:
    """40 CFR 141.2: the sum of chloroform, bromodichloromethane, dibromochloromethane and bromoform."""
    assert [finding.severity for finding in thms(total, *members)] == ([severity] if severity else [])


def test_units_of_parts_and_whole_may_differ() -> None:
    mixed = [result("chloroform", "0.022", "mg/L"), *(result(code, "0", "µg/L") for code in THMS[1:])]
    assert codes(result("trihalomethanes_total", "22", "µg/L"), *mixed) == []
    assert codes(result("trihalomethanes_total", "2.2", "µg/L"), *mixed) == ["sum and members"]


def test_a_unit_that_cannot_be_converted_is_said_once() -> None:
    found = found_in(result("total_nitrogen", "1", None), result("nitrate", "5", "NTU"), result("nitrite", "1", "NTU"))
    assert [finding.code for finding in found] == ["not evaluable"]


@pytest.mark.parametrize(
    ("row", "code", "severity"),
    [
        (result("ph", "14.2", "pH"), "impossible value", Severity.HOLD),
        (result("ph", "74", "pH"), "impossible value", Severity.HOLD),
        (result("ph", "0.5", "pH"), "", None),
        (result("lead", "-0.4", "µg/L"), "impossible value", Severity.HOLD),
        (result("lead", "-999", "µg/L"), "stand-in value", Severity.HOLD),
        (result("lead", "-9", "µg/L"), "stand-in value", Severity.HOLD),
        (result("lead", "9999", "µg/L"), "stand-in value", Severity.NOTE),
        (result("lead", "999", "µg/L"), "", None),
        (result("temperature", "-99", "°C"), "impossible value", Severity.HOLD),
        (result("temperature", "-999", "°C"), "stand-in value", Severity.HOLD),
        (result("temperature", "102", "°C"), "impossible value", Severity.HOLD),
        (result("temperature", "-1", "°C"), "", None),
        (result("temperature", "77", "°F"), "", None),
        (result("uv_transmittance_254_nm", "103", "%"), "impossible value", Severity.HOLD),
        (result("oxygen_saturation", "103", "%"), "", None),
        (result("silt_density_index", "7.1", "1"), "impossible value", Severity.HOLD),
        (result("sodium", "1200000", "mg/L"), "impossible value", Severity.HOLD),
        (result("redox_potential", "-99", "mV"), "", None),
        (result("langelier_index", "-2.1", "1"), "", None),
        (result("gross_alpha", "-0.02", "Bq/L"), "", None),
        (result("electrical_conductivity", "0.055", "µS/cm", basis="25 °C"), "", None),
        (result("electrical_conductivity", "0.001", "µS/cm", basis="25 °C"), "impossible value", Severity.HOLD),
    ],
)
def test_values_that_cannot_be(row: dict[str, Any], code: str, severity: Severity | None) -> None:
    """SDI15 is at most 100/15 = 6.67 (ASTM D4189); pure water has 0.055 µS/cm (APHA 2510 A); a litre weighs 1 kg."""
    found = found_in(row)
    assert [(finding.code, finding.severity) for finding in found] == ([(code, severity)] if code else [])


def test_the_same_round_number_of_two_parameters_stands_in() -> None:
    assert codes(result("lead", "999", "µg/L"), result("sodium", "999")) == ["stand-in value"]


def series(parameter: str, texts: list[str], unit: str, **others: Any) -> list[dict[str, Any]]:
    return [
        result(parameter, text, unit, **{"sample": f"S{place}", "point": "FP", **others})
        for place, text in enumerate(texts)
    ]


@pytest.mark.parametrize(
    ("texts", "suspects"),
    [
        (["70", "72", "69", "71", "0.0705"], ["B6"]),
        (["0.070", "0.072", "0.069", "71"], ["B5"]),
        (["70", "72", "0.069", "0.071", "71"], ["B4", "B5"]),
        (["70", "72", "69", "700"], []),
        (["70", "72", "0.070"], []),
    ],
)
def test_a_step_of_a_thousand_at_one_point_is_a_slip_of_the_unit(texts: list[str], suspects: list[str]) -> None:
    """A thousand is the step from mg to µg and from mS to µS (SI prefixes)."""
    found = [finding for finding in found_in(*series("sodium", texts, "mg/L")) if finding.code == "unit slip"]
    assert [finding.where for finding in found] == (
        ["; ".join(suspects).replace("B", "book.xlsx|Results!B", 1)] if suspects else []
    )
    assert all(finding.severity == Severity.HOLD for finding in found)


def test_two_magnitudes_in_one_conductivity_column_are_found_once_units_are_compared() -> None:
    texts = ["1.71", "1.69", "1680", "1702", "1.70", "1699"]
    rows = series("electrical_conductivity", texts, "µS/cm", basis="25 °C")
    assert codes(*rows) == ["unit slip"]
    units = ["mS/cm" if float(text) < 10 else "µS/cm" for text in texts]
    assert codes(*({**row, "unit": unit} for row, unit in zip(rows, units, strict=True))) == []


def test_raw_water_and_permeate_are_not_compared_with_each_other() -> None:
    """Sea water and its permeate lie a thousand apart."""
    raw = series("chloride", ["20000", "20100", "19900"], "mg/L", point="SP1")
    permeate = series("chloride", ["18", "20", "21"], "mg/L", point="SP6")
    assert codes(*raw, *permeate) == []


def test_without_a_point_a_slip_is_only_noted() -> None:
    found = found_in(*series("chloride", ["20", "21", "19", "20000"], "mg/L", point=None))
    assert [(finding.code, finding.severity) for finding in found] == [("unit slip", Severity.NOTE)]


@pytest.mark.parametrize(
    ("second", "code"),
    [
        ({}, "repeated row"),
        ({"reported": "4", "value": 4.0}, "two values"),
        ({"reported": "2.0", "value": 2.0}, ""),
        ({"reported": "2000", "value": 2000.0, "unit": "ng/L"}, ""),
        ({"reported": "4", "value": 4.0, "replicate": "2"}, ""),
        ({"reported": "4", "value": 4.0, "method": "ISO 17294-2"}, ""),
        ({"reported": "<5", "value": 5.0, "sign": "<"}, ""),
        ({"reported": "4", "value": 4.0, "sampled_at": NOON + pd.Timedelta(hours=2)}, ""),
        ({"reported": "4", "value": 4.0, "sample": "S2"}, ""),
    ],
)
def test_one_sample_one_time_one_value(second: dict[str, Any], code: str) -> None:
    first = result("lead", "2", "µg/L", sampled_at=NOON)
    assert codes(first, {**first, **second}) == ([code] if code else [])


@pytest.mark.parametrize(("text", "severity"), [("4", Severity.NOTE), ("6", Severity.HOLD)])
def test_values_more_than_twice_apart_hold(text: str, severity: Severity) -> None:
    first = result("lead", "2", "µg/L", sampled_at=NOON)
    found = found_in(first, {**first, "reported": text, "value": float(text)})
    assert [(finding.code, finding.severity) for finding in found] == [("two values", severity)]


def test_results_that_name_no_sample_are_not_taken_for_repeats() -> None:
    rows = [{**result("lead", text, "µg/L"), "sample": None} for text in ("2", "2", "3")]
    assert codes(*rows) == []


@pytest.mark.parametrize(
    ("a", "b", "published", "tolerance"),
    [
        (120, 120, 0, 0.5), (25, 26, 4, 0.5), (14, 14, 0, 0.5), (13, 12, 8, 0.5), (17, 16, 6, 0.5), (280, 270, 4, 0.5),
        (270, 260, 4, 0.5), (6, 9, 40, 0.5), (624, 622, 0, 0.99), (18, 17, 5.714, 0.001),
    ],
)  # fmt: skip
def test_relative_percent_difference(a: float, b: float, published: float, tolerance: float) -> None:
    """Replicates of USGS Water-Resources Investigations Report 02-4045, Table 4, printed to the nearest percent.

    For chloride 18 and 17 it prints 3, from figures before rounding; the printed ones give 5.714.
    """
    assert relative_percent_difference(np.array([float(a)]), np.array([float(b)]))[0] == pytest.approx(
        published, abs=tolerance
    )


def test_of_two_non_detects_there_is_no_relative_percent_difference() -> None:
    """Not calculated, never 0 (USGS Report 02-4045, Table 4)."""
    assert np.isnan(relative_percent_difference(np.zeros(1), np.zeros(1))[0])
    assert codes(*duplicate("lead", "<1", "<1", "µg/L")) == []


def duplicate(parameter: str, first: str, second: str, unit: str, limit: float | None = None) -> list[dict[str, Any]]:
    rows = [result(parameter, text, unit, reporting_limit=limit) for text in (first, second)]
    return [rows[0], {**rows[1], "sample": "S1 duplicate"}]


@pytest.mark.parametrize(
    ("first", "second", "limit", "noted"),
    [
        ("10", "12.1", 1.0, False),  # 19.0 %
        ("10", "12.5", 1.0, True),  # 22.2 %
        ("2.0", "2.8", 1.0, False),  # below 5 times the limit: one limit is accepted
        ("2.0", "3.4", 1.0, True),
        ("<1", "1.8", 1.0, False),
        ("<1", "2.6", 1.0, True),
    ],
)
def test_duplicates(first: str, second: str, limit: float, noted: bool) -> None:
    """20 % from five times the reporting limit, below it one limit (US EPA National Functional Guidelines)."""
    found = codes(*duplicate("lead", first, second, "µg/L", limit))
    assert found == (["duplicate"] if noted else [])


def test_replicates_of_one_sample_are_duplicates() -> None:
    rows = [result("lead", text, "µg/L", replicate=name) for text, name in (("10", "1"), ("10.5", "2"), ("14", "3"))]
    found = found_in(*rows)
    assert [(finding.code, finding.where) for finding in found] == [("duplicate", "book.xlsx|Results!B2; B4")]


@pytest.mark.parametrize(
    ("name", "role"),
    [
        ("Field blank", "blank"), ("S1-BLANK", "blank"), ("method blank 2", "blank"), ("S7 matrix spike dup", "spike"),
        ("S1-DUP", "duplicate"), ("Lab duplicate", "duplicate"), ("Blankenburg", ""), ("Mont Blanc", ""),
        ("Castelo Branco", ""), ("S1", ""), ("branco de campo", "blank"), ("Check standard", "standard"),
        ("Laboratory control sample 2", "standard"), ("Control sample", ""),
    ],
)  # fmt: skip
def test_roles_are_read_from_names(name: str, role: str) -> None:
    assert list(sample_roles(readings_of([{**result("lead", "1"), "sample": name}]))) == [role]


def test_a_blank_in_which_something_is_found_is_noted_and_stays_out_of_the_sample() -> None:
    blank = [
        {**result(code, text, "µg/L"), "sample": "Field blank"} for code, text in (("lead", "0.6"), ("zinc", "<2"))
    ]
    found = found_in(*blank, result("lead", "1.2", "µg/L"))
    assert [(finding.code, finding.where) for finding in found] == [("blank", "book.xlsx|Results!B2")]
    assert codes({**blank[0], "reporting_limit": 1.0}) == []


@pytest.mark.parametrize(("recovery", "noted"), [("95", False), ("70", False), ("62", True), ("141", True)])
def test_recovery_of_a_spike(recovery: str, noted: bool) -> None:
    """70 to 130 % for a laboratory-fortified matrix (US EPA methods 200.7 and 200.8, from memory)."""
    found = codes({**result("lead", recovery, "%"), "sample": "S1 matrix spike"})
    assert found == (["spike recovery"] if noted else [])


@pytest.mark.parametrize(
    ("names", "apart", "told"),
    [
        ({"sample": "Field blank"}, True, ["control sample"]),
        ({"sample": "Field Blank 2", "point": "FP"}, True, ["control sample"]),
        ({"sample": "Matrix spike"}, True, ["control sample"]),
        ({"sample": "Calibration standard"}, True, ["control sample"]),
        ({"sample": None, "point": "Trip blank"}, True, ["control sample"]),
        ({"sample": "B2107 blank label bottle"}, False, ["like a control sample"]),
        ({"sample": "B2107", "point": "Blank"}, False, ["like a control sample"]),
        ({"sample": "B2107", "replicate": "spike"}, False, ["like a control sample"]),
        ({"sample": "(blank)"}, False, ["like a control sample"]),
        ({"sample": "B2107-DUP"}, False, []),
        ({"sample": "Duplicate"}, False, []),
        ({"sample": "Control sample"}, False, []),
        ({"sample": "B2107"}, False, []),
    ],
)
def test_only_a_name_that_says_nothing_else_sets_a_result_apart(
    names: dict[str, Any], apart: bool, told: list[str]
) -> None:
    readings = readings_of([{**result("lead", "90", "µg/L"), **names}])
    assert is_control(readings).tolist() == [apart]
    notes = control_notes(readings)
    assert [(note.code, note.where) for note in notes] == [(code, "book.xlsx|Results!B2") for code in told]
    assert all("1 result(s)" in note.message for note in notes)


@pytest.mark.parametrize(
    ("coliforms", "coli", "held"), [("2", None, True), ("2", "absent", False), ("absent", None, False)]
)
def test_coliforms_ask_for_a_look_at_escherichia_coli(coliforms: str, coli: str | None, held: bool) -> None:
    """21 CFR 129.80(g)(1): as soon as any coliform is detected."""
    rows = [result("total_coliforms", coliforms, "MPN", volume_ml=100.0)]
    rows += [result("escherichia_coli", coli, "MPN", volume_ml=100.0)] if coli else []
    found = [finding for finding in found_in(*rows) if finding.code == "no follow-up"]
    assert [finding.severity for finding in found] == ([Severity.HOLD] if held else [])


def test_a_spike_without_its_added_amount_is_not_evaluable() -> None:
    found = found_in({**result("lead", "31", "µg/L"), "sample": "S1 spiked"}, result("lead", "1", "µg/L"))
    assert [finding.code for finding in found] == ["spike recovery"]
    assert "amount added" in found[0].message


NUMBERS = st.sampled_from([0.0, 1.0, 5.5, 1e-300, 1e300, -1.0, -999.0, 9999.0, 14.5, 1e15, None]) | st.floats(
    0.001, 1e4
)
TIMES = st.sampled_from([None, NOON, NOON.normalize(), NOON + pd.Timedelta(days=9), pd.Timestamp("1701-01-01")])
ROWS = st.fixed_dictionaries({
    "parameter": st.sampled_from(["calcium", "chloride", "alkalinity", "nitrate", "ph", "electrical_conductivity",
                                  "total_coliforms", "escherichia_coli", "chloroform", "trihalomethanes_total", None]),
    "value": NUMBERS, "sign": st.sampled_from(list(Sign)), "reported": st.sampled_from(["1", "1,5", "x", "1e5", ""]),
    "unit": st.sampled_from(["mg/L", "µg/L", "CFU", "%", "pH", "mS/cm", "meq/L", None]),
    "basis": st.sampled_from([None, "N", "CaCO3", "20 °C", "weird"]), "volume_ml": st.sampled_from([None, 0.0, 100.0]),
    "sample": st.sampled_from([None, "S1", "S1 dup", "field blank", "S1 spike"]),
    "point": st.sampled_from([None, "FP"]),
    "sampled_at": TIMES, "received_at": TIMES, "analysed_at": TIMES, "replicate": st.sampled_from([None, "1", "2"]),
    "fraction": st.sampled_from([None, "total", "dissolved"]), "uncertainty": st.sampled_from([None, 0.1, -1.0]),
    "reporting_limit": st.sampled_from([None, 0.0, 1.0]), "value_high": st.sampled_from([None, 10.0]),
})  # fmt: skip


@given(rows=st.lists(ROWS, min_size=1, max_size=25))
@settings(max_examples=60, deadline=None)
def test_any_table_is_checked_and_every_finding_has_a_place(rows: list[dict[str, Any]]) -> None:
    for finding in check_quality(readings_of(rows)):
        assert finding.where.startswith("book.xlsx|Results!B")
        assert "nan" not in finding.message


def test_findings_that_no_decision_rests_on_are_notes() -> None:
    rows = readings_of([result("ph", "14.2", "pH"), result("ph", "14.2", "pH", sample="S2", sheet="Raw")])
    decides = pd.Series([False, True])
    assert [finding.severity for finding in check_quality(rows, decides=decides)] == [Severity.NOTE, Severity.HOLD]
    assert [finding.where for finding in check_quality(rows, decides)] == ["book.xlsx|Raw!B3"]


def test_many_alike_are_told_and_the_rest_is_counted() -> None:
    rows = [{**result("ph", "14.2", "pH"), "sample": f"S{n}", "sheet": f"Sheet {n}"} for n in range(SHOWN + 13)]
    found = found_in(*rows)
    assert len(found) == SHOWN + 1
    assert found[-1].message.startswith("13 more like this")
    assert found[-1].severity == Severity.HOLD


def test_readings_are_left_as_they_are_and_may_be_none() -> None:
    rows = readings_of([result("ph", "14.2", "pH"), result("lead", "-9", "µg/L")])
    before = rows.copy()
    check_quality(rows)
    pd.testing.assert_frame_equal(rows, before)
    assert check_quality(Readings.empty()) == ()


def test_each_finding_says_where_and_names_a_source_or_common_practice() -> None:
    found = thms("9.8", "2.2", "3.9", "6.4", "9.8") + found_in(*duplicate("lead", "10", "14", "µg/L", 1.0))
    assert len(found) == 2
    assert all(finding.where.startswith("book.xlsx|Results!B") for finding in found)
    assert "40 CFR 141.2" in found[0].message
    assert "29" not in found[0].message
    assert "33 %" in found[1].message


def test_the_tables_name_known_parameters_and_sources() -> None:
    for entry in wholes():
        assert {entry.code, *entry.parts} <= set(catalogue()), entry
        assert entry.source
    for line in possible_values():
        assert line.covers in catalogue() or line.covers.startswith("unit:"), line
        assert line.lower < line.upper
        assert line.source


@pytest.mark.parametrize(
    ("book", "expected"),
    [
        ("run_B2107_clean.xlsx", ["holding time"]),
        ("run_B2108_trouble.xlsx", []),
        ("commissioning_crosstab.xlsx", ["holding time"]),
        ("history_2025_2026_wide.csv", []),
        ("history_semicolon.csv", []),
    ],
)
def test_the_sample_results_hang_together(book: str, expected: list[str]) -> None:
    """Their ions balance; pH and chlorine were measured in the laboratory, hours after sampling."""
    found = check_quality(take_in([SAMPLES / book]).readings)
    assert [(finding.code, finding.severity) for finding in found] == [(code, Severity.NOTE) for code in expected]


def test_a_batch_whose_data_cannot_be_right_is_held(tmp_path: Path) -> None:
    lines = ["Sample ID,Batch,Sampling point,Sampled,Parameter,Result,Unit"]
    panel = [("Escherichia coli", "absent", "CFU/250 mL"), ("Total coliforms", "absent", "CFU/250 mL"),
             ("Pseudomonas aeruginosa", "absent", "CFU/250 mL"), ("Turbidity", "0.1", "NTU"), ("pH", "7.0", "pH"),
             ("Conductivity at 20 °C", "60", "µS/cm"), ("Sodium", "-9", "mg/L")]  # fmt: skip

    def checked(point: str) -> Disposition:
        rows = [f"S1,B1,FP,2026-06-16,{','.join(row)}" for row in panel[:-1]] + [
            f"S1,B1,{point},2026-06-16,{','.join(panel[-1])}"
        ]
        path = tmp_path / f"{point}.csv"
        path.write_text("\n".join(lines + rows), encoding="utf-8")
        check = check_workbook(
            [path], details=BatchDetails(batch="B1", product="purified"), limits=["us_21cfr165_110b"],
            train=SAMPLES / "train.toml", rules=None, on=date(2026, 6, 19), product="purified",
        )  # fmt: skip
        assert "stand-in value" in {finding.code for finding in check.findings}
        return check.decision.disposition

    assert checked("FP") == Disposition.HOLD
    assert checked("SP1") == Disposition.RELEASE


def many(number: int) -> DataFrame[Readings]:
    """Return a table of that many invented results."""
    panel = [("calcium", "mg/L", "Ca", 30.0), ("sodium", "mg/L", "Na", 8.0), ("magnesium", "mg/L", "Mg", 18.0),
             ("chloride", "mg/L", "Cl", 10.6), ("sulfate", "mg/L", "SO4", 19.3), ("alkalinity", "mg/L", "CaCO3", 136.0),
             ("nitrate", "mg/L", "NO3", 2.5), ("potassium", "mg/L", "K", 2.2), ("ph", "pH", None, 7.2),
             ("lead", "µg/L", None, 1.0)]  # fmt: skip
    base = readings_of([{**result(code, f"{value:g}", unit), "basis": basis} for code, unit, basis, value in panel])
    table = pd.concat([base] * (number // len(panel)), ignore_index=True)
    names = np.repeat(np.arange(number // len(panel)), len(panel)).astype(str)
    return Readings.validate(table.assign(**{Readings.sample: pd.Series(names, dtype="str")}))


def test_a_hundred_thousand_readings_take_about_a_second() -> None:
    """Measured 0.8 s of processor time; the bound leaves room for a slower machine."""
    table = many(100_000)
    check_quality(many(100))
    begin = time.process_time()
    assert check_quality(table) == ()
    assert time.process_time() - begin < 8
