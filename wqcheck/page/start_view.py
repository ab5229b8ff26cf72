"""Turns what the records say of today into the view that a morning begins with."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import pandas as pd
import streamlit as st

from wqcheck.page.drifts import draw_drifts
from wqcheck.page.office import Office
from wqcheck.page.spoken import later, say
from wqcheck.page.words import plain
from wqcheck.records.batches import SOON, Waiting, waiting
from wqcheck.release.decision import CAUTION

SAMPLE_BUTTON = "sample plant at the start"
SHOWN_ROWS = 12
_COLUMNS = {
    "batch": later("Batch"), "product": later("Water"), "since": later("Since"), "person": later("By"),
    "recommended": later("Recommended"), "name": later("Name"), "sha256": "SHA-256", "received": later("Received"),
    "code": later("Code"), "what": later("What"), "until": later("Until"),
}  # fmt: skip
_SAID = ("product", "recommended", "what")
_OF_A_BATCH = ("batch", "product", "since", "person", "recommended")


def draw_start(office: Office, try_sample: Callable[[], None], open_batch: Callable[[str], None]) -> None:
    """Draw what waits on this day; where nothing was recorded yet, offer the sample plant.

    Parameters
    ----------
    office : Office
    try_sample : callable
        Opens the sample plant.
    open_batch : callable
        Opens the decision on a batch.

    Raises
    ------
    wqcheck.errors.StoreError
        The store cannot be read.
    """
    st.markdown(f"##### {say('What waits today')}")
    if not office.exists:
        _draw_empty(try_sample, say("No batch was recorded here yet. The records are made with the first one."))
        return
    with st.spinner(say("Looking into the records")):
        found = waiting(office.store(), date.today())
    if all(frame.empty for frame in _lists(found).values()):
        _draw_empty(try_sample, say("Nothing waits: no batch is open, no sheet is left over, nothing falls due soon."))
        draw_drifts(office, date.today())
        return
    above = st.container()
    for title, frame in _lists(found).items():
        _draw_list(title, frame, open_batch)
    with above:
        draw_drifts(office, date.today())
    st.caption(plain(say(CAUTION)))


def _lists(found: Waiting) -> dict[str, pd.DataFrame]:
    """Give each list under its title, in the order of work."""
    return {
        say("To review"): found.received,
        say("Reviewed, to decide"): found.under_review,
        say("On hold"): found.on_hold,
        say("Released, certificate not issued"): found.without_document,
        say("Sheets that no check has used"): found.sheets,
        say("Falls due within {days} days, or is overdue", days=SOON.days): found.due,
    }


def _draw_list(title: str, frame: pd.DataFrame, open_batch: Callable[[str], None]) -> None:
    """Draw one list; batches open with a button."""
    if frame.empty:
        return
    st.markdown(f"**{title}** ({len(frame)})")
    columns = [name for name in _OF_A_BATCH if name in frame] if "state" in frame else list(frame)
    said = {name: frame[name].map(say) for name in _SAID if name in columns}
    shown = frame[columns].assign(**said).rename(columns={name: say(word) for name, word in _COLUMNS.items()})
    st.table(shown.head(SHOWN_ROWS).astype("str").map(plain), hide_index=True)
    if len(frame) > SHOWN_ROWS:
        st.dataframe(shown, hide_index=True, height=240, alt=title)
    if "state" in frame:
        with st.container(horizontal=True):
            for batch in frame["batch"].head(SHOWN_ROWS):
                st.button(
                    say("Open {batch}", batch=plain(batch)),
                    key=f"open {title} {batch}",
                    on_click=open_batch,
                    args=(batch,),
                )


def _draw_empty(try_sample: Callable[[], None], words: str) -> None:
    """Say that there is nothing, and offer the sample plant."""
    next_step = say("Take in the laboratory's sheets, or look at the sample plant first.")
    st.info(f"{words} {next_step}")
    st.button(say("Try the sample plant (invented)"), key=SAMPLE_BUTTON, type="primary", on_click=try_sample)
    st.caption(plain(say(CAUTION)))
