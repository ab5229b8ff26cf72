"""Turns a few lines of text into checked batches of an invented plant, for the tests of certificates and notices."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from typing import Any

import pandas as pd
from pandera.typing import DataFrame

from wqcheck.findings import Finding, Severity
from wqcheck.release.decision import BatchCheck, BatchDetails, Disposition, FileStamp, Reason, ReleaseDecision
from wqcheck.tables import Judged, Ledger, Readings, Stages, Verdict

DETAILS = BatchDetails(
    batch="B2107",
    product="purified",
    product_name="Still water in 1.5 L bottles",
    plant="Port Almara bottling plant (invented)",
    address="Quay Road 4, Port Almara, Sorrel coast (invented)",
    line="Line 2",
    tank="T3",
    run_start="2026-03-02 06:10",
    run_end="2026-03-02 13:40",
    volume="18 m³",
    containers="12 000",
    container_codes="B2107-00001 to B2107-12000",
    best_before="2027-03-01",
    laboratory="Sorrel Coast Water Laboratory (invented)",
    sampled_by="Night shift",
)
REQUIRED = ("escherichia_coli", "pseudomonas_aeruginosa", "lead", "nitrate", "ph")
BOOK = "run_B2107.xlsx"

# parameter | reported | unit | basis | mL | rule | lower | upper | limit unit | class | low | high | verdict | evidence
GOOD = """
escherichia_coli|Absent|CFU||250|absent|||CFU/250 mL|microbiological|0|0|pass|primary text
pseudomonas_aeruginosa|Absent|CFU||250|absent|||CFU/250 mL|microbiological|0|0|pass|primary text
lead|<0.2|µg/L|||max||10|µg/L|health|0|0.2|pass|primary text
nitrate|0.36|mg/L|N||max||50|mg/L|health|1.59|1.59|pass|primary text
ph|6.5|pH|||range|6.5|9.5|pH|indicator|6.5|6.5|pass|secondary text
aluminium|<5|µg/L|||max||200|µg/L|indicator|0|5|pass|primary text
silica|0.51|mg/L|SiO2|||||||||no limit|
"""
FAILING = """
pseudomonas_aeruginosa|2|CFU||250|absent|||CFU/250 mL|microbiological|2|2|fail|primary text
bromate|12.5|µg/L|||max||10|µg/L|health|12.5|12.5|fail|primary text
turbidity|1.2|NTU|||max||1|NTU|acceptability|1.2|1.2|fail|secondary text
"""
OPEN = """
cadmium|<10|µg/L|||max||5|µg/L|health|0|10|undetermined|memory
escherichia_coli|Absent|CFU||100|absent|||CFU/250 mL|microbiological|||undetermined|primary text
"""
REASONS_FOR = {
    Verdict.PASS: "within the limit",
    Verdict.FAIL: "outside the limit: 12.5 is above 10; repeat only by a written plan",
    Verdict.UNDETERMINED: "the reporting limit 10 is above the limit 5, so it can be either; ask for a lower one",
    Verdict.NO_LIMIT: "no table used has a limit for it",
}


def judged_table(*blocks: str) -> DataFrame[Judged]:
    """Make ``DataFrame[Judged]`` from blocks of ``|`` lines as above."""
    lines = [line for block in blocks for line in block.strip().splitlines()]
    return Judged.validate(
        pd.DataFrame([_row(line, number) for number, line in enumerate(lines, start=5)]).astype(
            {name: "string" for name, kind in _columns().items() if "str" in kind}
        )[list(_columns())]
    )


def _columns() -> dict[str, str]:
    return {name: str(column.dtype) for name, column in Judged.to_schema().columns.items()}


def _row(line: str, number: int) -> dict[str, Any]:
    code, reported, unit, basis, volume, rule, lower, upper, limit_unit, kind, low, high, verdict, evidence = (
        line.split("|")
    )
    row: dict[str, Any] = {name: float("nan") if kind == "float64" else None for name, kind in _columns().items()}
    numbers = {
        "value": "", "value_high": "", "volume_ml": volume, "reporting_limit": "", "uncertainty": "", "lower": lower,
        "upper": upper, "limit_line": "2" if rule else "", "compared_low": low, "compared_high": high,
        "compared_value": high, "margin": "",
    }  # fmt: skip
    row |= {name: float(text) if text else float("nan") for name, text in numbers.items() if name in row}
    row |= {
        "sample": "S-118", "batch": "B2107", "point": "FP", "stage": "filler",
        "sampled_at": pd.Timestamp("2026-03-02 12:30"), "received_at": pd.Timestamp("2026-03-02"),
        "analysed_at": pd.Timestamp("2026-03-03"), "parameter": code, "parameter_text": code, "reported": reported,
        "sign": "absent" if reported == "Absent" else "<" if "<" in reported else "=", "unit": unit, "unit_text": unit,
        "basis": basis or None, "method": "ISO 17294-2", "lab": DETAILS.laboratory, "workbook": BOOK,
        "sheet": "Results", "cell": f"C{number}", "rule": rule or None, "limit_unit": limit_unit or None,
        "class": kind or None, "verdict": verdict, "reason": REASONS_FOR[Verdict(verdict)],
    }  # fmt: skip
    if rule:
        row |= {
            "table": "invented_limits_2025",
            "source": "Invented limits, edition 2025",
            "clause": "Annex 1, table 2",
        }
        row |= {"evidence": f"{evidence}: checked for these tests"}
    return row


def readings_of(judged: DataFrame[Judged]) -> DataFrame[Readings]:
    """Give the readings that stand behind a judged table."""
    columns = list(Readings.to_schema().columns)
    return Readings.validate(judged[columns].drop_duplicates(Readings.cell).reset_index(drop=True))


def stage_table() -> DataFrame[Stages]:
    """Make ``DataFrame[Stages]`` of three rows: an exact removal, a bound and an unknown."""
    ro, uv = ("RO", "reverse osmosis"), ("UV", "ultraviolet")
    rows = [
        (*ro, "nitrate", "SP5", "SP6", "4.24", "0.35", "mg/L", 91.745283, 1.0833, "exact", "both known"),
        (*ro, "lead", "SP5", "SP6", "0.5", "<0.2", "µg/L", 60.0, 0.39794, "at least", "the outlet is a non-detect"),
        (*uv, "escherichia_coli", "SP8", "SP9", "Absent", "Absent", "CFU", None, None, "unknown", "nothing to remove"),
    ]
    types = {name: str(column.dtype) for name, column in Stages.to_schema().columns.items()}
    table = pd.DataFrame(rows, columns=list(types)[: len(rows[0])]).reindex(columns=list(types))
    return Stages.validate(table.astype(types))


def files() -> tuple[FileStamp, ...]:
    """Give the stamps of a workbook, a limit table, a train and the release rules."""
    return (
        FileStamp(name=BOOK, sha256="a1" * 32, kind="workbook"),
        FileStamp(name="invented_limits_2025.csv", sha256="b2" * 32, kind="limit table", title="Invented limits, 2025"),
        FileStamp(name="train.toml", sha256="c3" * 32, kind="train", title="Treatment train of Port Almara (invented)"),
        FileStamp(name="release_rules.toml", sha256="d4" * 32, kind="release rules"),
    )


@cache
def good_batch() -> BatchCheck:
    """Give a batch that is released: every required result within its limit."""
    judged = judged_table(GOOD)
    finding = Finding(
        code="two spellings", severity=Severity.NOTE, where=f"{BOOK}|Results!A9", given="Silica (as SiO2)",
        message="the unit was read from the name of the parameter",
    )  # fmt: skip
    return BatchCheck(
        details=DETAILS, readings=readings_of(judged), ledger=Ledger.empty(), findings=(finding,), judged=judged,
        stages=stage_table(), files=files(),
        decision=ReleaseDecision(
            batch="B2107", disposition=Disposition.RELEASE, reasons=(), required=REQUIRED, missing=(),
            not_tested=("mercury", "vinyl_chloride"),
        ),
    )  # fmt: skip


def _blocked(
    disposition: Disposition, blocks: Sequence[str], reasons: Sequence[Reason], missing: tuple[str, ...]
) -> BatchCheck:
    check = good_batch()
    judged = judged_table(*blocks)
    decision = replace(
        check.decision, disposition=disposition, reasons=tuple(reasons), missing=missing,
        not_tested=(*check.decision.not_tested, *missing), required=(*REQUIRED, *missing),
    )  # fmt: skip
    return replace(check, judged=judged, readings=readings_of(judged), decision=decision)


@cache
def held_batch() -> BatchCheck:
    """Give a batch that is held: one required parameter is missing and two results cannot be compared."""
    hold = Disposition.HOLD
    reasons = (
        Reason(disposition=hold, code="missing result", parameter="cyanide",
               message="no result was found; have it tested or add the sheet that holds it"),
        Reason(disposition=hold, code="undetermined", parameter="cadmium", where=f"{BOOK}|Results!C12",
               message="<10 µg/L cannot be compared with the limit of 5 µg/L; ask for a lower reporting limit"),
        Reason(disposition=hold, code="undetermined", parameter="escherichia_coli", where=f"{BOOK}|Results!C13",
               message="absent in 100 mL does not show absence in 250 mL; have 250 mL tested"),
        Reason(disposition=hold, code="unreadable result", where=f"{BOOK}|Results!C14",
               message="the result of selenium cannot be read; correct the cell"),
    )  # fmt: skip
    check = _blocked(hold, (GOOD, OPEN), reasons, ("cyanide",))
    finding = Finding(
        code="unreadable result", severity=Severity.HOLD, where=f"{BOOK}|Results!C14", given="O.5",
        message="the result of selenium cannot be read as a number; write it with digits",
    )  # fmt: skip
    return replace(check, findings=(*check.findings, finding))


@cache
def rejected_batch() -> BatchCheck:
    """Give a batch that is rejected: a germ and a substance exceed their limits."""
    reject = Disposition.REJECT
    reasons = (
        Reason(disposition=reject, code="exceeds", parameter="pseudomonas_aeruginosa", where=f"{BOOK}|Results!C12",
               message="2 CFU were found in 250 mL where none may be found"),
        Reason(disposition=reject, code="exceeds", parameter="bromate", where=f"{BOOK}|Results!C13",
               message="12.5 µg/L is above the limit of 10 µg/L"),
    )  # fmt: skip
    return _blocked(reject, (GOOD, FAILING), reasons, ())
