"""Turns one workbook as it was read into a picture of its sheets: each cell with the part that it plays."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from html import escape

import pandas as pd

from wqcheck.findings import Finding, Severity
from wqcheck.page.spoken import count_text, later, say
from wqcheck.page.words import sentence
from wqcheck.sheets import ReadResult
from wqcheck.sheets.roles import column_name
from wqcheck.tables import Ledger, Readings, Sign

SHEET, CELL, TEXT, ROLE, REASON = Ledger.sheet, Ledger.cell, Ledger.text, Ledger.role, Ledger.reason
ROW, COLUMN, KIND, SIGN = "row", "column", "kind", "sign"
RESULT, UNREADABLE = "result", "unreadable result"
LONGEST = 160
"""Characters of a cell that are written into the picture; the whole text stands with the chosen cell."""

CELL_NAME = re.compile(r"^([A-Z]{1,3})([1-9]\d{0,6})$")
"""The name of a cell: its letters and its number."""


@dataclass(frozen=True, slots=True)
class CellKind:
    """One kind of part that cells play: its name in the page's stylesheet, its tag, what it means, and its roles."""

    name: str
    tag: str
    meaning: str
    roles: frozenset[str]


KINDS = (
    CellKind("result", later("result"), later("a result that was read"), frozenset({RESULT})),
    CellKind("unreadable", later("unread"), later("a result that could not be read"), frozenset({UNREADABLE})),
    CellKind("unused", later("not used"), later("not used: nothing says that it is a result"),
             frozenset({"not used", "other column", "other", "computed"})),
    CellKind("untested", later("no result"), later("says that there is no result"), frozenset({"not tested"})),
    CellKind("name", later("name"), later("names the parameter"), frozenset({"parameter", "cas", "fraction"})),
    CellKind("unit", later("unit"), later("unit, basis or volume"), frozenset({"unit", "basis", "volume ml"})),
    CellKind("limit", later("limit"), later("limit or verdict of the laboratory, not used"),
             frozenset({"limit", "verdict"})),
    CellKind("heading", later("heading"), later("heading or label"), frozenset({"heading", "label"})),
    CellKind("date", later("date"), later("date or time"),
             frozenset({"sampled at", "sampled time", "received at", "analysed at", "other date", "run start",
                        "run end", "best before"})),
    CellKind("where", later("sample"), later("sample, place or batch"),
             frozenset({"sample", "point", "stage", "batch", "replicate"})),
    CellKind("said", later("stated"), later("stated about the sheet or the batch"),
             frozenset({"label value", "product", "product kind", "plant", "address", "line", "tank", "containers",
                        "container codes", "volume"})),
    CellKind("how", later("method"), later("method, laboratory, sign or what it can measure"),
             frozenset({"method", "lab", "sign", "qualifier", "reporting limit", "detection limit", "uncertainty",
                        "sampled by", "bench", "dilution"})),
    CellKind("text", later("text"), later("title, remark or other text"), frozenset({"text", "remark"})),
)  # fmt: skip
"""The kinds of cells, in the order of the legend; the last one takes any role that no other kind has."""

NOT_READ = ("unreadable", "unused")
"""Kinds of cells that a person looks at first: there may be a result in them."""

_KIND_OF = {role: kind.name for kind in KINDS for role in kind.roles}
_BY_NAME = {kind.name: kind for kind in KINDS}


def picture_cells(book: ReadResult, findings: Iterable[Finding]) -> pd.DataFrame:
    """Return one row per non-empty cell of a workbook: where it is, what it says, its kind and role, and its sign.

    Parameters
    ----------
    book : ReadResult
        Not changed.
    findings : iterable of Finding
        Those of other workbooks are passed over.

    Returns
    -------
    DataFrame, shape (book.cells, 9)
        ``sheet``, ``cell``, ``text``, ``role``, ``reason``, ``row`` (1 is the first), ``column`` (0 is ``A``), ``kind``
        (a name of :data:`KINDS`) and ``sign`` (``hold``, ``note`` or blank: the gravest finding about the cell).
    """
    read = book.readings[book.readings[Readings.reported].str.strip().ne("")]
    read = read.drop_duplicates([Readings.sheet, Readings.cell])
    unread = read[Readings.sign].eq(str(Sign.UNREADABLE))
    results = pd.DataFrame(
        {
            SHEET: read[Readings.sheet].fillna(""),
            CELL: read[Readings.cell],
            TEXT: read[Readings.reported],
            ROLE: unread.map({True: UNREADABLE, False: RESULT}).astype("str"),
            REASON: unread.map({True: "no number and no word that is known as a result", False: ""}).astype("str"),
        }
    )
    ledger = book.ledger()
    others = ledger[[CELL, TEXT, ROLE, REASON]].assign(**{SHEET: ledger[SHEET].fillna("")})
    cells = pd.concat([results, others], ignore_index=True)
    places = cells[CELL].str.extract(CELL_NAME)
    numbers = {letters: column_number(letters) for letters in places[0].unique()}
    cells[ROW], cells[COLUMN] = places[1].astype("int64"), places[0].map(numbers).astype("int64")
    cells[KIND] = cells[ROLE].map(_KIND_OF).astype("str").fillna(KINDS[-1].name)
    marks = cell_findings(book.name, findings).sort_values(SIGN).drop_duplicates([SHEET, CELL])
    return cells.merge(marks[[SHEET, CELL, SIGN]], on=[SHEET, CELL], how="left").fillna({SIGN: ""})


