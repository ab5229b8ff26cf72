"""Turns headings that stand on two rows (a group over its parts, an analyte over ``Result``) into one per column."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from wqcheck.sheets.content import RESULT_LIKE, Kind, Profile, kinds_of
from wqcheck.sheets.grid import Cells
from wqcheck.sheets.headings import heading_role
from wqcheck.sheets.recognise import recognise_analyte
from wqcheck.sheets.table import IDENTITY, Column, read_heading

_VALUES = int(RESULT_LIKE | Kind.NUMBER_WITH_UNIT | Kind.DATE)
_ROWS_NEAR = 2


def join_headings(
    cells: Cells, header: int, columns: Mapping[int, Column], profiles: list[Profile]
) -> tuple[dict[int, Column], dict[int, str]]:
    """Return the columns with the analytes that stand a row or two below or above *header*, and those rows' role."""
    joined, rows = dict(columns), dict[int, str]()
    if any(column.role == "parameter" for column in columns.values()):
        return joined, rows
    for row in range(header + 1, min(header + 1 + _ROWS_NEAR, len(cells))):
        kinds = kinds_of(cells[row : row + 1])[0]
        owned = any(kinds[c] for c, column in joined.items() if column.role in {*IDENTITY, "sampled_at"})
        group = int(((kinds & int(Kind.HEADING)) != 0).sum()) > 1
        wanted = Kind.ANALYTE | Kind.HEADING if group else Kind.ANALYTE
        found = [c for c, column in joined.items() if _waits(column, profiles[c]) and kinds[c] & wanted]
        if found and not owned and not _values(kinds).any():
            joined |= {c: read_heading(str(cells[row, c]).strip()) for c in found}
            rows[row] = "heading"
    for row in range(header - 1, max(-1, header - 1 - _ROWS_NEAR), -1):
        kinds = kinds_of(cells[row : row + 1])[0]
        above = _spanning(cells[row], kinds, joined, profiles) | _headed_above(cells[row], kinds, joined, profiles)
        if above:
            joined |= above
            rows[row] = "heading"
    return joined, rows


def places_below(
    cells: Cells, header: int, columns: Mapping[int, Column], profiles: list[Profile]
) -> tuple[dict[int, Column], dict[int, str]]:
    """Return the columns that stand below one analyte with the names of places (*Raw*, *Treated*) over them.

    The first column has the heading of the analyte, those to the right of it have none; the row below the headings
    names each. It is given the role ``point``; without at least two names below one analyte nothing changes.
    """
    row = header + 1
    kinds = kinds_of(cells[row : row + 1])[0] if row < len(cells) else np.zeros(0, dtype=np.int64)
    owned = any(kinds[c] for c, column in columns.items() if len(kinds) and column.role in {*IDENTITY, "sampled_at"})
    if owned or _values(kinds).any():
        return dict(columns), {}
    joined, owner, found = dict(columns), -1, False
    for c, column in sorted(columns.items()):
        is_place = profiles[c].result_like >= 0.3 and c < len(kinds) and _names_place(cells[row, c], int(kinds[c]))
        if column.analyte is not None:
            owner = c if is_place else -1
        elif owner >= 0 and is_place and not column.heading and str(cells[row, c]) != str(cells[row, c - 1]):
            joined[c], found = columns[owner], True
        else:
            owner = -1
    return (joined, {row: "point"}) if found else (dict(columns), {})


def _names_place(cell: object, kinds: int) -> bool:
    """Return whether a cell can name a place: a text that is no unit, analyte or heading of another kind."""
    if not isinstance(cell, str) or kinds & int(Kind.UNIT | Kind.ANALYTE | Kind.NOT_DONE):
        return False
    return heading_role(cell.strip()) in {"", "point", "stage", "sample"}


def _headed_above(
    names: Cells, kinds: npt.NDArray[np.int64], columns: Mapping[int, Column], profiles: list[Profile]
) -> dict[int, Column]:
    """Return the columns without a heading of their own whose heading stands in the row of *names* above."""
    if _values(kinds).any():
        return {}
    return {
        c: read_heading(str(names[c]).strip())
        for c, column in columns.items()
        if not column.heading and profiles[c].filled and kinds[c] & Kind.HEADING
    }


def _values(kinds: npt.NDArray[np.int64]) -> npt.NDArray[np.bool_]:
    """Return, per cell, whether it is a value; ``LOQ`` in a row of headings is a heading and no word for a result."""
    return np.asarray(((kinds & _VALUES) != 0) & ((kinds & int(Kind.HEADING)) == 0))


def _waits(column: Column, content: Profile) -> bool:
    """Return whether a column of results has a heading that names no analyte."""
    return column.analyte is None and column.role in {"", "result", "other"} and content.result_like >= 0.3


def _spanning(
    names: Cells, kinds: npt.NDArray[np.int64], columns: Mapping[int, Column], profiles: list[Profile]
) -> dict[int, Column]:
    """Return the columns that results stand in below one of at least two analytes of the row of *names*."""
    here = np.flatnonzero(kinds & int(Kind.ANALYTE))
    if len(here) < 2 or _values(kinds).any():
        return {}
    found = {}
    for c, column in columns.items():
        left = here[here <= c]
        if _waits(column, profiles[c]) and len(left):
            text = str(names[left[-1]]).strip()
            analyte = recognise_analyte(text)
            found[c] = replace(read_heading(text), unit=column.unit or (analyte.unit if analyte else None))
    return found
