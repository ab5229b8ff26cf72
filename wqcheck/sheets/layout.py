"""Turns the cells of one sheet into the layout of its table: where the headings stand and what each column is.

Three layouts and a remainder are told apart by content, not by file:

- ``long``: a column of analyte names and a result column; one result per row.
- ``crosstab``: a column of analyte names, samples or points across.
- ``wide``: analyte names across, one sample per row.
- ``list``: a result column with a heading, or numbers behind names, and no analyte named anywhere.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from wqcheck.sheets.coded import Coded
from wqcheck.sheets.content import RESULT_LIKE, Kind, Profile, kinds_of, profile
from wqcheck.sheets.grid import Cells
from wqcheck.sheets.headings import heading_role
from wqcheck.sheets.recognise import Analyte, recognise_analyte, unit_or_none
from wqcheck.units import Unit

Kinds = npt.NDArray[np.int64]

HEADER_SEARCH_ROWS = 60
PROBED_ROWS = 400

SPECIAL_ROWS = frozenset("unit reporting_limit detection_limit method limit verdict computed uncertainty cas".split())
"""Roles that the first text of a row can give the whole row of a wide table."""

IDENTITY = ("sample", "point", "batch", "stage", "replicate", "lab", "product", "plant", "line", "tank")


@dataclass(frozen=True, slots=True)
class Column:
    """What one column is: role, heading as given, and the analyte and unit that the heading names."""

    role: str
    heading: str = ""
    analyte: Analyte | None = None
    unit: Unit | None = None
    unit_text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """The layout of one table.

    ``header`` is the row of headings (None when there is none), ``first`` the first data row, ``special`` maps rows of
    the table that hold no results to their role (``unit``, ``reporting_limit``, ``point`` …); all rows count from 0.
    """

    kind: str
    header: int | None
    first: int
    columns: Mapping[int, Column]
    special: Mapping[int, str] = field(default_factory=dict)
    realigned: bool = False
    why: str = ""

    def with_role(self, role: str) -> list[int]:
        """Return the positions of the columns with *role*, left to right."""
        return [position for position, column in sorted(self.columns.items()) if column.role == role]


@dataclass(frozen=True, slots=True)
class _Probe:
    """A look at the sheet: the first rows in full and a spread of the rest."""

    rows: npt.NDArray[np.int64]
    cells: Cells
    kinds: Kinds

    def below(self, row: int) -> tuple[Cells, Kinds]:
        start = int(np.searchsorted(self.rows, row, side="right"))
        return self.cells[start:], self.kinds[start:]

    def profiles(self, row: int) -> list[Profile]:
        cells, kinds = self.below(row)
        return [profile(cells[:, column], kinds[:, column]) for column in range(cells.shape[1])]


def find_table(cells: Cells) -> Table | str:
    """Return the layout of the table in *cells* (rows × columns), or one sentence why there is none."""
    if not cells.size:
        return "the sheet has no cell with content"
    probe = _probe(cells)
    header = _best_header(probe)
    profiles = probe.profiles(-1 if header is None else header)
    columns, realigned = _columns(cells, header, profiles)
    analytes = _analyte_column(columns, profiles)
    across = [c for c, column in columns.items() if column.analyte is not None and column.role != "verdict"]
    named = analytes is not None and columns[analytes].role in {"parameter", "cas"}
    if analytes is not None and (named or len(across) < 2):
        return _by_analyte_column(cells, probe, header, columns, profiles, analytes)
    if across:
        return _wide(cells, header, columns, profiles, realigned)
    return _list(cells, header, columns, profiles, realigned)


def _probe(cells: Cells) -> _Probe:
    top = min(len(cells), PROBED_ROWS // 2)
    rest = (
        np.linspace(top, len(cells) - 1, PROBED_ROWS // 2).astype(np.int64) if len(cells) > top else np.array([], int)
    )
    rows = np.unique(np.concatenate([np.arange(top), rest]))
    return _Probe(rows, cells[rows], kinds_of(cells[rows]))


def _best_header(probe: _Probe) -> int | None:
    """Return the row that reads most like headings of the columns below it."""
    searched = [int(row) for row in probe.rows if row < HEADER_SEARCH_ROWS]
    scores = {row: _header_score(probe, row) for row in searched[:-1] or searched}
    best = max(scores, key=lambda row: (scores[row], -row), default=None)
    return best if best is not None and scores[best] >= 2 else None


def _header_score(probe: _Probe, row: int) -> float:
    cells, kinds = probe.cells[row], probe.kinds[row]
    if not kinds.any():
        return 0.0
    _, below = probe.below(row)
    filled = (below[:60] != 0).sum(axis=0)
    results = ((below[:60] & int(RESULT_LIKE)) != 0).sum(axis=0)
    score = 0.0
    for column in np.flatnonzero(kinds):
        kind, text = int(kinds[column]), str(cells[column]).strip()
        if kind & (Kind.NUMBER | Kind.RESULT_WORD):
            score -= 1.5
        elif kind & Kind.DATE:
            score -= 0.5
        elif text.endswith(":"):
            score -= 0.5
        elif kind & Kind.ANALYTE:
            score += 3 if results[column] else 0
        elif kind & Kind.HEADING:
            score += (1 if heading_role(text) == "other" else 2) if filled[column] else 0.5
        elif kind & Kind.TEXT:
            score += 0.3 if filled[column] else 0
    return score


def _columns(cells: Cells, header: int | None, profiles: list[Profile]) -> tuple[dict[int, Column], bool]:
    width = cells.shape[1]
    if header is None:
        return {c: Column("") for c in range(width) if profiles[c].filled}, False
    headings = {c: str(cells[header, c]).strip() for c in range(width) if cells[header, c] is not None}
    moved = _realigned(headings, profiles)
    headings = moved or headings
    columns = {c: Column("") for c in range(width) if profiles[c].filled}
    columns |= {c: read_heading(text) for c, text in headings.items()}
    return columns, bool(moved)


def _realigned(headings: Mapping[int, str], profiles: list[Profile]) -> dict[int, str] | None:
    """Map headings to data columns in order where they plainly do not stand above one another."""
    most = max((p.filled for p in profiles), default=0)
    data = [c for c, p in enumerate(profiles) if p.filled >= max(1, most // 2)]
    together = len(set(headings) & set(data))
    if len(headings) < 3 or len(headings) != len(data) or together > 0.7 * len(data):
        return None
    return dict(zip(data, (headings[c] for c in sorted(headings)), strict=True))


def read_heading(text: str) -> Column:
    """Return what a heading says of its column."""
    role, analyte = heading_role(text.rstrip(" :")), recognise_analyte(text)
    if role in {"verdict", "limit", "computed", "remark"} and (analyte is None or role == "verdict"):
        return Column(role, text)
    if analyte is not None:
        return Column("analyte", text, analyte, analyte.unit, analyte.unit_text)
    unit, unit_text = _unit_in_heading(text)
    return Column(role, text, None, unit, unit_text)


def _unit_in_heading(text: str) -> tuple[Unit | None, str]:
    start, end = max(text.rfind("("), text.rfind("[")), max(text.rfind(")"), text.rfind("]"))
    inside = text[start + 1 : end] if 0 <= start < end else ""
    return (unit_or_none(inside), inside) if inside else (None, "")


def _analyte_column(columns: Mapping[int, Column], profiles: list[Profile]) -> int | None:
    """Return the column whose cells name analytes, headed so or not."""

    def strength(column: int) -> float:
        role = columns[column].role
        if role in {"parameter", "cas"}:
            return profiles[column].analyte + (1.0 if role == "parameter" else 0.5)
        usable = columns[column].analyte is None and role in {"", "point", "sample", "other", "result"}
        return profiles[column].analyte if usable and profiles[column].distinct > 1 else 0.0

    best = max(columns, key=strength, default=None)
    if best is None or profiles[best].filled == 0:
        return None
    headed = columns[best].role in {"parameter", "cas"}
    return best if profiles[best].analyte >= (0.05 if headed else 0.5) else None


def _by_analyte_column(  # noqa: PLR0913 one look at the sheet, shared by both layouts
    cells: Cells, probe: _Probe, header: int | None, columns: dict[int, Column], profiles: list[Profile], analytes: int
) -> Table | str:
    columns = dict(columns)
    columns[analytes] = Column("parameter", columns[analytes].heading)
    for c, column in columns.items():
        if column.role == "analyte":
            columns[c] = Column("", column.heading)
    first = 0 if header is None else header + 1
    named = [c for c, column in columns.items() if column.role == "result" and profiles[c].filled]
    if named:
        best = max(named, key=lambda c: (round(profiles[c].result_like, 1), -c))
        for c in set(named) - {best}:
            columns[c] = _other_result(columns[c], profiles[c])
        if profiles[best].result_like > 0.15 or len(named) == 1:
            return Table(
                kind="long", header=header, first=first, columns=columns, why="analyte column and result column"
            )
    results = _crosstab_results(columns, profiles, analytes)
    if not results:
        return "analyte names were found, but no column with results beside them"
    columns |= {c: Column("result", columns[c].heading) for c in results}
    special = _crosstab_special_rows(cells, probe, header, analytes, results)
    return Table(
        kind="crosstab",
        header=header,
        first=first,
        columns=columns,
        special=special,
        why="analytes down, samples across",
    )


def _other_result(column: Column, content: Profile) -> Column:
    """Keep a second result column as results when it holds numbers, else as the laboratory's flags."""
    if content.result_like > 0.5 and content.number > 0.3:
        return column
    return Column("qualifier", column.heading)


