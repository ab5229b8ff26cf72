"""Turns cells into kinds of content (number, result word, date, unit, analyte, heading) and columns into profiles."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from enum import IntFlag
from functools import cache

import numpy as np
import numpy.typing as npt

from wqcheck.results import parse_result
from wqcheck.sheets.coded import Coded
from wqcheck.sheets.grid import Cells
from wqcheck.sheets.headings import heading_role
from wqcheck.sheets.recognise import recognise_analyte, unit_or_none
from wqcheck.tables import Sign


class Kind(IntFlag):
    """What a cell can be; one text may be several (``pH`` is a unit and an analyte)."""

    BLANK = 0
    NUMBER = 1
    RESULT_WORD = 2
    NOT_DONE = 4
    DATE = 8
    UNIT = 16
    ANALYTE = 32
    HEADING = 64
    TEXT = 128
    NUMBER_WITH_UNIT = 256


RESULT_LIKE = Kind.NUMBER | Kind.RESULT_WORD

_DATE_TEXT = re.compile(
    r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}([ T].*)?|\d{1,2}(?:er|st|nd|rd|th)?[-/. ]\s?[^\W\d]{3,10}\.?[-/., ]+\d{2,4}"
    r"([ T].*)?|[^\W\d]{3,10}[-. ]\d{1,2},? \d{4}([ T].*)?"
    r"|\d{1,2} (de )?[^\W\d]{3,10} (de )?\d{4}|[^\W\d]{3,9}[-/. ]+\d{2,4}|(19|20)\d{6} \d{3,4}"
    r"|\d{1,2}:\d{2}(:\d{2})?( ?[ap]m)?,? +\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}"
)


def kind_of(cell: object) -> Kind:
    """Return all kinds that *cell* can be."""
    if cell is None:
        return Kind.BLANK
    if isinstance(cell, float):
        return Kind.NUMBER
    if isinstance(cell, dt.date | dt.time | dt.timedelta):
        return Kind.DATE
    return _kind_of_text(str(cell).strip())


@cache
def _kind_of_text(text: str) -> Kind:
    if is_date_text(text):
        return Kind.DATE
    kind = Kind.BLANK if len(text) > 160 else _result_kind(text)
    if kind & (Kind.NUMBER | Kind.NUMBER_WITH_UNIT):
        return kind
    if recognise_analyte(text) is not None:
        kind |= Kind.ANALYTE
    if unit_or_none(text) is not None or text.strip("()[] ") in {"pH", "-"}:
        kind |= Kind.UNIT
    if heading_role(text.rstrip(" :")):
        kind |= Kind.HEADING
    return kind or Kind.TEXT


def is_date_text(text: str) -> bool:
    """Return whether *text* is written as a calendar date, in whatever order."""
    return (
        len(text) < 40
        and _DATE_TEXT.fullmatch(text) is not None
        and not re.fullmatch(r"\d{1,2}\.\d{1,2}\.?\d{0,1}", text)
    )


def _result_kind(text: str) -> Kind:
    result = parse_result(text)
    if result.sign is Sign.NOT_DONE:
        return Kind.NOT_DONE
    if result.sign is Sign.UNREADABLE:
        return Kind.NUMBER if result.problem.startswith("can be read") else Kind.BLANK
    if result.value is None:
        return Kind.RESULT_WORD
    if result.unit_text:
        return Kind.NUMBER_WITH_UNIT | Kind.NUMBER if unit_or_none(result.unit_text) else Kind.BLANK
    return Kind.NUMBER


def kinds_of(cells: Cells) -> npt.NDArray[np.int64]:
    """Return the kinds of *cells* (rows × columns) as flags of the same shape."""
    given = Coded.of(cells.ravel())
    table = np.array([*(int(kind_of(cell)) for cell in given.distinct), 0], dtype=np.int64)
    return np.asarray(table[given.codes].reshape(cells.shape))


@dataclass(frozen=True, slots=True)
class Profile:
    """Shares of the non-blank cells of a column (0-1) that can be of each kind, and how many cells there are."""

    filled: int
    result_like: float
    number: float
    result_word: float
    not_done: float
    date: float
    unit: float
    analyte: float
    distinct: int


def profile(column: Cells, kinds: npt.NDArray[np.int64]) -> Profile:
    """Return the profile of one *column* of cells with its *kinds*, both of shape (rows,)."""
    filled = int((kinds != 0).sum())
    share = {kind: float(((kinds & int(kind)) != 0).sum()) / max(filled, 1) for kind in Kind if kind}
    results = float(((kinds & int(RESULT_LIKE)) != 0).sum()) / max(filled, 1)
    return Profile(
        filled=filled,
        result_like=results,
        number=share[Kind.NUMBER],
        result_word=share[Kind.RESULT_WORD],
        not_done=share[Kind.NOT_DONE],
        date=share[Kind.DATE],
        unit=share[Kind.UNIT],
        analyte=share[Kind.ANALYTE],
        distinct=len({str(cell) for cell in column if cell is not None}),
    )
