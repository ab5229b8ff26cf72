"""Turns the bytes of a zip file into its parts, once its directory shows that they cost no more than allowed.

Bombs show in the directory: by the sum of the sizes, by their ratio, or by the number of parts. What is unpacked is
held to the size stated there, so that a directory that lies gains nothing.
"""

from __future__ import annotations

import io
import struct
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager

from wqcheck.errors import WorkbookError
from wqcheck.sheets.reading_limits import ReadingLimits

_DAMAGED = (
    zipfile.BadZipFile,
    zlib.error,
    EOFError,
    OSError,
    ValueError,
    struct.error,
    NotImplementedError,
    RuntimeError,
)
_PIECE = 256 * 1024
"""Few enough bytes that what is done to them stays in the cache of the processor."""

_ENCRYPTED = 0x1
_RESULTS_AGAIN = "ask for the results again, or open the file in a spreadsheet program and save it as .xlsx or .csv"


@contextmanager
def reading_zip(name: str) -> Iterator[None]:
    """Turn what a damaged zip file raises into a :class:`~wqcheck.errors.WorkbookError` that names *name*."""
    try:
        yield
    except WorkbookError:
        raise
    except _DAMAGED as problem:
        reason = " ".join(str(problem).split())[:120] or type(problem).__name__
        raise WorkbookError(
            f"{name} is a damaged zip file with contents that no reader understands ({reason}); {_RESULTS_AGAIN}"
        ) from problem


@contextmanager
def open_archive(name: str, data: bytes, limits: ReadingLimits) -> Iterator[zipfile.ZipFile]:
    """Open the zip file *data* for reading.

    Raises
    ------
    WorkbookError
        It is damaged, encrypted, has a part twice, or would cost more than *limits* allow.
    """
    with reading_zip(name), zipfile.ZipFile(io.BytesIO(data)) as archive:
        archive.filename = name
        _check_directory(name, archive.infolist(), limits)
        yield archive


def _check_directory(name: str, parts: list[zipfile.ZipInfo], limits: ReadingLimits) -> None:
    if len(parts) > limits.parts:
        raise WorkbookError(
            f"{name} holds {len(parts):,} parts and {limits.parts:,} are allowed; {_RESULTS_AGAIN}, or raise the limit"
        )
    if any(part.flag_bits & _ENCRYPTED for part in parts):
        raise WorkbookError(f"{name} is protected by a password; unpack it with the password and give the files in it")
    if len({part.filename for part in parts}) < len(parts):
        raise WorkbookError(f"{name} holds two parts of the same name, so what it says is not sure; {_RESULTS_AGAIN}")
    whole = sum(part.file_size for part in parts)
    if whole > limits.unpacked_bytes:
        raise WorkbookError(
            f"{name} takes {whole / 2**20:,.0f} MiB unpacked and {limits.unpacked_bytes / 2**20:,.0f} MiB are allowed; "
            "share it out over several files, or raise the limit"
        )
    for part in parts:
        if part.file_size > limits.ratio_from_bytes and part.file_size > limits.ratio * max(part.compress_size, 1):
            raise WorkbookError(
                f"{name} holds the part {part.filename!r}, {part.file_size / max(part.compress_size, 1):,.0f} times "
                f"smaller packed than unpacked; no sheet of results is ({limits.ratio} are allowed): {_RESULTS_AGAIN}"
            )


def whole_part(archive: zipfile.ZipFile, part: str, limits: ReadingLimits) -> bytes:
    """Return one part unpacked, refused beyond ``limits.part_bytes``."""
    size = archive.getinfo(part).file_size
    if size > limits.part_bytes:
        raise WorkbookError(
            f"{archive.filename} holds the part {part!r} of {size / 2**20:,.0f} MiB and "
            f"{limits.part_bytes / 2**20:,.0f} MiB are allowed; {_RESULTS_AGAIN}, or raise the limit"
        )
    return archive.read(part)


def pieces(archive: zipfile.ZipFile, part: str) -> Iterator[bytes]:
    """Yield one part unpacked in pieces that begin with a tag, that of a row where there is one; no tag is cut."""
    rest = b""
    with archive.open(part) as stream:
        while piece := stream.read(max(_PIECE, len(rest))):
            piece = rest + piece
            cut = piece.rfind(b"<row", 1)
            cut = cut if cut > 0 else piece.rfind(b"<", 1)
            if cut < 1:
                rest = piece
                continue
            rest = piece[cut:]
            yield piece[:cut]
    yield rest
