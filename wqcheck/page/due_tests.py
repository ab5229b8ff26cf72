"""Turns the records and the panels of the chosen limit tables into which tests are overdue, due next, or in date."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pandas as pd
import streamlit as st

from wqcheck.errors import WqcheckError
from wqcheck.limit_tables.loading import limit_table
from wqcheck.page.checking import train_file
from wqcheck.page.office import Office
from wqcheck.page.settings import Settings
from wqcheck.page.shown import shown_table, table_title
from wqcheck.page.spoken import count_text, later, say
from wqcheck.page.table_choice import loaded
from wqcheck.page.words import plain, refusal_text, titled
from wqcheck.records.latest import latest_results
from wqcheck.release.due import State, due
from wqcheck.train.description import load_train

DUE_KEY = "required tests"
STATE_KEY = "required tests of a state"

STATES = {
    State.OVERDUE: later("overdue"),
    State.NO_RESULT: later("never tested"),
    State.NOT_KNOWN: later("cannot be told"),
    State.IN_DATE: later("in date"),
}
_COLUMNS = {
    "said": later("State"), "parameter": later("Parameter"), "last": later("Last result of"),
    "reported": later("Result"), "next_due": later("In date until"), "every": later("How often"),
    "water": later("Water"), "table": later("Limit table"), "clause": later("Clause"),
}  # fmt: skip


def draw_due_tests(office: Office, settings: Settings, on: date) -> None:
    """Draw the required tests behind a fold; they are looked up when it is opened."""
    box = st.expander(say("Required tests: what is overdue, in date, or was never done"), key=DUE_KEY,
                      on_change="rerun")  # fmt: skip
    if not box.open:
        return
    with box:
        try:
            found = due_tests(office, settings, on)
        except WqcheckError as refusal:
            st.error(refusal_text(refusal))
            return
        _draw(found)


def due_tests(office: Office, settings: Settings, on: date) -> pd.DataFrame:
    """Return what the chosen limit tables require and what the records hold of it (``DataFrame[Due]``).

    Raises
    ------
    wqcheck.errors.WqcheckError
        The records, a limit table or the train file cannot be read.
    """
    tables = [loaded(name) for name in settings.limits]
    tables += [limit_table(Path(name), content) for name, content in settings.own_tables]
    results = latest_results(office.store(), on)
    with train_file(settings) as path:
        train = load_train(path) if path else None
    return due(results, tables, product=settings.product, on=on, train=train)


def _draw(found: pd.DataFrame) -> None:
    if found.empty:
        st.info(say("The chosen limit tables come with no list of required tests. Your licence may ask for some."))
        return
    counts = found["state"].value_counts()
    there = [str(state) for state in STATES if str(state) in counts]
    st.markdown(" · ".join(f"{say(STATES[State(state)])} **{count_text(counts[state])}**" for state in there))
    wanted = st.multiselect(
        say("Show"), there, default=[state for state in there if state != State.IN_DATE], key=STATE_KEY,
        format_func=lambda state: say(STATES[State(state)]), placeholder=say("all"),
    )  # fmt: skip
    rows = found[found["state"].isin(wanted or there)]
    told = rows.assign(said=rows["state"].map(STATES), parameter=rows["parameter"].map(titled))
    headings = {name: say(word) for name, word in _COLUMNS.items()}
    shown = shown_table(told, headings, said=("said", "water"), named=("table",))
    st.dataframe(shown, hide_index=True, height=300, alt=say("Required tests"))
    tables = "; ".join(dict.fromkeys(table_title(name) for name in found["table"]))
    st.caption(plain(say("By {tables}, and the results in the records. Your licence and regulator prevail.",
                         tables=tables)))  # fmt: skip
