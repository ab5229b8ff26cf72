"""Turns a certificate into its three files: JSON, PDF/A-3b with that JSON attached, and a workbook.

The PDF is made from ``templates/certificate.typ``; every value enters it as a string of a JSON document, never as
markup, and only fonts that come with the compiler (or from ``fonts``) are used: same certificate, same bytes.
"""

from __future__ import annotations

import hashlib
import json
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import asdict
from datetime import UTC, datetime
from importlib import resources
from pathlib import Path
from typing import Any

from wqcheck.certificate.data import Certificate, to_json
from wqcheck.certificate.lines import parameter_name, reported_unit
from wqcheck.certificate_files.press import Standard, press_document
from wqcheck.certificate_files.workbook import workbook_bytes
from wqcheck.errors import WqcheckError
from wqcheck.release.decision import Disposition, Reason

_RESERVED = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE)


def write_certificate(certificate: Certificate, folder: Path, *, fonts: Sequence[Path] = ()) -> tuple[Path, ...]:
    """Write ``NUMBER.json``, ``NUMBER.pdf`` and ``NUMBER.xlsx`` into a folder, which is made if need be.

    Parameters
    ----------
    certificate : Certificate
        A certificate or a notice.
    folder : Path
    fonts : sequence of Path, optional
        Folders with further fonts, for names in a script that the built-in fonts do not have.

    Returns
    -------
    tuple of Path
        The JSON, the PDF and the workbook.

    Raises
    ------
    WqcheckError
        When the folder already holds another document with this number; nothing is written then.
    """
    stem = file_stem(certificate.number)
    contents = {
        folder / f"{stem}.json": to_json(certificate).encode("utf-8"),
        folder / f"{stem}.pdf": pdf_bytes(certificate, fonts=fonts),
        folder / f"{stem}.xlsx": workbook_bytes(certificate),
    }
    data = folder / f"{stem}.json"
    if data.exists() and data.read_bytes() != contents[data]:
        raise WqcheckError(f"{data} holds another document with this number; give a new number or another folder")
    folder.mkdir(parents=True, exist_ok=True)
    for path, content in contents.items():
        path.write_bytes(content)
    return tuple(contents)


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


def pdf_bytes(certificate: Certificate, *, standard: Standard = "a-3b", fonts: Sequence[Path] = ()) -> bytes:
    """Print a certificate or notice as PDF; as PDF/A-3 its JSON is attached, byte for byte.

    Characters that no font has are printed as ``[U+4F60]`` with a remark; the attached data holds them unchanged.
    """
    text = to_json(certificate)
    template, view, moment = certificate_print(certificate)
    return press_document(
        template,
        view,
        standard=standard,
        moment=moment,
        attachment=(f"{file_stem(certificate.number)}.json", text) if standard == "a-3b" else None,
        fonts=fonts,
    )


def certificate_print(certificate: Certificate) -> tuple[bytes, dict[str, Any], datetime]:
    """Return what a certificate is printed from: the page template, what it prints, and the date of the document."""
    template = resources.files("wqcheck.certificate_files").joinpath("templates/certificate.typ").read_bytes()
    return template, _view(certificate, json.loads(to_json(certificate))), _moment(certificate)


def _moment(certificate: Certificate) -> datetime:
    moment = datetime.fromisoformat(certificate.issued_at)
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)


def _view(certificate: Certificate, data: dict[str, Any]) -> dict[str, Any]:
    """Add to the certificate's data what only print needs."""
    printed: dict[str, Any] = {
        key: [{**asdict(line), "unit_text": reported_unit(line)} for line in lines]
        for key, lines in (("results", certificate.results), ("without_limit", certificate.without_limit))
    }
    against = [reason for reason in certificate.reasons if reason.disposition != Disposition.RELEASE]
    printed["headlines"] = _headlines(against)
    printed["against"] = [_printed_reason(reason) for reason in against]
    printed["noted"] = [_printed_reason(reason) for reason in certificate.reasons if reason not in against]
    moment, zone = _moment(certificate), data["issued_at"][19:]
    return {
        **data,
        **printed,
        "title": f"{data['kind'].capitalize()} {data['number']}",
        "issued": f"{moment:%Y-%m-%d %H:%M}" + (f" (UTC{zone})" if zone else ""),
    }


def _headlines(against: Sequence[Reason]) -> list[dict[str, Any]]:
    """Give one reason per parameter, the gravest first, with how many more there are about it."""
    groups: dict[str, list[Reason]] = {}
    for reason in against:
        groups.setdefault(reason.parameter or reason.message, []).append(reason)
    return [{**_printed_reason(reasons[0]), "more": len(reasons) - 1} for reasons in groups.values()]


def _printed_reason(reason: Reason) -> dict[str, Any]:
    """Split off the name of the parameter, where the message begins with it, so that it can be set in bold."""
    name, message = parameter_name(reason.parameter) if reason.parameter else "", reason.message
    begins = message.lower().startswith(name.lower())
    name, message = (message[: len(name)], message[len(name) :]) if begins else (name, f": {message}")
    return {"name": name, "message": message, "where": reason.where, "more": 0}
