"""A copy of a limit table can be edited in a spreadsheet program and loads back cell for cell.

Tables written here are invented. Round trips over every shipped table read what was written with the loader; two files
beside this one were opened and saved by another spreadsheet program.
"""

from __future__ import annotations

import hashlib
from datetime import date, datetime
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl.worksheet.worksheet import Worksheet

from wqcheck.errors import LimitTableError
from wqcheck.limit_tables.cells import read_cells
from wqcheck.limit_tables.columns import COLUMNS, EXPLAINED
from wqcheck.limit_tables.loading import limit_cells, load_limits, shipped_tables
from wqcheck.limit_tables.sheets import CopyRefusedError, csv_bytes, workbook_bytes, write_copy
from wqcheck.tables import Limits

SAVED = Path(__file__).parent / "saved_tables"

GOOD = {
    "parameter": "1_2_dichloroethane", "rule": "max", "upper": "0.010", "unit": "mg/L", "product": "any",
    "class": "health", "source": "Invented table for tests, 1st edition", "clause": "1.10", "evidence": "memory",
}  # fmt: skip
AWKWARD = [
    {**GOOD, "clause": "007", "note": "=1+1"},
    {**GOOD, "parameter": "lead", "clause": "50-00-0", "note": "<0.01 is usual", "valid_from": "2026-01-12"},
    {**GOOD, "parameter": "copper", "clause": "1/2", "note": "+49 is not a limit", "valid_to": "2036-01-12"},
    {**GOOD, "parameter": "nickel", "clause": "@A1", "note": "'=quoted", "upper": "1e-3"},
    {**GOOD, "parameter": "zinc", "clause": "1e5", "note": "two\nlines, and a comma", "upper": "007"},
    {**GOOD, "parameter": "iron", "clause": "TRUE", "note": "-", "upper": "0.30", "status": "#N/A"},
    {**GOOD, "parameter": "sodium", "clause": "2026-01-12", "note": "'apostrophe", "upper": "200"},
]


def cells_of(rows: list[dict[str, str]]) -> pd.DataFrame:
    return pd.DataFrame([{column: row.get(column, "") for column in COLUMNS} for row in rows], dtype="str")


def first_sheet(path: Path) -> Worksheet:
    sheet = openpyxl.load_workbook(path)["Limits"]
    assert isinstance(sheet, Worksheet)
    return sheet


def edited(path: Path, cell: str, value: Any) -> Path:
    """Put *value* into one cell of the workbook, as a user of a spreadsheet program would."""
    book = openpyxl.load_workbook(path)
    book["Limits"][cell] = value
    book.save(path)
    return path


@pytest.mark.parametrize("name", shipped_tables())
def test_every_shipped_table_survives_both_forms_cell_for_cell(name: str, tmp_path: Path) -> None:
    cells = limit_cells(name)
    book, text, again = tmp_path / "a.xlsx", tmp_path / "b.csv", tmp_path / "c.xlsx"
    write_copy(cells, book)
    write_copy(limit_cells(book), text)
    write_copy(limit_cells(text), again)
    for path in (book, text, again):
        assert limit_cells(path).equals(cells), path
    assert load_limits(book).rows.equals(load_limits(again).rows)


def test_formula_like_texts_leading_zeros_signs_and_dates_are_kept(tmp_path: Path) -> None:
    cells = cells_of(AWKWARD)
    book, text = tmp_path / "a.xlsx", tmp_path / "b.csv"
    write_copy(cells, book)
    write_copy(limit_cells(book), text)
    assert limit_cells(book).equals(cells)
    assert limit_cells(text).equals(cells)


def test_no_cell_of_a_copy_can_act_as_a_formula(tmp_path: Path) -> None:
    """A spreadsheet computes a workbook cell of the type f, and a CSV cell that begins with = + - or @."""
    cells = cells_of(AWKWARD)
    write_copy(cells, tmp_path / "a.xlsx")
    kinds = {cell.data_type for row in first_sheet(tmp_path / "a.xlsx").iter_rows() for cell in row if cell.value}
    assert kinds == {"s", "n"}
    assert ",=1+1" not in csv_bytes(cells).decode("utf-8")
    assert "'=1+1" in csv_bytes(cells).decode("utf-8")


@settings(deadline=None, max_examples=20)
@given(st.lists(st.text(alphabet="=+-@'<0159.;,a \"\nµ", max_size=12), min_size=1, max_size=6))
def test_any_note_comes_back_as_it_was(notes: list[str]) -> None:
    rows = [{**GOOD, "note": note.strip()} for note in notes]
    cells = cells_of(rows)
    for name, content in (("a.csv", csv_bytes(cells)), ("a.xlsx", workbook_bytes(cells))):
        read, problems = read_cells(Path(name), content)
        assert problems == []
        assert [row["note"] for _, row in read] == [row["note"] for row in rows]


