"""A value is not taken smaller than the sheet may mean it: what contradicts or doubts it leaves it undetermined.

The layouts are those that laboratories send: common practice, no source. All data are invented.
"""

from __future__ import annotations

from typing import Any

import pytest

from tests.workbooks import read_rows, said, table_of

LONG = ["Parameter", "Result", "Unit"]
CLEAN = [["Turbidity", 0.08, "NTU"], ["Arsenic", 1, "µg/L"]]


@pytest.mark.parametrize(
    "rows",
    [
        [LONG, *CLEAN, ["Lead (mg/L)", 0.05, "µg/L"]],
        [["Parameter", "Result (mg/L)", "Unit"], *CLEAN[:1], ["Lead", 0.05, "µg/L"]],
        [["Sample", "Lead (mg/L)", "Turbidity"], [None, "µg/L", "NTU"], ["P1", 0.9, 0.1]],
        [["Parameter", "Unit", "Product (mg/L)"], ["Turbidity", "NTU", 0.1], ["Lead", "µg/L", 0.05]],
        [["Parameter", "Unit", "Product"], ["Turbidity", "NTU", 0.1], ["Lead (mg/L)", "µg/L", 0.05]],
    ],
    ids=["name", "result heading", "heading over units row", "heading of a sample", "name among samples"],
)
def test_units_of_heading_name_and_column_that_differ_leave_the_result_without_unit(rows: list[list[Any]]) -> None:
    read = read_rows(rows)
    units = dict(table_of(read, "parameter", "unit"))
    assert units["lead"] is None
    assert units["turbidity"] == "NTU"
    assert "contradicting units" in said(read)


def test_a_row_may_state_a_unit_of_another_kind_than_the_heading_and_a_cell_its_own() -> None:
    read = read_rows(
        [["Parameter", "Result (mg/L)", "Unit"], ["Conductivity", 68, "µS/cm"], ["Lead", "5 µg/L", "mg/L"]]
    )
    assert table_of(read, "unit") == [("µS/cm",), ("µg/L",)]
    assert said(read) == {}


@pytest.mark.parametrize("heading", ["LOQ (mg/L)", "LOQ mg/L", "LOQ [mg/L]", "Reporting limit, mg/L"])
def test_a_limit_is_in_the_unit_that_its_heading_states(heading: str) -> None:
    read = read_rows([[*LONG, heading], ["Arsenic", 2, "µg/L", 0.001], ["Lead", "ND", "µg/L", 0.05]])
    assert table_of(read, "reporting_limit", "value") == [(1, 2), (50, 50)]


def test_an_uncertainty_is_in_the_unit_that_its_heading_states() -> None:
    read = read_rows([[*LONG, "Uncertainty (mg/L)"], ["Arsenic", 2, "µg/L", 0.001], ["Lead", 4, "µg/L", 0.002]])
    assert table_of(read, "uncertainty") == [(1,), (2,)]


@pytest.mark.parametrize(("text", "value"), [("<LOQ", None), ("BQL", None), ("trace", None), ("ND", 1), ("<LOD", 1)])
def test_a_limit_of_detection_does_not_bound_what_is_below_quantification(text: str, value: float | None) -> None:
    read = read_rows([[*LONG, "LOD", "LOQ"], ["Arsenic", 2, "µg/L", 1, 3], ["Lead", text, "µg/L", 1, None]])
    assert table_of(read, "sign", "value")[1] == ("<", value)


@pytest.mark.parametrize(
    ("flag", "sign"),
    [
        ("R", "unreadable"), ("rejected", "unreadable"), ("Exceeds calibration range", "unreadable"), ("> ", ">"),
        ("greater than", ">"), ("J", "="), ("U", "<"),
    ],
)  # fmt: skip
def test_a_flag_beside_a_result_may_withdraw_it_or_say_more_than(flag: str, sign: str) -> None:
    read = read_rows([[*LONG, "Qualifier"], *CLEAN, ["Lead", 1, "µg/L", flag]])
    assert table_of(read, "sign")[-1] == (sign,)


@pytest.mark.parametrize(("text", "sign"), [("more", "unreadable"), ("G", "unreadable"), ("<", "<"), ("=", "=")])
def test_a_sign_that_is_not_known_leaves_the_result_undetermined(text: str, sign: str) -> None:
    read = read_rows([["Parameter", "Sign", "Result", "Unit"], ["Arsenic", "<", 1, "µg/L"], ["Lead", text, 1, "µg/L"]])
    assert table_of(read, "sign")[-1] == (sign,)


@pytest.mark.parametrize("status", ["Rejected", "Preliminary", "void"])
def test_a_status_may_withdraw_a_result(status: str) -> None:
    read = read_rows([[*LONG, "Status"], *[[*row, "Final"] for row in CLEAN], ["Lead", 1, "µg/L", status]])
    assert table_of(read, "sign") == [("=",), ("=",), ("unreadable",)]
    assert "result in doubt" in said(read)


def test_of_two_volumes_the_smaller_holds_where_nothing_was_found_and_the_unit_where_something_was() -> None:
    rows = [
        [*LONG, "Volume filtered (mL)"],
        ["E. coli", "Absent", "CFU/250 mL", 1],
        ["Enterococci", 0, "CFU/250 mL", 250],
        ["Total coliforms", 4, "CFU/100 mL", 10],
        ["Pseudomonas aeruginosa", "absent/250 mL", "CFU/100 mL", 100],
    ]
    read = read_rows(rows)
    assert table_of(read, "volume_ml") == [(1,), (250,), (100,), (250,)]
    assert said(read)["contradicting volumes"] == "Results!B2, B4"


@pytest.mark.parametrize(("heading", "basis"), [("Basis", "N"), ("Expressed as", "as N"), ("Basis", "NO3")])
def test_a_basis_column_holds_unless_the_name_says_another(heading: str, basis: str) -> None:
    read = read_rows([[*LONG, heading], ["Nitrate", 3, "mg/L", basis], ["Nitrate (as NO3)", 40, "mg/L", basis]])
    plain, named = (row[0] for row in table_of(read, "basis"))
    assert plain == basis.removeprefix("as ")
    assert named == ("NO3" if basis == "NO3" else None)
    assert ("contradicting basis" in said(read)) is (basis != "NO3")
