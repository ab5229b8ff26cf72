"""Turns the batch in hand into its decision: what stands against it, the signed steps, and its numbered documents."""

from __future__ import annotations

from functools import partial

import pandas as pd
import streamlit as st

from wqcheck.certificate.data import from_json
from wqcheck.certificate_files.letterhead import PLAIN, load_letterhead
from wqcheck.certificate_files.preview import page_images
from wqcheck.page.checking import Desk
from wqcheck.page.decision import draw_decision, draw_headline, draw_rules
from wqcheck.page.in_hand import draw_in_hand
from wqcheck.page.office import Office, do
from wqcheck.page.papers import MIMES, draw_draft, next_steps
from wqcheck.page.recording import draw_recording
from wqcheck.page.shown import moment, shown_table
from wqcheck.page.spoken import later, say
from wqcheck.page.ways import draw_way
from wqcheck.page.words import plain
from wqcheck.records.batches import BatchRecord
from wqcheck.records.certificates import PaperStyle, document_file, issue, withdraw, withdrawal_file
from wqcheck.records.decisions import MEANINGS, STEPS, decide
from wqcheck.records.standing import State
from wqcheck.release.decision import BatchCheck, Disposition

REASON_KEY = "written reason"
TAKE_IN_KEY = "take sheets in from the release"
ISSUE_KEY = "issue the document"
DOCUMENT_KEY = "document shown"

_BUTTONS = {
    State.UNDER_REVIEW: later("Sign the review"),
    State.RELEASED: later("Release this batch"),
    State.ON_HOLD: later("Put on hold"),
    State.REJECTED: later("Reject"),
    State.WITHDRAWN: later("Withdraw"),
}
_OF_A_STEP = {
    "version": later("No."), "at": later("When"), "state": later("State"), "meaning": later("Meaning"),
    "name": later("Signed by"), "person": later("Person"), "check_version": later("Check"), "reason": later("Reason"),
    "override": later("Against the recommendation"),
}  # fmt: skip
_OF_A_REMARK = {
    "at": later("When"), "person": later("Person"), "about": later("About"), "text": later("Remark"),
}  # fmt: skip


def draw_release(office: Office) -> None:
    """Draw the batch in hand: on the desk it is recorded, in the records it is reviewed, decided and documented.

    Raises
    ------
    wqcheck.errors.WqcheckError
        The store cannot be read.
    """
    st.markdown(f"##### {say('Release')}")
    hand = draw_in_hand(office)
    if hand is None:
        st.info(say("No batch is on the desk or recorded. Take in a sheet, look at its flags, then record the batch."))
        draw_way(say("Take in laboratory sheets"), "Take in", key=TAKE_IN_KEY, main=True)
    elif hand.record is not None:
        _draw_record(office, hand.record)
    elif hand.desk is not None:
        _draw_desk(office, hand.desk)


def _draw_desk(office: Office, desk: Desk) -> None:
    """Draw the batch on the desk: what is recommended, the button that records it, why, and a draft."""
    draw_headline(desk.check)
    draw_recording(office, desk)
    _draw_reasons(desk.check)
    draw_draft(desk)


def _draw_reasons(check: BatchCheck) -> None:
    title = say("Reasons, and what to do next")
    with st.expander(title, expanded=check.decision.disposition != Disposition.RELEASE):
        draw_decision(check.decision, next_steps(check))
    draw_rules(check.decision_rules)


def _draw_record(office: Office, record: BatchRecord) -> None:
    """Draw one recorded batch: where it stands, what is against it, the next steps, its history and documents."""
    now = record.standing
    draw_headline(record.check)
    st.markdown(
        say("**Stands: {state}** since {at}, by {person}. Check {version}; the numbers below are of this check.",
            state=say(str(now.state)), at=plain(moment(now.at)), person=plain(now.person), version=record.check_version)
    )  # fmt: skip
    _draw_steps(office, record)
    _draw_issuing(office, record)
    number = _draw_issued(office, record) if not record.documents.empty else ""
    _draw_reasons(record.check)
    if number:
        _draw_preview(office, number)
    steps, remarks = len(record.steps), len(record.remarks)
    with st.expander(say("Signed steps ({steps}) and remarks ({remarks})", steps=steps, remarks=remarks)):
        signed = record.steps.assign(override=record.steps["override"].map({1: say("yes"), 0: ""}))
        _draw_told(signed, _OF_A_STEP)
        if not record.remarks.empty:
            _draw_told(record.remarks, _OF_A_REMARK)


def _draw_told(table: pd.DataFrame, headings: dict[str, str]) -> None:
    """Draw signed steps or remarks; the words of the records are said, the text of people stays."""
    words = {name: say(word) for name, word in headings.items()}
    st.table(shown_table(table, words, said=("state", "meaning"), times=("at",)).map(plain), hide_index=True)


