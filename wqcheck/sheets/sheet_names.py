"""Turns the name of a sheet into the parameter or the sampling point of its results, where nothing in it names them.

A parameter is taken where the whole name of the sheet is one that is known; a near name is offered, never taken. Points
are taken where at least two sheets with the same headings have names that say nothing else (``sheet_words.csv``).
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Sequence
from functools import cache
from importlib.resources import files

import numpy as np

from wqcheck.findings import Severity
from wqcheck.near_names import did_you_mean, nearest_parameters
from wqcheck.parameters import normalise
from wqcheck.sheets.coded import Coded
from wqcheck.sheets.content import is_date_text
from wqcheck.sheets.dates import MONTHS
from wqcheck.sheets.extraction import Extraction
from wqcheck.sheets.headings import heading_role
from wqcheck.sheets.layouts import FoundTable
from wqcheck.sheets.recognise import Analyte, analyte_inside, recognise_analyte

_YEAR = re.compile(r"(?:19|20)\d\d")
_MOST_WORDS = 4
_OF_POINTS = frozenset(["", "point", "stage", "product", "tank", "line", "plant"])


@cache
def _words() -> frozenset[str]:
    text = files("wqcheck.sheets").joinpath("sheet_words.csv").read_text(encoding="utf-8")
    return frozenset(normalise(row["word"]) for row in csv.DictReader(text.splitlines()))


def points_by_sheet(tables: Sequence[Sequence[FoundTable]]) -> frozenset[str]:
    """Return the names of sheets that may be points; *tables* are those of each sheet in turn.

    They are those of at least two sheets with one table each, all with the same headings and none of a point, of which
    every name could be one.
    """
    alike: dict[str, list[str]] = {}
    for each in tables:
        named = [table for table in each if not isinstance(table.found, str)]
        if len(named) == 1 and named[0].fingerprint and not _has_points(named[0]):
            alike.setdefault(named[0].fingerprint, []).append(named[0].part.name)
    groups = [names for names in alike.values() if len(names) > 1 and all(map(_may_be_point, names))]
    return frozenset(name for names in groups for name in names)


def _has_points(table: FoundTable) -> bool:
    found = table.found
    return isinstance(found, str) or found.kind == "crosstab" or bool(found.with_role("point"))


def _may_be_point(name: str) -> bool:
    words = normalise(name).split()
    said = [word for word in words if not word.isdigit()]
    if not said or len(words) > _MOST_WORDS or is_date_text(name) or recognise_analyte(name) is not None:
        return False
    if any(word in MONTHS or word in _words() for word in said) or any(map(_YEAR.fullmatch, words)):
        return False
    known = (re.sub(r"\d+$", "", word) for word in said)
    return not any(word in _words() for word in known) and {heading_role(word) for word in said} <= _OF_POINTS


def point_of_sheet(work: Extraction, point: Coded, names: Iterable[str]) -> Coded:
    """Return the *point* of each result, or the name of its sheet where none is known and it is one of *names*."""
    name = work.grid.sheet.name
    if point.known().any() or not work.count or name not in names:
        return point
    message = "no point is given for these results, and sheets with these headings differ by name; the name was taken"
    work.note("point from sheet name", message, work.where(np.arange(work.count)), name)
    return Coded.all_the_same(name, work.count)


def analyte_of_sheet(work: Extraction) -> Analyte | None:
    """Return the parameter that the name of the sheet is, where a list of results names none; says so or offers one."""
    name = work.grid.sheet.name.strip()
    if work.table.kind != "list" or not work.count or not name or work.told.table.parameter:
        return None
    analyte, where = recognise_analyte(name), work.where(np.arange(work.count))
    if analyte is None:
        if nearest_parameters(name) and _may_be_point(name):
            message = f"these results name no parameter, and none was taken; by the sheet's name: {did_you_mean(name)}"
            work.note("sheet nearly a parameter", message, where, name)
        return None
    above = work.cells[: work.table.header or 0]
    others = {hit.code for cell in above.ravel() if isinstance(cell, str) and (hit := analyte_inside(cell)) is not None}
    if others - {analyte.code}:
        message = "the name of the sheet is one parameter and the text above its results another; none was taken"
        work.note("sheet of two parameters", message, where, name, Severity.HOLD)
        return None
    message = "these results name no parameter; the name of the sheet is one and was taken"
    work.note("parameter from sheet name", message, where, name)
    return analyte
