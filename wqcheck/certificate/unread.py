"""Turns the ledger of the cells that are no results into those among them that look like results all the same."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pandera.typing import DataFrame

from wqcheck.certificate.lines import plain_text
from wqcheck.results import parse_result
from wqcheck.tables import Ledger, Sign

OVERLOOKED = ("not used", "other column", "text", "computed", "remark")
"""Roles of the ledger under which a result can have been passed over; the others were read for what they are."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UnreadCell:
    """One cell that looks like a result and was not read as one: where, its text, and why (role and reason)."""

    where: str
    text: str
    role: str
    reason: str


def unread_cells(ledger: DataFrame[Ledger]) -> tuple[UnreadCell, ...]:
    """Return the cells whose text could be read as a result but whose role is one of :data:`OVERLOOKED`, in order."""
    aside = ledger[ledger[Ledger.role].isin(OVERLOOKED)]
    alike = {text: _reads_as_result(text) for text in aside[Ledger.text].unique()}
    chosen = aside[aside[Ledger.text].map(alike).eq(True)] if len(aside) else aside
    return tuple(_line(row) for row in chosen.to_dict("records"))


def _reads_as_result(text: object) -> bool:
    if not isinstance(text, str):
        return False
    return parse_result(text, ".").sign not in (Sign.UNREADABLE, Sign.NOT_DONE)


def _line(row: Mapping[Any, Any]) -> UnreadCell:
    words = {key: plain_text(value) for key, value in row.items()}
    sheet = f"{words[Ledger.sheet]}!" if words[Ledger.sheet] else ""
    return UnreadCell(
        where=f"{words[Ledger.workbook]}|{sheet}{words[Ledger.cell]}",
        text=words[Ledger.text],
        role=words[Ledger.role],
        reason=words[Ledger.reason],
    )
