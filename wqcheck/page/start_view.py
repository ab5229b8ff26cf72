"""Turns what the records say of today into the view that a morning begins with."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from functools import partial

import pandas as pd
import streamlit as st

from wqcheck.page.drifts import draw_drifts
from wqcheck.page.due_tests import draw_due_tests
from wqcheck.page.office import Office
from wqcheck.page.settings import Settings
from wqcheck.page.sheets_brought import bring_kept
from wqcheck.page.shown import shown_table
from wqcheck.page.spoken import count_text, later, say
from wqcheck.page.ways import draw_way, go
from wqcheck.page.words import STATE_WORDS, plain
from wqcheck.records.batches import SOON, Waiting, batches, waiting

SAMPLE_BUTTON = "sample plant at the start"
TAKE_IN_BUTTON = "take sheets in at the start"
SHEETS_BUTTON = "take the kept sheets in"
SHOWN_ROWS = 12
_OF_A_BATCH = {
    "batch": later("Batch"), "product": later("Water"), "since": later("Since"), "person": later("By"),
    "recommended": later("Recommended"),
}  # fmt: skip
_OF_A_SHEET = {"name": later("File"), "received": later("Received")}
_OF_WHAT_IS_DUE = {
    "batch": later("Batch"), "what": later("What"), "code": later("Code"), "until": later("Until"),
}  # fmt: skip
_LATEST = {
    "batch": later("Batch"), "state": later("State"), "since": later("Since"), "person": later("By"),
    "product": later("Water"), "volume": later("Volume"), "recommended": later("Recommended"),
}  # fmt: skip
LATEST = 10
_SAID, _TIMES = ("product", "recommended", "what"), ("since", "received", "until")


def draw_start(office: Office, settings: Settings, try_sample: Callable[[], None]) -> None:
    """Draw what waits on this day; where nothing was recorded yet, offer the sample plant.

    Parameters
    ----------
    office : Office
    settings : Settings
        Their limit tables say which tests are required.
    try_sample : callable
        Opens the sample plant.

    Raises
    ------
    wqcheck.errors.StoreError
        The store cannot be read.
    """
    st.markdown(f"##### {say('What waits today')}")
    if not office.exists:
        _draw_empty(try_sample, say("No batch was recorded here yet."))
        return
    with st.spinner(say("Looking into the records")):
        found = waiting(office.store(), date.today())
    if _nothing_in(found):
        st.info(say("No batch is open, no sheet is left over, no sample or panel on record ends soon."))
    draw_way(say("Take in laboratory sheets"), "Take in", key=TAKE_IN_BUTTON, main=True)
    _draw_batches(say("To review"), found.received, say("Review {batch}"))
    _draw_batches(say("Reviewed, to decide"), found.under_review, say("Decide {batch}"))
    _draw_batches(say("On hold"), found.on_hold, say("Open {batch}"))
    _draw_batches(say("Released, certificate not issued"), found.without_document, say("Issue for {batch}"))
    _draw_batches(say("Rejected, notice not issued"), found.without_notice, say("Issue for {batch}"))
    _draw_sheets(office, found.sheets)
    _draw_due(found.due)
    draw_due_tests(office, settings, date.today())
    _draw_latest(office)
    draw_drifts(office, date.today())


def _nothing_in(found: Waiting) -> bool:
    return all(getattr(found, name).empty for name in found.__slots__)


def _draw_batches(title: str, frame: pd.DataFrame, label: str) -> None:
    """Draw one list of batches, each opened by a button; ``label`` has the place ``{batch}``."""
    if frame.empty:
        return
    oldest_first = frame.sort_values("since", kind="stable")
    _draw_list(title, oldest_first, _OF_A_BATCH)
    _draw_openers(oldest_first["batch"], label, title)


def _draw_openers(batches: pd.Series[str], label: str, title: str) -> None:
    """Draw a button for each batch, or one choice for all where they are many."""
    names = list(dict.fromkeys(batches))
    if len(names) > SHOWN_ROWS:
        choice, button = st.columns([3, 1], vertical_alignment="bottom")
        chosen = choice.selectbox(say("Batch"), names, key=f"choose {title}")
        with button:
            draw_way(say("Open"), "Release", key=f"open {title}", batch=chosen)
        return
    with st.container(horizontal=True):
        for name in names:
            draw_way(label.replace("{batch}", plain(name)), "Release", key=f"open {title} {name}", batch=name)


def _draw_sheets(office: Office, sheets: pd.DataFrame) -> None:
    """Draw the sheets that no check has used, and the button that brings all of them to the desk."""
    if sheets.empty:
        return
    _draw_list(say("Sheets that no check has used"), sheets, _OF_A_SHEET)
    digests = tuple(sheets["sha256"])
    st.button(say("Take these sheets in"), key=SHEETS_BUTTON, on_click=partial(_bring, office, digests))
    with st.expander(say("Digests (SHA-256) of these files")):
        st.markdown("\n".join(f"- {plain(row['name'])}: `{row['sha256']}`" for row in sheets.to_dict("records")))


def _bring(office: Office, digests: tuple[str, ...]) -> None:
    bring_kept(office, digests)
    go("Take in")


def _draw_due(due: pd.DataFrame) -> None:
    """Draw the samples and panels whose last day comes or has passed, and the ways to their batches."""
    if due.empty:
        return
    title = say("Falls due within {days} days, or is overdue", days=SOON.days)
    _draw_list(title, due, _OF_WHAT_IS_DUE)
    _draw_openers(due["batch"], say("Open {batch}"), title)


def _draw_list(title: str, frame: pd.DataFrame, headings: dict[str, str]) -> None:
    """Draw one list once: in full where it is short, scrolling where it is long."""
    shown = shown_table(frame, {name: say(word) for name, word in headings.items()}, said=_SAID, times=_TIMES)
    st.markdown(f"**{title}** ({count_text(len(frame))})")
    if len(frame) > SHOWN_ROWS:
        st.dataframe(shown, hide_index=True, height=300, alt=title)
    else:
        st.table(shown.map(plain), hide_index=True)


def _draw_latest(office: Office) -> None:
    """Draw the batches that changed last, with where they stand."""
    listed = batches(office.store())
    if listed.empty:
        return
    with st.expander(say("The batches that changed last ({shown} of {all})", shown=min(LATEST, len(listed)),
                         all=count_text(len(listed)))):  # fmt: skip
        words = {str(state): say(word) for state, word in STATE_WORDS.items()}
        latest = listed.head(LATEST)
        told = latest.assign(state=latest["state"].map(words))
        headings = {name: say(word) for name, word in _LATEST.items()}
        st.table(shown_table(told, headings, said=_SAID, times=_TIMES).map(plain), hide_index=True)


def _draw_empty(try_sample: Callable[[], None], words: str) -> None:
    """Say that there is nothing, and offer what to do."""
    next_step = say("Take in the laboratory's sheets, or look at the sample plant first.")
    st.info(f"{words} {next_step}")
    with st.container(horizontal=True):
        draw_way(say("Take in laboratory sheets"), "Take in", key=TAKE_IN_BUTTON, main=True)
        st.button(say("Try the sample plant (invented)"), key=SAMPLE_BUTTON, on_click=try_sample)
