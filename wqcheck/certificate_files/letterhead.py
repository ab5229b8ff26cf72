"""Turns the plant's letterhead file (TOML) into a head for its papers: lines, a logo, and perhaps its own template."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from wqcheck.plant_files import is_list_of_texts, is_text, read_plant_file, refuse_problems, unknown_keys

_KEYS = frozenset({"lines", "logo", "template", "dates"})
_FORMS = (b"\x89PNG\r\n\x1a\n", b"<svg", b"<?xml")
_LARGEST = 2_000_000
"""Bytes of a logo; it stands in every paper."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Letterhead:
    """The plant's own head of a paper.

    Attributes
    ----------
    lines : tuple of str
        Printed beside the logo.
    logo : bytes
        PNG or SVG, empty for none.
    template : bytes or None
        Typst source that replaces ``templates/certificate.typ``.
    local_dates : bool
        Whether dates are written as the language of the paper does, not as ISO 8601.
    digest : str
        SHA-256 of the letterhead file.
    """

    lines: tuple[str, ...] = ()
    logo: bytes = b""
    template: bytes | None = None
    local_dates: bool = False
    digest: str = ""


PLAIN = Letterhead()
"""No head of its own."""


def load_letterhead(path: Path) -> Letterhead:
    """Read a letterhead file; names of files in it are relative to its folder.

    ::

        lines = ["Port Almara bottling plant (invented)", "Quay Road 4"]
        logo = "logo.svg"
        template = "certificate.typ"   # a changed copy of the shipped one
        dates = "local"                # or "iso"

    Raises
    ------
    PlantFileError
        The text lists every problem with its mend.
    """
    data, digest = read_plant_file(path)
    refuse_problems(path, list(_problems(data, path.parent)))
    logo, template = (_content(data, key, path.parent) for key in ("logo", "template"))
    return Letterhead(
        lines=tuple(data.get("lines", ())),
        logo=logo or b"",
        template=template,
        local_dates=data.get("dates") == "local",
        digest=digest,
    )


def _content(data: Mapping[str, Any], key: str, folder: Path) -> bytes | None:
    return (folder / str(data[key])).read_bytes() if key in data else None


def _problems(data: Mapping[str, Any], folder: Path) -> Iterator[str]:
    yield from unknown_keys(data, _KEYS, "the file")
    if not is_list_of_texts(data.get("lines", [])):
        yield 'lines: it must be a list of texts; write lines = ["..."]'
    if data.get("dates", "iso") not in ("iso", "local"):
        yield f'dates: it must be "iso" or "local" (given: {data["dates"]!r})'
    for key in ("logo", "template"):
        if key in data and not (is_text(data[key]) and (folder / data[key]).is_file()):
            yield f"{key}: there is no such file beside the letterhead file (given: {data[key]!r})"
        elif key == "logo" and key in data:
            yield from _logo_problems((folder / data[key]).read_bytes(), str(data[key]))


def _logo_problems(content: bytes, name: str) -> Iterator[str]:
    if not content.lstrip().startswith(_FORMS):
        yield f"logo: it must be a PNG or SVG picture (given: {name!r})"
    if len(content) > _LARGEST:
        yield f"logo: it has {len(content):,} bytes; at most {_LARGEST:,} are printed"
