"""Turns a sheet with several tables below or beside one another into one part for each, with the labels above it."""

from __future__ import annotations

import re
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from wqcheck.sheets.content import RESULT_LIKE, Kind, kinds_of
from wqcheck.sheets.grid import BLANK, NUMBER, TEXT, Cells, Sheet
from wqcheck.sheets.headings import heading_role
from wqcheck.sheets.labels import is_label_row
from wqcheck.sheets.part_rows import BENCH, part_rows

_NAMES = int(Kind.HEADING | Kind.ANALYTE)
_VALUES = int(RESULT_LIKE | Kind.NUMBER_WITH_UNIT)
_PLAIN_VALUE = re.compile(r"\s*[<>]?\s*\d+(?:[.,]\d+)?\s*")
_LOOK_DOWN, _LIST_WITHIN = 6, 60
_INITIALS = 3
_OF_LISTS = frozenset(["point", "batch", "stage", "sampled_at", "received_at"])


def split_tables(sheet: Sheet) -> tuple[Sheet, ...]:
    """Return *sheet* cut before the title of every table but the first; whole where it holds one table or none."""
    cells = sheet.cells
    headings = _heading_rows(sheet)
    starts = [0]
    for upper, lower in pairwise(headings):
        between = kinds_of(cells[upper + 1 : lower])
        held = np.flatnonzero((between & _VALUES).any(axis=1))
        if len(held):
            start = upper + 2 + int(held[-1])
            start += sum(_is_text_result(cells[row]) for row in range(start, lower))
            if not _same(cells[upper], cells[lower]) or any(is_label_row(cells[row]) for row in range(start, lower)):
                starts.append(start)
    starts = sorted({*starts, *_ends_of_lists(cells, headings)})
    ends = [*starts[1:], len(cells)]
    parts: list[Sheet] = []
    for start, end in zip(starts, ends, strict=True):
        heading = next((row - start for row in headings if start <= row < end), None)
        parts += _beside(sheet.rows(start, end), heading)
    return tuple(parts)


def _ends_of_lists(cells: Cells, headings: list[int]) -> list[int]:
    """Return the row behind a list of samples without results that stands above the first headings of results."""
    for row in range(min(len(cells), _LIST_WITHIN)):
        below = next((heading for heading in headings if heading > row), row)
        roles = {heading_role(cell.strip().rstrip(" :")) for cell in cells[row] if isinstance(cell, str)}
        if below > row and "sample" in roles and roles & _OF_LISTS and not roles & {"result", "parameter", "unit"}:
            filled = np.array([any(cell is not None for cell in line) for line in cells[row:below]], dtype=bool)
            blank = np.flatnonzero(~filled)
            named = (kinds_of(cells[row : row + 1]) & int(Kind.ANALYTE)).any()
            return [row + int(blank[0])] if len(blank) and blank[0] > 1 and not named else []
    return []


def _beside(sheet: Sheet, heading: int | None) -> list[Sheet]:
    """Return *sheet* with its columns shared out where a blank column parts tables with the same first heading."""
    if heading is None:
        return [sheet]
    cells = sheet.cells
    blank = np.flatnonzero((sheet.stored[heading:] == BLANK).all(axis=0))
    first = next(str(cell) for cell in cells[heading] if cell is not None)
    cuts = [int(c) + 1 for c in blank if c + 1 < cells.shape[1] and str(cells[heading, c + 1]) == first]
    return [sheet.with_columns(start, end) for start, end in pairwise([0, *cuts, cells.shape[1]])] if cuts else [sheet]


def _heading_rows(sheet: Sheet) -> list[int]:
    """Return the rows of at least two headings and no value that stand above results unlike themselves."""
    cells = sheet.cells
    texts = (sheet.stored == TEXT).sum(axis=1)
    numbers = (sheet.stored == NUMBER).any(axis=1)
    rows = np.flatnonzero((texts >= 2) & ~numbers)
    for column in sorted(range(cells.shape[1]), key=lambda column: len(sheet.distinct[column])):
        rows = rows[~sheet.column(column).taken(rows).flags(_is_plain_value)]
    kinds = kinds_of(cells[rows])
    named = ((kinds & _NAMES) != 0).sum(axis=1)
    most = (named >= 0.5 * (kinds != 0).sum(axis=1)) | np.array([_is_parameter(cells[row]) for row in rows], dtype=bool)
    good = (named >= 2) & most & ~((kinds & _VALUES) != 0).any(axis=1)
    good &= ~np.isin(rows, list(part_rows(cells)[1]))
    good[good] = [not _is_of_bench(cells[row]) for row in rows[good]]
    return [int(row) for row, kind in zip(rows[good], kinds[good], strict=True) if _is_above_results(cells, row, kind)]


def _is_plain_value(cell: object) -> bool:
    return isinstance(cell, str) and _PLAIN_VALUE.fullmatch(cell) is not None


def _is_parameter(cells: Cells) -> bool:
    first = next((cell for cell in cells if cell is not None), None)
    return isinstance(first, str) and heading_role(first.strip().rstrip(" :")) == "parameter"


def _is_of_bench(cells: Cells) -> bool:
    """Return whether a row is *Analyst*, *Instrument* … and initials or numbers, which may look like formulas."""
    first, *others = [str(cell).strip() for cell in cells if cell is not None]
    return heading_role(first.rstrip(" :")) in BENCH and not any(heading_role(text) for text in others) and all(
        len(text) <= _INITIALS for text in others
    )  # fmt: skip


def _is_above_results(cells: Cells, row: int, kind: npt.NDArray[np.int64]) -> bool:
    below = kinds_of(cells[row + 1 : row + 1 + _LOOK_DOWN])
    below = below[(below & _VALUES).any(axis=1)]
    if not len(below):
        return False
    filled = kind != 0
    alike = ((kind & below[0]) != 0)[filled]
    return bool(((below[0] & _VALUES) != 0)[filled].any() and alike.mean() <= 0.34)


def _is_text_result(cells: Cells) -> bool:
    filled = [cell for cell in cells if cell is not None]
    return len(filled) > 1 and bool(kinds_of(np.array([filled[:1]], dtype=object))[0, 0] & int(Kind.ANALYTE))


def _same(first: Cells, second: Cells) -> bool:
    return [str(cell) for cell in first] == [str(cell) for cell in second]
