"""Turns a page template and the data for it into a PDF document in which every character can be read.

Values enter as strings of a JSON document, never as markup, and only fonts that come with the compiler (or from the
folders given) are used: same data, same bytes.
"""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any, Literal, cast

import typst

Standard = Literal["a-3b", "a-1b"]

# Controls that turn the direction of text around could make a printed line read otherwise than its data.
_DIRECTION = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
_HIDDEN = ("Cc", "Cs", "Co", "Cn")
_PROBE = b"""#set document(date: auto)
#set text(font: ("Libertinus Serif", "New Computer Modern", "Noto Naskh Arabic", "DejaVu Sans Mono"))
#for c in sys.inputs.characters.codepoints() [#text(c) ]"""


def press_document(
    template: bytes,
    view: dict[str, Any],
    *,
    standard: Standard,
    moment: datetime,
    attachment: tuple[str, str] | None = None,
    fonts: Sequence[Path] = (),
) -> bytes:
    """Return a PDF document.

    Parameters
    ----------
    template : bytes
        The page template; it finds *view* as JSON in ``sys.inputs.data``.
    view : dict
        What is printed. ``replaced`` is added: whether characters that no font has were written as ``[U+4F60]``.
    standard : Standard
        Archival form of the document.
    moment : datetime
        Its date.
    attachment : (name, text), optional
        A file to attach, byte for byte.
    fonts : sequence of Path, optional
        Folders with further fonts.
    """
    press = Press(typst.Compiler(font_paths=list(fonts), ignore_system_fonts=True), standard, moment)
    missing = press.missing_characters(set("".join(_texts(view))))
    inputs = {"attachment-name": attachment[0], "attachment": attachment[1]} if attachment else {}
    try:
        return press.print(template, data=_legible(view, missing), **inputs)
    except typst.TypstError as error:
        if "could not be displayed" not in str(error):
            raise
        return press.print(template, data=_legible(view, missing | _beyond_european("".join(_texts(view)))), **inputs)


def press_pictures(
    template: bytes, view: dict[str, Any], *, moment: datetime, pixels_per_inch: float
) -> tuple[bytes, ...]:
    """Return the pages of a document as PNG, each in turn; arguments as for :func:`press_document`."""
    press = Press(typst.Compiler(ignore_system_fonts=True), "a-3b", moment)
    data = _legible(view, press.missing_characters(set("".join(_texts(view)))))
    made = press.compiler.compile(
        input=template, format="png", ppi=pixels_per_inch, sys_inputs={"data": data}, timestamp=moment
    )
    return tuple(made) if isinstance(made, list) else (cast(bytes, made),)


@dataclass(frozen=True)
class Press:
    """The PDF compiler with its settings."""

    compiler: typst.Compiler
    standard: Standard
    moment: datetime

    def print(self, source: bytes, **inputs: str) -> bytes:
        """Compile one template with its inputs."""
        document = self.compiler.compile(
            input=source, format="pdf", sys_inputs=inputs, pdf_standards=self.standard, timestamp=self.moment
        )
        return cast(bytes, document)

    def missing_characters(self, characters: set[str]) -> set[str]:
        """Find the characters that no font has, and those that hide or turn around what stands beside them."""
        hidden = {c for c in characters if c in _DIRECTION or (unicodedata.category(c) in _HIDDEN and c not in "\n\t")}
        return hidden | self._undrawable(sorted(c for c in characters - hidden if not c.isascii()))

    def _undrawable(self, characters: list[str]) -> set[str]:
        try:
            replace(self, standard="a-3b").print(_PROBE, characters="".join(characters))  # only PDF/A-3 refuses them
        except typst.TypstError:
            if len(characters) == 1:
                return set(characters)
            half = len(characters) // 2
            return self._undrawable(characters[:half]) | self._undrawable(characters[half:])
        return set()


def _beyond_european(text: str) -> set[str]:
    return {c for c in text if ord(c) > 0x52F and not 0x2000 <= ord(c) < 0x2300}


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict | list):
        for part in value.values() if isinstance(value, dict) else value:
            yield from _texts(part)


def _legible(view: dict[str, Any], missing: set[str]) -> str:
    table = {ord(character): f"[U+{ord(character):04X}]" for character in missing}

    def swap(value: Any) -> Any:
        if isinstance(value, str):
            return value.translate(table)
        if isinstance(value, list):
            return [swap(part) for part in value]
        return {key: swap(part) for key, part in value.items()} if isinstance(value, dict) else value

    return json.dumps({**swap(view), "replaced": bool(missing)}, ensure_ascii=False)
