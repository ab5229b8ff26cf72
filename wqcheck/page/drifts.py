"""Turns what drifts in the records into a table with words, computed once for each state of the records."""

from __future__ import annotations

from datetime import date
from math import isfinite

import pandas as pd
import streamlit as st

from wqcheck.history_files.phrases import Row, figure, forecast_words, trend_words
from wqcheck.page.office import Office
from wqcheck.page.shown import figures_in, moment, table_title
from wqcheck.page.spoken import later, say, spoken
from wqcheck.page.words import plain, series_words
from wqcheck.records.drifting import drifting, newest_step
from wqcheck.records.period import state_of_checks
from wqcheck.records.store import Store
from wqcheck.statistics.drift import Drift
from wqcheck.statistics.trend import FEWEST

SHOWN_ROWS = 8
WORDS = {
    Drift.OVER: later("beyond the limit"),
    Drift.DRIFTING: later("drifting, though still passing"),
    Drift.LOOK: later("look at it"),
}
MEANING = later(
    "*Drifting, though still passing*: the last result passes, but its trend is significant and meets the limit within "
    "a year. *Look at it* is weaker: a rule of the control chart was broken in the last 30 days, on the limit's side."
)

LEFT_OUT = later(
    "Results of batches that were rejected or withdrawn are left out. A trend is told from {number} sampling days on."
)


def drifts_now(office: Office, on: date) -> pd.DataFrame:
    """Return what drifts on a day, as :func:`wqcheck.records.drifting.drifting` gives it.

    Raises
    ------
    wqcheck.errors.StoreError
        The store cannot be read.
    """
    store = office.store()
    return _drifting(store, office.place, (state_of_checks(store), newest_step(store)), on)


def draw_drifts(office: Office, on: date) -> None:
    """Draw the list of what drifts; nothing where nothing does."""
    with st.spinner(say("Looking for what drifts")):
        flags = drifts_now(office, on)
    if flags.empty:
        return
    st.markdown(f"**{say('What drifts ({number} series and limits)', number=len(flags))}**")
    st.table(drift_table(flags.head(SHOWN_ROWS)), hide_index=True)
    if len(flags) > SHOWN_ROWS:
        st.dataframe(drift_table(flags, marked=False), hide_index=True, height=240)
    st.caption(f"{say(MEANING)} {say(LEFT_OUT, number=FEWEST)}")


def drift_table(flags: pd.DataFrame, *, marked: bool = True) -> pd.DataFrame:
    """Write drift flags as a table in the language of the page; ``marked`` for a table that reads markup."""
    rows = [
        {
            say("Series"): f"{series_words(str(row['parameter']), row['point'])}: {_limit(row)}",
            say("What it does"): say(
                "{words}; last result {day}", words=say(WORDS[Drift(row["drift"])]), day=moment(row["last"])
            ),
            say("Trend"): figures_in(trend_words(row, spoken())),
            say("Reaches the limit about"): forecast_words(row, spoken()),
        }
        for row in flags.to_dict("records")
    ]
    table = pd.DataFrame(rows)
    return table.map(plain) if marked else table


def _limit(row: Row) -> str:
    """Write a limit from its ends."""
    low, high = (float(str(row[name])) for name in ("lower", "upper"))
    ends = [f"≥ {figure(low, 6)}" if isfinite(low) else "", f"≤ {figure(high, 6)}" if isfinite(high) else ""]
    return f"{figures_in(' '.join(filter(None, ends)))} {row['unit'] or ''} ({table_title(str(row['table']))})"


@st.cache_data(max_entries=8, show_spinner=False)
def _drifting(_store: Store, place: str, state: tuple[int, int], on: date) -> pd.DataFrame:
    """Compute what drifts; ``place`` and ``state`` tell one state of the records from another."""
    return drifting(_store, on)
