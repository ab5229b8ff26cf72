"""Turns a sample, laboratory, workbook or limit that is in doubt into the recorded batches that rest on it."""

from __future__ import annotations

import streamlit as st

from wqcheck.errors import WqcheckError
from wqcheck.page.office import Office
from wqcheck.page.shown import shown_table
from wqcheck.page.spoken import later, say, worded
from wqcheck.page.words import STATE_WORDS, plain, refusal_text
from wqcheck.records.touched import Touch, batches_touched_by

KIND_KEY, NAME_KEY = "kind in doubt", "name in doubt"
_COLUMNS = {
    "batch": later("Batch"), "state": later("State"), "checks": later("Checks"), "documents": later("Documents"),
}  # fmt: skip


def draw_touched(office: Office) -> None:
    """Draw the question which batches rest on something, and the answer."""
    if not office.exists:
        return
    with st.expander(say("Which batches rest on a sample, laboratory, workbook or limit?")):
        left, right = st.columns([1, 2])
        kinds = list(Touch)
        kind = left.selectbox(say("In doubt is a"), kinds, format_func=say, key=worded(KIND_KEY)) or kinds[0]
        name = right.text_input(say("Its name, code or file"), key=NAME_KEY).strip()
        if not name:
            return
        try:
            found = batches_touched_by(office.store(), kind, name)
        except WqcheckError as refusal:
            st.error(refusal_text(refusal))
            return
        if found.empty:
            st.info(say("No recorded batch rests on it. Look whether it is written as in the sheets."))
            return
        told = found.assign(state=found["state"].map({str(state): say(word) for state, word in STATE_WORDS.items()}))
        st.table(shown_table(told, {name: say(word) for name, word in _COLUMNS.items()}).map(plain), hide_index=True)
