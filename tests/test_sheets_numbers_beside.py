"""Limits, uncertainties and volumes beside results, written with decimal commas, points and thousands."""

from __future__ import annotations

import pytest

from tests.workbooks import Rows, read_rows, table_of, xlsx_bytes
from wqcheck.findings import Severity
from wqcheck.sheet_layouts.records import SheetLayout
from wqcheck.sheets import ReadResult, read_workbook


def column(results: tuple[str, ...], limits: tuple[str, ...], heading: str = "Bestimmungsgrenze") -> Rows:
    names = ("Chlorid", "Nitrat", "Sulfat")
    rows = [list(row) for row in zip(names, results, ("mg/l",) * 3, limits, strict=True)]
    return [["Parameter", "Ergebnis", "Einheit", heading], *rows]


def doubts(read: ReadResult) -> list[tuple[str, str]]:
    return [(f.where.partition("!")[2], f.given) for f in read.findings
            if f.code == "number in doubt" and f.severity == Severity.HOLD]  # fmt: skip


@pytest.mark.parametrize(
    ("results", "limits", "expected"),
    [
        (("12,5", "3", "7"), ("0,05", "0,5", "1,0"), [0.05, 0.5, 1.0]),
        (("1.234,5", "3", "7"), ("0,05", "1.000", "1"), [0.05, 1000.0, 1.0]),
        (("1.234,5", "3", "7"), ("1", "1.000", "1"), [1.0, 1000.0, 1.0]),
        (("12.5", "3", "7"), ("0.05", "1.000", "1"), [0.05, 1.0, 1.0]),
        (("12.5", "3", "7"), ("1", "1,000", "1"), [1.0, 1000.0, 1.0]),
        (("12,5", "3", "7"), ("1", "1,000", "1"), [1.0, 1.0, 1.0]),
        (("12", "3", "7"), ("1", "1.000", "0"), [1.0, 1.0, 0.0]),
    ],
)
def test_the_column_or_the_sheet_decides(
    results: tuple[str, ...], limits: tuple[str, ...], expected: list[float]
) -> None:
    read = read_rows(column(results, limits))
    assert [row[0] for row in table_of(read, "reporting_limit")] == expected
    assert doubts(read) == []


@pytest.mark.parametrize(
    ("results", "limits", "cell"),
    [
        (("12,5", "3", "7"), ("0,05", "1.000", "1"), ("B3", "1.000")),
        (("12", "3", "7"), ("0,05", "1.000", "1"), ("B3", "1.000")),
        (("12", "3", "7"), ("1", "1,000", "1"), ("B3", "1,000")),
    ],
)
def test_what_nothing_proves_is_no_number_and_holds(
    results: tuple[str, ...], limits: tuple[str, ...], cell: tuple[str, str]
) -> None:
    read = read_rows(column(results, limits))
    assert [row[0] for row in table_of(read, "reporting_limit")][1] is None
    assert doubts(read) == [cell]
    told = read_workbook(("b.xlsx", xlsx_bytes({"Results": column(results, limits)})), SheetLayout(decimal=","))
    assert [row[0] for row in table_of(told, "reporting_limit")][1] == (1000.0 if cell[1] == "1.000" else 1.0)
    assert doubts(told) == []


def test_a_sheet_with_both_marks_leaves_what_is_open_open() -> None:
    read = read_rows([["Sample", "Lead (µg/L)", "Iron (µg/L)", "Zinc (µg/L)"],
                      ["S-1", "2.124", "0.5", "< 0,01"], ["S-2", "3161", "12.5", None]])  # fmt: skip
    assert table_of(read, "sign", "value")[:2] == [("unreadable", None), ("=", 0.5)]


def test_so_it_is_with_uncertainties() -> None:
    read = read_rows(column(("12,5", "3", "7"), ("0,05", "1.000", "1"), "Messunsicherheit"))
    assert ([row[0] for row in table_of(read, "uncertainty")], doubts(read)) == ([0.05, None, 1.0], [("B3", "1.000")])
