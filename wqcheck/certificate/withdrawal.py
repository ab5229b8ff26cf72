"""Turns a document that was issued into the notice that withdraws it: its number, why, who and when."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from wqcheck.certificate.data import Certificate, CertificateKind
from wqcheck.certificate.lines import plain_text
from wqcheck.certificate.words import withdrawal_statement, withdrawal_steps
from wqcheck.errors import ReleaseRefusedError


def withdraw_document(certificate: Certificate, *, reason: str, by: str, at: datetime) -> Certificate:
    """Withdraw a document: the notice has its number and its content, and says that it no longer holds.

    Parameters
    ----------
    certificate : Certificate
        As it was issued.
    reason, by : str
        Why, and the authorised person; neither may be blank.
    at : datetime
        When; no clock is read here.

    Raises
    ------
    ReleaseRefusedError
        The reason or the name is blank, or the document is withdrawn already.
    """
    entries = {"the reason of the withdrawal": reason, "the name of the person who withdraws": by}
    obstacles = [f"{what} is blank; give it" for what, text in entries.items() if not text.strip()]
    if certificate.withdrawn:
        obstacles.append(f"the document {certificate.number} is withdrawn already: {certificate.withdrawn}")
    if obstacles:
        raise ReleaseRefusedError(certificate.batch.batch, "withdrawn", obstacles)
    return replace(
        certificate,
        kind=CertificateKind.WITHDRAWAL,
        withdrawn=plain_text(f"withdrawn {at.isoformat(timespec='seconds')} by {by.strip()}: {reason.strip()}"),
        statement=withdrawal_statement(certificate.number),
        next_steps=withdrawal_steps(certificate.batch.batch),
    )


def withdrawal_parts(withdrawn: str) -> tuple[str, str, str]:
    """Give when, by whom and why from the sentence of a notice; what cannot be told apart is the reason."""
    head, _, rest = withdrawn.removeprefix("withdrawn ").partition(" by ")
    who, colon, why = rest.partition(": ")
    return (head, who, why) if colon else ("", "", withdrawn)
