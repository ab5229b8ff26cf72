"""Turns the records of one check back into the checked batch that was taken in."""

from __future__ import annotations

import io
import json
from typing import Any

import pandas as pd
from pandera.typing import DataFrame
from sqlalchemy import Connection, Select, Table, select

from wqcheck.errors import RecordRefusedError
from wqcheck.findings import Finding, Severity
from wqcheck.judging.rules import RuleStatement
from wqcheck.records.frames import READING_COLUMNS, VERDICT_COLUMNS, frame_of
from wqcheck.records.intake import LEDGER
from wqcheck.records.schema import (
    Batches,
    CheckFiles,
    Checks,
    Files,
    Findings,
    Reasons,
    judged,
    readings,
    stages,
    table_of,
)
from wqcheck.records.standing import CheckRow
from wqcheck.release.decision import BatchCheck, BatchDetails, Disposition, FileStamp, Reason, ReleaseDecision
from wqcheck.tables import Judged, Ledger, Readings, Stages


def stored_check(connection: Connection, batch: str, version: int | None = None) -> BatchCheck:
    """Return a check of a batch as it was taken in, the latest by default.

    Raises
    ------
    RecordRefusedError
        The store has no such check.
    """
    check = _check_row(connection, batch, version)
    details = _details(connection, batch, check.entry)
    read = _readings(connection, check.entry)
    return BatchCheck(
        details=details,
        readings=Readings.validate(read[read["combined"] == 0][list(READING_COLUMNS)].reset_index(drop=True)),
        ledger=_ledger(connection, check.entry),
        findings=_findings(connection, check.entry),
        judged=_judged(connection, check.entry, read),
        stages=_stages(connection, check.entry),
        decision=_decision(connection, batch, check),
        files=_stamps(connection, check.entry),
        decision_rules=tuple(RuleStatement(**rule) for rule in json.loads(check.decision_rules)),
    )


def of_entry(table: Table, entry: int, columns: list[str]) -> Select[*tuple[Any, ...]]:
    """Return the statement for some columns of the rows of one log entry, in their order."""
    return select(*(table.c[name] for name in columns)).where(table.c.entry == entry).order_by(table.c.place)


def _check_row(connection: Connection, batch: str, version: int | None) -> CheckRow:
    table = table_of(Checks)
    wanted = select(table).where(table.c.batch == batch).order_by(table.c.version.desc()).limit(1)
    if version is not None:
        wanted = wanted.where(table.c.version == version)
    found = connection.execute(wanted).mappings().first()
    if found is None:
        raise RecordRefusedError(f"batch {batch} has no check {version or ''}".strip() + " in this store")
    return CheckRow(**{name: found[name] for name in CheckRow.__dataclass_fields__})


def _details(connection: Connection, batch: str, entry: int) -> BatchDetails:
    """Give what was known of the batch when the check was taken in."""
    table = table_of(Batches)
    names = list(BatchDetails.__dataclass_fields__)
    wanted = select(*(table.c[name] for name in names)).where(table.c.batch == batch, table.c.entry <= entry)
    found = connection.execute(wanted.order_by(table.c.version.desc()).limit(1)).mappings().one()
    return BatchDetails(**{name: found[name] for name in names})


def _readings(connection: Connection, entry: int) -> pd.DataFrame:
    rows = connection.execute(of_entry(readings, entry, ["combined", *READING_COLUMNS])).all()
    frame = frame_of([tuple(row[1:]) for row in rows], READING_COLUMNS, Readings)
    return frame.assign(combined=[row[0] for row in rows])


def _judged(connection: Connection, entry: int, read: pd.DataFrame) -> DataFrame[Judged]:
    rows = connection.execute(of_entry(judged, entry, ["reading", *VERDICT_COLUMNS])).all()
    verdicts = frame_of([tuple(row[1:]) for row in rows], VERDICT_COLUMNS, Judged)
    results = read[list(READING_COLUMNS)].take([row[0] for row in rows]).reset_index(drop=True)
    return Judged.validate(pd.concat([results, verdicts], axis="columns"))


def _stages(connection: Connection, entry: int) -> DataFrame[Stages]:
    names = list(Stages.to_schema().columns)
    return Stages.validate(frame_of(connection.execute(of_entry(stages, entry, names)).all(), names, Stages))


def _findings(connection: Connection, entry: int) -> tuple[Finding, ...]:
    rows = connection.execute(of_entry(table_of(Findings), entry, list(Finding.__dataclass_fields__))).mappings()
    return tuple(Finding(**{**row, "severity": Severity(row["severity"])}) for row in rows)


def _decision(connection: Connection, batch: str, check: CheckRow) -> ReleaseDecision:
    rows = connection.execute(of_entry(table_of(Reasons), check.entry, list(Reason.__dataclass_fields__))).mappings()
    return ReleaseDecision(
        batch=batch,
        disposition=Disposition(check.disposition),
        reasons=tuple(Reason(**{**row, "disposition": Disposition(row["disposition"])}) for row in rows),
        required=tuple(json.loads(check.required)),
        missing=tuple(json.loads(check.missing)),
        not_tested=tuple(json.loads(check.not_tested)),
    )


def _stamps(connection: Connection, entry: int) -> tuple[FileStamp, ...]:
    rows = connection.execute(of_entry(table_of(CheckFiles), entry, list(FileStamp.__dataclass_fields__))).mappings()
    return tuple(FileStamp(**row) for row in rows if row["kind"] != LEDGER)


def _ledger(connection: Connection, entry: int) -> DataFrame[Ledger]:
    used, kept = table_of(CheckFiles), table_of(Files)
    wanted = select(kept.c.content).join(used, used.c.sha256 == kept.c.sha256)
    content = connection.execute(wanted.where(used.c.entry == entry, used.c.kind == LEDGER)).scalar_one()
    frame = pd.read_csv(io.BytesIO(content), dtype="str", keep_default_na=False)
    names = list(Ledger.to_schema().columns)
    return Ledger.validate(frame[names].assign(sheet=frame["sheet"].where(frame["sheet"] != "")))
