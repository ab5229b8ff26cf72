"""Forms of workbooks that laboratories send beside plain xlsx and csv, and damage of each: read, or one sentence.

Strict Office Open XML (ISO/IEC 29500-1), OpenDocument 1.3, Microsoft MS-XLS, MS-CFB and MS-XLSB; the bare files are
written by :mod:`tests.workbook_forms`.
"""

from __future__ import annotations

import io
import os
import struct
import zipfile
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from tests.workbook_forms import (
    compound_file,
    ods_bytes,
    ods_cell,
    strict_xlsx,
    unzipped,
    xls_bytes,
    xlsb_bytes,
    xml_spreadsheet,
    zipped,
)
from tests.workbooks import csv_text, roles_of, said, table_of, xlsx_bytes
from wqcheck.cli import app
from wqcheck.errors import WorkbookError
from wqcheck.sheets import ReadingLimits, read_workbook

ROWS: list[list[str | int | None]] = [
    ["Sample", "Lead (µg/L)", "Iron (mg/L)"], ["S-1", 1, "<0.1"], ["S-2", "#N/A", 2], ["S-3", 3, None],
]  # fmt: skip
EXPECTED = [("B2", "=", 1), ("C2", "<", 0.1), ("B3", "unreadable", None), ("C3", "=", 2), ("B4", "=", 3)]
SHEETS = {"Results": ROWS}
XLSX = xlsx_bytes(SHEETS)


def changed(data: bytes, part: str, old: str, new: str) -> bytes:
    """Return a zip file with *old* replaced in one part, in which it must stand."""
    parts = unzipped(data)
    assert old.encode() in parts[part]
    parts[part] = parts[part].replace(old.encode(), new.encode())
    return zipped(parts)


FORMS = {
    "strict.xlsx": strict_xlsx(XLSX),
    "with_macros.xlsm": changed(
        zipped({**unzipped(XLSX), "xl/vbaProject.bin": b"\xd0\xcf\x11\xe0"}), "[Content_Types].xml",
        "spreadsheetml.sheet.main+xml", "spreadsheetml.sheet.macroEnabled.main+xml",
    ),
    "binary.xlsb": xlsb_bytes(SHEETS),
    "old.xls": xls_bytes(SHEETS),
    "open.ods": ods_bytes(SHEETS),
    "xml.xls": xml_spreadsheet(SHEETS),
    "text.xls": csv_text(ROWS).encode(),
    "utf16.csv": csv_text(ROWS).encode("utf-16"),
    "old_mac.csv": csv_text(ROWS, line_end="\r").encode(),
}  # fmt: skip


@pytest.mark.parametrize("name", FORMS)
def test_the_same_table_in_any_form_gives_the_same_results(name: str) -> None:
    read = read_workbook((name, FORMS[name]))
    assert table_of(read, "cell", "sign", "value") == EXPECTED
    assert len(read.ledger()) + len(read.readings) == read.cells


@pytest.mark.parametrize("name", ["old.xls", "binary.xlsb"])
def test_hidden_rows_of_binary_forms_are_said(name: str) -> None:
    data = xls_bytes(SHEETS, hidden_rows=[1]) if name == "old.xls" else xlsb_bytes(SHEETS, hidden_rows=[1])
    assert [f.given for f in read_workbook((name, data)).findings if f.code == "hidden rows"] == ["2"]


def test_hidden_and_struck_cells_of_an_open_document_are_said() -> None:
    struck = ods_cell(1, 'table:style-name="struck"')
    rows = [
        f"<table:table-row>{ods_cell('Sample')}{ods_cell('Lead (µg/L)')}</table:table-row>",
        f"<table:table-row>{ods_cell('S-1')}{struck}</table:table-row>",
        f'<table:table-row table:visibility="collapse">{ods_cell("S-2")}{ods_cell(2)}</table:table-row>',
    ]
    body = f'<table:table table:name="Results">{"".join(rows)}</table:table>'
    read = read_workbook(("book.ods", ods_bytes({}, body=body)))
    assert table_of(read, "cell", "value") == [("B2", 1), ("B3", 2)]
    given = {finding.code: (str(finding.severity), finding.given) for finding in read.findings}
    assert given == {"hidden rows": ("note", "3"), "struck through": ("hold", "B2")}


def wrong_sum() -> bytes:
    """Return a workbook in which one digit of a stored part is not what its checksum says."""
    data = bytearray(zipped(unzipped(XLSX), zipfile.ZIP_STORED))
    place = data.index(b"<v>3</v>") + 3
    data[place] = ord("8")
    return bytes(data)


