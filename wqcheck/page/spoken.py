"""Turns the English words of the page into those of the language that its reader chose."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from wqcheck.languages.catalogues import LANGUAGES, PAGE, PAGE_LANGUAGES, PAPERS, SOURCE, Catalogue, catalogue

LANGUAGE_KEY = "language of the page"
_NUMBERS_KEY = "decimal mark of the page"
_DATES_KEY = "dates of the page"


def say(message: str, **values: object) -> str:
    """Say an English message in the language of the page, with ``values`` in the places of their names in braces.

    The message must stand as a literal in the call, so that ``python -m tests.make_catalogues`` finds it.
    """
    return spoken()(message, **values)


def later(message: str) -> str:
    """Mark an English message of a constant, so that ``say`` finds it in the catalogues when it is drawn."""
    return message


def spoken() -> Catalogue:
    """Return the catalogue of the page in the language that was chosen; English until one is."""
    return _as_set(PAGE)


def printed() -> Catalogue:
    """Return the catalogue of papers in the language of the page, for phrases that papers write too."""
    return _as_set(PAPERS)


def _as_set(domain: str) -> Catalogue:
    """Return a catalogue that writes numbers and dates as the plant's settings ask for."""
    numbers, dates = (st.session_state.get(key) == "local" for key in (_NUMBERS_KEY, _DATES_KEY))
    chosen = catalogue(st.session_state.get(LANGUAGE_KEY, SOURCE), domain)
    return replace(chosen, local_numbers=numbers, local_dates=dates)


def figure(text: str) -> str:
    """Write a number (digits with a point) with the decimal mark that the plant's settings ask for."""
    return spoken().figure(text)


def count_text(number: int) -> str:
    """Write how many there are, thousands apart as the language of the page does."""
    return spoken().count(number)


def kept(key: str, *words: str) -> str:
    """Give the key of a choice among words, and choose again what was chosen where its words are others than before.

    The browser knows a choice by its words: in another language, or with another number in its label, it would show
    the words of before or no choice at all. ``words`` are those that may change beside the language.
    """
    now, known = (st.session_state.get(LANGUAGE_KEY, SOURCE), *words), f"words of {key}"
    if key in st.session_state and st.session_state.get(known, now) != now:
        st.session_state[key] = st.session_state[key]
    st.session_state[known] = now
    return key


def begin_as(language: str, numbers: str, dates: str) -> None:
    """Begin in the language of the plant, until somebody chooses another one, with its numbers and dates."""
    st.session_state.setdefault(LANGUAGE_KEY, language)
    st.session_state[_NUMBERS_KEY], st.session_state[_DATES_KEY] = numbers, dates


def draw_language() -> None:
    """Ask for the language of the page; each language calls itself by its own name."""
    st.selectbox(
        say("Language"), PAGE_LANGUAGES, format_func=lambda code: LANGUAGES[code], key=LANGUAGE_KEY
    )  # fmt: skip
