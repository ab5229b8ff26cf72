"""Turns limit tables, their comparisons and their changes into lines that fit a terminal."""

from __future__ import annotations

import re
import shutil
import textwrap
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from string import ascii_uppercase
from typing import TYPE_CHECKING, Any

import pandas as pd

from wqcheck.certificate.lines import UNVERIFIED
from wqcheck.limit_comparison.changes import Change
from wqcheck.limit_comparison.comparison import Standing
from wqcheck.limit_comparison.side_by_side import Marks, side_by_side
from wqcheck.limit_comparison.wording import rows_in_words
from wqcheck.limit_tables.loading import covers

if TYPE_CHECKING:
    from wqcheck.limit_tables.loading import LimitTable

MARK, GENERIC = "*", "†"
_NARROWEST = 8
_GAP = "  "
_WORD = re.compile(r"[^\s_]*_|[^\s_]+\s*")
_DECIDES = "A comparison of published figures; the text in force and the regulator of the country of sale decide."
_GONE = "Dropped means that the new table has no such limit; another text may have one."


def terminal_width() -> int:
    """Return the width of the terminal in characters, 160 where there is none."""
    return shutil.get_terminal_size((160, 24)).columns


def laid_out(rows: Sequence[Sequence[str]], width: int) -> list[str]:
    """Return *rows* of cells (the first is the heading) as lines of at most *width* characters where that can be.

    The widest columns are made narrower and their cells wrapped, between words and after ``_`` as long as that does.
    """
    columns = list(zip(*rows, strict=True))
    sizes = [max(map(len, column)) for column in columns]
    words = [max(len(word) for cell in column for word in _WORD.findall(cell) or [""]) for column in columns]
    for floors in (words, [_NARROWEST] * len(words)):
        spare = [place for place, size in enumerate(sizes) if size > floors[place]]
        while spare and sum(sizes) + len(_GAP) * (len(sizes) - 1) > width:
            sizes[max(spare, key=lambda place: sizes[place])] -= 1
            spare = [place for place, size in enumerate(sizes) if size > floors[place]]
    lines = []
    for row in rows:
        cells = [_wrapped(cell, size) for cell, size in zip(row, sizes, strict=True)]
        for part in range(max(map(len, cells))):
            shown = [(cell[part] if part < len(cell) else "").ljust(n) for cell, n in zip(cells, sizes, strict=True)]
            lines.append(_GAP.join(shown).rstrip())
    return lines


def _wrapped(cell: str, size: int) -> list[str]:
    """Return *cell* in lines of at most *size* characters; a word that is longer is cut."""
    lines = [""]
    for word in _WORD.findall(cell):
        if lines[-1] and len(lines[-1] + word.rstrip()) > size:
            lines.append("")
        whole = max(len(word.rstrip()) - 1, 0) // size
        lines[-1] += word[:size] if whole else word
        lines += [word[place * size : (place + 1) * size] for place in range(1, whole + 1)]
    return [line.rstrip() for line in lines]


def _starred(evidence: object) -> str:
    return "" if str(evidence).startswith("primary text") else MARK


def limit_lines(rows: pd.DataFrame, width: int) -> Iterator[str]:
    """Yield the *rows* of one limit table in words, and how many of them were not verified.

    Parameters
    ----------
    rows : DataFrame
        Rows of :class:`wqcheck.tables.Limits`.
    width : int
        Characters on a line.
    """
    words = rows_in_words(rows)
    words["limit"] += [_starred(evidence) for evidence in rows["evidence"]]
    yield from laid_out([list(map(str, words)), *words.astype("str").to_numpy().tolist()], width)
    unread = sum(_starred(evidence) != "" for evidence in rows["evidence"])
    yield f"{len(rows)} rows" + (
        f"; {unread} of them {UNVERIFIED} ({MARK})" if unread else "; all read in the official text"
    )


