"""Files that ask for too much, or hide something: refused with a sentence, or read and said.

A part of a package declares no document type (ISO/IEC 29500-2, on the XML of parts; from memory).
"""

from __future__ import annotations

import io
import zipfile

import openpyxl
import pytest
from openpyxl.styles import Font

from tests.benchmarks.reading import _MAIN, _PARTS
from tests.workbooks import said, table_of, xlsx_bytes
from wqcheck.errors import WorkbookError
from wqcheck.sheets import ReadingLimits, read_books, read_workbook

TABLE: list[list[str | int]] = [["Sample", "Lead (µg/L)"], ["S-1", 1], ["S-2", 2]]


def book(sheet: str, texts: str = "") -> bytes:
    """Return an xlsx file whose one sheet has these rows as XML."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in _PARTS.items():
            archive.writestr(name, text)
        archive.writestr("xl/sharedStrings.xml", texts or f"<sst {_MAIN}/>")
        archive.writestr("xl/worksheets/sheet1.xml", f"<worksheet {_MAIN}><sheetData>{sheet}</sheetData></worksheet>")
    return stream.getvalue()


FAR = '<row r="1"><c r="A1"><v>1</v></c></row><row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'
UNPLACED = f'<row r="1"><c><v>1</v></c></row><row r="1048576">{"<c/>" * 16383}<c><v>1</v></c></row>'
REFUSED = {
    "two far corners": (book(FAR), "17,179,869,184 cells"),
    "two far corners in single quotes": (book(FAR.replace('"', "'")), "17,179,869,184 cells"),
    "two far corners without names": (book(UNPLACED), "17,179,869,184 cells"),
    "a row beyond all": (book('<row r="1"><c r="A4294967290"><v>1</v></c></row>'), "outside of any sheet"),
    "entities": (book("", f'<!DOCTYPE x [<!ENTITY a "aaaa">]><sst {_MAIN}><si><t>&a;</t></si></sst>'), "entities"),
    "blanks without end": (book(" " * 20_000_000), "smaller packed than unpacked"),
    "commas without end": (b"," * 17_000_000, "17,000,000 cells"),
    "one long row above many": (b"," * 16_000 + b"\n" + b"a\n" * 2_000, "cells and 16,000,000 are allowed"),
}


@pytest.mark.parametrize("kind", REFUSED)
def test_a_file_that_asks_for_too_much_is_refused_with_a_sentence(kind: str) -> None:
    data, words = REFUSED[kind]
    with pytest.raises(WorkbookError, match=words):
        read_workbook(("book.xlsx", data))


def test_limits_are_the_callers_to_change() -> None:
    data = xlsx_bytes({"Results": TABLE})
    assert len(read_workbook(("book.xlsx", data), limits=ReadingLimits(cells=6)).readings) == 2
    with pytest.raises(WorkbookError, match="6 cells and 5 are allowed"):
        read_workbook(("book.xlsx", data), limits=ReadingLimits(cells=5))


def test_hidden_and_struck_cells_are_read_and_said() -> None:
    made = openpyxl.Workbook()
    sheet = made.worksheets[0]
    for row in TABLE:
        sheet.append(row)
    sheet.row_dimensions[3].hidden = True
    sheet.column_dimensions["B"].hidden = True
    sheet["B2"].font = Font(strike=True)
    stream = io.BytesIO()
    made.save(stream)
    read = read_workbook(("book.xlsx", stream.getvalue()))
    assert table_of(read, "cell", "value") == [("B2", 1), ("B3", 2)]
    given = {finding.code: (str(finding.severity), finding.given) for finding in read.findings}
    assert given == {
        "hidden rows": ("note", "3"), "hidden columns": ("note", "B"), "struck through": ("hold", "B2"),
    }  # fmt: skip


def test_a_zipped_folder_is_read_book_by_book_and_says_what_it_left() -> None:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        archive.writestr("march/one.xlsx", xlsx_bytes({"Results": TABLE}))
        archive.writestr("two.csv", "Sample,Lead (µg/L)\nS-3,3\n")
        archive.writestr("photo.jpg", "x")
        archive.writestr("more.zip", "x")
        archive.writestr("bad.xlsx", b"PK\x03\x04")
    folder, *books = read_books(("sent.zip", stream.getvalue()))
    assert [(read.name, len(read.readings)) for read in books] == [
        ("sent.zip/march/one.xlsx", 2), ("sent.zip/two.csv", 1),
    ]  # fmt: skip
    assert [str(finding.severity) for finding in folder.findings] == ["note", "hold", "hold"]
    assert all(any(word in f.message for f in folder.findings) for word in ("photo.jpg", "more.zip", "bad.xlsx"))


def test_a_web_table_under_the_name_of_a_workbook_is_read() -> None:
    page = (
        "<html><body><table><tr><th rowspan=2>Sample</th><th>Lead (µg/L)</th></tr><tr></tr>"
        "<tr><td>S-1</td><td>&lt;0.5</td></tr></table></body></html>"
    )
    read = read_workbook(("book.xls", page.encode()))
    assert table_of(read, "cell", "sample", "sign", "value") == [("B3", "S-1", "<", 0.5)]
    assert "reader" in said(read)


def test_a_quotation_mark_that_is_never_closed_swallows_no_rows() -> None:
    read = read_workbook(("book.csv", b'Sample,Lead (mg/L)\n"S-1,1\nS-2,2\n'))
    assert table_of(read, "cell", "value") == [("B2", 1), ("B3", 2)]
    assert [str(finding.severity) for finding in read.findings if finding.code == "reader"] == ["hold"]
