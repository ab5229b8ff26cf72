"""The view that takes sheets in shows each cell with its part, asks what is open, and keeps the answers."""

from __future__ import annotations

import html
import re
import tomllib
from html.parser import HTMLParser
from pathlib import Path

import openpyxl
import pytest
from streamlit.testing.v1 import AppTest

from tests.test_sheet_questions import ANSWERS, OPEN_SHEET, TRAIN
from tests.workbooks import read_rows, xlsx_bytes
from wqcheck.errors import SheetLayoutError
from wqcheck.findings import Finding, Severity
from wqcheck.page.checking import DESK_KEY, TAKEN_KEY, TakenSheets
from wqcheck.page.layouts_applied import BACK_KEY
from wqcheck.page.main import VIEW_KEY
from wqcheck.page.settings import LAYOUTS_KEY, TRAIN_KEY
from wqcheck.page.sheet_grid import CELL_KEY, ROW_KEY, UNREAD_KEY
from wqcheck.page.sheet_picture import (
    KINDS,
    NOT_READ,
    grid_html,
    kind_counts,
    legend_html,
    picture_cells,
    picture_rows,
)
from wqcheck.page.sheet_questions import KEEP_KEY, ONCE_KEY, answer_key
from wqcheck.page.sheets_brought import SAMPLE_KEY, UPLOAD_KEY
from wqcheck.page.take_in_view import AS_READ, BATCH_KEY, PART_KEY, PICTURE, QUESTIONS, WHICH_KEY
from wqcheck.questions import NO_PARAMETER, QuestionKind, keep_answers, questions, take_back
from wqcheck.release.decision import Disposition
from wqcheck.sheet_layouts.loading import load_layout
from wqcheck.sheet_layouts.records import COLUMN_ROLES
from wqcheck.sheets import ReadResult, read_workbook
from wqcheck.tables import Readings

SAMPLES = Path(__file__).parent.parent / "sample_results"
OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
PROTECTED = OLE + bytes(600) + "EncryptedPackage".encode("utf-16-le") + bytes(600)


def script(*arguments: str) -> None:
    from wqcheck.page.main import main

    main(arguments)


@pytest.fixture
def page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> AppTest:
    """Open the view in a folder of its own."""
    monkeypatch.chdir(tmp_path)
    opened = AppTest.from_function(script, default_timeout=120).run()
    return opened.radio(key=VIEW_KEY).set_value("Take in").run()


def upload(page: AppTest, *files: tuple[str, bytes]) -> AppTest:
    listed = [(name, content, "application/octet-stream") for name, content in files]
    return page.file_uploader(key=UPLOAD_KEY).set_value(listed).run()


def words_on(page: AppTest) -> str:
    assert not page.exception, page.exception
    kinds = (page.markdown, page.caption, page.success, page.warning, page.error, page.info)
    return "\n".join(element.value for kind in kinds for element in kind).replace("\\", "")


def open_book() -> bytes:
    return xlsx_bytes({"Results": [["Batch:", "B1"], *OPEN_SHEET]})


