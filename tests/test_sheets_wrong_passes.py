"""What a sheet says beside a result, and could make a bad one pass: each is held. All sheets are invented."""

from __future__ import annotations

import io
from typing import Any

import openpyxl
import pytest
from openpyxl.comments import Comment

from tests.workbooks import Rows, read_rows, table_of, xlsx_bytes
from wqcheck.findings import Severity
from wqcheck.questions.asking import questions
from wqcheck.questions.records import QuestionKind
from wqcheck.sheets import ReadResult, read_workbook
from wqcheck.sheets.number_formats import shown_besides


def held(read: ReadResult, code: str) -> list[tuple[str, str]]:
    """Return place and given text of the findings of one code that hold."""
    found = [finding for finding in read.findings if finding.code == code and finding.severity == Severity.HOLD]
    return [(finding.where.partition("!")[2], finding.given) for finding in found]


def column(*results: str, limit: str | None = None) -> Rows:
    names = ["Chloride", "Nitraat", "Sulfaat"]
    return [
        ["Parameter", "Resultaat", "Eenheid", "Rapportagegrens"],
        *([name, result, "mg/l", limit] for name, result in zip(names, results, strict=True)),
    ]


@pytest.mark.parametrize(
    "rows", [column("12,5", "1.234", "7"), column("12", "1.234", "7", limit="0,05"), column("12.5", "1.234", "0,3")]
)
def test_a_point_before_three_digits_is_asked_beside_decimal_commas(rows: Rows) -> None:
    read = read_rows(rows)
    assert table_of(read, "value", "sign")[1] == (None, "unreadable")
    assert QuestionKind.DECIMAL in {question.kind for question in questions(read, None)}


@pytest.mark.parametrize(
    ("rows", "value"),
    [
        (column("12", "1.234", "7"), 1.234),
        (column("12.5", "1.234", "7"), 1.234),
        (column("1.234,5", "1.234", "7"), 1234),
    ],
)
def test_a_point_before_three_digits_is_read_where_it_can_mean_one_number(rows: Rows, value: float) -> None:
    assert table_of(read_rows(rows), "value")[1] == (value,)


@pytest.mark.parametrize(
    ("heading", "bad", "good"),
    [
        ("Verdict", "FAIL", "pass"), ("Conclusion", "Non conforme", "Conforme"), ("Cumple", "No", "Sí"),
        ("Avaliação", "não conforme", "conforme"), ("Beurteilung", "überschritten", "eingehalten"),
        ("Giudizio", "NON CONFORME", "conforme"), ("Oordeel", "voldoet niet", "voldoet"),
        ("Exceeds limit", "Yes", "No"), ("Xyz", "does not comply", "complies"), ("Ocena", "nie spełnia", "spełnia"),
        ("Hodnocení", "nevyhovuje", "vyhovuje"), ("Bedömning", "otjänligt", "tjänligt"),
    ],
)  # fmt: skip
def test_a_bad_verdict_of_the_laboratory_holds(heading: str, bad: str, good: str) -> None:
    rows = [["Parameter", "Result", "Unit", heading], ["Lead", 1, "µg/l", bad], ["Iron", 1, "µg/l", good]]
    assert held(read_rows(rows), "laboratory verdict") == [("B2", bad)]
    assert held(read_rows([rows[0], rows[2], ["Zinc", 1, "µg/l", good]]), "laboratory verdict") == []


def test_verdicts_beside_analytes_and_in_rows_hold_too() -> None:
    wide = [
        ["Sample", "Lead (µg/L)", "Lead within standard", "Iron (µg/L)", "Iron within standard"],
        ["A", 1, "Yes", 2, "No"],
        ["B", 1, "Yes", 2, "Yes"],
    ]
    assert held(read_rows(wide), "laboratory verdict") == [("D2", "No")]
    across = [
        ["Parameter", "Unit", "Raw", "Treated"],
        ["Lead", "µg/L", 1, 2], ["Iron", "µg/L", 1, 2], ["Verdict", None, "PASS", "FAIL"],
    ]  # fmt: skip
    assert held(read_rows(across), "laboratory verdict") == [("D4", "D4")]


@pytest.mark.parametrize(
    ("code", "value", "added"),
    [
        ('"<"0.0', 5.0, "<"), ('0.0"<"', 5.0, "<"), (r"\<0.00", 5.0, "<"), ('[<0.05]"<0,05";0.00', 0.01, "<0,05"),
        ("0%", 0.1, "%"), ('0.0" mg/L"', 5.0, "mg/L"),
    ],
)  # fmt: skip
def test_a_number_format_that_adds_something_is_told(code: str, value: float, added: str) -> None:
    """ECMA-376-1, 18.8.31: literals, conditions and per cent in number formats."""
    assert shown_besides(code, value)[1] == added


