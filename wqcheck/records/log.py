"""Turns an act and the rows it adds into one hash-chained log entry, written with its rows or not at all.

``hash`` is the SHA-256 of the canonical JSON of the entry: keys sorted, no spaces, UTF-8, with ``previous`` the hash of
the entry before it (64 zeros for the first). ``rows`` says for each table how many rows the entry added and the SHA-256
over the SHA-256s of these rows, in their order; a row is the canonical JSON of the list of its values, ``entry`` and
``place`` first, without ``seal`` and without stored bytes, and without blanks at its end.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, RowMapping, Table, insert, select

from wqcheck.records.roles import Act
from wqcheck.records.schema import TABLES, People, log, sealed_names, table_of
from wqcheck.records.store import Store

START = "0" * 64
"""What the first entry has for the hash of the entry before it."""

Row = tuple[Any, ...]
_encode = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), sort_keys=True).encode


@dataclass(frozen=True, slots=True)
class Head:
    """The end of the log: how many entries there are and the hash of the last; written ``17:abc…``."""

    seq: int
    hash: str

    def __str__(self) -> str:
        return f"{self.seq}:{self.hash}"


@dataclass(slots=True)
class Writing:
    """An act on its way into the store: the transaction it runs in, and the rows it adds so far."""

    connection: Connection
    act: Act
    before: Head
    rows: dict[str, list[Row]] = field(default_factory=dict)

    @property
    def entry(self) -> int:
        """The number of the log entry that this act makes."""
        return self.before.seq + 1

    def add(self, table: Table, **values: Any) -> int:
        """Add one row by its column names, and return its place."""
        names = sealed_names(table)[2:] + (["content"] if "content" in table.columns else [])
        return self.add_rows(table, [tuple(_storable(values[name]) for name in names)])

    def add_rows(self, table: Table, rows: Sequence[Row]) -> int:
        """Add rows whose values stand in the order of the columns after ``seal``; return the place of the first."""
        listed = self.rows.setdefault(table.name, [])
        listed.extend(rows)
        return len(listed) - len(rows)


@contextmanager
def writing(store: Store, act: Act, action: str, subject: str) -> Iterator[Writing]:
    """Give a transaction of its own to an act; its rows and its log entry are committed together when it ends.

    Parameters
    ----------
    store : Store
    act : Act
        Who, when and why.
    action, subject : str
        A verb, and the record it is about, such as ``batch B2107``.
    """
    with store.alone() as connection:
        work = Writing(connection, act, head(connection))
        yield work
        _introduce(work)
        _write(work, action, _storable(subject))


def head(connection: Connection) -> Head:
    """Return the end of the log; 0 and zeros when it is empty."""
    found = connection.execute(select(log.c.seq, log.c.hash).order_by(log.c.seq.desc()).limit(1)).first()
    return Head(found.seq, found.hash) if found else Head(0, START)


def entries(connection: Connection, last: int = 0) -> list[RowMapping]:
    """Return the entries of the log, oldest first; the *last* ones only, or all for 0."""
    newest = select(log).order_by(log.c.seq.desc())
    rows = connection.execute(newest.limit(last) if last > 0 else newest).mappings().all()
    return list(reversed(rows))


def entry_hash(values: Mapping[str, Any]) -> str:
    """Return the hash of a log entry from its other columns."""
    return hashlib.sha256(_encode({key: value for key, value in values.items() if key != "hash"}).encode()).hexdigest()


def row_digest(values: Sequence[Any]) -> bytes:
    """Return the SHA-256 of a row: ``entry``, ``place`` and the values that a seal covers, in their order."""
    last = len(values)
    while values[last - 1] is None:
        last -= 1
    return hashlib.sha256(_encode(values[:last]).encode("utf-8", "surrogatepass")).digest()


def seal_of(digest: bytes) -> int:
    """Return the seal of a row from its digest: its first eight bytes as a signed number."""
    return int.from_bytes(digest[:8], "big", signed=True)


def joined_digest(digests: Sequence[bytes]) -> str:
    """Return the digest of rows from their digests, in their order."""
    return hashlib.sha256(b"".join(digests)).hexdigest()


def _storable(value: Any) -> Any:
    """Give text that both databases can hold: without NUL, and UTF-8."""
    if isinstance(value, str):
        return value.replace("\x00", "\ufffd").encode("utf-8", "replace").decode("utf-8")
    return value


def _introduce(work: Writing) -> None:
    """Keep how the people file describes the person, where it has changed since they acted last."""
    table, by = table_of(People), work.act.by
    now = (by.person, by.name, by.email, by.subject, " ".join(sorted(by.roles)))
    columns = [table.c[name] for name in ("person", "name", "email", "subject", "roles")]
    known = work.connection.execute(
        select(*columns).where(table.c.person == by.person).order_by(table.c.entry.desc()).limit(1)
    ).first()
    if known is None or tuple(known) != now:
        work.add_rows(table, [now])


def _write(work: Writing, action: str, subject: str) -> None:
    """Write the log entry, then its rows, table by table."""
    sealed, counted = {}, {}
    for name, rows in ((name, rows) for name, rows in work.rows.items() if rows):
        bytes_last = name == "files"
        digests = [
            row_digest((work.entry, place, *(row[:-1] if bytes_last else row))) for place, row in enumerate(rows)
        ]
        sealed[name] = [
            (work.entry, place, seal_of(digest), *row)
            for place, (digest, row) in enumerate(zip(digests, rows, strict=True))
        ]
        counted[name] = [len(rows), joined_digest(digests)]
    values = {
        "seq": work.entry, "at": work.act.at.isoformat(timespec="seconds"), "person": work.act.by.person,
        "action": action, "subject": subject, "why": _storable(work.act.why.strip()), "rows": _encode(counted),
        "previous": work.before.hash,
    }  # fmt: skip
    work.connection.execute(insert(log).values(**values, hash=entry_hash(values)))
    for table in TABLES:
        if table.name in sealed:
            work.connection.exec_driver_sql(_statement(work.connection, table), sealed[table.name])


def _statement(connection: Connection, table: Table) -> str:
    """Give the text of an insert by position, which goes to the database driver with all rows at once."""
    names = ", ".join(connection.dialect.identifier_preparer.quote(column.name) for column in table.columns)
    mark = "?" if connection.dialect.name == "sqlite" else "%s"
    return f"INSERT INTO {table.name} ({names}) VALUES ({', '.join([mark] * len(table.columns))})"
