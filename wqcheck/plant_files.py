"""Turns a TOML file of the plant into its keys, or into one error that lists everything that is wrong with it."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Collection, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from wqcheck.errors import PlantFileError


def read_plant_file(path: Path | str) -> tuple[dict[str, Any], str]:
    """Read a TOML file of the plant: its keys and the SHA-256 of its bytes (hexadecimal)."""
    try:
        content = Path(path).read_bytes()
        return tomllib.loads(content.decode("utf-8-sig")), hashlib.sha256(content).hexdigest()
    except OSError as error:
        raise PlantFileError(
            f"{path}: the file cannot be opened ({error.strerror}); check the name and folder"
        ) from error
    except UnicodeDecodeError as error:
        raise PlantFileError(f"{path}: the file is not UTF-8 text; save it as UTF-8") from error
    except tomllib.TOMLDecodeError as error:
        raise PlantFileError(f"{path}: this is not valid TOML: {error}; mend that place") from error


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
