"""Turns what was read of a workbook into the questions that it leaves open, those about most results first."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
import pandas as pd
from pandera.typing import DataFrame
from rapidfuzz import fuzz, process

from wqcheck.near_names import nearest_parameters
from wqcheck.numerals import AMBIGUOUS_COMMA, AMBIGUOUS_POINT, IN_DOUBT
from wqcheck.parameters import catalogue, normalise
from wqcheck.questions.options import unit_options
from wqcheck.questions.records import NO_PARAMETER, Question, QuestionKind, Waiting
from wqcheck.results import parse_result
from wqcheck.sheet_layouts.records import MEANINGS
from wqcheck.sheets import ReadResult
from wqcheck.tables import Readings, Sign
from wqcheck.train.description import Train, match_points, place_of

VOLUMES_ML = ("100", "250", "50", "1", "1000")
"""Volumes that organisms are usually looked for in, mL (common practice, no source)."""
FIRST = 3
"""How many of the results that wait for an answer a question shows."""


def questions(read: ReadResult, train: Train | None = None) -> tuple[Question, ...]:
    """Return what a person may know that the sheets of one workbook do not say.

    Parameters
    ----------
    read : ReadResult
        What was read, with or without a sheet layout; what the layout answers is not asked again.
    train : Train or None
        With it, places that are no point of the train are asked about.

    Returns
    -------
    tuple of Question
        Each thing once, with how many results wait for it; most results first.
    """
    readings = read.readings[read.readings[Readings.sign] != Sign.NOT_DONE]
    readings = DataFrame[Readings](readings)
    asked = [
        *_names(read, readings), *_unnamed(read, readings), *_columns(read), *_units(readings), *_unit_texts(readings),
        *_bases(readings), *_volumes(readings), *_dates(read), *_unreadable(readings), *_magnitudes(read),
        *(_points(readings, train) if train is not None else ()),
    ]  # fmt: skip
    return tuple(sorted(asked, key=lambda question: -question.results))


def _grouped(
    rows: pd.DataFrame, by: str, make: Callable[[str, pd.DataFrame], tuple[QuestionKind, tuple[str, ...], str]]
) -> Iterator[Question]:
    """Yield one question for each value of the column *by*; *make* gives kind, options and sentence."""
    for value, group in rows.groupby(by, sort=False, observed=True):
        kind, options, why = make(str(value), group)
        yield _of_group(group, kind=kind, given=str(value), options=options, why=why)


def _of_group(
    group: pd.DataFrame, *, kind: QuestionKind, given: str, options: tuple[str, ...], why: str
) -> Question:  # fmt: skip
    """Return a question about all results of *group*, with the first of them."""
    named = group[Readings.parameter].fillna(group[Readings.parameter_text]).fillna("")
    first = group.head(FIRST).assign(named=named.head(FIRST))
    columns = ["named", Readings.reported, Readings.sample, Readings.cell]
    waiting = tuple(
        Waiting(parameter=parameter, reported=reported, sample=sample, cell=cell)
        for parameter, reported, sample, cell in first[columns].fillna("").itertuples(index=False)
    )
    about = tuple(dict.fromkeys(filter(None, named)))
    return Question(
        kind=kind, where=place_of(group.iloc[0]), given=given, options=options, why=why, results=len(group),
        about=about, waiting=waiting,
    )  # fmt: skip


def _names(read: ReadResult, readings: DataFrame[Readings]) -> Iterator[Question]:
    unknown = readings[readings[Readings.parameter].isna() & readings[Readings.parameter_text].notna()]
    headings = {heading for table in read.tables for heading in table.found.headings}

    def make(name: str, group: pd.DataFrame) -> tuple[QuestionKind, tuple[str, ...], str]:
        why = f"which parameter does {name!r} name ({len(group)} result(s))? No limit is found for it until it is known"
        kind = QuestionKind.COLUMN if normalise(name) in headings else QuestionKind.PARAMETER
        return kind, (*nearest_parameters(name), NO_PARAMETER), f"{why}; or is it none?"

    return _grouped(unknown, Readings.parameter_text, make)


def _unnamed(read: ReadResult, readings: DataFrame[Readings]) -> Iterator[Question]:
    """Yield a question for each sheet of results that no name stands at, where its table is known again."""
    unnamed = readings[readings[Readings.parameter].isna() & readings[Readings.parameter_text].isna()]
    for sheet, group in unnamed.groupby(unnamed[Readings.sheet].fillna("")):
        prints = [table.found.fingerprint for table in read.tables if table.found.part.name == sheet]
        known = list(dict.fromkeys(text for text in prints if text))
        if len(known) == 1:
            headings = [h for t in read.tables for h in t.found.headings if t.found.fingerprint == known[0]]
            options = dict.fromkeys(
                code for text in (*sorted(headings), read.name) for code in nearest_parameters(text)
            )
            yield _of_group(
                group, kind=QuestionKind.UNNAMED, given=known[0], options=tuple(options),
                why=f"which parameter are the {len(group)} results of this table of? The sheet names none",
            )  # fmt: skip


def _columns(read: ReadResult) -> Iterator[Question]:
    for finding in read.findings:
        if finding.code == "column not read" and normalise(finding.given):
            yield Question(
                kind=QuestionKind.COLUMN, where=finding.where, given=finding.given,
                options=(*nearest_parameters(finding.given), NO_PARAMETER),
                why=f"the column {finding.given!r} holds numbers but names no known parameter, so it was not read; "
                "which is it, or is it none?",
            )  # fmt: skip


def _units(readings: DataFrame[Readings]) -> Iterator[Question]:
    """Ask for units, but not for those of organisms of which only absence or presence is reported."""
    unstated = readings[Readings.unit].isna() & readings[Readings.unit_text].isna()
    plain = readings[Readings.sign].isin([Sign.ABSENT, Sign.PRESENT]) & _is_organism(readings)
    rows = readings[unstated & (plain == np.False_) & readings[Readings.parameter].notna()]

    def make(code: str, group: pd.DataFrame) -> tuple[QuestionKind, tuple[str, ...], str]:
        why = f"in which unit is {catalogue()[code].name} ({len(group)} result(s))? Without one nothing can be judged"
        return QuestionKind.UNIT, unit_options(code), why

    return (question for question in _grouped(rows, Readings.parameter, make) if question.options)


def _unit_texts(readings: DataFrame[Readings]) -> Iterator[Question]:
    rows = readings[readings[Readings.unit].isna() & readings[Readings.unit_text].notna()]

    def make(text: str, group: pd.DataFrame) -> tuple[QuestionKind, tuple[str, ...], str]:
        codes = group[Readings.parameter].dropna().unique()
        options = dict.fromkeys(unit for code in codes[:5] for unit in unit_options(str(code)))
        return QuestionKind.UNIT_TEXT, tuple(options), f"which unit does {text!r} mean ({len(group)} result(s))?"

    return _grouped(rows, Readings.unit_text, make)


def _bases(readings: DataFrame[Readings]) -> Iterator[Question]:
    ambiguous = [code for code, parameter in catalogue().items() if parameter.ambiguous]
    stated = readings[Readings.basis].notna() | readings[Readings.unit].isna()
    rows = readings[readings[Readings.parameter].isin(ambiguous) & (stated == np.False_)]

    def make(code: str, group: pd.DataFrame) -> tuple[QuestionKind, tuple[str, ...], str]:
        bases = tuple(catalogue()[code].bases)
        why = (
            f"on which basis is {catalogue()[code].name} ({len(group)} result(s)): {' or '.join(bases)}? "
            "Until it is known a result passes only if it passes on each"
        )
        return QuestionKind.BASIS, bases, why

    return _grouped(rows, Readings.parameter, make)


def _volumes(readings: DataFrame[Readings]) -> Iterator[Question]:
    """Ask for the volume that organisms were looked for in, where neither cell, unit nor column says it."""
    qualitative = readings[Readings.sign].isin([Sign.ABSENT, Sign.PRESENT])
    counted = readings[Readings.unit].notna() | qualitative
    rows = readings[_is_organism(readings) & readings[Readings.volume_ml].isna() & counted]
    rows = rows[rows[Readings.unit].isna() | rows[Readings.unit].isin(["CFU", "MPN", "count"])]

    def make(code: str, group: pd.DataFrame) -> tuple[QuestionKind, tuple[str, ...], str]:
        why = f"in how many mL was {catalogue()[code].name} looked for ({len(group)} result(s))?"
        return QuestionKind.VOLUME, VOLUMES_ML, why

    return _grouped(rows, Readings.parameter, make)


def _is_organism(readings: DataFrame[Readings]) -> pd.Series[bool]:
    organisms = [code for code, parameter in catalogue().items() if parameter.kind == "microbiological"]
    return readings[Readings.parameter].isin(organisms)


def _dates(read: ReadResult) -> Iterator[Question]:
    asked: set[str] = set()
    for table in read.tables:
        for role, (where, texts) in table.ambiguous.items():
            if role not in asked:
                asked.add(role)
                yield Question(
                    kind=QuestionKind.DATES, where=where, given=role, options=("dmy", "mdy", "ymd"),
                    why=f"in which order do {texts} give day, month and year ({role.replace('_', ' ')})?",
                )  # fmt: skip


def _unreadable(readings: DataFrame[Readings]) -> Iterator[Question]:
    """Ask for the decimal mark that nothing proves, and for words that stand where a result should."""
    rows = readings[readings[Readings.sign] == Sign.UNREADABLE]
    undecided = rows[Readings.reported].map(_may_be_two_numbers).astype(bool)
    if undecided.any():
        group = rows[undecided]
        texts = ", ".join(group[Readings.reported].unique()[:3])
        yield _of_group(
            group, kind=QuestionKind.DECIMAL, given=texts, options=(",", "."),
            why=f"which is the decimal mark in {texts}? A thousandfold error hangs on it",
        )  # fmt: skip
    worded = rows[Readings.reported].str.contains(r"[^\W\d_]", regex=True) & (
        rows[Readings.reported].str.contains(r"\d", regex=True) == np.False_
    )

    def make(text: str, group: pd.DataFrame) -> tuple[QuestionKind, tuple[str, ...], str]:
        return QuestionKind.WORD, MEANINGS, f"what does {text!r} mean as a result ({len(group)} of them)?"

    yield from _grouped(rows[worded], Readings.reported, make)


def _may_be_two_numbers(text: str) -> bool:
    return parse_result(text).problem == AMBIGUOUS_COMMA or parse_result(text, IN_DOUBT).problem == AMBIGUOUS_POINT


def _magnitudes(read: ReadResult) -> Iterator[Question]:
    for finding in read.findings:
        if finding.code == "mixed magnitudes":
            yield Question(
                kind=QuestionKind.MAGNITUDE, where=finding.where, given=finding.given, options=(),
                why=f"{finding.message}; this is asked for every sheet, for no answer can hold for the next one",
            )  # fmt: skip


def _points(readings: DataFrame[Readings], train: Train) -> Iterator[Question]:
    place = readings[Readings.point].fillna(readings[Readings.stage])
    rows = readings.assign(place=place)[match_points(place, train).isna() & place.notna()]
    names = {point.code: f"{point.code} {point.name} {' '.join(point.aliases)}" for point in train.points}

    def make(text: str, group: pd.DataFrame) -> tuple[QuestionKind, tuple[str, ...], str]:
        near = process.extract(normalise(text), names, scorer=fuzz.token_set_ratio, processor=normalise, limit=None)
        why = f"which point of {train.name} is {text!r} ({len(group)} result(s))?"
        return QuestionKind.POINT, tuple(code for _, _, code in near), why

    return _grouped(rows, "place", make)
