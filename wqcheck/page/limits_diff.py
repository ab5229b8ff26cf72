"""Turns an uploaded limit table into what is wrong in it, and two tables into what the newer one changes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import pandas as pd
import streamlit as st

from wqcheck.errors import LimitTableError, TableProblem
from wqcheck.limit_tables.loading import LimitTable, limit_table
from wqcheck.page.limits_save import draw_changes
from wqcheck.page.settings import Settings
from wqcheck.page.spoken import later, say
from wqcheck.page.table_choice import Choice, loaded, table_choices, usable
from wqcheck.page.words import message_text, plain

FILES_KEY = "limit tables to check"
OLD_KEY = "table before"
NEW_KEY = "table after"
MOST_PROBLEMS = 60
_HEADINGS = {
    "line": later("Line"), "column": later("Column"), "given": later("Stands there"),
    "message": later("How to mend it"),
}  # fmt: skip


def draw_diff(settings: Settings) -> None:
    """Draw the check of files that are dropped here, and what one table changes against another."""
    st.markdown("##### " + say("Is a file sound?"))
    files = st.file_uploader(
        say("Limit tables (CSV, XLSX)"), type=["csv", "xlsx", "xlsm"], accept_multiple_files=True, key=FILES_KEY
    )
    dropped = {}
    for file in files:
        table = _checked(file.name, file.getvalue())
        if table is not None:
            dropped[file.name] = table
    st.markdown("##### " + say("What does a new edition change?"))
    choices = table_choices(settings.own_folder)
    names = [*dropped, *usable(choices)]

    def told(name: str) -> str:
        return _told(name, dropped, choices)

    left, right = st.columns(2, gap="medium")
    old = left.selectbox(say("Before"), names, index=None, key=OLD_KEY, format_func=told, placeholder=say("choose"))
    new = right.selectbox(say("Now"), names, index=None, key=NEW_KEY, format_func=told, placeholder=say("choose"))
    if not old or not new:
        st.info(say("Choose two tables: the old edition and the new one, or a shipped table and your own."))
        return
    try:
        before, after = (dropped.get(name) or loaded(name) for name in (old, new))
    except LimitTableError as error:
        st.error(message_text(error))
        return
    draw_changes(before, after, settings.on)


def _told(name: str, dropped: Mapping[str, LimitTable], choices: Mapping[str, Choice]) -> str:
    return say("{name} (dropped here)", name=name) if name in dropped else choices[name].label


def _checked(name: str, content: bytes) -> LimitTable | None:
    """Say whether a file is a sound limit table, and give it; every bad cell has its line and column."""
    try:
        table = limit_table(Path(name), content)
    except LimitTableError as error:
        st.error(say("{file}: {count} cells to mend, so nothing of it is used.", file=plain(name),
                     count=len(error.problems)))  # fmt: skip
        st.table(problem_rows(error.problems[:MOST_PROBLEMS]).map(plain), hide_index=True)
        if len(error.problems) > MOST_PROBLEMS:
            st.markdown(say("and {count} more", count=len(error.problems) - MOST_PROBLEMS))
        return None
    st.success(say("{file}: sound, {rows} rows: {title}", file=plain(name), rows=len(table.rows),
                   title=plain(table.title)))  # fmt: skip
    return table


def problem_rows(problems: Sequence[TableProblem]) -> pd.DataFrame:
    """Return each problem of a limit table with its line, its column, what stands there, and how to mend it."""
    cells = [(str(one.line), one.column, one.given or say("nothing"), one.message) for one in problems]
    return pd.DataFrame(cells, columns=[say(word) for word in _HEADINGS.values()])
