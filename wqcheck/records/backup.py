"""Turns a record store into one backup file with digests, and such a file back into a store that is verified first.

A backup is a zip of ``store.sqlite`` (a consistent copy of an SQLite store, or all rows of a PostgreSQL store read in
one transaction) and ``manifest.json`` (SHA-256 of the copy, head of the log, rows of each table).
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
import tempfile
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, func, select

from wqcheck.errors import StoreError
from wqcheck.records.log import head
from wqcheck.records.schema import SCHEMA_VERSION, TABLES, log
from wqcheck.records.store import Store, open_store
from wqcheck.records.verify import Verification, verify

FORMAT = "wqcheck backup 1"
_COPY, _MANIFEST = "store.sqlite", "manifest.json"
_CHUNK = 10_000


def backup(store: Store, to: Path) -> str:
    """Write a backup and return the SHA-256 of the file, which also stands in ``TO.sha256`` beside it.

    Raises
    ------
    StoreError
        *to* exists already or cannot be written.
    """
    _refuse_existing(to)
    with tempfile.TemporaryDirectory(dir=to.resolve().parent) as folder:
        copy, draft = Path(folder, _COPY), Path(folder, "backup.zip")
        _copy(store, copy)
        manifest = _manifest(copy)
        with zipfile.ZipFile(draft, "w", zipfile.ZIP_DEFLATED, allowZip64=True) as archive:
            archive.write(copy, _COPY)
            archive.writestr(_MANIFEST, json.dumps(manifest, indent=2, sort_keys=True) + "\n")
        digest = file_digest(draft)
        draft.replace(to)
    Path(f"{to}.sha256").write_text(f"{digest}  {to.name}\n", encoding="utf-8")
    return digest


def restore(source: Path, place: str | Path) -> Verification:
    """Make a new store from a backup, on SQLite or PostgreSQL, after its digests and its records are verified.

    Parameters
    ----------
    source : Path
        A file of :func:`backup`; where ``SOURCE.sha256`` lies beside it, it must agree.
    place : str or Path
        A file that does not exist, or the URL of an empty database.

    Raises
    ------
    StoreError
        The backup is damaged or its records are not sound, or the place is not empty; nothing is made then.
    """
    _check_digest(source)
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder, _COPY)
        manifest = _unpacked(source, copy)
        kept = open_store(copy, create=False)
        try:
            checked = verify(kept, [str(manifest.get("head", ""))] if manifest.get("entries") else [])
            if checked.found:
                raise StoreError(f"{source}: its records are not sound: {checked.found[0]}; nothing was restored")
            _put_back(kept, copy, place)
        finally:
            kept.close()
    return checked


def file_digest(path: Path) -> str:
    """Return the SHA-256 of a file, hexadecimal."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def copy_rows(source: Connection, target: Connection) -> None:
    """Copy all rows of a store into an empty one, table by table, in the order that foreign keys ask for."""
    for table in (log, *TABLES):
        rows = source.execute(select(table).execution_options(yield_per=_CHUNK)).mappings()
        for part in rows.partitions(_CHUNK):
            target.execute(table.insert(), [dict(row) for row in part])


def _copy(store: Store, copy: Path) -> None:
    if store.is_file:
        with _sqlite(store.name) as source, _sqlite(copy) as target:
            source.backup(target)
            target.execute("PRAGMA journal_mode=DELETE")
        return
    kept = open_store(copy)
    with store.reading() as source_connection, kept.alone() as target_connection:
        copy_rows(source_connection, target_connection)
    kept.close()
    with _sqlite(copy) as target:
        target.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        target.execute("PRAGMA journal_mode=DELETE")


def _manifest(copy: Path) -> dict[str, Any]:
    kept = open_store(copy, create=False)
    with kept.reading() as connection:
        end = head(connection)
        rows = {table.name: connection.execute(select(func.count()).select_from(table)).scalar() for table in TABLES}
    kept.close()
    with _sqlite(copy) as target:
        target.execute("PRAGMA journal_mode=DELETE")
    return {
        "format": FORMAT, "schema": SCHEMA_VERSION, "head": str(end), "entries": end.seq, "rows": rows,
        "sha256": {_COPY: file_digest(copy)},
    }  # fmt: skip


def _unpacked(source: Path, copy: Path) -> dict[str, Any]:
    try:
        with zipfile.ZipFile(source) as archive:
            manifest: dict[str, Any] = json.loads(archive.read(_MANIFEST))
            with archive.open(_COPY) as packed, copy.open("wb") as out:
                while block := packed.read(1 << 20):
                    out.write(block)
        expected = manifest["sha256"][_COPY]
    except (OSError, zipfile.BadZipFile, KeyError, ValueError, TypeError, EOFError) as problem:
        raise StoreError(f"{source} is no backup of a record store, or is damaged ({problem})") from problem
    if manifest.get("format") != FORMAT or file_digest(copy) != expected:
        raise StoreError(f"{source}: the copy of the store does not agree with the manifest; nothing was restored")
    return manifest


def _put_back(kept: Store, copy: Path, place: str | Path) -> None:
    if "://" not in str(place):
        _refuse_existing(Path(place))
        kept.close()
        Path(place).write_bytes(b"")
        with _sqlite(copy) as source, _sqlite(place) as target:
            source.backup(target)
        return
    store = open_store(place)
    try:
        with kept.reading() as source_connection, store.alone() as target_connection:
            if head(target_connection).seq:
                raise StoreError(f"{store.name} holds records already; restore into an empty database")
            copy_rows(source_connection, target_connection)
    finally:
        store.close()


def _check_digest(source: Path) -> None:
    beside = Path(f"{source}.sha256")
    if not source.is_file():
        raise StoreError(f"{source}: no such file; check the name and folder")
    if beside.is_file() and beside.read_text(encoding="utf-8").split()[:1] != [file_digest(source)]:
        raise StoreError(f"{source} does not agree with {beside.name}; it was changed or damaged, nothing was restored")


def _refuse_existing(path: Path) -> None:
    if path.exists():
        raise StoreError(f"{path} exists already; give a new name, nothing is written over")


@contextmanager
def _sqlite(path: str | Path) -> Iterator[sqlite3.Connection]:
    connection = sqlite3.connect(path, isolation_level=None)
    try:
        yield connection
    finally:
        connection.close()
