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
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from importlib import resources
from pathlib import Path
from typing import Any

import typst

from wqcheck.certificate.data import Certificate, to_json
from wqcheck.certificate_files.letterhead import PLAIN, Letterhead
from wqcheck.certificate_files.press import Standard, press_document
from wqcheck.certificate_files.view import SignatureLine, moment_of, view_of
from wqcheck.certificate_files.workbook import workbook_bytes
from wqcheck.errors import PlantFileError, WqcheckError
from wqcheck.languages.catalogues import catalogue

_PACKAGE = resources.files("wqcheck.certificate_files")
_SHIPPED_FONTS = _PACKAGE.joinpath("fonts")
_TEMPLATE = _PACKAGE.joinpath("templates/certificate.typ")
_RESERVED = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE)


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
    return write_files(contents, folder / f"{stem}.json", "document")


def write_files(contents: Mapping[Path, bytes], data: Path, what: str) -> tuple[Path, ...]:
    """Write the files of one document or report (*what*), of which *data* is the JSON, into their folder.

    Raises
    ------
    WqcheckError
        There is another JSON of that name already; nothing is written then.
    """
    if data.exists() and data.read_bytes() != contents[data]:
        raise WqcheckError(f"{data} holds another {what} with this number; give a new number or another folder")
    data.parent.mkdir(parents=True, exist_ok=True)
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
    template, view, moment = certificate_print(certificate, letterhead, signature)
    own_fonts = [Path(str(_SHIPPED_FONTS))] if catalogue(certificate.language).leftwards else []
    try:
        return press_document(
            template,
            view,
            standard=standard,
            moment=moment,
            attachment=(f"{document_stem(certificate)}.json", text) if standard == "a-3b" else None,
            fonts=[*own_fonts, *fonts],
        )
    except typst.TypstError as error:
        if letterhead.template is None:
            raise
        raise PlantFileError(f"the plant's own template cannot be printed: {error}; mend that place") from error


def certificate_print(
    certificate: Certificate, letterhead: Letterhead = PLAIN, signature: SignatureLine | None = None
) -> tuple[bytes, dict[str, Any], datetime]:
    """Return what a certificate is printed from: the page template, what it prints, and the date of the document."""
    say = replace(catalogue(certificate.language), local_dates=letterhead.local_dates)
    view = view_of(certificate, json.loads(to_json(certificate)), say, letterhead, signature)
    return letterhead.template or _TEMPLATE.read_bytes(), view, moment_of(certificate)
