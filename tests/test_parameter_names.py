"""The names of parameters in other languages are of known codes, complete, apart, and read back as what they name."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
import streamlit as st

from wqcheck.languages import parameter_names
from wqcheck.languages.catalogues import PAGE_LANGUAGES, catalogue
from wqcheck.languages.parameter_names import FILE, codes_named, named_in
from wqcheck.page.spoken import LANGUAGE_KEY
from wqcheck.page.words import codes_found, series_words, titled
from wqcheck.parameters import aliases, normalise
from wqcheck.parameters import catalogue as parameters

TRANSLATED = [language for language in PAGE_LANGUAGES if language != "en"]
TEXT = (Path(parameter_names.__file__).parent / FILE).read_text("utf-8")
ROWS = list(csv.DictReader(TEXT.splitlines()))


def test_every_code_is_known_and_stands_once() -> None:
    codes = [row["code"] for row in ROWS]
    assert set(codes) <= set(parameters())
    assert len(set(codes)) == len(codes) > 100


def test_every_cell_is_filled() -> None:
    assert set(ROWS[0]) == {"code", *TRANSLATED}
    assert [row for row in ROWS if not all(cell and cell == cell.strip() for cell in row.values())] == []


@pytest.mark.parametrize("language", TRANSLATED)
def test_no_two_parameters_share_a_name(language: str) -> None:
    """Beside names in English too, for parameters without a row keep those."""
    named = {row["code"]: row[language] for row in ROWS}
    shown = [normalise(named.get(code, entry.name)) for code, entry in parameters().items()]
    assert len(set(shown)) == len(shown)


@pytest.mark.parametrize("language", TRANSLATED)
def test_a_name_never_reads_as_another_parameter(language: str) -> None:
    """The spellings of laboratories are the second source: where one of them is the name, it means the same code."""
    known = {row["code"]: aliases().get(normalise(row[language])) for row in ROWS}
    assert {code: alias.code for code, alias in known.items() if alias and alias.code != code} == {}
    assert sum(alias is not None for alias in known.values()) > 0.8 * len(ROWS)


def test_the_page_names_in_its_language_and_falls_back_to_english(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(st.session_state, LANGUAGE_KEY, "fr")
    assert (titled("free_chlorine"), titled("ph"), titled("atrazine")) == ("Chlore libre", "pH", "Atrazine")
    assert series_words("lead", "FP") == "plomb à FP"
    assert "heterotrophic_plate_count_22c" in codes_found("germes à 22")
    assert codes_named("fr", "") == frozenset()
    assert named_in("en", "lead") == ""


def test_thousands_are_apart_as_the_language_writes_them() -> None:
    """ISO 80000-1: groups of three digits apart by a small space, never by a comma or a point."""
    assert catalogue("en").count(12345) == "12,345"
    assert {catalogue(language).count(12345) for language in TRANSLATED} == {"12\N{NARROW NO-BREAK SPACE}345"}
    assert catalogue("fr").count(999) == "999"
