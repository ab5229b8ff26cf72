"""Turns a TOML file of plant readings, in SI or United States units, into numbers in the units of the formulas."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from wqcheck.errors import PlantFileError
from wqcheck.plant.disinfection import BAFFLING
from wqcheck.plant.flow_fit import CARRIES, ProductionDay, RatedStage, Tank
from wqcheck.plant.ion_activities import OPTIONAL, ion_names
from wqcheck.plant.scaling import SATURATION_LIMITS
from wqcheck.plant_files import is_text, read_plant_file, refuse_problems, unknown_keys
from wqcheck.quantities import QuantityError, read_quantity

_DAY = {
    "feed_flow": "flow", "permeate_flow": "flow", "feed_pressure": "pressure", "differential": "pressure",
    "permeate_pressure": "pressure", "temperature": "temperature", "feed_tds": "concentration",
    "permeate_tds": "concentration",
}  # fmt: skip
_IONS = dict.fromkeys(ion_names(), "concentration") | {"temperature": "temperature", "ph": "number"}

SECTIONS: dict[str, dict[str, str]] = {
    "membrane": _DAY | {
        "concentrate_flow": "flow", "concentrate_tds": "concentration", "feed_chlorine": "concentration",
    },
    "membrane.baseline": _DAY,
    "membrane.settings": {
        "temperature_constant": "number", "pressure_exponent": "number", "clean_at_flow_change": "change",
        "watch_at_passage_change": "change", "clean_at_passage_change": "change",
        "clean_at_differential_change": "change",
    },
    "feed_water": _IONS | {"recovery": "fraction"},
    "feed_water.salt_passage": dict.fromkeys(sorted(set(_IONS) - {"temperature", "ph"}), "fraction"),
    "feed_water.limits": dict.fromkeys(SATURATION_LIMITS, "number"),
    "pretreatment": {
        "sdi_first": "duration", "sdi_last": "duration", "sdi_run": "duration", "sdi_limit": "number",
        "filter_flow": "flow", "filter_area": "area", "carbon_flow": "flow", "carbon_volume": "volume",
        "plan_change_out": "pressure", "change_out": "pressure", "antiscalant_dose": "concentration",
        "antiscalant_set": "concentration",
    },
    "disinfection": {
        "uv_validated_dose": "dose", "chlorine": "concentration", "contact_volume": "volume", "contact_flow": "flow",
        "temperature": "temperature", "ph": "number", "uv_dose": "dose", "uv_transmittance": "fraction",
        "lamp_hours": "duration",
    },
    "flow": {
        "raw_tank": "volume", "raw_tank_start": "volume", "product_tank": "volume", "product_tank_start": "volume",
        "recovery": "fraction",
    },
}  # fmt: skip
"""Keys of each table of the file and the kind of quantity that each holds."""

NEEDED: dict[str, frozenset[str]] = {
    "membrane": frozenset(_DAY),
    "membrane.baseline": frozenset(_DAY),
    "feed_water": frozenset(_IONS) - {*OPTIONAL, "silica"} | {"recovery"},
    "flow": frozenset(SECTIONS["flow"]),
}
"""Keys that a table may not lack when it is there; what else is lacking is shown as not known."""

HOURLY = ("supply", "feed", "backwash", "filler", "rinse")
_OTHER = {
    "membrane": {"baseline", "settings", "vessels"},
    "feed_water": {"salt_passage", "limits"},
    "pretreatment": {"cartridges"},
    "disinfection": {"baffling"},
    "flow": {"hourly", "stages"},
}
_LIMITS = {"fraction": (0.0, 1.0), "change": (-1.0, 1.0), "temperature": (0.0, 60.0)}


@dataclass(frozen=True, eq=False, kw_only=True)
class PlantReadings:
    """The readings of one plant; ``tables`` is table name → key → number (NaN where the file has no such key).

    ``cartridges`` are day and drop in kPa; ``vessels`` the permeate conductivity of each pressure vessel in µS/cm;
    ``cells`` says in which cell of a log a ``table.key`` stood, and ``notes`` what was taken from what.
    """

    name: str
    digest: str
    path: str
    tables: Mapping[str, Mapping[str, float]]
    baffling: str = ""
    cartridges: tuple[tuple[float, float], ...] = ()
    production_day: ProductionDay | None = None
    stages: tuple[RatedStage, ...] = field(default=())
    vessels: tuple[float, ...] = ()
    cells: Mapping[str, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    def table(self, name: str) -> Mapping[str, float]:
        """Return one table; a plant file without it is refused with a sentence."""
        if name not in self.tables:
            raise PlantFileError(
                f"{self.path}: the table [{name}] is missing; add it (sample_results/plant_readings.toml shows one)"
            )
        return self.tables[name]


def read_plant_readings(path: Path | str) -> PlantReadings:
    """Read a file of plant readings.

    Parameters
    ----------
    path : Path or str
        TOML: ``name`` and any of the tables of :data:`SECTIONS`; each quantity is a text with its unit.

    Raises
    ------
    PlantFileError
        Lists every problem with its place and mend; nothing of the file is used.
    """
    data, digest = read_plant_file(path)
    problems = [] if is_text(data.get("name")) else ['the file: name is missing; write name = "..."']
    problems += unknown_keys(data, {"name", *(name for name in SECTIONS if "." not in name)}, "the file")
    tables = {}
    for name in SECTIONS:
        entry = _entry(data, name)
        if entry is not None and not isinstance(entry, dict):
            problems.append(f"{name}: this is no table; write [{name}] on a line and its keys below it")
        elif entry is not None:
            tables[name], found = _read_table(name, entry)
            problems += found
    cartridges, found = _cartridges(_rows(data, "pretreatment", "cartridges"))
    vessels, wrong = _vessels(_entry(data, "membrane.vessels"))
    baffling = _entry(data, "disinfection.baffling") or ""
    if baffling and baffling not in list(BAFFLING):
        found.append(f"[disinfection]: baffling {baffling!r} is not known; use one of {', '.join(BAFFLING)}")
    day, stages, more = _flow(data, tables["flow"]) if "flow" in tables else (None, (), [])
    refuse_problems(path, [*problems, *found, *wrong, *more])
    return PlantReadings(
        name=data["name"], digest=digest, path=str(path), tables=tables, baffling=baffling, cartridges=cartridges,
        production_day=day, stages=stages, vessels=vessels,
    )  # fmt: skip


def _entry(data: Mapping[str, Any], name: str) -> Any:
    """Return what stands under a dotted name, None where nothing does."""
    found: Any = data
    for part in name.split("."):
        found = found.get(part) if isinstance(found, Mapping) else None
    return found


def _rows(data: Mapping[str, Any], table: str, name: str) -> list[Any]:
    """Return the tables of a ``[[table.name]]``; anything else that stands there is one row, which is refused."""
    found = _entry(data, f"{table}.{name}")
    return found if isinstance(found, list) else [] if found is None else [found]


def _read_table(name: str, entry: Mapping[str, Any]) -> tuple[dict[str, float], list[str]]:
    kinds, where = SECTIONS[name], f"[{name}]"
    problems = list(unknown_keys(entry, {*kinds, *_OTHER.get(name, ())}, where))
    problems += [
        f'{where}: {key} is missing; write {key} = "..." with its unit'
        for key in sorted(NEEDED.get(name, frozenset()) - set(entry))
    ]
    values = dict.fromkeys(kinds, math.nan)
    for key in kinds:
        if key in entry:
            values[key], found = _read(entry[key], kinds[key], f"{where} {key}")
            problems += found
    if "ph" in kinds and (values["ph"] < 0 or values["ph"] > 14):
        problems.append(f"{where} ph: {values['ph']} is no pH; write a number from 0 to 14")
    return values, problems


def _read(text: object, kind: str, where: str) -> tuple[float, list[str]]:
    try:
        value = read_quantity(text, kind)
    except QuantityError as problem:
        return math.nan, [f"{where}: {problem}"]
    low, high = _LIMITS.get(kind, (0.0, math.inf))
    if low <= value <= high:
        return value, []
    allowed = f"from {low:g} to {high:g}" if math.isfinite(high) else f"from {low:g} up"
    return value, [f"{where}: {text!r} cannot be; it runs {allowed}; correct the number or its unit"]


def _cartridges(rows: list[Any]) -> tuple[tuple[tuple[float, float], ...], list[str]]:
    """Return day and drop in kPa of each reading of the cartridge filter."""
    found: list[tuple[float, float]] = []
    problems: list[str] = []
    for number, row in enumerate(rows, start=1):
        where = f"[[pretreatment.cartridges]] number {number}"
        if not isinstance(row, dict) or set(row) != {"day", "drop"} or not isinstance(row["day"], int | float):
            problems.append(f'{where}: write day = (a number) and drop = "..." with its unit')
            continue
        drop, more = _read(row["drop"], "pressure", where)
        problems += more
        found.append((float(row["day"]), drop))
    return tuple(found), problems


def _vessels(entry: Any) -> tuple[tuple[float, ...], list[str]]:
    """Return the permeate conductivity of each vessel in µS/cm."""
    if entry is None:
        return (), []
    if not isinstance(entry, list):
        return (), ['[membrane] vessels: write a list of conductivities, vessels = ["41 µS/cm", "43 µS/cm"]']
    found = [
        _read(text, "conductivity", f"[membrane] vessels, number {number}") for number, text in enumerate(entry, 1)
    ]
    return tuple(value for value, _ in found), [problem for _, problems in found for problem in problems]


def _flow(
    data: Mapping[str, Any], table: Mapping[str, float]
) -> tuple[ProductionDay | None, tuple[RatedStage, ...], list[str]]:
    hourly, problems = _hourly(_entry(data, "flow.hourly"))
    stages = []
    for number, row in enumerate(_rows(data, "flow", "stages"), start=1):
        problems += _stage_problems(row, f"[[flow.stages]] number {number}")
        if isinstance(row, dict) and is_text(row.get("name")) and row.get("carries") in CARRIES:
            rated, more = _read(row.get("rated"), "flow", f"stage {row['name']!r}, rated")
            problems += more
            stages.append(RatedStage(row["name"], rated, row["carries"]))
    if problems:
        return None, (), problems
    day = ProductionDay(
        raw_tank=Tank(table["raw_tank"], table["raw_tank_start"]),
        product_tank=Tank(table["product_tank"], table["product_tank_start"]),
        recovered=table["recovery"],
        **hourly,
    )
    full = [tank for tank in (day.raw_tank, day.product_tank) if tank.start > tank.capacity]
    return day, tuple(stages), ["[flow]: a tank starts with more than it holds; correct the level"] if full else []


def _stage_problems(row: Any, where: str) -> Iterator[str]:
    if not isinstance(row, dict):
        yield f"{where}: write it as a table with name, carries and rated"
        return
    yield from unknown_keys(row, {"name", "carries", "rated"}, where)
    if not is_text(row.get("name")):
        yield f'{where}: name is missing; write name = "..."'
    if row.get("carries") not in CARRIES:
        yield f"{where}: carries {row.get('carries')!r} is not known; use one of {', '.join(CARRIES)}"


def _hourly(entry: Any) -> tuple[dict[str, Any], list[str]]:
    """Return the hourly flows in m³/h as arrays, all of one length."""
    where = "[flow.hourly]"
    if not isinstance(entry, dict):
        return {}, [f'{where} is missing; write unit = "m3/h" and lists of hourly flows ({", ".join(HOURLY)})']
    problems = list(unknown_keys(entry, {"unit", *HOURLY}, where))
    factor, found = _read(f"1 {entry.get('unit')}", "flow", f"{where} unit")
    lists = {key: entry.get(key) for key in HOURLY}
    wrong = [key for key, flows in lists.items() if not _numbers(flows)]
    problems += [f"{where} {key}: write a list of numbers, none below zero, one for each hour" for key in wrong]
    lengths = {len(flows) for key, flows in lists.items() if key not in wrong and flows is not None}
    if len(lengths) > 1:
        problems.append(f"{where}: the lists have {sorted(lengths)} hours; give each the same number")
    if problems or found:
        return {}, [*problems, *found]
    return {key: factor * np.asarray(flows, dtype=np.float64) for key, flows in lists.items()}, []


def _numbers(flows: Any) -> bool:
    """Return whether *flows* is a list of numbers from zero up."""
    plain = isinstance(flows, list) and all(type(flow) in {int, float} for flow in flows)
    return plain and bool(flows) and all(0 <= flow < math.inf for flow in flows)
