"""Turns the XML of an xlsx file into the marks of its sheets: errors, formulas without value, hidden and struck cells.

Most sheets hold none of these. So each part is first looked over in pieces for any sign of one; only a sheet that shows
one, or is written in an unusual way, is parsed in full (ECMA-376-1, 18.3.1: ``row``, ``col``, ``c``, ``f``, ``v``).
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
from wqcheck.sheets.reading_limits import ReadingLimits

_SIGNS = re.compile(rb"<f[ >/]|t=\"e\"|hidden=|='|\s=|=\s")
_PLAIN_START = re.compile(rb"\s*(?:\xef\xbb\xbf)?\s*(?:<\?xml[^>]*\?>\s*)?<worksheet[\s>]")
_REFERENCE = re.compile(rb'<c r="(?P<letters>[A-Z]{1,3})(?P<digits>[0-9]{1,7})"[ />]')
_EACH = re.compile(rb'<c r="([A-Z]+)([0-9]+)"')
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
        lowered: _marks_of(name, archive, part, struck, limits.cells // 8)
        for lowered, part in parts.items()
        if lowered.endswith(".xml") and not lowered.endswith(("sharedstrings.xml", "styles.xml"))
    }
    return {sheet: found.get(part.lower(), Marks()) for sheet, part in sheet_parts(archive, parts, limits).items()}


def _marks_of(name: str, archive: zipfile.ZipFile, part: str, struck: Struck, cells: int) -> Marks:
    """Return the marks of one part; most need no more than a look at each piece, and a bound of up to *cells*."""
    seen = _Plain(struck)
    for number, piece in enumerate(pieces(archive, part)):
        if number == 0 and not _PLAIN_START.match(piece):
            return _Parsed(name, part, struck).marks_of(archive)
        if not seen.takes(piece):
            return _Parsed(name, part, struck).marks_of(archive)
    bound = seen.bound()
    return bound if bound.rows * bound.columns <= cells else _exact(archive, part)


class _Plain:
    """Pieces of a sheet in which every cell begins ``<c r="A1"`` and nothing has to be marked.

    ``letters`` and ``digits`` are how many the furthest cell has in its name, ``letter`` and ``digit`` the highest
    first ones of so many: a bound that costs one search for anything beyond it per piece.
    """

    def __init__(self, struck: Struck) -> None:
        self.letters, self.letter, self.digits, self.digit = 1, b"A", 1, b"1"
        styles = b"|".join(map(str.encode, sorted(struck.styles)))
        texts = b"|".join(map(str.encode, sorted(struck.texts)))
        signs = [_SIGNS.pattern]
        signs += [rb' s="(?:' + styles + rb')"'] if styles else []
        signs += [rb"<v>(?:" + texts + rb")</v>"] if texts else []
        self._signs = re.compile(b"|".join(signs))
        self._other = self._beyond()

    def takes(self, piece: bytes) -> bool:
        """Return whether *piece* is plain; take in how far it reaches."""
        if self._signs.search(piece):
            return False
        start = 0
        while match := self._other.search(piece, start):
            reference = _REFERENCE.match(piece, match.start())
            if reference is None:
                return False
            name, number = reference["letters"], reference["digits"]
            self.letters, self.letter = max((self.letters, self.letter), (len(name), name[:1]))
            self.digits, self.digit = max((self.digits, self.digit), (len(number), number[:1]))
            self._other, start = self._beyond(), match.start()
        return True

    def bound(self) -> Marks:
        """Return marks that reach at least as far as any cell taken in."""
        rows = (int(self.digit) + 1) * 10 ** (self.digits - 1) - 1
        columns = _column(self.letter.decode() + "Z" * (self.letters - 1)) + 1
        return Marks(rows=min(rows, MOST_ROWS), columns=min(columns, MOST_COLUMNS))

    def _beyond(self) -> re.Pattern[bytes]:
        """Return what matches any cell further out than those seen, or written otherwise."""
        name = rb"(?:[A-%b][A-Z]{%d}%b)" % (self.letter, self.letters - 1, _fewer(rb"[A-Z]", self.letters))
        number = rb"(?:[1-%b][0-9]{%d}%b)" % (self.digit, self.digits - 1, _fewer(rb"[0-9]", self.digits))
        return re.compile(rb'<c(?! r="' + name + number + rb'"[ />])[\s/>]')


def _fewer(kind: bytes, count: int) -> bytes:
    return rb"|%b{1,%d}" % (kind, count - 1) if count > 1 else b""


def _exact(archive: zipfile.ZipFile, part: str) -> Marks:
    """Return how far a plain sheet reaches, each cell looked at."""
    marks = Marks()
    for piece in pieces(archive, part):
        places = _EACH.findall(piece)
        names, numbers = {name for name, _ in places}, {number for _, number in places}
        if places:
            marks.reach(max(map(int, numbers)) - 1, max(_column(name.decode()) for name in names))
    return marks


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
