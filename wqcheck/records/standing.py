"""Turns what the store knows of a batch into where it stands now: its latest details, check and step."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from sqlalchemy import Connection, Table, select

from wqcheck.errors import RecordRefusedError
from wqcheck.records.log import Writing
from wqcheck.records.schema import Base, Batches, Checks, Decisions, table_of


class State(StrEnum):
    """Where a batch stands; only *released* lets it leave the plant."""

    RECEIVED = "received"
    UNDER_REVIEW = "under review"
    RELEASED = "released"
    ON_HOLD = "on hold"
    REJECTED = "rejected"
    WITHDRAWN = "withdrawn"


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """The latest step of a batch: its state, who brought it there, when, why, and on which check."""

    batch: str
    version: int
    state: State
    check_version: int
    person: str
    at: str
    reason: str
    override: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckRow:
    """The latest check of a batch: its log entry, version, day, recommendation, and that entry's hash."""

    entry: int
    version: int
    product: str
    checked_on: str
    disposition: str
    required: str
    missing: str
    not_tested: str
    decision_rules: str


def batch_named(connection: Connection, text: str) -> str | None:
    """Return the number of a batch as the store spells it; case and outer spaces do not matter."""
    table = table_of(Batches)
    found = select(table.c.batch).where(table.c.key == text.strip().casefold()).limit(1)
    return connection.execute(found).scalar()


def known_batch(connection: Connection, text: str) -> str:
    """Return the number of a batch as the store spells it, or refuse an unknown one."""
    batch = batch_named(connection, text)
    if batch is None:
        raise RecordRefusedError(f"the store has no batch {text.strip()!r}; list them, or take it in first")
    return batch


def latest_batch(connection: Connection, batch: str) -> dict[str, Any] | None:
    """Return the latest details of a batch by column name."""
    found = _latest(connection, table_of(Batches), batch)
    return dict(found) if found else None


def latest_check(connection: Connection, batch: str) -> CheckRow | None:
    """Return the latest check of a batch."""
    found = _latest(connection, table_of(Checks), batch)
    return CheckRow(**{name: found[name] for name in CheckRow.__dataclass_fields__}) if found else None


def standing(connection: Connection, batch: str) -> Standing | None:
    """Return where a batch stands."""
    found = _latest(connection, table_of(Decisions), batch)
    if not found:
        return None
    values = {name: found[name] for name in Standing.__dataclass_fields__}
    return Standing(**{**values, "state": State(found["state"]), "override": found["override"] == 1})


def step(work: Writing, batch: str, state: State, check_version: int, *, reason: str, override: bool = False) -> int:
    """Bring a batch to a state and return the number of the step."""
    now = standing(work.connection, batch)
    version = now.version + 1 if now else 1
    work.add(
        table_of(Decisions), batch=batch, version=version, state=str(state), check_version=check_version,
        person=work.act.by.person, at=work.act.at.isoformat(timespec="seconds"), reason=reason.strip(),
        override=int(override),
    )  # fmt: skip
    return version


def latest_of(model: type[Base], column: str = "batch") -> Any:
    """Return the condition that a row of *model* is the latest version of its batch."""
    table = table_of(model)
    other = table.alias()
    newer = select(other.c.entry).where(other.c[column] == table.c[column], other.c.version > table.c.version)
    return ~newer.exists()


def _latest(connection: Connection, table: Table, batch: str) -> Any:
    found = select(table).where(table.c.batch == batch).order_by(table.c.version.desc()).limit(1)
    return connection.execute(found).mappings().first()