@pytest.mark.parametrize(("code", "value"), [("0.00,", 5.0), (";;;", 5.0), ("0.00;-0.00;;@", 0.0)])
def test_a_number_format_that_scales_or_hides_is_told(code: str, value: float) -> None:
    """ECMA-376-1, 18.8.31: a comma behind the last digit scales by a thousand, an empty section prints nothing."""
    assert shown_besides(code, value)[0]


@pytest.mark.parametrize(
    ("code", "value"),
    [
        ("General", 1.0), ("#,##0.00", 5.0), ("0.00E+00", 5.0), ("[Red]0.0", 5.0), ("#,##0_);(#,##0)", -1.0),
        ('_-* #,##0.00_-;-* #,##0.00_-;_-* "-"??_-;_-@_-', 0.0), ("yyyy-mm-dd", 5.0), ('[<0.05]"<0,05";0.00', 0.5),
    ],
)  # fmt: skip
def test_usual_number_formats_are_not_told(code: str, value: float) -> None:
    assert shown_besides(code, value) == ("", "")


def book(change: Any) -> ReadResult:
    workbook = openpyxl.Workbook()
    sheet = workbook.active
    assert sheet is not None
    for row in (["Parameter", "Unit", "Result"], ["Lead", "µg/L", 5], ["Iron", "µg/L", 6], ["Zinc", "µg/L", None]):
        sheet.append(row)
    change(sheet)
    stream = io.BytesIO()
    workbook.save(stream)
    return read_workbook(("book.xlsx", stream.getvalue()))


def test_a_comment_on_a_result_holds_with_its_text() -> None:
    def comment(sheet: Any) -> None:
        sheet["C3"].comment = Comment("result invalid, repeat", "laboratory")
        sheet["A2"].comment = Comment("as ordered", "laboratory")

    assert held(book(comment), "comment on result") == [("C3", "result invalid, repeat")]


def test_a_result_that_its_format_shows_otherwise_holds_and_its_own_unit_does_not() -> None:
    def formats(sheet: Any) -> None:
        sheet["C2"].number_format, sheet["C3"].number_format = '"<"0.0', '0.0" µg/L"'

    assert held(book(formats), "shown otherwise") == [("C2", '"<"0.0')]


def test_one_result_merged_over_two_analytes_is_read_once_and_holds() -> None:
    read = book(lambda sheet: sheet.merge_cells("C3:C4"))
    assert table_of(read, "cell") == [("C2",), ("C3",)]
    assert held(read, "merged result") == [("C3", "")]


def test_a_line_of_a_request_form_that_is_needed_and_left_blank_holds() -> None:
    rows = [
        ["Parameter", "Unit", "Result", "Needed"],
        ["Lead", "µg/L", 1, "rules"], ["Iron", "µg/L", None, "rules"], ["Zinc", "µg/L", None, None],
    ]  # fmt: skip
    read = read_workbook(("book.xlsx", xlsx_bytes({"Request": rows})))
    assert held(read, "no result given") == [("A3", "iron")]
    assert [f.given for f in read.findings if f.code == "no result given"] == ["iron", "zinc"]


@pytest.mark.parametrize("title", ["EXAMPLE", "Sample form", "Exemple", "Beispiel", "Ejemplo", "Exemplo", "Voorbeeld"])
def test_a_sheet_that_calls_itself_an_example_holds(title: str) -> None:
    rows = [["Parameter", "Unit", "Result"], ["Lead", "µg/L", 1], ["Iron", "µg/L", 2]]
    assert held(read_workbook(("book.xlsx", xlsx_bytes({title: rows}))), "example sheet")
    assert held(read_rows([[title], *rows]), "example sheet")
    assert not held(read_rows(rows), "example sheet")


@pytest.mark.parametrize("years", [(2024, 2025), ("2024", "2025"), ("Result 2024", "Result 2025")])
def test_columns_of_several_years_hold(years: tuple[Any, Any]) -> None:
    read = read_rows([["Parameter", "Unit", *years], ["Lead", "µg/L", 1, 2], ["Iron", "µg/L", 2, 3]])
    assert held(read, "columns of years") == [("C1", "C, D")]


@pytest.mark.parametrize(("slip", "meant"), [("absnet", "absent"), ("afwezigg", "afwezig"), ("auzsente", "ausente")])
def test_a_misspelled_word_is_offered_and_never_applied(slip: str, meant: str) -> None:
    read = read_rows([["Parameter", "Unit", "Result"], ["E. coli", "CFU/100 mL", slip], ["Lead", "µg/L", 1]])
    assert table_of(read, "sign")[0] == ("unreadable",)
    assert [f.message for f in read.findings if f.code == "unreadable result" and repr(meant) in f.message]
