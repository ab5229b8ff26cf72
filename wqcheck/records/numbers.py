"""Turns a number pattern of the plant and the documents issued so far into the next number of the series."""

from __future__ import annotations

import string

from sqlalchemy import func, select

from wqcheck.errors import RecordRefusedError
from wqcheck.records.log import Writing
from wqcheck.records.schema import Certificates, table_of

PATTERN = "C-{year}-{number:05d}"
"""Pattern of a document's number unless the plant has its own: ``{number}`` counts from 1 in each series, and a series
is what the pattern gives for the same ``{year}``."""

_ALLOWED = {"number", "year"}


def next_number(work: Writing, pattern: str) -> tuple[str, str, int]:
    """Return the number of the next document, its series and its place in the series; nobody else can get it.

    Raises
    ------
    RecordRefusedError
        The pattern is not usable, or its number is already taken by another series.
    """
    table, year = table_of(Certificates), work.act.at.year
    series = series_of(pattern, year)
    last = work.connection.execute(select(func.max(table.c.ordinal)).where(table.c.series == series)).scalar()
    ordinal = (last or 0) + 1
    number = pattern.format(number=ordinal, year=year)
    taken = work.connection.execute(select(table.c.series).where(table.c.number == number)).scalar()
    if taken is not None:
        raise RecordRefusedError(f"the number {number} is taken by the series {taken}; give another pattern")
    return number, series, ordinal


def series_of(pattern: str, year: int) -> str:
    """Return the name of the series that a pattern counts in, such as ``C-2026-{number:05d}``.

    Raises
    ------
    RecordRefusedError
        The pattern has no ``{number}``, knows other names, or does not count.
    """
    try:
        parts = list(string.Formatter().parse(pattern))
        names = [name for _, name, _, _ in parts if name is not None]
        texts = {pattern.format(number=count, year=year) for count in (1, 2, 12_345)}
    except (ValueError, KeyError, IndexError, AttributeError) as problem:
        raise RecordRefusedError(f"the number pattern {pattern!r} is not usable ({problem}); {_HOW}") from None
    if set(names) - _ALLOWED or names.count("number") != 1 or len(texts) < 3:
        raise RecordRefusedError(f"the number pattern {pattern!r} does not count documents; {_HOW}")
    return "".join(
        text + ("" if name is None else str(year) if name == "year" else f"{{number:{form}}}" if form else "{number}")
        for text, name, form, _ in parts
    )


_HOW = f"write it like {PATTERN!r}, with one {{number}} and, if you like, {{year}}"
