"""Turns number, digest and decision of a document into a QR code (ISO/IEC 18004), drawn as lines."""

from __future__ import annotations

from io import BytesIO

import segno

from wqcheck.certificate.data import Certificate

QUIET_ZONE = 4
"""Modules of white around the code (ISO/IEC 18004:2015, 9.1)."""


def code_text(certificate: Certificate) -> str:
    """Give what the code carries, one a line: number, digest, decision (``withdrawn`` for a withdrawal notice)."""
    decision = "withdrawn" if certificate.withdrawn else str(certificate.disposition)
    return f"{certificate.number}\n{certificate.digest}\n{decision}"


def code_svg(certificate: Certificate) -> str:
    """Draw the code as SVG; a number too long for any code is cut, the digest and the decision never are."""
    text = code_text(certificate)
    number, rest = text.split("\n")[0], text[text.index("\n") :] if "\n" in text else ""
    code = segno.make_qr(number[:200] + rest, error="m", encoding=None if text.isascii() else "utf-8")
    drawn = BytesIO()
    code.save(drawn, kind="svg", border=QUIET_ZONE, xmldecl=False, light="white")
    return drawn.getvalue().decode("utf-8")
