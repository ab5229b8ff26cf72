"""Turns a call of the page into its frame: the views to choose from, the settings beside them, and the chosen view."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date

import streamlit as st

from wqcheck.errors import StoreError, WqcheckError
from wqcheck.page.flags_view import draw_flags
from wqcheck.page.history_view import draw_history
from wqcheck.page.in_hand import hand_words
from wqcheck.page.legible import LEGIBLE, MENU_AREA, SAID_AREA
from wqcheck.page.limits_view import draw_limits_view
from wqcheck.page.office import Office, draw_office, draw_said, given_to, plant_of
from wqcheck.page.release_view import draw_release
from wqcheck.page.settings import Settings, draw_settings
from wqcheck.page.settings_view import draw_settings_view
from wqcheck.page.sheets_brought import try_sample
from wqcheck.page.spoken import begin_as, kept, later, say
from wqcheck.page.start_view import draw_start
from wqcheck.page.take_in_view import draw_take_in
from wqcheck.page.train_view import draw_train_view
from wqcheck.page.ways import VIEW_KEY, go
from wqcheck.page.words import plain, refusal_text
from wqcheck.release.decision import CAUTION

__all__ = ["VIEWS", "VIEW_KEY", "main"]

# A laptop shows 768 lines: less empty space above, and tables that break long words instead of growing sideways.
ROOMY = """<style>
[data-testid="stMainBlockContainer"] {padding: 2.2rem 2.5rem 3rem 2.5rem;}
[data-testid="stSidebarHeader"] {height: 2rem; padding-bottom: 0;}
[data-testid="stTable"] td, [data-testid="stTable"] th {overflow-wrap: anywhere; min-width: 5.5rem;}
</style>"""


SIDE_PANEL_WIDTH = 264
"""Pixels, of 1366 on a laptop; it can be dragged. A tablet has less, see ``legible``."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Desktop:
    """What every view is drawn from: where the records are and who acts, and how a batch is checked."""

    office: Office
    settings: Settings


VIEWS: tuple[tuple[str, Callable[[Desktop], None]], ...] = (
    (later("Start"), lambda desktop: draw_start(desktop.office, desktop.settings, _try_sample)),
    (later("Take in"), lambda desktop: draw_take_in(desktop.office, desktop.settings)),
    (later("Flags"), lambda desktop: draw_flags(desktop.office)),
    (later("Train"), lambda desktop: draw_train_view(desktop.office)),
    (later("Release"), lambda desktop: draw_release(desktop.office)),
    (later("History"), lambda desktop: draw_history(desktop.office, desktop.settings)),
    (later("Limits"), lambda desktop: draw_limits_view(desktop.settings)),
    (later("Settings"), lambda desktop: draw_settings_view(desktop.office)),
)
"""The views, in the order of a morning; a view is added with one line."""

TRY_AGAIN_KEY = "try again"
OF_BATCHES = ("Start", "Take in", "Flags", "Release")
"""Views that end with the caution on what a decision on a batch rests on."""


def main(arguments: Sequence[str] = ()) -> None:
    """Draw the page; *arguments* say where its records are and who acts, see :func:`given_to`."""
    st.set_page_config(page_title="wqcheck", layout="wide", initial_sidebar_state=SIDE_PANEL_WIDTH)
    st.html(ROOMY + LEGIBLE)
    try:
        given = given_to(arguments)
        plant, plant_file = plant_of(given)
        begin_as(plant.language, plant.numbers, plant.dates)
        names = [name for name, _ in VIEWS]
        with st.container(key=MENU_AREA):
            chosen = st.radio(
                say("View"), names, horizontal=True, key=kept(VIEW_KEY), label_visibility="collapsed", format_func=say
            )
            in_hand = st.empty()
        said = st.container(key=SAID_AREA)
        settings = draw_settings(date.today(), plant, plant_file.parent)
        office = draw_office(given, plant, plant_file)
        try:
            dict(VIEWS)[chosen](Desktop(office=office, settings=settings))
        except WqcheckError as error:
            st.error(refusal_text(error))
            if isinstance(error, StoreError):
                st.button(say("Try again"), key=TRY_AGAIN_KEY)
        with said:
            draw_said()
        in_hand.markdown(hand_words(office))
        if chosen in OF_BATCHES:
            st.caption(plain(say(CAUTION)))
    except WqcheckError as error:
        st.error(refusal_text(error))


def _try_sample() -> None:
    """Open the first workbook of the sample plant."""
    go("Take in")
    try_sample()
