"""Turns the text of a heading or label into the part that its column, row or value plays.

Plain spellings of all languages stand in ``heading_words.csv``, patterns in ``headings.csv``, of which the first match
wins. Both are held against the whole normalised text, once with and once without what stands in brackets. A heading
that is also the name of a parameter is left to the parameters.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Mapping
from functools import cache
from importlib.resources import files

from wqcheck.parameters import normalise

BATCH_LABELS = frozenset(
    [
        "product",
        "product_kind",
        "plant",
        "address",
        "line",
        "tank",
        "containers",
        "container_codes",
        "run_start",
        "run_end",
        "volume",
        "best_before",
        "sampled_by",
    ]
)
"""Roles that only labels of the block above a table have; they describe the batch, not a result."""

_BRACKETS = re.compile(r"\([^()]*\)|\[[^\[\]]*\]")
_NUMBERED = re.compile(r"(?!IS|SANS|EAS|EU|WHO|EPA)[^\s\d]{0,6}\d{3,}\S*")
"""A number of a sample, such as ``S-000123``; told before any pattern is tried, for sheets hold many of them."""

_LETTER = re.compile(r"[^\W\d_]")
_CAMEL = re.compile(r"(?<=[a-z])(?=[A-Z])")


@cache
def _patterns() -> tuple[tuple[str, re.Pattern[str]], ...]:
    return tuple((row["role"], re.compile(row["pattern"])) for row in _rows("headings.csv"))


@cache
def _words() -> Mapping[str, str]:
    return {normalise(row["heading"]): row["role"] for row in _rows("heading_words.csv")}


def _rows(name: str) -> Iterator[dict[str, str]]:
    text = files("wqcheck.sheets").joinpath(name).read_text(encoding="utf-8")
    yield from csv.DictReader(text.splitlines())


def summary_role(text: str) -> str:
    """Return ``limit``, ``computed`` … for the name of a row of no sample (``Mean``, ``WHO limit``), else ``""``."""
    if len(text.split()) > 4 or _NUMBERED.fullmatch(text):
        return ""
    role = heading_role(text.strip().rstrip(" :"))
    return role if role in {"limit", "computed", "verdict"} else ""


@cache
def heading_role(text: str, besides: str = "") -> str:
    """Return the role of a heading such as ``Sampling date`` or ``LOQ``; ``""`` when it is none that is known.

    *besides* is a role that what stands below the heading rules out; the next that the text can mean is returned.
    """
    if len(text) > 120 or _LETTER.search(text) is None:
        return ""
    without = _BRACKETS.sub(" ", text)
    for form in dict.fromkeys((normalise(without), normalise(text), normalise(_CAMEL.sub(" ", without)))):
        if _words().get(form, besides) != besides:
            return _words()[form]
        for role, pattern in _patterns():
            if form and role != besides and pattern.fullmatch(form):
                return role
    return ""
