"""Results whose point, date and batch stand in a list of samples, and whose names stand in a list of parameters."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.workbook_forms import ods_bytes
from tests.workbooks import Rows, table_of, xlsx_bytes
from wqcheck.findings import Severity
from wqcheck.sheets import ReadResult, read_workbook

HEADINGS = ["Sample ID", "Sampling point", "Sampling date", "Batch", "Client ID"]
LIST: Rows = [
    ["List of samples"],
    HEADINGS,
    ["S-1", "Well 3", "2026-03-25", "B-7", "K1"],
    ["S-2", "Product tank", "2026-03-26", "B-8", "K2"],
    ["S-3", "Raw", "2026-03-27", "B-8", "K3"],
]
OWNER = ("sample", "point", "sampled_at", "batch")
FIRST, SECOND = ("S-1", "Well 3", "2026-03-25", "B-7"), ("S-2", "Product tank", "2026-03-26", "B-8")


def long(*names: Any) -> Rows:
    return [["Sample ID", "Parameter", "Result", "Unit"], *([name, "Lead", 1.0, "µg/L"] for name in names)]


def read(**sheets: Rows) -> ReadResult:
    found = read_workbook(("book.xlsx", xlsx_bytes(sheets)))
    assert found.cells == len(found.readings) + len(found.ledger())
    return found


def held(found: ReadResult) -> list[tuple[str, str, str]]:
    """Return code, place and given text of the findings of joining that hold."""
    return [
        (finding.code, finding.where.partition("|")[2], finding.given)
        for finding in found.findings
        if finding.severity == Severity.HOLD and "sample" in finding.code
    ]


@pytest.mark.parametrize("order", [("Samples", "Results"), ("Results", "Samples")])
def test_every_result_gets_what_the_list_says_of_its_sample(order: tuple[str, str]) -> None:
    sheets = {"Samples": LIST, "Results": long("S-1", "S-2", "S-1")}
    found = read(**{name: sheets[name] for name in order})
    assert table_of(found, *OWNER) == [FIRST, SECOND, FIRST]
    assert table_of(found, "sheet", "cell") == [("Results", "C2"), ("Results", "C3"), ("Results", "C4")]
    assert held(found) == []
    assert {(f.code, f.given) for f in found.findings} == {("sample list", ""), ("sample without results", "S-3")}
    ledger = found.ledger()
    listed = ledger[ledger["sheet"].eq("Samples")].set_index("cell")
    assert listed["role"].to_dict()["B3"] == "point"
    reasons = listed["reason"].to_dict()
    assert ("joined" in reasons["C3"], "no results" in reasons["C5"]) == (True, True)


def test_wide_sheets_crosstabs_labels_and_other_forms_are_joined_alike() -> None:
    wide: Rows = [["Sample ID", "Lead (µg/L)", "Nitrate (mg/L)"], ["S-1", 1.0, 2.0], ["S-2", 3.0, 4.0]]
    assert table_of(read(Samples=LIST, Results=wide), *OWNER) == [FIRST, FIRST, SECOND, SECOND]
    across: Rows = [["Parameter", "Unit", "S-1", "S-2"], ["Lead", "µg/L", 1.0, 3.0], ["Nitrate", "mg/L", 2.0, 4.0]]
    assert table_of(read(Samples=LIST, Results=across), *OWNER) == [FIRST, SECOND, FIRST, SECOND]
    labelled: Rows = [["Sample:", "S-2"], [], ["Parameter", "Result", "Unit"], ["Lead", 1.0, "µg/L"]]
    assert table_of(read(Samples=LIST, Results=labelled), *OWNER) == [SECOND]
    by_client: Rows = [["Client ID", "Lead (µg/L)"], ["K2", 1.0], ["K1", 2.0]]
    assert table_of(read(Samples=LIST, Results=by_client), "point", "batch") == [SECOND[1::2], FIRST[1::2]]
    ods = read_workbook(("book.ods", ods_bytes({"Samples": LIST, "Results": long("S-1")})))
    assert table_of(ods, *OWNER) == [FIRST]
    below = [*LIST, [], ["Sample ID", "Parameter", "Result", "Unit"], ["S-1", "Lead", 1.0, "µg/L"]]
    assert table_of(read(Results=below), *OWNER) == [FIRST]


@pytest.mark.parametrize("name", ["s-1", "S 1", "S1", "S-01", "S_1"])
def test_a_number_that_is_nearly_in_the_list_is_told_and_never_joined(name: str) -> None:
    found = read(Samples=LIST, Results=long("S-2", name))
    assert table_of(found, *OWNER) == [SECOND, (name, None, None, None)]
    assert held(found) == [("sample not in list", "Results!C3", name)]
    assert "'S-1'" in next(finding.message for finding in found.findings if finding.given == name)


def test_a_number_that_the_list_has_not_or_has_twice_is_told_and_never_joined() -> None:
    missing = read(Samples=LIST, Results=long("S-1", "S-9"))
    assert table_of(missing, *OWNER)[1] == ("S-9", None, None, None)
    assert held(missing) == [("sample not in list", "Results!C3", "S-9")]
    twice = read(Samples=[*LIST, ["S-1", "Well 4", "2026-03-25", "B-7"]], Results=long("S-1", "S-2"))
    assert table_of(twice, *OWNER) == [("S-1", None, None, None), SECOND]
    assert held(twice) == [("sample twice in list", "Results!C2", "S-1: Samples!A3")]
    same = read(Samples=[*LIST, LIST[2]], Results=long("S-1"))
    assert (table_of(same, *OWNER), held(same)) == ([FIRST], [])


def test_numbers_stored_as_numbers_are_joined_as_they_read() -> None:
    listed = [HEADINGS, [1001.0, "Well 3", "2026-03-25", "B-7"], ["1002", "Raw", "2026-03-26", "B-8"]]
    found = read(Samples=listed, Results=long("1001", 1002.0, " 1001 "))
    assert [row[0] for row in table_of(found, "point")] == ["Well 3", "Raw", "Well 3"]


def test_what_the_row_itself_says_holds_against_the_list_and_the_list_against_a_label() -> None:
    own: Rows = [
        ["Sample ID", "Sampling point", "Date", "Parameter", "Result", "Unit"],
        ["S-1", "WELL 3", "2026-03-25", "Lead", 1.0, "µg/L"],
        ["S-2", "Raw", "2026-03-20", "Lead", 1.0, "µg/L"],
    ]
    found = read(Samples=LIST, Results=own)
    assert table_of(found, "point", "sampled_at", "batch") == [
        ("WELL 3", "2026-03-25", "B-7"), ("Raw", "2026-03-20", "B-8"),
    ]  # fmt: skip
    assert held(found) == [("sample list contradicts", "Results!E3", "Samples!A4")] * 2
    label = read(Samples=LIST, Results=[["Batch:", "B-1"], [], *long("S-1")])
    assert table_of(label, *OWNER) == [FIRST]
    assert held(label) == [("sample list contradicts", "Results!C4", "Samples!A3")]


def test_days_of_the_list_are_read_in_the_order_that_its_column_proves() -> None:
    dated = [HEADINGS, ["S-1", "Well 3", "03/04/2026", "B-7"], ["S-2", "Raw", "25/03/2026", "B-7"]]
    assert table_of(read(Samples=dated, Results=long("S-1")), "sampled_at") == [("2026-04-03",)]
    unproven = read(Samples=dated[:2], Results=long("S-1"))
    assert table_of(unproven, "sampled_at") == [(None,)]
    assert "no full date" in {finding.code for finding in unproven.findings}


def test_field_results_with_their_points_serve_as_a_list_where_numbers_cannot_be_others() -> None:
    def field(first: str, second: str) -> Rows:
        return [["Sample ID", "Point", "Date", "pH"], [first, "Well 3", "2026-03-25", 7.1],
                [second, "Raw", "2026-03-26", 7.4]]  # fmt: skip

    joined = read(Field=field("W-101", "W-102"), Lab=long("W-101", "W-102"))
    assert [row[0] for row in table_of(joined, "point")] == ["Well 3", "Raw"] * 2
    small = read(Field=field("1", "2"), Lab=long("1", "2"))
    assert [row[0] for row in table_of(small, "point")] == ["Well 3", "Raw", None, None]


@settings(max_examples=25, deadline=None)
@given(st.lists(st.tuples(st.integers(1, 40), st.integers(1, 9)), min_size=1, max_size=12, unique_by=lambda t: t[0]),
       st.lists(st.integers(1, 40), min_size=1, max_size=12))  # fmt: skip
def test_a_joined_point_is_that_of_its_number_and_no_other(listed: list[tuple[int, int]], wanted: list[int]) -> None:
    rows = [["Sample ID", "Sampling point"], *([f"S-{number}", f"Well {point}"] for number, point in listed)]
    points = {f"S-{number}": f"Well {point}" for number, point in listed}
    found = read(Samples=rows, Results=long(*(f"S-{number}" for number in wanted)))
    assert all(point == points.get(sample) for sample, point in table_of(found, "sample", "point"))
    missing = {f"S-{number}" for number in wanted} - points.keys()
    assert {given for code, _, given in held(found) if code == "sample not in list"} == missing


PARAMETERS: Rows = [
    ["Code", "Parameter", "CAS no", "Unit", "Method"],
    ["PB01", "Lead", "7439-92-1", "µg/L", "M-1"],
    ["NO3", "Nitrate", "14797-55-8", "mg/L", "M-2"],
    ["XX1", "Lead", "", "µg/L", ""],
    ["XX1", "Iron", "", "µg/L", ""],
]


def test_codes_are_named_by_the_list_of_parameters_and_doubled_ones_are_not() -> None:
    coded: Rows = [["Sample ID", "Code", "Result"], ["S-1", "PB01", 1.0], ["S-1", "NO3", 2.0], ["S-2", "PB01", 3.0]]
    found = read(Samples=LIST, Parameters=PARAMETERS, Results=coded)
    assert table_of(found, "parameter", "unit", "point") == [
        ("lead", "µg/L", "Well 3"), ("nitrate", "mg/L", "Well 3"), ("lead", "µg/L", "Product tank"),
    ]  # fmt: skip
    assert table_of(found, "parameter_text")[0] == ("PB01",)
    assert "parameter list" in {finding.code for finding in found.findings}
    doubled = read(Parameters=PARAMETERS, Results=[coded[0], ["S-1", "XX1", 1.0], ["S-1", "PB01", 1.0]])
    assert table_of(doubled, "parameter")[0] == (None,)


def test_running_numbers_of_a_list_are_no_codes() -> None:
    numbered: Rows = [["No", "Parameter", "Unit"], [1.0, "Lead", "µg/L"], [2.0, "Iron", "µg/L"]]
    found = read(Parameters=numbered, Results=[["No", "Sample ID", "Result"], [1.0, "S-1", 5.0], [2.0, "S-2", 6.0]])
    assert {row[0] for row in table_of(found, "parameter")} == {None}
