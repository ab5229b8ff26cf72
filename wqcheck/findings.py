"""Turns what is odd about the data into findings: what, where, what was given, and how to mend it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Severity(StrEnum):
    """How much a finding weighs: a ``NOTE`` informs, a ``HOLD`` forbids release until it is settled."""

    NOTE = "note"
    HOLD = "hold"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing the user should know about the data.

    Attributes
    ----------
    code : str
        Stable short name, e.g. ``unknown unit``; programs may filter on it.
    severity : Severity
        ``HOLD`` forbids release.
    message : str
        One sentence: what is wrong and how to mend it.
    where : str
        ``workbook|sheet!cell`` or as much of it as is known.
    given : str
        The text as it stands in the sheet.
    """

    code: str
    severity: Severity
    message: str
    where: str = ""
    given: str = ""

    def __str__(self) -> str:
        given = f" (given: {self.given})" if self.given else ""
        return f"{self.where}: {self.message}{given}" if self.where else f"{self.message}{given}"
