"""Turns what is known of a train on one day into the case that the rules look at, and the form of what they find."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import IntEnum
from typing import Any

import pandas as pd
from pandera.typing import DataFrame

from wqcheck.parameters import find_parameter
from wqcheck.plant.readings import PlantReadings
from wqcheck.quantities import show_quantity
from wqcheck.tables import Readings, StageVerdict, StageVerdicts
from wqcheck.train.description import Stage, Train
from wqcheck.train.kinds import cautions

BAD = (StageVerdict.WEAK, StageVerdict.WORSE)


class Grade(IntEnum):
    """How grave it is if a suspicion is true; the gravest is looked at first."""

    RESULTS = 1
    BARRIER = 2
    CONTAMINATION = 3
    REMOVAL = 4
    SERVICE = 5
    FIT = 6


GRADES = {
    Grade.RESULTS: "the results themselves are in doubt, so settle this before anything else",
    Grade.BARRIER: "a barrier fails, or membranes are being destroyed",
    Grade.CONTAMINATION: "bacteria enter or grow",
    Grade.REMOVAL: "a stage removes less than is usual",
    Grade.SERVICE: "service is due",
    Grade.FIT: "the parts do not fit the planned day",
}


@dataclass(frozen=True, slots=True)
class Evidence:
    """One number that speaks for a suspicion, and the cell or file that it stands in."""

    text: str
    where: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Suspect:
    """A stage to look at: what may be wrong, why, what to check next, and the caution of doing so.

    ``weight`` orders suspects of one grade: how many times a limit is passed, or log units that lack.
    """

    code: str
    stage: str
    title: str
    grade: Grade
    weight: float
    why: str
    evidence: tuple[Evidence, ...]
    check: str
    caution: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Case:
    """What the rules look at: the train, its readings, removals with verdicts, feeds beside limits, plant readings."""

    train: Train
    readings: DataFrame[Readings]
    stages: DataFrame[StageVerdicts]
    feeds: pd.DataFrame
    plant: PlantReadings | None = None

    def of_kind(self, *kinds: str) -> Iterator[Stage]:
        """Yield the stages of these kinds in the order of flow."""
        yield from (stage for stage in self.train.stages if stage.kind in kinds)

    def bad_rows(self, stage: Stage, codes: Iterable[str] = ()) -> pd.DataFrame:
        """Return the removals of a stage that are weak or worse than the inlet, of these parameters or of all."""
        rows = self.stages[self.stages["stage"].eq(stage.name) & self.stages["verdict"].isin(BAD)]
        return rows[rows["parameter"].isin(list(codes))] if codes else rows

    def before(self, stage: Stage, kinds: Sequence[str]) -> Stage | None:
        """Return the nearest stage of one of these kinds before *stage*, following the water upwards."""
        inlet, seen = stage.inlet, set[str]()
        while inlet and inlet not in seen:
            seen.add(inlet)
            feeding = next((other for other in self.train.stages if other.outlet == inlet), None)
            if feeding is None or feeding.kind in kinds:
                return feeding
            inlet = feeding.inlet
        return None

    def number(self, table: str, key: str) -> float:
        """Return one plant reading in the formulas' unit, NaN where there is none."""
        return self.plant.tables.get(table, {}).get(key, math.nan) if self.plant else math.nan

    def shown(self, table: str, key: str, kind: str, name: str) -> Evidence:
        """Return one plant reading as evidence."""
        cell = self.plant.cells.get(f"{table}.{key}", "") if self.plant else ""
        path = self.plant.path if self.plant else ""
        value = self.number(table, key)
        text = f"{value:.0%}" if kind == "fraction" else show_quantity(value, kind)
        return Evidence(f"{name} {text}", cell or f"{path} [{table}] {key}")


def removal_evidence(rows: pd.DataFrame, most: int = 4) -> tuple[Evidence, ...]:
    """Return the removals of *rows* (StageVerdicts) as evidence, worst first."""
    ordered = rows.sort_values("removal_high", na_position="last").head(most)
    return tuple(
        Evidence(
            f"{find_parameter(row['parameter']).name}: {row['inlet']} before and {row['outlet']} after, in "
            f"{'no stated unit' if pd.isna(row['unit']) else row['unit']}: {row['verdict']} (usual: {row['expected']})",
            f"{row['inlet_cells']} → {row['outlet_cells']}",
        )
        for row in ordered.to_dict("records")
    )


def feed_evidence(rows: pd.DataFrame) -> tuple[Evidence, ...]:
    """Return feeds beyond what a stage can bear as evidence."""
    return tuple(
        Evidence(
            f"{find_parameter(row['parameter']).name} at {row['point']}: {row['value']} {row['unit']} "
            f"({_limit_words(row)}; {row['source']})",
            row["cell"],
        )
        for row in rows.sort_values("excess", ascending=False).to_dict("records")
    )


def _limit_words(row: Mapping[Any, Any]) -> str:
    unit = "" if pd.isna(row["unit_wanted"]) else f" {row['unit_wanted']}"
    ends = (("at least", row["lower"]), ("at most", row["upper"]))
    return " and ".join(f"{word} {end:g}{unit}" for word, end in ends if not math.isnan(end))


def suspect(code: str, stage: Stage, grade: Grade, **said: Any) -> Suspect:
    """Return a suspect at a stage with the cautions of its kind."""
    return Suspect(code=code, stage=stage.name, grade=grade, caution=cautions(stage.kind), **said)
