"""Turns a recorded batch into its decision: what stands against it, the signed steps, and its numbered documents."""

from __future__ import annotations

from functools import partial

import streamlit as st

from wqcheck.certificate.data import from_json
from wqcheck.certificate_files.preview import page_images
from wqcheck.page.checking import DESK_KEY, Desk
from wqcheck.page.decision import draw_decision, draw_headline
from wqcheck.page.office import Office, do
from wqcheck.page.out_of_limit import EXCEEDING, flagged_lines, names_with
from wqcheck.page.papers import MIMES, next_steps
from wqcheck.page.words import plain, titled
from wqcheck.records.batches import BatchRecord, batch, batches
from wqcheck.records.certificates import document_file, issue, withdraw
from wqcheck.records.decisions import MEANINGS, STEPS, decide
from wqcheck.records.intake import take_in
from wqcheck.records.standing import State
from wqcheck.release.decision import Disposition
from wqcheck.tables import Verdict

RECORD_KEY = "record the batch"
WHY_AGAIN_KEY = "reason for taking in again"
BATCH_KEY = "recorded batch"
REASON_KEY = "written reason"
ISSUE_KEY = "issue the document"
DOCUMENT_KEY = "document shown"

_BUTTONS = {
    State.UNDER_REVIEW: "Sign the review",
    State.RELEASED: "Release",
    State.ON_HOLD: "Put on hold",
    State.REJECTED: "Reject",
    State.WITHDRAWN: "Withdraw",
}


def draw_release(office: Office) -> None:
    """Draw the batch on the desk to be recorded, and the recorded batch that is chosen.

    Raises
    ------
    wqcheck.errors.WqcheckError
        The store cannot be read.
    """
    desk: Desk | None = st.session_state.get(DESK_KEY)
    if desk is not None:
        draw_recording(office, desk)
    listed = batches(office.store()) if office.exists else None
    if listed is None or listed.empty:
        st.info("No batch is recorded yet. Take in a sheet, look at its flags, then record the batch here.")
        return
    names = list(listed["batch"])
    if st.session_state.get(BATCH_KEY) not in names:
        st.session_state[BATCH_KEY] = names[0]
    states = dict(zip(listed["batch"], listed["state"], strict=True))
    number = st.selectbox("Recorded batch", names, key=BATCH_KEY, format_func=lambda name: f"{name}: {states[name]}")
    _draw_record(office, batch(office.store(), number))


def draw_recording(office: Office, desk: Desk) -> None:
    """Draw the button that records the batch on the desk."""
    number = desk.check.details.batch
    with st.container(border=True):
        st.markdown(
            f"On the desk: batch **{plain(number)}**, checked, recommended to **{desk.check.decision.disposition}**."
        )
        why = st.text_input("Reason, if this batch was recorded before", key=WHY_AGAIN_KEY)
        st.button(
            f"Record batch {plain(number)}", key=RECORD_KEY, type="primary",
            on_click=do, args=(partial(_record, office, desk, why),),
        )  # fmt: skip


def _record(office: Office, desk: Desk, why: str) -> str:
    act = office.act(why)
    version = take_in(office.store(create=True), desk.check, act, desk.files, on=desk.on)
    st.session_state[BATCH_KEY] = desk.check.details.batch
    return f"Batch {plain(desk.check.details.batch)} is recorded (check {version}). Next: a reviewer signs the review."


def _draw_record(office: Office, record: BatchRecord) -> None:
    """Draw one recorded batch: where it stands, what is against it, the next steps, its history and documents."""
    check, decision, now = record.check, record.check.decision, record.standing
    lines = flagged_lines(check.judged, decision.required)
    missing = tuple(dict.fromkeys(map(titled, decision.missing)))
    draw_headline(decision, names_with(lines, EXCEEDING), names_with(lines, [Verdict.UNDETERMINED]), missing)
    st.markdown(
        f"**Stands: {now.state}** since {plain(now.at)}, by {plain(now.person)}. "
        f"Check {record.check_version}; the numbers below are of this check."
    )
    _draw_steps(office, record)
    _draw_documents(office, record)
    with st.expander("Reasons, and what to do next", expanded=decision.disposition != Disposition.RELEASE):
        draw_decision(decision, missing, next_steps(check))
    with st.expander(f"Signed steps ({len(record.steps)}) and remarks ({len(record.remarks)})"):
        st.table(record.steps.fillna("").astype("str").map(plain), hide_index=True)
        if not record.remarks.empty:
            st.table(record.remarks.astype("str").map(plain), hide_index=True)


