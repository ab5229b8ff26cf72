"""Turns a sample, workbook, laboratory, point, limit table or limit row into the batches that rest on it (recall)."""

from __future__ import annotations

from enum import StrEnum

import pandas as pd
from sqlalchemy import Column, Connection, Select, func, literal, or_, select, union_all

from wqcheck.errors import RecordRefusedError
from wqcheck.records.schema import (
    Certificates,
    CheckFiles,
    Checks,
    Decisions,
    LinkedSamples,
    judged,
    readings,
    table_of,
)
from wqcheck.records.standing import latest_of
from wqcheck.records.store import Store

Found = Select[int, int]


class Touch(StrEnum):
    """What may be in doubt."""

    SAMPLE = "sample"
    WORKBOOK = "workbook"
    LAB = "lab"
    POINT = "point"
    LIMIT_TABLE = "limit table"
    LIMIT_ROW = "limit row"


def batches_touched_by(store: Store, kind: Touch, value: str) -> pd.DataFrame:
    """Return the batches of which any check, the superseded ones too, rests on something.

    Parameters
    ----------
    store : Store
    kind : Touch
    value : str
        Sample code, laboratory or point as in the readings (case does not matter); a workbook's or limit table's file
        name or SHA-256 (a limit table also without its ending); a limit row as ``TABLE:LINE``, the line of its file.

    Returns
    -------
    DataFrame
        Columns batch, state, checks (versions that rest on it), latest (whether the latest check is among them), rows
        (readings, verdicts or files concerned) and documents (numbers), those released first.

    Raises
    ------
    RecordRefusedError
        The value is blank, or a limit row is not written as it should be.
    """
    if not value.strip():
        raise RecordRefusedError(f"which {kind} is in doubt? Give its name")
    with store.reading() as connection:
        found = _entries(connection, kind, value.strip()).subquery()
        checks = table_of(Checks)
        wanted = select(checks.c.batch, checks.c.version, found.c.rows).join_from(
            found, checks, checks.c.entry == found.c.entry
        )
        linked = _linked(value.strip()) if kind is Touch.SAMPLE else []
        rows = [tuple(row) for statement in (wanted, *linked) for row in connection.execute(statement)]
        hits = pd.DataFrame(rows, columns=["batch", "version", "rows"])
        return _told(connection, hits)


def _entries(connection: Connection, kind: Touch, value: str) -> Found:
    """Give the statement for the log entries of checks that rest on something, and how many rows of each."""
    if kind in {Touch.WORKBOOK, Touch.LIMIT_TABLE}:
        table = table_of(CheckFiles)
        names = [value.casefold(), *([f"{value.casefold()}.csv", f"{value.casefold()}.xlsx"])]
        named = or_(func.lower(table.c.name).in_(names), table.c.name == value, table.c.sha256 == value.casefold())
        return _counted(table.c.entry).where(table.c.kind == str(kind), named)
    if kind is Touch.LIMIT_ROW:
        name, _, line = value.rpartition(":")
        if not name or not line.isdecimal():
            raise RecordRefusedError(f"write a limit row as TABLE:LINE, the line of its file (given: {value!r})")
        return _counted(judged.c.entry).where(judged.c.table == name, judged.c.limit_line == float(line))
    column = {Touch.SAMPLE: readings.c.sample, Touch.LAB: readings.c.lab, Touch.POINT: readings.c.point}[kind]
    return _counted(readings.c.entry).where(column.in_(_spellings(connection, column, value)))


def _counted(entry: Column[int]) -> Found:
    return select(entry, func.count().label("rows")).group_by(entry)


def _spellings(connection: Connection, column: Column[str], value: str) -> list[str]:
    """Give every spelling in a column that is *value* but for case and spaces."""
    wanted = " ".join(value.casefold().split())
    listed = connection.execute(select(column).distinct().where(column.is_not(None))).scalars()
    return [text for text in listed if " ".join(text.casefold().split()) == wanted]


def _linked(value: str) -> list[Select[str, int, int]]:
    """Give the statement for the batches that a sample was linked to, by their latest check."""
    linked, checks = table_of(LinkedSamples), table_of(Checks)
    return [
        select(checks.c.batch, checks.c.version, literal(1))
        .join_from(linked, checks, checks.c.batch == linked.c.batch)
        .where(func.lower(linked.c.code) == value.lower(), latest_of(Checks))
        .distinct()
    ]


def _told(connection: Connection, hits: pd.DataFrame) -> pd.DataFrame:
    """Put the state and the documents beside each batch."""
    names = ["batch", "state", "checks", "latest", "rows", "documents"]
    if hits.empty:
        return pd.DataFrame({name: pd.Series(dtype="str") for name in names})
    steps, papers = table_of(Decisions), table_of(Certificates)
    stands = select(steps.c.batch, steps.c.state.label("told"), steps.c.check_version).where(latest_of(Decisions))
    issued = select(papers.c.batch, papers.c.number.label("told"), papers.c.check_version)
    both = union_all(stands.add_columns(literal(0)), issued.add_columns(literal(1)))
    told = pd.DataFrame(connection.execute(both).all(), columns=["batch", "told", "check_version", "paper"])
    state = told[told["paper"] == 0].set_index("batch")
    numbers = told[told["paper"] == 1].groupby("batch")["told"].agg(", ".join)
    grouped = hits.groupby("batch", sort=True)
    frame = pd.DataFrame({
        "state": state["told"].reindex(grouped.size().index),
        "checks": grouped["version"].agg(lambda found: ", ".join(map(str, sorted(set(found))))),
        "latest": grouped["version"].max() == state["check_version"].reindex(grouped.size().index),
        "rows": grouped["rows"].sum(),
        "documents": numbers.reindex(grouped.size().index).fillna(""),
    }).reset_index()  # fmt: skip
    order = frame["state"].ne("released")
    return frame.assign(order=order).sort_values(["order", "batch"])[names].reset_index(drop=True)
