"""Turns what is chosen in the side panel into a blank request sheet for the laboratory, which is read back as it is."""

from __future__ import annotations

import tempfile
from pathlib import Path

import streamlit as st

from wqcheck.errors import WqcheckError
from wqcheck.forms.blank_form import blank_form, required_only
from wqcheck.forms.workbook import form_bytes
from wqcheck.page.checking import saved_upload, train_file
from wqcheck.page.papers import MIMES
from wqcheck.page.settings import Settings
from wqcheck.page.spoken import say
from wqcheck.page.words import refusal_text

FORM_KEY, REQUIRED_KEY, GET_KEY = "form for the laboratory", "only what is required", "download the form"


def draw_lab_form(settings: Settings) -> None:
    """Draw the choice of a form and its download; it is made when the fold is opened."""
    box = st.expander(say("A blank form for the laboratory"), key=FORM_KEY, on_change="rerun")
    if not box.open:
        return
    with box:
        st.markdown(
            say("It lists what to test, in which unit and volume, for the kind of water and the limit tables of the "
                "side panel, with bottles and notes for the sampling. Filled in, it is read here as it is.")
        )  # fmt: skip
        required = st.checkbox(say("Only what the release rules require"), value=True, key=REQUIRED_KEY)
        try:
            content, lines = _form(settings, required=required)
        except WqcheckError as refusal:
            st.error(refusal_text(refusal))
            return
        name = f"request_{settings.product.replace(' ', '_')}.xlsx"
        label = say("Download the form ({number} parameters)", number=lines)
        st.download_button(label, content, file_name=name, mime=MIMES[".xlsx"], key=GET_KEY, on_click="ignore")


def _form(settings: Settings, *, required: bool) -> tuple[bytes, int]:
    """Make the form and count its parameters."""
    with tempfile.TemporaryDirectory() as folder, train_file(settings) as train:
        own = [saved_upload(Path(folder), file) for file in settings.own_tables]
        rules = saved_upload(Path(folder), settings.rules) if settings.rules else None
        limits: list[str | Path] = [*settings.limits, *own]
        form = blank_form(limits, product=settings.product, train=train, rules=rules, on=settings.on)
    form = required_only(form) if required else form
    return form_bytes(form), len(form.lines)
