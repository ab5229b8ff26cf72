"""Turns what a record store knows of a document into what the document says of it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptAs:
    """What a record store adds to a document.

    Attributes
    ----------
    revision : int
        How many documents of the batch it replaces, one after the other.
    supersedes : str
        Number of the document that it replaces, blank for the first.
    override : str
        Sentence that says who released the batch against a recommended hold, and why; blank otherwise.
    record : str
        Number and hash of the log entry of the store that the document rests on, ``17:abc…``.
    """

    revision: int = 0
    supersedes: str = ""
    override: str = ""
    record: str = ""


NOT_KEPT = KeptAs()
"""What a document that no record store numbers adds: nothing."""

RECORDED = ("revision", "supersedes", "override", "record", "withdrawn")
"""Fields of a certificate that only a record store fills."""
