"""Turns the workbooks that came into the records into the list of those that no check has used, and their bytes."""

from __future__ import annotations

import pandas as pd
from sqlalchemy import Connection, select

from wqcheck.errors import RecordRefusedError
from wqcheck.records.schema import CheckFiles, Files, Receipts, log, table_of
from wqcheck.records.store import Store


def received_sheets(store: Store) -> pd.DataFrame:
    """List the workbooks that came in and that no check has used: name, sha256 and received (when), oldest first."""
    with store.reading() as connection:
        return unused_sheets(connection)


def received_file(store: Store, sha256: str) -> tuple[str, bytes]:
    """Return the name and the bytes of a workbook that came in.

    Raises
    ------
    RecordRefusedError
        No such workbook came in.
    """
    table, kept = table_of(Receipts), table_of(Files)
    wanted = select(table.c.name, kept.c.content).join_from(table, kept, kept.c.sha256 == table.c.sha256)
    with store.reading() as connection:
        row = connection.execute(wanted.where(table.c.sha256 == sha256).order_by(table.c.entry).limit(1)).first()
    if row is None:
        raise RecordRefusedError(f"no sheet with the SHA-256 {sha256[:16]}… came into the records")
    return str(row.name), bytes(row.content)


def unused_sheets(connection: Connection) -> pd.DataFrame:
    """List the workbooks that came in and that no check has used, as :func:`received_sheets` does."""
    table, used = table_of(Receipts), table_of(CheckFiles)
    wanted = (
        select(table.c.name, table.c.sha256, log.c.at)
        .join_from(table, log, log.c.seq == table.c.entry)
        .where(table.c.kind == "workbook", ~select(used.c.entry).where(used.c.sha256 == table.c.sha256).exists())
        .order_by(table.c.entry, table.c.place)
    )
    return pd.DataFrame(connection.execute(wanted).all(), columns=["name", "sha256", "received"])
