"""Turns a language code into its catalogue: messages by their English text, with numbers and dates as it writes them.

Catalogues are gettext files, ``locale/DOMAIN.LANGUAGE.po``; Babel reads them when they are first asked for. A message
that a catalogue does not hold, or holds only as *fuzzy*, stays in English, so that nothing is ever left out.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import cache
from importlib import resources

from wqcheck.errors import WqcheckError

SOURCE = "en"
PAPERS = "papers"
"""The domain of certificates and notices."""
PAGE = "page"
"""The domain of the page."""

LANGUAGES: Mapping[str, str] = {
    "en": "English",
    "fr": "français",
    "pt": "português",
    "es": "español",
    "ar": "العربية",
}
"""Language codes (ISO 639-1), each with its own name."""

PAGE_LANGUAGES = ("en", "fr", "pt", "es")
"""Languages whose catalogue of the page is complete."""

NARROW_BLANK = "\N{NARROW NO-BREAK SPACE}"
_PLACE = re.compile(r"\{(\w+)\}")
_LEFTWARDS = frozenset({"ar"})


@dataclass(frozen=True, slots=True)
class Catalogue:
    """One language: call it with an English message to get that message in the language.

    Attributes
    ----------
    language : str
        A key of :data:`LANGUAGES`.
    messages : Mapping[str, str]
        English message → translation.
    local_dates : bool
        Whether dates are written as the language does; ISO 8601 otherwise.
    local_numbers : bool
        Whether numbers have the decimal mark of the language; a point otherwise.
    """

    language: str = SOURCE
    messages: Mapping[str, str] = field(default_factory=dict)
    local_dates: bool = False
    local_numbers: bool = True

    def __call__(self, message: str, **values: object) -> str:
        """Translate a message and put ``values`` in the places of their names in braces."""
        text = self.messages.get(message) or message
        return _PLACE.sub(lambda place: str(values.get(place[1], place[0])), text)

    @property
    def leftwards(self) -> bool:
        """Whether the language is written from right to left."""
        return self.language in _LEFTWARDS

    def figure(self, text: str) -> str:
        """Write a number (digits with a point) with the decimal mark of the language; digits stay 0 to 9."""
        if self.language == SOURCE or not self.local_numbers:
            return text
        return text.replace(".", _decimal_mark(self.language))

    def count(self, number: int) -> str:
        """Write a whole number: commas between thousands in English, a narrow no-break space in other languages.

        The space is that of ISO 80000-1; a comma is the decimal mark of many languages.
        """
        return f"{number:,}" if self.language == SOURCE else f"{number:,}".replace(",", NARROW_BLANK)

    def day(self, day: date) -> str:
        """Write a day, or a moment with its time: ISO 8601 unless the catalogue is to write local dates."""
        moment = isinstance(day, datetime)
        if not self.local_dates:
            return day.strftime("%Y-%m-%d %H:%M" if moment else "%Y-%m-%d")
        from babel.dates import format_date, format_time

        written = format_date(day, "medium", locale=self.language)
        return f"{written}, {format_time(day, 'short', locale=self.language)}" if isinstance(day, datetime) else written


ENGLISH = Catalogue()


@cache
def catalogue(language: str, domain: str = PAPERS) -> Catalogue:
    """Return a language's catalogue.

    Raises
    ------
    WqcheckError
        The language is none of :data:`LANGUAGES`.
    """
    if language not in LANGUAGES:
        offered = ", ".join(f"{code} ({name})" for code, name in LANGUAGES.items())
        raise WqcheckError(f"the language must be one of {offered} (given: {language!r})")
    return ENGLISH if language == SOURCE else Catalogue(language, _messages(language, domain))


def _messages(language: str, domain: str) -> dict[str, str]:
    from babel.messages.pofile import read_po

    place = resources.files("wqcheck.languages").joinpath("locale", f"{domain}.{language}.po")
    with place.open("rb") as file:
        entries = read_po(file, locale=language)
    return {str(entry.id): str(entry.string) for entry in entries if entry.id and entry.string and not entry.fuzzy}


@cache
def _decimal_mark(language: str) -> str:
    from babel.numbers import get_decimal_symbol

    return get_decimal_symbol(language)
