"""The history view draws what the records hold over all batches, says what drifts, and gives the summary."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pypdf
import pytest
from sqlalchemy import event
from streamlit.testing.v1 import AppTest

from tests.history_stores import FIRST_DAY, fill, hurry, year
from wqcheck.history_files.drawing import value_range
from wqcheck.page.history_charts import Shown, result_rows, series_chart
from wqcheck.page.history_summary import DAYS_KEY, FILES_KEY, PREPARE_KEY
from wqcheck.page.history_view import PARAMETER_KEY, POINT_KEY, SHOWN_KEY, SPAN_KEY
from wqcheck.page.main import VIEW_KEY
from wqcheck.records.period import verdicts_of
from wqcheck.records.store import Store, open_store
from wqcheck.statistics.drift import histories_of
from wqcheck.statistics.series_lines import series_lines

__all__ = ["year"]


def script(*arguments: str) -> None:
    from wqcheck.page.main import main

    main(arguments)


def opened(place: str) -> AppTest:
    """Open the history view on a store."""
    arguments: Any = (f"--store={place}",)
    page = AppTest.from_function(script, args=arguments, default_timeout=240).run()
    return page.radio(key=VIEW_KEY).set_value("History").run()


def words_on(page: AppTest) -> str:
    assert not page.exception, page.exception
    kinds = (page.markdown, page.caption, page.success, page.warning, page.error, page.info)
    said = "\n".join(element.value for kind in kinds for element in kind)
    tables = "\n".join(table.value.to_string() for table in page.table)
    return f"{said}\n{tables}".replace("\\", "")


def test_without_records_it_says_what_to_do(tmp_path: Path) -> None:
    assert "once batches are recorded" in words_on(opened(str(tmp_path / "none.sqlite")))


def test_series_are_picked_and_told_in_words(year: Store) -> None:
    """Limit, trend and broken rules stand in words; another point without limits, and averages, can be picked."""
    page = opened(year.name)
    page.multiselect(key=f"{PARAMETER_KEY} FP").set_value(["lead"]).run()
    said = words_on(page)
    assert "lead at FP" in said
    assert "≤ 10 µg/L" in said
    assert "a year (95 %: " in said
    assert "rule 1: a point more than 3 sigma" in said
    assert "does not say what will happen" in said
    figures = page.dataframe[-1].value
    assert len(figures) == 52
    assert set(figures["Unit"]) == {"µg/L"}
    assert set(figures["Verdict"]) == {"pass"}
    page.selectbox(key=POINT_KEY).set_value("SP6").run()
    assert "no limit in the tables that were used" in words_on(page)
    page.button_group(key=SHOWN_KEY).set_value(["running annual average"]).run()
    assert "Mann-Kendall, Sen" not in words_on(page)
    page.button_group(key=SPAN_KEY).set_value("everything").run()
    assert "electrical conductivity at SP6" in words_on(page)


def test_summary_is_prepared_and_offered(tmp_path: Path) -> None:
    store = open_store(tmp_path / "records.sqlite")
    event.listen(store.engine, "connect", hurry)
    fill(store, tmp_path, weeks=3)
    store.close()
    page = opened(store.name)
    page.date_input(key=DAYS_KEY).set_value((FIRST_DAY.replace(day=1), FIRST_DAY.replace(day=31))).run()
    page.button(key=PREPARE_KEY).click().run()
    words_on(page)
    files = page.session_state[FILES_KEY][1]
    assert [Path(name).suffix for name in files] == [".pdf", ".xlsx", ".json"]
    printed = pypdf.PdfReader(io.BytesIO(files["summary_2025-01-01_2025-01-31.pdf"])).pages[0].extract_text()
    assert "Summary of 2025-01-01 to 2025-01-31" in printed
    assert len(page.get("download_button")) == 3


@pytest.mark.parametrize("code", ["lead", "aluminium", "ph"])
def test_chart_holds_every_result_and_its_limit(year: Store, code: str) -> None:
    """Non-detects are marked apart with both ends, and the drawing holds every result."""
    lines = series_lines(histories_of(verdicts_of(year, FIRST_DAY, FIRST_DAY.replace(month=12), None, (code, "FP")))[0])
    rows = result_rows(lines)
    assert len(rows) == len(lines.history.days)
    assert rows["result"].str.startswith("<").eq(rows["below"]).all()
    low, high = value_range(lines)
    assert rows[["low", "high"]].to_numpy().min() >= low
    assert rows[["low", "high"]].to_numpy().max() <= high
    drawn = series_chart(lines, Shown(averages=True)).to_dict()
    held = [value for rows in drawn["datasets"].values() for value in rows]
    if code == "lead":
        assert any(value.get("name") == "limit 10" for value in held)
    assert any(value.get("name") == "centre" for value in held)
