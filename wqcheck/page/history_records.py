"""Turns the record store into answers for a recall and an audit: what rests on a doubt, what is sound, copies."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pandas as pd
import streamlit as st

from wqcheck.errors import WqcheckError
from wqcheck.page.history_statistics import draw_csv
from wqcheck.page.office import Office
from wqcheck.page.settings import Settings
from wqcheck.page.shown import shown_table
from wqcheck.page.spoken import later, say
from wqcheck.page.words import message_text, plain
from wqcheck.records.backup import backup
from wqcheck.records.export import export
from wqcheck.records.log import entries, head
from wqcheck.records.store import Store
from wqcheck.records.touched import Touch, batches_touched_by
from wqcheck.records.verify import verify

KIND_KEY = "kind of what is in doubt"
NAME_KEY = "name of what is in doubt"
ANCHOR_KEY = "head known from elsewhere"
VERIFY_KEY = "verify the records"
COPIES_KEY = "copies of the records"
LOG_LINES = 30
KINDS = {
    Touch.SAMPLE: later("a sample (its code)"), Touch.WORKBOOK: later("a workbook (file name or SHA-256)"),
    Touch.LAB: later("a laboratory"), Touch.POINT: later("a sampling point"),
    Touch.LIMIT_TABLE: later("a limit table (file name or SHA-256)"),
    Touch.LIMIT_ROW: later("a row of a limit table (TABLE:LINE)"),
}  # fmt: skip
_HEADINGS = {
    "batch": later("Batch"), "state": later("State"), "checks": later("Checks that rest on it"),
    "latest": later("The latest too"), "rows": later("Rows concerned"), "documents": later("Documents"),
}  # fmt: skip
_LOG = {"seq": later("No."), "at": later("When"), "person": later("Who"), "action": later("Act"),
        "subject": later("On what"), "why": later("Why")}  # fmt: skip


def draw_recall(office: Office, _settings: Settings, _today: date) -> None:
    """Draw which batches rest on something that is in doubt.

    Raises
    ------
    wqcheck.errors.StoreError
        The records cannot be read.
    """
    if not office.exists:
        st.info(say("No batch was recorded here yet."))
        return
    st.caption(say("A sample was mixed up, a laboratory withdraws results, a limit was wrong: which batches rest on "
                   "it? Every check counts, superseded ones too."))  # fmt: skip
    left, right = st.columns([2, 3], gap="medium")
    kind = left.selectbox(say("What is in doubt"), list(KINDS), key=KIND_KEY, persist_state="session",
                          format_func=lambda word: say(KINDS[word]))  # fmt: skip
    name = right.text_input(say("Its name"), key=NAME_KEY, persist_state="session").strip()
    if not name:
        return
    try:
        found = batches_touched_by(office.store(), kind, name)
    except WqcheckError as error:
        st.error(message_text(error))
        return
    if found.empty:
        st.info(say("No recorded batch rests on {name}. Look at its spelling: it is compared as the sheets write it.",
                    name=plain(name)))  # fmt: skip
        return
    st.markdown(say("**{count} batches rest on it**, those released first:", count=len(found)))
    latest = [say("yes") if flag else say("no") for flag in found["latest"]]
    shown = shown_table(
        found.assign(latest=latest), {key: say(word) for key, word in _HEADINGS.items()}, said=("state",)
    )
    st.table(shown.map(plain), hide_index=True)
    draw_csv(found, "recall.csv", say("Download as CSV"))


def draw_records(office: Office, _settings: Settings, _today: date) -> None:
    """Draw whether the records are as they were recorded, their last entries, and copies to keep elsewhere.

    Raises
    ------
    wqcheck.errors.StoreError
        The records cannot be read.
    """
    if not office.exists:
        st.info(say("No batch was recorded here yet."))
        return
    store = office.store()
    st.markdown("##### " + say("Are the records as they were recorded?"))
    anchor = st.text_input(
        say("Head of the log, as known from elsewhere"), key=ANCHOR_KEY, persist_state="session",
        placeholder=say("NUMBER:HASH, from a backup or a certificate; may stay blank"),
        help=say("Without it an end of the records that was cut off does not show."),
    ).strip()  # fmt: skip
    if st.button(say("Verify all records"), key=VERIFY_KEY):
        _draw_verification(store, [anchor] if anchor else [])
    st.markdown("##### " + say("Last entries of the log"))
    with store.reading() as connection:
        rows, end = pd.DataFrame([dict(row) for row in entries(connection, LOG_LINES)]), head(connection)
    if len(rows):
        shown = shown_table(rows.iloc[::-1], {key: say(word) for key, word in _LOG.items()}, times=("at",))
        st.dataframe(shown, hide_index=True, height=300, alt=say("Last entries of the log"))
    st.markdown(
        say("Head of the log: `{head}`. Keep it outside of these records, on paper or in a mail.", head=str(end))
    )
    st.markdown("##### " + say("Copies"))
    _draw_copy(store, say("Prepare a backup"), "records_backup.zip", backup)
    _draw_copy(store, say("Prepare an export (CSV, JSON and all files)"), "records_export.zip", export)
    st.caption(say("A backup is put back with the command wqcheck records restore, into a new place: nothing is ever "
                   "written over."))  # fmt: skip


def _draw_verification(store: Store, anchors: list[str]) -> None:
    try:
        with st.spinner(say("Comparing every row with the log")):
            result = verify(store, anchors)
    except WqcheckError as error:
        st.error(message_text(error))
        return
    counted = say("{entries} log entries and {rows} rows, head {head}", entries=f"{result.entries:,}",
                  rows=f"{result.rows:,}", head=str(result.head))  # fmt: skip
    if not result.found:
        st.success(say("Sound: nothing differs from what was recorded ({counted}).", counted=counted))
        return
    said = say("{count} things are not as they were recorded ({counted}):", count=len(result.found), counted=counted)
    st.error(message_text("\n".join([said, *map(str, result.found)])))


def _draw_copy(store: Store, label: str, name: str, write: Callable[[Store, Path], object]) -> None:
    """Draw the button that prepares a copy, and the copy to download while the records are as they were."""
    with store.reading() as connection:
        end = str(head(connection))
    if st.button(label, key=f"prepare {name}"):
        with st.spinner(say("Copying the records")), tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / name
            write(store, path)
            st.session_state[f"{COPIES_KEY} {name}"] = (end, path.read_bytes())
    kept, content = st.session_state.get(f"{COPIES_KEY} {name}", ("", b""))
    if kept == end:
        st.download_button(
            say("Download {name}", name=name), content, file_name=name, mime="application/zip", key=f"download {name}",
            on_click="ignore",
        )  # fmt: skip
