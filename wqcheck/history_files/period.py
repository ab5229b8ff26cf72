"""Turns the words for a period, or its first and last day, into days."""

from __future__ import annotations

import re
from calendar import monthrange
from dataclasses import dataclass
from datetime import date

from wqcheck.errors import WqcheckError

_WORDS = re.compile(r"(?P<year>\d{4})(?:-(?:[Qq](?P<quarter>[1-4])|(?P<month>0[1-9]|1[0-2])))?")


@dataclass(frozen=True, slots=True)
class Period:
    """The first and the last day of a period, both within it."""

    since: date
    until: date

    @property
    def words(self) -> str:
        """The period for print."""
        return f"{self.since.isoformat()} to {self.until.isoformat()}"


def period_of(words: str = "", since: str = "", until: str = "") -> Period:
    """Return a period by its words, or by its first and last day.

    Parameters
    ----------
    words : str
        A year ``2026``, a quarter ``2026-Q3`` or a month ``2026-07``.
    since, until : str
        ISO days, both without *words*.

    Raises
    ------
    WqcheckError
        Neither or both are given, a word or day is none, or the last day is before the first.
    """
    if words and not since and not until:
        return _named(words.strip())
    if words or not since or not until:
        raise WqcheckError("a period is its words (2026, 2026-Q3, 2026-07) or its first and last day; give one of them")
    try:
        first, last = date.fromisoformat(since), date.fromisoformat(until)
    except ValueError:
        raise WqcheckError(f"first and last day are written like 2026-07-01 (given: {since!r}, {until!r})") from None
    if last < first:
        raise WqcheckError(f"the last day {until} is before the first day {since}; change them around")
    return Period(first, last)


def _named(words: str) -> Period:
    match = _WORDS.fullmatch(words)
    if match is None or int(match["year"]) == 0:
        raise WqcheckError(f"a period is written 2026, 2026-Q3 or 2026-07 (given: {words!r})")
    year = int(match["year"])
    first, last = 1, 12
    if match["quarter"]:
        first, last = 3 * int(match["quarter"]) - 2, 3 * int(match["quarter"])
    if match["month"]:
        first = last = int(match["month"])
    return Period(date(year, first, 1), date(year, last, monthrange(year, last)[1]))
