"""Turns the records of a period into the summary to download."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from pathlib import Path

import streamlit as st

from wqcheck.errors import WqcheckError
from wqcheck.history_files.data import report_data
from wqcheck.history_files.gathering import SeriesKey, summarise
from wqcheck.history_files.period import Period
from wqcheck.history_files.writing import summary_files
from wqcheck.page.office import Office
from wqcheck.page.papers import MIMES
from wqcheck.page.spoken import say
from wqcheck.page.words import message_text
from wqcheck.records.period import batches_of

DAYS_KEY = "summary days"
PREPARE_KEY = "prepare the summary"
FILES_KEY = "prepared summary"


def draw_summary(office: Office, last: str, today: date, chosen: Sequence[SeriesKey]) -> None:
    """Draw the period, the button that prepares its summary, and the files to download.

    Parameters
    ----------
    office : Office
    last : str
        Day of the last result (ISO 8601): its month is offered first.
    today : date
        The day if that one is not known.
    chosen : sequence of (str, str)
        Parameter and point of the series on the page: they are drawn in the summary too.
    """
    st.markdown(f"##### {say('Summary of a period')}")
    st.caption(say(
        "Batches with their decisions, statistics of every series, what is beyond a limit, what drifts, and charts: as "
        "a PDF that holds its data, a workbook and JSON. The series picked above are drawn in it too."
    ))  # fmt: skip
    found = date.fromisoformat(last) if last[:1].isdigit() else today
    until = (found.replace(day=28) + timedelta(days=4)).replace(day=1) - timedelta(days=1)
    days = st.date_input(
        say("First and last day of the summary"), (until.replace(day=1), until), key=DAYS_KEY, width=320
    )
    ends: tuple[date, ...] = tuple(days) if isinstance(days, tuple) else (days,)
    asked = (ends, tuple(chosen))
    if st.button(say("Prepare the summary"), key=PREPARE_KEY, type="primary", disabled=len(ends) != 2):
        try:
            with st.spinner(say("Reading the records of the period")):
                period = Period(ends[0], ends[-1])
                empty = batches_of(office.store(), period.since, period.until).empty
                files = {} if empty else _files(office, period, chosen)
            if empty:
                st.warning(say("No batch lies in this period, so there is nothing to sum up."))
            st.session_state[FILES_KEY] = (asked, files)
        except WqcheckError as refusal:
            st.error(message_text(refusal))
    prepared, files = st.session_state.get(FILES_KEY, (None, {}))
    if prepared == asked and files:
        _draw_downloads(files)


def _files(office: Office, period: Period, chosen: Sequence[SeriesKey]) -> dict[str, bytes]:
    found = summarise(office.store(), period, chosen=chosen)
    now = datetime.now().astimezone().isoformat(timespec="seconds")
    return summary_files(report_data(found, number=f"summary_{period.since}_{period.until}", issued_at=now))


def _draw_downloads(files: dict[str, bytes]) -> None:
    with st.container(horizontal=True):
        for name, content in files.items():
            form = Path(name).suffix
            st.download_button(
                say("Download {form}", form=form.removeprefix(".").upper()), content, file_name=name,
                mime=MIMES[form], key=f"download summary {form}", on_click="ignore",
            )  # fmt: skip
