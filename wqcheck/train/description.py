"""Turns the plant's train file into a record of stages and points, and finds the point that each result belongs to."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd
from pandera.typing import DataFrame

from wqcheck.findings import Finding, Severity
from wqcheck.parameters import normalise
from wqcheck.plant_files import is_list_of_texts, is_text, read_plant_file, refuse_problems, unknown_keys
from wqcheck.tables import Readings

KINDS = (
    "source",
    "tank",
    "feed pump",
    "media filter",
    "activated carbon",
    "cartridge filter",
    "antiscalant dosing",
    "softener",
    "high-pressure pump",
    "reverse osmosis",
    "degasser",
    "remineralisation",
    "ozone",
    "post-carbon",
    "uv",
    "filler",
    "other",
)
SOURCE = "source"
WHOLE_TRAIN = "whole train"
_TRAIN_KEYS = frozenset({"name", "product_points", "points", "stages"})
_POINT_KEYS = frozenset({"code", "name", "aliases"})
_STAGE_KEYS = frozenset({"name", "kind", "inlet", "outlet", "note"})


@dataclass(frozen=True, slots=True)
class Point:
    """A sampling point: its short code, its name and what else sheets call it."""

    code: str
    name: str
    aliases: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Stage:
    """A step of treatment between two points (their codes); a stage of kind ``source`` has no inlet."""

    name: str
    kind: str
    inlet: str
    outlet: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Train:
    """A plant's train: stages in the order of flow, its points, and the points at which the finished water is sampled.

    ``digest`` is the SHA-256 of the file's bytes and ``path`` where it was read.
    """

    name: str
    stages: tuple[Stage, ...]
    points: tuple[Point, ...]
    product_points: tuple[str, ...]
    digest: str = ""
    path: str = ""


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
    refuse_problems(path, list(_shape_problems(data)))
    train = Train(
        name=str(data["name"]),
        stages=tuple(_stage(entry) for entry in data["stages"]),
        points=tuple(_point(entry) for entry in data["points"]),
        product_points=tuple(data["product_points"]),
        digest=digest,
        path=str(path),
    )
    refuse_problems(path, [*_name_problems(train), *_point_problems(train), *_order_problems(train)])
    return train


def _shape_problems(data: Mapping[str, Any]) -> Iterator[str]:
    """Yield what is missing or of the wrong kind, before any record is built."""
    yield from unknown_keys(data, _TRAIN_KEYS, "the file")
    if not is_text(data.get("name")):
        yield 'the file: name is missing; write name = "..."'
    if not is_list_of_texts(data.get("product_points")) or not data["product_points"]:
        yield 'the file: there is no product point; write product_points = ["..."] with the codes of finished water'
    yield from _entry_problems(data, "points", _POINT_KEYS, ("code", "name"))
    yield from _entry_problems(data, "stages", _STAGE_KEYS, ("name", "kind", "outlet"))


def _entry_problems(
    data: Mapping[str, Any], table: str, allowed: frozenset[str], needed: Sequence[str]
) -> Iterator[str]:
    entries = data.get(table)
    if not isinstance(entries, list) or not entries or not all(isinstance(entry, dict) for entry in entries):
        yield f"the file: there are no {table}; write one [[{table}]] table for each"
        return
    for number, entry in enumerate(entries, start=1):
        where = f"[[{table}]] number {number} ({entry.get(needed[0], 'unnamed')})"
        yield from unknown_keys(entry, allowed, where)
        yield from (f'{where}: {key} is missing; write {key} = "..."' for key in needed if not is_text(entry.get(key)))
        optional = sorted((allowed - set(needed) - {"aliases"}) & set(entry))
        yield from (f"{where}: {key} must be text in quotes" for key in optional if not isinstance(entry[key], str))
        if not is_list_of_texts(entry.get("aliases", [])):
            yield f'{where}: aliases must be a list of texts; write aliases = ["...", "..."]'


def _stage(entry: Mapping[str, Any]) -> Stage:
    return Stage(
        name=entry["name"].strip(),
        kind=entry["kind"],
        inlet=entry.get("inlet", ""),
        outlet=entry["outlet"],
        note=entry.get("note", ""),
    )


def _point(entry: Mapping[str, Any]) -> Point:
    return Point(code=entry["code"].strip(), name=entry["name"].strip(), aliases=tuple(entry.get("aliases", ())))


def _name_problems(train: Train) -> Iterator[str]:
    """Yield stage names, point codes and point texts that stand twice."""
    for name, times in Counter(stage.name.casefold() for stage in train.stages).items():
        if times > 1:
            yield f"stages: the name {name!r} stands {times} times; give each stage its own name"
    if any(stage.name.casefold() == WHOLE_TRAIN for stage in train.stages):
        yield f"stages: the name {WHOLE_TRAIN!r} is kept for the row over all stages; choose another"
    owners: dict[str, set[int]] = {}
    for number, point in enumerate(train.points):
        for text in _texts(point):
            owners.setdefault(_key(text), set()).add(number)
    for text, numbers in owners.items():
        if len(numbers) > 1:
            codes = ", ".join(train.points[number].code for number in sorted(numbers))
            yield f"points: {text!r} means more than one point ({codes}); a code, name or alias may stand for one only"


def _point_problems(train: Train) -> Iterator[str]:
    """Yield stages and product points that name no point, and stage kinds that are not known."""
    codes = {point.code for point in train.points}
    known = f"the points are {', '.join(sorted(codes))}"
    for stage in train.stages:
        where = f"stage {stage.name!r}"
        if stage.kind not in KINDS:
            yield f"{where}: the kind {stage.kind!r} is not known; use one of {', '.join(KINDS)}"
        if not stage.inlet and stage.kind != SOURCE:
            yield f"{where}: inlet is missing; only a stage of kind {SOURCE!r} may have none"
        if stage.inlet == stage.outlet:
            yield f"{where}: its inlet and outlet are the same point {stage.inlet!r}"
        strange = sorted({stage.inlet, stage.outlet} - codes - {""})
        yield from (f"{where}: its inlet or outlet {code!r} is not a point; {known}" for code in strange)
    for code in train.product_points:
        if code not in codes:
            yield f"product_points: {code!r} is not a point; {known}"


def _order_problems(train: Train) -> Iterator[str]:
    """Yield stages that stand before the stage that feeds them, and outlets that lead nowhere without a note."""
    for number, stage in enumerate(train.stages):
        later = train.stages[number + 1 :]
        feeders = [other.name for other in later if stage.inlet and other.outlet == stage.inlet]
        if feeders:
            yield f"stage {stage.name!r}: it stands before {feeders[0]!r}, which feeds it; change their order"
        leads_on = stage.outlet in train.product_points or any(other.inlet == stage.outlet for other in later)
        if not leads_on and not stage.note.strip():
            yield (
                f"stage {stage.name!r}: its outlet {stage.outlet!r} is no later stage's inlet and no product point; "
                "mend the order, or say why in note"
            )


def match_points(texts: pd.Series[str], train: Train) -> pd.Series[str]:
    """Return the point code that each text means, NA where it means none; same index as ``texts``.

    Letter case, accents, punctuation and leading zeros do not count: ``sp-01`` is ``SP1``. A sheet may write the code,
    the name, an alias, or the code and the name together.
    """
    codes = {_key(text): point.code for point in train.points for text in _texts(point)}
    distinct = texts.dropna().unique()
    known = {text: codes[_key(text)] for text in distinct if _key(text) in codes}
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
    return names


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


def _texts(point: Point) -> Iterator[str]:
    yield from (point.code, point.name, *point.aliases, f"{point.code} {point.name}", f"{point.name} {point.code}")


def _key(text: str) -> str:
    """Return what is compared: ``SP-01``, ``sp 1`` and ``SP1`` agree, ``SP1.1`` and ``SP11`` do not."""
    joined = re.sub(r"(?<=[a-z]) (?=[0-9])", "", normalise(text))
    return re.sub(r"(?<![0-9])0+(?=[0-9])", "", joined)
