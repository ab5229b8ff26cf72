"""Deliverables in which several columns belong to each sample or each analyte; all sheets are of an invented plant."""

from __future__ import annotations

from itertools import product
from typing import Any

import pytest

from tests.workbooks import read_rows, table_of

ANALYTES = [("Arsenic", "7440-38-2", "µg/L"), ("Lead", "7439-92-1", "µg/L"), ("Nitrate", "14797-55-8", "mg/L")]
GROUPS = 167
"""As many groups of columns as one real deliverable has."""


def result(analyte: int, group: int) -> Any:
    return [f"<{group + 1}", round(0.5 + analyte + group / 1000, 3), "ND"][(analyte + group) % 3]


def flag(analyte: int, group: int) -> str | None:
    return "J" if (analyte + 2 * group) % 5 == 0 else None


def test_each_of_167_groups_keeps_its_own_name_flag_limit_and_number() -> None:
    names = [None if part else f"MW-{group}" for group, part in product(range(GROUPS), range(3))]
    rows: list[list[Any]] = [
        ["Analyte", "CAS", "Unit", *names],
        [None, None, None, *["Result", "Qualifier", "RL"] * GROUPS],
    ]
    for number, analyte in enumerate(ANALYTES):
        cells = [(result(number, group), flag(number, group), group + 1) for group in range(GROUPS)]
        rows.append([*analyte, *(cell for group in cells for cell in group)])
    read = read_rows(rows)
    assert len(read.readings) == GROUPS * len(ANALYTES)
    found = {(row[0], row[1]): row[2:] for row in table_of(read, "point", "parameter", "qualifier", "reporting_limit")}
    for (number, code), group in product(enumerate(["arsenic", "lead", "nitrate"]), range(GROUPS)):
        qualifier, limit = found[f"MW-{group}", code]
        wanted = "ND" if result(number, group) == "ND" else ""
        assert qualifier == (f"{wanted} {flag(number, group) or ''}".strip() or None)
        assert limit == group + 1


def test_rows_above_say_sample_point_and_date_of_each_group() -> None:
    rows = [
        [None, "Sample ID", "L-1", None, "L-2", None],
        [None, "Sampling point", "Well 1", None, "Well 2", None],
        [None, "Sampled", "2026-03-01", None, "2026-03-02", None],
        ["Analyte", "Units", "Result", "Q", "Result", "Q"],
        ["Lead", "µg/L", 1, "U", 2, None],
        ["Iron", "µg/L", 3, None, 4, "J"],
    ]
    assert table_of(read_rows(rows), "cell", "sample", "point", "sampled_at", "sign", "qualifier") == [
        ("C5", "L-1", "Well 1", "2026-03-01", "<", "U"),
        ("E5", "L-2", "Well 2", "2026-03-02", "=", None),
        ("C6", "L-1", "Well 1", "2026-03-01", "=", None),
        ("E6", "L-2", "Well 2", "2026-03-02", "=", "J"),
    ]


def test_unit_method_and_day_of_analysis_stand_in_each_group() -> None:
    parts = ["Result", "Unit", "Method", "Analysis date"]
    rows = [
        ["Parameter", "Tap 1", None, None, None, "Tap 2", None, None, None],
        [None, *parts, *parts],
        ["Lead", 1, "µg/L", "M 1", "2026-03-03", 0.002, "mg/L", "M 2", "2026-03-04"],
        ["Iron", 5, "µg/L", "M 1", "2026-03-03", 0.006, "mg/L", "M 2", "2026-03-04"],
    ]
    assert table_of(read_rows(rows), "cell", "point", "unit", "method", "analysed_at")[:2] == [
        ("B3", "Tap 1", "µg/L", "M 1", "2026-03-03"), ("F3", "Tap 2", "mg/L", "M 2", "2026-03-04"),
    ]  # fmt: skip


def test_the_flag_of_one_analyte_says_nothing_of_another() -> None:
    rows = [
        ["Sample", "Lead (µg/L)", "Lead Qualifier", "Lead MDL", "Zinc (µg/L)", "Zinc Qualifier", "Zinc MDL"],
        ["S1", 5, None, 0.1, 7, "U", 0.3],
        ["S2", 6, "U", 0.1, 8, None, 0.3],
    ]
    assert table_of(read_rows(rows), "cell", "sign", "reporting_limit") == [
        ("B2", "=", 0.1), ("E2", "<", 0.3), ("B3", "<", 0.1), ("E3", "=", 0.3),
    ]  # fmt: skip


@pytest.mark.parametrize("samples", [1, 2, 5])
def test_few_groups_are_read_as_many_are(samples: int) -> None:
    names = [name for number in range(samples) for name in (f"Spring {number}", None)]
    rows = [
        ["Parameter", "Unit", *names], [None, None, *["Messwert", "BG"] * samples],
        ["Blei", "µg/l", *["n.n.", 0.5] * samples], ["Nitrat", "mg/l", *["12,5", 0.1] * samples],
    ]  # fmt: skip
    found = table_of(read_rows(rows), "point", "reporting_limit")
    assert found == [(f"Spring {n}", limit) for limit in (0.5, 0.1) for n in range(samples)]


def test_headings_in_one_row_that_end_alike_name_their_sample() -> None:
    rows = [
        ["Parameter", "Units", "SW-1 Result", "SW-1 Qualifier", "SW-2 Result", "SW-2 Qualifier"],
        ["Lead", "µg/L", 1, "U", 2, None],
        ["Iron", "µg/L", 3, None, 4, None],
    ]
    assert table_of(read_rows(rows), "point", "sign")[:2] == [("SW-1", "<"), ("SW-2", "=")]


def test_rows_of_no_analyte_above_the_results_are_no_results() -> None:
    rows = [
        ["Compound", "CAS No.", "LOR", "Units", "S-1", "S-2"],
        ["Sub-Matrix: WATER", None, None, None, "WATER", "WATER"],
        ["Lead", "7439-92-1", 0.5, "µg/L", 1, "<0.5"],
        ["Iron", "7439-89-6", 5, "µg/L", 8, "<5"],
    ]
    read = read_rows(rows)
    assert table_of(read, "cell") == [("E3",), ("F3",), ("E4",), ("F4",)]
    assert len(read.readings) + len(read.ledger()) == read.cells
