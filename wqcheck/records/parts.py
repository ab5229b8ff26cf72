"""Turns sub-lots, retained samples, linked samples and remarks into records of a batch, and back into what holds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date
from enum import StrEnum

from sqlalchemy import Connection, select

from wqcheck.errors import RecordRefusedError
from wqcheck.records.log import writing
from wqcheck.records.roles import WORKING, Act, require
from wqcheck.records.schema import Base, LinkedSamples, Remarks, RetainedSamples, SubLots, table_of
from wqcheck.records.standing import known_batch
from wqcheck.records.store import Store


class SampleRole(StrEnum):
    """What a linked sample says about a batch."""

    FINISHED_PRODUCT = "finished product"
    IN_PROCESS = "in-process"
    SOURCE = "source"
    YEARLY_PANEL = "yearly panel"


@dataclass(frozen=True, slots=True, kw_only=True)
class SubLot:
    """A part of a batch that can be told apart, such as a pallet or an hour of filling."""

    code: str
    containers: str = ""
    volume: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RetainedSample:
    """Containers that are kept back, where, and until which day."""

    code: str
    quantity: str
    kept_at: str
    keep_until: date


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkedSample:
    """A sample that answers for a batch; ``origin`` names its workbook or batch, a yearly panel has its last day."""

    code: str
    role: SampleRole
    origin: str = ""
    valid_until: date | None = None


Part = SubLot | RetainedSample | LinkedSample
_TABLES: dict[type[Part], type[Base]] = {SubLot: SubLots, RetainedSample: RetainedSamples, LinkedSample: LinkedSamples}


def attach(store: Store, batch: str, act: Act, parts: Sequence[Part]) -> None:
    """Record parts of a batch; one with a code that the batch has already takes the place of the earlier one.

    Raises
    ------
    RecordRefusedError
        The person may not, the batch is unknown, a code is blank, or a yearly panel has no last day.
    """
    require(act, WORKING, "attach to a batch")
    for part in parts:
        if not part.code.strip():
            raise RecordRefusedError("a sub-lot or sample needs its code; give it")
        if isinstance(part, LinkedSample) and part.role is SampleRole.YEARLY_PANEL and part.valid_until is None:
            raise RecordRefusedError(f"the yearly panel {part.code} needs the day until which it counts; give it")
    with writing(store, act, "attach", f"batch {batch.strip()}") as work:
        known = known_batch(work.connection, batch)
        for part in parts:
            texts = {key: "" if value is None else str(value).strip() for key, value in asdict(part).items()}
            work.add(table_of(_TABLES[type(part)]), batch=known, **texts)


def remark(store: Store, batch: str, act: Act, text: str, *, about: str = "") -> None:
    """Record a written remark on a batch, or on the parameter, cell or file that *about* names.

    Raises
    ------
    RecordRefusedError
        The person may not, the batch is unknown, or the remark is blank.
    """
    require(act, WORKING, "remark on a batch")
    if not text.strip():
        raise RecordRefusedError("the remark is blank; write it")
    with writing(store, act, "remark", f"batch {batch.strip()}") as work:
        known = known_batch(work.connection, batch)
        work.add(table_of(Remarks), batch=known, about=about.strip(), text=text.strip())


def parts_of(connection: Connection, batch: str) -> tuple[Part, ...]:
    """Return what is attached to a batch, of each code the latest."""
    found: dict[tuple[type[Part], str], Part] = {}
    for kind, model in _TABLES.items():
        table = table_of(model)
        wanted = select(table).where(table.c.batch == batch).order_by(table.c.entry, table.c.place)
        for row in connection.execute(wanted).mappings():
            values = {name: row[name] for name in kind.__dataclass_fields__}
            found[kind, row["code"].casefold()] = _part(kind, values)
    return tuple(found.values())


def overdue_panels(connection: Connection, batch: str, day: date) -> list[str]:
    """Return which yearly panels of a batch do not count any more on a day, each with its last day."""
    return [
        f"{part.code} counted until {part.valid_until}"
        for part in parts_of(connection, batch)
        if isinstance(part, LinkedSample) and part.valid_until is not None and part.valid_until < day
    ]


def _part(kind: type[Part], values: dict[str, str]) -> Part:
    days = {
        key: date.fromisoformat(text) if text else None
        for key, text in values.items() if key in {"keep_until", "valid_until"}
    }  # fmt: skip
    roles = {"role": SampleRole(values["role"])} if "role" in values else {}
    return kind(**{**values, **days, **roles})  # type: ignore[arg-type]
