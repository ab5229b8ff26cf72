"""Turns the checked batch on the desk into a record, signed by the one who takes it in."""

from __future__ import annotations

from functools import partial

import streamlit as st

from wqcheck.page.checking import Desk
from wqcheck.page.in_hand import RECORDED_KEY, is_recorded, take_in_hand
from wqcheck.page.office import Office, do, draw_refusal
from wqcheck.page.spoken import say
from wqcheck.page.ways import draw_way
from wqcheck.page.words import plain
from wqcheck.records.batches import batches
from wqcheck.records.intake import take_in

RECORD_KEY = "record the batch"
GO_ON_KEY = "go on to the release"


def why_again_key(batch: str) -> str:
    """Give the key of the field for the reason to record a batch again; each batch has its own."""
    return f"reason for taking in again {batch}"


def draw_recording(office: Office, desk: Desk) -> None:
    """Draw the button that records the batch on the desk; a batch that is recorded already needs a reason.

    Raises
    ------
    wqcheck.errors.StoreError
        The records cannot be read.
    """
    batch = desk.check.details.batch
    if is_recorded(desk):
        st.success(say("Batch {batch} is recorded as it lies here.", batch=plain(batch)))
        draw_way(say("Go on to review and decision"), "Release", key=GO_ON_KEY, batch=batch, main=True)
        return
    listed = set(batches(office.store())["batch"].str.casefold()) if office.exists else set()
    with st.container(border=True):
        st.markdown(
            say("On the desk: batch **{batch}**, checked, recommended: **{disposition}**. It is not recorded yet: "
                "after a reload of the page it is gone.",
                batch=plain(batch), disposition=say(str(desk.check.decision.disposition)))
        )  # fmt: skip
        if batch.casefold() in listed:
            st.text_input(
                say("The batch was recorded before. Reason for recording it again:"), key=why_again_key(batch)
            )
        st.button(
            say("Record batch {batch}", batch=plain(batch)), key=RECORD_KEY, type="primary",
            on_click=do, args=(partial(_record, office, desk), RECORD_KEY),
        )  # fmt: skip
        draw_refusal(RECORD_KEY)


def _record(office: Office, desk: Desk) -> str:
    batch = desk.check.details.batch
    act = office.act(st.session_state.get(why_again_key(batch), ""))
    version = take_in(office.store(create=True), desk.check, act, desk.files, on=desk.on)
    st.session_state[RECORDED_KEY] = desk.key
    take_in_hand(batch)
    return say(
        "Batch {batch} is recorded (check {version}). Next: a reviewer signs the review.",
        batch=plain(batch), version=version,
    )  # fmt: skip