class Grid(HTMLParser):
    """What a browser would make of the picture: its elements and, per cell, kind, spoken text and content."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.cells: dict[str, tuple[str, str]] = {}
        self.texts: dict[str, str] = {}
        self._cell = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self.tags.append(tag)
        if tag == "td":
            self._cell = given.get("data-cell") or ""
            self.cells[self._cell] = (given.get("class") or "", given.get("aria-label") or "")

    def handle_data(self, data: str) -> None:
        if self.lasttag == "span" and self._cell:
            self.texts[self._cell] = data


@pytest.mark.parametrize("name", ["run_B2107_clean.xlsx", "run_B2108_trouble.xlsx", "commissioning_faults.xlsx"])
def test_legend_adds_up_to_the_cells_with_content(name: str) -> None:
    """The counts of the legend add up to the cells with content that openpyxl finds in the same file."""
    book = read_workbook(SAMPLES / name)
    cells = picture_cells(book, book.findings)
    sheets = openpyxl.load_workbook(SAMPLES / name).worksheets
    filled = {(sheet.title, cell.coordinate) for sheet in sheets for row in sheet.iter_rows() for cell in row
              if cell.value is not None}  # fmt: skip
    assert set(zip(cells["sheet"], cells["cell"], strict=True)) == filled
    counts = kind_counts(cells)
    assert sum(counts.values()) == len(filled) == book.cells
    told = [
        int(number.replace(",", "")) for number in re.findall(r"<strong>([\d,]+)</strong>", legend_html(counts, {}))
    ]
    assert sum(told) == len(filled)
    assert f"Together {len(filled):,} cells" in legend_html(counts, {})


def test_every_part_that_a_cell_can_play_has_a_kind_of_its_own() -> None:
    """No role that a column can have falls to the last kind by chance, and no role has two kinds."""
    roles = [role for kind in KINDS for role in kind.roles]
    assert len(roles) == len(set(roles))
    assert {role.replace("_", " ") for role in COLUMN_ROLES} - set(roles) == {"analyte"}, "an analyte column is results"


def test_kinds_are_told_by_words_and_never_by_colour_alone() -> None:
    """Each cell says its kind in a tag and to who hears it, and the stylesheet has no colour but the page's own."""
    from wqcheck.page.sheet_grid import STYLE

    assert not re.search(r"#[0-9a-f]{3,8}\b|rgb\(|hsl\(", STYLE)
    for kind in KINDS:
        if kind.name != "text":
            assert re.search(rf"\.{kind.name}\b", STYLE), f"{kind.name} has no pattern"
    book = read_workbook(SAMPLES / "run_B2108_trouble.xlsx")
    grid = Grid(grid_html(picture_cells(book, book.findings), range(1, 22), range(26), "Run"))
    tags = {kind.name: kind.tag for kind in KINDS}
    assert grid.cells["B7"][1].startswith("B7, stated (label value): B2108")
    assert all(tags[kind] in said for cell, (kind, said) in grid.cells.items() if cell)


def test_text_of_a_sheet_is_never_markup_in_the_picture() -> None:
    """Whatever a cell says is what is shown: no element, no attribute, no script comes from it."""
    wild = '<img src=x onerror="alert(1)">'
    book = read_rows(
        [["Sample", "Lead (mg/L)", wild], ["S-1", 0.1, '"><script>alert(2)</script>'], ["S-2", 0.2, "a&b"]]
    )
    cells = picture_cells(book, book.findings)
    drawn = grid_html(cells, [1, 2, 3], [0, 1, 2], wild) + legend_html(kind_counts(cells), {})
    grid = Grid(drawn)
    assert not {"img", "script"} & set(grid.tags)
    assert wild in grid.cells["C1"][1]
    assert html.escape(wild) in drawn


def test_findings_and_unread_cells_are_marked_and_can_be_shown_alone() -> None:
    """A cell with a letter O for a nought is unread, stands in its row when only those are shown, and has a sign."""
    book = read_rows(
        [["Sample", "Lead (mg/L)", "Shelf"], *[[f"S-{n}", 0.1, "x"] for n in range(60)], ["S-60", "O.5", ""]]
    )
    finding = Finding(code="x", severity=Severity.HOLD, message="look", where="book.xlsx|Results!B62")
    cells = picture_cells(book, [finding])
    row = cells[cells["cell"].eq("B62")].iloc[0]
    assert (row["kind"], row["sign"], row["row"], row["column"]) == ("unreadable", "hold", 62, 1)
    only = cells[cells["cell"].ne("C62") & cells["kind"].isin(["unreadable"])]
    assert picture_rows(only, 1, 40, unread_only=True) == [62]
    assert picture_rows(cells, 41, 40, unread_only=False) == list(range(41, 63))
    assert "unreadable" in NOT_READ
    assert "▲!" in grid_html(cells, [62], [1], "")


