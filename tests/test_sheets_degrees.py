"""The unit °F beside hardness, temperature and anything else."""

from __future__ import annotations

import pytest

from tests.workbooks import Rows, read_rows, table_of
from wqcheck.findings import Severity
from wqcheck.sheets import ReadResult
from wqcheck.units import conversion


def long(*rows: tuple[str, float, str]) -> Rows:
    return [["Sample", "Parameter", "Result", "Unit"], *(["S-1", *row] for row in rows)]


def codes(read: ReadResult, severity: Severity) -> set[str]:
    return {finding.code for finding in read.findings if finding.severity == severity}


@pytest.mark.parametrize("unit", ["°f", "°F", "º F", "deg F", "°fH", "F", "°Fr"])
def test_beside_hardness_it_is_the_french_degree(unit: str) -> None:
    """The French degree is 10 mg/L as CaCO3 (common practice, no source), so that 18 °fH is 180 mg/L."""
    read = read_rows(long(("Hardness", 18, unit), ("Alkalinity", 15, unit), ("pH", 7.4, "pH")))
    if unit == "deg F":
        assert codes(read, Severity.HOLD) >= {"degrees in doubt"}
        assert [row[0] for row in table_of(read, "unit")] == [None, None, "pH"]
        return
    assert table_of(read, "unit", "basis")[:2] == [("°fH", "CaCO3"), ("°fH", "CaCO3")]
    assert conversion("hardness", "°fH", "CaCO3", "mg/L", "CaCO3").low * 18 == pytest.approx(180)
    assert not read.findings


def test_in_the_heading_it_is_too() -> None:
    read = read_rows([["Sample", "TH (°f)", "pH"], ["S-1", 18.0, 7.4], ["S-2", 17.0, 7.5]])
    assert {row[0] for row in table_of(read, "unit")} == {"°fH", "pH"}


@pytest.mark.parametrize("unit", ["°F", "F", "oF", "°f."])
def test_beside_temperature_it_is_fahrenheit_and_beside_both_a_doubt(unit: str) -> None:
    assert table_of(read_rows(long(("Temperature", 59, unit), ("pH", 7.4, "pH"))), "unit")[0] == ("°F",)
    both = read_rows(long(("Temperature", 59, unit), ("Hardness", 18, "°F")))
    assert table_of(both, "unit") == [("°F",), (None,)]
    assert "degrees in doubt" in codes(both, Severity.HOLD)


def test_beside_anything_else_it_is_a_doubt_that_holds() -> None:
    read = read_rows(long(("Calcium", 14, "°f"), ("Chloride", 3, "F"), ("pH", 7.4, "pH")))
    assert table_of(read, "unit") == [(None,), (None,), ("pH",)]
    assert len([finding for finding in read.findings if finding.code == "degrees in doubt"]) == 2


@pytest.mark.parametrize(
    ("unit", "milligrams"),
    [("°dH", 17.848), ("°e", 14.254), ("°fH", 10.0), ("ppm CaCO3", 1.0), ("gpg", 17.118), ("German degrees", 17.848)],
)
def test_degrees_of_hardness_in_milligrams_of_calcium_carbonate(unit: str, milligrams: float) -> None:
    """One German degree is 10 mg/L as CaO, one English degree one grain per imperial gallon (common practice)."""
    read = read_rows(long(("Hardness", 1, unit), ("pH", 7.4, "pH")))
    [(label, basis), _] = table_of(read, "unit", "basis")
    assert conversion("hardness", label, basis, "mg/L", "CaCO3").low == pytest.approx(milligrams, rel=2e-4)