def _crosstab_results(columns: Mapping[int, Column], profiles: list[Profile], analytes: int) -> list[int]:
    """Return the columns that hold results, headed by a sample, point or date rather than by a role."""
    free = {"", "result", *IDENTITY, "sampled_at", "sampled_time"}
    found = [
        c for c, column in columns.items()
        if c != analytes and column.role in free and profiles[c].filled and profiles[c].result_like >= 0.4
    ]  # fmt: skip
    unheaded = [c for c in found if c < analytes]
    return [c for c in found if c not in unheaded or not _counts_up(profiles[c])]


def _counts_up(content: Profile) -> bool:
    return content.distinct == content.filled and content.number > 0.95


def _crosstab_special_rows(
    cells: Cells, probe: _Probe, header: int | None, analytes: int, results: Iterable[int]
) -> dict[int, str]:
    """Find rows of the heading zone that say of each sample its point, number or date."""
    results = list(results)
    names = probe.kinds[:, analytes] & int(Kind.ANALYTE)
    first_analyte = next(
        (int(r) for r, hit in zip(probe.rows, names, strict=True) if hit and (header is None or r > header)), 0
    )
    special: dict[int, str] = {}
    for row in range(max(0, (header or 0) - 6), first_analyte):
        label = next((str(cell) for cell in cells[row, : min(results)] if cell is not None), "")
        role = heading_role(label.rstrip(" :"))
        across = sum(cells[row, c] is not None for c in results)
        if row != header and role and across >= max(1, len(results) // 2) and (across > 1 or len(results) == 1):
            special[row] = role
    return special


def _wide(
    cells: Cells, header: int | None, columns: dict[int, Column], profiles: list[Profile], realigned: bool
) -> Table:
    assert header is not None  # noqa: S101 analytes across come from a header
    special = _wide_special_rows(cells, header, columns)
    units = {
        c: str(cells[row, c])
        for row, role in special.items()
        if role == "unit"
        for c in columns
        if cells[row, c] is not None
    }
    columns = {c: _with_unit_below(column, units.get(c, "")) for c, column in columns.items()}
    for c, column in columns.items():
        unknown = column.role in {"", "other"} and column.heading and profiles[c].number > 0.5
        if unknown and column.unit is not None and ("/" in column.unit.label or column.unit.volume_ml):
            columns[c] = Column("analyte", column.heading, None, column.unit, column.unit_text)
    return Table(
        kind="wide", header=header, first=header + 1, columns=columns, special=special, realigned=realigned,
        why="analytes across, samples down",
    )  # fmt: skip


def _with_unit_below(column: Column, text: str) -> Column:
    unit = unit_or_none(text.strip()) or unit_or_none(text.strip(" ()[]"))
    if not text or (column.unit is not None and unit is None):
        return column
    return Column(column.role, column.heading, column.analyte, unit or column.unit, text)


def _wide_special_rows(cells: Cells, header: int, columns: Mapping[int, Column]) -> dict[int, str]:
    special = {}
    analytes = [c for c, column in columns.items() if column.role == "analyte"]
    for row in [r for r in range(max(0, header - 1), min(header + 5, len(cells))) if r != header]:
        kinds = kinds_of(cells[row : row + 1, analytes])[0]
        filled = int((kinds != 0).sum())
        units = int(((kinds & int(Kind.UNIT)) != 0).sum())
        with_units = int(((kinds & int(Kind.NUMBER_WITH_UNIT)) != 0).sum())
        if filled and units >= 0.5 * filled and not (kinds & int(Kind.NUMBER)).any():
            special[row] = "unit"
        elif row > header and filled and with_units >= 0.5 * filled and "unit" in special.values():
            special[row] = "reporting_limit"
    labels = [c for c, column in columns.items() if column.role not in {"analyte", "other"} and c < min(analytes)][
        :3
    ] or [0]
    first = Coded.of(cells[:, labels[0]])
    for label in labels[1:]:
        first = first.or_else(Coded.of(cells[:, label]))
    roles = first.map(lambda text: heading_role(text.rstrip(" :")) or None if isinstance(text, str) else None)
    for row in np.flatnonzero(roles.flags(lambda role: role in SPECIAL_ROWS)):
        if row > header:
            special.setdefault(int(row), roles.values[roles.codes[row]])
    return special


def _list(
    cells: Cells, header: int | None, columns: dict[int, Column], profiles: list[Profile], realigned: bool
) -> Table | str:
    named = [c for c, column in columns.items() if column.role == "result" and profiles[c].result_like > 0.3]
    if named:
        best = max(named, key=lambda c: (round(profiles[c].result_like, 1), -c))
        columns |= {c: _other_result(columns[c], profiles[c]) for c in named if c != best}
        return Table(
            kind="list", header=header, first=(header or 0) + 1, columns=columns, realigned=realigned,
            why="a result column, and no analyte named",
        )  # fmt: skip
    if header is None and _is_name_value_list(cells):
        named = {c: Column("name or value") for c in range(cells.shape[1])}
        return Table(kind="list", header=None, first=0, columns=named, why="names and results, no headings")
    return "no analyte name and no result column was found in it"


def _is_name_value_list(cells: Cells) -> bool:
    """Return whether most rows are a text and behind it one result-like cell."""
    kinds = kinds_of(cells[:PROBED_ROWS])
    filled = kinds != 0
    pairs = filled.sum(axis=1) == 2
    texts = (kinds & int(Kind.TEXT | Kind.HEADING | Kind.ANALYTE)) != 0
    results = (kinds & int(RESULT_LIKE)) != 0
    good = pairs & (texts.sum(axis=1) >= 1) & (results.sum(axis=1) == 1)
    more = filled.sum(axis=1) > 1
    return bool(len(kinds) > 3 and good.sum() >= 0.5 * more.sum() and good.sum() >= 0.3 * len(kinds))
