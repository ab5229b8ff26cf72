"""Turns the sheets of a batch into what was read, the questions left open, and the checked batch on the desk."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pandas as pd
import streamlit as st

from wqcheck.errors import WqcheckError
from wqcheck.page.as_read import draw_as_read, draw_files
from wqcheck.page.checking import (
    Desk,
    TakenSheets,
    checked_desk,
    clear_desk,
    read_sheets,
)
from wqcheck.page.decision import draw_headline
from wqcheck.page.in_hand import ON_THE_DESK, is_recorded, take_in_hand
from wqcheck.page.lab_form import draw_lab_form
from wqcheck.page.layouts_applied import draw_layouts
from wqcheck.page.office import Office
from wqcheck.page.recording import draw_recording
from wqcheck.page.settings import NamedBytes, Settings
from wqcheck.page.sheet_grid import draw_picture
from wqcheck.page.sheet_questions import draw_questions
from wqcheck.page.sheets_brought import SAMPLE_NOTE, draw_sheets, sample_on_desk
from wqcheck.page.shown import moment, table_title
from wqcheck.page.spoken import count_text, kept, later, say
from wqcheck.page.ways import draw_way
from wqcheck.page.words import EXCEEDING, message_text, plain, refusal_text
from wqcheck.release.decision import BatchCheck
from wqcheck.tables import Judged, Product, Readings, Verdict

FLAGS_KEY = "look at the flags"
WHICH_KEY = "which batch"
BATCH_KEY = "batch number"
PART_KEY = "part of what was read"

QUESTIONS, AS_READ, PICTURE, FILES = "questions", "as read", "picture", "files"
_PARTS = {
    QUESTIONS: later("Open questions ({number})"),
    AS_READ: later("What was read ({number})"),
    PICTURE: later("Picture of the sheets"),
    FILES: later("Files used"),
}


def draw_take_in(office: Office, settings: Settings) -> None:
    """Draw the sheets, the recommendation for the batch in them, and the parts of what was read.

    Raises
    ------
    wqcheck.errors.StoreError
        The records cannot be read.
    """
    st.markdown(f"##### {say('Take in the sheets of a batch')}")
    sources, checked_with = draw_sheets(office, settings)
    if not sources:
        clear_desk()
        _draw_empty()
        draw_lab_form(settings)
        return
    _draw_brought(office, sources, checked_with)
    draw_lab_form(checked_with)


def _draw_brought(office: Office, sources: Sequence[NamedBytes], settings: Settings) -> None:
    """Draw what the sheets on the desk came to, and the last step."""
    try:
        taken = read_sheets(sources, settings)
    except WqcheckError as error:
        clear_desk()
        st.error(refusal_text(error))
        return
    _draw_refused(taken)
    if len(taken.refused) == len(sources):
        clear_desk()
        return
    desk = _checked(taken, sources, settings)
    _draw_parts(taken, desk, settings)
    if desk is not None:
        st.markdown(f"##### {say('Last step: into the records')}")
        draw_recording(office, desk)


def _draw_refused(taken: TakenSheets) -> None:
    """Say which files could not be read; the others stand."""
    if not taken.refused:
        return
    said = [message_text(sentence).strip() for sentence in taken.refused]
    if len(taken.refused) < len(taken.books):
        said.append(
            say("The other sheets were read. The batch is held until each file can be read or is taken off the desk.")
        )
    st.error("\n\n".join(said))


def _checked(taken: TakenSheets, sources: Sequence[NamedBytes], settings: Settings) -> Desk | None:
    """Check the batch that the sheets name, or the one that is chosen, and say what is recommended; None if none is."""
    batch = _draw_batch(taken)
    if not settings.limits + settings.own_tables:
        st.warning(say("Choose at least one limit table in the side panel."))
        batch = ""
    if not batch:
        clear_desk()
        return None
    try:
        desk = checked_desk(taken, sources, replace(settings, product=taken.product or settings.product), batch)
    except WqcheckError as error:
        clear_desk()
        st.error(refusal_text(error))
        return None
    if not is_recorded(desk):
        take_in_hand(ON_THE_DESK)
    _draw_outcome(desk.check, sum(map(len, taken.asked)), taken.product)
    return desk


def batch_labels(taken: TakenSheets) -> dict[str, str]:
    """Write each batch of the sheets with its days of sampling and its number of results, to choose it by."""
    readings = pd.concat([book.readings for book in taken.books], ignore_index=True)
    named = readings[Readings.batch].str.strip()
    days = readings[Readings.sampled_at].dt.normalize().groupby(named).agg(["min", "max"])
    numbers = named.value_counts()
    labels = {}
    for batch in taken.batches:
        labels[batch] = batch
        if batch in numbers.index:
            ends = dict.fromkeys(moment(day) for day in days.loc[batch] if pd.notna(day))
            told = [batch, " – ".join(ends), say("results: {number}", number=count_text(numbers[batch]))]
            labels[batch] = ", ".join(filter(None, told))
    return labels


def _draw_batch(taken: TakenSheets) -> str:
    """Give the batch that the sheets name; ask where they name none or several."""
    batches = taken.batches
    if len(batches) == 1:
        return batches[0]
    if batches:
        question = say("The sheets name {number} batches. Which one is to be decided?", number=len(batches))
        chosen = st.selectbox(
            question, batches, index=None, key=WHICH_KEY, persist_state="session", placeholder=say("choose a batch"),
            format_func=batch_labels(taken).__getitem__,
        )  # fmt: skip
        return chosen or ""
    label = say("The sheets name no batch. Its number:")
    hint = say("number of the batch")
    return st.text_input(label, key=BATCH_KEY, persist_state="session", max_chars=60, placeholder=hint).strip()


def _draw_outcome(check: BatchCheck, asked: int, stated: Product | None) -> None:
    """Draw the recommendation, what comes next, and for which water and limits it holds."""
    draw_headline(check)
    _draw_next(asked, check.judged)
    product = say(str(check.details.product))
    origin = say("as the sheet says") if stated else say("chosen in the side panel; the sheets do not say")
    tables = "; ".join(table_title(Path(stamp.name).stem) for stamp in check.files if stamp.kind == "limit table")
    checked = say("Checked as {product} water ({origin}), against: {tables}.", product=product, origin=origin,
                  tables=plain(tables))  # fmt: skip
    st.caption(f"{checked} {say(SAMPLE_NOTE)}" if sample_on_desk() else checked)


def _draw_next(asked: int, judged: pd.DataFrame) -> None:
    """Say what comes next, in the order of doing, and draw the ways there."""
    exceeding = _results_of(judged, EXCEEDING)
    undecided = _results_of(judged, (Verdict.UNDETERMINED,))
    steps = []
    if asked:
        steps.append(say("answer the open questions ({number}) below", number=asked))
    if exceeding:
        steps.append(say("look at the results out of limit ({number})", number=count_text(exceeding)))
    if undecided:
        steps.append(say("look at the results that cannot be decided ({number})", number=count_text(undecided)))
    steps.append(say("record the batch at the foot of this view; review and decision follow"))
    st.markdown(f"**{say('Next:')}** {'; '.join(steps)}.")
    with st.container(horizontal=True):
        flagged = exceeding or undecided
        draw_way(say("Look at the flags"), "Flags", key=FLAGS_KEY, batch=ON_THE_DESK, main=bool(flagged))


def _results_of(judged: pd.DataFrame, verdicts: Sequence[Verdict]) -> int:
    """Count the cells with one of these verdicts, each once for all its limits."""
    rows = judged[judged[Judged.verdict].isin([str(verdict) for verdict in verdicts])]
    return len(rows[[Judged.workbook, Judged.sheet, Judged.cell]].drop_duplicates())


def _draw_parts(taken: TakenSheets, desk: Desk | None, settings: Settings) -> None:
    """Draw the part that is chosen of what was read; open questions come first."""
    asked, read = sum(map(len, taken.asked)), sum(len(book.readings) for book in taken.books)
    numbers = {QUESTIONS: asked, AS_READ: read}
    parts = [part for part in _PARTS if part != FILES or desk is not None]
    if st.session_state.get(PART_KEY) not in parts:
        st.session_state[PART_KEY] = QUESTIONS if asked else AS_READ
    labels = {part: say(_PARTS[part], number=count_text(numbers.get(part, 0))) for part in parts}
    part = st.radio(
        say("Part"), parts, horizontal=True, key=kept(PART_KEY, *labels.values()), label_visibility="collapsed",
        format_func=labels.__getitem__,
    )  # fmt: skip
    findings = desk.check.findings if desk else tuple(finding for book in taken.books for finding in book.findings)
    if part == QUESTIONS:
        draw_questions(taken, settings)
    elif part == AS_READ:
        draw_layouts(taken.books)
        if desk is None:
            st.info(say("Not checked yet: say first which batch and which limits. More may be found odd then."))
        draw_as_read(taken.books, findings, desk.check.decision if desk is not None else None)
    elif part == PICTURE:
        draw_picture(taken.books, findings, desk.key if desk else taken.key)
    elif desk is not None:
        draw_files(desk.check.files)


def _draw_empty() -> None:
    """Say what to do first, and what is kept."""
    st.info(
        say(
            "Drop the laboratory's sheets above (several at once if one batch has several), or try the sample plant. "
            "Nothing has to be typed first: sheets may have a result per row, a sample per row, or a sampling point "
            "per column. What lies here is gone after a reload of the page; what is recorded is kept."
        )
    )
