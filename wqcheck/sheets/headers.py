"""Turns the first rows of a sheet into the row of headings, if there is one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from wqcheck.sheets.content import RESULT_LIKE, Kind, Profile, kinds_of, profile
from wqcheck.sheets.grid import Cells
from wqcheck.sheets.headings import heading_role
from wqcheck.sheets.table import looks_numbered

Kinds = npt.NDArray[np.int64]

HEADER_SEARCH_ROWS = 60
PROBED_ROWS = 400


@dataclass(frozen=True, slots=True)
class Probe:
    """A look at the sheet: the first rows in full and a spread of the rest."""

    rows: npt.NDArray[np.int64]
    cells: Cells
    kinds: Kinds

    def below(self, row: int) -> tuple[Cells, Kinds]:
        """Return cells and kinds of the rows looked at below *row*."""
        start = int(np.searchsorted(self.rows, row, side="right"))
        return self.cells[start:], self.kinds[start:]

    def profiles(self, row: int) -> list[Profile]:
        """Return the profile of each column below *row*."""
        cells, kinds = self.below(row)
        return [profile(cells[:, column], kinds[:, column]) for column in range(cells.shape[1])]


def probe_of(cells: Cells) -> Probe:
    """Return a look at *cells* (rows × columns)."""
    top = min(len(cells), PROBED_ROWS // 2)
    rest = (
        np.linspace(top, len(cells) - 1, PROBED_ROWS // 2).astype(np.int64) if len(cells) > top else np.array([], int)
    )
    rows = np.unique(np.concatenate([np.arange(top), rest]))
    return Probe(rows, cells[rows], kinds_of(cells[rows]))


def best_header(probe: Probe) -> int | None:
    """Return the row that reads most like headings of the columns below it."""
    searched = [int(row) for row in probe.rows if row < HEADER_SEARCH_ROWS]
    scores = {row: _header_score(probe, row) for row in searched[:-1] or searched}
    best = max(scores, key=lambda row: (scores[row], -row), default=None)
    return best if best is not None and scores[best] >= 2 else None


def _header_score(probe: Probe, row: int) -> float:
    if not probe.kinds[row].any():
        return 0.0
    _, below = probe.below(row)
    filled = (below[:60] != 0).sum(axis=0)
    results = ((below[:60] & int(RESULT_LIKE)) != 0).sum(axis=0)
    names = ((below[:60] & int(Kind.ANALYTE)) != 0).sum(axis=0)
    score = 0.0
    for column in np.flatnonzero(probe.kinds[row]):
        kind, text = Kind(int(probe.kinds[row, column])), str(probe.cells[row, column]).strip()
        if kind & Kind.ANALYTE and not looks_numbered(text):
            score += _not_a_heading(kind, text) or (3 if results[column] else 0)
        elif kind & Kind.HEADING:
            score += _not_a_heading(kind, text) or _heading_score(text, filled[column], names[column])
        else:
            score += _not_a_heading(kind, text) or (0.3 if filled[column] else 0)
    return score


def _not_a_heading(kind: Kind, text: str) -> float:
    """Return how much a value, date or label speaks against a row of headings; 0 for any other text."""
    if kind & Kind.NUMBER or (kind & Kind.RESULT_WORD and not kind & Kind.HEADING):
        return -1.5
    return -0.5 if kind & Kind.DATE or text.endswith(":") else 0.0


def _heading_score(text: str, filled: int, names: int) -> float:
    role = heading_role(text)
    if role == "parameter" and names:
        return 3.0
    return (1.0 if role == "other" else 2.0) if filled else 0.5
