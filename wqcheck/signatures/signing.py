"""Turns a certificate and a key into a signed PDF: the paper as it would be printed, and the signature appended."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path
from typing import Any

from wqcheck.certificate.data import Certificate
from wqcheck.certificate_files.letterhead import PLAIN, Letterhead
from wqcheck.certificate_files.view import SignatureLine
from wqcheck.certificate_files.writing import pdf_bytes
from wqcheck.errors import WqcheckError
from wqcheck.signatures.keys import SigningKey

FIELD = "Signature1"


def signed_pdf(
    certificate: Certificate,
    key: SigningKey,
    *,
    at: datetime,
    fonts: Sequence[Path] = (),
    letterhead: Letterhead = PLAIN,
) -> bytes:
    """Print a paper that says who signed it and when, and sign it (PAdES baseline B-B, ETSI EN 319 142-1, 6.3).

    The signature is an incremental update: the printed file stands unchanged at its beginning, and remains PDF/A-3b.

    Parameters
    ----------
    certificate : Certificate
    key : SigningKey
    at : datetime
        Time of signing with its zone, printed and signed; it is the plant's clock, no time stamp of a third party.
    fonts, letterhead
        As for print.

    Raises
    ------
    WqcheckError
        ``at`` has no time zone, or the key's certificate is not in force then.
    """
    validity = key.signer.signing_cert["tbs_certificate"]["validity"].native
    if at.tzinfo is None or not validity["not_before"] <= at <= validity["not_after"]:
        raise WqcheckError(f"the key of {key.name} is not in force at {at.isoformat()}; take another key")
    at = at.astimezone(UTC).replace(microsecond=0)
    line = SignatureLine(
        name=key.name, at=at.isoformat(timespec="seconds"), fingerprint=key.fingerprint, self_signed=key.self_signed
    )
    printed = pdf_bytes(certificate, fonts=fonts, letterhead=letterhead, signature=line)
    return _signed(printed, key, at)


def _signed(printed: bytes, key: SigningKey, at: datetime) -> bytes:
    from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
    from pyhanko.sign import fields, signers

    class AsPrinted(IncrementalPdfFileWriter):
        """Leaves the metadata of the printed file alone, which say that it is PDF/A-3b."""

        def _update_meta(self) -> None:
            return

    class AtThatTime(signers.PdfSigner):
        """Signs at the time that the paper states."""

        def init_signing_session(self, *args: Any, **settings: Any) -> Any:
            session = super().init_signing_session(*args, **settings)
            session.system_time = at
            return session

    logging.getLogger("pyhanko").setLevel(logging.ERROR)  # it warns of each self-signed certificate
    settings = signers.PdfSignatureMetadata(
        field_name=FIELD, md_algorithm="sha256", subfilter=fields.SigSeedSubFilter.PADES, name=key.name
    )
    signed = BytesIO()
    AtThatTime(settings, signer=key.signer).sign_pdf(AsPrinted(BytesIO(printed)), output=signed)
    return signed.getvalue()
