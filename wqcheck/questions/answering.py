"""Turns the answer to a question into the sheet layout that remembers it."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from wqcheck.errors import SheetLayoutError
from wqcheck.questions.records import NO_PARAMETER, Question, QuestionKind
from wqcheck.sheet_layouts.checks import Checks
from wqcheck.sheet_layouts.loading import layout_from
from wqcheck.sheet_layouts.records import (
    NameAnswer,
    PointAnswer,
    SheetLayout,
    TableAnswer,
    TextAnswer,
    VolumeAnswer,
)
from wqcheck.sheet_layouts.saving import layout_text

_SECTIONS: Mapping[QuestionKind, tuple[str, Callable[[str], Any]]] = {
    QuestionKind.PARAMETER: ("aliases", lambda code: NameAnswer(parameter=code)),
    QuestionKind.COLUMN: ("aliases", lambda code: NameAnswer(parameter=code)),
    QuestionKind.UNIT: ("units", lambda unit: TextAnswer(text=unit)),
    QuestionKind.UNIT_TEXT: ("unit_spellings", str),
    QuestionKind.DATES: ("dates", str),
    QuestionKind.POINT: ("points", lambda code: PointAnswer(point=code)),
    QuestionKind.BASIS: ("bases", lambda basis: TextAnswer(text=basis)),
    QuestionKind.VOLUME: ("volumes", lambda volume: VolumeAnswer(volume_ml=float(volume))),
    QuestionKind.WORD: ("words", str),
}


def section_of(question: Question) -> str:
    """Return the section of a layout file that an answer to *question* stands in, blank where it stands in none."""
    return _SECTIONS[question.kind][0] if question.kind in _SECTIONS else ""


def answered(layout: SheetLayout, question: Question, answer: str) -> SheetLayout:
    """Return *layout* with the *answer* to *question*; a later answer to the same question takes its place.

    Start from :func:`~wqcheck.questions.propose_layout`: it holds the fingerprints by which the next sheet is known.

    Raises
    ------
    SheetLayoutError
        The answer is no parameter, unit, basis … of that question, or the question has no answer to remember.
    """
    answer = answer.strip()
    if question.kind == QuestionKind.MAGNITUDE:
        raise SheetLayoutError(
            f"{question.where}: no answer to this is kept, for the next sheet may be right or wrong in another way; "
            "ask the laboratory and correct the unit of the cells"
        )
    told = _checked(_told(layout, question, answer), question, answer)
    return replace(told, path=layout.path, remarks=layout.remarks)


def _told(layout: SheetLayout, question: Question, answer: str) -> SheetLayout:
    if question.kind == QuestionKind.DECIMAL:
        return replace(layout, decimal=answer)
    if question.kind in (QuestionKind.COLUMN, QuestionKind.PARAMETER) and answer == NO_PARAMETER:
        return replace(layout, not_parameters=tuple(dict.fromkeys([*layout.not_parameters, question.given])))
    if question.kind == QuestionKind.UNNAMED:
        return _with_named_table(layout, question.given, answer)
    section, record = _SECTIONS[question.kind]
    try:
        entry = record(answer)
    except ValueError:
        raise SheetLayoutError(f"{question.where}: write a number of mL (given: {answer!r})") from None
    changed: dict[str, Any] = {section: {**getattr(layout, section), question.given: entry}}
    return replace(layout, **changed)


def _with_named_table(layout: SheetLayout, fingerprint: str, code: str) -> SheetLayout:
    known = layout.table_for(fingerprint)
    if known is None:
        return replace(layout, tables=(*layout.tables, TableAnswer(fingerprints=(fingerprint,), parameter=code)))
    tables = tuple(replace(table, parameter=code) if table is known else table for table in layout.tables)
    return replace(layout, tables=tables)


def _checked(layout: SheetLayout, question: Question, answer: str) -> SheetLayout:
    """Return *layout* as it will be read from its file, or raise what would be wrong with it there."""
    checks = Checks()
    read = layout_from(tomllib.loads(layout_text(layout)), checks, default_name=layout.name, path=layout.path)
    if checks.problems:
        raise SheetLayoutError(
            f"{question.where}: {answer!r} does not answer this: {'; '.join(checks.problems)}; "
            f"usual answers are {', '.join(question.options) or 'none'}"
        )
    return read
