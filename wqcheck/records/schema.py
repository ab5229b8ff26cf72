"""Turns the models of the package into the tables of the record store.

Every table but the log is *sealed*: a row belongs to one log entry (``entry``), has its place in it, and carries the
first eight bytes of its own SHA-256 (``seal``); the log entry holds the digest of all its rows. Rows are only ever
added. A later schema adds columns at the end and leaves them blank for old rows, which keeps their seals valid.

Times are ISO 8601 text: those of the sheets without a zone, as the sheets give them, those of the records with one.
"""

from __future__ import annotations

from sqlalchemy import BigInteger, Column, Double, ForeignKey, Index, Integer, LargeBinary, Table, Text
from sqlalchemy import UniqueConstraint as Unique
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

from wqcheck.tables import Judged, Readings, Stages

SCHEMA_VERSION = "0001"
"""Name of the newest migration; a store that knows more is refused."""

UNSEALED = ("seal", "content")
"""Columns that a seal leaves out: itself, and bytes that their SHA-256 stands for."""


class Base(DeclarativeBase):
    """What all tables of the store belong to."""

    type_annotation_map = {str: Text(), int: Integer(), float: Double(), bytes: LargeBinary()}  # noqa: RUF012


class Log(Base):
    """One row per act: who did what to which record, when and why; ``hash`` covers it and the entry before it."""

    __tablename__ = "log"
    seq: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    at: Mapped[str]
    person: Mapped[str]
    action: Mapped[str]
    subject: Mapped[str] = mapped_column(index=True)
    why: Mapped[str]
    rows: Mapped[str]
    previous: Mapped[str]
    hash: Mapped[str] = mapped_column(unique=True)


class Sealed:
    """The three columns of a row that belongs to a log entry."""

    entry: Mapped[int] = mapped_column(ForeignKey("log.seq"), primary_key=True, autoincrement=False, sort_order=-3)
    place: Mapped[int] = mapped_column(primary_key=True, autoincrement=False, sort_order=-2)
    seal: Mapped[int] = mapped_column(BigInteger(), sort_order=-1)


class People(Sealed, Base):
    """A person as the people file described them when they first acted so; ``roles`` are separated by spaces."""

    __tablename__ = "people"
    person: Mapped[str] = mapped_column(index=True)
    name: Mapped[str]
    email: Mapped[str]
    subject: Mapped[str]
    roles: Mapped[str]


class Files(Sealed, Base):
    """The bytes of a workbook, limit table, train, rules file, ledger or document, each kept once."""

    __tablename__ = "files"
    sha256: Mapped[str] = mapped_column(unique=True)
    size: Mapped[int] = mapped_column(BigInteger())
    content: Mapped[bytes]


class Receipts(Sealed, Base):
    """A workbook or file of plant readings that came in: its name and bytes, whether or not it is taken in yet."""

    __tablename__ = "receipts"
    name: Mapped[str]
    kind: Mapped[str]
    sha256: Mapped[str] = mapped_column(ForeignKey("files.sha256"), index=True)


class Batches(Sealed, Base):
    """One version of what is known of a batch; ``batch`` is its number as first spelt, ``key`` it without case."""

    __tablename__ = "batches"
    __table_args__ = (Unique("batch", "version"),)
    batch: Mapped[str]
    key: Mapped[str] = mapped_column(index=True)
    version: Mapped[int]
    product: Mapped[str]
    product_name: Mapped[str]
    plant: Mapped[str]
    address: Mapped[str]
    line: Mapped[str]
    tank: Mapped[str]
    run_start: Mapped[str]
    run_end: Mapped[str]
    volume: Mapped[str]
    containers: Mapped[str]
    container_codes: Mapped[str]
    best_before: Mapped[str]
    laboratory: Mapped[str]
    sampled_by: Mapped[str]
    remarks: Mapped[str]


class SubLots(Sealed, Base):
    """A part of a batch that can be told apart; the latest row of a code holds."""

    __tablename__ = "sub_lots"
    batch: Mapped[str] = mapped_column(index=True)
    code: Mapped[str]
    containers: Mapped[str]
    volume: Mapped[str]
    note: Mapped[str]


