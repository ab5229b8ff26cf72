"""Turns the batch in hand into its decision: what stands against it, the signed steps, and its numbered documents."""

from __future__ import annotations

from functools import partial
from typing import Literal

import pandas as pd
import streamlit as st

from wqcheck.page.batch_parts import draw_parts
from wqcheck.page.checking import Desk
from wqcheck.page.decision import draw_decision, draw_headline, draw_rules
from wqcheck.page.in_hand import draw_in_hand
from wqcheck.page.issued_papers import draw_issued, draw_issuing, draw_preview, letterhead_of, style_of
from wqcheck.page.office import Office, do, draw_refusal
from wqcheck.page.paper_check import draw_paper_check
from wqcheck.page.papers import draw_draft, next_steps
from wqcheck.page.recording import draw_recording
from wqcheck.page.shown import moment, shown_table
from wqcheck.page.spoken import count_text, later, say
from wqcheck.page.touched import draw_touched
from wqcheck.page.ways import draw_way
from wqcheck.page.words import STATE_WORDS, plain
from wqcheck.records.batches import BatchRecord
from wqcheck.records.certificates import withdraw
from wqcheck.records.decisions import MEANINGS, STEPS, decide
from wqcheck.records.standing import State
from wqcheck.release.decision import BatchCheck, Disposition
from wqcheck.tables import Judged

REASON_KEY = "written reason"
TAKE_IN_KEY = "take sheets in from the release"
SIGN_KEY, NOT_NOW_KEY, ASKED_KEY = "sign the step", "do not sign now", "step to sign"

_BUTTONS = {
    State.UNDER_REVIEW: later("Sign the review"),
    State.RELEASED: later("Release this batch"),
    State.ON_HOLD: later("Put on hold"),
    State.REJECTED: later("Reject"),
    State.WITHDRAWN: later("Withdraw"),
}
_OF_A_STEP = {
    "version": later("No."), "at": later("When"), "state": later("State"), "meaning": later("Meaning"),
    "name": later("Signed by"), "check_version": later("Check"), "reason": later("Reason"),
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
    draw_paper_check(letterhead_of(office))
    draw_touched(office)


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
    draw_headline(record.check, now)
    st.markdown(
        say("**Stands: {state}** since {at}, by {person}. Check {version}.",
            state=say(STATE_WORDS[now.state]), at=plain(moment(now.at)), person=plain(now.person),
            version=record.check_version)
    )  # fmt: skip
    _draw_steps(office, record)
    draw_issuing(office, record)
    number = draw_issued(office, record) if not record.documents.empty else ""
    _draw_reasons(record.check)
    if number:
        draw_preview(office, record, number)
    draw_parts(office, record)
    steps, remarks = len(record.steps), len(record.remarks)
    with st.expander(say("Signed steps ({steps}) and remarks ({remarks})", steps=steps, remarks=remarks)):
        told = {str(state): word for state, word in STATE_WORDS.items()}
        override = record.steps["override"].map({1: say("yes"), 0: say("no")})
        signed = record.steps.assign(override=override, state=record.steps["state"].map(told))
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
    if now.state is State.ON_HOLD:
        st.caption(say("A batch on hold goes back to review before it can be released or rejected."))
    asked_key = f"{ASKED_KEY} {now.batch} {now.version} {record.check_version}"
    with st.container(horizontal=True):
        for state in steps:
            kind: Literal["primary", "secondary"] = "primary" if state is _next_step(now.state, advice) else "secondary"
            again = now.state is State.ON_HOLD and state is State.UNDER_REVIEW
            label = say("Back to review, and sign it") if again else _step_label(state, against=against)
            key = step_key(state)
            st.button(label, key=key, type=kind, on_click=_ask, args=(asked_key, state))
    if st.session_state.get(asked_key) in steps:
        _draw_signing(office, record, st.session_state[asked_key], asked_key, against=against)


def _next_step(now: State, advice: Disposition) -> State | None:
    """Give the step that is the usual one: the review, then what is recommended; None where all is decided."""
    if now is not State.UNDER_REVIEW:
        return State.UNDER_REVIEW
    return {Disposition.RELEASE: State.RELEASED, Disposition.HOLD: State.ON_HOLD, Disposition.REJECT: State.REJECTED}[
        advice
    ]


def _step_label(state: State, *, against: bool) -> str:
    override = against and state is State.RELEASED
    return say("Release against the recommendation") if override else say(_BUTTONS[state])


def _ask(key: str, state: State | None) -> None:
    """Keep which step is to be signed; None for no more."""
    st.session_state[key] = state


def _draw_signing(office: Office, record: BatchRecord, to: State, asked_key: str, *, against: bool) -> None:
    """Draw what is about to be signed, by whom, with a reason where one is needed, and the button that signs."""
    now, override = record.standing, against and to is State.RELEASED
    reason_key = f"{REASON_KEY} {now.batch} {now.version} {to}"
    with st.container(border=True):
        label, batch = plain(_step_label(to, against=against)), plain(now.batch)
        if office.person is None:
            st.warning(say("Nobody is named yet. Say in the side panel who you are; then sign."))
        else:
            name = plain(office.person.name)
            st.markdown(
                say("**{step}**, batch **{batch}**: you sign as **{name}**.", step=label, batch=batch, name=name)
            )
        if to is State.RELEASED:
            _draw_unverified(record.check)
        if override or to in (State.ON_HOLD, State.REJECTED, State.WITHDRAWN):
            st.text_area(say("Written reason (needed)"), key=reason_key, height=68)
        with st.container(horizontal=True):
            act = partial(_step, office, record, to, reason_key)
            st.button(say("Sign"), key=SIGN_KEY, type="primary", on_click=do, args=(act, SIGN_KEY))
            st.button(say("Not now"), key=NOT_NOW_KEY, on_click=_ask, args=(asked_key, None))
        draw_refusal(SIGN_KEY)


def _draw_unverified(check: BatchCheck) -> None:
    """Say how many of the limits used were not checked against the official text."""
    used = check.judged[check.judged[Judged.table].notna()].drop_duplicates([Judged.table, Judged.limit_line])
    doubtful = int((~used[Judged.evidence].str.startswith("primary text").eq(True)).sum())
    if doubtful:
        st.warning(
            say("Of the {number} limits used, {doubtful} were not checked against the official text. The certificate "
                "marks them.", number=count_text(len(used)), doubtful=count_text(doubtful))
        )  # fmt: skip


def step_key(state: State) -> str:
    """Give the key of the button that brings a batch to a state."""
    return f"step to {state}"


def _step(office: Office, record: BatchRecord, to: State, reason: str) -> str:
    """Sign one step on the check that was shown; the field of key *reason* is read at the click."""
    number, act = record.standing.batch, office.act(st.session_state.get(reason, ""))
    if to is State.WITHDRAWN:
        gone = withdraw(office.store(), number, act, style=style_of(office))
        listed = plain(", ".join(gone)) or say("none")
        return say("Batch {batch} is withdrawn; documents that no longer hold: {listed}.", batch=plain(number),
                   listed=listed)  # fmt: skip
    override = to is State.RELEASED and record.check.decision.disposition == Disposition.HOLD
    decide(office.store(), number, act, to, override=override, seen=record.check_version)
    return say("Batch {batch}: {step}, signed by {name}.", batch=plain(number), step=say(MEANINGS[to]),
               name=plain(act.by.name))  # fmt: skip