def test_a_copy_explains_its_columns_and_offers_their_words(tmp_path: Path) -> None:
    path = tmp_path / "a.xlsx"
    write_copy(limit_cells("eu_2020_2184"), path)
    sheet = first_sheet(path)
    assert [cell.value for cell in sheet[1]] == list(COLUMNS)
    assert [cell.comment.text if cell.comment else "" for cell in sheet[1]] == [EXPLAINED[name] for name in COLUMNS]
    assert sheet.freeze_panes == "B2"
    words = openpyxl.load_workbook(path)["Words"]
    offered = {}
    for validation in sheet.data_validations.dataValidation:
        _, _, place = str(validation.formula1).partition("!")
        column = str(sheet[f"{str(validation.sqref).partition('2:')[0]}1"].value)
        offered[column] = [cell.value for (cell,) in words[place.replace("$", "")]]
    assert set(offered) == {"parameter", "rule", "unit", "product", "class", "evidence"}
    assert {"lead", "1_2_dichloroethane"} <= set(offered["parameter"])
    assert offered["evidence"] == ["primary text: ", "secondary text: ", "memory"]
    assert "µg/L" in offered["unit"]


def test_the_digest_is_of_the_bytes_of_the_workbook(tmp_path: Path) -> None:
    path = tmp_path / "ours.xlsx"
    write_copy(cells_of(AWKWARD), path)
    table = load_limits(path)
    assert table.digest == hashlib.sha256(path.read_bytes()).hexdigest()
    assert (table.name, table.rows[Limits.line].to_list()) == ("ours", list(range(2, 9)))


def test_numbers_dates_and_added_rows_of_a_spreadsheet_are_read_as_they_show(tmp_path: Path) -> None:
    path = tmp_path / "a.xlsx"
    write_copy(cells_of([GOOD]), path)
    edited(path, "D2", 0.25)
    edited(path, "M2", datetime(2027, 3, 1))
    for place, value in enumerate(cells_of([{**GOOD, "parameter": "lead"}]).iloc[0], start=1):
        edited(path, f"{openpyxl.utils.get_column_letter(place)}9", value or None)
    edited(path, "D9", 5)
    edited(path, "N9", date(2030, 12, 31))
    cells = limit_cells(path)
    assert cells["upper"].to_list() == ["0.250", "5"]
    assert cells["valid_from"].to_list() == ["2027-03-01", ""]
    assert cells["valid_to"].to_list() == ["", "2030-12-31"]
    assert load_limits(path).rows[Limits.line].to_list() == [2, 9]


@pytest.mark.parametrize(
    ("cell", "value", "column", "word"),
    [
        ("A2", "leed", "parameter", "nearest: lead"),
        ("D2", "10 mg/L", "upper", "decimal point"),
        ("D2", "=1/100", "upper", "formula"),
        ("D2", datetime(2026, 5, 1), "upper", "decimal point"),
        ("D2", True, "upper", "decimal point"),
        ("R2", "=A1", "note", "formula"),
        ("O2", None, "source", "needs"),
        ("M2", "1.3.2027", "valid_from", "ISO date"),
        ("M2", 46082, "valid_from", "ISO date"),
        ("M2", datetime(2027, 3, 1, 12), "valid_from", "ISO date"),
        ("S2", "beside", "", "18 cells"),
    ],
)
def test_a_bad_cell_of_a_workbook_is_named_with_row_and_column(
    cell: str, value: object, column: str, word: str, tmp_path: Path
) -> None:
    path = tmp_path / "a.xlsx"
    write_copy(cells_of([{**GOOD, "parameter": "zinc"}, GOOD]), path)
    with pytest.raises(LimitTableError) as caught:
        load_limits(edited(path, cell.replace("2", "3"), value))
    assert [(p.file, p.line, p.column) for p in caught.value.problems if word in p.message] == [("a.xlsx", 3, column)]


def test_an_error_of_the_spreadsheet_is_no_cell_of_a_table(tmp_path: Path) -> None:
    path = tmp_path / "a.xlsx"
    write_copy(cells_of([GOOD]), path)
    with pytest.raises(LimitTableError, match="line 2, column note: the cell holds an error of the spreadsheet"):
        load_limits(edited(path, "R2", "#DIV/0!"))