def cell_findings(workbook: str, findings: Iterable[Finding]) -> pd.DataFrame:
    """Return the findings about single cells of a workbook: ``sheet``, ``cell``, ``sign`` and ``message``."""
    rows = []
    for finding in findings:
        sheet, _, cell = finding.where.removeprefix(f"{workbook}|").rpartition("!")
        if finding.where.startswith(f"{workbook}|") and CELL_NAME.match(cell):
            sign = "hold" if finding.severity == Severity.HOLD else "note"
            rows.append({SHEET: sheet, CELL: cell, SIGN: sign, "message": sentence(finding.message)})
    return pd.DataFrame(rows, columns=[SHEET, CELL, SIGN, "message"], dtype="str")


def kind_counts(cells: pd.DataFrame) -> dict[str, int]:
    """Count the cells of each kind, in the order of :data:`KINDS`; the counts add up to the number of rows."""
    counts = cells.groupby(KIND).size()
    return {kind.name: int(counts[kind.name]) for kind in KINDS if kind.name in counts}


def picture_rows(cells: pd.DataFrame, first: int, most: int, *, unread_only: bool) -> list[int]:
    """Return the rows of the sheet to be shown, from *first* on: all, or those with cells that were not read."""
    if unread_only:
        rows = cells.loc[cells[KIND].isin(NOT_READ), ROW].drop_duplicates().sort_values()
        return [int(row) for row in rows[rows >= first].head(most)]
    last = int(cells[ROW].max()) if len(cells) else 0
    return list(range(first, min(first + most, last + 1)))


def grid_html(cells: pd.DataFrame, rows: Sequence[int], columns: Sequence[int], caption: str) -> str:
    """Write a window of a sheet as an HTML table; each text of the sheet is escaped.

    Parameters
    ----------
    cells : DataFrame
        From :func:`picture_cells`, of one sheet.
    rows, columns : sequence of int
        The window: row numbers from 1, column numbers from 0.
    caption : str
        What the table shows, for a reader who hears it.
    """
    window = cells[cells[ROW].isin(rows) & cells[COLUMN].isin(columns)]
    keys = zip(window[ROW], window[COLUMN], strict=True)
    parts = [window[name] for name in (CELL, TEXT, KIND, ROLE, REASON, SIGN)]
    drawn = dict(zip(keys, map(_cell_html, zip(*parts, strict=True)), strict=True))
    head = "".join(f'<th scope="col">{column_name(column)}</th>' for column in columns)
    body = "".join(
        f'<tr><th scope="row">{row}</th>'
        + "".join(drawn.get((row, column), _blank_html(row, column)) for column in columns)
        + "</tr>"
        for row in rows
    )
    return (
        f'<table role="grid" aria-label="{escape(caption)}"><thead><tr><td></td>{head}</tr></thead>'
        f"<tbody>{body}</tbody></table>"
    )


def legend_html(counts: Mapping[str, int], signs: Mapping[str, int]) -> str:
    """Write the legend: each kind with its pattern, its tag, its meaning and how many cells are of it."""
    entries = "".join(
        f'<li><span class="swatch {name}"><b>{escape(say(_BY_NAME[name].tag))}</b></span> '
        f"{escape(say(_BY_NAME[name].meaning))}: <strong>{count_text(number)}</strong></li>"
        for name, number in counts.items()
    )
    meanings = {"hold": say("a finding that holds the batch"), "note": say("a finding to know")}
    entries += "".join(
        f'<li><span class="swatch"><i>{SIGNS[name]}</i></span> {escape(meanings[name])}: '
        f"<strong>{count_text(number)}</strong></li>"
        for name, number in signs.items()
    )
    total = say("Together {number} cells with content.", number=count_text(sum(counts.values())))
    return f'<ul class="legend">{entries}</ul><p class="total">{escape(total)}</p>'


SIGNS = {"hold": "▲!", "note": "△"}
"""What stands in a cell that a finding is about."""


def _cell_html(parts: tuple[str, str, str, str, str, str]) -> str:
    """Write one cell: its text, the tag of its kind, its sign; what it is stands in its title and for who hears it."""
    cell, text, kind, role, reason, sign = parts
    shown = text if len(text) <= LONGEST else text[:LONGEST] + "…"
    about = f"{cell}, {say(_BY_NAME[kind].tag)} ({role}): {shown}" + (f". {reason}" if reason else "")
    about += f". {say('A finding is about this cell')}" if sign else ""
    mark = f'<i aria-hidden="true">{SIGNS[sign]}</i>' if sign else ""
    return (
        f'<td class="{kind}" data-cell="{cell}" tabindex="-1" title="{escape(about)}" aria-label="{escape(about)}">'
        f"<b>{escape(say(_BY_NAME[kind].tag))}</b>{mark}<span>{escape(shown)}</span></td>"
    )


def _blank_html(row: int, column: int) -> str:
    name = f"{column_name(column)}{row}"
    return f'<td tabindex="-1" aria-label="{name}, {escape(say("blank"))}"></td>'


def column_number(letters: str) -> int:
    """Return the number of a column: 0 for ``A``."""
    number = 0
    for letter in letters:
        number = 26 * number + ord(letter) - 64
    return number - 1
