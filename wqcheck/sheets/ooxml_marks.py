"""Turns the XML of an xlsx file into the marks of its sheets: errors, formulas without value, hidden and struck cells.

Most sheets hold none of these. So the bytes of each part are first looked over for any sign of one; only a sheet that
shows one, or is written in an unusual way, is parsed in full. Its elements ``row``, ``col``, ``c``, ``f`` and ``v`` are
those of ECMA-376-1, 18.3.1 (from memory).
"""

from __future__ import annotations

import re
import zipfile
from dataclasses import dataclass, field
from xml.parsers import expat

from wqcheck.errors import WorkbookError
from wqcheck.sheets.archives import pieces
from wqcheck.sheets.marks import MOST_COLUMNS, MOST_ROWS, Marks, outside
from wqcheck.sheets.ooxml_parts import DECLARED, DECLARES_ENTITIES, Struck, sheet_parts, struck_through
from wqcheck.sheets.plain_pieces import PlainPieces
from wqcheck.sheets.reading_limits import ReadingLimits

_PLAIN_START = re.compile(rb"\s*(?:\xef\xbb\xbf)?\s*(?:<\?xml[^>]*\?>\s*)?<worksheet[\s>]")
_NAME = re.compile(r"(?P<letters>[A-Za-z]{1,3})(?P<digits>[0-9]{1,18})")
_TRUE = frozenset(["1", "true", "on"])


def ooxml_marks(name: str, archive: zipfile.ZipFile, limits: ReadingLimits) -> dict[str, Marks]:
    """Return the marks of each sheet of an xlsx file by its name, in the order of the workbook.

    Raises
    ------
    WorkbookError
        A part declares entities, is larger than allowed, or a cell stands outside of any sheet.
    """
    parts = {part.lower(): part for part in archive.namelist()}
    for part in (part for lowered, part in parts.items() if lowered.endswith(".xml")):
        with archive.open(part) as stream:
            if DECLARED.search(stream.read(4096)):
                raise WorkbookError(DECLARES_ENTITIES.format(name, part))
    struck = struck_through(archive, parts, limits)
    found = {
        lowered: _marks_of(name, archive, part, struck)
        for lowered, part in parts.items()
        if lowered.endswith(".xml") and not lowered.endswith(("sharedstrings.xml", "styles.xml"))
    }
    return {sheet: found.get(part.lower(), Marks()) for sheet, part in sheet_parts(archive, parts, limits).items()}


def _marks_of(name: str, archive: zipfile.ZipFile, part: str, struck: Struck) -> Marks:
    """Return the marks of one part; most need no more than a look at the bytes of each piece."""
    seen = PlainPieces(struck)
    for number, piece in enumerate(pieces(archive, part)):
        if (number == 0 and not _PLAIN_START.match(piece)) or not seen.takes(piece):
            break
    else:
        if seen.marks.rows <= MOST_ROWS and seen.marks.columns <= MOST_COLUMNS:
            return seen.marks
    return _Parsed(name, part, struck).marks_of(archive)


@dataclass(slots=True, eq=False)
class _Parsed:
    """One sheet parsed in full."""

    book: str
    part: str
    struck: Struck
    marks: Marks = field(default_factory=Marks)
    _row: int = -1
    _column: int = -1
    _error: bool = False
    _style: str = ""
    _shared: bool = False
    _formula: str | None = None
    _value: str = ""
    _text: list[str] = field(default_factory=list)
    _inside: bool = False

    def marks_of(self, archive: zipfile.ZipFile) -> Marks:
        """Return what the part says; a part that is no worksheet says nothing."""
        parser = expat.ParserCreate(namespace_separator=" ")
        parser.buffer_text = True
        parser.StartElementHandler, parser.EndElementHandler = self._start, self._end
        parser.CharacterDataHandler = self._characters
        parser.EntityDeclHandler = self._refuse
        try:
            with archive.open(self.part) as stream:
                while piece := stream.read(1 << 20):
                    parser.Parse(piece, False)
                parser.Parse(b"", True)
        except expat.ExpatError as problem:
            raise WorkbookError(
                f"{self.book} is damaged: its part {self.part!r} is no sound XML ({problem}), so it has contents that "
                "no reader understands; ask for the results again, or open the file in a spreadsheet program and save "
                "it as .xlsx or .csv"
            ) from problem
        return self.marks

    def _refuse(self, *_: object) -> None:
        raise WorkbookError(DECLARES_ENTITIES.format(self.book, self.part))

    def _outside(self, given: str) -> None:
        raise WorkbookError(outside(self.book, self.part, given))

    def _start(self, tag: str, given: dict[str, str]) -> None:
        local = tag.rpartition(" ")[2]
        if local == "c":
            self._cell(given)
        elif local in {"v", "f"}:
            self._inside, self._text = True, []
        elif local == "row":
            self._row = int(given["r"]) - 1 if given.get("r", "").isdecimal() else self._row + 1
            self._column = -1
            if given.get("hidden") in _TRUE:
                self.marks.hidden_rows.add(self._row)
        elif local == "col" and given.get("hidden") in _TRUE:
            first, last = (int(given.get(end, "0")) for end in ("min", "max"))
            self.marks.hidden_columns.update(range(first - 1, min(last, MOST_COLUMNS)))
        elif local == "filterColumn":
            self.marks.filtered = True

    def _cell(self, given: dict[str, str]) -> None:
        name = given.get("r", "")
        place = _NAME.fullmatch(name)
        if name and place is None:
            self._outside(name)
        self._column += 1
        if place is not None:
            self._row, self._column = int(place["digits"]) - 1, _column(place["letters"])
        self._error, self._shared = given.get("t") == "e", given.get("t") == "s"
        self._style, self._formula, self._value = given.get("s", ""), None, ""

    def _characters(self, text: str) -> None:
        if self._inside:
            self._text.append(text)

    def _end(self, tag: str) -> None:
        local = tag.rpartition(" ")[2]
        if local == "v":
            self._inside, self._value = False, "".join(self._text)
        elif local == "f":
            self._inside, self._formula = False, "".join(self._text)
        elif local == "is":
            self._value = "text"
        elif local == "c":
            self._keep()

    def _keep(self) -> None:
        place, value = (self._row, self._column), self._value.strip()
        if not value and self._formula is None:
            return
        if not (0 <= self._row < MOST_ROWS and 0 <= self._column < MOST_COLUMNS):
            self._outside(f"row {self._row + 1}, column {self._column + 1}")
        self.marks.reach(*place)
        if self._error:
            self.marks.texts[place] = value or "#ERROR"
        elif not value:
            self.marks.texts[place] = f"={self._formula}"
        if self._style in self.struck.styles or (self._shared and value in self.struck.texts):
            self.marks.struck.add(place)


def _column(letters: str) -> int:
    number = 0
    for letter in letters.upper():
        number = number * 26 + ord(letter) - 64
    return number - 1
