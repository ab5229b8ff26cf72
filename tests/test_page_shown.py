"""What the page shows of times, numbers, limit tables and whole tables follows the plant's settings."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime

import numpy as np
import pandas as pd
import pytest
import streamlit as st

from wqcheck.limit_tables.loading import shipped_tables
from wqcheck.page.shown import figures_in, moment, number, shown_table, table_title, titles_in
from wqcheck.page.spoken import LANGUAGE_KEY, begin_as


@pytest.fixture
def french() -> Iterator[None]:
    """Choose French with its own numbers and dates, as settings can."""
    begin_as("fr", "local", "local")
    yield
    for key in list(st.session_state):
        del st.session_state[key]


def test_moment_is_told_to_the_minute_without_letters() -> None:
    """ISO 8601 texts lose the T, the seconds and the zone; what is no time stays as it is."""
    at = datetime(2026, 11, 30, 6, 12, 5).astimezone()
    assert moment(at.isoformat()) == moment(at) == "2026-11-30 06:12"
    assert moment("2026-11-30") == moment(date(2026, 11, 30)) == moment(datetime(2026, 11, 30)) == "2026-11-30"
    assert (moment("soon"), moment(None), moment(pd.NaT)) == ("soon", "", "")


@pytest.mark.usefixtures("french")
def test_settings_reach_times_and_numbers() -> None:
    """French writes a comma and names the month (Unicode CLDR, locale fr); a clause keeps its points."""
    assert moment(datetime(2026, 11, 30, 6, 12).astimezone()) == "30 nov. 2026, 06:12"
    assert (number(0.015), number(np.nan), figures_in("≤ 0.01 mg/L, 3.1.2")) == ("0,015", "", "≤ 0,01 mg/L, 3.1.2")


def test_points_stay_until_the_settings_say_otherwise() -> None:
    """Choosing a language alone changes no number."""
    st.session_state[LANGUAGE_KEY] = "fr"
    assert number(0.015) == "0.015"
    del st.session_state[LANGUAGE_KEY]


def test_table_has_headings_in_words_and_no_raw_cell() -> None:
    """Columns without a heading are left out, and what is missing is blank."""
    table = pd.DataFrame(
        {
            "at": ["2026-11-30T06:12:05", None], "value": [1.25, np.nan], "state": ["on hold", None],
            "table": ["who_gdwq_2022", "our_plant"], "sha256": ["0", "1"],
            "day": pd.to_datetime(pd.Series(["2026-01-02", None])),
        }
    )  # fmt: skip
    headings = {"day": "Day", "at": "When", "value": "Value", "state": "State", "table": "Limit table", "gone": "Gone"}
    shown = shown_table(table, headings, times=["at"], said=["state"], named=["table"])
    assert list(shown.columns) == ["Day", "When", "Value", "State", "Limit table"]
    assert shown.to_numpy().tolist() == [
        ["2026-01-02", "2026-11-30 06:12", "1.25", "on hold", "WHO guidelines, 2022"],
        ["", "", "", "", "our plant (own)"],
    ]


def test_each_shipped_table_has_a_title_of_its_own() -> None:
    """No two are called the same, and none by its file."""
    titles = {name: table_title(name) for name in shipped_tables()}
    assert len(set(titles.values())) == len(titles)
    assert not any(name in title for name, title in titles.items())
    assert table_title("") == ""


def test_sentences_name_tables_by_their_titles() -> None:
    """An own table keeps its file name, also where a shipped one has the same."""
    said = titles_in("lead is above 10 µg/L [limit table who_gdwq_2022]; see us_21cfr165_110b.csv and who_gdwq_2022b")
    assert said == (
        "lead is above 10 µg/L [limit table WHO guidelines, 2022]; see US bottled water, 21 CFR 165.110(b) and "
        "who_gdwq_2022b"
    )
    assert table_title("who_gdwq_2022", own=True) == "who gdwq 2022 (own)"