def _draw_steps(office: Office, record: BatchRecord) -> None:
    """Draw the steps that are possible now; the store refuses what a person may not do, and says why."""
    now, advice = record.standing, record.check.decision.disposition
    steps = [state for state in STEPS[now.state] if not (state is State.RELEASED and advice == Disposition.REJECT)]
    if not steps:
        st.markdown("No further step is possible.")
        return
    if State.RELEASED in STEPS[now.state] and advice == Disposition.REJECT:
        st.warning("A batch that is recommended to be rejected cannot be released. Only new results can change that.")
    against = State.RELEASED in steps and advice == Disposition.HOLD
    if against:
        st.warning("The recommendation is to hold. A release against it needs a written reason; the certificate "
                   "prints it.")  # fmt: skip
    key = f"{REASON_KEY} {now.batch} {now.version}"
    why = st.text_area("Written reason (needed to hold, reject, withdraw or release against the advice)", key=key,
                       height=68)  # fmt: skip
    with st.container(horizontal=True):
        for state in steps:
            override = against and state is State.RELEASED
            label = "Release against the recommendation" if override else _BUTTONS[state]
            act = partial(_step, office, record, state, why)
            st.button(label, key=step_key(state), on_click=do, args=(act,))


def step_key(state: State) -> str:
    """Give the key of the button that brings a batch to a state."""
    return f"step to {state}"


def _step(office: Office, record: BatchRecord, to: State, why: str) -> str:
    """Sign one step on the check that was shown."""
    number, act = record.standing.batch, office.act(why)
    if to is State.WITHDRAWN:
        gone = withdraw(office.store(), number, act)
        return f"Batch {plain(number)} is withdrawn; documents that no longer hold: {plain(', '.join(gone) or 'none')}."
    override = to is State.RELEASED and record.check.decision.disposition == Disposition.HOLD
    decide(office.store(), number, act, to, override=override, seen=record.check_version)
    return f"Batch {plain(number)}: {MEANINGS[to]}, signed by {plain(act.by.name)}."


def _draw_documents(office: Office, record: BatchRecord) -> None:
    """Draw the button that issues the numbered document, and the documents with preview and downloads."""
    now = record.standing
    if now.state in (State.RELEASED, State.ON_HOLD, State.REJECTED):
        what = "certificate" if now.state is State.RELEASED else "notice"
        again = bool(len(record.documents))
        why = st.text_input("Reason for another document", key=f"revision {now.batch}") if again else ""
        label = f"Issue another {what}" if again else f"Issue the {what}"
        st.button(label, key=ISSUE_KEY, type="primary", on_click=do, args=(partial(_issue, office, now.batch, why),))
    if record.documents.empty:
        return
    rows = {row["number"]: row for row in record.documents.to_dict("records")}
    numbers = list(rows)[::-1]
    number = st.selectbox(
        "Document", numbers, key=f"{DOCUMENT_KEY} {now.batch}",
        format_func=lambda number: f"{number}: {rows[number]['kind']}, {rows[number]['status']}",
    )  # fmt: skip
    with st.container(horizontal=True):
        for suffix, mime in MIMES.items():
            form = suffix.removeprefix(".")
            st.download_button(
                f"Download {form.upper()}", document_file(office.store(), number, form), file_name=f"{number}{suffix}",
                mime=mime, key=f"kept {form}", on_click="ignore",
            )  # fmt: skip
    if rows[number]["status"] != "in force":
        st.warning(f"This document does not hold any more: {plain(rows[number]['status'])}.")
    with st.expander("Look at the document", expanded=True):
        for page, image in enumerate(_pictures(document_file(office.store(), number, "json")), start=1):
            st.image(image, caption=f"{number}, page {page}", width=820)
        st.caption("A picture made from the recorded data. The PDF is the document.")


def _issue(office: Office, number: str, why: str) -> str:
    made = issue(office.store(), number, office.act(why)).certificate
    return f"{plain(made.number)} is issued ({plain(made.kind)})."


@st.cache_data(max_entries=16, show_spinner="Drawing the document")
def _pictures(data: bytes) -> tuple[bytes, ...]:
    """Draw the pages of a document from its recorded JSON."""
    return page_images(from_json(data.decode("utf-8")))
