"""Turns workbooks dropped on the page into a checked batch, drawn part by part."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date

import streamlit as st

from wqcheck.errors import WqcheckError
from wqcheck.page.checking import Desk, batches_in, books_of, checked_desk, clear_desk
from wqcheck.page.decision import draw_decision, draw_headline, draw_rules
from wqcheck.page.history_view import draw_history
from wqcheck.page.office import Office, draw_office, draw_said, refusal_text
from wqcheck.page.out_of_limit import (
    EXCEEDING,
    draw_not_compared,
    draw_out_of_limit,
    draw_workings,
    flagged_lines,
    names_with,
    unlimited_lines,
)
from wqcheck.page.papers import draw_papers, next_steps
from wqcheck.page.release_view import BATCH_KEY, draw_release
from wqcheck.page.settings import NamedBytes, Settings, draw_settings
from wqcheck.page.stages import draw_stages
from wqcheck.page.start_view import draw_start
from wqcheck.page.take_in import draw_files, draw_take_in
from wqcheck.page.words import message_text, plain, titled
from wqcheck.release.decision import CAUTION
from wqcheck.shipped_files import shipped_folder
from wqcheck.tables import Verdict

VIEW_KEY = "view"
KEPT_KEY = "sheets on the desk"
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Desktop:
    """What every view is drawn from: where the records are and who acts, and how a batch is checked."""

    office: Office
    settings: Settings


SAMPLES = (
    Sample("B2107: in order", "run_B2107_clean.xlsx"),
    Sample("B2108: in trouble", "run_B2108_trouble.xlsx"),
    Sample("C-01: commissioning", "commissioning_crosstab.xlsx"),
)


VIEWS: tuple[tuple[str, Callable[[Desktop], None]], ...] = (
    ("Start", lambda desktop: draw_start(desktop.office, _try_sample, _open_batch)),
    ("Take in", lambda desktop: draw_taking_in(desktop)),  # noqa: PLW0108 it stands below
    ("Release", lambda desktop: draw_release(desktop.office)),
    ("History", lambda desktop: draw_history(desktop.office)),
)
"""The views, in the order of a morning; a view is added with one line."""


def main(arguments: Sequence[str] = ()) -> None:
    """Draw the page; *arguments* say where its records are and who acts, see :func:`draw_office`."""
    st.set_page_config(page_title="wqcheck: batches of water", layout="wide", initial_sidebar_state="expanded")
    st.html(ROOMY)
    names = [name for name, _ in VIEWS]
    chosen = st.radio("View", names, horizontal=True, key=VIEW_KEY, label_visibility="collapsed")
    settings = draw_settings(date.today())
    draw_said()
    try:
        dict(VIEWS)[chosen](Desktop(office=draw_office(arguments), settings=settings))
    except WqcheckError as error:
        st.error(refusal_text(error))


def _try_sample() -> None:
    """Open the first workbook of the sample plant."""
    st.session_state[VIEW_KEY], st.session_state[KEPT_KEY] = "Take in", SAMPLES[0]


def _open_batch(batch: str) -> None:
    """Open the decision on a recorded batch."""
    st.session_state[VIEW_KEY], st.session_state[BATCH_KEY] = "Release", batch


def draw_taking_in(desktop: Desktop) -> None:
    """Draw the sheets, what was read of them, and the checked batch."""
    st.markdown("### Check a batch of water")
    settings = desktop.settings
    sources, sample = _draw_sources()
    if sample:
        specification = _sample_file(SAMPLE_LIMITS)
        settings = replace(settings, sample_train=True, own_tables=(*settings.own_tables, specification))
    if not sources or not settings.limits + settings.own_tables:
        clear_desk()
        _draw_start(bool(sources))
        return
    try:
        books = books_of(sources, settings.layouts)
        settings = replace(settings, batch=settings.batch or _draw_batch(batches_in(books)))
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


def _names(codes: Sequence[str]) -> tuple[str, ...]:
    """Give the names of parameters, each once."""
    return tuple(dict.fromkeys(titled(code) for code in codes))


def _draw_sources() -> tuple[tuple[NamedBytes, ...], Sample | None]:
    """Draw the upload and the sample plant; uploads come first where both are there."""
    left, right = st.columns([3, 2], gap="medium")
    left.file_uploader(
        "Laboratory sheets of one batch",
        type=WORKBOOK_TYPES,
        accept_multiple_files=True,
        key=UPLOAD_KEY,
        on_change=_keep_uploads,
    )
    kept: tuple[NamedBytes, ...] | Sample = st.session_state.get(KEPT_KEY, ())
    right.pills(
        "Use the sample plant (invented)",
        [sample.label for sample in SAMPLES],
        default=kept.label if isinstance(kept, Sample) else None,
        key=SAMPLE_KEY,
        wrap=True,
        on_change=_keep_sample,
        help="Checked with the invented plant's own train and product specification beside the tables chosen.",
    )
    if isinstance(kept, Sample):
        return (_sample_file(kept.file),), kept
    if kept:
        names = ", ".join(name for name, _ in kept)
        st.caption(f"On the desk: {plain(names)}")
    return kept, None


def _keep_uploads() -> None:
    """Keep the sheets for all views; a view that does not draw the upload would lose them."""
    files = st.session_state[UPLOAD_KEY]
    st.session_state[KEPT_KEY] = tuple((file.name, file.getvalue()) for file in files)
    st.session_state[SAMPLE_KEY] = None


def _keep_sample() -> None:
    """Keep the chosen sample, unless sheets were uploaded."""
    if not st.session_state.get(UPLOAD_KEY):
        label = st.session_state[SAMPLE_KEY]
        st.session_state[KEPT_KEY] = next((sample for sample in SAMPLES if sample.label == label), ())


def _sample_file(name: str) -> NamedBytes:
    """Read one file of the sample plant."""
    return name, (shipped_folder("sample_results") / name).read_bytes()


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
