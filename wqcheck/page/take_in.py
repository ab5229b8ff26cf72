"""Turns what was read from the workbooks into tables: results, findings, and every cell that is not a result."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
import streamlit as st

from wqcheck.findings import Finding, Severity
from wqcheck.page.words import counted, plain, sentence, titled
from wqcheck.release.decision import FileStamp
from wqcheck.tables import Ledger, Readings, Sign

FINDINGS_IN_FULL = 40
RESULT = "result"

_SEVERITY_WORDS = {Severity.HOLD: "Holds the batch", Severity.NOTE: "To know"}


def readings_table(readings: pd.DataFrame) -> pd.DataFrame:
    """Make the table of results as read: what each cell said beside what it was taken for."""
    names = {code: titled(code) for code in readings[Readings.parameter].dropna().unique()}
    sheet = readings[Readings.sheet].fillna("").replace(r"(?<=.)$", "!", regex=True)
    return pd.DataFrame(
        {
            "Parameter": readings[Readings.parameter].map(names).astype("str").fillna("not recognised"),
            "On the sheet": readings[Readings.parameter_text].fillna(""),
            "Reported": readings[Readings.reported],
            "Read as": readings[Readings.sign],
            "Value": _figures(readings[Readings.value]),
            "Unit": readings[Readings.unit].fillna(""),
            "As": readings[Readings.basis].fillna(""),
            "In mL": _figures(readings[Readings.volume_ml]),
            "Point": readings[Readings.point].fillna(""),
            "Sample": readings[Readings.sample].fillna(""),
            "Sampled": readings[Readings.sampled_at].dt.strftime("%Y-%m-%d %H:%M"),
            "Method": readings[Readings.method].fillna(""),
            "Cell": sheet + readings[Readings.cell],
            "Workbook": readings[Readings.workbook],
        }
    )


def _figures(values: pd.Series[float]) -> pd.Series[str]:
    """Write figures as text, blank where there is none."""
    return values.map("{:.6g}".format).where(values.notna(), "")


def findings_table(findings: Sequence[Finding]) -> pd.DataFrame:
    """Make the table of findings, those that hold the batch first."""
    ordered = sorted(findings, key=lambda finding: finding.severity != Severity.HOLD)
    rows = [
        {
            "Weight": _SEVERITY_WORDS[finding.severity],
            "What and how to mend it": sentence(finding.message),
            "Given": finding.given,
            "Where": finding.where,
        }
        for finding in ordered
    ]
    return pd.DataFrame(rows, columns=["Weight", "What and how to mend it", "Given", "Where"])


def cell_counts(readings: pd.DataFrame, ledger: pd.DataFrame) -> dict[str, int]:
    """Count the cells with content: those that became results, and the others by role; the parts add up.

    A blank cell where a result was expected stands in ``readings`` too, but has no content and is not counted here.
    """
    filled = readings[readings[Readings.reported].str.strip().ne("")]
    places = filled[[Readings.workbook, Readings.sheet, Readings.cell]].drop_duplicates()
    roles = ledger.groupby(Ledger.role, sort=False).size().sort_values(ascending=False, kind="stable")
    return {RESULT: len(places), **{str(role): int(number) for role, number in roles.items()}}


def ledger_table(ledger: pd.DataFrame) -> pd.DataFrame:
    """Make the table of cells that are not results (``ledger`` is ``DataFrame[Ledger]``, not changed)."""
    headings = {
        Ledger.sheet: "Sheet",
        Ledger.cell: "Cell",
        Ledger.text: "Content",
        Ledger.role: "Taken for",
        Ledger.reason: "Why",
        Ledger.workbook: "Workbook",
    }
    return ledger[list(headings)].rename(columns=headings)


def draw_take_in(readings: pd.DataFrame, findings: Sequence[Finding], ledger: pd.DataFrame) -> None:
    """Draw what was read, what is odd about it, and what was not used as a result."""
    counts = cell_counts(readings, ledger)
    blank = int(readings[Readings.sign].eq(Sign.NOT_DONE).sum())
    unreadable = int(readings[Readings.sign].eq(Sign.UNREADABLE).sum())
    others = sum(counts.values()) - counts[RESULT]
    st.markdown(
        f"**{counted(sum(counts.values()), 'cell')} with content** = {counted(counts[RESULT], 'result cell')} + "
        f"{counted(others, 'other cell')}. Results read: {len(readings):,}, "
        f"of them {blank:,} blank or not done and {unreadable:,} unreadable."
    )
    _draw_findings(findings)
    st.markdown(f"##### Results as read ({len(readings):,})")
    st.dataframe(readings_table(readings), hide_index=True, height=300, alt="Results as read")
    with st.expander(f"Cells not used as results ({others:,}): what each was taken for, and why"):
        roles = [f"{role} {number:,}" for role, number in counts.items() if role != RESULT]
        st.markdown(f"Taken for: {plain(' · '.join(roles))}.")
        st.dataframe(ledger_table(ledger), hide_index=True, height=300, alt="Cells not used as results")


def draw_files(files: Sequence[FileStamp]) -> None:
    """Draw which files the check used, by digest, so that anyone can tell later whether they are the same."""
    with st.expander(f"Files used ({len(files)})"):
        rows = [
            {"Kind": file.kind, "File": file.name, "Title": file.title, "SHA-256": file.sha256[:16]} for file in files
        ]
        st.table(pd.DataFrame(rows, columns=["Kind", "File", "Title", "SHA-256"]).map(plain), hide_index=True)
        st.caption("The first 16 characters of each digest; the certificate states them in full.")


def _draw_findings(findings: Sequence[Finding]) -> None:
    """Draw the findings in full, or in a scrolling table where there are many."""
    holds = sum(finding.severity == Severity.HOLD for finding in findings)
    st.markdown(f"##### What is odd about the data ({len(findings)}, of them {holds} that hold the batch)")
    table = findings_table(findings)
    if table.empty:
        st.info("Nothing odd was found.")
    elif len(table) > FINDINGS_IN_FULL:
        st.dataframe(table, hide_index=True, height=300, alt="What is odd about the data")
    else:
        st.table(table.map(plain), hide_index=True)
