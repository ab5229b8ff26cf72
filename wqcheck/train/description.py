"""Turns the plant's train file into a record of stages and points, and finds the point that each result belongs to."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd
from pandera.typing import DataFrame

from wqcheck.findings import Finding, Severity
from wqcheck.plant_files import read_plant_file, refuse_problems
from wqcheck.quantities import read_quantity
from wqcheck.tables import Readings
from wqcheck.train.file_problems import DATES, QUANTITIES, TEXTS, WHOLE_NUMBERS, train_problems
from wqcheck.train.kinds import SOURCE
from wqcheck.train.point_texts import point_key, point_texts

PAIRING_HOURS = 12.0
"""Hours that samples before and after a stage may lie apart by default (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Point:
    """A sampling point: its short code, its name and what else sheets call it."""

    code: str
    name: str
    aliases: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Equipment:
    """What stands at a stage; per unit, NaN or None where the file does not say.

    ``installed`` units of which ``standby`` wait; ``rated_flow`` in m³/h (of permeate, for membranes);
    ``rated_pressure``, ``plan_change_out`` and ``change_out`` in kPa; ``media_volume`` in m³ and ``media_area`` in m²
    of bed; ``membranes`` elements of ``membrane_area`` m² each; ``lamp_dose`` in mJ/cm² as validated; ``media_life``
    and ``lamp_life`` in min. ``carries`` says which flow of the plant's balance goes through it.
    """

    installed: int = 1
    standby: int = 0
    rated_flow: float = math.nan
    rated_pressure: float = math.nan
    media_volume: float = math.nan
    media_area: float = math.nan
    media_life: float = math.nan
    media_changed: date | None = None
    membranes: int = 0
    membrane_area: float = math.nan
    lamp_dose: float = math.nan
    lamp_life: float = math.nan
    lamp_changed: date | None = None
    plan_change_out: float = math.nan
    change_out: float = math.nan
    carries: str = ""

    @property
    def on_duty(self) -> int:
        """Units that run at a time."""
        return self.installed - self.standby


@dataclass(frozen=True, slots=True)
class Stage:
    """A step of treatment between two points (their codes); a stage of kind ``source`` has no inlet.

    ``concentrate`` is the point of a second outlet (concentrate, backwash), ``recycle_to`` the point that it, or part
    of it, is led back to; ``rated_removal`` what it is rated to remove (:func:`wqcheck.train.ratings.rated_removals`).
    """

    name: str
    kind: str
    inlet: str
    outlet: str
    note: str = ""
    concentrate: str = ""
    recycle_to: str = ""
    rated_removal: str = ""
    equipment: Equipment = field(default_factory=Equipment)


@dataclass(frozen=True, slots=True)
class Train:
    """A plant's train: stages in the order of flow, its points, and the points at which the finished water is sampled.

    ``pairing`` is how many hours samples before and after a stage may lie apart; ``digest`` is the SHA-256 of the
    file's bytes and ``path`` where it was read.
    """

    name: str
    stages: tuple[Stage, ...]
    points: tuple[Point, ...]
    product_points: tuple[str, ...]
    digest: str = ""
    path: str = ""
    pairing: float = PAIRING_HOURS


def load_train(path: Path | str) -> Train:
    """Read a train file.

    Parameters
    ----------
    path : Path or str
        A TOML file with ``name``, ``product_points``, and the tables ``[[points]]`` and ``[[stages]]``.

    Returns
    -------
    Train
        Stages in the order of the file, which is the order of flow.

    Raises
    ------
    PlantFileError
        The text lists every problem of the file with its mend; nothing of it is used.
    """
    data, digest = read_plant_file(path)
    refuse_problems(path, list(train_problems(data)))
    tolerance = read_quantity(data["pairing_tolerance"], "duration") / 60 if "pairing_tolerance" in data else None
    return Train(
        name=str(data["name"]),
        stages=tuple(_stage(entry) for entry in data["stages"]),
        points=tuple(_point(entry) for entry in data["points"]),
        product_points=tuple(data["product_points"]),
        digest=digest,
        path=str(path),
        pairing=PAIRING_HOURS if tolerance is None else tolerance,
    )


def _stage(entry: Mapping[str, Any]) -> Stage:
    numbers: dict[str, Any] = {key: read_quantity(entry[key], kind) for key, kind in QUANTITIES.items() if key in entry}
    plain: dict[str, Any] = {key: entry[key] for key in (*WHOLE_NUMBERS, *DATES, "carries") if key in entry}
    texts = {key: entry[key].strip() for key in TEXTS if key in entry and key != "carries"}
    return Stage(
        name=entry["name"].strip(),
        kind=entry["kind"],
        inlet=entry.get("inlet", ""),
        outlet=entry["outlet"],
        equipment=Equipment(**numbers, **plain),
        **texts,
    )


def _point(entry: Mapping[str, Any]) -> Point:
    return Point(code=entry["code"].strip(), name=entry["name"].strip(), aliases=tuple(entry.get("aliases", ())))


def match_points(texts: pd.Series[str], train: Train) -> pd.Series[str]:
    """Return the point code that each text means, NA where it means none; same index as ``texts``.

    Letter case, accents, punctuation and leading zeros do not count: ``sp-01`` is ``SP1``. A sheet may write the code,
    the name, an alias, or the code and the name together.
    """
    codes = {
        point_key(text): point.code
        for point in train.points
        for text in point_texts(point.code, point.name, point.aliases)
    }
    distinct = texts.dropna().unique()
    known = {text: codes[point_key(text)] for text in distinct if point_key(text) in codes}
    return texts.map(known).astype("str")


def assign_stages(readings: DataFrame[Readings], train: Train) -> tuple[DataFrame[Readings], tuple[Finding, ...]]:
    """Fill ``stage`` from the sampling point.

    Parameters
    ----------
    readings : DataFrame[Readings]
        Results; ``point`` as written in the sheet, or ``stage`` where the sheet gives no point.
    train : Train
        The plant's train.

    Returns
    -------
    tuple[DataFrame[Readings], tuple[Finding, ...]]
        A copy whose ``stage`` is the name of the stage that the point is the outlet of (``source`` for water that no
        stage has treated yet), and one finding for each place text that is no point of the train.
    """
    place = readings[Readings.point].fillna(readings[Readings.stage])
    code = match_points(place, train)
    stage = code.map(_stage_names(train)).astype("str").fillna(readings[Readings.stage])
    filled = readings.assign(**{Readings.stage: stage})
    return Readings.validate(filled), tuple(_place_findings(readings, place, code, train))


def at_product_point(readings: DataFrame[Readings], train: Train) -> pd.Series[bool]:
    """Return whether each result is to be taken as one of finished water; same index as ``readings``.

    A result at an unknown or unstated place is taken as one, so that none escapes judgement.
    """
    code = match_points(readings[Readings.point].fillna(readings[Readings.stage]), train)
    return code.isna() | code.isin(train.product_points)


def _stage_names(train: Train) -> dict[str, str]:
    names = {stage.inlet: SOURCE for stage in train.stages}
    for point in train.points:
        treated = [stage.name for stage in train.stages if stage.outlet == point.code and stage.kind != SOURCE]
        if treated:
            names[point.code] = " + ".join(treated)
        elif any(stage.outlet == point.code for stage in train.stages):
            names[point.code] = SOURCE
    branches = {stage.concentrate: f"{stage.name}, concentrate" for stage in train.stages if stage.concentrate}
    return branches | names


def _place_findings(
    readings: DataFrame[Readings], place: pd.Series[str], code: pd.Series[str], train: Train
) -> Iterator[Finding]:
    listed = ", ".join(f"{point.code} ({point.name})" for point in train.points)
    strange = readings[code.isna() & place.notna()]
    for text, rows in strange.groupby(place[strange.index], sort=False):
        yield Finding(
            code="unknown point",
            severity=Severity.HOLD,
            message=f"{len(rows)} result(s) come from a place that is no point of {train.name}; "
            f"correct the sheet or add an alias to the train file; its points are {listed}",
            where=place_of(rows.iloc[0]),
            given=str(text),
        )
    for workbook, rows in readings[place.isna()].groupby(Readings.workbook, sort=False):
        yield Finding(
            code="no point",
            severity=Severity.NOTE,
            message=f"{len(rows)} result(s) name no sampling point, so no removal is computed from them; "
            "add a column with the sampling point",
            where=f"{workbook}",
        )


def place_of(row: pd.Series[Any]) -> str:
    """Return ``workbook|sheet!cell`` of one reading."""
    sheet = row[Readings.sheet]
    return f"{row[Readings.workbook]}|{'' if pd.isna(sheet) else f'{sheet}!'}{row[Readings.cell]}"
