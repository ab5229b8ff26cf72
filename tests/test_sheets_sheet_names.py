"""A sheet for each parameter, and a sheet for each sampling point."""

from __future__ import annotations

import pytest

from tests.workbooks import Rows, table_of, xlsx_bytes
from wqcheck.findings import Severity
from wqcheck.sheets import ReadResult, read_workbook

PLAIN: Rows = [
    ["Sample", "Date", "Result", "Unit"],
    ["S-1", "2026-03-25", 1.0, "µg/L"],
    ["S-2", "2026-03-26", 2, "µg/L"],
]
WIDE: Rows = [["Date", "pH", "Nitrate (mg/L)", "Lead (µg/L)"], ["2026-03-25", 7.1, 2.0, 1.0]]


def read(sheets: dict[str, Rows]) -> ReadResult:
    found = read_workbook(("book.xlsx", xlsx_bytes(sheets)))
    assert found.cells == len(found.readings) + len(found.ledger())
    return found


def test_a_sheet_named_after_a_parameter_gives_it_to_results_that_name_none() -> None:
    found = read({"Lead": PLAIN, "Nitrat (NO3)": PLAIN, "Notes": [["Sampled by the plant"]]})
    assert table_of(found, "parameter", "parameter_text")[1:3] == [("lead", "Lead"), ("nitrate", "Nitrat (NO3)")]
    codes = [finding.code for finding in found.findings]
    assert codes.count("parameter from sheet name") == 2
    named = read({"Lead": [["Parameter", "Result", "Unit"], ["Iron", 1.0, "µg/L"], ["Zinc", 2.0, "µg/L"]]})
    assert table_of(named, "parameter") == [("iron",), ("zinc",)]


def test_a_name_that_is_only_near_is_offered_and_not_taken() -> None:
    found = read({"Leadd": PLAIN})
    assert table_of(found, "parameter") == [(None,), (None,)]
    assert "lead" in next(finding.message for finding in found.findings if finding.code == "sheet nearly a parameter")
    assert "nearly" not in " ".join(finding.code for finding in read({"Sheet1": PLAIN}).findings)


def test_a_title_that_names_another_parameter_holds() -> None:
    found = read({"Lead": [["Nitrate, results of March"], [], *PLAIN]})
    assert table_of(found, "parameter") == [(None,), (None,)]
    assert ("sheet of two parameters", Severity.HOLD) in {(f.code, f.severity) for f in found.findings}


def test_sheets_alike_but_for_their_names_are_points() -> None:
    found = read({"Well 3": WIDE, "Product tank": WIDE})
    assert {row[0] for row in table_of(found, "point")} == {"Well 3", "Product tank"}
    assert [f.given for f in found.findings if f.code == "point from sheet name"] == ["Well 3", "Product tank"]


@pytest.mark.parametrize(
    "names",
    [
        ("Sheet1", "Sheet2"), ("Well 3", "Tabelle2"), ("March", "April"), ("2026-03", "2026-04"), ("Raw", "Final"),
        ("Batch 7", "Batch 8"), ("Résultats", "Well 3"), ("Week 12", "Week 13"), ("Lead", "Iron"), ("1", "2"),
    ],
)  # fmt: skip
def test_names_that_say_something_else_are_no_points(names: tuple[str, str]) -> None:
    assert {row[0] for row in table_of(read(dict.fromkeys(names, WIDE)), "point")} == {None}


def test_a_point_in_the_sheet_holds_and_one_sheet_alone_has_none() -> None:
    labelled = read({"Well 3": [["Sampling point:", "Tap 1"], [], *WIDE], "Well 4": WIDE})
    assert table_of(labelled, "point")[0] == ("Tap 1",)
    assert {row[0] for row in table_of(read({"Well 3": WIDE}), "point")} == {None}