def test_bad_files_beside_a_good_one_lose_nothing_and_hold_the_batch(page: AppTest) -> None:
    """Each file that cannot be read gets its sentence; the good one is read; the batch is held until they are gone."""
    good = ("run.xlsx", (SAMPLES / "run_B2107_clean.xlsx").read_bytes())
    bad = [("no.xlsx", b"PK\x03\x04 not a zip"), ("none.csv", b""), ("secret.xlsx", PROTECTED)]
    upload(page, good, *bad)
    words = words_on(page)
    assert "no.xlsx is a damaged zip file" in words
    assert "none.csv is empty" in words
    assert "secret.xlsx is protected by a password" in words
    assert "HOLD: batch B2107" in words
    check = page.session_state[DESK_KEY].check
    assert len(check.readings) == 97
    assert sum("was not read" in reason.message for reason in check.decision.reasons) == 3
    upload(page, good)
    assert page.session_state[DESK_KEY].check.decision.disposition == Disposition.RELEASE


def test_only_bad_files_leave_no_batch(page: AppTest) -> None:
    upload(page, ("secret.xlsx", PROTECTED))
    assert "protected by a password" in words_on(page)
    assert DESK_KEY not in page.session_state


def test_sample_gives_the_desk_back_to_the_sheets_that_were_dropped(page: AppTest) -> None:
    """A sample takes the desk; without it the uploads, which the page still shows, lie there again."""
    upload(page, ("run.xlsx", (SAMPLES / "run_B2107_clean.xlsx").read_bytes()))
    page.pills(key=SAMPLE_KEY).set_value("B2108: in trouble").run()
    assert page.session_state[DESK_KEY].check.details.batch == "B2108"
    page.pills(key=SAMPLE_KEY).set_value(None).run()
    assert page.session_state[DESK_KEY].check.details.batch == "B2107"
    assert "plant_specification" not in words_on(page)


def test_batch_is_asked_only_where_no_sheet_names_it(page: AppTest) -> None:
    """Without a batch nothing is checked, but all is read; with its number the batch lies on the desk."""
    upload(page, ("sheet.xlsx", xlsx_bytes({"R": [["Sample", "Lead (mg/L)"], ["S-1", 0.001], ["S-2", 0.002]]})))
    assert DESK_KEY not in page.session_state
    assert "Results read: 2" in words_on(page)
    page.text_input(key=BATCH_KEY).set_value("B77").run()
    assert page.session_state[DESK_KEY].check.details.batch == "B77"
    upload(page, ("run.xlsx", (SAMPLES / "run_B2107_clean.xlsx").read_bytes()))
    assert not [field for field in page.text_input if field.key == BATCH_KEY]


def test_each_of_several_batches_is_told_by_its_day_and_number_of_results(page: AppTest) -> None:
    rows = [["Batch", "Sampled", "Lead (mg/L)"], ["B1", "2026-06-16", 0.001], ["B1", "2026-06-17", 0.001],
            ["B2", "2026-06-18", 0.002]]  # fmt: skip
    upload(page, ("sheet.xlsx", xlsx_bytes({"R": rows})))
    told = page.selectbox(key=WHICH_KEY).options
    assert told == ["B1, 2026-06-16 – 2026-06-17, results: 2", "B2, 2026-06-18, results: 1"]


def test_kind_of_water_of_the_sheet_comes_before_the_side_panel(page: AppTest) -> None:
    rows = [["Batch:", "B5"], ["Product kind:", "natural mineral"], ["Sample", "Lead (mg/L)"], ["S-1", 0.001]]
    upload(page, ("sheet.xlsx", xlsx_bytes({"R": rows})))
    assert page.session_state[DESK_KEY].check.details.product == "natural mineral"
    assert "natural mineral water (as the sheet says)" in words_on(page)


