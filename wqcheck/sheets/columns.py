"""Turns whole columns of cells into texts, numbers, results, units and analytes; each distinct text is read once."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from wqcheck.errors import UnknownUnitError
from wqcheck.numerals import IN_DOUBT
from wqcheck.results import ReportedResult, parse_result
from wqcheck.sheets.coded import Coded
from wqcheck.sheets.grid import Cells
from wqcheck.sheets.recognise import recognise_analyte
from wqcheck.sheets.roles import cell_text
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


@dataclass(frozen=True, slots=True)
class ParsedResults:
    """What n result cells say, as a column of :class:`~wqcheck.results.ReportedResult`.

    ``marks`` are the decimal marks of the columns of texts, blank where neither the column nor the sheet proves one, or
    where ``1.234`` stands beside decimal commas.
    """

    results: Coded
    marks: Mapping[int, str]

    def part(self, name: str) -> Coded:
        """Return one part of each result, blank where it has none."""
        given = [getattr(result, name) for result in self.results.distinct]
        return self.results.with_values([None if value == "" else value for value in given])

    def taken(self, rows: npt.NDArray[np.bool_]) -> ParsedResults:
        """Return the results at the flagged *rows* (shape (n,))."""
        return ParsedResults(Coded(self.results.codes[rows], self.results.distinct), self.marks)


def parse_results(
    cells: Cells, columns: npt.NDArray[np.int64], told: str = "", around: Cells | None = None
) -> ParsedResults:
    """Return the parsed *cells* (shape (n,)); *columns* (shape (n,)) says which cells share a decimal mark.

    *told* is the mark where neither the column nor the sheet proves one; *around* are all cells of the sheet.
    """
    given = Coded.of(cells)
    is_text = given.flags(lambda cell: isinstance(cell, str))
    proven, doubtful = _marks(cells, columns, is_text, around)
    marks = {column: mark or told or doubtful.get(column, "") for column, mark in proven.items()}
    codes = np.full(len(cells), -1, dtype=np.int64)
    values: list[ReportedResult] = []
    for mark in sorted(set(marks.values()) | {""}):
        sharing = is_text & np.isin(columns, [c for c, m in marks.items() if m == mark])
        here = sharing if mark else sharing | ~is_text
        used = np.unique(given.codes[here])
        table = np.full(len(given.distinct) + 1, -1, dtype=np.int64)
        table[used] = np.arange(len(used)) + len(values)
        values += [_parse_cell(given.distinct[code], mark) for code in used]
        codes[here] = table[given.codes[here]]
    return ParsedResults(Coded(codes, tuple(values)), proven)


def _parse_cell(cell: object, mark: str) -> ReportedResult:
    return parse_result(cell if isinstance(cell, float) else cell_text(cell), mark)


def _marks(
    cells: Cells, columns: npt.NDArray[np.int64], is_text: npt.NDArray[np.bool_], around: Cells | None
) -> tuple[dict[int, str], dict[int, str]]:
    """Return the decimal mark of each column: what its texts prove, else what the sheet proves.

    Behind it stand the columns in which ``1.234`` may mean two numbers, with their mark and :data:`IN_DOUBT`; in the
    first they have none.
    """
    texts, owners = cells[is_text], columns[is_text]
    of_column = {int(c): set(texts[owners == c]) for c in np.unique(owners)}
    found = {c: decimal_mark(given) for c, given in of_column.items()}
    marks = {mark for mark in found.values() if mark}
    overall = marks.pop() if len(marks) == 1 else ""
    proven = {column: mark or overall for column, mark in found.items()}
    asked = [c for c, mark in found.items() if mark != "." and any(map(_POINT_OR_THOUSANDS.search, of_column[c]))]
    if not asked:
        return proven, {}
    numbers = _numbers_in(cells if around is None else around)
    commas = any(map(_DECIMAL_COMMA.search, numbers))
    grouped = any(map(_THOUSANDS_POINT.search, numbers))
    doubtful = {c: proven[c] + IN_DOUBT for c in asked if commas and not (grouped and proven[c] == ",")}
    return {**proven, **dict.fromkeys(doubtful, "")}, doubtful


def _numbers_in(cells: Cells) -> set[str]:
    """Return the texts of *cells* that are numbers and nothing else."""
    return {cell for cell in cells.ravel() if isinstance(cell, str) and _PLAIN_NUMBER.fullmatch(cell)}


def decimal_mark(texts: Iterable[str]) -> str:
    """Return the decimal mark that the *texts* prove (``","`` or ``"."``), or ``""`` when they prove none or both."""
    comma = point = False
    for text in texts:
        comma |= _DECIMAL_COMMA.search(text) is not None
        point |= _DECIMAL_POINT.search(text) is not None
    return "" if comma == point else ("," if comma else ".")


def texts_of(cells: Cells) -> Coded:
    """Return the cells (shape (n,)) as text: numbers shortest, dates ISO."""
    return Coded.of(cells).map(cell_text)


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


def numbers_of(cells: Cells) -> npt.NDArray[np.float64]:
    """Return the plain numbers in helper columns such as LOQ (shape (n,)); signs and units are left off."""
    return (
        Coded.of(cells)
        .map(lambda cell: parse_result(cell if isinstance(cell, float) else cell_text(cell)).value)
        .numbers()
    )
