"""Turns a checked batch into the certificate or notice to download."""

from __future__ import annotations

import tempfile
from datetime import datetime
from pathlib import Path

import streamlit as st

from wqcheck.certificate.data import Certificate, issue_certificate, issue_notice
from wqcheck.certificate_files.writing import write_certificate
from wqcheck.errors import ReleaseRefusedError, WqcheckError
from wqcheck.page.checking import Desk, Paper, keep_papers
from wqcheck.page.words import message_text, plain
from wqcheck.release.decision import BatchCheck, Disposition

NUMBER_KEY = "certificate number"
PREPARE_KEY = "prepare"

MIMES = {
    ".pdf": "application/pdf",
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    ".json": "application/json",
}
"""Media type of each form, in the order of the buttons."""

_PAPER_NAMES = {
    Disposition.RELEASE: "certificate of batch release",
    Disposition.HOLD: "hold notice",
    Disposition.REJECT: "reject notice",
}


def number_key(batch: str) -> str:
    """Give the key of the number field: one per batch, so that another batch starts with a number of its own."""
    return f"{NUMBER_KEY} {batch}"


def issue(check: BatchCheck, number: str, signed_by: str, issued_at: datetime) -> Certificate:
    """Issue what the decision asks for: a certificate for a release, otherwise a notice.

    Raises
    ------
    ReleaseRefusedError
        The document may not be issued; the error says why.
    """
    write = issue_certificate if check.decision.disposition == Disposition.RELEASE else issue_notice
    return write(check, number=number, signed_by=signed_by, issued_at=issued_at)


def next_steps(check: BatchCheck) -> tuple[str, ...]:
    """Give the next steps as the certificate or notice of this batch would state them."""
    try:
        return issue(check, "draft", "draft", datetime(2000, 1, 1)).next_steps
    except ReleaseRefusedError as refusal:
        return refusal.reasons


def as_papers(certificate: Certificate) -> tuple[Paper, ...]:
    """Write a certificate in every form and give the files."""
    with tempfile.TemporaryDirectory() as folder:
        paths = {path.suffix: path for path in write_certificate(certificate, Path(folder))}
        return tuple(
            Paper(name=paths[suffix].name, mime=mime, content=paths[suffix].read_bytes())
            for suffix, mime in MIMES.items()
        )


def draw_papers(desk: Desk, signed_by: str) -> None:
    """Draw number, signatory, the button that prepares the papers, and the papers to download."""
    decision = desk.check.decision
    what = _PAPER_NAMES[decision.disposition]
    st.markdown(f"##### {what.capitalize()} for batch {plain(decision.batch)}")
    if decision.disposition != Disposition.RELEASE:
        st.markdown(
            "A certificate of release cannot be issued for this batch. The notice says why and what to do next."
        )
    number = st.text_input(
        "Number of the document", value=f"{decision.batch}-1", key=number_key(decision.batch), max_chars=60, width=420
    )
    if signed_by:
        st.markdown(f"Signed by: **{plain(signed_by)}**")
    else:
        st.warning("Enter the name of the person who signs in the side panel (*Signed by*).")
    if st.button(f"Prepare the {what}", key=PREPARE_KEY, type="primary", disabled=not signed_by):
        _prepare(desk, number, signed_by)
    elif desk.papers_for == (number, signed_by):
        _draw_downloads(desk.papers)


def _prepare(desk: Desk, number: str, signed_by: str) -> None:
    """Issue and write the papers, or say why not."""
    try:
        papers = as_papers(issue(desk.check, number, signed_by, datetime.now().astimezone()))
    except WqcheckError as refusal:
        keep_papers(desk, (), (number, signed_by))
        st.error(message_text(refusal))
        return
    keep_papers(desk, papers, (number, signed_by))
    _draw_downloads(papers)


def _draw_downloads(papers: tuple[Paper, ...]) -> None:
    """Draw one download button per file."""
    if not papers:
        return
    st.markdown("Ready to download:")
    with st.container(horizontal=True):
        for paper in papers:
            form = Path(paper.name).suffix.removeprefix(".").upper()
            st.download_button(
                f"Download {form}: {paper.name}",
                paper.content,
                file_name=paper.name,
                mime=paper.mime,
                key=f"download {form}",
                on_click="ignore",
            )
