"""Writes one small sheet of an invented batch that may be released, with what a test changes in it, and checks it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from tests.workbooks import xlsx_bytes
from wqcheck.batch import check_workbook
from wqcheck.release.decision import BatchCheck, BatchDetails

ON = date(2026, 6, 19)
RUN_START = "2026-06-16 06:10"
SAMPLED = datetime(2026, 6, 16, 8, 40)
HEADINGS = ("Sample ID", "Batch", "Sampling point", "Sampled", "Parameter", "Result", "Unit")
PANEL = (
    ("Escherichia coli", "absent", "CFU/250 mL"), ("Total coliforms", "absent", "CFU/250 mL"),
    ("Intestinal enterococci", "absent", "CFU/250 mL"), ("Pseudomonas aeruginosa", "absent", "CFU/250 mL"),
    ("Turbidity", 0.1, "NTU"), ("pH", 7.0, "pH"), ("Conductivity at 20 °C", 60.0, "µS/cm"),
    ("Free chlorine", 0.3, "mg/L"),
)  # fmt: skip

Row = Sequence[Any]


def rows_of(*more: Row, sampled: Any = SAMPLED, batch: Any = "B1", point: Any = "FP") -> list[Row]:
    """Return headings and a full panel without an exceedance, then *more* results of the same sample."""
    return [HEADINGS, *(("S1", batch, point, sampled, *row) for row in (*PANEL, *more))]


def checked(rows: Sequence[Row] | Mapping[str, Sequence[Row]], **changed: Any) -> BatchCheck:
    """Check the *rows* of one sheet, or of several by name, as batch B1; keywords change what is asked."""
    sheets = rows if isinstance(rows, Mapping) else {"Results": rows}
    details = {"batch": "B1", "product": "purified", "run_start": RUN_START} | changed.pop("details", {})
    asked: dict[str, Any] = {"limits": ["us_21cfr165_110b"], "train": None, "rules": None, "on": ON}
    asked |= {"product": "purified"} | changed
    return check_workbook([("book.xlsx", xlsx_bytes(sheets))], details=BatchDetails(**details), **asked)


def holding(check: BatchCheck) -> set[str]:
    """Return the codes of the findings that hold."""
    return {finding.code for finding in check.findings if finding.severity == "hold"}