class RetainedSamples(Sealed, Base):
    """Containers that are kept back, where, and until which day; the latest row of a code holds."""

    __tablename__ = "retained_samples"
    batch: Mapped[str] = mapped_column(index=True)
    code: Mapped[str]
    quantity: Mapped[str]
    kept_at: Mapped[str]
    keep_until: Mapped[str]


class LinkedSamples(Sealed, Base):
    """A sample that answers for a batch: its role, where it came from, and the day until which it counts."""

    __tablename__ = "linked_samples"
    batch: Mapped[str] = mapped_column(index=True)
    code: Mapped[str] = mapped_column(index=True)
    role: Mapped[str]
    origin: Mapped[str]
    valid_until: Mapped[str]


class Checks(Sealed, Base):
    """One check of a batch against limits; a correction or a further sheet makes the next version."""

    __tablename__ = "checks"
    __table_args__ = (Unique("batch", "version"),)
    batch: Mapped[str]
    version: Mapped[int]
    product: Mapped[str]
    checked_on: Mapped[str]
    disposition: Mapped[str]
    required: Mapped[str]
    missing: Mapped[str]
    not_tested: Mapped[str]
    decision_rules: Mapped[str]
    software: Mapped[str]


class CheckFiles(Sealed, Base):
    """A file that a check used."""

    __tablename__ = "check_files"
    name: Mapped[str] = mapped_column(index=True)
    kind: Mapped[str]
    title: Mapped[str]
    sha256: Mapped[str] = mapped_column(ForeignKey("files.sha256"), index=True)


class Reasons(Sealed, Base):
    """One reason of the recommendation of a check, as :class:`wqcheck.release.decision.Reason`."""

    __tablename__ = "reasons"
    disposition: Mapped[str]
    code: Mapped[str]
    message: Mapped[str]
    where: Mapped[str]
    parameter: Mapped[str]


class Findings(Sealed, Base):
    """One finding of a check, as :class:`wqcheck.findings.Finding`."""

    __tablename__ = "findings"
    code: Mapped[str]
    severity: Mapped[str]
    message: Mapped[str]
    where: Mapped[str]
    given: Mapped[str]


class Decisions(Sealed, Base):
    """One step of a batch from state to state, and the check it rests on; ``override`` is 1 against the advice."""

    __tablename__ = "decisions"
    __table_args__ = (Unique("batch", "version"),)
    batch: Mapped[str]
    version: Mapped[int]
    state: Mapped[str] = mapped_column(index=True)
    check_version: Mapped[int]
    person: Mapped[str]
    at: Mapped[str]
    reason: Mapped[str]
    override: Mapped[int]


class Signatures(Sealed, Base):
    """A person's name under a step: what it means, and the hash of the log entry of the check that was signed."""

    __tablename__ = "signatures"
    batch: Mapped[str] = mapped_column(index=True)
    decision_version: Mapped[int]
    person: Mapped[str]
    name: Mapped[str]
    meaning: Mapped[str]
    signed_hash: Mapped[str]


class Overrides(Sealed, Base):
    """A release against a recommended hold, with its written reason."""

    __tablename__ = "overrides"
    batch: Mapped[str] = mapped_column(index=True)
    check_version: Mapped[int]
    recommended: Mapped[str]
    decided: Mapped[str]
    reason: Mapped[str]


class Remarks(Sealed, Base):
    """A written remark on a batch; ``about`` names a parameter, cell or file, blank for the batch itself."""

    __tablename__ = "remarks"
    batch: Mapped[str] = mapped_column(index=True)
    about: Mapped[str]
    text: Mapped[str]


