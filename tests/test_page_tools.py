"""What the commands can do for a batch the page can do too: required tests, forms, papers, parts, recall."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

from tests.record_stores import ADA, MEI, RUI, act
from wqcheck.batch import check_workbook
from wqcheck.page.batch_parts import KIND_KEY, PART_KEY, RETAINED, field_key
from wqcheck.page.due_tests import DUE_KEY
from wqcheck.page.lab_form import FORM_KEY
from wqcheck.page.main import VIEW_KEY
from wqcheck.page.paper_check import PAPER_KEY
from wqcheck.page.sheets_brought import KEPT_KEY
from wqcheck.page.start_view import SHEETS_BUTTON
from wqcheck.page.touched import NAME_KEY
from wqcheck.records.batches import batch
from wqcheck.records.certificates import document_file, issue
from wqcheck.records.decisions import decide, review
from wqcheck.records.intake import files_used, receive, take_in
from wqcheck.records.latest import latest_results
from wqcheck.records.standing import State
from wqcheck.records.store import Store, open_store
from wqcheck.release.decision import BatchDetails
from wqcheck.tables import Readings

SHEET = Path(__file__).parent.parent / "sample_results" / "run_B2107_clean.xlsx"
TABLES, DAY = ["who_gdwq_2022", "us_21cfr165_110b"], date(2026, 6, 18)


def script(*arguments: str) -> None:
    from wqcheck.page.main import main

    main(arguments)


def words_on(page: AppTest) -> str:
    assert not page.exception, page.exception
    kinds = (page.markdown, page.caption, page.success, page.warning, page.error, page.info)
    return "\n".join(element.value for kind in kinds for element in kind).replace("\\", "")


@pytest.fixture
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Store]:
    """Give records with one batch on hold, its notice, and a sheet that no check has used."""
    monkeypatch.chdir(tmp_path)
    kept = open_store(tmp_path / "records.sqlite")
    check = check_workbook(
        [SHEET], details=BatchDetails(batch="", product="purified"), limits=TABLES, train=None, rules=None, on=DAY,
        product="purified",
    )  # fmt: skip
    take_in(kept, check, act(ADA), files_used([SHEET], TABLES, None, None), on=DAY)
    review(kept, "B2107", act(RUI, minutes=1))
    decide(kept, "B2107", act(MEI, "invented", minutes=2), State.ON_HOLD)
    issue(kept, "B2107", act(MEI, minutes=3))
    receive(kept, [("later.csv", b"Sample,Lead (mg/L)\nS1,0.001\n")], act(ADA, minutes=4))
    yield kept
    kept.close()


def opened(view: str, *fold: str) -> AppTest:
    """Open a view of the page on these records, with some folds open."""
    arguments: Any = ("--store=records.sqlite", "--as=Ada")
    page = AppTest.from_function(script, args=arguments, default_timeout=180)
    page.session_state[VIEW_KEY] = view
    for key in fold:
        page.session_state[key] = True
    return page.run()


def test_start_leads_on_and_shows_no_digest_in_a_table(store: Store) -> None:
    """Each table has words above every column and times to the minute; the button brings the sheets to the desk."""
    page = opened("Start", DUE_KEY)
    assert "never tested" in words_on(page)
    tables: list[pd.DataFrame] = [table.value for table in page.table]
    assert ["File", "Received"] in [list(table.columns) for table in tables]
    told = " ".join(str(cell) for table in tables for cell in table.to_numpy().ravel())
    assert "+00:00" not in told
    assert not any("T08:" in str(cell) for table in tables for cell in table.to_numpy().ravel())
    due = page.dataframe[0].value
    assert set(due["State"]) == {"overdue", "never tested", "cannot be told"} & set(due["State"])
    assert set(due["Limit table"]) == {"US bottled water, 21 CFR 165.110(b)"}
    page.button(key=SHEETS_BUTTON).click().run()
    assert page.session_state[VIEW_KEY] == "Take in"
    assert [name for name, _ in page.session_state[KEPT_KEY]] == ["later.csv"]
    words_on(page)


def test_latest_results_are_those_of_the_sheet(store: Store) -> None:
    """Of each parameter and point the latest usable result up to a day; none before the first sampling day."""
    found = latest_results(store, DAY)
    readings = batch(store, "B2107").check.readings
    assert set(found[Readings.parameter]) <= set(readings[Readings.parameter])
    newest = found.groupby(Readings.parameter)[Readings.sampled_at].max()
    own = readings.groupby(Readings.parameter)[Readings.sampled_at].max()
    assert newest.eq(own[newest.index]).all()
    assert latest_results(store, date(2020, 1, 1)).empty


def test_form_for_the_laboratory_is_made(store: Store) -> None:
    """Of the tables and water of the side panel, as a workbook that opens."""
    page = opened("Take in", FORM_KEY)
    words_on(page)
    assert any(button.proto.label.startswith("Download the form (") for button in page.get("download_button"))


def test_paper_is_checked_and_a_changed_one_found(store: Store) -> None:
    """The PDF as issued is sound; one figure changed in the JSON is told."""
    number = str(batch(store, "B2107").documents["number"].iloc[0])
    page = opened("Release")
    data = document_file(store, number, "json")
    page.file_uploader(key=PAPER_KEY).set_value(("back.json", data, "application/json")).run()
    assert "Nothing wrong was found in back.json" in words_on(page)
    changed = data.replace(b"B2107", b"B2109")
    page.file_uploader(key=PAPER_KEY).set_value(("back.json", changed, "application/json")).run()
    assert "is not as it was issued" in words_on(page)
    page.file_uploader(key=PAPER_KEY).set_value(("back.json", b"no paper", "application/json")).run()
    assert "this is no PDF, JSON or workbook of a certificate" in words_on(page)


def test_retained_sample_is_recorded_and_an_unfinished_one_refused(store: Store) -> None:
    page = opened("Release")
    page.radio(key=field_key("B2107", KIND_KEY)).set_value(RETAINED).run()
    page.text_input(key=field_key("B2107", "code")).set_value("R-1").run()
    page.button(key=PART_KEY).click().run()
    assert "a retained sample needs what is kept" in words_on(page)
    page.text_input(key=field_key("B2107", "quantity")).set_value("6 bottles").run()
    page.text_input(key=field_key("B2107", "kept_at")).set_value("cold room").run()
    page.date_input(key=field_key("B2107", "until")).set_value(date(2027, 6, 1)).run()
    page.button(key=PART_KEY).click().run()
    assert "R-1 is recorded with batch B2107" in words_on(page)
    assert [part.code for part in batch(store, "B2107").parts] == ["R-1"]


def test_batches_that_rest_on_a_workbook_are_listed(store: Store) -> None:
    page = opened("Release")
    page.text_input(key=NAME_KEY).set_value("no such sample").run()
    assert "No recorded batch rests on it" in words_on(page)
    sample = str(batch(store, "B2107").check.readings[Readings.sample].dropna().iloc[0])
    page.text_input(key=NAME_KEY).set_value(sample).run()
    assert any("Documents" in table.value.columns and "B2107" in set(table.value["Batch"]) for table in page.table)
