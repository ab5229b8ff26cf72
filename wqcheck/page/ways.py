"""Turns "go there" into buttons: from one view to another, with a batch in hand."""

from __future__ import annotations

from functools import partial

import streamlit as st

from wqcheck.page.in_hand import take_in_hand

VIEW_KEY = "view"


def go(view: str, batch: str | None = None) -> None:
    """Open a view; a named batch, or :data:`wqcheck.page.in_hand.ON_THE_DESK`, is taken in hand before."""
    st.session_state[VIEW_KEY] = view
    if batch is not None:
        take_in_hand(batch)


def draw_way(label: str, view: str, *, key: str, batch: str | None = None, main: bool = False) -> None:
    """Draw a button that opens a view with a batch in hand; ``main`` for the one that comes next."""
    st.button(label, key=key, type="primary" if main else "secondary", on_click=partial(go, view, batch))
