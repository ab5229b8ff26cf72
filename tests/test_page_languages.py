"""Every message of the page stands translated in every catalogue, and a reader who chooses French reads French."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from tests.make_catalogues import LOCALE, page_messages, said_in, updated
from wqcheck.languages.catalogues import PAGE, PAGE_LANGUAGES, catalogue
from wqcheck.page.main import VIEW_KEY, VIEWS
from wqcheck.page.spoken import LANGUAGE_KEY
from wqcheck.page.start_view import SAMPLE_BUTTON
from wqcheck.page.words import DISPOSITION_WORDS
from wqcheck.release.decision import CAUTION
from wqcheck.tables import Verdict

TRANSLATED = [language for language in PAGE_LANGUAGES if language != "en"]
PROMISES = {
    "fr": r"\b(sûre?s?|sécuritaires?|sans danger|sans risque)\b",
    "es": r"\b(seguras?|seguros?|sin peligro|sin riesgo)\b",
}
"""Words that would promise what no comparison with limits can."""


def places(text: str) -> set[str]:
    return set(re.findall(r"\{\w+\}", text))


def marks(text: str) -> dict[str, int]:
    return {mark: text.count(mark) for mark in ("*", "**", "`", "#", "\n")}


@pytest.mark.parametrize("language", TRANSLATED)
def test_every_message_is_translated(language: str) -> None:
    translated = catalogue(language, PAGE).messages
    assert [message for message in page_messages() if message not in translated] == []


@pytest.mark.parametrize("language", TRANSLATED)
def test_placeholders_and_markup_are_kept(language: str) -> None:
    for message, text in catalogue(language, PAGE).messages.items():
        assert places(text) == places(message), message
        assert marks(text) == marks(message), message
        assert (text[0].isspace(), text[-1].isspace()) == (message[0].isspace(), message[-1].isspace()), message


@pytest.mark.parametrize("language", TRANSLATED)
def test_no_translation_promises_what_the_page_does_not(language: str) -> None:
    for message, text in catalogue(language, PAGE).messages.items():
        assert not re.search(PROMISES[language], text, re.IGNORECASE), message


@pytest.mark.parametrize("language", TRANSLATED)
def test_the_catalogue_is_what_the_sources_say_now(language: str) -> None:
    written = (LOCALE / f"{PAGE}.{language}.po").read_bytes()
    assert updated(language, PAGE) == written, "run python -m tests.make_catalogues and translate what is new"


def test_what_is_said_inside_an_f_string_is_found(tmp_path: Path) -> None:
    """Also either literal of an ``if``; a name is no literal."""
    source = tmp_path / "view.py"
    source.write_text("draw(f'## {say(\"Heading\")}', say('a' if few else 'b'), say(word), later('later'))", "utf-8")
    assert list(said_in([source])) == ["Heading", "a", "b", "later"]


def test_words_of_verdicts_differ_in_every_language() -> None:
    """No two verdicts, and no two recommendations, read the same in a translation."""
    for language in TRANSLATED:
        say = catalogue(language, PAGE)
        for words in (list(DISPOSITION_WORDS.values()), list(map(str, Verdict))):
            assert len({say(word) for word in words}) == len(words), (language, words)


def script(*arguments: str) -> None:
    from wqcheck.page.main import main

    main(arguments)


def words_on(page: AppTest) -> str:
    assert not page.exception, page.exception
    kinds = (page.markdown, page.caption, page.success, page.warning, page.error, page.info)
    return "\n".join(element.value for kind in kinds for element in kind).replace("\\", "")


@pytest.fixture
def french(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> AppTest:
    """Open the page on a store of its own, and choose French."""
    monkeypatch.chdir(tmp_path)
    arguments: Any = (f"--store={tmp_path / 'records.sqlite'}",)
    page = AppTest.from_function(script, args=arguments, default_timeout=120).run()
    assert "What waits today" in words_on(page)
    page.selectbox(key=LANGUAGE_KEY).set_value("fr").run()
    monkeypatch.setitem(st.session_state, LANGUAGE_KEY, "fr")  # AppTest writes the options again outside of the page
    return page


def test_start_is_read_in_french(french: AppTest) -> None:
    say = catalogue("fr", PAGE)
    words = words_on(french)
    assert say("What waits today") == "Ce qui attend aujourd’hui"
    assert say("What waits today") in words
    assert say(CAUTION) in words
    assert "What waits today" not in words
    assert french.radio(key=VIEW_KEY).options == [say(name) for name, _ in VIEWS]
    assert french.button(key=SAMPLE_BUTTON).label == "Essayer l’usine d’exemple (inventée)"


def test_every_view_draws_the_sample_plant_in_french(french: AppTest) -> None:
    """The recommendation and the caution are French on Take in and Release; no view fails or falls back."""
    say = catalogue("fr", PAGE)
    french.button(key=SAMPLE_BUTTON).click().run()
    for name, _ in VIEWS:
        french.radio(key=VIEW_KEY).set_value(name).run()
        words = words_on(french)
        assert CAUTION not in words, name
        if name in ("Take in", "Release"):
            assert any(f"**{say(word)}" in words for word in DISPOSITION_WORDS.values()), name
