"""Files of every kind that holds results, and files that hold none: a sentence, never a traceback.

Signatures of files: PDF (ISO 32000-2, 7.5.2), PNG (ISO/IEC 15948, 5.2), ZIP (PKWARE APPNOTE 6.3.10, 4.3.7), compound
files of old workbooks and of encrypted ones (Microsoft MS-CFB 2.2 and MS-OFFCRYPTO 2.3.4.4).
"""

from __future__ import annotations

import datetime as dt
import io
import shutil
import subprocess
import zipfile
from pathlib import Path

import openpyxl
import pytest

from tests.workbooks import csv_text, read_rows, roles_of, said, table_of, xlsx_bytes
from wqcheck.errors import WorkbookError
from wqcheck.sheets import read_workbook

ROWS = [
    ["Sample", "Date", "Plomb (µg/L)", "Fer (mg/L)"],
    ["É-1", "2026-03-01", "0,5", "<0,1"],
    ["É-2", "2026-03-02", "12,25", "0,2"],
]
EXPECTED = [
    ("C2", "É-1", "2026-03-01", "lead", "=", 0.5, "µg/L"), ("D2", "É-1", "2026-03-01", "iron", "<", 0.1, "mg/L"),
    ("C3", "É-2", "2026-03-02", "lead", "=", 12.25, "µg/L"), ("D3", "É-2", "2026-03-02", "iron", "=", 0.2, "mg/L"),
]  # fmt: skip
COLUMNS = ("cell", "sample", "sampled_at", "parameter", "sign", "value", "unit")
OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_delimited_text_of_any_delimiter_line_end_and_encoding(delimiter: str, line_end: str, encoding: str) -> None:
    read = read_workbook(("book.csv", csv_text(ROWS, delimiter, line_end).encode(encoding)))
    assert table_of(read, *COLUMNS) == EXPECTED
    assert set(read.readings["sheet"]) == {""}
    assert {finding.message for finding in read.findings} <= {"read as utf-16 text", "read as cp1252 text"}


def test_utf_16_without_its_mark() -> None:
    read = read_workbook(("book.txt", csv_text(ROWS, "\t").encode("utf-16-le")))
    assert table_of(read, *COLUMNS) == EXPECTED


def test_text_under_the_name_of_a_workbook_is_read_as_text() -> None:
    assert table_of(read_workbook(("book.xls", csv_text(ROWS, ";").encode())), *COLUMNS) == EXPECTED


def test_fields_with_line_ends_and_delimiters_inside() -> None:
    read = read_workbook(("book.csv", b'Sample,"Lead\n(\xc2\xb5g/L)",Remarks\n"S-1, first",2,"a, b\nc"\n'))
    assert table_of(read, "cell", "sample", "parameter", "value", "unit") == [("B2", "S-1, first", "lead", 2, "µg/L")]


def test_a_path_and_the_bytes_under_its_name_give_the_same(tmp_path: Path) -> None:
    path = tmp_path / "book.xlsx"
    path.write_bytes(xlsx_bytes({"Results": ROWS}))
    by_path, by_bytes = read_workbook(path), read_workbook(("book.xlsx", path.read_bytes()))
    assert table_of(by_path, *COLUMNS) == table_of(by_bytes, *COLUMNS) == EXPECTED
    assert by_path.sha256 == by_bytes.sha256
    assert by_path.name == "book.xlsx"


@pytest.mark.parametrize("form", ["ods", "xls"])
def test_older_and_open_forms_of_workbooks(form: str, tmp_path: Path) -> None:
    office = shutil.which("soffice")
    if office is None:
        pytest.skip("no spreadsheet program is installed to write the file")
    rows = [
        ["Sample", "Date", "Lead µg/L", "E. coli CFU/100 mL"],
        ["S-1", dt.datetime(2026, 3, 1), 1, "absent"],
        ["S-2", dt.datetime(2026, 3, 2, 10, 30), "<0.5", 0],
    ]
    (tmp_path / "book.xlsx").write_bytes(xlsx_bytes({"Results": rows, "Empty": []}))
    profile = f"-env:UserInstallation={(tmp_path / 'profile').as_uri()}"
    command = [
        office,
        profile,
        "--headless",
        "--convert-to",
        form,
        "--outdir",
        str(tmp_path),
        str(tmp_path / "book.xlsx"),
    ]
    subprocess.run(command, check=True, capture_output=True, timeout=120)
    read = read_workbook(tmp_path / f"book.{form}")
    columns = ("sheet", "cell", "sample", "sampled_at", "parameter", "sign", "value", "unit", "volume_ml")
    assert table_of(read, *columns) == [
        ("Results", "C2", "S-1", "2026-03-01", "lead", "=", 1, "µg/L", None),
        ("Results", "D2", "S-1", "2026-03-01", "escherichia_coli", "absent", None, "CFU", 100),
        ("Results", "C3", "S-2", "2026-03-02 10:30:00", "lead", "<", 0.5, "µg/L", None),
        ("Results", "D3", "S-2", "2026-03-02 10:30:00", "escherichia_coli", "=", 0, "CFU", 100),
    ]  # fmt: skip


