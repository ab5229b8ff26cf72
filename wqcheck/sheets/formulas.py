"""Turns the cells of an xlsx file that hold an error, or a formula without its value, into texts: none reads blank."""

from __future__ import annotations

import io
import posixpath
import re
import zipfile
from functools import reduce
from html import unescape
from xml.etree import ElementTree

_FORMULA = rb"(?:<f[^>]*/>|<f[^>]*>(?P<formula>[^<]*)</f>)"
_CELL = re.compile(
    rb'<c\s[^>]*?\br="(?P<letters>[A-Z]+)(?P<number>[0-9]+)"(?:[^>]*\bt="e"[^>]*>\s*(?:'
    + _FORMULA.replace(b"?P<formula>", b"")
    + rb")?\s*<v>(?P<error>[^<]*)</v>|[^>]*>\s*"
    + _FORMULA
    + rb"\s*(?:<v\s*/>|<v>\s*</v>)?\s*</c>)"
)
_RELATION = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"


def cells_without_value(data: bytes) -> dict[str, dict[tuple[int, int], str]]:
    """Return, per sheet, row and column (from 0) of an xlsx file, the errors and the formulas without value.

    Programs that only write files leave a formula without its value; a spreadsheet program adds it when it saves.
    """
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        if "xl/workbook.xml" not in archive.namelist():
            return {}
        return {sheet: _without_value(archive.read(part)) for sheet, part in _sheet_parts(archive).items()}


def _without_value(sheet: bytes) -> dict[tuple[int, int], str]:
    possible = b"<f" in sheet or b't="e"' in sheet
    return {
        (int(match["number"]) - 1, _column(match["letters"])): unescape((match["error"] or _formula(match)).decode())
        for match in (_CELL.finditer(sheet) if possible else ())
    }


def _formula(match: re.Match[bytes]) -> bytes:
    return b"=" + (match["formula"] or b"")


def _column(letters: bytes) -> int:
    return reduce(lambda number, letter: number * 26 + letter - 64, letters, 0) - 1


def _sheet_parts(archive: zipfile.ZipFile) -> dict[str, str]:
    """Return the path in the archive of each sheet by its name."""
    relations = ElementTree.fromstring(archive.read("xl/_rels/workbook.xml.rels"))
    targets = {relation.get("Id"): relation.get("Target", "") for relation in relations}
    book = ElementTree.fromstring(archive.read("xl/workbook.xml"))
    sheets = [element for element in book.iter() if element.tag.endswith("}sheet")]
    paths = {sheet.get("name", ""): targets.get(sheet.get(_RELATION), "") for sheet in sheets}
    parts = {name: posixpath.normpath(posixpath.join("/xl", path)).lstrip("/") for name, path in paths.items()}
    return {name: part for name, part in parts.items() if part in archive.namelist()}
