"""Wide tables: analytes across, one sample per row; units, limits and computed rows are told from samples.

The layouts are those that laboratories send: common practice, no source. All data are invented.
"""

from __future__ import annotations

import datetime as dt

import pytest

from tests.workbooks import read_rows, roles_of, said, table_of

DAY, NEXT = dt.datetime(2026, 3, 1), dt.datetime(2026, 3, 2)


def test_units_stand_in_the_headings() -> None:
    head = [
        "Sample",
        "Point",
        "Date",
        "Lead (µg/L)",
        "Nitrate, mg/L as N",
        "tds_mg_l",
        "Turbidity (NTU)",
        "E. coli CFU/100 mL",
        "pH",
    ]
    read = read_rows([head, ["S-1", "Tank", DAY, 2, "<0.1", 300, 0.2, "absent", 7.1]])
    assert table_of(read, "cell", "parameter", "sign", "value", "unit", "basis", "volume_ml") == [
        ("D2", "lead", "=", 2, "µg/L", None, None),
        ("E2", "nitrate", "<", 0.1, "mg/L", "N", None),
        ("F2", "total_dissolved_solids", "=", 300, "mg/L", None, None),
        ("G2", "turbidity", "=", 0.2, "NTU", None, None),
        ("H2", "escherichia_coli", "absent", None, "CFU", None, 100),
        ("I2", "ph", "=", 7.1, "pH", None, None),
    ]
    assert table_of(read, "sample", "point", "sampled_at") == [("S-1", "Tank", "2026-03-01")] * 6
    assert said(read) == {}


@pytest.mark.parametrize("label", [None, "Unit", "Unité", "Einheit"])
def test_units_stand_in_a_row_below_the_headings(label: str | None) -> None:
    read = read_rows(
        [["Sample", "Date", "Lead", "Nitrate", "pH"], [label, None, "µg/L", "mg/L as NO3", "-"], ["S-1", DAY, 2, 3, 7]]
    )
    assert table_of(read, "cell", "parameter", "unit", "basis") == [
        ("C3", "lead", "µg/L", None), ("D3", "nitrate", "mg/L", "NO3"), ("E3", "ph", "1", None),
    ]  # fmt: skip
    assert {roles_of(read)[cell] for cell in ("C2", "D2", "E2")} == {"heading"}


def test_a_sample_with_nothing_but_dashes_is_no_row_of_units() -> None:
    read = read_rows([["Sample", "Lead (µg/L)", "Zinc (mg/L)"], ["S-1", "-", "-"], ["S-2", 1, 2]])
    assert table_of(read, "cell", "unit") == [("B3", "µg/L"), ("C3", "mg/L")]
    assert roles_of(read)["B2"] == roles_of(read)["C2"] == "not tested"


def test_below_the_limit_of_quantification_takes_the_limit_of_its_column() -> None:
    rows = [
        ["Sample", "Lead", "Zinc", "Nitrate"],
        [None, "µg/L", "mg/L", "mg/L"],
        ["LOQ", 0.5, "0.1", None],
        ["LOD", 0.1, 0.05, 0.2],
    ]
    read = read_rows([*rows, ["S-1", "<LOQ", 3, "ND"], ["S-2", 2, "< LOQ", 5]])
    assert table_of(read, "cell", "sign", "value", "reporting_limit") == [
        ("B5", "<", 0.5, 0.5), ("C5", "=", 3, 0.1), ("D5", "<", 0.2, 0.2), ("B6", "=", 2, 0.5),
        ("C6", "<", 0.1, 0.1), ("D6", "=", 5, 0.2),
    ]  # fmt: skip


LABELS = [
    "WHO limit",
    "Standard",
    "Guideline value",
    "Mean",
    "Average",
    "Minimum",
    "Max",
    "Total",
    "Std dev",
    "Median",
    "VMP",
    "Grenzwert",
    "Moyenne",
]


@pytest.mark.parametrize("label", LABELS)
def test_rows_of_limits_and_of_computed_values_are_never_results(label: str) -> None:
    read = read_rows(
        [["Sample", "Date", "Lead (µg/L)", "pH"], ["S-1", DAY, 1, 7.1], ["S-2", NEXT, 2, 7.3], [label, None, 10, 7.2]]
    )
    assert table_of(read, "cell") == [("C2",), ("D2",), ("C3",), ("D3",)]
    assert {roles_of(read)[cell] for cell in ("A4", "C4", "D4")} == {"heading"}


