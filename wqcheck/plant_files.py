"""Turns a TOML file of the plant into keys, or into one error that lists everything that is wrong; and keys into it."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import tomllib
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any

from wqcheck.errors import PlantFileError


def read_plant_file(path: Path | str) -> tuple[dict[str, Any], str]:
    """Read a TOML file of the plant: its keys and the SHA-256 of its bytes (hexadecimal)."""
    try:
        content = Path(path).read_bytes()
        return read_plant_text(content), hashlib.sha256(content).hexdigest()
    except OSError as error:
        raise PlantFileError(
            f"{path}: the file cannot be opened ({error.strerror}); check the name and folder"
        ) from error
    except UnicodeDecodeError as error:
        raise PlantFileError(f"{path}: the file is not UTF-8 text; save it as UTF-8") from error
    except tomllib.TOMLDecodeError as error:
        raise PlantFileError(f"{path}: this is not valid TOML: {error}; mend that place") from error


def read_plant_text(content: bytes) -> dict[str, Any]:
    """Return the keys that the bytes of a sound plant file hold."""
    return tomllib.loads(content.decode("utf-8-sig"))


def toml_text(keys: Mapping[str, str | Sequence[str]], tables: Mapping[str, Sequence[Mapping[str, Any]]]) -> str:
    """Return keys, and lists of tables below them, as TOML; values are texts, lists of them, whole numbers or dates."""
    lines = list(_lines(keys))
    for name, entries in tables.items():
        for entry in entries:
            lines += ["", f"[[{name}]]", *_lines(entry)]
    return "\n".join(lines).strip("\n") + "\n"


def replace_plant_file(path: Path, text: str, *, at: datetime, check: Callable[[Path], object]) -> None:
    """Put *text* in the place of a plant file, whole or not at all; the one before is kept beside it under its time.

    Parameters
    ----------
    path : Path
        Its folder is made where there is none.
    text : str
    at : datetime
        When: the file before becomes ``name.until-20261125T061500.toml``.
    check : callable
        Reads the new file before it takes the place, and raises what is wrong with it.

    Raises
    ------
    PlantFileError
        What *check* found, or that it cannot be written; the file before still stands.
    """
    half = path.with_name(f".{path.name}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        half.write_text(text, encoding="utf-8", newline="\n")
        check(half)
        if path.is_file() and path.read_bytes() != half.read_bytes():
            shutil.copyfile(path, path.with_name(f"{path.stem}.until-{at:%Y%m%dT%H%M%S}{path.suffix}"))
        os.replace(half, path)
    except OSError as error:
        raise PlantFileError(f"{path}: the file cannot be written ({error.strerror}); check its folder") from error
    except PlantFileError as error:
        raise PlantFileError(str(error).replace(str(half), str(path))) from error
    finally:
        half.unlink(missing_ok=True)


def _lines(keys: Mapping[str, Any]) -> Iterator[str]:
    # A JSON text, and a list of them, is TOML as well (TOML 1.0.0: basic strings, arrays).
    return (
        f"{key} = {value.isoformat() if isinstance(value, date) else json.dumps(value, ensure_ascii=False)}"
        for key, value in keys.items()
    )


def refuse_problems(path: Path | str, problems: Sequence[str]) -> None:
    """Raise :class:`PlantFileError` listing all problems of a plant file, if there are any."""
    if problems:
        listed = "\n".join(f"  {problem}" for problem in problems)
        raise PlantFileError(f"{path}: {len(problems)} problem(s), so nothing was loaded:\n{listed}")


def unknown_keys(entry: Mapping[str, Any], allowed: Collection[str], where: str) -> Iterator[str]:
    """Yield one sentence per key that a plant file may not have at this place."""
    for key in sorted(set(entry) - set(allowed)):
        yield f"{where}: the key {key!r} is not known; use one of {', '.join(sorted(allowed))}"


def is_text(value: object) -> bool:
    """Return whether *value* is text that is not blank."""
    return isinstance(value, str) and bool(value.strip())


def is_list_of_texts(value: object) -> bool:
    """Return whether *value* is a list of texts, none blank; an empty list is one."""
    return isinstance(value, list) and all(is_text(item) for item in value)