class Certificates(Sealed, Base):
    """A certificate or notice with its number; numbers of a series run from 1 without a gap."""

    __tablename__ = "certificates"
    __table_args__ = (Unique("series", "ordinal"),)
    number: Mapped[str] = mapped_column(unique=True)
    series: Mapped[str]
    ordinal: Mapped[int]
    batch: Mapped[str] = mapped_column(index=True)
    kind: Mapped[str]
    revision: Mapped[int]
    supersedes: Mapped[str]
    check_version: Mapped[int]
    decision_version: Mapped[int]
    issued_at: Mapped[str]
    signed_by: Mapped[str]
    digest: Mapped[str]
    json: Mapped[str] = mapped_column(ForeignKey("files.sha256"))
    pdf: Mapped[str] = mapped_column(ForeignKey("files.sha256"))
    xlsx: Mapped[str] = mapped_column(ForeignKey("files.sha256"))


class Withdrawals(Sealed, Base):
    """A document that no longer holds, why, and the notice that says so."""

    __tablename__ = "withdrawals"
    number: Mapped[str] = mapped_column(ForeignKey("certificates.number"), unique=True)
    batch: Mapped[str] = mapped_column(index=True)
    reason: Mapped[str]
    json: Mapped[str] = mapped_column(ForeignKey("files.sha256"))
    pdf: Mapped[str] = mapped_column(ForeignKey("files.sha256"))
    xlsx: Mapped[str] = mapped_column(ForeignKey("files.sha256"))


class PlantReadings(Sealed, Base):
    """A file of plant readings: the plant it names and the day it is for."""

    __tablename__ = "plant_readings"
    name: Mapped[str]
    plant: Mapped[str]
    day: Mapped[str] = mapped_column(index=True)
    sha256: Mapped[str] = mapped_column(ForeignKey("files.sha256"))


def _sealed_columns() -> tuple[Column[int], ...]:
    return (
        Column("entry", Integer, ForeignKey("log.seq"), primary_key=True, autoincrement=False),
        Column("place", Integer, primary_key=True, autoincrement=False),
        Column("seal", BigInteger, nullable=False),
    )


def _frame_columns(model: type[Readings] | type[Stages], without: type[Readings] | None = None) -> list[Column[str]]:
    """Give a column for each column of a table model, except those that *without* has too."""
    known = set(without.to_schema().columns) if without else set[str]()
    kinds = {"float64": Double}
    return [
        Column(name, kinds.get(str(column.dtype), Text)(), nullable=bool(column.nullable))
        for name, column in model.to_schema().columns.items()
        if name not in known
    ]


readings = Table(
    "readings", Base.metadata, *_sealed_columns(), Column("combined", Integer, nullable=False),
    *_frame_columns(Readings),
    Index("readings_series", Readings.point, Readings.parameter, Readings.sampled_at, "combined"),
    Index("readings_parameter", Readings.parameter, Readings.sampled_at),
    Index("readings_sample", Readings.sample),
    Index("readings_lab", Readings.lab),
    Index("readings_batch", Readings.batch),
    sqlite_with_rowid=False,
)  # fmt: skip
"""Results of a check as read; ``combined`` is 1 for a sum or ratio that judging made of several."""

judged = Table(
    "judged", Base.metadata, *_sealed_columns(), Column("reading", Integer, nullable=False),
    *_frame_columns(Judged, without=Readings),
    Index("judged_verdict", Judged.verdict, "entry"),
    Index("judged_limit", Judged.table, Judged.limit_line, "entry"),
    sqlite_with_rowid=False,
)  # fmt: skip
"""Verdicts of a check; ``reading`` is the place of the result among the readings of the same entry."""

stages = Table("stages", Base.metadata, *_sealed_columns(), *_frame_columns(Stages), sqlite_with_rowid=False)
"""Removals of a check, as :class:`wqcheck.tables.Stages`."""

log = Base.metadata.tables["log"]
TABLES: tuple[Table, ...] = tuple(table for table in Base.metadata.sorted_tables if table is not log)
"""The sealed tables, those that others point at first."""


def table_of(model: type[Base]) -> Table:
    """Return the table of a model."""
    return Base.metadata.tables[model.__tablename__]


def sealed_names(table: Table) -> list[str]:
    """Return the columns that a seal covers, in their order."""
    return [column.name for column in table.columns if column.name not in UNSEALED]
