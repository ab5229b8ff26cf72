"""Turns sheets and checked batches into records: the bytes as received, readings, verdicts, findings and decision."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict, fields
from datetime import date
from pathlib import Path

from sqlalchemy import select

from wqcheck import __version__
from wqcheck.errors import RecordRefusedError, WorkbookError
from wqcheck.plant.readings import PlantReadings as PlantFile
from wqcheck.records.frames import rows_of, split_judged
from wqcheck.records.log import Writing, writing
from wqcheck.records.roles import WORKING, Act, require
from wqcheck.records.schema import (
    Batches,
    CheckFiles,
    Checks,
    Files,
    Findings,
    PlantReadings,
    Reasons,
    Receipts,
    judged,
    readings,
    stages,
    table_of,
)
from wqcheck.records.standing import State, batch_named, latest_batch, latest_check, standing, step
from wqcheck.records.store import Store
from wqcheck.release.decision import BatchCheck, BatchDetails
from wqcheck.sheets import files_within
from wqcheck.shipped_files import shipped_folder
from wqcheck.tables import Stages

NamedBytes = tuple[str, bytes]

LEDGER = "ledger"
"""Kind of the file that holds every cell of the workbooks that is no result."""

_OPEN = (State.RECEIVED, State.UNDER_REVIEW, State.ON_HOLD)


def files_used(
    sources: Sequence[Path], limits: Sequence[str | Path], train: Path | None, rules: Path | None
) -> list[NamedBytes]:
    """Return name and bytes of every file that a check with these arguments may use (as for ``check_workbook``).

    Every shipped file of limits and rules is among them, and each workbook of a zipped folder; :func:`take_in` keeps
    those that the check names.
    """
    shipped = shipped_folder("limits")
    tables = [Path(name) if Path(name).is_file() else shipped / f"{name}.csv" for name in limits]
    own = [path for path in (train, rules) if path]
    paths = [*sources, *tables, *own, *sorted(path for path in shipped.iterdir() if path.suffix in {".csv", ".toml"})]
    missing = [str(path) for path in paths if not path.is_file()]
    if missing:
        raise WorkbookError(f"{', '.join(missing)}: no such file; check the name and folder")
    given = [(path.name, path.read_bytes()) for path in paths]
    return [part for file in given[: len(sources)] for part in files_within(file)] + given[len(sources) :]


def receive(store: Store, files: Iterable[NamedBytes], act: Act) -> int:
    """Keep workbooks as they came, to be taken in later; return how many were not in the store yet.

    Raises
    ------
    RecordRefusedError
        The person may not, or a file is empty.
    """
    require(act, WORKING, "receive sheets")
    listed = list(files)
    with writing(store, act, "receive", ", ".join(name for name, _ in listed)) as work:
        return sum(_keep_receipt(work, name, content, "workbook") for name, content in listed)


def take_in(store: Store, checked: BatchCheck, act: Act, files: Iterable[NamedBytes], *, on: date) -> int:
    """Record a checked batch; a batch that the store knows gets a next version of its check.

    Parameters
    ----------
    store : Store
    checked : BatchCheck
        What ``check_workbook`` returned.
    act : Act
        Who takes it in; ``why`` must be given for a batch that was taken in before.
    files : iterable of (name, bytes)
        Every file that ``checked.files`` lists, see :func:`files_used`; told apart by their SHA-256.
    on : date
        Day of the check, as given to ``check_workbook``.

    Returns
    -------
    int
        The version of the check, 1 for a new batch. Its state is *received*, whatever it was before.

    Raises
    ------
    RecordRefusedError
        The person may not; the batch is already decided; a file is missing, or a correction gives no reason.
    """
    require(act, WORKING, "take in a batch")
    given = checked.details.batch.strip()
    if not given or given == "unnamed":
        raise RecordRefusedError("the batch has no number; give it (--batch), or write it into the sheet")
    content = {hashlib.sha256(data).hexdigest(): data for _, data in files}
    lost = [stamp.name for stamp in checked.files if stamp.sha256 not in content]
    if lost:
        raise RecordRefusedError(f"the bytes of {', '.join(lost)} were not given or have changed since the check")
    with writing(store, act, "take in", f"batch {given}") as work:
        batch = batch_named(work.connection, given) or given
        version = _next_version(work, batch)
        _keep_details(work, batch, checked.details)
        _keep_check(work, batch, version, (checked, on))
        _keep_files(work, checked, content)
        _keep_tables(work, checked)
        step(work, batch, State.RECEIVED, version, reason=act.why)
        return version


def keep_plant_readings(store: Store, file: NamedBytes, plant: PlantFile, act: Act, *, day: date) -> None:
    """Record a file of plant readings for a day; a later file for the same day is a correction of it.

    Raises
    ------
    RecordRefusedError
        The person may not, or the bytes are not those that were read.
    """
    require(act, WORKING, "record plant readings")
    digest = hashlib.sha256(file[1]).hexdigest()
    if digest != plant.digest:
        raise RecordRefusedError(f"{file[0]} has changed since it was read; read it again")
    with writing(store, act, "record plant readings", f"{plant.name}, {day}") as work:
        _keep_receipt(work, *file, "plant readings")
        work.add(table_of(PlantReadings), name=file[0], plant=plant.name, day=day.isoformat(), sha256=digest)


def keep_file(work: Writing, content: bytes) -> str:
    """Keep bytes, unless the store has them already, and return their SHA-256."""
    table, digest = table_of(Files), hashlib.sha256(content).hexdigest()
    known = work.connection.execute(select(table.c.size).where(table.c.sha256 == digest)).first()
    if known is None and all(row[0] != digest for row in work.rows.get(table.name, [])):
        work.add(table, sha256=digest, size=len(content), content=content)
    return digest


def kept_file(store: Store, digest: str) -> bytes:
    """Return the bytes that the store keeps under a SHA-256.

    Raises
    ------
    RecordRefusedError
        It keeps no such file.
    """
    table = table_of(Files)
    with store.reading() as connection:
        content = connection.execute(select(table.c.content).where(table.c.sha256 == digest)).scalar()
    if content is None:
        raise RecordRefusedError(f"the store keeps no file with the SHA-256 {digest}; check the digest")
    return bytes(content)


def _keep_receipt(work: Writing, name: str, content: bytes, kind: str) -> bool:
    """Keep a file that came in and its name, once; tell whether it is new."""
    if not content:
        raise RecordRefusedError(f"{name} is empty (0 bytes); save or send the file again")
    digest, table = keep_file(work, content), table_of(Receipts)
    known = select(table.c.entry).where(table.c.sha256 == digest, table.c.name == name)
    new = work.connection.execute(known.limit(1)).first() is None
    if new:
        work.add(table, name=name, kind=kind, sha256=digest)
    return new


def _next_version(work: Writing, batch: str) -> int:
    """Give the number of the next check, if the batch may have one."""
    now, last = standing(work.connection, batch), latest_check(work.connection, batch)
    if now is None or last is None:
        return 1
    if now.state not in _OPEN:
        raise RecordRefusedError(
            f"batch {batch} is {now.state}; new results are recorded only before a decision or while it is on hold"
        )
    if not work.act.why.strip():
        raise RecordRefusedError(f"batch {batch} was taken in before; give the reason for taking it in again (--why)")
    return last.version + 1


def _keep_details(work: Writing, batch: str, details: BatchDetails) -> None:
    """Keep what is known of the batch, if it is not what the store knows."""
    given = {**{key: str(value).strip() for key, value in asdict(details).items()}, "batch": batch}
    known = latest_batch(work.connection, batch)
    if known is None or any(known[key] != value for key, value in given.items()):
        version = known["version"] + 1 if known else 1
        work.add(table_of(Batches), **given, key=batch.casefold(), version=version)


def _keep_check(work: Writing, batch: str, version: int, made: tuple[BatchCheck, date]) -> None:
    checked, on = made
    decision = checked.decision
    lists = {
        name: json.dumps(getattr(decision, name), ensure_ascii=False) for name in ("required", "missing", "not_tested")
    }
    work.add(
        table_of(Checks), batch=batch, version=version, product=checked.details.product, checked_on=on.isoformat(),
        disposition=str(decision.disposition), **lists, software=f"wqcheck {__version__}",
        decision_rules=json.dumps([asdict(rule) for rule in checked.decision_rules], ensure_ascii=False),
    )  # fmt: skip
    for reason in decision.reasons:
        work.add(table_of(Reasons), **{field.name: getattr(reason, field.name) for field in fields(reason)})
    for finding in checked.findings:
        work.add(table_of(Findings), **{field.name: getattr(finding, field.name) for field in fields(finding)})


def _keep_files(work: Writing, checked: BatchCheck, content: dict[str, bytes]) -> None:
    table = table_of(CheckFiles)
    for stamp in checked.files:
        keep_file(work, content[stamp.sha256])
        if stamp.kind == "workbook":
            _keep_receipt(work, stamp.name, content[stamp.sha256], "workbook")
        work.add(table, name=stamp.name, kind=stamp.kind, title=stamp.title, sha256=stamp.sha256)
    ledger = keep_file(work, checked.ledger.to_csv(index=False, lineterminator="\n").encode("utf-8", "replace"))
    work.add(table, name="ledger.csv", kind=LEDGER, title="", sha256=ledger)


def _keep_tables(work: Writing, checked: BatchCheck) -> None:
    read, verdicts = split_judged(checked.readings, checked.judged)
    work.add_rows(readings, read)
    work.add_rows(judged, verdicts)
    work.add_rows(stages, rows_of(checked.stages, tuple(Stages.to_schema().columns)))
