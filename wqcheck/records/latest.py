"""Turns the records into the latest results of each parameter at each point, as what is in date asks for them."""

from __future__ import annotations

from datetime import date, timedelta

from pandera.typing import DataFrame
from sqlalchemy import func, select

from wqcheck.records.frames import READING_COLUMNS, frame_of
from wqcheck.records.schema import Checks, readings, table_of
from wqcheck.records.standing import latest_of
from wqcheck.records.store import Store
from wqcheck.tables import Readings, Sign

KEPT = 5
"""Results of a parameter at a point, so that a control sample among them does not hide the others."""


def latest_results(store: Store, on: date) -> DataFrame[Readings]:
    """Return the latest usable results of each parameter at each point up to a day, at most :data:`KEPT` of each.

    Tests not done and unreadable results are left out, and so are results without a day.
    """
    checks = table_of(Checks)
    newest = (
        func.row_number()
        .over(partition_by=[readings.c.parameter, readings.c.point], order_by=readings.c.sampled_at.desc())
        .label("newest")
    )
    ranked = (
        select(*(readings.c[name] for name in READING_COLUMNS), newest)
        .join_from(readings, checks, checks.c.entry == readings.c.entry)
        .where(latest_of(Checks), readings.c.combined == 0, readings.c.parameter.is_not(None))
        .where(readings.c.sampled_at < (on + timedelta(days=1)).isoformat())
        .where(readings.c.sign.not_in([str(Sign.NOT_DONE), str(Sign.UNREADABLE)]))
        .subquery()
    )
    wanted = select(*(ranked.c[name] for name in READING_COLUMNS)).where(ranked.c.newest <= KEPT)
    with store.reading() as connection:
        rows = connection.execute(wanted).all()
    return Readings.validate(frame_of([tuple(row) for row in rows], READING_COLUMNS, Readings))
