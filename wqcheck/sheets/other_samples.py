"""Turns signs that results are of no sample of this batch (an example, another year) into findings that hold."""

from __future__ import annotations

import re

import numpy as np

from wqcheck.findings import Severity
from wqcheck.parameters import normalise
from wqcheck.sheets.dates import MONTHS
from wqcheck.sheets.extraction import Extraction
from wqcheck.sheets.roles import column_name, first_cells

_EXAMPLE = re.compile(
    r"(?:.*\b)?(?:example|sample form|dummy|demo data|template|exemple|modele|exemplo|modelo|ejemplo|beispiel\w*|muster"
    r"|musterbericht|vorlage|esempio|fac ?simile|modello|voorbeeld\w*|sjabloon|przyklad\w*|wzor|priklad|vzor|exempel"
    r"|mall)(?:\b.*)?"
)
_YEAR = re.compile(r"(?:.*\b)?((?:19|20)\d\d)(?:\b.*)?")
_MOST_WORDS = 5
_ROWS_LOOKED_AT = 12


def say_other_samples(work: Extraction) -> None:
    """Hold for a sheet headed *example*, and for columns of results that are headed by several years."""
    _say_example(work)
    _say_years(work)


def _say_example(work: Extraction) -> None:
    above = work.cells[: min(work.table.header or 0, _ROWS_LOOKED_AT)]
    titles = [work.grid.sheet.name, *(cell for cell in above.ravel() if isinstance(cell, str) and ":" not in cell)]
    given = next((title for title in titles if _is_example(title)), "")
    if given and work.count:
        message = (
            "the sheet calls itself an example or a form, so its results may be of no sample; take it out if they are"
        )
        work.note("example sheet", message, work.where(np.array([0])), given, Severity.HOLD)


def _is_example(title: str) -> bool:
    plain = normalise(title)
    return len(plain.split()) <= _MOST_WORDS and _EXAMPLE.fullmatch(plain) is not None


def _say_years(work: Extraction) -> None:
    if work.table.kind == "wide":
        return
    results = work.table.with_role("result")
    years = {c: match[1] for c in results if (match := _year_of(work.table.columns[c].heading))}
    dated = work.special_row("sampled_at")
    if len(set(years.values())) < 2 or (dated is not None and dated != work.table.header):
        return
    named = ", ".join(sorted(set(years.values())))
    message = (
        f"results stand in columns of several years ({named}), and those of other years are not of this batch; "
        "take these columns out, or give each its sampling date"
    )
    where = work.at(work.table.header or 0, min(years))
    work.note("columns of years", message, where, first_cells([column_name(c) for c in years]), Severity.HOLD)


def _year_of(heading: str) -> re.Match[str] | None:
    words = normalise(heading.removesuffix(".0")).split()
    dated = len(words) > 3 or any(word in MONTHS for word in words) or sum(word.isdigit() for word in words) > 1
    return None if dated else _YEAR.fullmatch(" ".join(words))
