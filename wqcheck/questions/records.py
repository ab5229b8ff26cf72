"""Turns one thing that a sheet leaves open into a record: what, where, what could be answered, and why it matters."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

NO_PARAMETER = "no parameter"
"""Answer for a name whose values are no results, such as a postcode or the rain of the last day."""


class QuestionKind(StrEnum):
    """What is asked; the comment says what ``given`` is and what an answer is."""

    PARAMETER = "unknown parameter"  # a name of the sheet → a parameter code, or NO_PARAMETER
    COLUMN = "column not read"  # a heading → a parameter code, or NO_PARAMETER
    UNNAMED = "results without a name"  # the fingerprint of a table → a parameter code
    UNIT = "missing unit"  # a parameter code → a unit
    UNIT_TEXT = "unknown unit"  # a unit text of the sheet → a unit
    DATES = "order of day and month"  # sampled_at, received_at or analysed_at → dmy, mdy or ymd
    POINT = "unknown point"  # a place text of the sheet → the code of a point of the train
    BASIS = "basis not stated"  # a parameter code → a basis, such as N or NO3
    VOLUME = "volume examined not stated"  # a parameter code → a volume in mL
    DECIMAL = "decimal mark"  # texts of the sheet → "." or ","
    WORD = "unreadable result"  # a text of the sheet → what it means
    MAGNITUDE = "mixed magnitudes"  # a parameter code → no answer: only the laboratory can mend the sheet


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiting:
    """One result that waits for an answer: as reported, its parameter (code or name of the sheet), sample and cell."""

    reported: str
    parameter: str
    sample: str
    cell: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One thing that the sheet leaves open and that a person may know.

    Attributes
    ----------
    kind : QuestionKind
        What is asked.
    where : str
        ``workbook|sheet!cell`` of the first place.
    given : str
        What the answer will be about (see :class:`QuestionKind`).
    options : tuple of str
        Answers that :func:`~wqcheck.questions.answered` takes, likeliest first; another one may be right. None of them
        is ever applied unasked. Empty where there is no answer to remember.
    why : str
        One sentence for the person who answers.
    results : int
        How many results wait for the answer.
    about : tuple of str
        The parameters of these results: codes, or names of the sheet where they are not known.
    waiting : tuple of Waiting
        The first few of these results.
    """

    kind: QuestionKind
    where: str
    given: str
    options: tuple[str, ...]
    why: str
    results: int = 0
    about: tuple[str, ...] = ()
    waiting: tuple[Waiting, ...] = ()

    def __str__(self) -> str:
        offered = f" [{' | '.join(self.options)}]" if self.options else ""
        return f"{self.where}: {self.why}{offered}"
