"""Turns single checks of a paper into one report: what was checked, what is wrong, and what could not be checked."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum


class Outcome(StrEnum):
    """What one check gave."""

    HOLDS = "holds"
    WRONG = "WRONG"
    NOT_CHECKED = "not checked"


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One check: what was checked in a few words, its outcome, and a sentence about it."""

    what: str
    outcome: Outcome
    message: str


@dataclass(frozen=True, slots=True)
class Report:
    """All checks of one file."""

    checks: tuple[Check, ...]

    @property
    def sound(self) -> bool:
        """Whether no check found anything wrong."""
        return all(check.outcome != Outcome.WRONG for check in self.checks)


def from_problems(what: str, problems: Iterable[str], good: str) -> Check:
    """Make a check that holds when there is no problem, and otherwise lists all of them."""
    found = list(problems)
    outcome = Outcome.WRONG if found else Outcome.HOLDS
    return Check(what=what, outcome=outcome, message="; ".join(found) if found else good)
