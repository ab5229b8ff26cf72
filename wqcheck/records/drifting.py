"""Turns the recorded verdicts of the last years into the series that drift, quickly enough for the start of a day."""

from __future__ import annotations

from datetime import date, timedelta

from pandera.typing import DataFrame

from wqcheck.records.period import latest_verdicts
from wqcheck.records.store import Store
from wqcheck.statistics.drift import HORIZON_DAYS, Drift, DriftFlags, flags_of, histories_of
from wqcheck.statistics.trend import FEWEST

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

    Parameters
    ----------
    store : Store
    on : date
        Day of the question.
    """
    verdicts = latest_verdicts(store, on - LOOK_BACK, on, LATEST)
    found = [
        one for one in histories_of(verdicts, LATEST)
        if len(one.days) >= FEWEST and one.days[-1].astype(object).date() >= on - FRESH
    ]  # fmt: skip
    flags = flags_of(found, on - NEW_SIGNALS, HORIZON_DAYS)
    order = {str(word): place for place, word in enumerate(SHOWN)}
    shown = flags[flags["drift"].isin(list(order))]
    ranked = shown.assign(order=shown["drift"].map(order)).sort_values(["order", "crossing"], kind="stable")
    return DriftFlags.validate(ranked.drop(columns="order").reset_index(drop=True))
