"""Turns a decided batch into its numbered documents: the button that issues one, downloads and pictures."""

from __future__ import annotations

from functools import partial
from typing import Literal

import streamlit as st

from wqcheck.certificate.data import from_json
from wqcheck.certificate_files.letterhead import PLAIN, Letterhead, load_letterhead
from wqcheck.certificate_files.preview import page_images
from wqcheck.page.office import Office, do, draw_refusal
from wqcheck.page.papers import MIMES, marked_pages
from wqcheck.page.spoken import say
from wqcheck.page.words import plain
from wqcheck.records.batches import BatchRecord
from wqcheck.records.certificates import PaperStyle, document_file, issue, withdrawal_file
from wqcheck.records.standing import State

ISSUE_KEY = "issue the document"
DOCUMENT_KEY = "document shown"


def draw_issuing(office: Office, record: BatchRecord) -> None:
    """Draw the button that issues the numbered document."""
    now = record.standing
    if now.state in (State.RELEASED, State.ON_HOLD, State.REJECTED):
        again = bool(len(record.documents))
        reason = f"revision {now.batch}"
        if again:
            st.text_input(say("Reason for another document"), key=reason)
        if now.state is State.RELEASED:
            label = say("Issue another certificate") if again else say("Issue the certificate")
        elif now.state is State.ON_HOLD:
            label = say("Issue another hold notice") if again else say("Issue the hold notice")
        else:
            label = say("Issue another reject notice") if again else say("Issue the reject notice")
        kind: Literal["primary", "secondary"] = "primary" if now.state is State.RELEASED and not again else "secondary"
        act = partial(_issue, office, now.batch, reason)
        st.button(label, key=ISSUE_KEY, type=kind, on_click=do, args=(act, ISSUE_KEY))
        draw_refusal(ISSUE_KEY)


def draw_issued(office: Office, record: BatchRecord) -> str:
    """Draw the choice among the documents with their downloads, and give the number of the chosen one."""
    rows = {row["number"]: row for row in record.documents.to_dict("records")}
    numbers = list(rows)[::-1]

    def told(number: str) -> str:
        return f"{number}: {say(rows[number]['kind'])}, {say(rows[number]['status'])}"

    # The browser keeps the words of a key, so other words have another one.
    number: str = st.selectbox(
        say("Document"), numbers, format_func=told,
        key=f"{DOCUMENT_KEY} {record.standing.batch} {'; '.join(map(told, numbers))}",
    )  # fmt: skip
    if rows[number]["status"] != "in force":
        st.warning(say("This document does not hold any more: {status}.", status=say(rows[number]["status"])))
    if rows[number]["status"] == str(State.WITHDRAWN):
        st.download_button(
            say("Download the notice of withdrawal (PDF)"), withdrawal_file(office.store(), number, "pdf"),
            file_name=f"{number}_withdrawn.pdf", mime=MIMES[".pdf"], key="notice of withdrawal", on_click="ignore",
        )  # fmt: skip
    with st.container(horizontal=True):
        for suffix, mime in MIMES.items():
            form = suffix.removeprefix(".")
            st.download_button(
                say("Download {form}", form=form.upper()), document_file(office.store(), number, form),
                file_name=f"{number}{suffix}", mime=mime, key=f"kept {form}", on_click="ignore",
            )  # fmt: skip
    return number


def draw_preview(office: Office, record: BatchRecord, number: str) -> None:
    """Draw the first page of a document, and all of them where that is asked for; what does not hold is marked."""
    statuses = dict(zip(record.documents["number"], record.documents["status"], strict=True))
    mark = "" if statuses[number] == "in force" else say(statuses[number]).upper()
    with st.expander(say("Look at the document {number}", number=number), expanded=True):
        with st.spinner(say("Drawing the document")):
            pictures = _pictures(document_file(office.store(), number, "json"))
        many = len(pictures)
        every = many == 1 or st.toggle(say("Show all {number} pages", number=many), key=f"all pages {number}")
        with marked_pages(mark):
            for page, image in enumerate(pictures if every else pictures[:1], start=1):
                st.image(image, caption=say("{number}, page {page}", number=number, page=page), width="stretch")
        st.caption(say("A picture made from the recorded data. The PDF is the document."))


def _issue(office: Office, number: str, reason: str) -> str:
    act = office.act(st.session_state.get(reason, ""))
    made = issue(office.store(), number, act, style=style_of(office)).certificate
    return say("{number} is issued ({kind}).", number=plain(made.number), kind=say(str(made.kind)))


def style_of(office: Office) -> PaperStyle:
    """Give the language of papers and the letterhead of the settings."""
    return PaperStyle(language=office.plant.paper_language, letterhead=letterhead_of(office))


def letterhead_of(office: Office) -> Letterhead:
    """Return the letterhead that the settings name; the plain one where they name none."""
    path = office.file(office.plant.letterhead)
    return load_letterhead(path) if path else PLAIN


@st.cache_data(max_entries=16, show_spinner=False)
def _pictures(data: bytes) -> tuple[bytes, ...]:
    """Draw the pages of a document from its recorded JSON."""
    return page_images(from_json(data.decode("utf-8")))
