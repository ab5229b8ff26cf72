"""Turns a flag into what a person does next, in plain words, each step with its source or marked as common practice.

The steps stand in ``next_steps.csv``, one row each, in the order of doing. A row applies where each of its filled cells
names the flag: ``kinds`` a :class:`~wqcheck.release.flags.FlagKind`, ``groups`` the parameter (code, family or kind) or
the kind of stage, ``marks`` a verdict, the code of a finding, the sign of the result, or what the flag leads to.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

import pandas as pd
from pandera.typing import DataFrame

from wqcheck.parameters import catalogue
from wqcheck.release.flags import FlagKind, Flags
from wqcheck.tables import Judged, Sign, StageVerdicts
from wqcheck.train.suspects import BAD, Grade, Suspect

PRACTICE = "common practice, no source"
SMALL_VOLUME, NO_UNIT = "small volume", "no unit"
"""Marks that are told from a judged row: an organism not shown to be absent in the limit's volume; no unit known."""

BELOW_LEAST, ABOVE_MOST = "below the least", "above the most"
"""Marks of a judged row on which side of its limits the result lies."""

_MEASURED = (Sign.EQUAL, Sign.LESS, Sign.GREATER)


@dataclass(frozen=True, slots=True, kw_only=True)
class NextStep:
    """One thing to do, and who says so; ``source`` is a title with its clause, or :data:`PRACTICE`."""

    text: str
    source: str = PRACTICE


DEFERENCE = NextStep(
    text="The local regulator, the plant's licence and licensed practice prevail over these steps: where they ask for "
    "a report, another sample or another order, follow them."
)
"""What always stands last."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StepRow:
    """One row of the table: when it applies (an empty set: always), and the step."""

    kinds: frozenset[str]
    groups: frozenset[str]
    marks: frozenset[str]
    step: NextStep

    def applies(self, kind: str, groups: frozenset[str], marks: frozenset[str]) -> bool:
        """Return whether each filled cell names the flag."""
        asked = ((self.kinds, {kind}), (self.groups, groups), (self.marks, marks))
        return all(not wanted or not wanted.isdisjoint(there) for wanted, there in asked)


@cache
def step_rows() -> tuple[StepRow, ...]:
    """Return the table of steps, in the order of doing."""
    text = resources.files("wqcheck.release").joinpath("next_steps.csv").read_text(encoding="utf-8")
    return tuple(
        StepRow(
            kinds=_kinds(row["kinds"]), groups=_words(row["groups"]), marks=_words(row["marks"]),
            step=NextStep(text=row["step"], source=row["source"] or PRACTICE),
        )
        for row in csv.DictReader(text.splitlines())
    )  # fmt: skip


def next_steps(
    flag: Mapping[Any, Any],
    judged: Mapping[Any, Any] | None = None,
    *,
    stage_kind: str = "",
    suspects: Iterable[Suspect] = (),
) -> tuple[NextStep, ...]:
    """Return what to do about one flag, in the order of doing; what the regulator asks always stands last.

    Parameters
    ----------
    flag : Mapping
        A row of ``DataFrame[Flags]``.
    judged : Mapping, optional
        Its row of ``DataFrame[Judged]``, where it has one; more can then be told.
    stage_kind : str
        Kind of its stage, for a flag on a stage.
    suspects : iterable of Suspect
        Where :mod:`wqcheck.train.look_first` says to look because of this flag; each becomes a step.
    """
    groups = frozenset({*_parameter_groups(str(flag[Flags.parameter])), stage_kind})
    marks = frozenset({str(flag[Flags.code]), str(flag[Flags.leads_to]), *_row_marks(judged, groups)})
    found = [row.step for row in step_rows() if row.applies(str(flag[Flags.kind]), groups, marks)]
    return (*found, *map(_looked_at, suspects), DEFERENCE)


def suspects_for(
    flag: Mapping[Any, Any], suspects: Iterable[Suspect], stages: DataFrame[StageVerdicts]
) -> tuple[Suspect, ...]:
    """Return the suspects that one flag speaks for, in their order.

    Of a flag on a stage, those at that stage. Of a result out of limit, those at stages that are weak in its parameter,
    doubts about the results themselves, and for organisms whatever lets bacteria in. Of other flags, none.
    """
    code, kind = str(flag[Flags.parameter]), str(flag[Flags.kind])
    if kind == FlagKind.STAGE:
        return tuple(one for one in suspects if one.stage == flag[Flags.stage])
    if kind != FlagKind.OUT:
        return ()
    bad = stages[StageVerdicts.parameter].eq(code) & stages[StageVerdicts.verdict].isin([str(word) for word in BAD])
    weak = set(stages.loc[bad, StageVerdicts.stage])
    grades = {Grade.RESULTS}
    if "microbiological" in _parameter_groups(code):
        grades |= {Grade.BARRIER, Grade.CONTAMINATION}
    return tuple(one for one in suspects if one.stage in weak or one.grade in grades)


def _kinds(cell: str) -> frozenset[str]:
    """Return the kinds of a cell; a kind has no ``;`` in it."""
    return frozenset(str(FlagKind(word)) for word in _words(cell))


def _words(cell: str) -> frozenset[str]:
    return frozenset(filter(None, (word.strip() for word in cell.split(";"))))


def _parameter_groups(code: str) -> tuple[str, ...]:
    entry = catalogue().get(code)
    return (code, entry.group, entry.kind) if entry is not None else ()


def _row_marks(judged: Mapping[Any, Any] | None, groups: frozenset[str]) -> Iterable[str]:
    """Yield what the judged row of a flag tells beyond its verdict."""
    if judged is None:
        return
    sign = str(judged[Judged.sign])
    yield sign
    lower, upper, low, high = (float(judged.get(name, math.nan)) for name in (
        Judged.lower, Judged.upper, Judged.compared_low, Judged.compared_high))  # fmt: skip
    if high < lower:
        yield BELOW_LEAST
    if low > upper:
        yield ABOVE_MOST
    if sign in _MEASURED and pd.isna(judged[Judged.unit]):
        yield NO_UNIT
    if "microbiological" in groups and sign in (Sign.ABSENT, Sign.EQUAL, Sign.LESS):
        yield SMALL_VOLUME


def _looked_at(suspect: Suspect) -> NextStep:
    return NextStep(text=f"Look at {suspect.stage}: {suspect.title}. {suspect.check} {suspect.caution}")
