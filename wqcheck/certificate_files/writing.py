"""Turns a certificate into its three files: JSON, PDF/A-3b with that JSON attached, and a workbook.

The PDF is made from ``templates/certificate.typ`` or the plant's own template; every value enters it as a string of a
JSON document, never as markup, and only fonts that come with the compiler, with this package or from ``fonts`` are
used: same certificate, same bytes.
"""

from __future__ import annotations

import hashlib
import json
import re
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from importlib import resources
from pathlib import Path
from typing import Any, Literal, cast

import typst

from wqcheck.certificate.data import Certificate, to_json
from wqcheck.certificate_files.letterhead import PLAIN, Letterhead
from wqcheck.certificate_files.view import SignatureLine, moment_of, view_of
from wqcheck.certificate_files.workbook import workbook_bytes
from wqcheck.errors import PlantFileError, WqcheckError
from wqcheck.languages.catalogues import catalogue

Standard = Literal["a-3b", "a-1b"]

_PACKAGE = resources.files("wqcheck.certificate_files")
_SHIPPED_FONTS = _PACKAGE.joinpath("fonts")
_TEMPLATE = _PACKAGE.joinpath("templates/certificate.typ")
_RESERVED = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE)
# Controls that turn the direction of text around could make a printed line read otherwise than its data.
_DIRECTION = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
_HIDDEN = ("Cc", "Cs", "Co", "Cn")
_PROBE = b"""#set document(date: auto)
#set text(font: ("Libertinus Serif", "New Computer Modern", "Noto Naskh Arabic", "DejaVu Sans Mono"))
#for c in sys.inputs.characters.codepoints() [#text(c) ]"""


def write_certificate(
    certificate: Certificate, folder: Path, *, fonts: Sequence[Path] = (), letterhead: Letterhead = PLAIN
) -> tuple[Path, ...]:
    """Write ``NUMBER.json``, ``NUMBER.pdf`` and ``NUMBER.xlsx`` into a folder, which is made if need be.

    Parameters
    ----------
    certificate : Certificate
        A certificate or a notice.
    folder : Path
    fonts : sequence of Path, optional
        Folders with further fonts, for names in a script that the built-in fonts do not have.
    letterhead : Letterhead, optional
        The plant's own head and template.

    Returns
    -------
    tuple of Path
        The JSON, the PDF and the workbook.

    Raises
    ------
    WqcheckError
        When the folder already holds another document with this number; nothing is written then.
    """
    stem = document_stem(certificate)
    contents = {
        folder / f"{stem}.json": to_json(certificate).encode("utf-8"),
        folder / f"{stem}.pdf": pdf_bytes(certificate, fonts=fonts, letterhead=letterhead),
        folder / f"{stem}.xlsx": workbook_bytes(certificate),
    }
    data = folder / f"{stem}.json"
    if data.exists() and data.read_bytes() != contents[data]:
        raise WqcheckError(f"{data} holds another document with this number; give a new number or another folder")
    folder.mkdir(parents=True, exist_ok=True)
    for path, content in contents.items():
        path.write_bytes(content)
    return tuple(contents)


def document_stem(certificate: Certificate) -> str:
    """Make the file name of a document; the notice that withdraws it stands beside it."""
    return file_stem(certificate.number) + ("-withdrawn" if certificate.withdrawn else "")


def file_stem(number: str) -> str:
    """Make a file name from a document number: letters, digits, ``-``, ``_`` and ``.`` only, on any system.

    A number that had to be changed gets a few digits of its SHA-256, so that two numbers never share a file.
    """
    plain = unicodedata.normalize("NFKD", number).encode("ascii", "ignore").decode()
    stem = re.sub(r"[^A-Za-z0-9._-]+", "_", plain).strip("._-")[:80]
    if stem and stem == number and not _RESERVED.fullmatch(stem):
        return stem
    return f"{stem or 'certificate'}-{hashlib.sha256(number.encode('utf-8', 'replace')).hexdigest()[:8]}".replace(
        ".", "_"
    )


def pdf_bytes(
    certificate: Certificate,
    *,
    standard: Standard = "a-3b",
    fonts: Sequence[Path] = (),
    letterhead: Letterhead = PLAIN,
    signature: SignatureLine | None = None,
) -> bytes:
    """Print a certificate or notice as PDF; as PDF/A-3 its JSON is attached, byte for byte.

    Characters that no font has are printed as ``[U+4F60]`` with a remark; the attached data holds them unchanged.

    Raises
    ------
    PlantFileError
        The plant's own template cannot be printed.
    """
    text = to_json(certificate)
    say = replace(catalogue(certificate.language), local_dates=letterhead.local_dates)
    view = view_of(certificate, json.loads(text), say, letterhead, signature)
    own_fonts = [Path(str(_SHIPPED_FONTS))] if say.leftwards else []
    compiler = typst.Compiler(font_paths=[*own_fonts, *fonts], ignore_system_fonts=True)
    press = _Press(compiler, standard, moment_of(certificate))
    attachment = {"attachment": text, "attachment-name": f"{document_stem(certificate)}.json"}
    inputs = attachment if standard == "a-3b" else {}
    template = letterhead.template or _TEMPLATE.read_bytes()
    try:
        return _printed(press, template, view, inputs)
    except typst.TypstError as error:
        if letterhead.template is None:
            raise
        raise PlantFileError(f"the plant's own template cannot be printed: {error}; mend that place") from error


def _printed(press: _Press, template: bytes, view: dict[str, Any], inputs: dict[str, str]) -> bytes:
    missing = press.missing_characters(set("".join(_texts(view))))
    try:
        return press.print(template, data=_legible(view, missing), **inputs)
    except typst.TypstError as error:
        if "could not be displayed" not in str(error):
            raise
        return press.print(template, data=_legible(view, missing | _beyond_european("".join(_texts(view)))), **inputs)


@dataclass(frozen=True)
class _Press:
    """The PDF compiler with its settings."""

    compiler: typst.Compiler
    standard: Standard
    moment: datetime

    def print(self, source: bytes, **inputs: str) -> bytes:
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
