"""What looks like a result and was not read holds the batch, or at least is named.

The layouts are those that laboratories send: common practice, no source. All data are invented.
"""

from __future__ import annotations

from typing import Any

import pytest

from tests.workbooks import csv_text, read_rows, table_of, xlsx_bytes
from wqcheck.findings import Severity
from wqcheck.sheets import ReadResult, read_workbook

LONG = ["Parameter", "Result", "Unit"]
CLEAN = [["Turbidity", 0.08, "NTU"], ["pH", 6.3, "pH"], ["Lead", 1, "µg/L"]]


def holds(read: ReadResult) -> list[str]:
    return [finding.code for finding in read.findings if finding.severity == Severity.HOLD]


@pytest.mark.parametrize("heading", ["Confirmation", "Retest", "Retest result", "Multiplier", "Dilution factor", None])
@pytest.mark.parametrize("value", ["Present", 900])
def test_a_column_of_results_with_a_heading_that_says_nothing_holds(heading: str | None, value: Any) -> None:
    assert holds(read_rows([[*LONG, heading], *CLEAN, ["E. coli", "Absent", "CFU/250 mL", value]])) == [
        "dilution" if heading == "Dilution factor" else "column not read"
    ]


def test_row_numbers_and_a_dilution_of_one_hold_nothing() -> None:
    rows = [[n, *row, 1] for n, row in enumerate(CLEAN, start=1)]
    assert holds(read_rows([[None, *LONG, "Dilution factor"], *rows])) == []


def test_a_comma_inside_a_number_of_a_comma_delimited_file_holds() -> None:
    text = csv_text([["Parameter", "Unit", "Result"], ["Turbidity", "NTU", "0.1"]]) + "Lead,µg/L,0,9\n"
    assert holds(read_workbook(("r.csv", text.encode()))) == ["column not read"]


@pytest.mark.parametrize(
    "heading",
    ["Sum of THM (µg/L)", "Arsenic target", "As risk (µg/L)", "Mean arsenic (µg/L)", "Arsenic LOQ 1 µg/L",
     "Arsenic compliance"],
)  # fmt: skip
def test_a_column_taken_for_a_limit_or_mean_of_an_analyte_without_results_holds(heading: str) -> None:
    read = read_rows([["Sample", "Turbidity (NTU)", "Lead (µg/L)", heading], ["P1", 0.1, 1, 900]])
    assert read.readings["parameter"].isin(["arsenic", "trihalomethanes_total"]).any() or holds(read)


def test_a_limit_column_beside_the_results_of_its_analyte_holds_nothing() -> None:
    read = read_rows([["Sample", "Lead (µg/L)", "Turbidity (NTU)", "Lead limit"], ["P1", 1, 0.1, 5]])
    assert holds(read) == []


@pytest.mark.parametrize("name", ["Threshold odour", "Standard plate count 37 °C", "EPA 200.8 Lead", "Mean lead"])
def test_a_row_among_samples_that_names_an_analyte_is_no_row_of_limits(name: str) -> None:
    rows = [["Parameter", "Unit", "P1"], ["Turbidity", "NTU", 0.1], ["Iron", "mg/L", 0.01], [name, "µg/L", 900]]
    assert table_of(read_rows(rows), "parameter_text", "value")[-1] == (name, 900)


@pytest.mark.parametrize(
    "other",
    [[["Retest of 18 June: arsenic 50 µg/L"]], [["Arsenic: 50 µg/L"]], [["Arsenic", 50, "µg/L"]]],
)
def test_a_sheet_without_a_table_that_states_a_result_holds(other: list[list[Any]]) -> None:
    read = read_workbook(("b.xlsx", xlsx_bytes({"R": [LONG, *CLEAN], "More": other})))
    assert holds(read) or "arsenic" in set(read.readings["parameter"])


@pytest.mark.parametrize("text", ["Note: lead retested at 50 µg/L", "* arsenic 900 µg/L"])
def test_a_footer_that_states_a_result_holds_and_one_that_states_a_limit_does_not(text: str) -> None:
    assert holds(read_rows([LONG, *CLEAN, [text]])) == ["result not read"]
    assert holds(read_rows([LONG, *CLEAN, ["Limit for lead: 10 µg/L"], ["Ammonium chloride, 100 mg per litre"]])) == []


def test_headings_once_more_in_another_order_hold() -> None:
    rows = [["Parameter", "Result", "Unit", "LOQ"], *[[*row, 1] for row in CLEAN]]
    read = read_rows([*rows, ["Parameter", "LOQ", "Unit", "Result"], ["Arsenic", 1, "µg/L", 900]])
    assert "headings moved" in holds(read) or ("arsenic", 900) in table_of(read, "parameter", "value")


@pytest.mark.parametrize("sample", ["Max", "Target", "Standard line", "Mean"])
def test_a_row_of_a_mean_or_limit_with_the_only_value_of_its_analyte_is_a_result(sample: str) -> None:
    read = read_rows([["Sample", *LONG], *[["S1", *row] for row in CLEAN], [sample, "Arsenic", 900, "µg/L"]])
    assert table_of(read, "parameter", "value")[-1] == ("arsenic", 900)
    again = read_rows([["Sample", *LONG], *[["S1", *row] for row in CLEAN], [sample, "Lead", 1, "µg/L"]])
    assert len(again.readings) == len(CLEAN)


def test_a_last_row_with_a_unit_is_no_signature_and_a_blank_result_is_named() -> None:
    assert table_of(read_rows([LONG, *CLEAN, ["Laed", "fifty", "µg/L"]]), "sign")[-1] == ("unreadable",)
    blank = read_rows([LONG, *CLEAN, ["Arsenic", None, "µg/L"]])
    assert [finding.code for finding in blank.findings] == ["no result given"]


def test_a_point_is_carried_down_only_where_most_rows_leave_it_blank() -> None:
    rows = [["FP", *CLEAN[0]], ["FP", *CLEAN[1]], ["raw", "Zinc", 1, "mg/L"], [None, *CLEAN[2]]]
    assert table_of(read_rows([["Point", *LONG], *rows]), "point")[-1] == (None,)


def test_a_column_of_typical_or_earlier_values_is_no_result() -> None:
    read = read_rows(
        [["Parameter", "Unit", "Previous result", "Result"], ["Lead", "µg/L", 1, None], ["pH", "pH", 6, 7]]
    )
    assert table_of(read, "parameter", "value") == [("ph", 7)]
