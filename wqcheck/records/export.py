"""Turns a record store into open formats: a zip of CSV and JSON tables, the files as received, and their digests."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

from sqlalchemy import Connection, Table, select

from wqcheck.errors import StoreError
from wqcheck.records.log import head
from wqcheck.records.schema import TABLES, Certificates, CheckFiles, Files, Receipts, log, table_of
from wqcheck.records.store import Store

FORMAT = "wqcheck export 1"
_CHUNK = 10_000


@dataclass(slots=True)
class _Archive:
    """A zip in the making, with the digest of each member."""

    file: zipfile.ZipFile
    digests: dict[str, str] = field(default_factory=dict)

    def write(self, name: str, parts: Iterable[bytes]) -> None:
        digest = hashlib.sha256()
        with self.file.open(name, "w", force_zip64=True) as out:
            for part in parts:
                digest.update(part)
                out.write(part)
        self.digests[name] = digest.hexdigest()


def export(store: Store, to: Path) -> dict[str, str]:
    """Write all records into a zip and return the SHA-256 of each member.

    ``tables/NAME.csv`` and ``tables/NAME.json`` hold each table whole (every version), without stored bytes;
    ``files/SHA256-NAME`` the workbooks, limit tables, trains, rules and documents byte for byte; ``manifest.json`` the
    digests of all of them and the head of the log. Blank CSV fields are missing values or empty text; JSON tells them
    apart.

    Raises
    ------
    StoreError
        *to* exists already.
    """
    if to.exists():
        raise StoreError(f"{to} exists already; give a new name, nothing is written over")
    draft = to.with_name(f".{to.name}.part")
    try:
        with store.reading() as connection, zipfile.ZipFile(draft, "w", zipfile.ZIP_DEFLATED) as file:
            archive = _Archive(file)
            for table in (log, *TABLES):
                archive.write(f"tables/{table.name}.csv", _csv(connection, table))
                archive.write(f"tables/{table.name}.json", _json(connection, table))
            _write_files(connection, archive)
            manifest = {"format": FORMAT, "head": str(head(connection)), "sha256": archive.digests}
            file.writestr("manifest.json", json.dumps(manifest, indent=2, sort_keys=True) + "\n")
        draft.replace(to)
    finally:
        draft.unlink(missing_ok=True)
    return archive.digests


def _csv(connection: Connection, table: Table) -> Iterable[bytes]:
    names, rows = _rows(connection, table)
    yield _lines([names])
    for part in rows:
        yield _lines(part)


def _lines(rows: Iterable[Iterable[object]]) -> bytes:
    buffer = io.StringIO(newline="")
    csv.writer(buffer, lineterminator="\n").writerows(rows)
    return buffer.getvalue().encode("utf-8")


def _json(connection: Connection, table: Table) -> Iterable[bytes]:
    """Give the table as a JSON array of objects, one a line."""
    names, rows = _rows(connection, table)
    before = "[\n"
    for part in rows:
        texts = [json.dumps(dict(zip(names, row, strict=True)), ensure_ascii=False) for row in part]
        yield (before + ",\n".join(texts)).encode("utf-8")
        before = ",\n"
    yield b"[]\n" if before == "[\n" else b"\n]\n"


def _rows(connection: Connection, table: Table) -> tuple[list[str], Iterable[list[tuple[object, ...]]]]:
    """Give the column names of a table and its rows in parts; an infinite end is written as text."""
    columns = [column for column in table.columns if column.name != "content"]
    found = connection.execute(select(*columns).order_by(*table.primary_key).execution_options(yield_per=_CHUNK))
    ends = {float("inf"): "inf", float("-inf"): "-inf"}
    parts = (
        [tuple(ends.get(value, value) if type(value) is float else value for value in row) for row in part]
        for part in found.partitions(_CHUNK)
    )
    return [column.name for column in columns], parts


def _write_files(connection: Connection, archive: _Archive) -> None:
    table = table_of(Files)
    names = _names(connection)
    digests = connection.execute(select(table.c.sha256).order_by(table.c.entry, table.c.place)).scalars().all()
    for digest in digests:
        content = connection.execute(select(table.c.content).where(table.c.sha256 == digest)).scalar_one()
        archive.write(f"files/{digest}-{names.get(digest, 'file')}", [bytes(content)])


def _names(connection: Connection) -> dict[str, str]:
    """Give each stored file the first name that it came under, without what a folder could mistake."""
    known: dict[str, str] = {}
    for model in (Receipts, CheckFiles):
        table = table_of(model)
        for digest, name in connection.execute(select(table.c.sha256, table.c.name).order_by(table.c.entry)):
            known.setdefault(digest, name)
    papers = table_of(Certificates)
    for number, *digests in connection.execute(select(papers.c.number, papers.c.json, papers.c.pdf, papers.c.xlsx)):
        for digest, ending in zip(digests, ("json", "pdf", "xlsx"), strict=True):
            known.setdefault(digest, f"{number}.{ending}")
    safe = str.maketrans(dict.fromkeys('/\\:*?"<>|\r\n', "_"))
    return {digest: name.translate(safe)[-100:] for digest, name in known.items()}
