"""Turns the choice of a language into a note on what of a view stays in English."""

from __future__ import annotations

import streamlit as st

from wqcheck.languages.catalogues import SOURCE
from wqcheck.page.spoken import LANGUAGE_KEY, say


def draw_language_note() -> None:
    """Say in every language but English which texts are not translated, so that nobody takes them for unimportant."""
    if st.session_state.get(LANGUAGE_KEY, SOURCE) != SOURCE:
        st.caption(say("Texts of findings, reasons, next checks, cautions of the work and sources are in English only: "
                       "have them read to whoever does not read it."))  # fmt: skip
