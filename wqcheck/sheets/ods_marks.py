"""Turns the XML of an ods file into marks of its sheets: errors, formulas without value, what is hidden or said.

OpenDocument 1.3 part 3, 9.1 (tables, repeated rows and columns), 14.1 (``office:annotation``), ``office:value-type``
and ``style:text-line-through-style`` (numbers of clauses from memory). The text of a cell is what its format shows.
"""

from __future__ import annotations

import zipfile
from dataclasses import dataclass, field
from xml.parsers import expat

from wqcheck.errors import WorkbookError
from wqcheck.sheets.marks import Marks
from wqcheck.sheets.number_formats import text_besides
from wqcheck.sheets.ooxml_parts import DECLARES_ENTITIES

_PART = "content.xml"
_HIDDEN = frozenset(["collapse", "filter"])
_MOST_TEXTS = 100_000


@dataclass(slots=True, eq=False)
class _Sheets:
    """The sheets met so far and the place in the one that is open."""

    book: str
    found: dict[str, Marks] = field(default_factory=dict)
    marks: Marks = field(default_factory=Marks)
    row: int = 0
    column: int = 0
    rows_alike: int = 1
    cells_alike: int = 1
    across: int = 0
    odd: str = ""
    text: list[str] = field(default_factory=list)
    value: float | None = None
    note: list[str] | None = None
    said: str = ""
    in_text: bool = False
    in_cell: bool = False
    filled: bool = False
    style: str = ""
    cell_style: str = ""
    struck: set[str] = field(default_factory=set)

    def start(self, tag: str, given: dict[str, str]) -> None:
        """Take in the start of an element."""
        if tag == "table:table":
            self.marks = self.found.setdefault(given.get("table:name", ""), Marks())
            self.row = self.across = 0
        elif tag == "table:table-column":
            alike = _count(given, "table:number-columns-repeated")
            if given.get("table:visibility") in _HIDDEN and alike < 16_384:
                self.marks.hidden_columns.update(range(self.across, self.across + alike))
            self.across += alike
        elif tag == "table:table-row":
            self.column, self.rows_alike = 0, _count(given, "table:number-rows-repeated")
            if given.get("table:visibility") in _HIDDEN and self.rows_alike < _MOST_TEXTS:
                self.marks.hidden_rows.update(range(self.row, self.row + self.rows_alike))
                self.marks.filtered |= given["table:visibility"] == "filter"
        elif tag in {"table:table-cell", "table:covered-table-cell"}:
            self._cell(given)
        elif self.in_cell:
            self._inside(tag)
        else:
            self._look(tag, given)

    def _inside(self, tag: str) -> None:
        if tag == "office:annotation":
            self.note = []
        elif tag == "text:p":
            self.in_text = True
            self.filled |= self.note is None

    def _look(self, tag: str, given: dict[str, str]) -> None:
        if tag == "style:style":
            self.style = given.get("style:name", "") if given.get("style:family") == "table-cell" else ""
        elif tag == "style:text-properties" and given.get("style:text-line-through-style", "none") != "none":
            self.struck.add(self.style)

    def _cell(self, given: dict[str, str]) -> None:
        self.in_cell, self.text, self.cell_style = True, [], given.get("table:style-name", "")
        self.said, self.value = "", _number(given)
        self.cells_alike = _count(given, "table:number-columns-repeated")
        formula, kind = given.get("table:formula", ""), given.get("office:value-type", "")
        self.filled = bool(kind or formula)
        self.odd = "error" if given.get("calcext:value-type") == "error" else ""
        if formula and not kind:
            self.odd = "=" + formula.partition(":=")[2]

    def characters(self, text: str) -> None:
        """Take in text."""
        if self.in_text:
            (self.text if self.note is None else self.note).append(text)

    def end(self, tag: str) -> None:
        """Take in the end of an element."""
        if tag == "text:p":
            self.in_text = False
            if self.note is not None:
                self.note.append(" ")
        elif tag == "office:annotation" and self.note is not None:
            self.said, self.note = " ".join("".join(self.note).split()), None
        elif tag in {"table:table-cell", "table:covered-table-cell"}:
            self._keep()
            self.column += self.cells_alike
            self.in_cell = False
        elif tag == "table:table-row":
            self.row += self.rows_alike

    def _keep(self) -> None:
        if not self.filled:
            return
        self.marks.reach(self.row + self.rows_alike - 1, self.column + self.cells_alike - 1)
        shown = "".join(self.text).strip()
        odd = shown if shown.startswith("#") and self.odd == "error" else (shown or self.odd if self.odd else "")
        if self.rows_alike * self.cells_alike > _MOST_TEXTS:
            return
        places = [(self.row + r, self.column + c) for r in range(self.rows_alike) for c in range(self.cells_alike)]
        if odd:
            self.marks.texts.update(dict.fromkeys(places, odd))
        if self.cell_style and self.cell_style in self.struck:
            self.marks.struck.update(places)
        if self.said:
            self.marks.comments.update(dict.fromkeys(places, self.said))
        if text_besides(shown, self.value)[0]:
            self.marks.shown.update(dict.fromkeys(places, shown))

    def refuse(self, *_: object) -> None:
        """Refuse a file that declares entities."""
        raise WorkbookError(DECLARES_ENTITIES.format(self.book, _PART))


def ods_marks(name: str, archive: zipfile.ZipFile) -> dict[str, Marks]:
    """Return the marks of each sheet of an ods file by its name."""
    sheets = _Sheets(name)
    parser = expat.ParserCreate()
    parser.buffer_text = True
    parser.StartElementHandler, parser.EndElementHandler = sheets.start, sheets.end
    parser.CharacterDataHandler, parser.EntityDeclHandler = sheets.characters, sheets.refuse
    with archive.open(_PART) as stream:
        while piece := stream.read(1 << 20):
            _feed(parser, piece, False)
        _feed(parser, b"", True)
    return sheets.found


def _feed(parser: expat.XMLParserType, piece: bytes, last: bool) -> None:
    try:
        parser.Parse(piece, last)
    except (expat.ExpatError, LookupError) as problem:
        raise ValueError(f"its part {_PART!r} is no sound XML: {problem}") from problem


def _number(given: dict[str, str]) -> float | None:
    """Return the number of a cell, None where it holds none (a percentage and a sum of money are numbers)."""
    if given.get("office:value-type") not in {"float", "percentage", "currency"}:
        return None
    try:
        return float(given.get("office:value", ""))
    except ValueError:
        return None


def _count(given: dict[str, str], name: str) -> int:
    text = given.get(name, "1")
    return int(text) if text.isdecimal() and len(text) < 9 else 1