def answer_all(page: AppTest) -> int:
    """Answer every question that the page draws, keep the answers, and give how many there were."""
    taken: TakenSheets = page.session_state[TAKEN_KEY]
    book, asked = taken.books[0], taken.asked[0]
    fields = {field.key: field for field in (*page.radio, *page.selectbox, *page.number_input)}
    for question in asked:
        field = fields[answer_key(book, question)]
        assert field.value is None, "nothing is answered unasked"
        if question.kind == QuestionKind.COLUMN:
            field.set_value("arsenic" if question.given == "Arsenick" else NO_PARAMETER)
        else:
            answer = ANSWERS[question.kind]
            field.set_value(float(answer) if question.kind == QuestionKind.VOLUME else answer)
    page.button(key=KEEP_KEY).click().run()
    return len(asked)


def test_answers_are_kept_and_the_sheet_is_read_again(page: AppTest, tmp_path: Path) -> None:
    """Every question is answered; the layout is written, applied and named; what the answers open is asked next."""
    page.file_uploader(key=TRAIN_KEY).set_value(("train.toml", TRAIN.read_bytes(), "text/plain")).run()
    upload(page, ("sheet.xlsx", open_book()))
    first: TakenSheets = page.session_state[TAKEN_KEY]
    assert {question.kind for question in first.asked[0]} >= set(ANSWERS) | {QuestionKind.COLUMN}
    assert page.radio(key=PART_KEY).value == QUESTIONS
    number = answer_all(page)
    words = words_on(page)
    assert f"{number} answer(s) are kept in layouts/" in words
    assert "The sheet layout 'Sheets of Coast lab (invented)' was applied" in words
    second: TakenSheets = page.session_state[TAKEN_KEY]
    assert [(question.kind, question.given) for question in second.asked[0]] == [(QuestionKind.UNIT, "arsenic")]
    assert answer_all(page) == 1
    third: TakenSheets = page.session_state[TAKEN_KEY]
    assert third.asked == ((),)
    assert "The sheets leave nothing open" in words_on(page)
    arsenic = third.books[0].readings[third.books[0].readings[Readings.parameter].eq("arsenic")]
    assert list(arsenic[Readings.unit]) == ["µg/L", "µg/L"]
    (path,) = (tmp_path / "layouts").glob("*.toml")
    layout = load_layout(path)
    assert (layout.decimal, layout.dates["sampled_at"], layout.units["lead"].text) == (",", "dmy", "µg/L")
    assert "Open questions" not in path.read_text(encoding="utf-8"), "what is answered is no open question any more"


def test_no_answer_and_a_wrong_answer_write_nothing(page: AppTest, tmp_path: Path) -> None:
    """The button alone writes no file, and one wrong answer keeps the right ones from being written half."""
    upload(page, ("sheet.xlsx", open_book()))
    page.button(key=KEEP_KEY).click().run()
    assert "no question was answered" in words_on(page)
    taken: TakenSheets = page.session_state[TAKEN_KEY]
    asked = {question.kind: question for question in taken.asked[0]}
    answers = {asked[QuestionKind.UNIT]: "furlong", asked[QuestionKind.BASIS]: "NO3"}
    with pytest.raises(SheetLayoutError, match=r"1 answer\(s\) cannot be kept, so nothing was written"):
        keep_answers(taken.books[0], answers, tmp_path / "layouts")
    assert not (tmp_path / "layouts").exists()