def test_several_sheets_one_hidden_one_without_results() -> None:
    table = [["Sample", "Lead (µg/L)"], ["S-1", 1]]
    read = read_workbook(
        (
            "book.xlsx",
            xlsx_bytes({"March": table, "Notes": [["Kept by the laboratory"]], "April": table}, hidden=["April"]),
        )
    )
    assert table_of(read, "sheet", "cell", "value") == [("March", "B2", 1), ("April", "B2", 1)]
    assert said(read) == {"no results": "Notes", "hidden sheet": "April"}


def test_positions_are_those_of_the_file_whatever_is_blank_before() -> None:
    read = read_rows([[], [], [None, None, "Sample", None, "Lead (µg/L)"], [], [None, None, "S-1", None, 1]])
    assert table_of(read, "cell", "sample", "value") == [("E5", "S-1", 1)]
    assert roles_of(read) == {"C3": "heading", "E3": "heading", "C5": "sample"}


def test_formulas_saved_without_a_value_and_error_cells_are_unreadable_not_blank() -> None:
    read = read_rows([["Sample", "Lead (µg/L)"], ["S-1", "=1+1"], ["S-2", 2], ["S-3", "#DIV/0!"], ["S-4", "#N/A"]])
    assert table_of(read, "cell", "reported", "sign", "value") == [
        ("B2", "=1+1", "unreadable", None), ("B3", "2", "=", 2), ("B4", "#DIV/0!", "unreadable", None),
        ("B5", "#N/A", "unreadable", None),
    ]  # fmt: skip


def test_a_formula_with_its_saved_value_is_that_value() -> None:
    data = xlsx_bytes({"Results": [["Sample", "Lead (µg/L)"], ["S-1", "=1+1"]]})
    source, target = zipfile.ZipFile(io.BytesIO(data)), io.BytesIO()
    with zipfile.ZipFile(target, "w") as archive:
        for name in source.namelist():
            part = source.read(name)
            archive.writestr(
                name, part.replace(b"<v />", b"<v>2</v>").replace(b"<v></v>", b"<v>2</v>") if "sheet1" in name else part
            )
    assert table_of(read_workbook(("book.xlsx", target.getvalue())), "reported", "value") == [("2", 2)]


def test_a_workbook_that_the_first_reader_refuses_goes_to_the_second(monkeypatch: pytest.MonkeyPatch) -> None:
    import python_calamine

    def refuse(_: object) -> None:
        raise python_calamine.CalamineError("not for me")

    monkeypatch.setattr("python_calamine.CalamineWorkbook.from_filelike", refuse)
    read = read_workbook(("book.xlsx", xlsx_bytes({"Results": ROWS})))
    assert table_of(read, *COLUMNS) == EXPECTED
    assert said(read) == {"reader": ""}


def truncated() -> bytes:
    return xlsx_bytes({"Results": ROWS})[:1500]


def zip_without_workbook() -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        archive.writestr("readme.pdf", "no workbook")
    return stream.getvalue()


BROKEN = {
    "empty": (b"", "is empty"),
    "random bytes": (bytes(range(256)) * 4, "neither a workbook nor text"),
    "truncated workbook": (truncated(), "no reader understands"),
    "zip without workbook": (zip_without_workbook(), "no reader understands"),
    "old binary file": (OLE + bytes(600), "no reader understands"),
    "password": (OLE + bytes(600) + "EncryptedPackage".encode("utf-16-le") + bytes(600), "protected by a password"),
    "picture": (b"\x89PNG\r\n\x1a\n" + bytes(80), "is a picture"),
    "PDF": (b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n1 0 obj", "is a PDF document"),
    "web page": (b"\xef\xbb\xbf\n<!DOCTYPE html><html><table></table></html>", "is a web page"),
    "cut UTF-16": (b"\xff\xfea", "cannot be decoded"),
}


@pytest.mark.parametrize("kind", BROKEN)
def test_a_file_that_holds_no_workbook_is_refused_with_a_sentence(kind: str, tmp_path: Path) -> None:
    data, words = BROKEN[kind]
    with pytest.raises(WorkbookError, match=words) as uploaded:
        read_workbook(("book.xlsx", data))
    path = tmp_path / "book.xlsx"
    path.write_bytes(data)
    with pytest.raises(WorkbookError, match=words) as opened:
        read_workbook(path)
    assert str(opened.value) == str(uploaded.value)
    assert str(opened.value).startswith("book.xlsx ")


def test_a_folder_and_a_missing_path_are_refused_with_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(WorkbookError, match="is not a file; give the path"):
        read_workbook(tmp_path)
    with pytest.raises(WorkbookError, match="does not exist; check the path"):
        read_workbook(tmp_path / "missing.xlsx")


@pytest.mark.parametrize("data", [b"\n\n", b"hello", b'{"a": [1, 2, 3]}', b"\xff\xfe", b"a,b\nc,d\n"])
def test_text_without_results_gives_none_and_says_so(data: bytes) -> None:
    read = read_workbook(("book.csv", data))
    assert read.readings.empty
    assert "no results" in said(read)


def test_a_workbook_of_empty_sheets_gives_nothing_and_says_so() -> None:
    stream = io.BytesIO()
    openpyxl.Workbook().save(stream)
    read = read_workbook(("book.xlsx", stream.getvalue()))
    assert read.readings.empty
    assert read.cells == 0
    assert len(read.ledger()) == 0
    assert said(read) == {"no results": ""}
