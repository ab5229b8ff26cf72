"""What a sheet leaves open is asked once; with the answers the next sheet of the laboratory leaves nothing open."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from tests.workbooks import Rows, read_rows, table_of, xlsx_bytes
from wqcheck.batch import check_workbook
from wqcheck.cli import app
from wqcheck.errors import SheetLayoutError, WqcheckError
from wqcheck.questions import NO_PARAMETER, Question, QuestionKind, answered, propose_layout, questions
from wqcheck.release.decision import BatchDetails
from wqcheck.sheet_layouts.loading import load_layout
from wqcheck.sheet_layouts.records import SheetLayout
from wqcheck.sheet_layouts.saving import save_layout
from wqcheck.sheets import ReadResult, read_workbook
from wqcheck.train.description import load_train

TRAIN = Path(__file__).resolve().parent.parent / "sample_results" / "train.toml"

OPEN_SHEET: Rows = [
    ["Laboratory:", "Coast lab (invented)"],
    ["Sample", "Site", "Date", "Lead", "Nitrate (mg/L)", "Arsenick", "E. coli", "Shelf", "Zinc (mg/L)"],
    ["S-1", "Product tnk", "03/04/2026", "27,385", 5, 1.5, "absent", 12, "v.n.m."],
    ["S-2", "Product tnk", "05/06/2026", "31,402", 6, 1.6, "absent", 13, 0.2],
]
NEXT_SHEET: Rows = [
    *OPEN_SHEET[:2],
    ["S-7", "Product tnk", "07/08/2026", "12,385", 4, 1.1, "absent", 17, 0.3],
    ["S-8", "Product tnk", "09/10/2026", "11,402", 3, 1.2, "absent", 18, "v.n.m."],
]
ANSWERS = {
    QuestionKind.UNIT: "µg/L", QuestionKind.BASIS: "NO3", QuestionKind.VOLUME: "250", QuestionKind.DATES: "dmy",
    QuestionKind.DECIMAL: ",", QuestionKind.POINT: "SP9", QuestionKind.WORD: "not detected",
}  # fmt: skip


def answer_to(question: Question) -> str:
    if question.kind == QuestionKind.COLUMN:
        return "arsenic" if question.given == "Arsenick" else NO_PARAMETER
    return ANSWERS[question.kind]


def read(rows: Rows, layouts: Path | SheetLayout | None = None) -> ReadResult:
    return read_workbook(("sheet.xlsx", xlsx_bytes({"Results": rows})), layouts)


def answered_all(taken: ReadResult, layout: SheetLayout) -> SheetLayout:
    for question in questions(taken, load_train(TRAIN)):
        layout = answered(layout, question, answer_to(question))
    return layout


def test_each_open_thing_is_asked_once_with_usual_answers() -> None:
    asked = {(question.kind, question.given): question for question in questions(read(OPEN_SHEET), load_train(TRAIN))}
    assert set(asked) == {
        (QuestionKind.UNIT, "lead"), (QuestionKind.BASIS, "nitrate"), (QuestionKind.COLUMN, "Arsenick"),
        (QuestionKind.VOLUME, "escherichia_coli"), (QuestionKind.COLUMN, "Shelf"), (QuestionKind.WORD, "v.n.m."),
        (QuestionKind.DATES, "sampled_at"), (QuestionKind.DECIMAL, "27,385, 31,402"),
        (QuestionKind.POINT, "Product tnk"),
    }  # fmt: skip
    assert asked[QuestionKind.UNIT, "lead"].options[0] == "µg/L"
    assert asked[QuestionKind.UNIT, "lead"].results == 2
    assert asked[QuestionKind.BASIS, "nitrate"].options == ("NO3", "N")
    assert asked[QuestionKind.COLUMN, "Arsenick"].options[0] == "arsenic"
    assert asked[QuestionKind.COLUMN, "Shelf"].options[-1] == NO_PARAMETER
    assert asked[QuestionKind.DATES, "sampled_at"].where == "sheet.xlsx|Results!C3"
    assert asked[QuestionKind.DECIMAL, "27,385, 31,402"].options == (",", ".")
    product = {point.code for point in load_train(TRAIN).points if "product" in point.name.casefold()}
    assert asked[QuestionKind.POINT, "Product tnk"].options[0] in product


def test_answered_once_the_next_sheet_is_read_without_a_question(tmp_path: Path) -> None:
    """The Arsenick column names no unit, which shows only once it is read: the second round asks for it."""
    first = read(OPEN_SHEET)
    layout = answered_all(first, propose_layout(first))
    second = read(OPEN_SHEET, layout)
    assert {question.given for question in questions(second, load_train(TRAIN))} == {"arsenic"}
    save_layout(answered_all(second, propose_layout(second)), tmp_path / "coast.toml")

    later = read(NEXT_SHEET, tmp_path)
    assert questions(later, load_train(TRAIN)) == ()
    assert [finding.code for finding in later.findings] == ["sheet layout"]
    assert table_of(later, "point", "sampled_at", "parameter", "sign", "value", "unit", "basis", "volume_ml")[:5] == [
        ("SP9", "2026-08-07", "lead", "=", 12.385, "µg/L", None, None),
        ("SP9", "2026-08-07", "nitrate", "=", 4.0, "mg/L", "NO3", None),
        ("SP9", "2026-08-07", "arsenic", "=", 1.1, "µg/L", None, None),
        ("SP9", "2026-08-07", "escherichia_coli", "absent", None, "count", None, 250.0),
        ("SP9", "2026-08-07", "zinc", "=", 0.3, "mg/L", None, None),
    ]
    assert len(later.readings) + len(later.ledger()) == later.cells


def test_an_unknown_column_among_many_analytes_can_be_answered_to_be_none() -> None:
    names = ["Lead", "Zinc", "Iron", "Shelf", "Copper", "Nickel", "Cadmium"]
    heads = ["Sample", *(f"{name} (mg/L)" if name != "Shelf" else name for name in names)]
    rows: Rows = [heads, *([f"S-{n}", *(n if name == "Shelf" else n / 100 for name in names)] for n in range(1, 5))]
    first = read(rows)
    question = next(question for question in questions(first) if question.given == "Shelf")
    assert (question.kind, question.options[-1]) == (QuestionKind.COLUMN, NO_PARAMETER)
    second = read(rows, answered(propose_layout(first), question, NO_PARAMETER))
    assert (len(first.readings), len(second.readings)) == (28, 24)
    assert [finding.code for finding in second.findings] == ["sheet layout"]
    assert len(second.readings) + len(second.ledger()) == second.cells


def test_questions_stand_as_comments_in_a_proposal_and_are_no_answers(tmp_path: Path) -> None:
    save_layout(propose_layout(read(OPEN_SHEET)), tmp_path / "lab.toml")
    text = (tmp_path / "lab.toml").read_text(encoding="utf-8")
    assert '#   units.lead = "µg/L"' in text
    assert '#   aliases.Arsenick = "arsenic"' in text
    layout = load_layout(tmp_path / "lab.toml")
    assert (layout.units, layout.aliases, layout.lab) == ({}, {}, "Coast lab (invented)")


def test_an_answer_that_does_not_fit_is_refused_with_the_usual_ones() -> None:
    asked = {question.kind: question for question in questions(read(OPEN_SHEET))}
    for kind, wrong in ((QuestionKind.UNIT, "µS/cm"), (QuestionKind.VOLUME, "some"), (QuestionKind.BASIS, "CaCO3")):
        with pytest.raises(SheetLayoutError, match=r"sheet\.xlsx\|Results!"):
            answered(SheetLayout(), asked[kind], wrong)


def test_results_of_a_table_that_names_no_parameter_can_be_named() -> None:
    rows = [["Tap no", "Result (µg/L)", "Remarks"], ["T-1", 3, None], ["T-2", 4, "x"], ["T-3", "<1", None]]
    taken = read_rows(rows)
    question = next(question for question in questions(taken) if question.kind == QuestionKind.UNNAMED)
    named = read_workbook(("b.xlsx", xlsx_bytes({"R": rows})), answered(propose_layout(taken), question, "lead"))
    assert table_of(named, "parameter", "reported", "unit") == [
        ("lead", "3", "µg/L"), ("lead", "4", "µg/L"), ("lead", "<1", "µg/L"),
    ]  # fmt: skip


def test_two_magnitudes_in_one_column_are_said_and_no_answer_is_kept() -> None:
    rows = [["Sample", "Conductivity (µS/cm)"], ["A", 658], ["B", 702], ["C", 0.44], ["D", 640], ["E", 0.61]]
    taken = read_rows(rows)
    finding = next(finding for finding in taken.findings if finding.code == "mixed magnitudes")
    assert finding.where == "book.xlsx|Results!B4, B6"
    question = next(question for question in questions(taken) if question.kind == QuestionKind.MAGNITUDE)
    with pytest.raises(SheetLayoutError, match="no answer to this is kept"):
        answered(SheetLayout(), question, "µS/cm")
    spread = [["Sample", "Conductivity (µS/cm)"], *(["A", value] for value in (0.4, 4, 40, 400, 658))]
    assert "mixed magnitudes" not in {finding.code for finding in read_rows(spread).findings}


# ---- two headings below one another, dates in parts, Unit2


def test_places_below_one_analyte_are_the_points_of_their_columns() -> None:
    rows = [
        ["Date", "Lead (µg/L)", None, "pH"], [None, "Raw", "Treated", None],
        ["2026-03-01", 5, "<1", 7.2], ["2026-03-02", 6, 2, 7.3],
    ]  # fmt: skip
    assert table_of(read_rows(rows, ["B1:C1"]), "cell", "parameter", "point", "reported", "unit") == [
        ("B3", "lead", "Raw", "5", "µg/L"), ("C3", "lead", "Treated", "<1", "µg/L"), ("D3", "ph", None, "7.2", "pH"),
        ("B4", "lead", "Raw", "6", "µg/L"), ("C4", "lead", "Treated", "2", "µg/L"), ("D4", "ph", None, "7.3", "pH"),
    ]  # fmt: skip
    sited = [["Site", "Lead (µg/L)", None], [None, "Raw", "Treated"], ["A", 5, 1], ["B", 6, 2]]
    assert table_of(read_rows(sited, ["B1:C1"]), "point")[:2] == [("A / Raw",), ("A / Treated",)]


def test_result_and_limit_below_one_analyte_are_no_places() -> None:
    rows = [["Site", "Lead (µg/L)", None], [None, "Result", "LOQ"], ["A", 5, 1], ["B", 6, 1]]
    assert table_of(read_rows(rows, ["B1:C1"]), "cell", "point") == [("B3", "A"), ("B4", "B")]


def test_year_month_and_day_are_one_date_and_without_a_day_none_is_invented() -> None:
    whole = [["Year", "Month", "Day", "Lead (µg/L)"], [2025, 3, 14, 1], [2025, "April", 5, 2], [2025, 2, 30, 3]]
    assert table_of(read_rows(whole), "sampled_at") == [("2025-03-14",), ("2025-04-05",), (None,)]
    months = read_rows([["Year", "Month", "Site", "Lead (µg/L)"], [2025, 3, "A", 1], [2025, 4, "A", 2]])
    assert table_of(months, "sampled_at") == [(None,), (None,)]
    finding = next(finding for finding in months.findings if finding.code == "no full date")
    assert (finding.given, "none is invented" in finding.message) == ("2025-3, 2025-4", True)
    dated = [["Year", "Month", "Date", "Lead (µg/L)"], [2025, 3, "2025-03-14", 1], [2025, 4, "2025-04-15", 2]]
    assert table_of(read_rows(dated), "sampled_at") == [("2025-03-14",), ("2025-04-15",)]


def test_a_numbered_heading_of_units_is_one() -> None:
    rows = [["Sample", "Parameter", "Result", "Unit2"], ["S-1", "Lead", 3, "µg/L"], ["S-1", "Iron", 1, "mg/L"]]
    assert table_of(read_rows(rows), "unit") == [("µg/L",), ("mg/L",)]


# ---- command line


def run(*arguments: object) -> Result:
    return CliRunner().invoke(app, [str(argument) for argument in arguments], catch_exceptions=False)


def test_commands_propose_check_and_apply(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    book, folder = tmp_path / "sheet.xlsx", tmp_path / "layouts"
    book.write_bytes(xlsx_bytes({"Results": OPEN_SHEET}))
    monkeypatch.chdir(tmp_path)
    asked = run("read", book, "--out", "r.csv", "--questions", "--train", TRAIN)
    assert "missing unit: sheet.xlsx|Results!D3" in asked.stdout
    assert "9 open question(s)" in asked.stdout
    assert "did you mean arsenic or" in asked.stderr
    assert "8 open question(s)" in run("layout", "propose", book, "--out", folder / "coast.toml").stdout
    text = (folder / "coast.toml").read_text(encoding="utf-8")
    (folder / "coast.toml").write_text(text.replace("#   units.lead", "units.lead"), encoding="utf-8")
    checked = run("layout", "check", folder / "coast.toml")
    assert (checked.exit_code, "answers: units 1" in checked.stdout) == (0, True)
    applied = run("read", book, "--out", "r.csv", "--questions")
    assert "sheet layout 'Sheets of Coast lab (invented)' was applied: it supplied the unit of 2" in applied.stderr
    assert "missing unit" not in applied.stdout
    with pytest.raises(WqcheckError, match="exists and may hold answers"):
        run("layout", "propose", book, "--out", folder / "coast.toml")


def test_a_folder_that_is_none_is_refused(tmp_path: Path) -> None:
    with pytest.raises(WqcheckError, match="--layouts takes a folder"):
        run("read", TRAIN, "--out", tmp_path / "r.csv", "--layouts", tmp_path / "none")


def test_the_layout_stands_among_the_files_of_a_check_and_unknown_names_are_offered_near_ones(tmp_path: Path) -> None:
    from datetime import date

    rows = [["Sample", "Parameter", "Result", "Unit"], ["S", "Arsenick", 1, "µg/L"], ["S", "Lead", 2, None]]
    taken = read(rows)
    question = next(question for question in questions(taken) if question.kind == QuestionKind.UNIT)
    save_layout(answered(propose_layout(taken), question, "µg/L"), tmp_path / "lab.toml")
    checked = check_workbook(
        [("sheet.xlsx", xlsx_bytes({"Results": rows}))], details=BatchDetails(batch="B", product="purified"),
        limits=["us_21cfr165_110b"], train=None, rules=None, on=date(2026, 3, 1), product="purified", layouts=tmp_path,
    )  # fmt: skip
    stamp = next(file for file in checked.files if file.kind == "sheet layout")
    assert (stamp.name, stamp.sha256) == ("lab.toml", load_layout(tmp_path / "lab.toml").digest)
    unknown = next(finding for finding in checked.findings if finding.code == "unknown parameter")
    assert "did you mean arsenic" in unknown.message
    assert set(checked.judged.loc[checked.judged["parameter"] == "lead", "verdict"]) == {"pass"}
