"""Comments, number formats and struck text of ods, xls and XML spreadsheets, which the values alone do not tell."""

from __future__ import annotations

import pytest

from tests.workbook_forms import ods_bytes, ods_cell, unzipped, xls_bytes, xlsb_bytes, xml_spreadsheet, zipped
from tests.workbooks import Rows, table_of
from wqcheck.findings import Severity
from wqcheck.sheets import ReadResult, read_workbook
from wqcheck.sheets.number_formats import text_besides

ROWS: Rows = [["Sample", "Lead (µg/L)"], ["S-1", 5.0], ["S-2", 7.0]]


def held(read: ReadResult, code: str) -> list[tuple[str, str]]:
    """Return place and given text of the findings of one code that hold."""
    found = [finding for finding in read.findings if finding.code == code and finding.severity == Severity.HOLD]
    return [(finding.where.partition("!")[2], finding.given) for finding in found]


def ods_with(cell: str) -> ReadResult:
    """Return what an ods table of :data:`ROWS` gives with another cell in place of B2."""
    lines = [[ods_cell(value) for value in row] for row in ROWS]
    rows = [lines[0], [lines[1][0], cell], lines[2]]
    body = "".join(f"<table:table-row>{''.join(row)}</table:table-row>" for row in rows)
    return read_workbook(("book.ods", ods_bytes({}, body=f'<table:table table:name="R">{body}</table:table>')))


def ods_number(value: float, shown: str, kind: str = "float", within: str = "") -> str:
    return (
        f'<table:table-cell office:value-type="{kind}" office:value="{value!r}">{within}<text:p>{shown}</text:p>'
        "</table:table-cell>"
    )


def test_a_comment_in_an_ods_file_holds_and_is_no_part_of_the_result() -> None:
    """OpenDocument 1.3 part 3, 14.1 (clause from memory): ``office:annotation`` stands inside of its cell."""
    note = "<office:annotation><text:p>result invalid,</text:p><text:p>repeat</text:p></office:annotation>"
    read = ods_with(ods_number(5, "5", within=note))
    assert held(read, "comment on result") == [("B2", "result invalid, repeat")]
    assert table_of(read, "reported", "value") == [("5", 5), ("7", 7)]


@pytest.mark.parametrize(
    ("value", "shown", "given"),
    [
        (5.0, "&lt;5", "<5"), (0.05, "5 %", "5 %"), (5.0, "n.d.", "n.d."), (5000.0, "5", "5"), (5.0, "", ""),
        (5.0, "5 mg/L", "5 mg/L"), (5.0, "0.5", "0.5"),
    ],
)  # fmt: skip
def test_a_number_that_an_ods_file_shows_otherwise_holds(value: float, shown: str, given: str) -> None:
    assert held(ods_with(ods_number(value, shown)), "shown otherwise") == [("B2", given)]


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (5.0, "5"), (5.0, "5,00"), (1234.5, "1.234,50"), (1234.5, "1,234.5"), (1234.5, "1 234,5"), (0.0149, "0.01"),
        (0.5, "5.0E-01"), (-2.5, "-2,5"), (5.0, "5 µg/L"), (5.0, "###"), (1 / 3, "0.333333333333333"),
    ],
)  # fmt: skip
def test_a_number_that_is_only_rounded_or_shown_with_its_own_unit_does_not(value: float, shown: str) -> None:
    assert held(ods_with(ods_number(value, shown)), "shown otherwise") == []


def test_what_a_text_says_of_a_number() -> None:
    assert text_besides("<5", 5.0) == ("shows '<5'", "<")
    assert text_besides("0.12", 0.126) == ("shows '0.12'", "")
    assert text_besides("0.13", 0.126) == text_besides("any", "text") == ("", "")


def test_comments_and_number_formats_of_an_xls_file_hold() -> None:
    data = xls_bytes({"R": ROWS}, shown='"<"0.0', notes={(2, 1): "result invalid, repeat", (0, 1): "as ordered"})
    read = read_workbook(("book.xls", data))
    assert held(read, "comment on result") == [("B3", "result invalid, repeat")]
    assert held(read, "shown otherwise") == [("B2", '"<"0.0')]
    assert table_of(read, "value") == [(5,), (7,)]


def test_an_xlsb_file_says_what_of_it_was_not_looked_at() -> None:
    plain = read_workbook(("book.xlsb", xlsb_bytes({"R": ROWS})))
    assert [f.severity for f in plain.findings if "number formats" in f.message] == [Severity.NOTE]
    parts = {**unzipped(xlsb_bytes({"R": ROWS})), "xl/comments1.bin": b""}
    read = read_workbook(("book.xlsb", zipped(parts)))
    assert [f.severity for f in read.findings if "comments on its cells" in f.message] == [Severity.HOLD]


def test_the_sheets_of_an_xml_spreadsheet_keep_their_names_and_comments() -> None:
    sheets = {"Raw water": ROWS, "Table 1": ROWS, "B&W": ROWS}
    read = read_workbook(("book.xml", xml_spreadsheet(sheets)))
    assert list(dict.fromkeys(read.readings["sheet"])) == list(sheets)
    data = xml_spreadsheet(sheets).replace(
        b">5.0</Data>", b'>5.0</Data><Comment ss:Author="lab"><ss:Data>result invalid, repeat</ss:Data></Comment>', 1
    )
    read = read_workbook(("book.xls", data))
    assert held(read, "comment on result") == [("B2", "result invalid, repeat")]
    assert table_of(read, "reported")[0] == ("5.0",)


def test_worksheets_without_a_name_or_with_that_of_another_are_numbered() -> None:
    page = xml_spreadsheet({"Table 2": ROWS, "R": ROWS}).replace(b' ss:Name="R"', b"")
    read = read_workbook(("book.xml", page))
    assert list(dict.fromkeys(read.readings["sheet"])) == ["Table 2", "Table 3"]


def test_a_struck_result_of_a_web_page_holds() -> None:
    """HTML Living Standard, 4.5.5 (``s``) and 4.7.2 (``del``), clauses from memory: what no longer holds."""
    rows = "<tr><td>Sample<td>Lead (µg/L)<tr><td>S-1<td><s>5</s><tr><td>S-2<td><del>7</del> 8"
    read = read_workbook(("page.xls", f"<html><meta charset='utf-8'><table>{rows}</table></html>".encode()))
    assert [f.given for f in read.findings if f.code == "struck through"] == ["B2, B3"]
