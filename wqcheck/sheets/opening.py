"""Turns a file or upload of any kind into books: one, or one for each workbook of a zipped folder."""

from __future__ import annotations

import codecs
import hashlib
from pathlib import Path, PurePosixPath

from wqcheck.errors import WorkbookError
from wqcheck.sheets.archives import open_archive
from wqcheck.sheets.delimited import text_book, too_large
from wqcheck.sheets.grid import Book
from wqcheck.sheets.reading_limits import READING_LIMITS, ReadingLimits
from wqcheck.sheets.web_tables import STARTS, web_book
from wqcheck.sheets.workbook_files import OLE, ZIP, workbook_book

_OTHER_FILES = {
    b"%PDF": "a PDF document", b"\x89PNG": "a picture", b"\xff\xd8\xff": "a picture", b"GIF8": "a picture",
    b"{\\rtf": "a text document", b"Rar!": "an archive", b"7z\xbc\xaf": "an archive", b"\x1f\x8b": "an archive",
}  # fmt: skip
"""What the first bytes say of files that are neither workbooks nor delimited text, whatever their name."""

_WORKBOOKS = frozenset([".xlsx", ".xlsm", ".xls", ".xlsb", ".ods", ".csv", ".tsv", ".txt", ".htm", ".html", ".xml"])
_LEFT_BY_SYSTEMS = ("__MACOSX/", ".DS_Store", "Thumbs.db", "desktop.ini")
_DIRECTORY_END = b"PK\x05\x06"


def open_books(source: Path | tuple[str, bytes], limits: ReadingLimits) -> tuple[Book, ...]:
    """Return the books of *source*: itself, or for a zipped folder the folder (without sheets) and each book in it.

    Parameters
    ----------
    source : Path or (name, bytes)
        A file, or an upload with its file name.
    limits : ReadingLimits
        The most that it may ask for.

    Raises
    ------
    WorkbookError
        The file is missing, empty, encrypted, too large or no workbook; the sentence says which and how to mend it.
    """
    name, data = _load(source, limits)
    if data.startswith((ZIP, _DIRECTORY_END)) and (members := _members(name, data, limits)) is not None:
        return _folder(name, data, members, limits)
    return (_book(name, data, limits),)


def open_book(source: Path | tuple[str, bytes], limits: ReadingLimits = READING_LIMITS) -> Book:
    """Return the one book of a file that is no zipped folder.

    Raises
    ------
    wqcheck.errors.WorkbookError
        As :func:`open_books`, or it is a zipped folder of several books.
    """
    books = open_books(source, limits)
    if len(books) > 1:
        raise WorkbookError(f"{books[0].name} is a zipped folder of {len(books) - 1} book(s); unpack it and give one")
    return books[0]


def files_within(source: tuple[str, bytes], limits: ReadingLimits = READING_LIMITS) -> list[tuple[str, bytes]]:
    """Return name and bytes of *source* and, of a zipped folder, of each workbook in it, named as its books are."""
    name, data = source
    try:
        parts = _members(name, data, limits) if data.startswith(ZIP) else None
        if parts is None:
            return [source]
        with open_archive(name, data, limits) as archive:
            return [source, *((f"{name}/{part}", archive.read(part)) for part in _workbooks(parts))]
    except WorkbookError:
        return [source]


def _workbooks(parts: list[str]) -> list[str]:
    return sorted(part for part in parts if PurePosixPath(part).suffix.lower() in _WORKBOOKS)


def _book(name: str, data: bytes, limits: ReadingLimits) -> Book:
    if not data:
        raise WorkbookError(f"{name} is empty (0 bytes); save or send the file again")
    start = data.removeprefix(codecs.BOM_UTF8).lstrip()[:16]
    for mark, kind in _OTHER_FILES.items():
        if start.startswith(mark):
            raise WorkbookError(f"{name} is {kind}; ask for the results as .xlsx, .ods or .csv, or save them so")
    sha256 = hashlib.sha256(data).hexdigest()
    if data.startswith((ZIP, OLE)):
        return workbook_book(name, data, sha256, limits)
    wide = data[:200].replace(b"\0", b"").removeprefix(codecs.BOM_UTF16_LE).removeprefix(codecs.BOM_UTF16_BE)
    if start.lower().startswith(STARTS) or (b"\0" in data[:200] and wide.lstrip().lower().startswith(STARTS)):
        return web_book(name, data, sha256, limits)
    return text_book(name, data, sha256, limits)


def _load(source: Path | tuple[str, bytes], limits: ReadingLimits) -> tuple[str, bytes]:
    if isinstance(source, tuple):
        name, data = source
        if len(data) > limits.file_bytes:
            raise WorkbookError(too_large(name, len(data), limits.file_bytes))
        return name, data
    if not source.exists():
        raise WorkbookError(f"{source} does not exist; check the path")
    if not source.is_file():
        raise WorkbookError(f"{source} is not a file; give the path of a workbook or CSV file")
    try:
        if source.stat().st_size > limits.file_bytes:
            raise WorkbookError(too_large(source.name, source.stat().st_size, limits.file_bytes))
        return source.name, source.read_bytes()
    except OSError as problem:
        raise WorkbookError(
            f"{source} cannot be opened ({problem.strerror}); close it elsewhere or copy it"
        ) from problem


def _members(name: str, data: bytes, limits: ReadingLimits) -> list[str] | None:
    """Return the files of a zipped folder, None where the zip file is itself a workbook."""
    with open_archive(name, data, limits) as archive:
        parts = [part for part in archive.namelist() if not part.endswith("/")]
    lowered = {part.lower() for part in parts}
    if lowered & {"[content_types].xml", "content.xml", "xl/workbook.xml", "xl/workbook.bin"}:
        return None
    return [part for part in parts if not any(left in part for left in _LEFT_BY_SYSTEMS)]


def _folder(name: str, data: bytes, members: list[str], limits: ReadingLimits) -> tuple[Book, ...]:
    books = _workbooks(members)
    others = sorted(set(members) - set(books))
    if not books:
        raise WorkbookError(
            f"{name} is a zip file in which no workbook stands, with contents that no reader understands "
            f"({', '.join(others[:5]) or 'it is empty'}); ask for the results as .xlsx, .ods or .csv"
        )
    if len(books) > limits.members:
        raise WorkbookError(
            f"{name} holds {len(books):,} workbooks and {limits.members:,} are allowed; share them out over several "
            "zip files, or raise the limit"
        )
    opened, doubts = list[Book](), list[str]()
    with open_archive(name, data, limits) as archive:
        for part in books:
            try:
                opened.append(_member(f"{name}/{part}", archive.read(part), limits))
            except WorkbookError as problem:
                doubts.append(f"a file of the folder was not read: {problem}")
    if not opened:
        raise WorkbookError(f"{name} holds no workbook that can be read: {doubts[0].partition(': ')[2]}")
    zipped = [part for part in others if part.lower().endswith(".zip")]
    doubts += [f"the zip file {part!r} inside the folder was not unpacked; give it by itself" for part in zipped]
    rest = [part for part in others if part not in zipped]
    remarks = [f"files of the folder that are no workbooks were not read: {', '.join(rest)}"] if rest else []
    return (Book(name, hashlib.sha256(data).hexdigest(), (), tuple(remarks), tuple(doubts)), *opened)


def _member(name: str, data: bytes, limits: ReadingLimits) -> Book:
    if data.startswith(ZIP) and _members(name, data, limits) is not None:
        raise WorkbookError(f"{name} is a zip file inside a zip file, which is not unpacked; give it by itself")
    return _book(name, data, limits)
