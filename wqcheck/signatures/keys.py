"""Turns a name into a signing key of its own, or a PKCS#12 file and its password into a key that signs."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from wqcheck.errors import WqcheckError

_YEARS = 3
_BITS = 3072
"""Length of an RSA key for use to 2030 and beyond (NIST SP 800-57 part 1 rev. 5, table 2: 128-bit strength)."""


@dataclass(frozen=True, slots=True)
class SigningKey:
    """A key that signs: what the signing library takes, who it names, the certificate's SHA-256, who vouches for it."""

    signer: Any
    name: str
    fingerprint: str
    self_signed: bool


def require_packages() -> None:
    """Say which packages are missing.

    Raises
    ------
    WqcheckError
        The extra ``sign`` is not installed.
    """
    try:
        import cryptography
        import pyhanko  # noqa: F401

        del cryptography
    except ImportError as error:
        raise WqcheckError(
            "signing and checking signatures need further packages: pip install 'wqcheck[sign]'"
        ) from error


def new_key(name: str, password: str, *, now: datetime) -> bytes:
    """Make a self-signed RSA key as a PKCS#12 file; nobody but the plant vouches for it.

    Parameters
    ----------
    name : str
        Who signs, printed on each paper.
    password : str
        Encrypts the file; at least 12 characters.
    now : datetime
        Beginning of its validity of three years, with a time zone.

    Raises
    ------
    WqcheckError
        The name is blank or longer than a certificate allows, or the password is too short.
    """
    require_packages()
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import rsa
    from cryptography.hazmat.primitives.serialization import pkcs12

    if not 0 < len(name.strip()) <= 64:
        raise WqcheckError("the name of a key has 1 to 64 characters; give the name of who signs")
    if len(password) < 12:
        raise WqcheckError("the password of a key has at least 12 characters; choose a longer one")
    key = rsa.generate_private_key(public_exponent=65537, key_size=_BITS)
    subject = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, name.strip())])
    usage = x509.KeyUsage(
        digital_signature=True, content_commitment=True, key_encipherment=False, data_encipherment=False,
        key_agreement=False, key_cert_sign=False, crl_sign=False, encipher_only=False, decipher_only=False,
    )  # fmt: skip
    built = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(minutes=5))
        .not_valid_after(now + timedelta(days=365 * _YEARS))
        .add_extension(usage, critical=True)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .sign(key, hashes.SHA256())
    )
    encryption = serialization.BestAvailableEncryption(password.encode("utf-8"))
    return pkcs12.serialize_key_and_certificates(name.strip().encode("utf-8"), key, built, None, encryption)


def load_key(path: Path, password: str) -> SigningKey:
    """Read a PKCS#12 file.

    Raises
    ------
    WqcheckError
        It cannot be opened with this password, or its certificate is not in force.
    """
    require_packages()
    from pyhanko.sign import signers

    simple: Any = signers.SimpleSigner
    try:
        signer = simple.load_pkcs12(str(path), passphrase=password.encode("utf-8"))
    except (OSError, ValueError) as error:
        raise WqcheckError(f"{path}: the key cannot be opened ({error}); check file and password") from error
    if signer is None or signer.signing_cert is None:
        raise WqcheckError(f"{path}: the key cannot be opened; check file and password")
    certificate = signer.signing_cert
    return SigningKey(
        signer, signer_name(certificate), certificate.sha256.hex(), certificate.self_signed in ("yes", "maybe")
    )


def signer_name(certificate: Any) -> str:
    """Give the common name of a certificate, else its whole subject."""
    return str(certificate.subject.native.get("common_name", certificate.subject.human_friendly))
