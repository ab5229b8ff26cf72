"""Turns a record store into the list of everything in it that is not as it was recorded; a sound one gives none.

What is found: a log entry or row that was changed, deleted, added or reordered, stored bytes that changed, a guard that
is gone, and a log that ends before, or differs from, an entry that a certificate, backup or note knows (an *anchor*).
Without an anchor a store whose end was cut off everywhere at once looks whole; so keep the head outside of it.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Table, select

from wqcheck.certificate.data import verify_digest
from wqcheck.errors import RecordRefusedError
from wqcheck.records.guards import missing_guards
from wqcheck.records.log import START, Head, entry_hash, head, joined_digest, row_digest, seal_of
from wqcheck.records.schema import TABLES, Certificates, Files, log, sealed_names, table_of
from wqcheck.records.store import Store

_CHUNK = 20_000
_ANCHOR = re.compile(r"(\d+):([0-9a-f]{64})")
_NAMING = ("batch", "number", "name", "person", "sample", "parameter", "code", "cell", "table", "sha256")
"""Columns that name a row to a reader, those that are there."""


@dataclass(frozen=True, slots=True)
class Tampering:
    """One thing that is not as it was recorded: where (a record by its table, entry and name), and what is wrong."""

    where: str
    what: str

    def __str__(self) -> str:
        return f"{self.where}: {self.what}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Verification:
    """What a verification found, how many log entries and rows it looked at, and the head of the log."""

    found: tuple[Tampering, ...]
    entries: int
    rows: int
    head: Head


def verify(store: Store, anchors: Sequence[str] = ()) -> Verification:
    """Compare every row and every stored byte with the log, and the log with itself and with the *anchors*.

    Parameters
    ----------
    store : Store
    anchors : sequence of str
        Heads of the log as known from elsewhere, ``17:abc…``; the certificates in the store know theirs already.

    Raises
    ------
    RecordRefusedError
        An anchor is not written as it should be.
    """
    known = [_anchor(text) for text in anchors]
    with store.reading() as connection:
        found = list(_chain(connection))
        promised = _promised(connection, found)
        rows = 0
        for table in TABLES:
            count, wrong = _table(connection, table, promised)
            rows, found = rows + count, found + wrong
        found += _files(connection)
        found += [
            Tampering(f"guard {name}", "it is gone or was changed, so the database no longer refuses changes")
            for name in missing_guards(connection, [log.name, *(table.name for table in TABLES)])
        ]
        found += _against(connection, [*known, *_certified(connection)])
        end = head(connection)
    return Verification(found=tuple(dict.fromkeys(found)), entries=end.seq, rows=rows, head=end)


def _anchor(text: str) -> tuple[Head, str]:
    matched = _ANCHOR.fullmatch(text.strip())
    if not matched:
        raise RecordRefusedError(f"an anchor is written NUMBER:HASH, as `wqcheck records log` ends (given: {text!r})")
    return Head(int(matched[1]), matched[2]), "the anchor given"


def _chain(connection: Connection) -> Iterator[Tampering]:
    """Follow the log from its first entry."""
    expected, previous = 1, START
    for row in connection.execute(select(log).order_by(log.c.seq)).mappings():
        where = f"log entry {row['seq']} ({row['action']} {row['subject']})"
        if row["seq"] != expected:
            yield Tampering(f"log entry {expected}", f"it is missing; the next one is {row['seq']}")
        if row["previous"] != previous:
            yield Tampering(where, "it does not follow the entry before it; entries were changed, moved or taken out")
        if entry_hash(dict(row)) != row["hash"]:
            yield Tampering(where, "it was changed: its content does not give its hash")
        expected, previous = row["seq"] + 1, row["hash"]


def _promised(connection: Connection, found: list[Tampering]) -> dict[str, dict[int, tuple[int, str]]]:
    """Give, for each table and entry, how many rows the log knows and their digest."""
    promised: dict[str, dict[int, tuple[int, str]]] = {table.name: {} for table in TABLES}
    for seq, text in connection.execute(select(log.c.seq, log.c.rows).order_by(log.c.seq)):
        try:
            for name, (count, digest) in json.loads(text).items():
                promised[name][seq] = (int(count), str(digest))
        except (ValueError, TypeError, KeyError, AttributeError):
            found.append(Tampering(f"log entry {seq}", "what it says of its rows cannot be read"))
    return promised


@dataclass(slots=True)
class _Group:
    """The rows of one log entry in one table, as they are met."""

    entry: int
    digests: list[bytes]
    wrong: list[Tampering]
    next_place: int = 0


def _table(
    connection: Connection, table: Table, promised: dict[str, dict[int, tuple[int, str]]]
) -> tuple[int, list[Tampering]]:
    """Compare the rows of a table with their seals, and the rows of each entry with what the log says of them."""
    names, left = sealed_names(table), dict(promised[table.name])
    columns = [table.c.seal, *(table.c[name] for name in names)]
    statement = select(*columns).order_by(table.c.entry, table.c.place).execution_options(yield_per=_CHUNK)
    found: list[Tampering] = []
    group, count = _Group(0, [], []), 0
    for row in connection.execute(statement):
        count += 1
        if row[1] != group.entry:
            found += _closed(table, group, left)
            group = _Group(row[1], [], [])
        _look_at(table, names, row, group)
    found += _closed(table, group, left)
    found += [Tampering(f"{table.name} of log entry {entry}", f"all {rows[0]} rows are missing")
              for entry, rows in left.items()]  # fmt: skip
    return count, found


def _look_at(table: Table, names: list[str], row: Any, group: _Group) -> None:
    """Take one row into its group."""
    values = tuple(row[1:])
    digest = row_digest(values)
    group.digests.append(digest)
    if values[1] != group.next_place:
        missing = str(group.next_place) if values[1] == group.next_place + 1 else f"{group.next_place}–{values[1] - 1}"
        group.wrong.append(Tampering(f"{table.name} of log entry {group.entry}", f"row {missing} is missing"))
    group.next_place = values[1] + 1
    if seal_of(digest) != row[0]:
        named = dict(zip(names, values, strict=True))
        what = ", ".join(f"{name} {named[name]}" for name in _NAMING if named.get(name) not in (None, ""))
        where = f"{table.name} of log entry {group.entry}, row {values[1]} ({what})"
        group.wrong.append(Tampering(where, "it was changed: its content does not give its seal"))


def _closed(table: Table, group: _Group, left: dict[int, tuple[int, str]]) -> list[Tampering]:
    """Compare a group that is complete with what the log says of it."""
    if not group.digests:
        return []
    where = f"{table.name} of log entry {group.entry}"
    known = left.pop(group.entry, None)
    if known is None:
        return [Tampering(where, f"the log knows nothing of these {len(group.digests)} rows; they were put in")]
    if len(group.digests) != known[0]:
        text = f"there are {len(group.digests)} rows where the log knows {known[0]}"
        return [*group.wrong, Tampering(where, text)]
    if not group.wrong and joined_digest(group.digests) != known[1]:
        return [Tampering(where, "rows and seals were changed together: they do not give the digest of the log")]
    return group.wrong


def _files(connection: Connection) -> Iterator[Tampering]:
    """Compare the stored bytes with their SHA-256."""
    table = table_of(Files)
    statement = select(table.c.entry, table.c.sha256, table.c.content).execution_options(yield_per=20)
    for entry, digest, content in connection.execute(statement):
        data = content.encode("utf-8", "replace") if isinstance(content, str) else content
        if hashlib.sha256(data).hexdigest() != digest:
            where = f"file {digest} of log entry {entry}"
            yield Tampering(where, "its bytes were changed: they do not give its SHA-256")


def _certified(connection: Connection) -> list[tuple[Head, str]]:
    """Give the heads that the certificates in the store know."""
    table, kept = table_of(Certificates), table_of(Files)
    statement = select(table.c.number, kept.c.content).join(kept, kept.c.sha256 == table.c.json)
    known = []
    for number, content in connection.execute(statement):
        text = bytes(content).decode("utf-8", "replace")
        matched = _ANCHOR.fullmatch(str(json.loads(text).get("record", ""))) if verify_digest(text) else None
        if matched:
            known.append((Head(int(matched[1]), matched[2]), f"certificate {number}"))
    return known


def _against(connection: Connection, anchors: Sequence[tuple[Head, str]]) -> Iterator[Tampering]:
    hashes = {row.seq: row.hash for row in connection.execute(select(log.c.seq, log.c.hash))}
    for anchor, who in anchors:
        if anchor.seq not in hashes and anchor.seq > 0:
            yield Tampering(f"log entry {anchor.seq}", f"it is missing, but {who} knows it: the end was cut off")
        elif hashes.get(anchor.seq, START) != anchor.hash:
            yield Tampering(f"log entry {anchor.seq}", f"its hash is not the one that {who} knows")