def test_a_sheet_whose_first_column_is_the_date_alone() -> None:
    read = read_rows([["Date", "Turbidity (NTU)", "Free chlorine (mg/L)"], [DAY, 0.2, 0.5], [NEXT, 0.3, "ND"]])
    assert table_of(read, "cell", "sample", "sampled_at", "parameter", "value") == [
        ("B2", None, "2026-03-01", "turbidity", 0.2), ("C2", None, "2026-03-01", "free_chlorine", 0.5),
        ("B3", None, "2026-03-02", "turbidity", 0.3), ("C3", None, "2026-03-02", "free_chlorine", None),
    ]  # fmt: skip


def test_a_group_heading_over_its_analytes() -> None:
    rows = [
        ["Sample", "Lead", "Nitrate", "Microbiology", None],
        [None, "µg/L", "mg/L", "E. coli", "Coliforms"],
        [None, None, None, "CFU/100 mL", "CFU/100 mL"],
    ]
    read = read_rows([*rows, ["S-1", 1, 3, 0, "absent"]], merged=["D1:E1"])
    assert table_of(read, "cell", "parameter", "value", "unit", "volume_ml") == [
        ("B4", "lead", 1, "µg/L", None), ("C4", "nitrate", 3, "mg/L", None),
        ("D4", "escherichia_coli", 0, "CFU", 100),
        ("E4", "total_coliforms", None, "CFU", 100),
    ]  # fmt: skip


def test_an_analyte_over_its_result_and_its_limit() -> None:
    rows = [
        ["Sample", "Lead (µg/L)", None, "Nitrate (mg/L)", None],
        [None, "Result", "Limit", "Result", "Limit"],
        ["S-1", 1, 10, 3, 50],
        ["S-2", 2, 10, 4, 50],
    ]
    read = read_rows(rows, merged=["B1:C1", "D1:E1"])
    assert table_of(read, "cell", "parameter", "value", "unit") == [
        ("B3", "lead", 1, "µg/L"), ("D3", "nitrate", 3, "mg/L"), ("B4", "lead", 2, "µg/L"),
        ("D4", "nitrate", 4, "mg/L"),
    ]  # fmt: skip
    assert roles_of(read)["C3"] == roles_of(read)["E4"] == "limit"


def test_names_written_with_blanks() -> None:
    read = read_rows(
        [["Sample", "SO 4 (mg/L)", "NO 3 -", "d 18O", "HCO 3", "PO 4"], ["S-1", 1, 2, 3, 4, 5], ["S-2", 1, 2, 3, 4, 5]]
    )
    assert table_of(read, "parameter")[:5] == [
        ("sulfate",),
        ("nitrate",),
        ("delta_18o",),
        ("bicarbonate",),
        ("phosphate",),
    ]


def test_sample_numbers_that_look_like_formulas_stay_sample_numbers() -> None:
    read = read_rows([["Sample", "Client code", "Lead (µg/L)"], ["S1", 701, 1], ["S2", 702, 2], ["N2", 703, 3]])
    assert table_of(read, "cell", "sample", "parameter") == [
        ("C2", "S1", "lead"),
        ("C3", "S2", "lead"),
        ("C4", "N2", "lead"),
    ]
    assert said(read) == {"column not read": "Results!B2"}


def test_a_column_of_numbers_that_nothing_names_is_said() -> None:
    read = read_rows(
        [
            ["Sample", "Lead (µg/L)", "Unobtainium (µg/L)", "Mystery", "Removal (%)", "Mean"],
            ["S-1", 1, 2, 3, 99.5, 1],
            ["S-2", 1, 2, 3, 99.5, 1],
        ]
    )
    assert table_of(read, "cell", "parameter", "parameter_text", "unit")[:2] == [
        ("B2", "lead", "Lead (µg/L)", "µg/L"), ("C2", None, "Unobtainium (µg/L)", "µg/L"),
    ]  # fmt: skip
    assert said(read) == {"column not read": "Results!D2"}
    assert roles_of(read)["E2"] == roles_of(read)["F2"] == "computed"


def test_verdict_and_limit_columns_beside_results_are_no_results() -> None:
    read = read_rows(
        [
            ["Sample", "Lead (µg/L)", "Lead limit", "Lead within limit", "pH", "pH standard"],
            ["S-1", 1, 10, "Yes", 7, "6.5-8.5"],
            ["S-2", 2, 10, "Yes", 7, "6.5-8.5"],
        ]
    )
    assert table_of(read, "cell") == [("B2",), ("E2",), ("B3",), ("E3",)]


def test_values_of_a_row_that_names_no_sample_are_held() -> None:
    read = read_rows([["Sample", "Date", "Lead (µg/L)"], ["S-1", DAY, 1], [None, None, 2], ["S-2", NEXT, 3]])
    assert table_of(read, "cell") == [("C2",), ("C4",)]
    assert said(read) == {"value without owner": "Results!C3"}


