"""Turns whole columns of cells into texts, numbers, results, units and analytes; each distinct text is read once."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from itertools import chain
from operator import attrgetter
from typing import Any

import numpy as np
import numpy.typing as npt

from wqcheck.errors import UnknownUnitError
from wqcheck.numerals import IN_DOUBT
from wqcheck.results import ReportedResult, parse_result, plain_number
from wqcheck.sheets.coded import Coded
from wqcheck.sheets.grid import Sheet
from wqcheck.sheets.recognise import recognise_analyte
from wqcheck.sheets.roles import cell_text
from wqcheck.tables import Sign
from wqcheck.units import Unit, recognise_unit

_DECIMAL_COMMA = re.compile(
    r"(?<![\d.,])(?:\d+,\d{1,2}|\d+,\d{4,}|0\d*,\d+|\d{4,},\d+|\d{1,3}(?:\.\d{3})+,\d+)(?![\d.,])"
)
_DECIMAL_POINT = re.compile(
    r"(?<![\d.,])(?:\d+\.\d{1,2}|\d+\.\d{4,}|0\d*\.\d+|\d{4,}\.\d+|\d{1,3}(?:,\d{3})+\.\d+)(?![\d.,])"
)
_PLAIN_NUMBER = re.compile(r"\s*[<>≤≥±]?\s*[\d.,]+\s*%?\s*")
_POINT_OR_THOUSANDS = re.compile(r"(?<![\d.,])[1-9]\d{0,2}\.\d{3}(?![\d.,])")
_THOUSANDS_POINT = re.compile(r"(?<![\d.,])\d{1,3}(?:(?:\.\d{3})+,\d+|(?:\.\d{3}){2,})(?![\d.,])")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ParsedResults:
    """What n result cells say: most a plain number, the others a :class:`~wqcheck.results.ReportedResult` each.

    ``codes`` (shape (n,)) point into the texts of ``plain`` numbers (values in ``numbers``) and, behind these, into
    ``others``. ``marks`` are the decimal marks of the columns of texts, blank where neither the column nor the sheet
    proves one, or where ``1.234`` stands beside decimal commas.
    """

    codes: npt.NDArray[np.int64]
    plain: tuple[str, ...]
    numbers: tuple[float, ...]
    others: tuple[ReportedResult, ...]
    marks: Mapping[int, str]
    _parts: dict[str, Coded] = field(default_factory=dict, init=False)

    def part(self, name: str) -> Coded:
        """Return one part of each result, blank where it has none."""
        if name not in self._parts:
            self._parts[name] = self._part(name)
        return self._parts[name]

    def _part(self, name: str) -> Coded:
        others = [None if value == "" else value for value in map(attrgetter(name), self.others)]
        if name in {"text", "value"}:
            plain: tuple[Any, ...] = self.plain if name == "text" else self.numbers
            return Coded(self.codes, (*self.plain, *self.others)).with_values([*plain, *others])
        one = np.maximum(self.codes - len(self.plain) + 1, 0)
        return Coded(one, ("plain", *self.others)).with_values([Sign.EQUAL if name == "sign" else None, *others])

    def taken(self, rows: npt.NDArray[np.bool_]) -> ParsedResults:
        """Return the results at the flagged *rows* (shape (n,))."""
        return replace(self, codes=self.codes[rows])


def parse_results(
    sheet: Sheet, rows: npt.NDArray[np.int64], columns: npt.NDArray[np.int64], told: str = ""
) -> ParsedResults:
    """Return the parsed cells of *sheet* at *rows* and *columns* (shape (n,)); a column shares a decimal mark.

    *told* is the mark where neither the column nor the sheet proves one.
    """
    order = np.argsort(columns, kind="stable")
    parts = np.split(order, np.flatnonzero(np.diff(columns[order])) + 1) if len(order) else []
    given = {int(columns[part[0]]): (part, sheet.column(int(columns[part[0]])).taken(rows[part])) for part in parts}
    marks, doubtful = _marks(sheet, {column: cells.distinct for column, (_, cells) in given.items()})
    plain, others = dict[tuple[str, float], int](), list[ReportedResult]()
    codes = np.empty(len(columns), dtype=np.int64)
    for column, (part, cells) in given.items():
        mark = marks.get(column, "") or told or doubtful.get(column, "")
        places = [_place(cell, mark, plain, others) for cell in cells.distinct]
        codes[part] = np.array(places, dtype=np.int64)[cells.codes]
    return ParsedResults(
        codes=np.where(codes < 0, len(plain) - 1 - codes, codes),
        plain=tuple(text for text, _ in plain), numbers=tuple(number for _, number in plain), others=tuple(others),
        marks=marks,
    )  # fmt: skip


def _place(cell: object, mark: str, plain: dict[tuple[str, float], int], others: list[ReportedResult]) -> int:
    """Return the place of a cell among *plain* numbers, or ``-1 - place`` among *others*; put it there if it is new."""
    text = cell_text(cell)
    number = plain_number(text, mark) if not isinstance(cell, float) else cell if math.isfinite(cell) else None
    if number is not None:
        return plain.setdefault((text, number), len(plain))
    others.append(parse_result(cell if isinstance(cell, float) else text, mark))
    return -len(others)


def mark_beside(sheet: Sheet, cells: Iterable[object], stated: str, told: str) -> str:
    """Return the decimal mark of *cells* beside results: as they prove it, else as the results (*stated*) or *told*.

    Behind a mark that leaves ``1.234`` open stands :data:`IN_DOUBT`, as in :func:`parse_results`.
    """
    marks, doubtful = _marks(sheet, {0: cells}, stated)
    return marks.get(0, "") or told or doubtful.get(0, "")


def _marks(
    sheet: Sheet, given: Mapping[int, Iterable[object]], stated: str = ""
) -> tuple[dict[int, str], dict[int, str]]:
    """Return the decimal mark of each column that holds texts: what these prove, else what the sheet proves.

    *stated* is what other columns prove. Behind it stand the columns in which ``1.234`` may mean two numbers, with
    their mark and :data:`IN_DOUBT`; in the first they have none.
    """
    texts = {column: [cell for cell in cells if isinstance(cell, str)] for column, cells in given.items()}
    found = {column: decimal_mark(each) for column, each in texts.items() if each}
    marks = {mark for mark in (stated, *found.values()) if mark}
    overall = marks.pop() if len(marks) == 1 else ""
    proven = {column: mark or overall for column, mark in found.items()}
    asked = [c for c, mark in found.items() if mark != "." and any(map(_POINT_OR_THOUSANDS.search, texts[c]))]
    if not asked:
        return proven, {}
    numbers = _numbers_in(sheet)
    commas = any(map(_DECIMAL_COMMA.search, numbers))
    grouped = any(map(_THOUSANDS_POINT.search, numbers))
    asked = [c for c in asked if commas and not (grouped and proven[c] == ",")]
    doubtful = {c: ("," if proven[c] == "," else "") + IN_DOUBT for c in asked}
    return {**proven, **dict.fromkeys(doubtful, "")}, doubtful


def _numbers_in(sheet: Sheet) -> set[str]:
    """Return the texts of *sheet* that are numbers and nothing else."""
    rows = np.arange(len(sheet.cells))
    cells = chain.from_iterable(sheet.column(c).taken(rows).distinct for c in range(sheet.cells.shape[1]))
    return {cell for cell in cells if isinstance(cell, str) and _PLAIN_NUMBER.fullmatch(cell)}


def decimal_mark(texts: Iterable[str]) -> str:
    """Return the decimal mark that the *texts* prove (``","`` or ``"."``), or ``""`` when they prove none or both."""
    together = "\n".join(texts)
    comma, point = _DECIMAL_COMMA.search(together) is not None, _DECIMAL_POINT.search(together) is not None
    return "" if comma == point else ("," if comma else ".")


def texts_of(cells: Coded) -> Coded:
    """Return the cells as text: numbers shortest, dates ISO."""
    return cells.map(cell_text)


def analytes_of(texts: Coded) -> Coded:
    """Return the recognised analyte of each text, blank where it is none."""
    return texts.map(lambda text: recognise_analyte(text.strip()))


def units_of(texts: Coded) -> Coded:
    """Return the unit of each text, blank where it is not known."""
    return texts.map(_unit)


def _unit(text: str) -> Unit | None:
    try:
        return recognise_unit(text.strip())
    except UnknownUnitError:
        return None
