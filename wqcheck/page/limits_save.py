"""Turns a sound copy of a limit table into what differs from its original, and into a file once that was seen."""

from __future__ import annotations

from datetime import date
from functools import partial
from pathlib import Path

import pandas as pd
import streamlit as st

from wqcheck.errors import LimitTableError
from wqcheck.limit_comparison.changes import Change, limit_changes
from wqcheck.limit_tables.editing import changed_cells, edited_table, open_cells
from wqcheck.limit_tables.loading import LimitTable
from wqcheck.limit_tables.own_folder import digest_of, refuse_name, save_own
from wqcheck.limit_tables.sheets import CopyRefusedError, csv_bytes, workbook_bytes
from wqcheck.page.limits_browse import verified_words
from wqcheck.page.limits_compare import BOOK_TYPE
from wqcheck.page.limits_draft import Draft, edits_now, put_in_grid, refuse_unseen
from wqcheck.page.office import do
from wqcheck.page.settings import Settings
from wqcheck.page.shown import figures_in, moment, table_title
from wqcheck.page.spoken import say
from wqcheck.page.table_choice import TABLES_KEY
from wqcheck.page.words import message_text, plain, titled

NAME_KEY = "name of the own table"
FORM_KEY = "file type of the own table"
OVERWRITE_KEY = "overwrite the own table"
SAVE_KEY = "save the own table"
USE_KEY = "use the own table in checks"
CSV_KEY = "own table as csv"
BOOK_KEY = "own table as workbook"

_SHOWN = (Change.TIGHTENED, Change.ADDED, Change.RELAXED, Change.DROPPED, Change.OTHERWISE)


def draw_save(draft: Draft, settings: Settings) -> None:
    """Draw what differs from the original, then the ways to save the copy."""
    try:
        new = edited_table(draft.cells, Path(f"{draft.name}.csv"))
    except LimitTableError as error:
        st.error(message_text(error))
        return
    st.caption(say("Every cell can be read. Whether the limits are right, only the text of the law tells."))
    _draw_title(draft)
    if draft.changed:
        draw_changes(_sound(draft.original, draft.name), new, settings.on)
        _draw_cells(draft)
    else:
        st.markdown(say("Nothing yet."))
    st.markdown("##### " + say("Save"))
    left, right = st.columns([3, 2], gap="medium")
    name = left.text_input(
        say("Name of your table"), value=_proposed(draft), key=f"{NAME_KEY} {draft.name}", persist_state="session",
        help=say("Its issuer and edition, such as our_plant_2027."),
    )  # fmt: skip
    form = right.segmented_control(say("File type"), [".csv", ".xlsx"], default=_form(draft), required=True,
                                   key=f"{FORM_KEY} {draft.name}", persist_state="session",
                                   format_func=lambda form: form[1:].upper())  # fmt: skip
    file = f"{name.strip()}{form or '.csv'}"
    _draw_downloads(draft, name.strip())
    if settings.own_folder is None:
        st.info(
            say("No folder of your own limit tables is named in the side panel, so the copy can only be downloaded.")
        )
    else:
        _draw_saving(draft, settings.own_folder / file, settings)


def _draw_title(draft: Draft) -> None:
    name = plain(table_title(draft.name, own=draft.own is not None))
    st.markdown("##### " + say("What differs from {name} as it was opened", name=name))


def draw_changes_first(draft: Draft, on: date) -> None:
    """Draw what was tightened, added, relaxed or dropped before anything else is asked of the changed rows."""
    try:
        new = edited_table(draft.cells, Path(f"{draft.name}.csv"))
    except LimitTableError:
        return
    _draw_title(draft)
    draw_changes(_sound(draft.original, draft.name), new, on)


def _proposed(draft: Draft) -> str:
    return draft.name if draft.own else f"{draft.name}_own"


def _form(draft: Draft) -> str:
    return ".xlsx" if draft.own and draft.own.suffix == ".xlsx" else ".csv"


def _sound(cells: pd.DataFrame, name: str) -> LimitTable | None:
    """Return the original as a limit table, None where it was not sound."""
    try:
        return edited_table(cells, Path(f"{name}.csv"))
    except LimitTableError:
        return None


def draw_changes(old: LimitTable | None, new: LimitTable, on: date) -> None:
    """Draw what was tightened, added, relaxed or dropped; what lets more pass is said first."""
    if old is None:
        st.warning(say("The original was not sound, so its limits cannot be set beside these; its cells are below."))
        return
    changes = limit_changes(old, new, on=on)
    counts = {change: int((changes["change"] == change).sum()) for change in _SHOWN}
    laxer = counts[Change.RELAXED] + counts[Change.DROPPED]
    if laxer:
        st.error(say("{count} limits were relaxed or dropped: this table lets water pass that the original does not.",
                     count=laxer))  # fmt: skip
    st.markdown(" · ".join(f"**{count}** {say(str(change))}" for change, count in counts.items()))
    if sum(counts.values()):
        st.table(change_table(changes).map(plain), hide_index=True)
    st.caption(
        say("Seen on {day}. Citations, notes, marks and days that changed stand among the cells below.", day=moment(on))
    )


