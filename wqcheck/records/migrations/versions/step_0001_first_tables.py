"""Turns an empty database into the first form of the record store: its log, its sealed tables and their guards.

A migration is never edited after a release and imports no table definition, so that it gives the same tables for ever.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from wqcheck.records.guards import guard_tables

revision = "0001"
down_revision = None

_KINDS = {"text": sa.Text, "number": sa.Double, "int": sa.Integer, "big": sa.BigInteger, "bytes": sa.LargeBinary}

LOG = "at person action subject why rows previous hash"

FRAME_TABLES = {
    "readings": "combined:int! sample batch point stage sampled_at received_at analysed_at parameter parameter_text "
    "fraction reported! sign! value:number value_high:number unit unit_text basis volume_ml:number "
    "reporting_limit:number uncertainty:number qualifier method lab replicate workbook! sheet cell!",
    "judged": "reading:int! table rule lower:number upper:number limit_unit limit_basis class status source clause "
    "evidence limit_line:number compared_value:number compared_low:number compared_high:number verdict! "
    "margin:number reason! decision_rule expanded_uncertainty:number uncertainty_source guard_band:number "
    "conformity:number loq_percent:number sum_lower:number sum_middle:number sum_upper:number",
    "stages": "stage! kind parameter! inlet_point! outlet_point! inlet! outlet! unit removal_percent:number "
    "log_removal:number bound! reason! removal_low:number removal_high:number cumulative_percent:number "
    "cumulative_log:number cumulative_bound inlet_low:number inlet_high:number outlet_low:number "
    "outlet_high:number inlet_cells outlet_cells",
}
"""Columns that may be blank unless marked ``!``; text unless a kind is named."""

RECORD_TABLES = {
    "files": "sha256 size:big content:bytes",
    "people": "person name email subject roles",
    "receipts": "name kind sha256",
    "batches": "batch key version:int product product_name plant address line tank run_start run_end volume containers "
    "container_codes best_before laboratory sampled_by remarks",
    "sub_lots": "batch code containers volume note",
    "retained_samples": "batch code quantity kept_at keep_until",
    "linked_samples": "batch code role origin valid_until",
    "checks": "batch version:int product checked_on disposition required missing not_tested decision_rules software",
    "check_files": "name kind title sha256",
    "reasons": "disposition code message where parameter",
    "findings": "code severity message where given",
    "decisions": "batch version:int state check_version:int person at reason override:int",
    "signatures": "batch decision_version:int person name meaning signed_hash",
    "overrides": "batch check_version:int recommended decided reason",
    "remarks": "batch about text",
    "certificates": "number series ordinal:int batch kind revision:int supersedes check_version:int "
    "decision_version:int issued_at signed_by digest json pdf xlsx",
    "withdrawals": "number batch reason json pdf xlsx",
    "plant_readings": "name plant day sha256",
}
"""Columns that are never blank."""

FILE_COLUMNS = {
    "receipts": ["sha256"],
    "check_files": ["sha256"],
    "certificates": ["json", "pdf", "xlsx"],
    "withdrawals": ["json", "pdf", "xlsx"],
    "plant_readings": ["sha256"],
}

UNIQUE = {
    "files": [["sha256"]],
    "batches": [["batch", "version"]],
    "checks": [["batch", "version"]],
    "decisions": [["batch", "version"]],
    "certificates": [["series", "ordinal"], ["number"]],
    "withdrawals": [["number"]],
}

INDEXES = {
    "ix_log_subject": ("log", ["subject"]),
    "ix_people_person": ("people", ["person"]),
    "ix_receipts_sha256": ("receipts", ["sha256"]),
    "ix_batches_key": ("batches", ["key"]),
    "ix_sub_lots_batch": ("sub_lots", ["batch"]),
    "ix_retained_samples_batch": ("retained_samples", ["batch"]),
    "ix_linked_samples_batch": ("linked_samples", ["batch"]),
    "ix_linked_samples_code": ("linked_samples", ["code"]),
    "ix_check_files_name": ("check_files", ["name"]),
    "ix_check_files_sha256": ("check_files", ["sha256"]),
    "ix_decisions_state": ("decisions", ["state"]),
    "ix_signatures_batch": ("signatures", ["batch"]),
    "ix_overrides_batch": ("overrides", ["batch"]),
    "ix_remarks_batch": ("remarks", ["batch"]),
    "ix_certificates_batch": ("certificates", ["batch"]),
    "ix_withdrawals_batch": ("withdrawals", ["batch"]),
    "ix_plant_readings_day": ("plant_readings", ["day"]),
    "readings_series": ("readings", ["point", "parameter", "sampled_at", "combined"]),
    "readings_parameter": ("readings", ["parameter", "sampled_at"]),
    "readings_sample": ("readings", ["sample"]),
    "readings_lab": ("readings", ["lab"]),
    "readings_batch": ("readings", ["batch"]),
    "judged_verdict": ("judged", ["verdict", "entry"]),
    "judged_limit": ("judged", ["table", "limit_line", "entry"]),
}


def upgrade() -> None:
    """Make the tables, their indexes and their guards."""
    op.create_table(
        "log",
        sa.Column("seq", sa.Integer, primary_key=True, autoincrement=False),
        *(sa.Column(name, sa.Text, nullable=False) for name in LOG.split()),
        sa.UniqueConstraint("hash"),
    )
    for name, columns in RECORD_TABLES.items():
        listed = [_column(text, nullable=False) for text in columns.split()]
        op.create_table(name, *_sealed(), *listed, *_constraints(name))
    for name, columns in FRAME_TABLES.items():
        listed = [_column(text.rstrip("!"), nullable=not text.endswith("!")) for text in columns.split()]
        op.create_table(name, *_sealed(), *listed, sqlite_with_rowid=False)
    for index, (table, over) in INDEXES.items():
        op.create_index(index, table, over)
    guard_tables(op.get_bind(), ["log", *RECORD_TABLES, *FRAME_TABLES])


def _sealed() -> list[sa.Column[int]]:
    return [
        sa.Column("entry", sa.Integer, sa.ForeignKey("log.seq"), primary_key=True, autoincrement=False),
        sa.Column("place", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("seal", sa.BigInteger, nullable=False),
    ]


def _column(text: str, *, nullable: bool) -> sa.Column[str]:
    name, _, kind = text.partition(":")
    return sa.Column(name, _KINDS[kind or "text"](), nullable=nullable)


def _constraints(table: str) -> list[sa.Constraint]:
    unique: list[sa.Constraint] = [sa.UniqueConstraint(*columns) for columns in UNIQUE.get(table, [])]
    files = [sa.ForeignKeyConstraint([column], ["files.sha256"]) for column in FILE_COLUMNS.get(table, [])]
    numbers = [sa.ForeignKeyConstraint(["number"], ["certificates.number"])] if table == "withdrawals" else []
    return [*unique, *files, *numbers]