def test_answers_for_one_sheet_never_hold_for_the_next_one_and_can_be_taken_back(page: AppTest) -> None:
    """The same bytes are read with them, other bytes under the same headings are not; taken back, it is asked again."""
    rows = [["Batch:", "B1"], ["Sample", "Lead (mg/L)", "E. coli"], ["S-1", 0.001, "absent"], ["S-2", 0.002, "absent"]]
    first, then = (xlsx_bytes({"R": rows}), xlsx_bytes({"R": [*rows, ["S-3", 0.003, "absent"]]}))
    upload(page, ("first.xlsx", first))
    (question,) = page.session_state[TAKEN_KEY].asked[0]
    assert [result.cell for result in question.waiting] == ["C3", "C4"]
    assert "**absent** (sample S-1, cell C3)" in words_on(page)
    assert "**every next sheet**" in words_on(page)
    page.number_input(key=answer_key(page.session_state[TAKEN_KEY].books[0], question)).set_value(250.0)
    page.button(key=ONCE_KEY).click().run()
    (book,) = page.session_state[TAKEN_KEY].books
    assert set(book.readings.loc[book.readings[Readings.parameter].eq("escherichia_coli"), Readings.volume_ml]) == {250}
    assert "It holds for this sheet only" in words_on(page)
    stamped = [stamp.kind for stamp in page.session_state[DESK_KEY].check.files]
    assert "sheet layout" in stamped, "the check says with which answers it was made"
    assert len(page.session_state[DESK_KEY].files) >= stamped.count("workbook") + stamped.count("sheet layout")
    upload(page, ("then.xlsx", then))
    assert [question.kind for question in page.session_state[TAKEN_KEY].asked[0]] == [QuestionKind.VOLUME]
    upload(page, ("again.xlsx", first))
    assert page.session_state[TAKEN_KEY].asked == ((),)
    assert page.table[0].value.iloc[0].tolist() == ["Volume examined", "Escherichia coli", "250 mL"]
    page.button(key=f"{BACK_KEY} {book.sha256[:16]}").click().run()
    assert [question.kind for question in page.session_state[TAKEN_KEY].asked[0]] == [QuestionKind.VOLUME]


def test_last_answers_of_a_kept_layout_are_taken_back_one_step_at_a_time(tmp_path: Path) -> None:
    def asked() -> set[QuestionKind]:
        return {question.kind for question in questions(read_workbook(("sheet.xlsx", open_book()), tmp_path))}

    every = asked()
    for kind, answer in ((QuestionKind.UNIT, "µg/L"), (QuestionKind.BASIS, "NO3")):
        book = read_workbook(("sheet.xlsx", open_book()), tmp_path)
        question = next(question for question in questions(book) if question.kind == kind)
        path = keep_answers(book, {question: answer}, tmp_path)
    assert every - asked() == {QuestionKind.UNIT, QuestionKind.BASIS}
    take_back(path)
    assert every - asked() == {QuestionKind.UNIT}
    away = take_back(path)
    assert asked() == every
    assert not load_layout(away).bases


def test_a_row_can_be_said_to_be_no_parameter_and_a_finding_says_so(tmp_path: Path) -> None:
    known, rain = [["Lead", 0.1, "mg/L"], ["Zinc", 1, "mg/L"]], ["Rain of the last day", 3, "mm"]
    rows = [["Parameter", "Result", "Unit"], known[0], rain, known[1]]
    content = xlsx_bytes({"R": rows})
    book = read_workbook(("sheet.xlsx", content))
    question = next(question for question in questions(book) if question.kind == QuestionKind.PARAMETER)
    keep_answers(book, {question: NO_PARAMETER}, tmp_path)
    again = read_workbook(("sheet.xlsx", content), tmp_path)
    assert list(again.readings[Readings.parameter]) == ["lead", "zinc"]
    (said,) = [finding for finding in again.findings if finding.code == "layout replaced"]
    assert said.given == "Rain of the last day"
    assert "B3" in set(again.ledger()["cell"])


def test_cells_without_a_result_are_counted_and_named(page: AppTest) -> None:
    """The empty nitrite cell of the sample plant in trouble, a test not done, and a row that gives no result."""
    page.pills(key=SAMPLE_KEY).set_value("B2108: in trouble").run()
    page.radio(key=PART_KEY).set_value(AS_READ).run()
    assert "1 more cells have no result**, not done or empty under a name of a parameter: Nitrite" in words_on(page)
    assert "(N15: empty)" in words_on(page)
    rows = b"Parameter;Result;Unit\nTurbidity;n.r.;NTU\nLead;0.1;mg/L\nZinc;;mg/L\nCopper;0.1;mg/L\n"
    upload(page, ("sheet.csv", rows))
    words = words_on(page)
    assert "Results read: 2, of them 0 unreadable" in words
    assert "**2 more cells have no result**" in words
    assert "Turbidity (B2: n.r.), Zinc (A4: empty)" in words


