"""Turns readings of all batches into which required tests are in date, and into the next request to the laboratory."""

from __future__ import annotations

from datetime import date

import pandas as pd
import streamlit as st

from wqcheck.batch import SHIPPED_RULES
from wqcheck.certificate.lines import parameter_name
from wqcheck.errors import WqcheckError
from wqcheck.forms.blank_form import blank_form, required_only
from wqcheck.forms.workbook import form_bytes
from wqcheck.page.checking import train_file
from wqcheck.page.history_readings import draw_readings, rules_file, table_files, tables_chosen, train_chosen
from wqcheck.page.history_statistics import draw_csv
from wqcheck.page.limits_compare import BOOK_TYPE
from wqcheck.page.office import Office
from wqcheck.page.settings import Settings
from wqcheck.page.shown import shown_table
from wqcheck.page.spoken import later, say
from wqcheck.page.words import message_text, plain, sentence
from wqcheck.release.due import State, due
from wqcheck.release.rules import load_release_rules
from wqcheck.shipped_files import shipped_folder

ON_KEY = "day of the due tests"
VOLUME_KEY = "volume a day"
REQUIRED_KEY = "only what is required"
PREPARE_KEY = "prepare the request"
FORM_KEY = "request sheet"
_HEADINGS = {
    "state": later("State"), "parameter": later("Parameter"), "water": later("Sampled of"), "every": later("Every"),
    "last": later("Last"), "reported": later("Result"), "next_due": later("Stands until"),
    "table": later("Limit table"), "clause": later("Clause"), "reason": later("Why"),
}  # fmt: skip
_WORDS = {State.OVERDUE: later("overdue"), State.NO_RESULT: later("no result"), State.NOT_KNOWN: later("not known"),
          State.IN_DATE: later("in date")}  # fmt: skip


def draw_due(office: Office, settings: Settings, today: date) -> None:
    """Draw which required tests are overdue, without a result or in date, and the request sheet for the next ones.

    Raises
    ------
    wqcheck.errors.WqcheckError
        The records cannot be read, or a chosen file is not usable.
    """
    left, right = st.columns(2, gap="medium")
    on = left.date_input(say("On the day"), today, key=ON_KEY, persist_state="session")
    volume = right.number_input(
        say("Water produced, m³ a day"), min_value=0.0, value=None, key=VOLUME_KEY, persist_state="session",
        placeholder=say("not known"), help=say("Some panels ask for more samples of a larger plant."),
    )  # fmt: skip
    found = draw_readings(office, today)
    tables = tables_chosen(settings)
    if not tables:
        st.info(say("Choose limit tables in the side panel: their panels say what must be tested how often."))
    elif found is not None:
        day = on if isinstance(on, date) else today
        table = due(
            found.readings, tables, product=settings.product, on=day, volume=volume, train=train_chosen(settings)
        )
        _draw_table(table)
    _draw_each_batch(settings)
    _draw_request(settings)


def _draw_table(table: pd.DataFrame) -> None:
    if table.empty:
        st.info(say("No panel is known for these tables and this kind of water. That does not mean that nothing has to "
                    "be tested: ask the regulator."))  # fmt: skip
        return
    counts = table["state"].value_counts()
    st.markdown(" · ".join(f"**{counts.get(state, 0)}** {say(word)}" for state, word in _WORDS.items()))
    shown = table.sort_values(
        "state", key=lambda words: words.map({str(state): place for place, state in enumerate(State)}), kind="stable"
    )
    st.dataframe(due_words(shown), hide_index=True, height=min(420, 75 + 35 * len(table)), alt=say("Required tests"))
    st.caption(say("The regulator and the plant's licence may ask for more: a panel is the least that its text names."))
    draw_csv(table, "tests_due.csv", say("Download as CSV"))


def due_words(table: pd.DataFrame) -> pd.DataFrame:
    """Return the rows of :func:`wqcheck.release.due.due` as they are shown."""
    shown = table.assign(
        parameter=[sentence(parameter_name(str(code))) for code in table["parameter"]],
        state=[say(_WORDS[State(state)]) for state in table["state"]],
        water=[say("finished water") if water == "product" else say("source water") for water in table["water"]],
    )
    return shown_table(shown, {name: say(word) for name, word in _HEADINGS.items()}, named=("table",))


def _draw_each_batch(settings: Settings) -> None:
    """Say what the release rules require of each batch of this water."""
    with rules_file(settings) as rules:
        required = load_release_rules(rules or shipped_folder("limits") / SHIPPED_RULES).required
    entries = required.get(settings.product, ())
    named = [say(" or ").join(parameter_name(code) for code in entry) for entry in entries]
    st.markdown(
        say("**Each batch** (release rules): {parameters}", parameters=plain(", ".join(named)) or say("nothing"))
    )


def _draw_request(settings: Settings) -> None:
    """Draw the blank request sheet for the laboratory, which is read back as it is."""
    st.markdown("##### " + say("Request sheet for the laboratory"))
    st.caption(say("A blank workbook with every parameter that the chosen tables limit, its unit and limit, and the "
                   "points of your train. The laboratory fills it in; Take in reads it as it is."))  # fmt: skip
    required = st.checkbox(say("Only what the release rules require"), key=REQUIRED_KEY, persist_state="session")
    asked_for = (settings.limits, settings.product, settings.on, required, settings.own_tables, settings.train,
                 settings.sample_train, settings.rules)  # fmt: skip
    if st.button(say("Prepare the request sheet"), key=PREPARE_KEY, disabled=not settings.limits):
        try:
            st.session_state[FORM_KEY] = (asked_for, _form(settings, required=required))
        except WqcheckError as error:
            st.error(message_text(error))
    kept, content = st.session_state.get(FORM_KEY, (None, b""))
    if kept == asked_for:
        name = f"request_{settings.product.replace(' ', '_')}_{settings.on:%Y-%m-%d}.xlsx"
        st.download_button(say("Download {name}", name=name), content, file_name=name, mime=BOOK_TYPE,
                           key="download the request", on_click="ignore")  # fmt: skip


def _form(settings: Settings, *, required: bool) -> bytes:
    with table_files(settings) as limits, train_file(settings) as train, rules_file(settings) as rules:
        asked = blank_form(limits, product=settings.product, train=train, rules=rules, on=settings.on)
    return form_bytes(required_only(asked) if required else asked)
