"""Every message of the page stands translated in every catalogue, and a reader who chooses a language reads it."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from tests.make_catalogues import LOCALE, page_messages, said_in, updated
from wqcheck.languages.catalogues import PAGE, PAGE_LANGUAGES, Catalogue, catalogue
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
    "pt": r"\b(segur[oa]s?|inóqu[oa]s?|sem perigo|sem risco|garantid[oa]s?)\b",
}
"""Words that would promise what no comparison with limits can."""


def places(text: str) -> set[str]:
    return set(re.findall(r"\{\w+\}", text))


def marks(text: str) -> dict[str, int]:
    return {mark: text.count(mark) for mark in ("*", "**", "`", "#", "\n")}


def test_every_catalogue_of_the_page_is_offered() -> None:
    assert {path.name for path in LOCALE.glob(f"{PAGE}.*.po")} == {f"{PAGE}.{language}.po" for language in TRANSLATED}


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
def page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> AppTest:
    """Open the page on a store of its own."""
    monkeypatch.chdir(tmp_path)
    arguments: Any = (f"--store={tmp_path / 'records.sqlite'}",)
    return AppTest.from_function(script, args=arguments, default_timeout=120).run()


def read_in(language: str, page: AppTest, monkeypatch: pytest.MonkeyPatch) -> Catalogue:
    """Choose a language on the open page."""
    page.selectbox(key=LANGUAGE_KEY).set_value(language).run()
    # AppTest writes the options again outside of the page
    monkeypatch.setitem(st.session_state, LANGUAGE_KEY, language)
    return catalogue(language, PAGE)


STARTS = {
    "fr": ("Ce qui attend aujourd’hui", "Essayer l’usine d’exemple (inventée)"),
    "pt": ("O que espera hoje", "Experimentar a fábrica de exemplo (inventada)"),
    "es": ("Qué espera hoy", "Probar la planta de ejemplo (inventada)"),
}
"""What stands first on Start, and its button."""


@pytest.mark.parametrize("language", TRANSLATED)
def test_start_is_read_in_every_language(language: str, page: AppTest, monkeypatch: pytest.MonkeyPatch) -> None:
    assert "What waits today" in words_on(page)
    say = read_in(language, page, monkeypatch)
    heading, button = STARTS[language]
    words = words_on(page)
    assert heading in words
    assert say(CAUTION) in words
    assert "What waits today" not in words
    assert page.radio(key=VIEW_KEY).options == [say(name) for name, _ in VIEWS]
    assert page.button(key=SAMPLE_BUTTON).label == button


@pytest.mark.parametrize("language", TRANSLATED)
def test_every_view_draws_the_sample_plant(language: str, page: AppTest, monkeypatch: pytest.MonkeyPatch) -> None:
    """The recommendation and the caution are translated on Take in and Release; no view fails or falls back."""
    say = read_in(language, page, monkeypatch)
    page.button(key=SAMPLE_BUTTON).click().run()
    for name, _ in VIEWS:
        page.radio(key=VIEW_KEY).set_value(name).run()
        words = words_on(page)
        assert CAUTION not in words, name
        if name in ("Take in", "Release"):
            assert any(f"**{say(word)}" in words for word in DISPOSITION_WORDS.values()), name
        if name == "Release":
            assert "File this certificate" not in words
            assert catalogue(language)("File this certificate with the records of batch {batch}, with the workbooks "
                                       "listed under Files.", batch="B2107") in words  # fmt: skip
