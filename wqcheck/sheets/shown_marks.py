"""Turns an xlsx file into what is shown beside or instead of the values of its sheets: comments and number formats.

Comments are ECMA-376-1, 18.7 (``comment``) and the threaded ones of later programs; formats 18.8.30 (``numFmt``) and
18.8.45 (``xf``). A sheet is looked through only where a style in use could show something else than the value.
"""

from __future__ import annotations

import posixpath
import re
import zipfile
from collections.abc import Iterable, Mapping

from wqcheck.sheets.archives import pieces
from wqcheck.sheets.marks import Marks, Place
from wqcheck.sheets.number_formats import may_differ
from wqcheck.sheets.ooxml_parts import parsed_part, sheet_parts
from wqcheck.sheets.reading_limits import ReadingLimits

_BUILT_IN = {"9": "0%", "10": "0.00%"}
"""Formats that a file need not state and that show another number than the value (ECMA-376-1, 18.8.30)."""

_CELL = re.compile(rb"<(?:\w+:)?c\s[^>]*>")
_REFERENCE = re.compile(rb'\sr="([A-Z]{1,3})([0-9]{1,7})"')
_STYLE = re.compile(rb'\ss="([0-9]+)"')


def add_shown_marks(archive: zipfile.ZipFile, limits: ReadingLimits, found: Mapping[str, Marks]) -> None:
    """Write the comments and telling number formats of each sheet into its marks (*found*, by name of sheet)."""
    parts = {part.lower(): part for part in archive.namelist()}
    commented = any("comment" in part for part in parts)
    odd = _odd_styles(archive, parts, limits)
    if not commented and not odd:
        return
    for name, path in sheet_parts(archive, parts, limits).items():
        part = parts.get(path.lower())
        if part is None or name not in found:
            continue
        if commented:
            found[name].comments.update(_comments(archive, parts, part, limits))
        if odd:
            found[name].formats.update(_formatted(archive, part, odd))


def _odd_styles(archive: zipfile.ZipFile, parts: Mapping[str, str], limits: ReadingLimits) -> dict[bytes, str]:
    """Return, by number of the cell style, each format that could show something else than the value."""
    part = parts.get("xl/styles.xml")
    if part is None:
        return {}
    root = parsed_part(archive, part, limits)
    codes = dict(_BUILT_IN)
    codes |= {form.get("numFmtId", ""): form.get("formatCode", "") for form in root.iterfind("numFmts/numFmt")}
    odd = {number: code for number, code in codes.items() if may_differ(code)}
    styles = enumerate(root.iterfind("cellXfs/xf"))
    return {str(place).encode(): odd[number] for place, form in styles if (number := form.get("numFmtId", "")) in odd}


def _formatted(archive: zipfile.ZipFile, part: str, odd: Mapping[bytes, str]) -> Iterable[tuple[Place, str]]:
    for piece in pieces(archive, part):
        for tag in _CELL.findall(piece):
            style, place = _STYLE.search(tag), _REFERENCE.search(tag)
            if style is not None and place is not None and style[1] in odd:
                yield _place(place[1].decode(), int(place[2])), odd[style[1]]


def _comments(
    archive: zipfile.ZipFile, parts: Mapping[str, str], sheet: str, limits: ReadingLimits
) -> dict[Place, str]:
    """Return the text of the comments on the cells of one sheet, all that stand on one cell in one text."""
    folder, name = posixpath.split(sheet)
    relations = parts.get(f"{folder}/_rels/{name}.rels".lower())
    texts: dict[Place, list[str]] = {}
    for relation in parsed_part(archive, relations, limits) if relations else ():
        target = posixpath.normpath(posixpath.join("/", folder, relation.get("Target", ""))).lstrip("/")
        part = parts.get(target.lower())
        if part is None or not relation.get("Type", "").lower().endswith(("/comments", "/threadedcomment")):
            continue
        root = parsed_part(archive, part, limits)
        for comment in (*root.iter("comment"), *root.iter("threadedComment")):
            place = re.fullmatch("([A-Z]{1,3})([0-9]{1,7})", comment.get("ref", ""))
            text = " ".join("".join(comment.itertext()).split())
            if place is not None and text:
                texts.setdefault(_place(place[1], int(place[2])), []).append(text)
    return {place: " / ".join(dict.fromkeys(given)) for place, given in texts.items()}


def _place(letters: str, row: int) -> Place:
    column = 0
    for letter in letters:
        column = column * 26 + ord(letter) - 64
    return row - 1, column - 1