def circle() -> bytes:
    """Return an xls file whose one chain of sectors ends in itself."""
    data = bytearray(xls_bytes(SHEETS))
    struct.pack_into("<I", data, 512 + 4 * 4, 4)
    return bytes(data)


def much_room() -> bytes:
    """Return an xls file that counts 4 billion sectors (MS-CFB 2.2), to which the second reader pays no heed."""
    data = bytearray(xls_bytes(SHEETS))
    struct.pack_into("<I", data, 0x48, 0xFFFFFFF0)
    return bytes(data)


def moved_cell(row: int, column: int) -> bytes:
    """Return an xls file whose first number says that it stands in another row and column."""
    data = bytearray(xls_bytes(SHEETS))
    place = data.index(struct.pack("<HHHH", 0x0203, 14, 1, 1))
    struct.pack_into("<HH", data, place + 4, row, column)
    return bytes(data)


ENCRYPTED_ODS = ods_bytes(SHEETS, manifest='<manifest:encryption-data manifest:checksum="x"/>')
PROTECTED_XLS = compound_file(
    "Workbook",
    struct.pack("<HHHHHHII", 0x0809, 16, 0x0600, 5, 0, 0, 0, 6) + struct.pack("<HHHHH", 0x2F, 6, 1, 1, 1)
    + bytes(2) + struct.pack("<HH", 0x0A, 0),
)  # fmt: skip
REFUSED = {
    "wrong sum.xlsx": (wrong_sum(), "damaged zip file"),
    "far cell.xls": (moved_cell(1, 0xFF01), "no reader understands"),
    "encoding.ods": (changed(ods_bytes(SHEETS), "content.xml", "UTF-8", "QTF-8"), "no sound XML"),
    "circle.xls": (circle(), "no reader understands"),
    "password.ods": (ENCRYPTED_ODS, "protected by a password"),
    "password.xls": (PROTECTED_XLS, "protected by a password"),
    "password.xlsx": (compound_file("EncryptedPackage", b"x"), "protected by a password"),
    "far.xlsb": (xlsb_bytes({"R": [["a"] + [None] * 16_384 + [1]]}), "outside of any sheet"),
    "row zero.xlsx": (changed(XLSX, "xl/worksheets/sheet1.xml", 'r="B2"', 'r="B0"'), "outside of any sheet"),
    "sheet twice.xlsx": (
        changed(XLSX, "xl/workbook.xml", "</sheets>", '<sheet name="Results" sheetId="9"/></sheets>'),
        "two sheets of the same name",
    ),
    "wide.csv": (b"," * 16_384 + b"\na\n", "16,385 columns and 16,384 are allowed"),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_what_cannot_be_trusted_is_refused_with_one_sentence(name: str) -> None:
    data, words = REFUSED[name]
    with pytest.raises(WorkbookError, match=words) as refused:
        read_workbook((name, data))
    assert str(refused.value).startswith(name)
    assert "\n" not in str(refused.value)


def test_an_old_file_whose_extent_cannot_be_goes_to_the_second_reader() -> None:
    """A reader that makes room for what ``Dimensions`` (MS-XLS 2.4.90) states would ask for hundreds of gigabytes."""
    data = bytearray(xls_bytes(SHEETS))
    place = data.index(struct.pack("<HHII", 0x0200, 14, 0, len(ROWS)))
    struct.pack_into("<I", data, place + 8, 0xFFFFFC00)
    read = read_workbook(("book.xls", bytes(data)))
    assert table_of(read, "cell", "sign", "value") == EXPECTED
    assert said(read)["reader"] == ""
    moved = read_workbook(("book.xls", moved_cell(60_000, 1)))
    assert table_of(moved, "cell", "sign", "value") == EXPECTED[1:]
    assert roles_of(moved)["B60001"] == "not used"
    assert said(moved)["reader"] == ""
    again = read_workbook(("book.xls", much_room()))
    assert table_of(again, "cell", "sign", "value") == EXPECTED
    assert said(again)["reader"] == ""


@pytest.mark.parametrize("length", [600, 30_000])
def test_a_cell_of_endless_digits_is_unreadable_at_once(length: int) -> None:
    """The patterns of units and results take time that grows with the square of the length."""
    read = read_workbook(("book.csv", f"Sample,Lead,Unit\nS-1,{'1' * length},{'1' * length}\nS-2,2,µg/L\n".encode()))
    assert table_of(read, "cell", "sign", "value") == [("B2", "unreadable", None), ("B3", "=", 2)]


@pytest.mark.parametrize("ends", ["/>", "></c>"])
def test_a_million_styled_blank_rows_are_no_cells(ends: str) -> None:
    """However the bytes of the sheet are cut, a cell at a cut is as blank as others."""
    parts = unzipped(xlsx_bytes({"Results": [["Sample", "Lead (µg/L)"], ["S-1", 1]]}))
    blank = "".join(f'<row r="{row}"><c r="T{row}" s="0"{ends}</row>' for row in range(3, 1_000_003))
    sheet = parts["xl/worksheets/sheet1.xml"].replace(b"</sheetData>", f"{blank}</sheetData>".encode())
    read = read_workbook(("book.xlsx", zipped({**parts, "xl/worksheets/sheet1.xml": sheet})))
    assert table_of(read, "cell", "value") == [("B2", 1)]
    assert read.cells == 4


def test_a_cell_in_the_last_column_is_a_cell() -> None:
    read = read_workbook(("book.xlsx", xlsx_bytes({"Results": [*ROWS[:3], ["S-3", 3, *[None] * 16_381, "kept"]]})))
    assert table_of(read, "cell", "sign", "value") == EXPECTED
    assert read.grids[0].sheet.cells.shape == (4, 16_384)


def test_a_pipe_and_a_folder_are_no_workbooks(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe.xlsx"
    os.mkfifo(pipe)
    for path in (pipe, tmp_path):
        with pytest.raises(WorkbookError, match="is not a file; give the path of a workbook"):
            read_workbook(path)


def test_columns_are_limited_as_the_caller_says() -> None:
    assert len(read_workbook(("book.csv", csv_text(ROWS).encode()), limits=ReadingLimits(columns=3)).readings) == 5
    with pytest.raises(WorkbookError, match="3 columns and 2 are allowed"):
        read_workbook(("book.csv", csv_text(ROWS).encode()), limits=ReadingLimits(columns=2))


def test_a_text_with_quotes_and_one_without_are_cut_alike() -> None:
    """Arrow cuts what has no quotes, the csv module the rest."""
    plain = csv_text(ROWS)
    quoted = plain.replace("S-1", '"S-1"')
    first, second = (read_workbook(("book.csv", text.encode())) for text in (plain, quoted))
    assert table_of(first, "cell", "reported") == table_of(second, "cell", "reported")
    assert io.StringIO(plain).readline() in quoted


def test_the_command_line_raises_the_number_of_cells(tmp_path: Path) -> None:
    """``--most-cells`` is the bound of :class:`wqcheck.sheets.ReadingLimits`; more is refused."""
    book, out = tmp_path / "book.xlsx", str(tmp_path / "readings.csv")
    book.write_bytes(XLSX)
    few = CliRunner().invoke(app, ["read", str(book), "--out", out, "--most-cells", "11"])
    assert isinstance(few.exception, WorkbookError) or few.exit_code == 2
    enough = CliRunner().invoke(app, ["read", str(book), "--out", out, "--most-cells", "12"])
    assert enough.exit_code == 0, enough.output
    judged = CliRunner().invoke(app, ["check", str(book), "--limits", "who_gdwq_2022", "--most-cells", "11"])
    assert isinstance(judged.exception, WorkbookError), judged.output
    judged = CliRunner().invoke(app, ["check", str(book), "--limits", "who_gdwq_2022", "--most-cells", "12"])
    assert not isinstance(judged.exception, WorkbookError), judged.output


def test_a_number_that_is_none_is_no_result_and_stands_in_the_ledger() -> None:
    """A double of an xls file can be NaN (IEEE 754); it reads as the word *nan*, which gives no result."""
    rows: list[list[Any]] = [*ROWS[:2], ["S-2", float("nan"), 2], ["S-3", 3, float("nan")]]
    read = read_workbook(("book.xls", xls_bytes({"Results": rows})))
    assert table_of(read, "cell", "sign", "value") == [("B2", "=", 1), ("C2", "<", 0.1), ("C3", "=", 2), ("B4", "=", 3)]
    assert {cell: roles_of(read)[cell] for cell in ("B3", "C4")} == {"B3": "not tested", "C4": "not tested"}
    assert len(read.ledger()) + len(read.readings) == read.cells == 12
