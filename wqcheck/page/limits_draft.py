"""Turns a limit table that was opened for editing, and what a person did to its grid, into the cells that now hold."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd
import streamlit as st

from wqcheck.limit_tables.columns import COLUMNS
from wqcheck.limit_tables.editing import LINE, open_cells, tidied
from wqcheck.limit_tables.loading import shipped_tables
from wqcheck.limit_tables.sheets import CopyRefusedError
from wqcheck.shipped_files import shipped_folder

DRAFT_KEY = "limit table under edit"
GRID_KEY = "grid of the limit table"
_CHOSEN_FROM_LISTS = ("parameter", "rule", "unit", "class")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Draft:
    """A copy under edit.

    ``name`` is what it was copied from, ``original`` and ``cells`` are text cells by line, ``own`` the file in the
    plant's folder that it came from. ``number`` tells one state that was put into the grid from another.
    """

    name: str
    original: pd.DataFrame
    cells: pd.DataFrame
    own: Path | None = None
    number: int = 0

    @property
    def changed(self) -> bool:
        """Whether any cell differs from what was opened."""
        return not self.cells.equals(self.original)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Grid:
    """What stands in the grid: the cells when it was filled, those of them that are shown, and for which search."""

    key: str
    number: int
    search: str
    base: pd.DataFrame
    shown: pd.DataFrame


def draft_now() -> Draft | None:
    """Return the copy under edit."""
    draft: Draft | None = st.session_state.get(DRAFT_KEY)
    return draft


def keep_draft(draft: Draft | None) -> None:
    """Keep a copy under edit for all views, or put it away with ``None``."""
    st.session_state[DRAFT_KEY] = draft


def open_draft(path: Path, content: bytes, *, own: Path | None = None) -> None:
    """Open a limit file in the grid.

    Raises
    ------
    LimitTableError
        Its cells cannot be told; nothing is opened.
    """
    cells = open_cells(path, content)
    keep_draft(Draft(name=path.stem, original=cells, cells=cells, own=own, number=_next_number()))


def open_table(value: str) -> None:
    """Open a shipped table or an own file by its path; raises as :func:`open_draft`, or CopyRefusedError if unread."""
    shipped = value in shipped_tables()
    path = shipped_folder("limits") / f"{value}.csv" if shipped else Path(value)
    try:
        content = path.read_bytes()
    except OSError as problem:
        raise CopyRefusedError(f"{path} cannot be read ({problem.strerror}); choose another table") from None
    open_draft(path, content, own=None if shipped else path)


def put_in_grid(draft: Draft, cells: pd.DataFrame) -> None:
    """Replace the cells of a copy and fill the grid again."""
    keep_draft(replace(draft, cells=cells, number=_next_number()))


def _next_number() -> int:
    draft = draft_now()
    grid: Grid | None = st.session_state.get(GRID_KEY)
    return 1 + max(draft.number if draft else 0, grid.number if grid else 0)


def grid_of(draft: Draft, search: str, wanted: pd.Series[bool]) -> Grid:
    """Return the grid that is on the page, filled again where another state or search asks for it, or it was away.

    Parameters
    ----------
    draft : Draft
    search : str
        What was searched for.
    wanted : Series of bool
        By line, which of the cells it asks for.
    """
    grid: Grid | None = st.session_state.get(GRID_KEY)
    if grid and (grid.number, grid.search) == (draft.number, search) and grid.key in st.session_state:
        return grid
    place = int(grid.key.rpartition(" ")[2]) + 1 if grid else 0
    grid = Grid(
        key=f"{GRID_KEY} {place}", number=draft.number, search=search, base=draft.cells,
        shown=shown_cells(draft.cells[wanted]),
    )  # fmt: skip
    st.session_state[GRID_KEY] = grid
    return grid


def edits_now() -> str:
    """Return what was done to the grid since it was filled, for :func:`refuse_unseen`."""
    grid: Grid | None = st.session_state.get(GRID_KEY)
    return repr(st.session_state.get(grid.key)) if grid else ""


def refuse_unseen(seen: str) -> None:
    """Refuse to act on a copy whose grid was edited after it was last drawn: the edit would be lost unseen.

    Raises
    ------
    CopyRefusedError
        ``seen`` is not what :func:`edits_now` says now.
    """
    if edits_now() != seen:
        raise CopyRefusedError("the grid was changed at the same moment; look at what differs, then press again")


def shown_cells(cells: pd.DataFrame) -> pd.DataFrame:
    """Return cells as the grid takes them: the line as a column, and nothing where a list offers no blank."""
    shown = cells.reset_index().astype(dict.fromkeys(COLUMNS, "object"))
    for column in _CHOSEN_FROM_LISTS:
        shown[column] = shown[column].where(shown[column] != "", None)
    return shown


def taken_over(grid: Grid, edited: pd.DataFrame, last: int) -> pd.DataFrame:
    """Return all cells after the grid was edited: what it does not show stays, added rows get lines after *last*."""
    hidden = grid.base[~grid.base.index.isin(grid.shown[LINE])]
    lines = pd.to_numeric(edited[LINE], errors="coerce").to_numpy(dtype=np.float64, copy=True)
    added = np.isnan(lines)
    first = 1 + max(last, max(grid.base.index, default=1))
    lines[added] = first + np.arange(added.sum())
    seen = tidied(edited[list(COLUMNS)].set_axis(lines.astype(np.int64), axis=0))
    return pd.concat([hidden, seen]).sort_index().rename_axis(LINE)
