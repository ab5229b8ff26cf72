"""The sample files are what the script writes, and what they hold hangs together as a treatment train does."""

from __future__ import annotations

import csv
from pathlib import Path

import openpyxl
import pytest

from tests.make_sample_results import FOLDER, write_sample_results
from tests.sample_panels import CLEAN_RUN, COMMISSIONING, TROUBLED_RUN, rows_of

LIMIT_TABLE = "plant_specification.csv"
"""Written by hand: limits of the invented plant, not results."""

CellMap = dict[tuple[str, str], tuple[object, str]]


def cells_of(path: Path) -> CellMap:
    """Give sheet and cell → value and number format of a workbook, or row and column → text of a CSV file."""
    if path.suffix == ".csv":
        text = path.read_text(encoding="utf-8")
        delimiter = ";" if "semicolon" in path.name else ","
        rows = csv.reader(text.splitlines(), delimiter=delimiter)
        return {
            (str(row), str(column)): (cell, "") for row, cells in enumerate(rows) for column, cell in enumerate(cells)
        }
    book = openpyxl.load_workbook(path)
    return {
        (sheet.title, cell.coordinate): (cell.value, cell.number_format)
        for sheet in book.worksheets
        for row in sheet.iter_rows()
        for cell in row
        if cell.value is not None
    }


def test_script_reproduces_the_files_cell_for_cell(tmp_path: Path) -> None:
    """Running the script gives the files that are shipped: same names, same cells, same values."""
    written = write_sample_results(tmp_path)
    sheets = [path.name for path in FOLDER.iterdir() if path.suffix in {".xlsx", ".csv"}]
    shipped = sorted(name for name in sheets if name != LIMIT_TABLE)
    assert sorted(path.name for path in written) == shipped
    for path in written:
        assert cells_of(path) == cells_of(FOLDER / path.name), path.name


def number(text: str) -> float:
    """Read a figure of the panels; a ``<`` counts as the figure behind it."""
    return float(text.removeprefix("<"))


def test_ions_of_the_invented_water_balance() -> None:
    """Cations and anions differ by at most 5 % (Standard Methods 1030E, recalled from memory) at every point."""
    cations = {"Calcium": 20.04, "Magnesium": 12.15, "Sodium": 22.99, "Potassium": 39.10}  # g per equivalent
    anions = {"Chloride": 35.45, "Sulfate": 48.03, "Nitrate (as N)": 14.007, "Alkalinity (as CaCO3)": 50.04}
    figures = {row[0]: row[3:] for row in rows_of(COMMISSIONING)}
    for point in range(10):
        plus = sum(number(figures[name][point]) / weight for name, weight in cations.items())
        minus = sum(number(figures[name][point]) / weight for name, weight in anions.items())
        assert abs(plus - minus) / (plus + minus) < 0.05


@pytest.mark.parametrize("salt", ["Chloride", "Sodium", "Sulfate", "Calcium", "Total dissolved solids"])
def test_membranes_keep_back_what_they_keep_back(salt: str) -> None:
    """Reverse osmosis of brackish water keeps back 97 % or more of the main salts (common practice, no source)."""
    figures = {row[0]: row[3:] for row in rows_of(COMMISSIONING)}
    feed, permeate = number(figures[salt][4]), number(figures[salt][5])
    assert 0.97 <= 1 - permeate / feed < 1


def test_samples_hold_the_hard_cases() -> None:
    """Each trap that the samples are there for is in the file that ships, not only in the script."""
    trouble = [value for value, _ in cells_of(FOLDER / "run_B2108_trouble.xlsx").values()]
    assert {14, "<10", "TNTC", "O.5", "CFU/100 mL"} <= set(trouble)
    assert not any(
        "coli" in str(value) and "report" not in str(value) and "oliforms" not in str(value) for value in trouble
    )
    commissioning = [value for value, _ in cells_of(FOLDER / "commissioning_crosstab.xlsx").values()]
    assert {"ND", "Absent", "<0.02", "SP9"} <= set(commissioning)
    assert rows_of(TROUBLED_RUN)[8][3] == ""
    clean = {row[0]: row for row in rows_of(CLEAN_RUN)}
    assert all(row[1] == "Absent" for row in clean.values() if "250 mL" in row[2])
    assert sum("250 mL" in row[2] for row in clean.values()) == 4


def test_every_file_says_that_it_is_invented() -> None:
    """A sheet that leaves the folder still says that its figures are invented."""
    for path in FOLDER.glob("*.xlsx"):
        text = " ".join(str(value) for value, _ in cells_of(path).values())
        assert "All names and figures are invented." in text
