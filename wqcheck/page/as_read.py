"""Turns what was read from the workbooks into tables: results, findings, and every cell that is not a result."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any

import pandas as pd
import streamlit as st

from wqcheck.certificate.figures import unit_text
from wqcheck.findings import Finding, Severity
from wqcheck.page.shown import moment, number, place_text, titles_in
from wqcheck.page.spoken import count_text, later, printed, say
from wqcheck.page.words import plain, sentence, some_of, titled
from wqcheck.release.decision import Disposition, FileStamp, ReleaseDecision
from wqcheck.sheets import ReadResult, lacking
from wqcheck.tables import Ledger, Readings, Sign

FINDINGS_IN_FULL = 40
RESULT = "result"
OTHER = "other batch"
FOLDED_FROM = 2

LEDGER_KEY = "cells not used"
FINDINGS_KEY = "findings"
MOST_ROWS = 5000
"""Rows that a list draws at most."""
MOST_LACKING = 8
"""Cells without a result that the sentence names."""

_SIGN_WORDS = {
    Sign.ABSENT: later("Absent"),
    Sign.PRESENT: later("Present"),
    Sign.NOT_DONE: later("not done"),
    Sign.UNREADABLE: later("unreadable"),
}
_SEVERITY_WORDS = {Severity.HOLD: later("Holds the batch"), Severity.NOTE: later("To know")}


def readings_table(readings: pd.DataFrame) -> pd.DataFrame:
    """Make the table of results as read: what each cell said beside what it was taken for."""
    names = {code: titled(code) for code in readings[Readings.parameter].dropna().unique()}
    sheet = readings[Readings.sheet].fillna("").replace(r"(?<=.)$", "!", regex=True)
    named = readings[Readings.parameter].map(names).astype("str")
    return pd.DataFrame(
        {
            say("Parameter"): named.fillna(say("not recognised")),
            say("Result"): written_results(readings),
            say("On the sheet"): readings[Readings.parameter_text].fillna(""),
            say("Reported"): readings[Readings.reported],
            say("Read as"): readings[Readings.sign].map(say),
            say("Value"): _figures(readings[Readings.value]),
            say("Unit"): readings[Readings.unit].fillna(""),
            say("As"): readings[Readings.basis].fillna(""),
            say("In mL"): _figures(readings[Readings.volume_ml]),
            say("Point"): readings[Readings.point].fillna(""),
            say("Sample"): readings[Readings.sample].fillna(""),
            say("Sampled"): readings[Readings.sampled_at].map(moment),
            say("Method"): readings[Readings.method].fillna(""),
            say("Cell"): sheet + readings[Readings.cell],
            say("Workbook"): readings[Readings.workbook],
        }
    )


def written_results(readings: pd.DataFrame) -> pd.Series[str]:
    """Write each result as a person does: ``Absent in 250 mL``, ``<1 CFU in 1 mL``, ``68 µS/cm at 20 °C``."""
    columns = [Readings.sign, Readings.value, Readings.value_high, Readings.reported, Readings.unit]
    columns += [Readings.unit_text, Readings.basis, Readings.volume_ml]
    rows = readings[columns].itertuples(index=False, name=None)
    return pd.Series([_written(*row) for row in rows], index=readings.index, dtype="str")


def _written(*row: Any) -> str:
    sign, value, high, reported, unit, unit_as_given, basis, volume = row
    of_words = sign in (Sign.ABSENT, Sign.PRESENT)
    told = printed()
    shown = "" if of_words else unit if pd.notna(unit) else unit_as_given if pd.notna(unit_as_given) else ""
    measure = unit_text(shown, basis if pd.notna(basis) else "", volume if pd.notna(volume) else None, told)
    if sign in (Sign.UNREADABLE, Sign.NOT_DONE) or (pd.isna(value) and not of_words):
        return f"{reported} ({say(_SIGN_WORDS[sign])})" if sign in (Sign.UNREADABLE, Sign.NOT_DONE) else reported
    if of_words:
        figure = say(_SIGN_WORDS[sign])
    else:
        ends = number(value) if pd.isna(high) else f"{number(value)}–{number(high)}"
        figure = f"{'' if sign == Sign.EQUAL else sign}{ends}"
    return f"{figure} {measure}".strip()


def _figures(values: pd.Series[float]) -> pd.Series[str]:
    """Write figures as text, blank where there is none."""
    return values.map(number).astype("str")


def findings_table(findings: Sequence[Finding], holding: Collection[str] = ()) -> pd.DataFrame:
    """Make the table of findings, those that hold the batch first.

    ``holding`` are the places whose results hold or reject the batch: what is odd there is no mere note.
    """
    ordered = sorted(_folded(findings), key=lambda finding: not holds(finding, holding))
    columns = [say("Leads to"), say("What and how to mend it"), say("Where")]
    rows = [
        (
            say(_SEVERITY_WORDS[Severity.HOLD if holds(finding, holding) else Severity.NOTE]),
            titles_in(sentence(finding.message)) + _given(finding),
            place_text(finding.where),
        )
        for finding in ordered
    ]
    return pd.DataFrame(rows, columns=columns, dtype="str")


def _folded(findings: Sequence[Finding]) -> list[Finding]:
    """Put the notes about results of other batches into one; what holds the batch stays as it is."""
    others = [finding for finding in findings if finding.code == OTHER and finding.severity == Severity.NOTE]
    if len(others) < FOLDED_FROM:
        return list(findings)
    message = say("the results of {number} other batches were set aside and not judged for this one",
                  number=count_text(len(others)))  # fmt: skip
    one = Finding(code=OTHER, severity=Severity.NOTE, message=message, where=others[0].where)
    return [*(finding for finding in findings if finding not in others), one]


def holds(finding: Finding, holding: Collection[str]) -> bool:
    """Whether a finding, or the result of its cell, holds the batch."""
    return finding.severity == Severity.HOLD or (bool(finding.where) and finding.where in holding)


def _given(finding: Finding) -> str:
    """Write what stands in the sheet, where the sentence does not say it already."""
    told = not finding.given or finding.given in finding.message
    return "" if told else f" ({say('given: {text}', text=finding.given)})"


def cell_counts(readings: pd.DataFrame, ledger: pd.DataFrame) -> dict[str, int]:
    """Count the cells with content: those that became results, and the others by role; the parts add up.

    A blank cell where a result was expected stands in ``readings`` too, but has no content and is not counted here.
    """
    roles = ledger.groupby(Ledger.role, sort=False).size().sort_values(ascending=False, kind="stable")
    return {RESULT: len(result_cells(readings)), **{str(role): int(number) for role, number in roles.items()}}


def result_cells(readings: pd.DataFrame) -> pd.DataFrame:
    """List the cells with content that became results, each once (``readings`` is not changed)."""
    filled = readings[readings[Readings.reported].str.strip().ne("")]
    return filled[[Readings.workbook, Readings.sheet, Readings.cell]].drop_duplicates()


def ledger_table(ledger: pd.DataFrame) -> pd.DataFrame:
    """Make the table of cells that are not results (``ledger`` is ``DataFrame[Ledger]``, not changed)."""
    headings = {
        Ledger.sheet: say("Sheet"),
        Ledger.cell: say("Cell"),
        Ledger.text: say("Content"),
        Ledger.role: say("Taken for"),
        Ledger.reason: say("Why"),
        Ledger.workbook: say("Workbook"),
    }
    told = ledger.assign(**{Ledger.role: ledger[Ledger.role].map(say)})
    return told[list(headings)].rename(columns=headings)


def draw_as_read(
    books: Sequence[ReadResult], findings: Sequence[Finding], decision: ReleaseDecision | None = None
) -> None:
    """Draw what was read, what is odd about it, and what was not used as a result.

    Parameters
    ----------
    books : sequence of ReadResult
        The workbooks as they were read.
    findings : sequence of Finding
        What is odd about them.
    decision : ReleaseDecision, optional
        Of the batch, once it is checked.
    """
    readings = pd.concat([book.readings for book in books], ignore_index=True)
    results, cells = len(result_cells(readings)), sum(book.cells for book in books)
    not_done = readings[Readings.sign].eq(Sign.NOT_DONE)
    unreadable = int(readings[Readings.sign].eq(Sign.UNREADABLE).sum())
    st.markdown(
        say("**{results} cells with a result** were read. The other {others} of {cells} cells with content are names, "
            "units, dates and the like; each is accounted for below.",
            cells=count_text(cells), results=count_text(results), others=count_text(cells - results))
        + " "
        + say("Results read: {number}, of them {unreadable} unreadable.",
              number=count_text(len(readings) - int(not_done.sum())), unreadable=count_text(unreadable))
    )  # fmt: skip
    _draw_lacking(books, readings[not_done])
    reasons = decision.reasons if decision is not None else ()
    holding = {reason.where for reason in reasons if reason.disposition != Disposition.RELEASE}
    _draw_findings(findings, holding, checked=decision is not None)
    st.markdown(f"##### {say('Results as read')} ({count_text(len(readings))})")
    table = readings_table(readings.head(MOST_ROWS))
    parts = [say("Read as"), say("Value"), say("Unit"), say("As"), say("In mL")]
    _draw_rows(table.drop(columns=parts), len(readings), say("Results as read"))
    label = say(
        "Cells not used as results ({number}): what each was taken for, and why", number=count_text(cells - results)
    )
    box = st.expander(label, key=LEDGER_KEY, on_change="rerun")
    if box.open:
        with box:
            _draw_ledger(books, readings)


def _draw_lacking(books: Sequence[ReadResult], not_done: pd.DataFrame) -> None:
    """Name the cells that say that a test was not done, and the empty ones where a result could stand."""
    places = [each for book in books for each in lacking(book)]
    told = [(each.parameter, each.cell, each.given) for each in places]
    columns = [Readings.parameter_text, Readings.cell, Readings.reported]
    told += not_done[columns].fillna("").itertuples(index=False, name=None)
    if not told:
        return
    listed = [f"{name} ({cell}: {given or say('empty')})" for name, cell, given in told]
    st.markdown(
        say("**{number} more cells have no result**, not done or empty under a name of a parameter: {cells}.",
            number=count_text(len(told)), cells=plain(some_of(listed, MOST_LACKING)))
    )  # fmt: skip


def _draw_ledger(books: Sequence[ReadResult], readings: pd.DataFrame) -> None:
    """Draw the cells that are no results, with how many of each role."""
    ledger = pd.concat([book.ledger() for book in books], ignore_index=True)
    counts = cell_counts(readings, ledger)
    roles = [f"{say(role)} {count_text(number)}" for role, number in counts.items() if role != RESULT]
    st.markdown(f"{say('Taken for:')} {plain(' · '.join(roles))}.")
    _draw_rows(ledger_table(ledger.head(MOST_ROWS)), len(ledger), say("Cells not used as results"))


def _draw_rows(table: pd.DataFrame, rows: int, alt: str) -> None:
    """Draw the first rows of a table, and say so where there are more."""
    st.dataframe(table, hide_index=True, height=300, alt=alt)
    if len(table) < rows:
        st.caption(
            say("The first {shown} of {rows} are listed here; the picture of the sheets shows every cell.",
                shown=count_text(len(table)), rows=count_text(rows))
        )  # fmt: skip


def draw_files(files: Sequence[FileStamp]) -> None:
    """Draw which files the check used, by digest, so that anyone can tell later whether they are the same."""
    columns = [say("Kind"), say("File"), say("Title"), "SHA-256"]
    rows = [(say(file.kind), file.name, file.title, file.sha256[:16]) for file in files]
    st.table(pd.DataFrame(rows, columns=columns).map(plain), hide_index=True)
    st.caption(say("The first 16 characters of each digest; the certificate states them in full."))


def _draw_findings(findings: Sequence[Finding], holding: Collection[str], *, checked: bool) -> None:
    """Draw the findings in full, or in a scrolling table where there are many."""
    findings = _folded(findings)
    against = sum(holds(finding, holding) for finding in findings)
    title = say("What is odd about the data")
    counts = say("{number}, of them {holds} that hold the batch", number=len(findings), holds=against)
    st.markdown(f"##### {title} ({counts if checked else len(findings)})")
    table = findings_table(findings, holding)
    if table.empty:
        if checked:
            st.info(say("Nothing odd was found."))
    elif len(table) > FINDINGS_IN_FULL:
        st.dataframe(table, hide_index=True, height=300, alt=title)
    else:
        with st.container(key=FINDINGS_KEY):
            st.table(table.map(plain), hide_index=True)
