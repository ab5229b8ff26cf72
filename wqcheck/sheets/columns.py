"""Turns whole columns of cells into parsed results, units and analytes: each distinct text is read once."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from wqcheck.errors import UnknownUnitError
from wqcheck.results import ReportedResult, format_number, parse_result
from wqcheck.sheets.grid import Cells
from wqcheck.sheets.recognise import Analyte, recognise_analyte
from wqcheck.units import Unit, recognise_unit

Texts = npt.NDArray[np.object_]

_DECIMAL_COMMA = re.compile(
    r"(?<![\d.,])(?:\d+,\d{1,2}|\d+,\d{4,}|0\d*,\d+|\d{4,},\d+|\d{1,3}(?:\.\d{3})+,\d+)(?![\d.,])"
)
_DECIMAL_POINT = re.compile(
    r"(?<![\d.,])(?:\d+\.\d{1,2}|\d+\.\d{4,}|0\d*\.\d+|\d{4,}\.\d+|\d{1,3}(?:,\d{3})+\.\d+)(?![\d.,])"
)


def map_unique(values: npt.NDArray[Any], read: Callable[[Any], Any], blank: Any = None) -> Texts:
    """Return ``read(value)`` for each of *values* (shape (n,)), calling it once per distinct value."""
    codes, uniques = pd.factorize(values)
    table = np.empty(len(uniques) + 1, dtype=object)
    for position, unique in enumerate(uniques):
        table[position] = read(unique)
    table[-1] = blank
    return np.asarray(table[codes], dtype=object)


def decimal_mark(texts: Iterable[str]) -> str:
    """Return the decimal mark that the *texts* prove (``","`` or ``"."``), or ``""`` when they prove none or both."""
    comma = point = False
    for text in texts:
        comma |= _DECIMAL_COMMA.search(text) is not None
        point |= _DECIMAL_POINT.search(text) is not None
    return "" if comma == point else ("," if comma else ".")


@dataclass(frozen=True, slots=True)
class ParsedResults:
    """Parts of n results, each array of shape (n,); numbers are NaN and texts are None where there is none."""

    reported: Texts
    sign: Texts
    value: npt.NDArray[np.float64]
    value_high: npt.NDArray[np.float64]
    uncertainty: npt.NDArray[np.float64]
    volume_ml: npt.NDArray[np.float64]
    unit_text: Texts
    qualifier: Texts
    problem: Texts


def parse_results(cells: Cells, columns: npt.NDArray[np.int64]) -> ParsedResults:
    """Return the parsed *cells* (shape (n,)); *columns* (shape (n,)) says which cells share a decimal mark."""
    is_text = np.fromiter((cell.__class__ is str for cell in cells), dtype=bool, count=len(cells))
    marks = _marks(cells, columns, is_text)
    parsed = np.empty(len(cells), dtype=object)
    parsed[~is_text] = map_unique(cells[~is_text], _parse_cell)
    for mark in dict.fromkeys(marks[is_text]):
        here = is_text & (marks == mark)
        parsed[here] = map_unique(cells[here], lambda text, mark=mark: parse_result(text, mark))  # type: ignore[misc]
    codes, uniques = pd.factorize(_ids(parsed))
    first = np.zeros(len(uniques), dtype=np.int64)
    first[codes[::-1]] = np.arange(len(parsed))[::-1]
    return _spread(list(parsed[first]), codes)


def _ids(parsed: Texts) -> npt.NDArray[np.int64]:
    return np.fromiter(map(id, parsed), dtype=np.int64, count=len(parsed))


def _spread(results: list[ReportedResult], codes: npt.NDArray[np.int64]) -> ParsedResults:
    def numbers(name: str) -> npt.NDArray[np.float64]:
        listed = [getattr(result, name) for result in results]
        return np.array([np.nan if n is None else n for n in listed], dtype=np.float64)[codes]

    def texts(name: str) -> Texts:
        table = np.empty(len(results), dtype=object)
        table[:] = [str(getattr(result, name)) or None for result in results]
        return np.asarray(table[codes], dtype=object)

    return ParsedResults(
        reported=texts("text"), sign=texts("sign"), value=numbers("value"), value_high=numbers("value_high"),
        uncertainty=numbers("uncertainty"), volume_ml=numbers("volume_ml"), unit_text=texts("unit_text"),
        qualifier=texts("qualifier"), problem=texts("problem"),
    )  # fmt: skip


def _parse_cell(cell: object) -> ReportedResult:
    return parse_result(cell if isinstance(cell, float) else str(cell))


def _marks(cells: Cells, columns: npt.NDArray[np.int64], is_text: npt.NDArray[np.bool_]) -> Texts:
    """Return the decimal mark of each cell: what its column proves, else what the sheet proves."""
    texts = cells[is_text]
    if not len(texts):
        return np.full(len(cells), "", dtype=object)
    found = {int(c): decimal_mark(pd.unique(texts[columns[is_text] == c])) for c in np.unique(columns[is_text])}
    proven = {mark for mark in found.values() if mark}
    overall = proven.pop() if len(proven) == 1 else ""
    return map_unique(columns, lambda c: found.get(int(c), "") or overall)


def analytes_of(texts: Texts) -> Texts:
    """Return the recognised analyte of each text (shape (n,)), None where it is none."""
    return map_unique(texts, lambda text: recognise_analyte(str(text).strip()))


def units_of(texts: Texts) -> Texts:
    """Return the unit of each text (shape (n,)), None where it is blank or unknown."""
    return map_unique(texts, _unit)


def _unit(text: object) -> Unit | None:
    try:
        return recognise_unit(str(text).strip())
    except UnknownUnitError:
        return None


def numbers_of(cells: Cells) -> npt.NDArray[np.float64]:
    """Return the plain numbers in helper columns such as LOQ or uncertainty (shape (n,)); signs are left off."""

    def read(cell: object) -> float:
        value = parse_result(cell if isinstance(cell, float) else str(cell)).value
        return np.nan if value is None else value

    return map_unique(cells, read, np.nan).astype(np.float64)


def attributes(analytes: Texts, name: str) -> Texts:
    """Return one attribute of each analyte (shape (n,)), None where there is no analyte or it is blank."""

    def read(analyte: Analyte) -> object:
        return getattr(analyte, name) or None

    return map_unique(analytes, read)


__all__ = [
    "ParsedResults",
    "analytes_of",
    "attributes",
    "decimal_mark",
    "format_number",
    "map_unique",
    "numbers_of",
    "parse_results",
    "units_of",
]
