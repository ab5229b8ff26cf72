"""Turns values of data into what the page shows of them: times, numbers, limit tables by their titles, whole tables.

Every table of the page goes through here, so that each follows the plant's settings for numbers and dates.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping
from datetime import date, datetime, time
from functools import cache
from math import isnan
from typing import Any

import pandas as pd

from wqcheck.certificate.figures import number_text
from wqcheck.limit_tables.acts import short_titles
from wqcheck.page.spoken import figure, say, spoken

DIGITS = 6
"""Significant digits of a number that is shown."""

MIDNIGHT = time()

_POINT = re.compile(r"(?<![\d.])(\d+)\.(\d+)(?![\d.]*\d)")


def moment(value: object) -> str:
    """Write a day, or a moment to the minute on the clock of this machine; blank for none.

    ``value`` is a ``date``, a ``datetime`` or their ISO 8601 text; any other text is given back as it is. Midnight
    without a time zone is a day.
    """
    if value is None or pd.isna(value):  # type: ignore[call-overload]
        return ""
    if isinstance(value, str):
        try:
            value = datetime.fromisoformat(value) if len(value) > len("2026-11-30") else date.fromisoformat(value)
        except ValueError:
            return str(value)
    if isinstance(value, datetime) and value.tzinfo is None and value.time() == MIDNIGHT:
        value = value.date()
    if isinstance(value, datetime):
        return spoken().day(value.astimezone() if value.tzinfo else value)
    return spoken().day(value) if isinstance(value, date) else str(value)


def number(value: float, digits: int = DIGITS) -> str:
    """Write a number with the decimal mark of the settings; blank for NaN."""
    return "" if isnan(value) else figure(number_text(float(value), digits))


def figures_in(text: str) -> str:
    """Write the numbers within a phrase, such as ``≤ 0.01 mg/L``, with the decimal mark of the settings."""
    return _POINT.sub(lambda found: figure(found[0]), text)


def table_title(name: str, *, own: bool = False) -> str:
    """Name a limit table as a person knows it: a shipped one in a few words, an own one by its file.

    ``own`` says that it is known to be an own one, whatever its file is called.
    """
    words = name.replace("_", " ").strip()
    return (not own and short_titles().get(name)) or (say("{name} (own)", name=words) if words else "")


def place_text(where: str) -> str:
    """Write ``workbook|sheet!cell`` as ``workbook: sheet!cell``; a sheet without a name leaves no stray mark."""
    return where.replace("|!", "|").replace("|", ": ", 1)


def titles_in(text: str) -> str:
    """Put their titles in the place of the names of shipped limit tables in a sentence."""
    return _shipped_names().sub(lambda found: short_titles()[found[1]], text)


def shown_table(
    table: pd.DataFrame, headings: Mapping[str, str], *, said: Collection[str] = (), times: Collection[str] = (),
    named: Collection[str] = (),
) -> pd.DataFrame:  # fmt: skip
    """Write a table as the page shows it, every cell as text; blank for what is missing.

    Parameters
    ----------
    table : DataFrame
        Not changed.
    headings : Mapping[str, str]
        Column → heading as it is shown, in this order; other columns are left out, and those the table lacks.
    said : collection of str
        Columns of words of the data, which are said in the language of the page.
    times : collection of str
        Columns of ISO 8601 texts; columns that hold days or moments themselves are known by their type.
    named : collection of str
        Columns of names of limit tables.
    """
    ways: dict[str, Callable[[Any], str]] = {
        **dict.fromkeys(said, say),
        **dict.fromkeys(times, moment),
        **dict.fromkeys(named, table_title),
    }
    columns = {}
    for name, heading in headings.items():
        if name not in table:
            continue
        column = table[name]
        if pd.api.types.is_datetime64_any_dtype(column):
            columns[heading] = column.map(moment, na_action="ignore")
        elif pd.api.types.is_float_dtype(column):
            columns[heading] = column.map(number)
        else:
            columns[heading] = column.map(ways.get(name, str), na_action="ignore")
    texts = {heading: column.astype(object).fillna("").astype("str") for heading, column in columns.items()}
    return pd.DataFrame(texts)


@cache
def _shipped_names() -> re.Pattern[str]:
    return re.compile(rf"\b({'|'.join(short_titles())})(?:\.csv)?\b")
