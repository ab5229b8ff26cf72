"""Turns the marks that an issuer sets beside its values into words.

The words of ``marks.csv`` are our own; what the marks of the WHO Guidelines mean (notes below Table A3.3 of Annex 3,
fourth edition with both addenda, 2022) is from memory.
"""

from __future__ import annotations

import csv
from functools import cache
from importlib import resources


def mark_words(status: str, source: str) -> str:
    """Return a status in words: each mark of the issuer that *source* begins with in its words, any other as it is."""
    known = {mark: words for issuer, mark, words in _marks() if source.startswith(issuer)}
    return "; ".join(known.get(mark, mark) for mark in map(str.strip, status.split(",")) if mark)


@cache
def _marks() -> tuple[tuple[str, str, str], ...]:
    text = resources.files("wqcheck.limit_tables").joinpath("marks.csv").read_text(encoding="utf-8")
    return tuple((row["issuer"], row["mark"], row["words"]) for row in csv.DictReader(text.splitlines()))
