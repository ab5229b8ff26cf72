"""Turns the records into what a page or a terminal shows: the list of batches, one batch, its flags, what waits."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import pandas as pd
from sqlalchemy import Connection, Select, and_, select

from wqcheck.judging.judge import WORST_FIRST
from wqcheck.records.certificates import documents
from wqcheck.records.frames import READING_COLUMNS, VERDICT_COLUMNS, frame_of, listed
from wqcheck.records.parts import Part, parts_of
from wqcheck.records.received import unused_sheets
from wqcheck.records.schema import (
    Batches,
    Checks,
    Decisions,
    LinkedSamples,
    Remarks,
    RetainedSamples,
    Signatures,
    judged,
    log,
    readings,
    table_of,
)
from wqcheck.records.standing import Standing, State, known_batch, latest_check, latest_of, standing
from wqcheck.records.store import Store
from wqcheck.records.stored_check import stored_check
from wqcheck.release.decision import BatchCheck
from wqcheck.tables import Judged, Verdict

FLAGGED = (Verdict.FAIL, Verdict.CONDITIONAL_FAIL, Verdict.UNDETERMINED)
"""Verdicts that ask for a person."""

SOON = timedelta(days=30)
"""How long before its last day something is said to fall due."""

_LISTED = ("batch", "product", "product_name", "line", "tank", "run_start", "run_end", "volume", "containers")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BatchRecord:
    """Everything the store holds of a batch.

    ``check`` is the latest check; ``steps`` (version, state, check_version, person, at, reason, override, name and
    meaning of the signature), ``remarks`` (at, person, about, text) and ``documents`` are in the order they came.
    """

    standing: Standing
    check_version: int
    check: BatchCheck
    parts: tuple[Part, ...]
    steps: pd.DataFrame
    remarks: pd.DataFrame
    documents: pd.DataFrame


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Waiting:
    """What waits on a day: batches as :func:`batches` lists them, sheets that no check used, and what falls due soon.

    ``without_document`` are released batches without a certificate in force, ``without_notice`` rejected ones without a
    notice. ``sheets`` has name, sha256 and received (when); ``due`` has batch, code, what (role of the linked sample or
    ``retained sample``) and until.
    """

    received: pd.DataFrame
    under_review: pd.DataFrame
    on_hold: pd.DataFrame
    without_document: pd.DataFrame
    without_notice: pd.DataFrame
    sheets: pd.DataFrame
    due: pd.DataFrame


def batches(store: Store, *, state: State | None = None) -> pd.DataFrame:
    """Return one row per batch, those that changed last first.

    Columns: batch, product, product_name, line, tank, run_start, run_end, volume, containers, state, since, person,
    check_version, recommended.
    """
    with store.reading() as connection:
        return _listed(connection, state)


def batch(store: Store, number: str) -> BatchRecord:
    """Return everything the store holds of a batch; case does not matter.

    Raises
    ------
    wqcheck.errors.RecordRefusedError
        The store has no such batch.
    """
    with store.reading() as connection:
        known = known_batch(connection, number)
        now, check = standing(connection, known), latest_check(connection, known)
        assert now is not None
        assert check is not None
        record = BatchRecord(
            standing=now, check_version=check.version, check=stored_check(connection, known),
            parts=parts_of(connection, known), steps=_steps(connection, known), remarks=_remarks(connection, known),
            documents=pd.DataFrame(),
        )  # fmt: skip
    papers = documents(store, known)
    return BatchRecord(**{**{name: getattr(record, name) for name in record.__slots__}, "documents": papers})


def flags(store: Store, number: str) -> pd.DataFrame:
    """Return the judged rows of the latest check of a batch that ask for a person, worst first (columns of Judged).

    Raises
    ------
    wqcheck.errors.RecordRefusedError
        The store has no such batch.
    """
    with store.reading() as connection:
        known = known_batch(connection, number)
        check = latest_check(connection, known)
        rows = connection.execute(flags_statement(check.entry if check else 0)).all()
    frame = frame_of([tuple(row) for row in rows], (*READING_COLUMNS, *VERDICT_COLUMNS), Judged)
    rank = {str(verdict): place for place, verdict in enumerate(WORST_FIRST)}
    order = frame.assign(rank=frame[Judged.verdict].map(rank)).sort_values(["rank", Judged.margin], kind="stable").index
    return frame.loc[order].reset_index(drop=True)


def flags_statement(entry: int) -> Select[*tuple[Any, ...]]:
    """Return the statement for the flagged rows of one check."""
    both = [*(readings.c[name] for name in READING_COLUMNS), *(judged.c[name] for name in VERDICT_COLUMNS)]
    joined = and_(readings.c.entry == judged.c.entry, readings.c.place == judged.c.reading)
    return (
        select(*both)
        .join_from(judged, readings, joined)
        .where(judged.c.entry == entry, judged.c.verdict.in_([str(verdict) for verdict in FLAGGED]))
        .order_by(judged.c.place)
    )


def waiting(store: Store, on: date) -> Waiting:
    """Return what waits on a day."""
    with store.reading() as connection:
        lists = {state: _listed(connection, state) for state in (State.RECEIVED, State.UNDER_REVIEW, State.ON_HOLD)}
        released, rejected = (_listed(connection, state) for state in (State.RELEASED, State.REJECTED))
        sheets, due = unused_sheets(connection), _falling_due(connection, on)
    papers = documents(store)
    valid = papers[papers["status"].eq("in force")]
    certified = valid.loc[valid["kind"].str.startswith("certificate"), "batch"]
    return Waiting(
        received=lists[State.RECEIVED], under_review=lists[State.UNDER_REVIEW], on_hold=lists[State.ON_HOLD],
        without_document=released[released["batch"].isin(certified) == False].reset_index(drop=True),  # noqa: E712
        without_notice=rejected[rejected["batch"].isin(valid["batch"]) == False].reset_index(drop=True),  # noqa: E712
        sheets=sheets, due=due,
    )  # fmt: skip


def _listed(connection: Connection, state: State | None) -> pd.DataFrame:
    known, steps, checks = table_of(Batches), table_of(Decisions), table_of(Checks)
    wanted = (
        select(*(known.c[name] for name in _LISTED), steps.c.state, steps.c.at.label("since"), steps.c.person,
               steps.c.check_version, checks.c.disposition.label("recommended"))
        .join_from(known, steps, steps.c.batch == known.c.batch)
        .join(checks, and_(checks.c.batch == steps.c.batch, checks.c.version == steps.c.check_version))
        .where(latest_of(Batches), latest_of(Decisions))
        .order_by(steps.c.entry.desc())
    )  # fmt: skip
    if state is not None:
        wanted = wanted.where(steps.c.state == str(state))
    return listed(connection.execute(wanted))


def _steps(connection: Connection, known: str) -> pd.DataFrame:
    steps, signed = table_of(Decisions), table_of(Signatures)
    names = ("version", "state", "check_version", "person", "at", "reason", "override")
    joined = and_(signed.c.batch == steps.c.batch, signed.c.decision_version == steps.c.version)
    wanted = (
        select(*(steps.c[name] for name in names), signed.c.name, signed.c.meaning)
        .outerjoin(signed, joined)
        .where(steps.c.batch == known)
        .order_by(steps.c.version)
    )
    return listed(connection.execute(wanted))


def _remarks(connection: Connection, known: str) -> pd.DataFrame:
    table = table_of(Remarks)
    wanted = (
        select(log.c.at, log.c.person, table.c.about, table.c.text)
        .join_from(table, log, log.c.seq == table.c.entry)
        .where(table.c.batch == known)
        .order_by(table.c.entry)
    )
    return pd.DataFrame(connection.execute(wanted).all(), columns=["at", "person", "about", "text"])


def _falling_due(connection: Connection, on: date) -> pd.DataFrame:
    """List panels and retained samples whose last day has passed or comes soon, of each code of a batch the latest."""
    until = (on + SOON).isoformat()
    linked, kept = table_of(LinkedSamples), table_of(RetainedSamples)
    panels = select(linked.c.batch, linked.c.code, linked.c.role, linked.c.valid_until, linked.c.entry)
    samples = select(kept.c.batch, kept.c.code, kept.c.keep_until, kept.c.entry)
    rows = [tuple(row) for row in connection.execute(panels.where(linked.c.valid_until != ""))]
    rows += [(row[0], row[1], "retained sample", row[2], row[3]) for row in connection.execute(samples)]
    frame = pd.DataFrame(rows, columns=["batch", "code", "what", "until", "entry"])
    latest = frame.sort_values("entry", kind="stable").drop_duplicates(["batch", "code", "what"], keep="last")
    return latest[latest["until"] <= until].drop(columns="entry").sort_values("until").reset_index(drop=True)
