"""Turns rows that a person edits in a grid into rows that outlive other views, another language and a save."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd
import streamlit as st

from wqcheck.page.spoken import LANGUAGE_KEY, say

Row = dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TypedGrid:
    """A grid as it stands: the rows it began with (as saved), those it was last filled with, and those it holds now.

    ``drawn_as`` is everything that makes the browser fill it again when it changes; ``number`` counts how often it was.
    """

    begun: pd.DataFrame
    base: pd.DataFrame
    now: pd.DataFrame
    drawn_as: tuple[object, ...]
    number: int = 0


def grid_key(name: str) -> str:
    """Return the key of the editor that shows a grid now."""
    kept: TypedGrid | None = st.session_state.get(_kept(name))
    return f"{name} {kept.number if kept else 0}"


def draw_grid(
    name: str, begin: pd.DataFrame, columns: Mapping[str, Any], *, fixed: bool = False,
    shown: Sequence[str] | None = None, alt: str = "",
) -> pd.DataFrame:  # fmt: skip
    """Draw a grid and return its rows as they stand.

    What it is filled with stays the same while it is drawn, or the browser would lose what is typed. It is filled again
    with what it holds when its view was away, its language or columns change, and with *begin* when that was changed
    elsewhere and nothing here is unsaved.

    Parameters
    ----------
    name : str
        Tells one grid of the page from another.
    begin : DataFrame
        The rows as they are saved; its columns are those of the grid.
    columns : mapping
        Column → how it is edited.
    fixed : bool
        Nothing can be edited.
    shown : sequence of str, optional
        The columns that are shown, in this order; the others keep what they hold.
    alt : str
        What it is, for those who do not see it.
    """
    drawn_as = (st.session_state.get(LANGUAGE_KEY), fixed, tuple(shown or ()), alt, _lists_in(columns))
    grid = _filled(name, begin.reset_index(drop=True), drawn_as)
    edited: pd.DataFrame = st.data_editor(
        grid.base, column_config=dict(columns), num_rows="fixed" if fixed else "dynamic", hide_index=True,
        key=grid_key(name), disabled=fixed, width="stretch", column_order=shown, alt=alt or None,
    )  # fmt: skip
    st.session_state[_kept(name)] = replace(grid, now=edited.reset_index(drop=True))
    return edited.reset_index(drop=True)


def rows_now(name: str) -> list[Row]:
    """Return the rows of a grid with what was typed up to this moment, also by the click that runs an act now."""
    grid: TypedGrid = st.session_state[_kept(name)]
    edits: Mapping[str, Any] | None = st.session_state.get(grid_key(name))
    return rows_of(with_edits(grid.base, edits) if edits else grid.now)


def is_unsaved(name: str) -> bool:
    """Whether a grid holds other rows than are saved."""
    grid: TypedGrid | None = st.session_state.get(_kept(name))
    return grid is not None and rows_of(grid.now) != rows_of(grid.begun)


def take_back(name: str) -> None:
    """Put a grid back to the rows that are saved."""
    grid: TypedGrid = st.session_state[_kept(name)]
    st.session_state[_kept(name)] = replace(grid, base=grid.begun, now=grid.begun, number=grid.number + 1)


def mark_saved(name: str) -> None:
    """Take the rows of a grid, as they stand at this moment, for saved."""
    grid: TypedGrid = st.session_state[_kept(name)]
    rows = pd.DataFrame(rows_now(name), columns=grid.base.columns)
    st.session_state[_kept(name)] = replace(grid, begun=rows, base=rows, now=rows, number=grid.number + 1)


def draw_unsaved(name: str) -> None:
    """Say that a grid holds what is not saved yet, and offer to take it back."""
    if is_unsaved(name):
        with st.container(horizontal=True, vertical_alignment="center"):
            st.markdown(say("**Not saved yet.** It stays in this tab, also while you look at another view."))
            st.button(say("Take back what is not saved"), key=f"{name} taken back", on_click=take_back, args=(name,))


def with_edits(base: pd.DataFrame, edits: Mapping[str, Any]) -> pd.DataFrame:
    """Return rows after what an editor reports was done to them: cells edited, rows deleted, rows added."""
    rows: list[Row] = [{str(name): value for name, value in row.items()} for row in base.to_dict("records")]
    for place, cells in edits.get("edited_rows", {}).items():
        rows[int(place)].update(cells)
    gone = {int(place) for place in edits.get("deleted_rows", ())}
    kept = [row for place, row in enumerate(rows) if place not in gone]
    added = [dict.fromkeys(base.columns) | dict(cells) for cells in edits.get("added_rows", ())]
    return pd.DataFrame([*kept, *added], columns=base.columns).astype(object)


def rows_of(table: pd.DataFrame) -> list[Row]:
    """Return the rows of a grid, ``None`` for what is blank; rows with nothing in them are left out."""
    found = [{str(name): _cell(value) for name, value in row.items()} for row in table.to_dict("records")]
    return [row for row in found if any(value not in (None, False) for value in row.values())]


def _cell(value: Any) -> Any:
    if isinstance(value, (list, tuple)):
        return [str(item) for item in value] or None
    if isinstance(value, str):
        return value.strip() or None
    return None if value is None or pd.isna(value) else value


def _kept(name: str) -> str:
    return f"{name} as it stands"


def _lists_in(columns: Mapping[str, Any]) -> tuple[str, ...]:
    """Return what the columns offer to choose from: the editor is another one where that changes."""
    options = [column.get("type_config", {}).get("options") for column in columns.values() if isinstance(column, dict)]
    return tuple(repr(listed) for listed in options if listed)


def _filled(name: str, begin: pd.DataFrame, drawn_as: tuple[object, ...]) -> TypedGrid:
    """Return the grid to draw: the kept one, or one that is filled again."""
    grid: TypedGrid | None = st.session_state.get(_kept(name))
    if grid is None:
        grid = TypedGrid(begun=begin, base=begin, now=begin, drawn_as=drawn_as)
    elif rows_of(grid.begun) != rows_of(begin):
        number = grid.number + 1
        kept = begin if not is_unsaved(name) or rows_of(grid.now) == rows_of(begin) else grid.now
        grid = TypedGrid(begun=begin, base=kept, now=kept, drawn_as=drawn_as, number=number)
    elif grid.drawn_as != drawn_as or grid_key(name) not in st.session_state:
        grid = replace(grid, base=grid.now, drawn_as=drawn_as, number=grid.number + 1)
    st.session_state[_kept(name)] = grid
    return grid