def test_a_workbook_needs_one_sheet_with_the_header(tmp_path: Path) -> None:
    path = tmp_path / "a.xlsx"
    write_copy(cells_of([GOOD]), path)
    book = openpyxl.load_workbook(path)
    book.copy_worksheet(book["Limits"])
    book.save(tmp_path / "two.xlsx")
    with pytest.raises(LimitTableError, match="more than one sheet"):
        load_limits(tmp_path / "two.xlsx")
    with pytest.raises(LimitTableError, match="missing: lower"):
        load_limits(edited(path, "C1", "least"))
    (tmp_path / "broken.xlsx").write_bytes(path.read_bytes()[:800])
    with pytest.raises(LimitTableError, match="cannot be read"):
        load_limits(tmp_path / "broken.xlsx")


def semicolons(rows: list[dict[str, str]]) -> bytes:
    """Write *rows* as a spreadsheet program does where a comma is the decimal mark."""
    lines = [";".join(COLUMNS)]
    for row in rows:
        texts = (row.get(column, "") for column in COLUMNS)
        lines.append(";".join(f'"{text}"' if ";" in text else text for text in texts))
    return "\r\n".join([*lines, ";" * (len(COLUMNS) - 1), ""]).encode("utf-8-sig")


def test_semicolons_decimal_commas_and_a_byte_order_mark_are_read(tmp_path: Path) -> None:
    ratio = {**GOOD, "parameter": "nitrate_nitrite_ratio", "rule": "ratio_sum_max", "upper": "1", "basis": "NO3;NO2",
             "members": "nitrate;nitrite", "weights": "50;0,5"}  # fmt: skip
    path = tmp_path / "ours.csv"
    path.write_bytes(semicolons([{**GOOD, "upper": "0,010", "note": "1,5 at most, so far"}, ratio,
                                 {**GOOD, "parameter": "lead", "upper": "0,001"}]))  # fmt: skip
    cells = limit_cells(path)
    assert cells["upper"].to_list() == ["0.010", "1", "0.001"]
    assert cells["weights"].to_list() == ["", "50;0.5", ""]
    assert cells["note"].iloc[0] == "1,5 at most, so far"


@pytest.mark.parametrize("text", ["1,500", "-2,250", "12,345"])
def test_a_comma_that_may_mark_thousands_is_refused(text: str, tmp_path: Path) -> None:
    path = tmp_path / "ours.csv"
    path.write_bytes(semicolons([{**GOOD, "upper": text}]))
    with pytest.raises(LimitTableError, match="line 2, column upper: the comma can be a decimal or a thousands"):
        load_limits(path)


def test_a_decimal_comma_between_commas_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "ours.csv"
    path.write_bytes(csv_bytes(cells_of([{**GOOD, "upper": "0,010"}])))
    with pytest.raises(LimitTableError, match="decimal point"):
        load_limits(path)


def test_a_control_character_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "ours.csv"
    path.write_bytes(csv_bytes(cells_of([{**GOOD, "note": "a\x07b"}])))
    with pytest.raises(LimitTableError, match="line 2, column note: the cell holds a control character"):
        load_limits(path)


def test_a_copy_overwrites_nothing_and_knows_two_endings(tmp_path: Path) -> None:
    cells = cells_of([GOOD])
    path = tmp_path / "a.csv"
    path.write_text("mine", encoding="utf-8")
    with pytest.raises(CopyRefusedError, match="exists already"):
        write_copy(cells, path)
    assert path.read_text(encoding="utf-8") == "mine"
    with pytest.raises(CopyRefusedError, match=r"\.xlsx or a \.csv"):
        write_copy(cells, tmp_path / "a.ods")
    with pytest.raises(CopyRefusedError, match="cannot be written"):
        write_copy(cells, tmp_path / "nowhere" / "a.csv")


def test_copies_that_another_spreadsheet_program_saved_are_the_same_table() -> None:
    """The files hold the awkward rows, opened and saved by LibreOffice 7.4: as workbook, and as CSV with ``;``.

    The CSV was saved in the German locale, numbers as they are: 0.010 became 0,01. A program that guards no text
    writes ``'=`` as it is, which reads like a guarded ``=``.
    """
    cells = cells_of(AWKWARD)
    assert limit_cells(SAVED / "limits_saved_by_libreoffice.xlsx").equals(cells)
    read = limit_cells(SAVED / "limits_saved_by_libreoffice.csv")
    assert read["upper"].to_list() == ["0.01", "0.01", "0.01", "1e-3", "007", "0.3", "200"]
    texts = cells.replace("'=quoted", "=quoted").drop(columns="upper")
    assert read.drop(columns="upper").equals(texts)
