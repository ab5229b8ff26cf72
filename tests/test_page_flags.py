"""The view of flags lists what asks for a person worst first, opens each, keeps remarks, and freezes on no size."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

from tests.table_rows import readings_of
from wqcheck.batch import check_workbook
from wqcheck.languages.catalogues import PAGE, PAGE_LANGUAGES, catalogue
from wqcheck.page.checking import DESK_KEY, Desk
from wqcheck.page.flag_cell import cells_markup
from wqcheck.page.flag_detail import KEEP_KEY, REMARK_KEY
from wqcheck.page.flag_history import ABOVE, BELOW, MEASURED, history_chart, history_points, marks_of
from wqcheck.page.flags_view import AFTER_KEY, FILTERS, LIST_KEY, PER_PAGE, filter_key
from wqcheck.page.lookup import BY_CELL, PARAMETER_KEY, WAY_KEY
from wqcheck.page.lookup import CELL_KEY as LOOKUP_CELL_KEY
from wqcheck.page.spoken import LANGUAGE_KEY
from wqcheck.records.batches import batch
from wqcheck.records.intake import NamedBytes, files_used, take_in
from wqcheck.records.remarks import about_flag, remark_at
from wqcheck.records.roles import Act, load_people
from wqcheck.records.store import Store, open_store
from wqcheck.release.decision import BatchCheck, BatchDetails
from wqcheck.release.flags import FlagKind, Flags
from wqcheck.release.next_steps import DEFERENCE, step_rows
from wqcheck.sheets import read_books
from wqcheck.sheets.opening import open_book
from wqcheck.sheets.surroundings import surroundings
from wqcheck.tables import Judged

SAMPLES = Path(__file__).resolve().parent.parent / "sample_results"
TRAIN = SAMPLES / "train.toml"
TABLES: list[str | Path] = ["us_21cfr165_110b", SAMPLES / "plant_specification.csv"]
DAY = date(2026, 6, 18)


def checked(path: Path) -> tuple[Desk, list[NamedBytes]]:
    """Check one workbook of the sample plant, as it would lie on the desk."""
    books = read_books(path)
    check = check_workbook(
        books, details=BatchDetails(batch="", product="purified"), limits=TABLES, train=TRAIN, rules=None, on=DAY,
        product="purified",
    )  # fmt: skip
    files = files_used([path], TABLES, TRAIN, None)
    return Desk(key=str(path), check=check, files=tuple(files), on=DAY, books=books), files


@pytest.fixture(scope="module")
def trouble() -> tuple[Desk, list[NamedBytes]]:
    return checked(SAMPLES / "run_B2108_trouble.xlsx")


def script(place: str) -> None:
    from pathlib import Path

    from wqcheck.page.flags_view import draw_flags
    from wqcheck.page.office import Office, draw_said
    from wqcheck.plant_settings import PlantSettings
    from wqcheck.records.roles import load_people

    people = load_people(None)
    draw_said()
    draw_flags(
        Office(
            place=str(Path(place)), people=people, person=people.named("Rui"), plant=PlantSettings(),
            plant_file=Path("plant.toml"),
        )
    )  # fmt: skip


def opened(place: Path, desk: Desk | None = None) -> AppTest:
    """Open the view on a store, with a batch on the desk or without."""
    page = AppTest.from_function(script, args=(str(place),), default_timeout=120)
    if desk is not None:
        page.session_state[DESK_KEY] = desk
    return page.run()


def words_on(page: AppTest) -> str:
    assert not page.exception, page.exception
    kinds = (page.markdown, page.caption, page.success, page.warning, page.error, page.info)
    return "\n".join(element.value for kind in kinds for element in kind).replace("\\", "")


@pytest.fixture
def place(tmp_path: Path) -> Path:
    return tmp_path / "records.sqlite"


@pytest.fixture
def recorded(place: Path, trouble: tuple[Desk, list[NamedBytes]]) -> Iterator[Store]:
    """Give a store with the batch in trouble, and one earlier batch."""
    store = open_store(str(place))
    act = Act(by=load_people(None).named("Ada"), at=datetime(2026, 6, 18, 6, 0, tzinfo=UTC))
    for desk, files in (checked(SAMPLES / "run_B2107_clean.xlsx"), trouble):
        take_in(store, desk.check, act, files, on=DAY)
    yield store
    store.close()


def test_no_batch_is_said(place: Path) -> None:
    assert "No batch is in hand" in words_on(opened(place))


@pytest.mark.parametrize("language", [language for language in PAGE_LANGUAGES if language != "en"])
def test_what_to_do_next_is_said_in_the_language_of_the_page(
    language: str, place: Path, trouble: tuple[Desk, list[NamedBytes]]
) -> None:
    """The steps of the first flag are translated, and so is the sentence that defers to regulator and licence."""
    page = AppTest.from_function(script, args=(str(place),), default_timeout=120)
    page.session_state[DESK_KEY], page.session_state[LANGUAGE_KEY] = trouble[0], language
    words, say = words_on(page.run()), catalogue(language, PAGE)
    steps = [*(row.step.text for row in step_rows()), DEFERENCE.text]
    assert [step for step in steps if step in words] == []
    said = [step for step in steps if say(step) in words]
    assert DEFERENCE.text in said
    assert len(said) > 1


def test_flags_stand_worst_first_with_their_units(place: Path, trouble: tuple[Desk, list[NamedBytes]]) -> None:
    page = opened(place, trouble[0])
    options = [text.replace("\\", "") for text in page.radio(key=LIST_KEY).options]
    assert options[0] == "1. Arsenic: 14 µg/L"
    assert options[1:3] == ["2. Escherichia coli", "3. Lead: <10 µg/L"]
    assert len(options) == PER_PAGE
    said = words_on(page)
    assert "1** reject the batch" in said
    assert "Out of limit **1**" in said
    page.button(key=AFTER_KEY).click().run()
    assert page.radio(key=LIST_KEY).options[0].startswith("11")


def test_what_was_not_tested_is_one_line_that_counts_per_table(
    place: Path, trouble: tuple[Desk, list[NamedBytes]]
) -> None:
    """It stands in no list of flags, whole behind a fold and in the files; a required gap is not repeated there."""
    page = opened(place, trouble[0])
    assert not any("not tested" in option for option in page.multiselect(key=filter_key(Flags.kind)).options)
    assert any(box.label.startswith("Have a limit and were not tested: ") for box in page.expander)
    listed = next(text.value for text in page.markdown if text.value.startswith("**US bottled water"))
    assert "Benzene" in listed
    assert "Escherichia coli" not in listed
    assert "entries, with each limit and what was not tested" in words_on(page)


def test_a_missing_test_says_its_limits_and_has_their_class(
    place: Path, trouble: tuple[Desk, list[NamedBytes]]
) -> None:
    """Whoever filters for microbiology sees the missing E. coli; what to order stands there with its volume."""
    page = opened(place, trouble[0])
    page.multiselect(key=filter_key(Flags.limit_class)).set_value(["microbiological"]).run()
    assert page.radio(key=LIST_KEY).options[0] == "1. Escherichia coli"
    said = words_on(page)
    assert "Order the test so that the result can be set beside these limits" in said
    assert "US bottled water, 21 CFR 165.110(b): **absent in 100 mL**" in said
    assert "leads to release" not in said


def test_any_result_is_explained_by_name_and_by_cell(place: Path, trouble: tuple[Desk, list[NamedBytes]]) -> None:
    """Also one that passes; a cell without a result gets its sentence."""
    page = opened(place, trouble[0])
    page.session_state["explain a result"] = True
    page.run()
    page.selectbox(key=PARAMETER_KEY).set_value("nitrate").run()
    assert "**pass**" in words_on(page)
    page.radio(key=WAY_KEY).set_value(BY_CELL).run()
    page.text_input(key=LOOKUP_CELL_KEY).set_value("Q16").run()
    assert words_on(page).count("**as given:** '14' for 'Arsenic'") >= 2
    page.text_input(key=LOOKUP_CELL_KEY).set_value("A1").run()
    assert "no judged result has cell A1" in words_on(page)


def test_filters_show_how_many_and_leave_the_others_out(place: Path, trouble: tuple[Desk, list[NamedBytes]]) -> None:
    page = opened(place, trouble[0])
    page.button(key=AFTER_KEY).click().run()
    box = page.multiselect(key=filter_key(Flags.kind))
    assert "Out of limit (1)" in box.options
    box.set_value([str(FlagKind.REQUIRED)]).run()
    assert page.radio(key=LIST_KEY).options == ["1. Escherichia coli"]
    assert page.radio(key=LIST_KEY).value == 0
    page.multiselect(key=filter_key(Flags.table)).set_value(["plant_specification"]).run()
    assert page.radio(key=LIST_KEY).options == ["1. Escherichia coli"], "what is missing carries the tables that ask"
    page.multiselect(key=filter_key(Flags.limit_class)).set_value(["acceptability"]).run()
    assert "No flag fits all of these filters" in words_on(page)
    page.multiselect(key=filter_key(Flags.limit_class)).set_value([]).run()
    page.multiselect(key=filter_key(Flags.kind)).set_value([]).run()
    assert any("Enterococci" in option for option in page.radio(key=LIST_KEY).options)
    assert set(FILTERS) == {Flags.kind, Flags.limit_class, Flags.table, Flags.stage, Flags.point}


def test_a_flag_opens_with_its_working_and_what_to_do(place: Path, trouble: tuple[Desk, list[NamedBytes]]) -> None:
    said = words_on(opened(place, trouble[0]))
    order = ["1. **as given:** '14' for 'Arsenic'", "**conversion:** µg/L → mg/L: × 0.001",
             "**limit:** at most 10 µg/L (0.01 mg/L in the text",
             "**decision rule:**", "**verdict:** Out of limit: reported 14"]  # fmt: skip
    assert [said.index(part) for part in order] == sorted(said.index(part) for part in order)
    assert "1. Do not ship." in said
    assert "The local regulator, the plant's licence and licensed practice prevail" in said
    assert "Remarks are kept with the records" in said


def test_the_limit_that_was_not_read_in_the_official_text_is_said(
    place: Path, trouble: tuple[Desk, list[NamedBytes]]
) -> None:
    check = trouble[0].check
    assert "not verified against the official text" not in words_on(opened(place, trouble[0]))
    doubted = replace(check, judged=Judged.validate(check.judged.assign(**{Judged.evidence: "memory"})))
    said = words_on(opened(place, replace(trouble[0], key="doubted", check=doubted)))
    assert "**evidence:** not verified against the official text: memory" in said


def test_the_cell_stands_in_its_sheet_marked_by_text_and_frame(
    place: Path, trouble: tuple[Desk, list[NamedBytes]]
) -> None:
    page = opened(place, trouble[0])
    markup = next(element.proto.body for element in page.get("html") if 'class="cells"' in element.proto.body)
    assert '<td class="marked">▶&nbsp;14&nbsp;◀</td>' in markup
    assert "outline: 3px solid" in markup
    assert "Arsenic" in markup


def test_text_of_the_sheet_is_escaped(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for row in (["Sample", "Lead"], ["<script>alert(1)</script>", '<img src=x onerror="y">']):
        sheet.append(row)
    book.save(tmp_path / "a.xlsx")
    around = surroundings(open_book(tmp_path / "a.xlsx").sheets, "Sheet", "B2", [1])
    assert around is not None
    markup = cells_markup(around, "<b>a.xlsx</b>")
    assert "<script" not in markup
    assert "<img" not in markup
    assert "<b>" not in markup
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in markup


def test_a_recorded_batch_shows_cell_history_and_remark(place: Path, recorded: Store) -> None:
    """The cell is read from the recorded bytes, the history from the records; a remark is kept and shown again."""
    page = opened(place)
    assert any("▶&nbsp;14&nbsp;◀" in element.proto.body for element in page.get("html"))
    said = words_on(page)
    assert "4 results: 3 measured (filled circles), 1 not detected (open circles" in said
    about = about_flag("run_B2108_trouble.xlsx|Run B2108!Q16", "arsenic")
    page.text_area(key=f"{REMARK_KEY} {about}").set_value("Called the laboratory; *retest* on Friday.").run()
    page.button(key=KEEP_KEY).click().run()
    said = words_on(page)
    assert "The remark is kept with batch B2108" in said
    assert "Called the laboratory; *retest* on Friday.  \n*rui, " in said
    kept = batch(recorded, "B2108").remarks
    assert list(zip(kept["about"], kept["text"], kept["person"], strict=True)) == [
        (about, "Called the laboratory; *retest* on Friday.", "rui")
    ]
    assert words_on(opened(place)).count("Called the laboratory") == 1


def test_a_remark_from_the_library_is_shown_with_its_flag(place: Path, recorded: Store) -> None:
    act = Act(by=load_people(None).named("Rui"), at=datetime(2026, 6, 18, 7, 0, tzinfo=UTC))
    assert remark_at(recorded, "b2108", act, "Bottle was warm.", cell="Q16").endswith("Q16 (arsenic)")
    assert "Bottle was warm." in words_on(opened(place))


def test_a_blank_remark_is_refused(place: Path, recorded: Store) -> None:
    page = opened(place)
    page.button(key=KEEP_KEY).click().run()
    assert "the remark is blank" in words_on(page)
    assert batch(recorded, "B2108").remarks.empty


def test_files_and_table_are_offered(place: Path, trouble: tuple[Desk, list[NamedBytes]]) -> None:
    page = opened(place, trouble[0])
    words_on(page)
    assert [button.proto.label for button in page.get("download_button")] == [
        "Download all as CSV", "Download all as XLSX",
    ]  # fmt: skip
    assert len(page.dataframe[0].value) == PER_PAGE


def test_nothing_flagged_says_what_that_does_not_mean(place: Path, trouble: tuple[Desk, list[NamedBytes]]) -> None:
    desk = trouble[0]
    check = desk.check
    calm = replace(
        check, judged=Judged.validate(check.judged[check.judged[Judged.verdict].eq("pass")].reset_index(drop=True)),
        findings=(), decision=replace(check.decision, reasons=(), missing=(), not_tested=()),
    )  # fmt: skip
    said = words_on(opened(place, replace(desk, key="calm", check=calm)))
    assert "Nothing is flagged in batch B2108" in said
    assert "does not say that the water is fit to drink" in said


def test_history_marks_what_is_not_exact(place: Path) -> None:
    """A non-detect is an open mark with a line from zero; what cannot be drawn is counted."""
    rows: list[dict[str, Any]] = [
        {"value": 4.0, "sampled_at": pd.Timestamp(2026, 1, 1), "batch": "B1"},
        {"value": 10.0, "sign": "<", "sampled_at": pd.Timestamp(2026, 2, 1), "batch": "B2"},
        {"value": 20.0, "sign": ">", "sampled_at": pd.Timestamp(2026, 3, 1), "batch": "B2"},
        {"value": 3.0, "batch": "B2"},
        {"value": 3.0, "unit": "NTU", "sampled_at": pd.Timestamp(2026, 3, 1)},
    ]
    readings = readings_of([{"parameter": "lead", "unit": "µg/L", **row} for row in rows])
    points, left_out = history_points(readings, "mg/L", "", "b2")
    assert left_out == 2
    assert list(points["kind"]) == [MEASURED, BELOW, ABOVE]
    assert list(points["drawn"]) == [0.004, 0.01, 0.02]
    assert (points["low"][1], list(points["ours"])) == (0.0, [False, True, True])
    chart = history_chart(points, (float("nan"), 0.005), "mg/L").to_dict()
    assert [layer["mark"]["type"] for layer in chart["layer"]] == ["rule", "point", "rule", "text"]


def test_absences_stand_on_the_zero_line_with_their_volume() -> None:
    """None found in 100 mL is no count of 2.5 in 250 mL; the axis names the year."""
    rows = [
        {"parameter": "pseudomonas_aeruginosa", "reported": "Absent", "sign": "absent", "unit": "CFU",
         "volume_ml": 100.0, "sampled_at": pd.Timestamp(2026, 6, 17, hour)}
        for hour in (7, 9, 11)
    ]  # fmt: skip
    points, left_out = history_points(readings_of(rows), "CFU/250 mL", "", "B")
    assert left_out == 0
    assert list(points["drawn"]) == [0.0] * 3
    assert marks_of(points) == {"none found in 100 mL (open circles on the zero line)": 3}
    chart = json.dumps(history_chart(points, (float("nan"), float("nan")), "CFU/250 mL").to_dict())
    assert '"%Y-%m-%d %H:%M"' in chart
    assert '"domain": [0, 1]' in chart


def test_a_hundred_thousand_flags_draw_one_page(place: Path, trouble: tuple[Desk, list[NamedBytes]]) -> None:
    """The view lists and opens within seconds, and sends one page of rows."""
    desk = trouble[0]
    times = 100_000 // len(desk.check.judged) + 1
    judged = desk.check.judged
    books = [judged.assign(**{Judged.workbook: f"{number}.xlsx"}) for number in range(times)]
    many: BatchCheck = replace(desk.check, judged=Judged.validate(pd.concat(books, ignore_index=True)))
    page = opened(place, replace(desk, key="many", check=many))
    assert len(page.radio(key=LIST_KEY).options) == PER_PAGE
    begun = time.perf_counter()
    page.button(key=AFTER_KEY).click().run()
    assert time.perf_counter() - begun < 10
    assert len(page.dataframe[0].value) == PER_PAGE
