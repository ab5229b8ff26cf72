"""Turns a folder of the plant's own limit tables into which can be used, and an edited one into a file there."""

from __future__ import annotations

import hashlib
import os
import re
import tempfile
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from wqcheck.errors import LimitTableError
from wqcheck.limit_tables.cells import WORKBOOK_SUFFIXES
from wqcheck.limit_tables.editing import edited_table, problems_in
from wqcheck.limit_tables.loading import LimitTable, limit_table, load_limits, shipped_tables
from wqcheck.limit_tables.sheets import CopyRefusedError, csv_bytes, workbook_bytes
from wqcheck.shipped_files import shipped_folder

OWN_FOLDER = "limits_own"
"""Where a plant's own tables are kept unless another folder is named."""

_FILE_NAME = re.compile(r"[a-z0-9][a-z0-9_-]{0,60}")
_MAKES = {".csv": csv_bytes, ".xlsx": workbook_bytes}


@dataclass(frozen=True, slots=True, eq=False)
class OwnTable:
    """One file of the folder: the table in it, or in ``problem`` the sentence that says why it cannot be used."""

    path: Path
    table: LimitTable | None = None
    problem: str = ""


def own_tables(folder: Path) -> tuple[OwnTable, ...]:
    """Return every limit file of *folder* by name, the bad ones with what is wrong; none where there is no folder.

    Files that shipped limits have beside them, such as ``sampling_plans.csv``, are no limit tables.
    """
    try:
        paths = own_files(folder)
    except OSError as problem:
        return (OwnTable(folder, problem=f"the folder {folder} cannot be read ({problem.strerror})"),)
    counts = Counter(path.stem.casefold() for path in paths)
    return tuple(_looked_at(path, counts[path.stem.casefold()]) for path in paths)


def own_files(folder: Path) -> list[Path]:
    """Return the paths of the limit files of *folder*, by name."""
    if not folder.is_dir():
        return []
    beside = {path.name for path in shipped_folder("limits").iterdir()} - {f"{name}.csv" for name in shipped_tables()}
    found = [path for path in folder.iterdir() if path.suffix.lower() in {".csv", *WORKBOOK_SUFFIXES}]
    return sorted(path for path in found if path.is_file() and path.name[0] not in "~." and path.name not in beside)


def _looked_at(path: Path, of_that_name: int) -> OwnTable:
    if path.stem in shipped_tables():
        return OwnTable(path, problem=f"{path.name} has the name of a shipped table; give it another name")
    if of_that_name > 1:
        return OwnTable(path, problem=f"{path.name}: another file of the folder has this name; rename one of them")
    try:
        return OwnTable(path, table=limit_table(path, path.read_bytes()))
    except LimitTableError as error:
        return OwnTable(path, problem=_in_short(error))
    except OSError as problem:
        return OwnTable(path, problem=f"{path.name} cannot be read ({problem.strerror}); look at its permissions")


def _in_short(error: LimitTableError) -> str:
    first, count = error.problems[0], len(error.problems)
    more = f" and {count - 1} more" if count > 1 else ""
    return f"{first}{more}"


def save_own(cells: pd.DataFrame, path: Path, *, replaces: str = "") -> LimitTable:
    """Write sound *cells* as an own limit table and return it as it was read back from the file.

    Parameters
    ----------
    cells : DataFrame
        Text cells, see :mod:`wqcheck.limit_tables.editing`.
    path : Path
        ``FOLDER/NAME.csv`` or ``.xlsx``; the folder is made where it is not there.
    replaces : str
        SHA-256 of the file that may be overwritten, as the user saw it; blank when there must be none.

    Raises
    ------
    LimitTableError
        A cell is bad; nothing was written.
    CopyRefusedError
        The name is no file name or that of a shipped table, another own table has it, the file there is not the one
        that was seen, or it cannot be written.
    """
    problems = problems_in(cells, path.name)
    if problems:
        raise LimitTableError(path, problems)
    edited_table(cells, path.with_suffix(".csv"))
    try:
        refuse_name(path)
        if digest_of(path) != replaces:
            raise CopyRefusedError(f"{path} " + (_REPLACED if replaces else _THERE))
        path.parent.mkdir(parents=True, exist_ok=True)
        _put(path, _MAKES[path.suffix](cells))
    except OSError as problem:
        raise CopyRefusedError(f"{path} cannot be written ({problem.strerror}); choose another folder") from None
    return load_limits(path)


_THERE = "exists already; say that it may be overwritten, or choose another name"
_REPLACED = "was changed or taken away since it was looked at; look at the differences again"


def refuse_name(path: Path) -> None:
    """Refuse a file name under which an own table must not be saved.

    Raises
    ------
    CopyRefusedError
        The text says why.
    """
    name = path.stem
    if path.suffix not in _MAKES:
        raise CopyRefusedError(f"an own limit table is a .csv or a .xlsx file (given: {path.name!r})")
    if not _FILE_NAME.fullmatch(name):
        raise CopyRefusedError(
            f"the name of a table has small letters a to z, digits, _ and -, such as our_plant_2027 (given: {name!r})"
        )
    if name in shipped_tables() or path.parent.resolve() == shipped_folder("limits").resolve():
        raise CopyRefusedError(f"{path.name}: shipped tables are never overwritten; choose another name and folder")
    others = [other.name for other in own_files(path.parent) if other.stem.casefold() == name and other != path]
    if others:
        raise CopyRefusedError(f"{', '.join(others)} has this name already; choose another name, or the same file type")


def digest_of(path: Path) -> str:
    """Return the SHA-256 of a file, hexadecimal; blank when there is none."""
    return hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else ""


def _put(path: Path, content: bytes) -> None:
    """Write the whole file or none of it: a table that was cut off could miss limits and still load."""
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=".", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        Path(name).chmod(0o644)
        Path(name).replace(path)
    except OSError:
        Path(name).unlink(missing_ok=True)
        raise
