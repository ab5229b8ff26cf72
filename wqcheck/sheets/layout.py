"""Turns the cells of one sheet into the layout of its table: where the headings stand and what each column is.

Three layouts and a remainder are told apart by content, not by file:

- ``long``: a column of analyte names and a result column; one result per row.
- ``crosstab``: a column of analyte names, samples or points across.
- ``wide``: analyte names across, one sample per row.
- ``list``: a result column with a heading, or numbers behind names, and no analyte named anywhere.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace

from wqcheck.parameters import normalise
from wqcheck.results import sign_of
from wqcheck.sheets.analytes_across import analytes_across
from wqcheck.sheets.analytes_down import analytes_down, other_result
from wqcheck.sheets.content import RESULT_LIKE, Kind, Profile, kinds_of
from wqcheck.sheets.grid import Cells
from wqcheck.sheets.grouped_samples import row_of_parts
from wqcheck.sheets.headers import PROBED_ROWS, best_header, probe_of
from wqcheck.sheets.shown_columns import by_their_cells
from wqcheck.sheets.subheadings import join_headings, places_below
from wqcheck.sheets.table import IDENTITY, Column, Table, read_heading, without_mere_numbers
from wqcheck.sheets.verdict_words import with_verdicts

NOTHING: Mapping[int, Column] = {}

_OPERATOR, _PERSON = re.compile(r"op[ée]rat|operad|bediener"), re.compile(r"[^\W\d_][\w. '-]+")
_FLAG = re.compile(r"[A-Z]{1,2}|-+")
_SIGNS = frozenset(["<", ">", "=", "≤", "≥", "<=", ">=", "˂", "˃", "＜", "＞"])


def find_table(cells: Cells, header: int | None = None, told: Mapping[int, Column] = NOTHING) -> Table | str:
    """Return the layout of the table in *cells* (rows × columns), or one sentence why there is none.

    *header* is the row of headings and *told* are columns where a user said what they are; the rest is found.
    """
    if not cells.size:
        return "the sheet has no cell with content"
    probe = probe_of(cells)
    header = row_of_parts(cells, best_header(probe)) if header is None else header
    profiles = probe.profiles(-1 if header is None else header)
    columns, realigned = _columns(cells, header, profiles)
    columns |= told
    named = next((c for c, column in told.items() if column.role == "parameter"), None)
    below = cells if header is None else cells[header + 1 :]
    analytes = _analyte_column(columns, profiles, below) if named is None else named
    extra = dict[int, str]()
    if header is not None and analytes is None:
        columns, extra = join_headings(cells, header, columns, profiles)
        columns, places = places_below(cells, header, columns | dict(told), profiles)
        extra |= places
    across = [c for c, column in columns.items() if column.analyte is not None and column.role != "verdict"]
    if analytes is not None and (analytes == named or _names_rows(columns[analytes].role, profiles[analytes], across)):
        return analytes_down(cells, probe, header, columns, profiles, analytes)
    if across and header is not None:
        columns = {
            c: replace(column, role="sample") if column.role == "parameter" else column for c, column in columns.items()
        }
        return replace(analytes_across(cells, header, columns, profiles, extra), realigned=realigned)
    return _list(cells, header, columns, profiles, realigned)


def _names_rows(role: str, content: Profile, across: Sequence[int]) -> bool:
    """Return whether the column that names analytes says what the rows are, although headings may name some too."""
    if role in {"parameter", "cas"}:
        return len(across) < 2 or content.analyte >= 0.5
    return not across or (len(across) == 1 and content.analyte >= 0.8 and content.distinct > 2)


def _columns(cells: Cells, header: int | None, profiles: list[Profile]) -> tuple[dict[int, Column], bool]:
    width = cells.shape[1]
    if header is None:
        return _with_signs(cells, {c: Column("") for c in range(width) if profiles[c].filled}), False
    headings = {c: str(cells[header, c]).strip() for c in range(width) if cells[header, c] is not None}
    moved = _realigned(headings, profiles)
    headings = moved or headings
    columns = {c: Column("") for c in range(width) if profiles[c].filled}
    columns |= {c: read_heading(text) for c, text in headings.items()}
    below = cells[header + 1 :]
    columns = with_verdicts(below, _with_signs(below, without_mere_numbers(columns)))
    return by_their_cells(below, columns, profiles), bool(moved)


def _with_signs(cells: Cells, columns: dict[int, Column]) -> dict[int, Column]:
    """Give the role of a sign column to each column of *cells* that holds nothing but signs, whatever its heading."""
    signs = {c for c, column in columns.items() if column.analyte is None and _only_signs(cells[:, c])}
    found = {c: replace(column, role="sign") if c in signs else column for c, column in columns.items()}
    people = {c for c, column in found.items() if column.role == "sign" and _names_people(column, cells[:, c])}
    return {c: replace(column, role="bench") if c in people else column for c, column in found.items()}


def _names_people(column: Column, cells: Cells) -> bool:
    """Return whether a column headed *Operator* holds names or initials of persons and no sign."""
    filled = {str(cell).strip() for cell in cells if cell is not None}
    return (
        _OPERATOR.match(normalise(column.heading)) is not None
        and bool(filled)
        and all(_PERSON.fullmatch(text) is not None and sign_of(text) is None for text in filled)
    )


def _only_signs(column: Cells) -> bool:
    """Return whether *column* holds nothing but signs; most columns show at their first cells that they do not."""
    filled = (str(cell) for cell in column if cell)
    first = next(filled, None)
    return first in _SIGNS and all(sign in _SIGNS for sign in filled)


def _realigned(headings: Mapping[int, str], profiles: list[Profile]) -> dict[int, str] | None:
    """Map headings to data columns in order where they plainly do not stand above one another."""
    most = max((p.filled for p in profiles), default=0)
    data = [c for c, p in enumerate(profiles) if p.filled >= max(1, most // 2)]
    together = len(set(headings) & set(data))
    if len(headings) < 3 or len(headings) != len(data) or together > 0.7 * len(data):
        return None
    return dict(zip(data, (headings[c] for c in sorted(headings)), strict=True))


def _analyte_column(columns: Mapping[int, Column], profiles: list[Profile], cells: Cells) -> int | None:
    """Return the column whose cells, of the rows below the headings, name analytes, headed so or not."""
    fullest = max((content.filled for content in profiles), default=0)

    def strength(column: int) -> float:
        role = columns[column].role
        filled = 0.5 + 0.5 * profiles[column].filled / max(fullest, 1)
        if role in {"parameter", "cas"}:
            own = (1.0 if role == "parameter" else 0.5) if profiles[column].analyte >= 0.05 else 0.0
            return (profiles[column].analyte + own) * filled
        usable = columns[column].analyte is None and role in {"", "other", "result", *IDENTITY}
        usable &= profiles[column].number < 0.3
        enough = profiles[column].analyte >= (0.7 if role in IDENTITY else 0.5)
        if not usable or not enough or profiles[column].distinct < 2 or _only_flags(cells[:, column]):
            return 0.0
        return profiles[column].analyte * filled

    best = max(columns, key=strength, default=None)
    if best is None or strength(best) == 0:
        return None
    headed = columns[best].role in {"parameter", "cas"}
    return best if profiles[best].analyte >= (0.05 if headed else 0.5) else None


def _only_flags(column: Cells) -> bool:
    """Return whether all texts of *column* are one or two capitals: flags (``ND``, ``BA``), not symbols of elements."""
    return all(isinstance(cell, str) and _FLAG.fullmatch(cell.strip()) for cell in column if cell is not None)


def _list(
    cells: Cells, header: int | None, columns: dict[int, Column], profiles: list[Profile], realigned: bool
) -> Table | str:
    named = [c for c, column in columns.items() if column.role == "result" and profiles[c].result_like > 0.3]
    if named:
        best = max(named, key=lambda c: (round(profiles[c].result_like, 1), -c))
        columns |= {c: other_result(columns[c], profiles[c]) for c in named if c != best}
        return Table(
            kind="list", header=header, first=(header or 0) + 1, columns=columns, realigned=realigned,
            why="a result column, and no analyte named",
        )  # fmt: skip
    if header is None and _is_name_value_list(cells):
        columns = {c: Column("name or value") for c in range(cells.shape[1])}
        return Table(kind="list", header=None, first=0, columns=columns, why="names and results, no headings")
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
