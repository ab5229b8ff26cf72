"""Turns a PDF into what its signature proves: over which bytes, by which certificate, when, and with what doubts."""

from __future__ import annotations

import logging
import re
from dataclasses import dataclass
from datetime import UTC
from io import BytesIO
from typing import Any

from wqcheck.certificate_files.view import SignatureLine
from wqcheck.signatures.keys import require_packages, signer_name

_CONTENTS = re.compile(rb"/Contents\s*<([0-9A-Fa-f]*)>")
_BYTE_RANGE = re.compile(rb"/ByteRange\s*\[\s*(\d+)\s+(\d+)\s+(\d+)\s+(\d+)\s*\]")


@dataclass(frozen=True, slots=True)
class SignatureCheck:
    """What the signature of a PDF proves: who and when, the length of the printed file, and what is wrong with it."""

    line: SignatureLine
    printed_length: int
    problems: tuple[str, ...]


def is_signed(content: bytes) -> bool:
    """Tell whether a PDF claims to hold a signature."""
    return b"/ByteRange" in content


def check_signature(content: bytes) -> SignatureCheck:
    """Check the signature of a PDF that was signed by :func:`wqcheck.signatures.signing.signed_pdf`.

    Raises
    ------
    ValueError
        It holds no signature that can be read.
    WqcheckError
        The extra ``sign`` is not installed.
    """
    require_packages()
    from pyhanko.pdf_utils.misc import PdfError
    from pyhanko.pdf_utils.reader import PdfFileReader

    logging.getLogger("pyhanko").setLevel(logging.CRITICAL)
    logging.getLogger("pyhanko_certvalidator").setLevel(logging.CRITICAL)
    try:
        signatures = PdfFileReader(BytesIO(content)).embedded_signatures
        if len(signatures) != 1:
            raise ValueError(f"a paper has one signature, this file has {len(signatures)}")
        return _checked(signatures[0], content)
    except (PdfError, ValueError, KeyError, TypeError, IndexError, AttributeError) as error:
        raise ValueError(f"the signature cannot be read ({error})") from error


def _checked(signature: Any, content: bytes) -> SignatureCheck:
    from pyhanko.sign.validation import validate_pdf_signature
    from pyhanko_certvalidator import ValidationContext

    certificate = signature.signer_cert
    trusted = ValidationContext(trust_roots=[certificate], allow_fetching=False)
    status = validate_pdf_signature(signature, signer_validation_context=trusted, skip_diff=True)
    problems = [] if status.intact else ["the file was changed after it was signed"]
    if not status.valid:
        problems.append("the signature does not belong to the key of its certificate")
    at = signature.self_reported_timestamp
    if at is None:
        raise ValueError("the time of signing is missing")
    line = SignatureLine(
        name=signer_name(certificate),
        at=at.astimezone(UTC).isoformat(timespec="seconds"),
        fingerprint=certificate.sha256.hex(),
        self_signed=certificate.self_signed in ("yes", "maybe"),
    )
    problems += [] if _plainly_written(signature) else ["the signature is not written as it was"]
    return SignatureCheck(line, _printed_length(content), (*problems, *_uncovered(content)))


def _plainly_written(signature: Any) -> bool:
    """Tell whether what the key does not sign of a signature (RFC 5652, 5.1) is as this package writes it."""
    from asn1crypto import cms

    data = signature.signed_data
    (signer,) = data["signer_infos"]
    plain = cms.SignedData(
        {
            "version": "v1",
            "digest_algorithms": [{"algorithm": "sha256"}],
            "encap_content_info": {"content_type": "data"},
            "certificates": data["certificates"],
            "signer_infos": data["signer_infos"],
        }
    )
    named = signer["version"].native == "v1" and signer["digest_algorithm"]["algorithm"].native == "sha256"
    return named and bool(data.dump().endswith(plain.dump(force=True)))  # before it stands its tag alone


def _uncovered(content: bytes) -> list[str]:
    """Find what the signature itself does not cover: bytes outside its range, and anything but zeros after its DER."""
    ranges, held = _BYTE_RANGE.findall(content), list(_CONTENTS.finditer(content))
    if len(ranges) != 1 or len(held) != 1:
        return ["the place of the signature cannot be told"]
    start, first, second, rest = map(int, ranges[0])
    problems = []
    if start != 0 or second + rest != len(content) or (first, second) != (held[0].start(1) - 1, held[0].end(1) + 1):
        problems.append("the signature does not cover the whole file")
    text = held[0][1]
    der = bytes.fromhex(text.decode("ascii")) if len(text) % 2 == 0 else b""
    length = _der_length(der)
    if text != der.hex().upper().encode("ascii") and text != der.hex().encode("ascii"):
        problems.append("the signature is not written as it was")
    if any(der[length:]):
        problems.append("something stands behind the signature")
    return problems


def _der_length(der: bytes) -> int:
    """Return the length of the first DER value, its head included (ITU-T X.690, 8.1.3)."""
    if len(der) < 2:
        return 0
    if der[1] < 0x80:
        return 2 + der[1]
    size = der[1] & 0x7F
    return 2 + size + int.from_bytes(der[2 : 2 + size], "big")


def _printed_length(content: bytes) -> int:
    """Return where the printed file ends: with the first end-of-file mark (ISO 32000-1, 7.5.6)."""
    return content.index(b"%%EOF") + len(b"%%EOF")
