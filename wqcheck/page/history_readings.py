"""Turns the records, or the batch in hand, into the readings and limit tables that statistics rest on."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import pandas as pd
import streamlit as st
from pandera.typing import DataFrame

from wqcheck.limit_tables.loading import LimitTable, limit_table
from wqcheck.page.checking import train_file
from wqcheck.page.in_hand import draw_in_hand
from wqcheck.page.office import Office
from wqcheck.page.settings import Settings
from wqcheck.page.spoken import later, say
from wqcheck.page.table_choice import loaded
from wqcheck.quality.controls_apart import is_control
from wqcheck.records.period import every_result, state_of_checks
from wqcheck.records.store import Store
from wqcheck.tables import Readings
from wqcheck.train.description import Train, load_train

SOURCE_KEY = "readings of the statistics"
DAYS_KEY = "days of the statistics"
RECORDED, IN_HAND = later("all recorded batches"), later("the batch in hand")
FIRST_YEARS = 3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Found:
    """Readings without control samples, and what they are in words."""

    readings: DataFrame[Readings]
    words: str


def draw_readings(office: Office, today: date) -> Found | None:
    """Draw whose readings are looked at, and give them; None where there are none.

    Raises
    ------
    wqcheck.errors.StoreError
        The records cannot be read.
    """
    left, right = st.columns([3, 2], gap="medium", vertical_alignment="bottom")
    offered = [RECORDED, IN_HAND] if office.exists else [IN_HAND]
    source = left.radio(
        say("Results of"), offered, format_func=say, horizontal=True, key=SOURCE_KEY, persist_state="session"
    )  # fmt: skip
    if source != RECORDED:
        hand = draw_in_hand(office)
        if hand is None:
            st.info(say("No batch is in hand. Take in a sheet first."))
            return None
        return _found(hand.check.readings, say("batch {batch}", batch=hand.check.details.batch))
    days = right.date_input(
        say("First and last day"), (today - timedelta(days=365 * FIRST_YEARS), today), key=DAYS_KEY,
        persist_state="session",
    )  # fmt: skip
    if not isinstance(days, tuple) or len(days) != 2:
        st.info(say("Choose the last day too."))
        return None
    store = office.store()
    with st.spinner(say("Reading the records of the period")):
        readings = _recorded(store, office.place, state_of_checks(store), *days)
    return _found(readings, say("all recorded batches"))


def _found(readings: pd.DataFrame, words: str) -> Found | None:
    kept = Readings.validate(readings[~is_control(Readings.validate(readings))].reset_index(drop=True))
    if kept.empty:
        st.info(say("No result lies in this period."))
        return None
    return Found(readings=kept, words=words)


@st.cache_data(max_entries=4, show_spinner=False)
def _recorded(_store: Store, place: str, state: int, since: date, until: date) -> pd.DataFrame:
    """Read the results of a period once; ``place`` and ``state`` tell one state of the records from another."""
    return every_result(_store, since, until)


def tables_chosen(settings: Settings) -> list[LimitTable]:
    """Return the limit tables that are chosen in the side panel, uploads too.

    Raises
    ------
    wqcheck.errors.LimitTableError
        One of them is not usable.
    """
    return [*map(loaded, settings.limits), *(limit_table(Path(name), data) for name, data in settings.own_tables)]


def train_chosen(settings: Settings) -> Train | None:
    """Return the train of the side panel, None where none is chosen."""
    with train_file(settings) as path:
        return load_train(path) if path else None