def change_table(changes: pd.DataFrame) -> pd.DataFrame:
    """Return the limits that differ, in words; one that was not verified says so."""
    rows = changes[changes["change"].isin(_SHOWN)]
    return pd.DataFrame(
        {
            say("Change"): [say(str(change)) for change in rows["change"]],
            say("Parameter"): rows["parameter"].map(titled),
            say("Before"): [_limit(*pair) for pair in zip(rows["old"], rows["old_evidence"], strict=True)],
            say("Now"): [_limit(*pair) for pair in zip(rows["new"], rows["new_evidence"], strict=True)],
            say("Waters"): rows["product"],
            say("From"): rows["starts"].map(moment),
            say("Remark"): rows["reason"],
        }
    )


def _limit(words: object, evidence: object) -> str:
    if not isinstance(words, str):
        return say("none")
    verified = str(evidence).startswith("primary text")
    shown = figures_in(words)
    return shown if verified else f"{shown}: {verified_words(evidence)}"


def _draw_cells(draft: Draft) -> None:
    """Draw every single cell that differs, and the rows that came or went."""
    cells = changed_cells(draft.original, draft.cells)
    added = draft.cells.index.difference(draft.original.index)
    gone = draft.original.index.difference(draft.cells.index)
    with st.expander(say("Every changed cell ({cells}); rows added: {added}, taken out: {gone}",
                         cells=len(cells), added=len(added), gone=len(gone))):  # fmt: skip
        st.table(cells.astype("str").map(plain), hide_index=True)
        for rows, words in ((draft.cells.loc[added], say("Added")), (draft.original.loc[gone], say("Taken out"))):
            if len(rows):
                st.markdown(f"**{words}**")
                st.table(rows[["parameter", "rule", "lower", "upper", "unit", "clause"]].map(plain))


def _draw_downloads(draft: Draft, name: str) -> None:
    with st.container(horizontal=True):
        st.download_button(
            say("Download CSV"), lambda: csv_bytes(draft.cells), file_name=f"{name}.csv", mime="text/csv", key=CSV_KEY,
            on_click="ignore",
        )  # fmt: skip
        st.download_button(
            say("Download XLSX"), lambda: workbook_bytes(draft.cells), file_name=f"{name}.xlsx", mime=BOOK_TYPE,
            key=BOOK_KEY, on_click="ignore",
        )  # fmt: skip


def _draw_saving(draft: Draft, path: Path, settings: Settings) -> None:
    """Draw the button that saves into the plant's folder; an own table that is there is set beside this one first."""
    try:
        refuse_name(path)
        seen = digest_of(path)
    except (CopyRefusedError, OSError) as error:
        st.warning(plain(str(error)))
        return
    agreed = not seen or _draw_overwriting(draft, path, settings.on)
    with st.container(horizontal=True, vertical_alignment="center"):
        st.button(
            say("Save among your own tables ({folder})", folder=plain(path.parent)),
            key=SAVE_KEY, type="primary", disabled=not agreed,
            on_click=do, args=(partial(_save, draft, path, seen, edits_now()),),
        )  # fmt: skip
        if draft.own == path and not draft.changed:
            st.markdown(say("**Saved:** {file} holds these rows.", file=plain(path)))
        if draft.own == path and not draft.changed and str(path) not in settings.limits:
            st.button(say("Use it in checks"), key=USE_KEY, on_click=_use, args=(path,))


def _draw_overwriting(draft: Draft, path: Path, on: date) -> bool:
    """Ask before an own table is overwritten; where it is not the one that was opened, say how it differs."""
    if draft.own != path:
        st.markdown(say("{file} is in the folder already. What it would become:", file=plain(path.name)))
        try:
            old = edited_table(open_cells(path, path.read_bytes()), path.with_suffix(".csv"))
            draw_changes(old, edited_table(draft.cells, path.with_suffix(".csv")), on)
        except LimitTableError as error:
            st.warning(message_text(error))
    return st.checkbox(
        say("Overwrite {file}. A new edition is better a new file: old certificates name the old one.",
            file=plain(path.name)), key=f"{OVERWRITE_KEY} {path}",
    )  # fmt: skip


def _save(draft: Draft, drawn: Path, seen: str, edits: str) -> str:
    """Save the copy under the name that stands in its field now, and go on editing what was saved.

    A name that was typed at the same moment is another file than the one that was ``drawn``, with the digest ``seen``;
    if that is there already, it is not overwritten.
    """
    refuse_unseen(edits)
    name, form = (st.session_state.get(f"{key} {draft.name}") for key in (NAME_KEY, FORM_KEY))
    path = drawn.parent / f"{str(name).strip()}{form}" if name and form else drawn
    table = save_own(draft.cells, path, replaces=seen if path == drawn else "")
    st.session_state.pop(f"{OVERWRITE_KEY} {path}", None)
    cells = open_cells(path, path.read_bytes())
    put_in_grid(Draft(name=path.stem, original=cells, cells=cells, own=path), cells)
    return say(
        "{file} is saved: {rows} rows, SHA-256 {digest}. It can be chosen in the side panel.",
        file=plain(str(path)), rows=len(table.rows), digest=table.digest[:16],
    )  # fmt: skip


def _use(path: Path) -> None:
    """Choose the own table for checks, beside those that are chosen."""
    chosen: list[str] = st.session_state.get(TABLES_KEY, [])
    st.session_state[TABLES_KEY] = [*chosen, *([] if str(path) in chosen else [str(path)])]
