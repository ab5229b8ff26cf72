"""Turns the code, name and aliases of a sampling point into the spellings that sheets may use for it."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from wqcheck.parameters import normalise


def point_texts(code: str, name: str, aliases: Sequence[str]) -> Iterator[str]:
    """Yield what a sheet may write for a point: code, name, alias, or code and name together."""
    yield from (code, name, *aliases, f"{code} {name}", f"{name} {code}")


def point_key(text: str) -> str:
    """Return what is compared: ``SP-01``, ``sp 1`` and ``SP1`` agree, ``SP1.1`` and ``SP11`` do not."""
    joined = re.sub(r"(?<=[a-z]) (?=[0-9])", "", normalise(text))
    return re.sub(r"(?<![0-9])0+(?=[0-9])", "", joined)
