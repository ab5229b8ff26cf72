"""Turns a column of date cells into times, with one order of day and month decided for the whole column."""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from wqcheck.sheets.coded import Coded
from wqcheck.sheets.roles import cell_text

Times = npt.NDArray[np.datetime64]

MONTHS = {
    month: number
    for number, names in enumerate(
        [
            "jan january janvier janv janeiro enero ene januar gennaio gen",
            "feb february fevrier fev fevereiro febrero februar febbraio",
            "mar march mars marco marzo marz maerz",
            "apr april avril avr abril abr aprile",
            "may mai maio mayo maggio mag",
            "jun june juin junho junio juni giugno giu",
            "jul july juillet juil julho julio juli luglio lug",
            "aug august aout agosto ago",
            "sep sept september septembre setembro set septiembre settembre",
            "oct october octobre outubro out octubre oktober okt ottobre ott",
            "nov november novembre novembro noviembre",
            "dec december decembre dezembro dez diciembre dic dezember dicembre",
        ],
        start=1,
    )
    for month in names.split()
}
"""Number of each month by its name or abbreviation, without accents and capitals, in six languages."""

_NUMERIC = re.compile(r"(\d{1,4})[-/. ](\d{1,2})[-/. ](\d{1,4})(?:[ T,]+(.*))?")
_NAMED = re.compile(
    r"(?:[a-z]+,? )?(?:(\d{1,2})(?:er|st|nd|rd|th)?)?[-/. ]*(?:de )?([a-z]{3,10})\.?[-/., ]+"
    r"(?:de )?(?:(\d{1,2}),? )?(\d{2,4})(?:[ t,]+(.*))?"
)
_TIME = re.compile(r"(\d{1,2})[:hH.](\d{2})?(?::(\d{2})(?:\.\d+)?)?\s*([ap]\.?m\.?)?.*", re.I)
_TIME_FIRST = re.compile(r"(\d{1,2}:\d{2}(?::\d{2})?(?: ?[ap]\.?m\.?)?),? +(\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4})", re.I)
_RUN_TOGETHER = re.compile(r"(\d{8}) (\d{3,4})")
_EXCEL_EPOCH = dt.datetime(1899, 12, 30)


@dataclass(frozen=True, slots=True)
class ParsedDates:
    """Times of shape (n,), NaT where blank or not readable; the texts that were ambiguous, or no full date."""

    times: Times
    order: str
    ambiguous: tuple[str, ...]
    unread: tuple[str, ...]


def parse_dates(cells: Coded, order: str = "") -> ParsedDates:
    """Return the times that a column of n *cells* holds.

    Parameters
    ----------
    cells : Coded
        Dates, Excel serial numbers, or text in any usual form.
    order : {"", "dmy", "mdy", "ymd"}
        Order of day and month in numeric text; blank means that the column decides. When no cell decides (every day is
        12 or less) the cells stay NaT and are reported as ambiguous, unless day and month are the same. ``ymd`` is for
        years of two digits in front; a year of four digits in front always is one.
    """
    texts = [
        _date_first(unicodedata.normalize("NFKC", cell).strip()) if isinstance(cell, str) else ""
        for cell in cells.distinct
    ]
    order = order or _order(texts)
    parsed, ambiguous, unread = [], [], []
    for unique, text in zip(cells.distinct, texts, strict=True):
        time = _parse_cell(unique, text, order)
        parsed.append(np.datetime64(time, "us") if isinstance(time, dt.datetime) else np.datetime64("NaT", "us"))
        if time is None:
            unread.append(cell_text(unique))
        elif time == "ambiguous":
            ambiguous.append(text)
    table = np.array([*parsed, np.datetime64("NaT", "us")], dtype="datetime64[us]")
    return ParsedDates(table[cells.codes], order, tuple(ambiguous), tuple(unread))


def _date_first(text: str) -> str:
    """Return *text* with the date before the time of day (``6:03 AM 5/6/16`` is ``5/6/16 6:03 AM``)."""
    match = _TIME_FIRST.fullmatch(text)
    return f"{match[2]} {match[1]}" if match else text


def _order(texts: Iterable[str]) -> str:
    """Return the order that some cell of the column proves, or ``""``; points as separators are always day first."""
    day_first = month_first = False
    for text in texts:
        match = _NUMERIC.fullmatch(text)
        if match is None or len(match[1]) > 2:
            continue
        first, second = int(match[1]), int(match[2])
        day_first |= 12 < first <= 31 or re.match(r"\d{1,2}\.\d{1,2}\.", text) is not None
        month_first |= 12 < second <= 31
    return "" if day_first == month_first else ("dmy" if day_first else "mdy")


def _parse_cell(cell: object, text: str, order: str) -> dt.datetime | str | None:
    if isinstance(cell, dt.datetime):
        return cell.replace(tzinfo=None)
    if isinstance(cell, dt.date):
        return dt.datetime(cell.year, cell.month, cell.day)
    if isinstance(cell, float):
        if 20000 < cell < 80000:
            return _EXCEL_EPOCH + dt.timedelta(days=cell)
        return _iso(f"{cell:.0f}") if cell.is_integer() and 19000101 <= cell <= 21991231 else None
    return _parse_text(text, order) if text else None


def _parse_text(text: str, order: str) -> dt.datetime | str | None:
    match = _NUMERIC.fullmatch(text)
    if match is not None:
        first, second, third = int(match[1]), int(match[2]), int(match[3])
        if len(match[1]) > 2:
            return _build(first, second, third, match[4])
        if order == "ymd":
            return _build(_full_year(first), second, third, match[4]) if len(match[3]) < 3 else None
        year = _full_year(third)
        if not order and first != second:
            return "ambiguous" if first <= 12 and second <= 12 else None
        return _build(year, second, first, match[4]) if order != "mdy" else _build(year, first, second, match[4])
    folded = "".join(c for c in unicodedata.normalize("NFKD", text.lower()) if not unicodedata.combining(c))
    match = _NAMED.fullmatch(folded)
    if match is None or match[2] not in MONTHS or not (match[1] or match[3]):
        return _iso(text)
    year = int(match[4])
    return _build(year + 2000 if year < 100 else year, MONTHS[match[2]], int(match[1] or match[3]), match[5])


def _full_year(year: int) -> int:
    return year + (2000 if year < 70 else 1900) if year < 100 else year


def _iso(text: str) -> dt.datetime | None:
    if match := _RUN_TOGETHER.fullmatch(text):
        text = f"{match[1]}T{match[2]:0>4}"
    try:
        return dt.datetime.fromisoformat(text).replace(tzinfo=None) if len(text) >= 8 else None
    except ValueError:
        return None


def _build(year: int, month: int, day: int, time: str | None) -> dt.datetime | None:
    clock = parse_time(time or "")
    try:
        return dt.datetime(year, month, day) + dt.timedelta(seconds=clock)
    except (ValueError, OverflowError):
        return None


def parse_time(text: str) -> float:
    """Return the seconds after midnight that *text* (``10:49``, ``6:00 AM``, ``14h30``) says; 0 when it says none."""
    match = _TIME.match(text.strip())
    if match is None:
        return 0.0
    hours, minutes, seconds = int(match[1]), int(match[2] or 0), int(match[3] or 0)
    half = (match[4] or "").lower().replace(".", "")
    hours = hours % 12 + (12 if half == "pm" else 0) if half else hours
    return float(hours * 3600 + minutes * 60 + seconds) if hours < 24 and minutes < 60 else 0.0
