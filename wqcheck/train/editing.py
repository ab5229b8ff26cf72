"""Turns the keys of a train file into rows of text to edit, and rows that a person typed back into a train file.

The file that comes of it is read by :func:`wqcheck.train.description.load_train`, which has the last word.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from wqcheck.plant.typed_readings import usual_unit
from wqcheck.plant_files import toml_text
from wqcheck.quantities import KINDS
from wqcheck.train.file_problems import DATES, QUANTITIES, TEXTS, WHOLE_NUMBERS, train_problems

POINT_KEYS = ("code", "name", "aliases", "product")
"""What is typed of a point; ``product`` says whether finished water is sampled there."""

STAGE_KEYS = (
    *("name", "kind", "inlet", "outlet", *(key for key in TEXTS if key != "carries"), "carries"),
    *(*WHOLE_NUMBERS, *QUANTITIES, *DATES),
)
"""What is typed of a stage, all of it as text."""

ORDER = "order"
"""Number of a stage in the order of flow, beside :data:`STAGE_KEYS`; stages without one come last."""

_LONG = {"media_life": "d", "lamp_life": "h"}

Row = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedTrain:
    """A train as typed: ``points`` with :data:`POINT_KEYS`, ``stages`` with :data:`ORDER` and :data:`STAGE_KEYS`.

    Blank is ``None`` or ``""``. A bare number is taken in the unit of :func:`stage_unit`, and a bare ``pairing`` in h.
    """

    name: str = ""
    pairing: str = ""
    points: Sequence[Row] = ()
    stages: Sequence[Row] = ()
    us_units: bool = False


def stage_unit(key: str, *, us_units: bool) -> str:
    """Return the unit in which a quantity of a stage is usually given, blank for what has none."""
    kind = QUANTITIES.get(key)
    return _LONG.get(key) or (usual_unit(kind, us_units=us_units) if kind else "")


def as_typed(data: Mapping[str, Any]) -> TypedTrain:
    """Return the keys of a sound train file as texts to edit."""
    products = data["product_points"]
    points = [
        {
            "code": entry["code"], "name": entry["name"], "aliases": "; ".join(entry.get("aliases", ())),
            "product": entry["code"] in products,
        }
        for entry in data["points"]
    ]  # fmt: skip
    stages = [
        {ORDER: place} | {key: str(entry[key]) if key in entry else "" for key in STAGE_KEYS}
        for place, entry in enumerate(data["stages"], start=1)
    ]
    return TypedTrain(
        name=data["name"], pairing=str(data.get("pairing_tolerance", "")), points=points, stages=stages
    )  # fmt: skip


def train_data(typed: TypedTrain) -> dict[str, Any]:
    """Return what was typed as the keys of a train file; what cannot be a number or a date stays text."""
    points = [_point(row) for row in typed.points]
    stages = sorted(typed.stages, key=lambda row: _number(row.get(ORDER)))
    data: dict[str, Any] = {
        "name": typed.name.strip(),
        "product_points": [_text(row.get("code")) for row in typed.points if row.get("product")],
    }
    if typed.pairing.strip():
        data["pairing_tolerance"] = _with_unit(typed.pairing.strip(), "duration", "h")
    return data | {"points": points, "stages": [_stage(row, us_units=typed.us_units) for row in stages]}


def typed_problems(typed: TypedTrain) -> list[str]:
    """Return everything that is wrong with a typed train, as the reader of train files says it."""
    return list(train_problems(train_data(typed)))


def train_text(typed: TypedTrain) -> str:
    """Return a typed train as the text of a train file (TOML)."""
    data = train_data(typed)
    tables = {name: data.pop(name) for name in ("points", "stages")}
    return toml_text(data, tables)


def _point(row: Row) -> dict[str, Any]:
    aliases = [text.strip() for text in _text(row.get("aliases")).split(";") if text.strip()]
    point: dict[str, Any] = {"code": _text(row.get("code")), "name": _text(row.get("name"))}
    return point | ({"aliases": aliases} if aliases else {})


def _stage(row: Row, *, us_units: bool) -> dict[str, Any]:
    given = {key: _text(row.get(key)) for key in STAGE_KEYS}
    return {key: _value(key, text, us_units=us_units) for key, text in given.items() if text}


def _value(key: str, text: str, *, us_units: bool) -> str | int | date:
    if key in QUANTITIES:
        return _with_unit(text, QUANTITIES[key], stage_unit(key, us_units=us_units))
    if key in WHOLE_NUMBERS and text.isascii() and text.isdigit():
        return int(text)
    if key in DATES:
        try:
            return date.fromisoformat(text)
        except ValueError:
            return text
    return text


def _with_unit(text: str, kind: str, unit: str) -> str:
    """Return a quantity as typed, a bare number with its usual unit."""
    bare = "" not in KINDS[kind].worth and _number(text) != float("inf")
    return f"{text} {unit}" if bare else text


def _number(value: object) -> float:
    try:
        return float(str(value))
    except ValueError:
        return float("inf")


def _text(value: object) -> str:
    return str(value).strip() if isinstance(value, (str, int)) and not isinstance(value, bool) else ""


def named_fields(problems: Sequence[str], titles: Mapping[str, str]) -> Iterator[str]:
    """Yield problems of a train file with the titles of its keys instead of the keys, where one begins a sentence."""
    for problem in problems:
        where, mark, said = problem.partition(": ")
        place, comma, key = where.rpartition(", ")
        yield f"{place}, {titles[key]}{mark}{said}" if comma and key in titles else problem
