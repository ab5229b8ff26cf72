"""Turns the directory parts of an xlsx file into which part holds which sheet, and what is struck through."""

from __future__ import annotations

import posixpath
import re
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from xml.etree import ElementTree

from wqcheck.errors import WorkbookError
from wqcheck.sheets.archives import whole_part
from wqcheck.sheets.reading_limits import ReadingLimits

DECLARED = re.compile(rb"<!(?:DOCTYPE|ENTITY)|<\0?!\0?D\0?O\0?C\0?T")
DECLARES_ENTITIES = (
    "{} declares entities of its own in {!r}, as no spreadsheet program does; open it in one and save it as a new "
    ".xlsx or .csv"
)
"""A document type can multiply a few bytes into gigabytes; parts of a package may not have one
(ISO/IEC 29500-2, from memory)."""


@dataclass(frozen=True, slots=True)
class Struck:
    """What is struck through in whole: numbers of cell styles and of shared texts."""

    styles: frozenset[str] = frozenset()
    texts: frozenset[str] = frozenset()


def parsed_part(archive: zipfile.ZipFile, part: str, limits: ReadingLimits) -> ElementTree.Element:
    """Return the root element of one part, without the names of namespaces."""
    data = whole_part(archive, part, limits)
    if DECLARED.search(data[:4096]):
        raise WorkbookError(DECLARES_ENTITIES.format(archive.filename, part))
    try:
        root = ElementTree.fromstring(data)
    except ElementTree.ParseError as problem:
        raise ValueError(f"its part {part!r} is no sound XML: {problem}") from problem
    for element in root.iter():
        element.tag = element.tag.rpartition("}")[2]
    return root


def sheet_parts(archive: zipfile.ZipFile, parts: Mapping[str, str], limits: ReadingLimits) -> dict[str, str]:
    """Return the path in the archive of each sheet by its name; *parts* maps lower-case paths to paths."""
    book, relations = parts.get("xl/workbook.xml"), parts.get("xl/_rels/workbook.xml.rels")
    if book is None or relations is None:
        return {}
    listed = parsed_part(archive, relations, limits)
    targets = {relation.get("Id", ""): relation.get("Target", "") for relation in listed}
    sheets = list(parsed_part(archive, book, limits).iter("sheet"))
    paths = {
        sheet.get("name", ""): targets.get(next((v for k, v in sheet.items() if k.endswith("}id")), ""), "")
        for sheet in sheets
    }
    if len(paths) < len(sheets):
        raise WorkbookError(
            f"{archive.filename} lists two sheets of the same name, so it is not sure which holds; open it in a "
            "spreadsheet program and save it as a new .xlsx"
        )
    return {name: _path(path) for name, path in paths.items()}


def _path(target: str) -> str:
    return posixpath.normpath(posixpath.join("/xl", target.replace("\\", "/"))).lstrip("/")


def struck_through(archive: zipfile.ZipFile, parts: Mapping[str, str], limits: ReadingLimits) -> Struck:
    """Return the cell styles and shared texts that are struck through in whole (ECMA-376-1, 18.4.10, from memory)."""
    styles, texts = frozenset[str](), frozenset[str]()
    part = parts.get("xl/styles.xml")
    if part is not None and b"strike" in whole_part(archive, part, limits):
        styles = _styles(parsed_part(archive, part, limits))
    part = parts.get("xl/sharedstrings.xml")
    if part is not None and b"strike" in whole_part(archive, part, limits):
        items = parsed_part(archive, part, limits).findall("si")
        texts = frozenset(str(number) for number, item in enumerate(items) if _all_struck(item))
    return Struck(styles, texts)


def _styles(root: ElementTree.Element) -> frozenset[str]:
    fonts = [_is_struck(font) for font in root.iterfind("fonts/font")]
    struck = {str(number) for number, is_struck in enumerate(fonts) if is_struck}
    formats = enumerate(root.iterfind("cellXfs/xf"))
    return frozenset(str(number) for number, form in formats if form.get("fontId", "") in struck)


def _is_struck(font: ElementTree.Element) -> bool:
    mark = font.find("strike")
    return mark is not None and mark.get("val", "1") not in {"0", "false", "off"}


def _all_struck(item: ElementTree.Element) -> bool:
    runs = [run for run in item.findall("r") if "".join(run.itertext()).strip()]
    return bool(runs) and all((look := run.find("rPr")) is not None and _is_struck(look) for run in runs)
