"""Turns the unknown name of an analyte into parameters that it may mean: offered to a person, never applied."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache

from rapidfuzz import fuzz, process
from rapidfuzz.distance import OSA

from wqcheck.parameters import aliases, catalogue, normalise, parameter_for_cas
from wqcheck.results import words_for_results

ALIKE = 74.0
"""Least likeness, in percent of the letters of both names, of a name that is offered."""

_CAS_DIGITS = re.compile(r"\b(\d{2,7})\W?(\d{2})\W?(\d)\b")


@cache
def nearest_parameters(text: str, most: int = 4) -> tuple[str, ...]:
    """Return the codes of at most *most* parameters that *text* may mean, likeliest first.

    A CAS number comes first, with or without its hyphens, then a formula or known name that stands in the text as a
    word or in brackets, then known names by likeness of letters in any order of words (rapidfuzz).
    """
    found = dict.fromkeys([*_by_cas(text), *_by_word(text), *_by_letters(normalise(text))])
    return tuple(found)[:most]


@cache
def nearest_word(text: str) -> str:
    """Return the known word for a result (``absent``) that a text without digits is likely a slip of, or ``""``."""
    plain = text.strip().lower()
    if len(plain) < 4 or any(map(str.isdigit, plain)):
        return ""
    near = process.extractOne(plain, words_for_results(), scorer=OSA.normalized_similarity, score_cutoff=ALIKE / 100)
    return near[0] if near else ""


def did_you_mean(text: str) -> str:
    """Return a part of a sentence that offers the nearest names, or says that none is near."""
    names = [catalogue()[code].name for code in nearest_parameters(text)]
    return f"did you mean {' or '.join(names)}?" if names else "no known name is near it."


def _by_cas(text: str) -> Iterator[str]:
    for match in _CAS_DIGITS.finditer(text):
        code = parameter_for_cas("-".join(match.groups()))
        if code is not None:
            yield code


def _by_word(text: str) -> Iterator[str]:
    """Yield what formulas and names of at least two letters in the text mean, those in brackets first."""
    known = aliases()
    inside = re.findall(r"[(\[]([^()\[\]]+)[)\]]", text)
    words = [word for word in re.split(r"[\s,;:/()\[\]]+", text) if len(word) > 1 and not word.islower()]
    for part in (*inside, *words):
        alias = known.get(normalise(part))
        if alias is not None:
            yield alias.code


def _by_letters(name: str) -> Iterator[str]:
    if len(name) < 3:
        return
    names = list(aliases())
    near = process.extract(name, names, scorer=fuzz.token_sort_ratio, limit=30, score_cutoff=ALIKE)
    for likely, _, _ in sorted(near, key=lambda hit: -hit[1] - 100 * OSA.normalized_similarity(name, hit[0])):
        yield aliases()[likely].code