def _draw_steps(office: Office, record: BatchRecord) -> None:
    """Draw the steps that are possible now; the store refuses what a person may not do, and says why."""
    now, advice = record.standing, record.check.decision.disposition
    steps = [state for state in STEPS[now.state] if not (state is State.RELEASED and advice == Disposition.REJECT)]
    if not steps:
        st.markdown(say("No further step is possible."))
        return
    if State.RELEASED in STEPS[now.state] and advice == Disposition.REJECT:
        st.warning(
            say("A batch that is recommended to be rejected cannot be released. Only new results can change that.")
        )
    against = State.RELEASED in steps and advice == Disposition.HOLD
    if against:
        st.warning(
            say(
                "The recommendation is to hold. A release against it needs a written reason; the certificate prints it."
            )
        )
    key = f"{REASON_KEY} {now.batch} {now.version}"
    label = say("Written reason (needed to hold, reject, withdraw or release against the advice)")
    st.text_area(label, key=key, height=68)
    with st.container(horizontal=True):
        for state in steps:
            override = against and state is State.RELEASED
            label = say("Release against the recommendation") if override else say(_BUTTONS[state])
            act = partial(_step, office, record, state, key)
            st.button(label, key=step_key(state), on_click=do, args=(act,))


def step_key(state: State) -> str:
    """Give the key of the button that brings a batch to a state."""
    return f"step to {state}"


def _step(office: Office, record: BatchRecord, to: State, reason: str) -> str:
    """Sign one step on the check that was shown; the field of key *reason* is read at the click."""
    number, act = record.standing.batch, office.act(st.session_state.get(reason, ""))
    if to is State.WITHDRAWN:
        gone = withdraw(office.store(), number, act, style=_style(office))
        listed = plain(", ".join(gone)) or say("none")
        return say("Batch {batch} is withdrawn; documents that no longer hold: {listed}.", batch=plain(number),
                   listed=listed)  # fmt: skip
    override = to is State.RELEASED and record.check.decision.disposition == Disposition.HOLD
    decide(office.store(), number, act, to, override=override, seen=record.check_version)
    return say("Batch {batch}: {step}, signed by {name}.", batch=plain(number), step=say(MEANINGS[to]),
               name=plain(act.by.name))  # fmt: skip


def _draw_issuing(office: Office, record: BatchRecord) -> None:
    """Draw the button that issues the numbered document."""
    now = record.standing
    if now.state in (State.RELEASED, State.ON_HOLD, State.REJECTED):
        again = bool(len(record.documents))
        reason = f"revision {now.batch}"
        if again:
            st.text_input(say("Reason for another document"), key=reason)
        if now.state is State.RELEASED:
            label = say("Issue another certificate") if again else say("Issue the certificate")
        else:
            label = say("Issue another notice") if again else say("Issue the notice")
        st.button(label, key=ISSUE_KEY, type="primary", on_click=do, args=(partial(_issue, office, now.batch, reason),))


def _draw_issued(office: Office, record: BatchRecord) -> str:
    """Draw the choice among the documents with their downloads, and give the number of the chosen one."""
    rows = {row["number"]: row for row in record.documents.to_dict("records")}
    numbers = list(rows)[::-1]
    number: str = st.selectbox(
        say("Document"), numbers, key=f"{DOCUMENT_KEY} {record.standing.batch}",
        format_func=lambda number: f"{number}: {say(rows[number]['kind'])}, {say(rows[number]['status'])}",
    )  # fmt: skip
    with st.container(horizontal=True):
        for suffix, mime in MIMES.items():
            form = suffix.removeprefix(".")
            st.download_button(
                say("Download {form}", form=form.upper()), document_file(office.store(), number, form),
                file_name=f"{number}{suffix}", mime=mime, key=f"kept {form}", on_click="ignore",
            )  # fmt: skip
    if rows[number]["status"] != "in force":
        st.warning(say("This document does not hold any more: {status}.", status=say(rows[number]["status"])))
    if rows[number]["status"] == str(State.WITHDRAWN):
        st.download_button(
            say("Download the notice of withdrawal (PDF)"), withdrawal_file(office.store(), number, "pdf"),
            file_name=f"{number}_withdrawn.pdf", mime=MIMES[".pdf"], key="notice of withdrawal", on_click="ignore",
        )  # fmt: skip
    return number


def _draw_preview(office: Office, number: str) -> None:
    """Draw the pages of a document."""
    with st.expander(say("Look at the document {number}", number=number), expanded=True):
        with st.spinner(say("Drawing the document")):
            pictures = _pictures(document_file(office.store(), number, "json"))
        for page, image in enumerate(pictures, start=1):
            st.image(image, caption=say("{number}, page {page}", number=number, page=page), width="stretch")
        st.caption(say("A picture made from the recorded data. The PDF is the document."))


def _issue(office: Office, number: str, reason: str) -> str:
    act = office.act(st.session_state.get(reason, ""))
    made = issue(office.store(), number, act, style=_style(office)).certificate
    return say("{number} is issued ({kind}).", number=plain(made.number), kind=say(str(made.kind)))


def _style(office: Office) -> PaperStyle:
    """Give the language of papers and the letterhead of the settings."""
    path = office.file(office.plant.letterhead)
    return PaperStyle(language=office.plant.paper_language, letterhead=load_letterhead(path) if path else PLAIN)


@st.cache_data(max_entries=16, show_spinner=False)
def _pictures(data: bytes) -> tuple[bytes, ...]:
    """Draw the pages of a document from its recorded JSON."""
    return page_images(from_json(data.decode("utf-8")))
