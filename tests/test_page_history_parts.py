"""Statistics and the records themselves, in the history view, are those of the command line."""

from __future__ import annotations

import io
import zipfile
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

from tests.history_stores import FIRST_DAY, WEEKS, year
from tests.table_rows import readings_of
from wqcheck.page.checking import DESK_KEY
from wqcheck.page.history_readings import DAYS_KEY, SOURCE_KEY
from wqcheck.page.history_records import ANCHOR_KEY, COPIES_KEY, VERIFY_KEY
from wqcheck.page.history_statistics import (
    COUNTED_KEY,
    PARAMETERS_KEY,
    PASSES_KEY,
    POINT_KEY,
    statistics_words,
    verdict_words,
)
from wqcheck.page.history_view import PART_KEY, RECORDS, STATISTICS
from wqcheck.page.main import VIEW_KEY
from wqcheck.page.settings import TABLES_KEY
from wqcheck.page.sheets_brought import SAMPLE_KEY
from wqcheck.records.log import head
from wqcheck.records.store import Store
from wqcheck.records.verify import verify
from wqcheck.statistics.series import statistics_by_point
from wqcheck.statistics.series_judging import JudgedSeries

__all__ = ["year"]


def script(*arguments: str) -> None:
    from wqcheck.page.main import main

    main(arguments)


def opened(place: str, part: str) -> AppTest:
    """Open one part of the history on a store."""
    arguments: Any = (f"--store={place}",)
    page = AppTest.from_function(script, args=arguments, default_timeout=240)
    page.session_state[VIEW_KEY] = "History"
    page.session_state[PART_KEY] = part
    page.session_state[DAYS_KEY] = (FIRST_DAY, date(2026, 1, 31))
    return page.run()


def words_on(page: AppTest) -> str:
    assert not page.exception, page.exception
    kinds = (page.markdown, page.caption, page.success, page.warning, page.error, page.info)
    said = "\n".join(element.value for kind in kinds for element in kind)
    return f"{said}\n".replace("\\", "") + "\n".join(table.value.to_string() for table in page.table)


def table_with(page: AppTest, heading: str) -> pd.DataFrame:
    assert not page.exception, page.exception
    return next(frame.value for frame in page.dataframe if heading in frame.value)


def test_statistics_are_those_of_the_library(year: Store) -> None:
    """Every series of the year stands there with its counts; parameters and points can be picked."""
    page = opened(year.name, STATISTICS)
    table = table_with(page, "95th percentile")
    lead = table[table["Parameter"].eq("Lead") & table["Point"].eq("FP")].iloc[0]
    assert (lead["Results"], lead["First"]) == (str(WEEKS), "2025-01-06")
    aluminium = table[table["Parameter"].eq("Aluminium")].iloc[0]
    assert aluminium["Detected"] == "0"
    page.multiselect(key=PARAMETERS_KEY).set_value(["lead"]).run()
    page.selectbox(key=POINT_KEY).set_value("FP").run()
    assert list(table_with(page, "95th percentile")["Parameter"]) == ["Lead"]
    page.segmented_control(key=COUNTED_KEY).set_value("their limit").run()
    words_on(page)
    assert page.get("download_button")


def test_verdicts_on_series_show_what_fails_first(year: Store) -> None:
    """The nitrate that was too high once takes a share of the year out of the limit: 51 of 52."""
    page = opened(year.name, STATISTICS)
    page.multiselect(key=TABLES_KEY).set_value(["eu_2020_2184"]).run()
    shown = table_with(page, "What is judged")
    nitrate = shown[shown["Parameter"].eq("Nitrate")].iloc[0]
    assert (nitrate["Verdict"], nitrate["Limit table"]) == ("fail", "EU, Directive 2020/2184")
    assert nitrate["Figure"] == "98.08 %"
    page.checkbox(key=PASSES_KEY).set_value(True).run()
    assert "pass" in set(table_with(page, "What is judged")["Verdict"])
    page.multiselect(key=TABLES_KEY).set_value([]).run()
    assert "without them no series is judged" in words_on(page)


def test_figures_have_their_bounds_in_brackets() -> None:
    """Three non-detects and one result: mean 0.25 with nothing, 1.0 with the limit of 1 mg/L each, by hand."""
    rows = [
        {"parameter": "iron", "sign": sign, "value": 1.0, "unit": "mg/L", "reported": f"{sign}1",
         "sampled_at": pd.Timestamp(2025, month, 1), "point": "FP"}
        for month, sign in enumerate("<<<=", start=1)
    ]  # fmt: skip
    table = statistics_words(statistics_by_point(readings_of(rows)))
    assert table["Mean"][0].endswith("[0.25; 1]")
    assert (table["Results"][0], table["Not detected"][0]) == ("4", "3")


def test_shares_are_percent_and_open_ends_are_bounds() -> None:
    rows = [
        ("iron", "FP", "own", "share within the limit", "all", 4, 0, 0, 0.5, 0.75, 1.0, "mg/L", "1", "health",
         "undetermined", "r"),
        ("iron", "FP", "own", "percentile", "all", 4, 0, 0, 3.0, float("inf"), 1.0, "mg/L", "1", "health", "fail", "r"),
    ]  # fmt: skip
    columns = list(JudgedSeries.to_schema().columns)
    shown = verdict_words(pd.DataFrame(rows, columns=columns))
    assert list(shown["Figure"]) == ["≥ 3 mg/L", "50–75 %"]
    assert list(shown["Verdict"]) == ["fail", "undetermined"]


def test_records_are_verified_and_copied(year: Store) -> None:
    """The head on the page is that of the store, and the backup is sound."""
    page = opened(year.name, RECORDS)
    with year.reading() as connection:
        assert str(head(connection)) in words_on(page)
    page.button(key=VERIFY_KEY).click().run()
    assert "Sound: nothing differs" in words_on(page)
    assert not verify(year).found
    page.text_input(key=ANCHOR_KEY).set_value("17:wrong").run()
    page.button(key=VERIFY_KEY).click().run()
    assert "an anchor is written NUMBER:HASH" in words_on(page)
    page.button(key="prepare records_backup.zip").click().run()
    words_on(page)
    content = page.session_state[f"{COPIES_KEY} records_backup.zip"][1]
    assert "manifest.json" in zipfile.ZipFile(io.BytesIO(content)).namelist()


@pytest.mark.parametrize("part", [STATISTICS, RECORDS])
def test_without_records_each_part_says_what_to_do(part: str, tmp_path: Path) -> None:
    said = words_on(opened(str(tmp_path / "none.sqlite"), part))
    assert "No batch is in hand" in said or "No batch was recorded here yet" in said


def test_the_batch_in_hand_has_statistics_too(tmp_path: Path) -> None:
    """The sample plant on the desk, nothing recorded."""
    page = AppTest.from_function(script, args=(f"--store={tmp_path / 'none.sqlite'}",), default_timeout=240)
    page.session_state[VIEW_KEY] = "Take in"
    page.run()
    page.button_group(key=SAMPLE_KEY).set_value("B2107: in order").run()
    assert DESK_KEY in page.session_state
    page.session_state[PART_KEY] = STATISTICS
    page.radio(key=VIEW_KEY).set_value("History").run()
    assert page.radio(key=SOURCE_KEY).value == "the batch in hand"
    assert len(table_with(page, "95th percentile")) > 10
