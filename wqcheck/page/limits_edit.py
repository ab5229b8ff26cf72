"""Turns a copy of a limit table into a grid to edit, with everything that is wrong in it and how to mend it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import pandas as pd
import streamlit as st

from wqcheck.errors import TableProblem, WqcheckError
from wqcheck.limit_tables.columns import EXPLAINED
from wqcheck.limit_tables.editing import LINE, as_own, borrowed_in, problems_in
from wqcheck.limit_tables.sheets import CopyRefusedError, offered_words
from wqcheck.page.limits_draft import (
    Draft,
    draft_now,
    edits_now,
    grid_of,
    keep_draft,
    open_draft,
    open_table,
    put_in_grid,
    refuse_unseen,
    taken_over,
)
from wqcheck.page.limits_save import draw_changes_first, draw_save
from wqcheck.page.office import do
from wqcheck.page.settings import Settings
from wqcheck.page.shown import table_title
from wqcheck.page.spoken import later, say
from wqcheck.page.table_choice import Choice, chosen_first, table_choices
from wqcheck.page.words import codes_found, message_text, plain, titled

COPY_KEY = "table to copy"
OPEN_KEY = "open the copy"
UPLOAD_KEY = "own table to edit"
AWAY_KEY = "put the copy away"
SEARCH_KEY = "search in the grid"
SOURCE_KEY = "source of own limits"
CITE_KEY = "cite as own limits"

MOST_PROBLEMS = 40
TITLES = {
    "parameter": later("Parameter"), "rule": later("Rule"), "lower": later("At least"), "upper": later("At most"),
    "unit": later("Unit"), "basis": later("As (basis)"), "product": later("Waters"), "class": later("Class"),
    "status": later("Mark"), "source": later("Source"), "clause": later("Clause"), "evidence": later("How it was read"),
    "note": later("Note"), "volume_ml": later("Volume, mL"), "members": later("Added up"), "weights": later("Weights"),
    "valid_from": later("In force from"), "valid_to": later("In force until"),
}  # fmt: skip
"""What heads each column of a limit table in the grid."""

_ORDER = (
    *(LINE, "parameter", "rule", "lower", "upper", "unit", "source", "clause", "evidence", "basis", "product", "class"),
    *("status", "note", "volume_ml", "members", "weights", "valid_from", "valid_to"),
)
_WIDTHS = {
    "parameter": 150,
    "rule": 80,
    "lower": 70,
    "upper": 70,
    "unit": 80,
    "basis": 70,
    "product": 150,
    "status": 140,
}

_USUAL_WIDTH = 200


def draw_edit(settings: Settings) -> None:
    """Draw the copy under edit, or the choice of what to copy."""
    draft = draft_now()
    if draft is None:
        _draw_opening(chosen_first(table_choices(settings.own_folder), settings.limits))
        return
    _draw_name(draft)
    cells = _draw_grid(draft)
    draft = replace(draft, cells=cells)
    keep_draft(draft)
    borrowed = borrowed_in(draft.original, cells, draft.name)
    problems = [*problems_in(cells, draft.name), *borrowed]
    if problems:
        if len(problems) == len(borrowed):
            draw_changes_first(draft, settings.on)
        _draw_problems(draft, problems)
        if borrowed:
            _draw_citing(draft)
    else:
        draw_save(draft, settings)


def _draw_opening(choices: Mapping[str, Choice]) -> None:
    """Draw what can be opened: a table that is there, or a file."""
    st.markdown(say("A shipped table is never changed. Copy one, or open a table of your own; tighten, add or drop "
                    "limits; look at what differs; then save it under a name of its own."))  # fmt: skip
    left, right = st.columns(2, gap="medium")
    with left:
        st.selectbox(say("Table to copy"), list(choices), key=COPY_KEY, persist_state="session",
                     format_func=lambda value: choices[value].label)  # fmt: skip
        st.button(say("Copy into the grid"), key=OPEN_KEY, type="primary", on_click=do, args=(_open,))
    with right:
        file = st.file_uploader(say("Or a table of your own (CSV, XLSX)"), type=["csv", "xlsx", "xlsm"], key=UPLOAD_KEY)
    if file is not None:
        try:
            open_draft(Path(file.name), file.getvalue())
        except WqcheckError as error:
            st.error(message_text(error))
            return
        st.rerun()


def _open() -> str:
    """Open the table that is chosen now: the page may not have been drawn again since it was chosen."""
    value = str(st.session_state[COPY_KEY])
    open_table(value)
    return say("{name} is in the grid as a copy.", name=plain(table_title(Path(value).stem)))


def _draw_name(draft: Draft) -> None:
    """Say what is under edit, and let it be put away."""
    with st.container(horizontal=True, vertical_alignment="center"):
        name, rows = plain(draft.own or table_title(draft.name)), len(draft.cells)
        st.markdown(
            say("Being edited: your table **{name}**, {rows} rows", name=name, rows=rows)
            if draft.own
            else say("Being edited: a copy of **{name}**, {rows} rows", name=name, rows=rows)
        )
        with st.popover(say("Discard this copy")):
            if draft.changed:
                st.warning(say("What was changed and not saved is lost."))
            st.button(say("Discard it now"), key=AWAY_KEY, on_click=keep_draft, args=(None,))


def _draw_grid(draft: Draft) -> pd.DataFrame:
    """Draw the grid and return all cells as they stand after it."""
    search = st.text_input(say("Show only"), key=SEARCH_KEY, persist_state="session",
                           placeholder=say("name, other spelling or CAS number; blank: all rows")).strip()  # fmt: skip
    codes = codes_found(search)
    wanted = draft.cells["parameter"].isin(codes) | (search == "") | (draft.cells["parameter"] == "")
    grid = grid_of(draft, search, wanted)
    st.caption(say("Click a cell and type, or press Enter in it, to change it. The last line adds a row; mark rows at "
                   "the left to delete them. The headings explain what to write."))  # fmt: skip
    edited = st.data_editor(
        grid.shown, key=grid.key, num_rows="dynamic", hide_index=True, column_order=_ORDER,
        height=min(400, 75 + 35 * max(3, len(grid.shown))),
        column_config=_columns(grid.base), alt=say("Limit table under edit"),
    )  # fmt: skip
    return taken_over(grid, edited, max(draft.original.index, default=1))


def _columns(cells: pd.DataFrame) -> dict[str, Any]:
    """Say for each column of the grid how it is edited; all of them hold text, so that nothing is rewritten."""
    listed = offered_words(set(cells["unit"]))
    config: dict[str, Any] = {
        LINE: st.column_config.NumberColumn(say("line"), disabled=True, pinned=True, width=45, format="%d")
    }
    for column, text in EXPLAINED.items():
        width = _WIDTHS.get(column, _USUAL_WIDTH)
        pinned = column == "parameter"
        if column in ("parameter", "rule", "unit", "class"):
            options = list(dict.fromkeys([*listed[column], *(word for word in cells[column] if word)]))
            named: Any = {"format_func": _parameter_words} if column == "parameter" else {}
            config[column] = st.column_config.SelectboxColumn(
                say(TITLES[column]), help=text, width=width, pinned=pinned, options=options, **named
            )
        else:
            config[column] = st.column_config.TextColumn(say(TITLES[column]), help=text, width=width)
    return config


def _parameter_words(code: object) -> str:
    return f"{titled(str(code))} · {code}"


def _draw_problems(draft: Draft, problems: Sequence[TableProblem]) -> None:
    """Say what must be mended before anything can be saved."""
    st.error(say("To mend before this copy can be saved: {count}", count=len(problems)))
    st.table(problem_table(problems[:MOST_PROBLEMS], draft).map(plain), hide_index=True)
    if len(problems) > MOST_PROBLEMS:
        st.markdown(say("and {count} more", count=len(problems) - MOST_PROBLEMS))


def problem_table(problems: Sequence[TableProblem], draft: Draft) -> pd.DataFrame:
    """Return each problem with its row and column in the grid, what stands there, and how to mend it."""
    known = draft.cells["parameter"].to_dict()
    return pd.DataFrame(
        {
            say("Row"): [line_words(problem.line, draft) for problem in problems],
            say("Parameter"): [known.get(problem.line, "") for problem in problems],
            say("Column"): [say(TITLES.get(problem.column, problem.column)) for problem in problems],
            say("Stands there"): [problem.given or say("nothing") for problem in problems],
            say("How to mend it"): [problem.message for problem in problems],
        }
    )


def line_words(line: int, draft: Draft) -> str:
    """Name a row of the grid."""
    if line in draft.original.index:
        return say("line {line}", line=line)
    return say("line {line}, added", line=line)


def _draw_citing(draft: Draft) -> None:
    """Offer to cite the changed rows as the plant's own, and to keep in their notes what stood there."""
    with st.container(border=True):
        source = st.text_input(
            say("Whose limits are the changed ones?"), key=SOURCE_KEY, persist_state="session",
            placeholder=say("your own document with its issue, such as: Specification of the plant, issue 4"),
        )  # fmt: skip
        st.button(
            say("Name it in the changed rows"), key=CITE_KEY, disabled=not source.strip(), on_click=do,
            args=(partial(_cite, draft, edits_now()),),
            help=say("Writes source, clause and evidence of these rows, and what stood there into their notes."),
        )  # fmt: skip


def _cite(draft: Draft, seen: str) -> str:
    """Cite the source that stands in its field now in the changed rows that were drawn."""
    refuse_unseen(seen)
    source = str(st.session_state[SOURCE_KEY]).strip()
    if not source:
        raise CopyRefusedError("no document is named; write whose limits the changed ones are")
    put_in_grid(draft, as_own(draft.original, draft.cells, source))
    return say("The changed rows cite {source}.", source=plain(source))
