"""Turns the record store into answers for an audit: is it as it was recorded, its last entries, copies of it."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pandas as pd
import streamlit as st

from wqcheck.errors import WqcheckError
from wqcheck.page.office import Office
from wqcheck.page.settings import Settings
from wqcheck.page.shown import shown_table
from wqcheck.page.spoken import count_text, later, say
from wqcheck.page.words import message_text
from wqcheck.records.backup import backup
from wqcheck.records.export import export
from wqcheck.records.log import entries, head
from wqcheck.records.store import Store
from wqcheck.records.verify import verify

ANCHOR_KEY = "head known from elsewhere"
VERIFY_KEY = "verify the records"
COPIES_KEY = "copies of the records"
LOG_LINES = 30
_LOG = {"seq": later("No."), "at": later("When"), "person": later("Who"), "action": later("Act"),
        "subject": later("On what"), "why": later("Why")}  # fmt: skip


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
    counted = say("{entries} log entries and {rows} rows, head {head}", entries=count_text(result.entries),
                  rows=count_text(result.rows), head=str(result.head))  # fmt: skip
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
