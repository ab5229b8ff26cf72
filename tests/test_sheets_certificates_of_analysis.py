"""A laboratory's certificate of analysis: one sample, a result column, remarks and signatures around it (invented)."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import openpyxl
import pytest

from wqcheck.sheets import ReadResult, read_workbook
from wqcheck.tables import Readings, Sign

ROWS: list[list[object]] = [
    ["SORREL COAST WATER LABORATORY (invented)"],
    ["Certificate of analysis No.", "26/1187"],
    ["Sample description:", "Bottled water 0.5 L"],
    ["Date received", "17.06.2026", None, "Date sampled", "16.06.2026"],
    [],
    ["S/N", "Test Parameter", "Test method", "Units", "Results", "Specification (max)", "Remarks"],
    [1, "pH @ 25°C", "ISO 10523", "-", 6.9, "6.5 - 8.5", "Pass"],
    [2, "Nitrate (as NO3-)", "IC", "mg/L", "2,1", "50", "Pass"],
    [3, "Lead (Pb)", "ICP-MS", "mg/L", "<0.001", "0.01", "Pass"],
    ["Microbiology"],
    [4, "E. coli", "ISO 9308-1", "CFU/100mL", "Nil", "Nil", "Pass"],
    [5, "Total Viable Count @ 37°C, 48h", "ISO 6222", "cfu/ml", "12", "100", "Pass"],
    [6, "P. aeruginosa", "ISO 16266", "per 250 ml", "Not Detected", "Not Detected", "Pass"],
    [],
    ["Analysed by:", "A. Analyst", None, "Approved by:", "B. Chief"],
]


@pytest.fixture(scope="module")
def taken(tmp_path_factory: pytest.TempPathFactory) -> ReadResult:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for row in ROWS:
        sheet.append(row)
    path: Path = tmp_path_factory.mktemp("coa") / "coa.xlsx"
    book.save(path)
    return read_workbook(path)


def test_results_are_read_and_limits_remarks_and_signatures_are_not(taken: ReadResult) -> None:
    assert taken.readings[Readings.reported].to_list() == ["6.9", "2,1", "<0.001", "Nil", "12", "Not Detected"]
    assert taken.cells == len(taken.readings) + len(taken.ledger())
    assert not any("B. Chief" in str(finding) for finding in taken.findings)


def test_not_detected_in_a_stated_volume_is_absence_for_an_organism(taken: ReadResult) -> None:
    last = taken.readings.iloc[-1]
    assert (last[Readings.parameter], last[Readings.sign]) == ("pseudomonas_aeruginosa", Sign.ABSENT)
    assert last[Readings.volume_ml] == 250


def test_the_labels_above_date_the_results(taken: ReadResult) -> None:
    assert {moment.date() for moment in taken.readings[Readings.sampled_at]} == {date(2026, 6, 16)}
    assert {moment.date() for moment in taken.readings[Readings.received_at]} == {date(2026, 6, 17)}


def test_a_field_longer_than_earlier_files_does_not_break_later_tables(tmp_path: Path) -> None:
    """Reading a small text file leaves the csv module's field limit as it was."""
    small, large = tmp_path / "a.csv", tmp_path / "b.csv"
    small.write_text("Sample,pH\nS1,7\n", encoding="utf-8")
    large.write_text(f"Sample,pH,Remarks\nS1,7,{'long ' * 60_000}\n", encoding="utf-8")
    for path in (small, large, small):
        assert len(read_workbook(path).readings) == 1


def test_a_label_with_a_colon_takes_the_cell_beside_it_unless_that_is_a_label_too(tmp_path: Path) -> None:
    path = tmp_path / "labels.csv"
    labels = "Tank:,Product tank,Product:,,Containers:,500 bottles"
    path.write_text(f"{labels}\n\nSample,Parameter,Result,Unit\nS1,Lead,1,µg/L\n", encoding="utf-8")
    taken = read_workbook(path)
    assert taken.labels == {"tank": "Product tank", "containers": "500 bottles"}
    assert taken.cells == len(taken.readings) + len(taken.ledger())


def test_a_column_of_signs_without_heading_belongs_to_the_values_beside_it(tmp_path: Path) -> None:
    path = tmp_path / "signs.csv"
    lines = ["Sample,Parameter,,Value,Unit", "S1,Lead,>,4,µg/L", "S1,Arsenic,<,4,µg/L", "S1,Zinc,,9,µg/L"]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert read_workbook(path).readings[Readings.sign].to_list() == [">", "<", "="]


def test_across_each_column_of_signs_belongs_to_the_analyte_right_of_it(tmp_path: Path) -> None:
    path = tmp_path / "across.csv"
    path.write_text("Sample,,Lead µg/L,,Arsenic µg/L\nS1,<,1,,7\nS2,,3,>,50\nS3,,4,,6\n", encoding="utf-8")
    taken = read_workbook(path)
    signs = dict(zip(taken.readings[Readings.cell], taken.readings[Readings.sign], strict=True))
    assert signs == {"C2": "<", "E2": "=", "C3": "=", "E3": ">", "C4": "=", "E4": "="}
    assert taken.cells == len(taken.readings) + len(taken.ledger())


def test_two_unit_columns_that_disagree_leave_the_result_without_a_unit(tmp_path: Path) -> None:
    path = tmp_path / "units.csv"
    lines = ["Sample,Parameter,Unit,Result,Unit", "S1,Lead,ppb,0.012,mg/L", "S1,Zinc,mg/L,3,mg/L", "S1,Iron,m,4,µg/L"]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    taken = read_workbook(path)
    assert taken.readings[Readings.unit].isna().to_list()[:2] == [True, False]
    assert any(finding.code == "contradicting units" for finding in taken.findings)
