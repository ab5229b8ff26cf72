"""Rows of flags and limits below the results of each sample belong to that sample, and are no results themselves.

The layout is common practice of deliverables, no source; *U* is *not detected* (US EPA, National Functional
Guidelines for Inorganic Superfund Methods Data Review).
"""

from __future__ import annotations

from typing import Any

import pytest

from tests.workbooks import roles_of, table_of, xlsx_bytes
from wqcheck.sheets import ReadResult, read_workbook

HEADINGS = ["Arsenic (µg/L)", "Lead (µg/L)", "Nitrate (mg/L)", "Iron (mg/L)"]
SAMPLES = 40


def read_rows(rows: list[list[Any]]) -> ReadResult:
    return read_workbook(("book.xlsx", xlsx_bytes({"Results": rows})))


def rows_of(layout: str, sample: int) -> list[list[Any]]:
    values = [1.5 + sample, 2 + sample, 3.5, 4]
    flags, limits = ["U", "J", None, "U" if sample % 2 else None], [1 + sample, 1, 0.5, 0.25]
    name = f"S-{sample}"
    again = {"labelled": None, "repeated": name}
    if layout == "bare":
        return [[name, *values], ["Qualifier", *flags], ["LOQ", *limits]]
    return [[name, "Result", *values], [again[layout], "Qualifier", *flags], [again[layout], "LOQ", *limits]]


@pytest.mark.parametrize("layout", ["labelled", "repeated", "bare"])
def test_flags_and_limits_below_each_sample_go_with_its_results(layout: str) -> None:
    rows: list[list[Any]] = [["Sample", *([] if layout == "bare" else ["Type"]), *HEADINGS]]
    for sample in range(SAMPLES):
        rows += rows_of(layout, sample)
    read = read_rows(rows)
    found = table_of(read, "sample", "parameter", "sign", "qualifier", "reporting_limit")
    expected = []
    for sample in range(SAMPLES):
        iron = "U" if sample % 2 else None
        expected += [
            (f"S-{sample}", "arsenic", "<", "U", 1 + sample), (f"S-{sample}", "lead", "=", "J", 1),
            (f"S-{sample}", "nitrate", "=", None, 0.5), (f"S-{sample}", "iron", "<" if iron else "=", iron, 0.25),
        ]  # fmt: skip
    assert found == expected
    assert len(read.ledger()) + len(read.readings) == read.cells


def test_rows_of_another_sample_go_with_no_result() -> None:
    """The results of S-2 are missing: its flags must not come to stand beside those of S-1."""
    rows: list[list[Any]] = [["Sample", "Type", *HEADINGS], *rows_of("repeated", 1), *rows_of("repeated", 2)[1:]]
    read = read_rows(rows)
    assert table_of(read, "sample", "parameter", "reporting_limit") == [
        ("S-1", "arsenic", 2), ("S-1", "lead", 1), ("S-1", "nitrate", 0.5), ("S-1", "iron", 0.25),
    ]  # fmt: skip
    assert {roles_of(read)[cell] for cell in ("C5", "C6")} == {"not used"}


def test_rows_above_the_results_go_with_those_below() -> None:
    rows: list[list[Any]] = [["Sample", "Type", *HEADINGS]]
    for sample in (1, 2):
        result, flags, limits = rows_of("repeated", sample)
        rows += [limits, flags, result]
    found = table_of(read_rows(rows), "sample", "parameter", "sign", "reporting_limit")
    assert [row for row in found if row[1] == "arsenic"] == [("S-1", "arsenic", "<", 2), ("S-2", "arsenic", "<", 3)]


@pytest.mark.parametrize("beside", [False, True])
def test_a_limit_in_another_unit_than_the_result_is_converted(*, beside: bool) -> None:
    rows: list[list[Any]] = [["Sample", *(["Type"] if beside else []), *HEADINGS]]
    for sample in (f"S-{number}" for number in (1, 2)):
        ahead = [[sample, "Result"], [sample]] if beside else [[sample], []]
        rows += [[*ahead[0], 5, 6, 7, 8], [*ahead[1], "LOQ (mg/L)", 0.001, 0.002, 0.5, 0.25]]
    found = table_of(read_rows(rows), "parameter", "reporting_limit")
    assert found == [("arsenic", 1), ("lead", 2), ("nitrate", 0.5), ("iron", 0.25)] * 2
