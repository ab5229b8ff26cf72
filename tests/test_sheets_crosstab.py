"""Crosstabs: analytes down, points, samples or dates across, with as many rows of labels as the laboratory likes.

The layouts are those that laboratories send: common practice, no source. All data are invented.
"""

from __future__ import annotations

import datetime as dt

import pytest

from tests.workbooks import read_rows, roles_of, said, table_of

DAY, NEXT = dt.datetime(2026, 3, 1), dt.datetime(2026, 3, 2)
LEAD, TURBIDITY = ["Lead", "µg/L", 2, 1, "<0.5"], ["Turbidity", "NTU", 2, "0.5", 0.1]


def test_points_stand_across() -> None:
    read = read_rows([["Parameter", "Unit", "Raw water", "Tank 1", "Permeate"], LEAD, TURBIDITY])
    assert table_of(read, "cell", "point", "parameter", "sign", "value", "unit") == [
        ("C2", "Raw water", "lead", "=", 2, "µg/L"), ("D2", "Tank 1", "lead", "=", 1, "µg/L"),
        ("E2", "Permeate", "lead", "<", 0.5, "µg/L"),
        ("C3", "Raw water", "turbidity", "=", 2, "NTU"), ("D3", "Tank 1", "turbidity", "=", 0.5, "NTU"),
        ("E3", "Permeate", "turbidity", "=", 0.1, "NTU"),
    ]  # fmt: skip
    assert said(read) == {}