def test_two_tables_below_one_another_keep_their_own_headings() -> None:
    read = read_rows(
        [["Physical"], ["Sample", "pH", "Turbidity (NTU)"], ["S-1", 7.1, 0.2], ["S-2", 7.2, 0.3], [],
         ["Metals"], ["Sample", "Lead (µg/L)", "Iron (mg/L)"], ["S-1", 1, 0.1], ["S-2", 2, 0.2]]
    )  # fmt: skip
    assert table_of(read, "cell", "sample", "parameter", "unit") == [
        ("B3", "S-1", "ph", "pH"), ("C3", "S-1", "turbidity", "NTU"), ("B4", "S-2", "ph", "pH"),
        ("C4", "S-2", "turbidity", "NTU"),
        ("B8", "S-1", "lead", "µg/L"), ("C8", "S-1", "iron", "mg/L"), ("B9", "S-2", "lead", "µg/L"),
        ("C9", "S-2", "iron", "mg/L"),
    ]  # fmt: skip
    assert roles_of(read)["A6"] == "text"


def test_two_tables_beside_one_another_keep_their_own_samples() -> None:
    read = read_rows(
        [["Sample", "Lead µg/L", None, "Sample", "Iron mg/L"], ["S-1", 1, None, "T-1", 3], ["S-2", 2, None, "T-2", 4]]
    )
    assert table_of(read, "cell", "sample", "parameter") == [
        ("B2", "S-1", "lead"),
        ("B3", "S-2", "lead"),
        ("E2", "T-1", "iron"),
        ("E3", "T-2", "iron"),
    ]


def test_thousands_and_percents_as_text() -> None:
    read = read_rows(
        [["Sample", "TDS (mg/L)", "Oxygen saturation"], ["S-1", "1,234.5", "98 %"], ["S-2", "2,000", "97%"]]
    )
    assert table_of(read, "value", "unit") == [(1234.5, "mg/L"), (98, "%"), (2000, "mg/L"), (97, "%")]


def test_numbers_stored_as_text_are_numbers() -> None:
    read = read_rows([["Sample", "Lead (µg/L)"], ["S-1", "5"], ["S-2", " 7.5 "], ["S-3", "1 200"]])
    assert table_of(read, "reported", "value") == [("5", 5), ("7.5", 7.5), ("1 200", 1200)]


def test_a_row_with_a_date_is_a_sample_whatever_its_name() -> None:
    rows = [
        ["Point", "Date", "Lead (µg/L)"],
        ["Standard tap", DAY, 1],
        ["WHO office", NEXT, 2],
        ["WHO limit", None, 10],
    ]
    assert table_of(read_rows(rows), "cell", "point") == [("C2", "Standard tap"), ("C3", "WHO office")]


def test_a_sample_merged_over_its_dates_holds_for_all_of_them() -> None:
    rows = [["Sample", "Date", "Lead (µg/L)"], ["S-1", DAY, 1], [None, NEXT, 2], ["S-2", DAY, 3]]
    read = read_rows(rows, merged=["A2:A3"])
    assert table_of(read, "cell", "sample", "sampled_at") == [
        ("C2", "S-1", "2026-03-01"), ("C3", "S-1", "2026-03-02"), ("C4", "S-2", "2026-03-01"),
    ]  # fmt: skip
    assert "A3" not in roles_of(read)


@pytest.mark.parametrize("merged", [[], ["A1:A2", "B1:B2", "C1:D1"]])
def test_headings_of_samples_stand_a_row_above_those_of_analytes(merged: list[str]) -> None:
    rows = [["Sample", "Date", "Metals", None], [None, None, "Lead (µg/L)", "Iron (mg/L)"], ["S-1", DAY, 1, 2]]
    read = read_rows(rows, merged)
    assert table_of(read, "cell", "sample", "sampled_at", "parameter") == [
        ("C3", "S-1", "2026-03-01", "lead"), ("D3", "S-1", "2026-03-01", "iron"),
    ]  # fmt: skip
    assert read.labels == {}


def test_samples_below_the_word_parameter() -> None:
    read = read_rows([["Parameter", "Lead (µg/L)", "pH"], ["Limit", 10, "6.5-8.5"], ["S-1", 1, 7], ["S-2", 2, 7.1]])
    assert table_of(read, "cell", "sample", "parameter") == [
        ("B3", "S-1", "lead"), ("C3", "S-1", "ph"), ("B4", "S-2", "lead"), ("C4", "S-2", "ph"),
    ]  # fmt: skip
