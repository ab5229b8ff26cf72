"""Turns the recorded verdicts of the last years into the series that drift, quickly enough for the start of a day."""

from __future__ import annotations

from datetime import date, timedelta

from pandera.typing import DataFrame
from sqlalchemy import func, select

from wqcheck.records.period import latest_verdicts
from wqcheck.records.schema import Decisions, table_of
from wqcheck.records.standing import State, latest_of
from wqcheck.records.store import Store
from wqcheck.statistics.drift import HORIZON_DAYS, Drift, DriftFlags, History, flags_of, histories_of
from wqcheck.tables import Judged

LOOK_BACK = timedelta(days=3 * 365)
"""How far back results are looked at."""

LATEST = 200
"""Results of a series that are looked at, counted from the last one."""

FRESH = timedelta(days=366)
"""A series whose last result is older than that says nothing of today."""

NEW_SIGNALS = timedelta(days=30)
"""How long a broken rule of a control chart is told (our own choice)."""

SHOWN = (Drift.OVER, Drift.DRIFTING, Drift.LOOK)
"""What is told, the gravest first."""


def drifting(store: Store, on: date) -> DataFrame[DriftFlags]:
    """Return the series that are beyond a limit, drift toward it, or ask to be looked at, the gravest first.

    Results of batches that were rejected or withdrawn are left out: that water was not, or is no longer, supplied. A
    trend is told from :data:`wqcheck.statistics.trend.FEWEST` sampling days on.

    Parameters
    ----------
    store : Store
    on : date
        Day of the question.
    """
    verdicts = latest_verdicts(store, on - LOOK_BACK, on, LATEST)
    stated = verdicts[Judged.batch].fillna("").astype("str").str.casefold()
    kept = verdicts[~stated.isin(kept_back(store))]
    found = [one for one in histories_of(kept, LATEST) if one.days.size and _day_of(one) >= on - FRESH]
    flags = flags_of(found, on - NEW_SIGNALS, HORIZON_DAYS)
    order = {str(word): place for place, word in enumerate(SHOWN)}
    shown = flags[flags["drift"].isin(list(order))]
    ranked = shown.assign(order=shown["drift"].map(order)).sort_values(["order", "crossing"], kind="stable")
    return DriftFlags.validate(ranked.drop(columns="order").reset_index(drop=True))


def kept_back(store: Store) -> frozenset[str]:
    """Return the batches that were rejected or withdrawn, in lower case."""
    steps = table_of(Decisions)
    gone = steps.c.state.in_([str(State.REJECTED), str(State.WITHDRAWN)])
    with store.reading() as connection:
        found = connection.execute(select(steps.c.batch).where(latest_of(Decisions), gone)).scalars()
        return frozenset(str(batch).casefold() for batch in found)


def newest_step(store: Store) -> int:
    """Return the log entry of the newest signed step: while it is the same, no batch was rejected or withdrawn."""
    with store.reading() as connection:
        return int(connection.execute(select(func.max(table_of(Decisions).c.entry))).scalar() or 0)


def _day_of(one: History) -> date:
    last: date = one.days[-1].astype(object).date()
    return last
