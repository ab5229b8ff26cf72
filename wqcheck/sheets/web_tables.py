"""Turns a web page or XML spreadsheet, as laboratory systems save them under the name .xls, into sheets of cells.

Rows and cells are taken from ``tr``, ``td`` and ``th`` (HTML Living Standard, 4.9, from memory), or from ``Row`` and
``Cell`` of the XML spreadsheet form of 2003, whose ``Worksheet`` names the sheet; cells that span several are filled
in at their first place. Comments and struck text (``Comment``; ``s``, ``strike``, ``del``) become marks of their cell.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html.parser import HTMLParser
from itertools import count

from wqcheck.errors import WorkbookError
from wqcheck.sheets.delimited import decode, too_large
from wqcheck.sheets.grid import Book, sheet_of
from wqcheck.sheets.marks import Marks
from wqcheck.sheets.reading_limits import ReadingLimits

STARTS = (b"<!doctype", b"<html", b"<table", b"<?xml", b"<head", b"<body", b"<meta", b"<workbook")
_CELLS, _SKIPPED = frozenset(["td", "th", "cell"]), frozenset(["script", "style"])
_STRUCK = frozenset(["s", "strike", "del"])
_MOST_SPANNED = 1_000


class _Tables(HTMLParser):
    """The tables of a page: rows of texts, cells spanned by another left blank."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.tables: list[list[dict[int, str]]] = []
        self.names: list[str] = []
        self.marks: list[Marks] = []
        self.declared = False
        self._name = ""
        self._taken: dict[int, set[int]] = {}
        self._row = -1
        self._column = 0
        self._text: list[str] | None = None
        self._said: list[str] | None = None
        self._place = (0, 0)
        self._skipping = 0

    def handle_decl(self, decl: str) -> None:
        self.declared |= "entity" in decl.lower()

    def unknown_decl(self, data: str) -> None:
        self.handle_data(data.partition("[")[2] if data.upper().startswith("CDATA[") else "")

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        local, given = tag.rpartition(":")[2], {name.rpartition(":")[2]: value or "" for name, value in attrs}
        if local == "worksheet":
            self._name = given.get("name", "")
        elif local == "table" or (local == "tr" and not self.tables):
            self._close_cell()
            self.tables.append([])
            self.names.append(self._name)
            self.marks.append(Marks())
            self._name = ""
            self._taken, self._row = {}, -1
        if local in {"tr", "row"} and self.tables:
            self._close_cell()
            index = _whole(given, "index") if local == "row" else 0
            self._row, self._column = max(index - 1, self._row + 1), 0
        elif local in _CELLS and self._row >= 0:
            self._close_cell()
            self._open_cell(given)
        elif local == "br" and self._text is not None:
            self._text.append(" ")
        elif local == "comment" and self._text is not None:
            self._said = []
        elif local in _STRUCK and self._text is not None:
            self.marks[-1].struck.add(self._place)
        self._skipping += local in _SKIPPED

    def handle_endtag(self, tag: str) -> None:
        local = tag.rpartition(":")[2]
        self._skipping = max(0, self._skipping - (local in _SKIPPED))
        if local in {*_CELLS, "tr", "row", "table"}:
            self._close_cell()
        elif local == "comment" and self._said is not None and self._text is not None:
            said, self._said = " ".join("".join(self._said).split()), None
            self.marks[-1].comments |= {self._place: said} if said else {}

    def handle_data(self, data: str) -> None:
        if self._text is not None and not self._skipping:
            (self._text if self._said is None else self._said).append(data)

    def close(self) -> None:
        super().close()
        self._close_cell()

    def _open_cell(self, given: Mapping[str, str]) -> None:
        taken = self._taken.setdefault(self._row, set())
        self._column = max(_whole(given, "index") - 1, self._column)
        while self._column in taken:
            self._column += 1
        across = max(_whole(given, "colspan"), _whole(given, "mergeacross") + 1, 1)
        down = max(_whole(given, "rowspan"), _whole(given, "mergedown") + 1, 1)
        for row in range(self._row + 1, self._row + min(down, _MOST_SPANNED)):
            self._taken.setdefault(row, set()).update(range(self._column, self._column + min(across, _MOST_SPANNED)))
        self._place, self._text = (self._row, self._column), []
        self._column += min(across, _MOST_SPANNED)

    def _close_cell(self) -> None:
        if self._text is None or not self.tables:
            return
        rows = self.tables[-1]
        text, self._text, self._said = " ".join("".join(self._text).split()), None, None
        if text:
            rows.extend({} for _ in range(min(self._place[0] + 1 - len(rows), 1_048_576)))
            rows[self._place[0]][self._place[1]] = text


def _names(given: Sequence[str]) -> list[str]:
    """Return a name for each table: that of its worksheet, else, or where an earlier one has it, its number."""
    names: list[str] = []
    for number, name in enumerate(given, start=1):
        taken = {*names, *given[number:]}
        free = (f"Table {n}" for n in count(number) if f"Table {n}" not in taken)
        names.append(name if name and name not in names else next(free))
    return names


def _whole(given: Mapping[str, str], name: str) -> int:
    text = given.get(name, "").strip()
    return int(text) if text.isascii() and text.isdecimal() and len(text) <= 6 else 0


def web_book(name: str, data: bytes, sha256: str, limits: ReadingLimits) -> Book:
    """Return one sheet for each table of the page.

    Raises
    ------
    WorkbookError
        It holds no table, or is larger than *limits* allow.
    """
    if len(data) > limits.web_page_bytes:
        raise WorkbookError(too_large(name, len(data), limits.web_page_bytes))
    page = _Tables()
    page.feed(decode(name, data)[0])
    page.close()
    kind = "an XML file" if data.lstrip(b"\xef\xbb\xbf \r\n\t").startswith(b"<?xml") else "a web page"
    kept = [number for number, rows in enumerate(page.tables) if any(rows)]
    tables, names = [page.tables[number] for number in kept], _names([page.names[number] for number in kept])
    if not tables or page.declared:
        raise WorkbookError(
            f"{name} is {kind} without a table of results; ask for the results as .xlsx, .ods or .csv, or save them so"
        )
    widths = [max((max(row, default=-1) + 1 for row in rows), default=0) for rows in tables]
    if max(widths) > limits.columns:
        raise WorkbookError(
            f"{name} has a table of {max(widths):,} columns and {limits.columns:,} are allowed; check that one row of "
            "results is one row of the table, or raise the limit"
        )
    cells = sum(len(rows) * width for rows, width in zip(tables, widths, strict=True))
    if cells > limits.cells or len(tables) > limits.sheets:
        raise WorkbookError(
            f"{name} reaches over {cells:,} cells in {len(tables):,} tables; {limits.cells:,} cells in "
            f"{limits.sheets:,} tables are allowed: share it out over several files, or raise the limit"
        )
    sheets = tuple(
        sheet_of(name, ([row.get(c) for c in range(width)] for row in rows), width, marks=page.marks[number])
        for number, name, rows, width in zip(kept, names, tables, widths, strict=True)
    )
    return Book(name, sha256, sheets, (f"read as the tables of {kind}, whatever its name",))