def test_words_of_one_parameter_are_one_question(page: AppTest) -> None:
    rows = [["Batch:", "B1"], ["Sample", "Zinc (mg/L)"], ["S-1", 0.1], ["S-2", "black"], ["S-3", "brown"], ["S-4", 0.2]]
    upload(page, ("sheet.xlsx", xlsx_bytes({"R": rows})))
    words = words_on(page)
    assert words.count("Word in place of a result: Zinc") == 1
    assert "Zinc: **black** (sample S-2, cell B4)" in words


def test_without_a_folder_answers_cannot_be_kept_and_the_page_says_so(page: AppTest) -> None:
    page.text_input(key=LAYOUTS_KEY).set_value("").run()
    upload(page, ("sheet.xlsx", open_book()))
    assert "Name a folder of sheet layouts" in words_on(page)
    assert page.button(key=KEEP_KEY).disabled


def test_later_answers_are_added_to_the_layout_and_the_file_before_stays(tmp_path: Path) -> None:
    """The file that was applied gets the new answers; as it was, by hand or not, it stays beside it."""

    def read(folder: Path | None) -> ReadResult:
        return read_workbook(("sheet.xlsx", open_book()), folder)

    first = read(None)
    unit = next(question for question in questions(first) if question.kind == QuestionKind.UNIT)
    path = keep_answers(first, {unit: "µg/L"}, tmp_path)
    path.write_text("# by hand\n" + path.read_text(encoding="utf-8"), encoding="utf-8")
    second = read(tmp_path)
    basis = next(question for question in questions(second) if question.kind == QuestionKind.BASIS)
    assert keep_answers(second, {basis: "NO3"}, tmp_path) == path
    layout = load_layout(path)
    assert (layout.units["lead"].text, layout.bases["nitrate"].text) == ("µg/L", "NO3")
    before = path.with_name(path.name + ".before").read_text(encoding="utf-8")
    assert before.startswith("# by hand")
    assert "bases" not in tomllib.loads(before)
    assert questions(read(tmp_path)), "the file before is no second layout of the folder"


def test_answers_for_a_table_without_headings_are_refused(tmp_path: Path) -> None:
    read = read_workbook(("list.csv", b"Lead,0.1\nZinc,0.2\n"))
    asked = questions(read)
    assert asked
    with pytest.raises(SheetLayoutError, match="no table has headings"):
        keep_answers(read, {asked[0]: "mg/L"}, tmp_path)
    assert not list(tmp_path.iterdir())


def test_chosen_cell_says_what_it_was_taken_for_and_how_it_was_read(page: AppTest) -> None:
    """A result shows parameter, value, unit and date; another cell its part and why; a far cell moves the window."""
    upload(page, ("run.xlsx", (SAMPLES / "run_B2107_clean.xlsx").read_bytes()))
    page.radio(key=PART_KEY).set_value(PICTURE).run()
    check = page.session_state[DESK_KEY].check
    row = check.readings[check.readings[Readings.parameter].eq("arsenic")].iloc[0]
    page.text_input(key=CELL_KEY).set_value(row[Readings.cell]).run()
    assert f"**{row[Readings.cell]}**" in words_on(page)
    table = page.table[-1].value.map(lambda text: str(text).replace("\\", ""))
    read = dict(zip(table.iloc[:, 0], table.iloc[:, 1], strict=True))
    assert (read["Parameter"], read["Unit"]) == ("Arsenic", row[Readings.unit])
    assert read["Sampled"].startswith("2026-")
    assert page.number_input(key=ROW_KEY).value == max(1, int(re.sub(r"\D", "", row[Readings.cell])) - 5)
    page.text_input(key=CELL_KEY).set_value("a1").run()
    assert re.search(r"Taken for \*\*(text|heading|label)\*\*: ", words_on(page))
    page.text_input(key=CELL_KEY).set_value("ZZ9").run()
    assert "ZZ9 is blank, or no cell of this sheet" in words_on(page)
    page.toggle(key=UNREAD_KEY).set_value(True).run()
    assert "every cell was read or is no result" in words_on(page)
