"""Turns a cell, or a sample and a parameter, into the working of that result beside each of its limits."""

from __future__ import annotations

import streamlit as st

from wqcheck.errors import WqcheckError
from wqcheck.explanation import explain, rows_at
from wqcheck.page.flag_detail import draw_steps
from wqcheck.page.in_hand import InHand
from wqcheck.page.shown import table_title
from wqcheck.page.spoken import kept, later, say
from wqcheck.page.words import plain, refusal_text, titled
from wqcheck.tables import Judged

WAY_KEY, CELL_KEY = "way to a result", "cell to explain"
SAMPLE_KEY, PARAMETER_KEY = "sample to explain", "parameter to explain"
BY_NAME, BY_CELL = later("By sample and parameter"), later("By its cell")


def draw_lookup(hand: InHand) -> None:
    """Draw the working of any result of the batch in hand, also of one that passes."""
    box = st.expander(say("Explain any result, also one that passes"), key="explain a result", on_change="rerun")
    if not box.open:
        return
    with box:
        way = st.radio(
            say("Find it"), (BY_NAME, BY_CELL), horizontal=True, key=kept(WAY_KEY), format_func=say,
            label_visibility="collapsed",
        )  # fmt: skip
        asked = _draw_cell() if way == BY_CELL else _draw_names(hand)
        if not any(asked.values()):
            return
        try:
            rows = rows_at(hand.check.judged, **asked)
        except WqcheckError as nothing:
            st.info(refusal_text(nothing))
            return
        named = rows[[Judged.parameter, Judged.parameter_text, Judged.table]].fillna("").to_numpy()
        for (code, text, table), told in zip(named, explain(rows, hand.check.decision_rules), strict=True):
            beside = table_title(str(table)) or say("no limit")
            st.markdown(
                f"**{plain(titled(code, text))}** · {plain(beside)} · **{say(told.verdict)}** · *{plain(told.where)}*"
            )
            draw_steps(told.steps)


def _draw_cell() -> dict[str, str]:
    cell = st.text_input(say("Cell, as in F12 or Sheet!F12"), key=CELL_KEY)
    return {"cell": cell.strip()}


def _draw_names(hand: InHand) -> dict[str, str]:
    """Ask for sample and parameter among those of the batch."""
    judged = hand.check.judged
    left, right = st.columns(2)
    samples = sorted(judged[Judged.sample].dropna().unique())
    sample = left.selectbox(say("Sample"), samples, index=None, key=SAMPLE_KEY, placeholder=say("any")) or ""
    own = judged[judged[Judged.sample].eq(sample)] if sample else judged
    codes = sorted(own[Judged.parameter].dropna().unique(), key=lambda code: titled(code).casefold())
    hint = say("choose a parameter")
    parameter = right.selectbox(
        say("Parameter"), codes, index=None, format_func=titled, key=PARAMETER_KEY, placeholder=hint
    )
    return {"sample": sample, "parameter": parameter} if parameter else {}