def test_several_rows_of_labels_stand_above_the_results() -> None:
    rows = [
        ["Sampling point", None, "Raw", "Tank", "Filler"],
        ["Sample ID", None, "S1", "S2", "S3"],
        ["Date", None, DAY, DAY, NEXT],
        ["Parameter", "Unit"],
    ]
    read = read_rows([*rows, LEAD])
    assert table_of(read, "cell", "point", "sample", "sampled_at", "unit") == [
        ("C5", "Raw", "S1", "2026-03-01", "µg/L"), ("D5", "Tank", "S2", "2026-03-01", "µg/L"),
        ("E5", "Filler", "S3", "2026-03-02", "µg/L"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("corner", "column"),
    [
        ("Sample ID", "sample"),
        ("Sampling point", "point"),
        ("Parameter", "point"),
        ("Batch", "batch"),
        ("Determinand", "point"),
    ],
)
def test_the_corner_says_what_stands_across(corner: str, column: str) -> None:
    read = read_rows(
        [
            [corner, "S1", "S2"],
            ["Date", DAY, NEXT],
            ["Lead (µg/L)", 2, 1],
            ["Turbidity (NTU)", 2, 0.5],
            ["pH", 7.1, 7.2],
        ]
    )
    assert table_of(read, "cell", column, "sampled_at", "parameter", "unit")[:3] == [
        ("B3", "S1", "2026-03-01", "lead", "µg/L"), ("C3", "S2", "2026-03-02", "lead", "µg/L"),
        ("B4", "S1", "2026-03-01", "turbidity", "NTU"),
    ]  # fmt: skip
    assert said(read) == {}


def test_dates_stand_across() -> None:
    read = read_rows([["Parameter", "Unit", DAY, NEXT], ["Lead", "µg/L", 2, 1], ["pH", "-", 7, 7.1]])
    assert table_of(read, "cell", "point", "sampled_at") == [
        ("C2", None, "2026-03-01"), ("D2", None, "2026-03-02"), ("C3", None, "2026-03-01"),
        ("D3", None, "2026-03-02"),
    ]  # fmt: skip


def test_a_point_merged_over_its_dates_holds_for_all_of_them() -> None:
    rows = [
        ["Parameter", "Unit", "Raw", None, "Permeate", None],
        [None, None, DAY, NEXT, DAY, NEXT],
        ["Lead", "µg/L", 3, 4, 1, 1],
        ["pH", "-", 7, 7.1, 6, 6.1],
    ]
    read = read_rows(rows, merged=["C1:D1", "E1:F1"])
    assert table_of(read, "point", "sampled_at", "value")[:4] == [
        ("Raw", "2026-03-01", 3), ("Raw", "2026-03-02", 4), ("Permeate", "2026-03-01", 1),
        ("Permeate", "2026-03-02", 1),
    ]  # fmt: skip


def test_one_column_of_results_under_the_name_of_its_point() -> None:
    read = read_rows([["Parameter", "Unit", "Tank 1"], ["Lead", "µg/L", 2], ["Turbidity", "NTU", 0.3], ["pH", "-", 7]])
    assert table_of(read, "cell", "point", "parameter") == [
        ("C2", "Tank 1", "lead"),
        ("C3", "Tank 1", "turbidity"),
        ("C4", "Tank 1", "ph"),
    ]


def test_limits_computed_columns_and_numbers_that_name_things_are_never_results() -> None:
    head = [
        "No",
        "Parameter",
        "Code",
        "Unit",
        "WHO",
        "EU 2020/2184",
        "LOQ",
        "Raw",
        "Tank",
        "Mean",
        "Max",
        "Removal %",
        "Remarks",
    ]
    read = read_rows(
        [
            head,
            [1, "Lead", 101, "µg/L", 10, 5, 0.5, 2, "<LOQ", 1.5, 2, 75, "-"],
            [2, "Iron", 102, "mg/L", None, 0.2, 0.01, 0.1, 0.2, 0.15, 0.2, 0, "-"],
        ]
    )
    assert table_of(read, "cell", "point", "sign", "value", "reporting_limit") == [
        ("H2", "Raw", "=", 2, 0.5), ("I2", "Tank", "<", 0.5, 0.5), ("H3", "Raw", "=", 0.1, 0.01),
        ("I3", "Tank", "=", 0.2, 0.01),
    ]  # fmt: skip
    roles = roles_of(read)
    assert (roles["E2"], roles["F2"], roles["J2"], roles["L2"]) == ("limit", "limit", "computed", "computed")


def test_section_rows_rows_of_totals_and_remarks_are_no_results() -> None:
    rows = [
        ["Parameter", "Raw", "Tank"],
        ["Metals"],
        ["Lead µg/L", 1, 2],
        ["Iron mg/L", 0.1, 0.2],
        ["Mean", 3, 4],
        ["Remarks", "clear", "clear"],
        ["Sampled by", "A", "B"],
    ]
    read = read_rows(rows)
    assert table_of(read, "cell") == [("B3",), ("C3",), ("B4",), ("C4",)]


def test_a_value_beside_no_analyte_is_held() -> None:
    read = read_rows(
        [["Parameter", "Unit", "Raw", "Tank"], ["Lead", "µg/L", 1, 2], [None, None, 5, 6], ["Iron", "mg/L", 0.1, 0.2]]
    )
    assert table_of(read, "cell") == [("C2",), ("D2",), ("C4",), ("D4",)]
    assert roles_of(read)["C3"] == roles_of(read)["D3"] == "not used"
    assert "value without owner" in said(read)


def test_a_block_of_labels_above_holds_for_all_results() -> None:
    labels = [
        ["Laboratory report"],
        ["Batch:", "B-12", None, "Laboratory:", "Lab A"],
        ["Date of sampling: 2026-03-01"],
        ["Product", "Spring water"],
        ["Sampled by:", "A"],
    ]
    read = read_rows(
        [*labels, [], ["Parameter", "Unit", "Result"], ["Lead", "µg/L", 2], ["pH", "-", 7], [], ["Received on", DAY]],
        merged=["A1:E1"],
    )
    assert table_of(read, "cell", "batch", "lab", "sampled_at", "received_at") == [
        ("C8", "B-12", "Lab A", "2026-03-01", "2026-03-01"), ("C9", "B-12", "Lab A", "2026-03-01", "2026-03-01"),
    ]  # fmt: skip
    assert read.labels == {
        "batch": "B-12",
        "lab": "Lab A",
        "sampled_at": "2026-03-01",
        "product": "Spring water",
        "sampled_by": "A",
    }
    roles = roles_of(read)
    assert (roles["A1"], roles["A2"], roles["B2"], roles["A3"]) == ("text", "label", "label value", "label")


def test_one_unit_said_for_all_results() -> None:
    read = read_rows(
        [["All results in mg/L unless stated"], ["Parameter", "Tank"], ["Lead", 0.002], ["Iron (µg/L)", 5]]
    )
    assert table_of(read, "parameter", "unit") == [("lead", "mg/L"), ("iron", "µg/L")]


def test_a_table_for_each_sample_with_its_label_above() -> None:
    head = ["Parameter", "Unit", "Result"]
    rows = [
        ["Batch: B-1"],
        ["Sample: S-1"],
        head,
        ["Lead", "µg/L", 1],
        ["Iron", "mg/L", 0.2],
        [],
        ["Sample: S-2"],
        [],
        head,
        ["Lead", "µg/L", 3],
        ["pH", "-", 7],
    ]
    assert table_of(read_rows(rows), "cell", "batch", "sample", "parameter") == [
        ("C4", "B-1", "S-1", "lead"), ("C5", "B-1", "S-1", "iron"), ("C10", "B-1", "S-2", "lead"),
        ("C11", "B-1", "S-2", "ph"),
    ]  # fmt: skip


def test_tables_of_different_columns_below_one_another() -> None:
    rows = [
        ["Parameter", "Unit", "Result"],
        ["pH", "-", 7.1],
        ["Odour", "-", "none"],
        [],
        ["Parameter", "Unit", "Method", "Tank", "Filler"],
        ["Lead", "µg/L", "ICP", 1, 2],
    ]
    read = read_rows(rows)
    assert table_of(read, "cell", "point", "parameter", "sign", "method") == [
        ("C2", None, "ph", "=", None), ("C3", None, "odour", "absent", None), ("D6", "Tank", "lead", "=", "ICP"),
        ("E6", "Filler", "lead", "=", "ICP"),
    ]  # fmt: skip
