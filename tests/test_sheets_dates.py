"""Dates: one order of day and month for a whole column, and none guessed.

ISO 8601-1:2019 for year first; the other orders are common practice, no source. Serial numbers: ECMA-376-1,
18.17.4.1 (day 1 is 1900-01-01, with the 29 February 1900 that never was, so that 60 and more count from 1899-12-30).
"""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.workbooks import read_rows, said, table_of
from wqcheck.sheets.coded import Coded
from wqcheck.sheets.dates import parse_dates, parse_time


def dates(*cells: Any, order: str = "") -> list[str | None]:
    """Return what a column of cells holds as ISO text, None where it is not read."""
    times = parse_dates(Coded.of(np.array(cells, dtype=object)), order).times
    return [None if np.isnat(time) else str(time).removesuffix("T00:00:00.000000") for time in times]


@pytest.mark.parametrize(
    "text",
    [
        "2026-03-01",
        "2026/03/01",
        "2026.03.01",
        "2026-03-01T00:00",
        "1 March 2026",
        "01-Mar-2026",
        "1 Mar. 26",
        "March 1, 2026",
        "1 mars 2026",
        "1er mars 2026",
        "1st March 2026",
        "1 de março de 2026",
        "1 de marzo de 2026",
        "1. März 2026",
        "1 marzo 2026",
        "01.03.2026",
        "Sunday, 1 March 2026",
        "20260301",
    ],
)
def test_texts_that_can_be_one_date_only(text: str) -> None:
    assert dates(text) == ["2026-03-01"]


@pytest.mark.parametrize(
    ("column", "expected"),
    [
        (["03/04/2026", "13/04/2026"], ["2026-04-03", "2026-04-13"]),
        (["03/04/2026", "04/13/2026"], ["2026-03-04", "2026-04-13"]),
        (["03-04-26", "31-12-25"], ["2026-04-03", "2025-12-31"]), (["03/04/2026", "05/06/2026"], [None, None]),
        (["05/05/2026"], ["2026-05-05"]),
        (["13/04/2026", "04/13/2026", "03/04/2026"], [None, None, None]),
        (["03.04.2026", "05.06.2026"], ["2026-04-03", "2026-06-05"]),
    ],
)  # fmt: skip
def test_a_column_decides_the_order_or_leaves_it_open(column: list[str], expected: list[str | None]) -> None:
    assert dates(*column) == expected


def test_an_order_that_is_known_decides() -> None:
    assert dates("03/04/2026", order="dmy") == ["2026-04-03"]
    assert dates("03/04/2026", order="mdy") == ["2026-03-04"]


def test_times_of_day_stay_with_the_date() -> None:
    assert dates("13/04/2026 10:49", "01/04/2026 6:00 PM", "02/04/2026 14h30") == [
        "2026-04-13T10:49:00.000000", "2026-04-01T18:00:00.000000", "2026-04-02T14:30:00.000000",
    ]  # fmt: skip
    assert dates(dt.datetime(2026, 4, 13, 10, 49), dt.date(2026, 4, 14)) == ["2026-04-13T10:49:00.000000", "2026-04-14"]


@pytest.mark.parametrize(
    "text", ["31/02/2026", "2026", "March 2026", "week 12", "pending", "2026-13-01", "0.5", "99/99/9999", "1/2"]
)
def test_what_is_no_full_date_is_not_read(text: str) -> None:
    assert dates(text) == [None]


def test_serial_numbers_of_spreadsheets() -> None:
    # ECMA-376: serial 43831 is 2020-01-01; .5 is noon.
    assert dates(43831.0, 43831.5, 5.0) == ["2020-01-01", "2020-01-01T12:00:00.000000", None]


@given(st.datetimes(dt.datetime(1970, 1, 1), dt.datetime(2068, 12, 31)))
def test_every_date_written_year_first_or_with_its_month_named_comes_back(moment: dt.datetime) -> None:
    day = moment.date().isoformat()
    assert dates(day, moment.strftime("%d %B %Y"), moment.strftime("%d.%m.%Y"), moment.date()) == [day] * 4


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("10:49", 38940), ("6:00 AM", 21600), ("12:05 am", 300), ("14h30", 52200), ("noon", 0), ("25:00", 0), ("", 0)],
)
def test_times_of_day(text: str, seconds: float) -> None:
    assert parse_time(text) == seconds


def test_several_columns_of_dates_keep_apart() -> None:
    head = ["Sample", "Sampling date", "Time", "Date received", "Analysis date", "Report date", "Lead µg/L"]
    read = read_rows(
        [
            head,
            ["S-1", "03/04/2026", "10:49", "05/04/2026", 46120, "20/04/2026", 1],
            ["S-2", "13/04/2026", "6:00 AM", "14/04/2026", "2026-04-15", "20/04/2026", 2],
        ]
    )
    assert table_of(read, "sampled_at", "analysed_at") == [
        ("2026-04-03 10:49:00", "2026-04-08"),
        ("2026-04-13 06:00:00", "2026-04-15"),
    ]
    assert table_of(read, "received_at") == [("2026-04-05",), ("2026-04-14",)]
    assert said(read) == {}


def test_ambiguous_and_partial_dates_are_said_and_stay_blank() -> None:
    read = read_rows([["Sample", "Date", "Lead µg/L"], ["S-1", "03/04/2026", 1], ["S-2", "05/04/2026", 2]])
    assert table_of(read, "sampled_at") == [(None,), (None,)]
    assert said(read) == {"ambiguous date": "Results!B2"}
    partial = read_rows([["Sample", "Date", "Lead µg/L"], ["S-1", "March 2026", 1], ["S-2", "2026-03-05", 2]])
    assert table_of(partial, "sampled_at") == [(None,), ("2026-03-05",)]
    assert said(partial) == {"no full date": "Results!B2"}
