"""Turns workbooks dropped on the page into a checked batch, drawn part by part."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

import streamlit as st

from wqcheck.errors import ReleaseRefusedError, WqcheckError
from wqcheck.page.checking import Desk, batches_in, checked_desk, clear_desk
from wqcheck.page.decision import draw_decision, draw_headline, draw_rules
from wqcheck.page.out_of_limit import (
    EXCEEDING,
    draw_not_compared,
    draw_out_of_limit,
    draw_workings,
    flagged_lines,
    names_with,
    unlimited_lines,
)
from wqcheck.page.papers import draw_papers, issue
from wqcheck.page.settings import NamedBytes, draw_settings
from wqcheck.page.stages import draw_stages
from wqcheck.page.take_in import draw_files, draw_take_in
from wqcheck.page.words import message_text, plain, titled
from wqcheck.release.decision import CAUTION, BatchCheck
from wqcheck.shipped_files import shipped_folder
from wqcheck.tables import Verdict

TABS_KEY = "parts"
UPLOAD_KEY = "workbooks"
WHICH_KEY = "which batch"
SAMPLE_KEY = "sample plant"

# A laptop shows 768 lines: less empty space above, and tables that break long words instead of growing sideways.
ROOMY = """<style>
[data-testid="stMainBlockContainer"] {padding: 2.2rem 2.5rem 3rem 2.5rem;}
[data-testid="stSidebarHeader"] {height: 2rem; padding-bottom: 0;}
[data-testid="stTable"] td, [data-testid="stTable"] th {overflow-wrap: anywhere; min-width: 5.5rem;}
.st-key-flags td:nth-child(5) {min-width: 17rem;}
@media (max-width: 1000px) {
  .st-key-flags :is(table, tbody, tr, td) {display: block; width: 100%;}
  .st-key-flags thead {display: none;}
  .st-key-flags td {border: none; padding: 0.1rem 0.5rem;}
  .st-key-flags td:nth-child(1) {font-weight: 600; padding-top: 0.5rem;}
  .st-key-flags td:nth-child(3)::before {content: "Limit: ";}
  .st-key-flags td:nth-child(6)::before {content: "From: ";}
}
</style>"""

SAMPLE_LIMITS = "plant_specification.csv"
WORKBOOK_TYPES = ["xlsx", "xlsm", "xls", "xlsb", "ods", "csv", "tsv", "txt", "htm", "html", "zip"]


@dataclass(frozen=True, slots=True)
class Sample:
    """One workbook of the sample plant: what it is called on the page, its file and its batch."""

    label: str
    file: str


SAMPLES = (
    Sample("B2107: in order", "run_B2107_clean.xlsx"),
    Sample("B2108: in trouble", "run_B2108_trouble.xlsx"),
    Sample("C-01: commissioning", "commissioning_crosstab.xlsx"),
)


def main() -> None:
    """Draw the page."""
    st.set_page_config(page_title="wqcheck: check a batch", layout="wide", initial_sidebar_state="expanded")
    st.html(ROOMY)
    st.markdown("### Check a batch of water")
    settings = draw_settings(date.today())
    sources, sample = _draw_sources()
    if sample:
        specification = _sample_file(SAMPLE_LIMITS)
        settings = replace(settings, sample_train=True, own_tables=(*settings.own_tables, specification))
    if not sources or not settings.limits + settings.own_tables:
        clear_desk()
        _draw_start(bool(sources))
        return
    try:
        settings = replace(settings, batch=settings.batch or _draw_batch(batches_in(sources)))
        desk = checked_desk(sources, settings) if settings.batch else None
    except WqcheckError as error:
        clear_desk()
        st.error(message_text(error))
        return
    if desk is not None:
        draw_desk(desk, settings.signed_by)


def _draw_batch(batches: Sequence[str]) -> str:
    """Give the batch that the sheets name; ask where they name none or several."""
    if len(batches) == 1:
        return batches[0]
    if batches:
        question = f"The sheets name {len(batches)} batches. Which one is to be decided?"
        return st.selectbox(question, batches, index=None, key=WHICH_KEY, placeholder="choose a batch") or ""
    st.warning("The sheets name no batch. Enter it in the side panel (*Batch*).")
    return ""


def draw_desk(desk: Desk, signed_by: str) -> None:
    """Draw a checked batch: the decision first, then its parts in the order of work."""
    check, decision = desk.check, desk.check.decision
    flags = flagged_lines(check.judged, decision.required)
    exceeding, undecided = names_with(flags, EXCEEDING), names_with(flags, [Verdict.UNDETERMINED])
    missing, not_tested = _names(decision.missing), _names(decision.not_tested)
    draw_headline(decision, exceeding, undecided, missing)
    read, out, stages, decided, papers = st.tabs(
        ["Take in", f"Out of limit ({len(exceeding)})", "Stages", "Decision", "Certificate"], key=TABS_KEY
    )
    with read:
        draw_take_in(check.readings, check.findings, check.ledger)
        draw_files(check.files)
    with out:
        draw_out_of_limit(flags, missing)
        draw_workings(check.judged, decision.required, check.decision_rules)
        draw_not_compared(unlimited_lines(check.judged), not_tested)
    with stages:
        draw_stages(check.stages)
    with decided:
        draw_decision(decision, missing, next_steps(check))
        draw_rules(check.decision_rules)
    with papers:
        draw_papers(desk, signed_by)


def next_steps(check: BatchCheck) -> tuple[str, ...]:
    """Give the next steps as the certificate or notice of this batch would state them."""
    try:
        return issue(check, "draft", "draft", datetime(2000, 1, 1)).next_steps
    except ReleaseRefusedError as refusal:
        return refusal.reasons


def _names(codes: Sequence[str]) -> tuple[str, ...]:
    """Give the names of parameters, each once."""
    return tuple(dict.fromkeys(titled(code) for code in codes))


def _draw_sources() -> tuple[tuple[NamedBytes, ...], Sample | None]:
    """Draw the upload and the sample plant; uploads come first where both are there."""
    left, right = st.columns([3, 2], gap="medium")
    uploads = left.file_uploader(
        "Laboratory sheets of one batch", type=WORKBOOK_TYPES, accept_multiple_files=True, key=UPLOAD_KEY
    )
    chosen = right.pills(
        "Use the sample plant (invented)",
        SAMPLES,
        format_func=_label,
        key=SAMPLE_KEY,
        wrap=True,
        help="Checked with the invented plant's own train and product specification beside the tables chosen.",
    )
    if uploads:
        return tuple((file.name, file.getvalue()) for file in uploads), None
    if chosen:
        return (_sample_file(chosen.file),), chosen
    return (), None


def _sample_file(name: str) -> NamedBytes:
    """Read one file of the sample plant."""
    return name, (shipped_folder("sample_results") / name).read_bytes()


def _label(sample: Sample) -> str:
    """Give the label of a sample."""
    return sample.label


def _draw_start(any_sources: bool) -> None:
    """Say what to do first."""
    if any_sources:
        st.warning("Choose at least one limit table in the side panel.")
        return
    st.info(
        "Drop the laboratory's sheets above (several at once if one batch has several), or try the sample plant. "
        "Nothing has to be typed first: sheets may have a result per row, a sample per row, or a sampling point per "
        "column."
    )
    st.caption(plain(CAUTION))