def comparison_lines(
    compared: pd.DataFrame, tables: Sequence[LimitTable], *, product: str, on: date, width: int
) -> Iterator[str]:
    """Yield a comparison as one line per parameter and kind of limit, with a letter for each table.

    Parameters
    ----------
    compared : DataFrame
        Rows of :class:`wqcheck.limit_comparison.comparison.ComparedLimits`.
    tables : sequence of LimitTable
        The tables that were compared.
    product, on, width
        Kind of water, day, and characters on a line.
    """
    letters = dict(zip(dict.fromkeys(compared["table"]), ascii_uppercase, strict=False))
    said = f"{product} water, limits that hold on {on:%Y-%m-%d}, each in the unit of the first table that has one"
    yield from textwrap.wrap(said, width)
    for table, (name, letter) in zip(tables, letters.items(), strict=False):
        bare = "" if covers(table, product) else f" (no limit for {product} water)"
        yield textwrap.shorten(f"{letter}  {name}: {table.title}{bare}", width, placeholder="…")
    yield ""
    full, short = (
        side_by_side(compared, letters, Marks(unverified=MARK, single=GENERIC, nothing="–", published=published))
        .to_numpy()
        .tolist()
        for published in (True, False)
    )
    heading = ["parameter", "limit in", *letters.values(), "strictest"]
    natural = sum(max(map(len, column)) + len(_GAP) for column in zip(heading, *full, strict=True))
    yield from laid_out([heading, *(full if natural <= width else short)], width)
    yield ""
    yield from _comparison_summary(compared, letters)
    if compared["limit"].str.contains("any single pesticide", na=False).any():
        yield f"{GENERIC} the value for any single pesticide"
    yield from textwrap.wrap(f"{MARK} {UNVERIFIED}. {_DECIDES}", width)


def _comparison_summary(compared: pd.DataFrame, letters: Mapping[str, str]) -> Iterator[str]:
    groups = compared.drop_duplicates(["parameter", "asks"])
    yield f"{len(groups)} limits of {groups['parameter'].nunique()} parameters"
    for standing in Standing:
        rows = compared[compared["standing"] == standing].drop_duplicates(["parameter", "asks", "table"])
        counts = rows["table"].value_counts()
        if len(rows):
            yield f"  {standing}: " + ", ".join(f"{letters[t]} {counts[t]}" for t in letters if t in counts)


def change_lines(changes: pd.DataFrame, old: LimitTable, new: LimitTable, *, on: date, width: int) -> Iterator[str]:
    """Yield the changes between two editions, those that ask for action first; unchanged ones only by name.

    Parameters
    ----------
    changes : DataFrame
        Rows of :class:`wqcheck.limit_comparison.changes.LimitChanges`.
    old, new, on, width
        The editions, the day from which was looked, and characters on a line.
    """
    yield textwrap.shorten(f"old  {old.name}: {old.title}", width, placeholder="…")
    yield textwrap.shorten(f"new  {new.name}: {new.title}", width, placeholder="…")
    counts = changes["change"].value_counts()
    told = ", ".join(f"{counts[change]} {change}" for change in Change if change in counts) or "no limits"
    yield from textwrap.wrap(f"seen on {on:%Y-%m-%d}: {told}", width)
    for change in Change:
        rows = changes[changes["change"] == change]
        if not len(rows):
            continue
        yield ""
        yield str(change)
        if change == Change.UNCHANGED:
            yield from textwrap.wrap(", ".join(dict.fromkeys(rows["parameter"])), width)
            continue
        heading = ["parameter", "waters", "from", "old", "new", "remark"]
        yield from laid_out([heading, *map(_changed_row, rows.to_dict("records"))], width)
    yield ""
    yield from textwrap.wrap(f"{MARK} {UNVERIFIED}. {_GONE} {_DECIDES}", width)


def _changed_row(row: Mapping[Any, Any]) -> list[str]:
    limits = [
        "" if pd.isna(row[side]) else f"{row[side]}{_starred(row[f'{side}_evidence'])} ({row[f'{side}_clause']})"
        for side in ("old", "new")
    ]
    starts = "" if pd.isna(row["starts"]) else f"{row['starts']:%Y-%m-%d}"
    return [str(row["parameter"]), str(row["product"]).replace(";", ","), starts, *limits, str(row["reason"])]
