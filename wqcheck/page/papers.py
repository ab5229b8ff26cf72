"""Turns a checked batch into a draft of its certificate or notice, which is no document."""

from __future__ import annotations

import json
from datetime import datetime

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from wqcheck.certificate.data import Certificate, issue_certificate, issue_notice
from wqcheck.certificate_files.preview import page_images
from wqcheck.certificate_files.view import sentences
from wqcheck.errors import ReleaseRefusedError
from wqcheck.page.checking import Desk
from wqcheck.page.spoken import printed, say
from wqcheck.page.words import message_text
from wqcheck.release.decision import BatchCheck, Disposition

DRAFT_KEY = "draft of the document"
PAGES_KEY = "draft-pages"

MARK = """.st-key-draft-pages [data-testid="stImage"] {{position: relative;}}
.st-key-draft-pages [data-testid="stImage"]::after {{content: {word}; position: absolute; inset: 0; display: grid;
place-items: center; font-size: clamp(4rem, 14vw, 11rem); font-weight: 700; color: #000; opacity: 0.22;
transform: rotate(-35deg); pointer-events: none;}}"""
"""Writes a word across each page of a draft, so that a picture of the screen shows it too."""

MIMES = {
    ".pdf": "application/pdf",
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    ".json": "application/json",
}
"""Media type of each form, in the order of the buttons."""

NUMBER, SIGNATORY = "DRAFT, NOT A CERTIFICATE", "nobody: this is a draft"
"""What a draft says in the places of number and signatory."""


def draft(check: BatchCheck, moment: datetime) -> Certificate:
    """Write what the decision would ask for, a certificate for a release, otherwise a notice, as an unsigned draft.

    Raises
    ------
    ReleaseRefusedError
        The document could not be issued; the error says why.
    """
    write = issue_certificate if check.decision.disposition == Disposition.RELEASE else issue_notice
    return write(check, number=NUMBER, signed_by=SIGNATORY, issued_at=moment)


def next_steps(check: BatchCheck) -> tuple[str, ...]:
    """Give the next steps as the certificate or notice of this batch would print them in the language of the page."""
    try:
        return sentences(draft(check, datetime(2000, 1, 1)), printed())[1]
    except ReleaseRefusedError as refusal:
        return refusal.reasons


def marked_pages(word: str) -> DeltaGenerator:
    """Give a place for pictures of pages, each with a word written across; a blank word writes nothing."""
    if not word:
        return st.container()
    st.html(f"<style>{MARK.format(word=json.dumps(word, ensure_ascii=False))}</style>")
    return st.container(key=PAGES_KEY)


def draw_draft(desk: Desk) -> None:
    """Draw pictures of what would be issued, once somebody opens them; there is nothing to download."""
    box = st.expander(say("Look at a draft of the document"), key=DRAFT_KEY, on_change="rerun")
    if not box.open:
        return
    with box:
        st.warning(say("A draft, not a certificate: it has no number, and nobody has signed it."))
        try:
            pictures = _pictures(desk.key, desk.check)
        except ReleaseRefusedError as refusal:
            st.error(message_text(refusal))
            return
        with marked_pages(say("DRAFT")):
            for page, image in enumerate(pictures, start=1):
                st.image(image, caption=say("Draft, page {page}", page=page), width="stretch")


@st.cache_data(max_entries=4, show_spinner=False)
def _pictures(key: str, _check: BatchCheck) -> tuple[bytes, ...]:
    """Draw the pages of the draft of the batch on the desk, once for each check (its ``key``)."""
    with st.spinner(say("Drawing the document")):
        return page_images(draft(_check, datetime.now().astimezone()))
