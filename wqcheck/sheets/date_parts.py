"""Turns columns of year, month and day into whole dates; a day that the sheet does not give is never invented."""

from __future__ import annotations

import re
from collections.abc import Mapping

import numpy as np
import pandas as pd

from wqcheck.parameters import normalise
from wqcheck.sheets.coded import Coded
from wqcheck.sheets.columns import texts_of
from wqcheck.sheets.dates import MONTHS
from wqcheck.sheets.extraction import Extraction
from wqcheck.sheets.roles import first_cells
from wqcheck.sheets.table import Table

_WORDS = {
    "year": "year annee ano jahr anno",
    "month": "month mois mes monat mese",
    "day": "day jour dia tag giorno",
}
_BEHIND = r"( (de |of )?(referencia|reference|sampling|coleta|muestreo))?"


def date_parts(table: Table) -> dict[str, int]:
    """Return the columns of the sampling date that hold only its ``year``, ``month`` or ``day``, first of each."""
    found: dict[str, int] = {}
    for column in table.with_role("sampled_at"):
        heading = normalise(table.columns[column].heading)
        for part, words in _WORDS.items():
            if re.fullmatch(f"({'|'.join(words.split())}){_BEHIND}", heading):
                found.setdefault(part, column)
    return found


def whole_dates(work: Extraction, parts: Mapping[str, int]) -> tuple[Coded, str]:
    """Return the date of each result as ISO text from its *parts*, blank where one is missing, and the first cell.

    Without a column of days no result has a date: the first of a month would be a day on which nobody sampled, and
    holding times, the order of dates and the limits in force would be computed from it. A finding says what stands
    there.
    """
    where = work.at(int(work.result_rows[0]), min(parts.values())) if work.count else ""
    texts = {part: texts_of(work.per_row(column)) for part, column in parts.items()}
    for column in parts.values():
        work.grid.mark(work.result_rows, column, "sampled at", "part of the sampling date of its row")
    codes, rows = pd.factorize(pd.MultiIndex.from_arrays([text.codes for text in texts.values()]))
    given = [
        {part: text.distinct[code] for (part, text), code in zip(texts.items(), row, strict=True) if code >= 0}
        for row in rows
    ]
    if "day" not in parts and given:
        months = first_cells(dict.fromkeys(f"{one.get('year', '?')}-{one.get('month', '?')}" for one in given))
        message = (
            "year and month are given without a day; none is invented, so these results count as undated; "
            "add a column with the day"
        )
        work.note("no full date", message, where, months)
        return Coded.blank(work.count), where
    return Coded(np.asarray(codes, dtype=np.int64), tuple(map(_iso, given))).map(lambda text: text or None), where


def _iso(parts: Mapping[str, str]) -> str:
    """Return the parts as one text: an ISO date where all are numbers or names of months, else as they stand."""
    if not parts:
        return ""
    year, month, day = (parts.get(part, "?") for part in ("year", "month", "day"))
    number = MONTHS.get(normalise(month), month)
    return f"{year}-{int(number):02d}-{int(day):02d}" if f"{number}{day}".isdigit() else f"{year}-{month}-{day}"
