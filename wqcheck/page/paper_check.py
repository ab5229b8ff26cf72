"""Turns a certificate or notice that somebody sends back into what can be checked of it."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from wqcheck.certificate_files.letterhead import PLAIN, Letterhead
from wqcheck.errors import WqcheckError
from wqcheck.page.spoken import later, say
from wqcheck.page.words import plain, refusal_text
from wqcheck.verification.paper import verify_paper
from wqcheck.verification.report import Outcome

PAPER_KEY = "paper to check"
WORDS = {
    Outcome.HOLDS: later("holds"),
    Outcome.WRONG: later("WRONG"),
    Outcome.NOT_CHECKED: later("not checked"),
}


def draw_paper_check(letterhead: Letterhead = PLAIN) -> None:
    """Draw the field for a paper, and what was checked of it; ``letterhead`` is the plant's own."""
    with st.expander(say("Check a certificate or notice that came back to you")):
        file = st.file_uploader(
            say("Certificate or notice (PDF, JSON or XLSX)"), type=["pdf", "json", "xlsx"], key=PAPER_KEY
        )
        if file is None:
            st.caption(say("Nothing of it is kept. It is compared with the data that it carries inside."))
            return
        try:
            report = verify_paper(file.getvalue(), letterhead=letterhead)
        except WqcheckError as refusal:
            st.error(refusal_text(refusal))
            return
        if report.sound:
            st.success(say("Nothing wrong was found in {name}.", name=plain(file.name)))
        else:
            st.error(say("{name} is not as it was issued, or does not agree with itself.", name=plain(file.name)))
        rows = [(say(WORDS[check.outcome]), check.what, check.message) for check in report.checks]
        columns = [say("Outcome"), say("What was checked"), say("What was found")]
        st.table(pd.DataFrame(rows, columns=columns).map(plain), hide_index=True)
