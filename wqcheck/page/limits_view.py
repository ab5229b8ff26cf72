"""Turns the limit tables into the view in which they are read, compared and copied to be edited."""

from __future__ import annotations

import streamlit as st

from wqcheck.page.limits_acts import draw_acts
from wqcheck.page.limits_browse import draw_browse
from wqcheck.page.limits_compare import draw_compare
from wqcheck.page.limits_diff import draw_diff
from wqcheck.page.limits_edit import draw_edit
from wqcheck.page.settings import Settings
from wqcheck.page.spoken import later, say

PART_KEY = "part of the limits"
BROWSE, ACTS, COMPARE, DIFF, EDIT = (
    later("Look into a table"),
    later("Which text binds"),
    later("Compare"),
    later("Check a file, see changes"),
    later("Edit a copy"),
)
_PARTS = {BROWSE: draw_browse, ACTS: draw_acts, COMPARE: draw_compare, DIFF: draw_diff, EDIT: draw_edit}


def draw_limits_view(settings: Settings) -> None:
    """Draw one part of the limits: a table, the acts, a comparison, or a copy under edit.

    Raises
    ------
    wqcheck.errors.WqcheckError
        A shipped table or the list of acts is not usable.
    """
    part = st.segmented_control(
        say("What to do with the limits"),
        list(_PARTS),
        default=BROWSE,
        required=True,
        format_func=say,
        key=PART_KEY,
        persist_state="session",
        label_visibility="collapsed",
    )
    _PARTS[part or BROWSE](settings)
    st.caption(
        say(
            "The text in force and the regulator of the country of sale decide; a table is no legal advice. Rows that "
            "are not verified against the official text say so: compare them before you rely on them."
        )
    )
