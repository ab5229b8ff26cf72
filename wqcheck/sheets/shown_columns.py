"""Turns columns whose heading alone says too little into what their cells show them to be.

A heading may be unknown (``cdate`` above dates), stand for two things (``Nombre``), or name a place that is the only
one in the table. None of these steps touches a column whose heading is known and agrees with its cells.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from importlib.resources import files

from wqcheck.parameters import normalise
from wqcheck.sheets.content import Profile
from wqcheck.sheets.grid import Cells
from wqcheck.sheets.headings import heading_role
from wqcheck.sheets.recognise import recognise_analyte
from wqcheck.sheets.table import Column

_LINK = re.compile(r"https?://\S+")
_IDENTIFIER = re.compile(
    r"(.* )?(id|ids|no|nr|num|numero|nummer|codes?|cod|codigo|ref|index|item|flag|inst|rank|count)"
)
_LAST_DIGIT = re.compile(r"(?P<stem>.*[^\W\d_]{2})[ _.-]?\d")
_LONGEST_GAP = 2
_FEWEST_ANALYTES = 6
_LONGEST_NAME = 60
_LOOKED_AT = 50
_BESIDE = frozenset(
    ["sign", "qualifier", "verdict", "reporting_limit", "detection_limit", "uncertainty", "remark", "unit", "method"]
)
"""Roles of columns that belong to the analyte on their left; they do not part analytes that stand across."""


@cache
def _places() -> frozenset[str]:
    text = files("wqcheck.sheets").joinpath("place_words.csv").read_text(encoding="utf-8")
    return frozenset(normalise(row["word"]) for row in csv.DictReader(text.splitlines()))


def by_their_cells(cells: Cells, columns: Mapping[int, Column], profiles: list[Profile]) -> dict[int, Column]:
    """Return *columns* with the roles that *cells*, the rows below the headings, show where the headings do not."""
    found = dict(columns)
    for c, column in columns.items():
        if column.role == "computed" and column.analyte is None and _holds_words(profiles[c]):
            found[c] = replace(column, role=heading_role(column.heading, besides="computed"))
        elif column.role not in {"", "other"} and column.analyte is None and _only_links(cells[:, c]):
            found[c] = replace(column, role="other")
        elif column.role == "point" and _tells_a_story(cells[:, c]):
            found[c] = replace(column, role="remark")
    return _with_place(_with_date(found, profiles), profiles)


def _holds_words(content: Profile) -> bool:
    return content.filled > 0 and content.result_like < 0.1


def _tells_a_story(column: Cells) -> bool:
    """Return whether the first texts of *column* are longer than names of places are."""
    texts = [len(cell) for cell in column[:_LOOKED_AT] if isinstance(cell, str)]
    return len(texts) > 0 and sum(texts) / len(texts) > _LONGEST_NAME


def _only_links(column: Cells) -> bool:
    """Return whether *column* holds nothing but addresses of pages; the first cell of most shows that it does not."""
    filled = (cell for cell in column if cell is not None)
    first = next(filled, None)
    return _is_link(first) and all(map(_is_link, filled))


def _is_link(cell: object) -> bool:
    return isinstance(cell, str) and _LINK.fullmatch(cell.strip()) is not None


def _with_date(columns: dict[int, Column], profiles: list[Profile]) -> dict[int, Column]:
    """Take the only column of dates for the dates of sampling where no heading says so of any."""
    if any(column.role == "sampled_at" for column in columns.values()):
        return columns
    dated = [c for c, column in columns.items() if column.role == "" and profiles[c].date >= 0.9 and profiles[c].filled]
    return columns | {c: replace(columns[c], role="sampled_at") for c in dated if len(dated) == 1}


def _with_place(columns: dict[int, Column], profiles: list[Profile]) -> dict[int, Column]:
    """Take the column of places with most different names for the points where no heading names sample or point."""
    if any(column.role in {"sample", "point"} and profiles[c].filled for c, column in columns.items()):
        return columns
    places = [
        c for c, column in columns.items()
        if column.role in {"", "other"} and normalise(column.heading) in _places() and profiles[c].distinct > 1
    ]  # fmt: skip
    best = max(places, key=lambda c: (profiles[c].distinct, c), default=None)
    return columns if best is None else columns | {best: replace(columns[best], role="point")}


def with_analytes_between(columns: Mapping[int, Column], profiles: list[Profile]) -> dict[int, Column]:
    """Return the *columns* of a wide table with numbered ones (``Turb1``) and unknown ones between analytes as results.

    An unknown column of numbers is one where analytes stand on both sides of it, two such columns in a row at most,
    in a table of at least six analytes; its parameter stays unknown.
    """
    found = _with_numbered(dict(columns), profiles)
    across = [c for c, column in sorted(found.items()) if column.role not in _BESIDE and not _of_the_left(found, c)]
    if sum(column.role == "analyte" for column in found.values()) < _FEWEST_ANALYTES:
        return found
    gap: list[int] = []
    last = -1
    for c in across:
        if found[c].role == "analyte":
            if last >= 0 and 0 < len(gap) <= _LONGEST_GAP and all(_may_be_analyte(found[g], profiles[g]) for g in gap):
                found |= {g: Column("analyte", found[g].heading, None, found[g].unit, found[g].unit_text) for g in gap}
            last, gap = c, []
        else:
            gap.append(c)
    return found


def _of_the_left(columns: Mapping[int, Column], position: int) -> bool:
    """Return whether a heading is that of the column to the left with more behind it (``SI``, ``SICODE``)."""
    left, own = (columns[c].heading.lower() if c in columns else "" for c in (position - 1, position))
    return columns[position].role in {"", "other"} and 0 < len(left) < len(own) and own.startswith(left)


def _may_be_analyte(column: Column, content: Profile) -> bool:
    known = column.role != "" or not column.heading or _IDENTIFIER.fullmatch(normalise(column.heading)) is not None
    return not known and content.filled > 0 and content.number >= 0.9


def _with_numbered(columns: dict[int, Column], profiles: list[Profile]) -> dict[int, Column]:
    """Read ``Turb1``, ``Turb2`` as the analyte that they number, where it stands there more than once."""
    numbered = {c: stem for c, column in columns.items() if column.role == "" and (stem := _stem(column.heading))}
    named = {
        c: found for c, stem in numbered.items() if (found := recognise_analyte(stem)) and profiles[c].number > 0.5
    }
    codes = [found.code for found in named.values()]
    codes += [column.analyte.code for column in columns.values() if column.analyte is not None]
    return columns | {
        c: Column("analyte", columns[c].heading, found, found.unit, found.unit_text)
        for c, found in named.items()
        if codes.count(found.code) > 1
    }


def _stem(heading: str) -> str:
    match = _LAST_DIGIT.fullmatch(heading.strip())
    return match["stem"] if match else ""
