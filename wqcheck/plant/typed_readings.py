"""Turns readings that a person typed into the TOML file that the plant commands read, or into what is wrong with them.

The file that comes of it is read by :func:`wqcheck.plant.readings.read_plant_readings`, which has the last word.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from wqcheck.errors import PlantFileError
from wqcheck.plant.readings import HOURLY, NEEDED, SECTIONS
from wqcheck.quantities import QuantityError, read_quantity

TITLES = {
    "membrane": "Membranes today",
    "membrane.baseline": "Membranes at the baseline",
    "membrane.settings": "Membranes: the maker's constants and cleaning triggers",
    "feed_water": "Feed water of the membranes",
    "feed_water.salt_passage": "Feed water: salt passages",
    "feed_water.limits": "Feed water: saturation limits of the antiscalant",
    "pretreatment": "Before the membranes",
    "disinfection": "Disinfection",
    "flow": "Tanks and recovery of the planned day",
}
"""What a person reads for each table of :data:`wqcheck.plant.readings.SECTIONS`."""

UNITS = {
    "flow": ("m³/h", "gal/min", "L/min", "L/h"),
    "volume": ("m³", "gal", "L", "ft³"),
    "area": ("m²", "ft²"),
    "pressure": ("bar", "psi", "kPa", "MPa"),
    "temperature": ("°C", "°F"),
    "concentration": ("mg/L", "µg/L", "g/L"),
    "conductivity": ("µS/cm", "mS/cm", "mS/m"),
    "duration": ("min", "s", "h", "d"),
    "dose": ("mJ/cm²", "J/m²"),
    "fraction": ("%",),
    "change": ("%",),
    "number": ("",),
}
"""Units to choose from by kind of quantity: that of SI plants first, that of United States plants second."""

US_FIRST = ("flow", "volume", "area", "pressure", "temperature")
"""Kinds of which the second unit is the usual one in the United States."""

_NAMES = {
    "sdi_first": "silt density index, first collecting time",
    "sdi_last": "silt density index, last collecting time",
    "sdi_run": "silt density index, length of the run",
    "sdi_limit": "silt density index, limit",
    "differential": "differential pressure",
}
_OWN_UNITS = {"lamp_hours": "h", "sdi_first": "s", "sdi_last": "s"}
_WORDS = {"tds": "dissolved solids", "uv": "UV", "ph": "pH"}


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedReadings:
    """What was typed, all of it text as typed with its unit; blank where nothing was.

    ``tables`` is table → key → ``"8.0 m³/h"``; ``cartridges`` are day and pressure drop, ``vessels`` conductivities,
    ``hourly`` the flows of each hour by name (:data:`wqcheck.plant.readings.HOURLY`) in ``hourly_unit``.
    """

    tables: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    baffling: str = ""
    cartridges: Sequence[tuple[str, str]] = ()
    vessels: Sequence[str] = ()
    hourly: Mapping[str, Sequence[str]] = field(default_factory=dict)
    hourly_unit: str = UNITS["flow"][0]

    def given(self) -> dict[str, dict[str, str]]:
        """Return the tables without their blanks; a table with nothing in it is left out."""
        known = {name: {key: text for key, text in keys.items() if text.strip()} for name, keys in self.tables.items()}
        return {name: keys for name, keys in known.items() if keys}

    def count(self) -> int:
        """Return how many readings were typed; an hour of the planned day counts as one."""
        tables = sum(len(keys) for keys in self.given().values())
        return tables + len(self.cartridges) + len(self.vessels) + self.hours()

    def hours(self) -> int:
        """Return how many hours of the planned day were typed."""
        return max((len(flows) for flows in self.hourly.values()), default=0)


def usual_unit(kind: str, key: str = "", *, us_units: bool) -> str:
    """Return the unit in which a kind of quantity, or one reading of it, is usually read in SI or in United States."""
    return _OWN_UNITS.get(key, UNITS[kind][1 if us_units and kind in US_FIRST else 0])


def reading_name(key: str) -> str:
    """Return the words of a key: ``feed dissolved solids`` for ``feed_tds``."""
    return _NAMES.get(key) or " ".join(_WORDS.get(part, part) for part in key.split("_"))


def typed_toml(typed: TypedReadings, name: str) -> str:
    """Return the readings as the text of a TOML file.

    Parameters
    ----------
    typed : TypedReadings
        What was typed.
    name : str
        What the file calls the plant.

    Raises
    ------
    PlantFileError
        Lists everything that cannot be read or that a table lacks, with its mend; nothing is written then.
    """
    problems = list(typed_problems(typed))
    if problems:
        listed = "\n".join(f"  {problem}" for problem in problems)
        raise PlantFileError(f"the typed readings have {len(problems)} problem(s), so none of them is used:\n{listed}")
    return "\n".join([f"name = {_text(name)}", *_lines(typed)]) + "\n"


def typed_problems(typed: TypedReadings) -> Iterator[str]:
    """Yield one sentence per reading that cannot be read, and per reading that its table lacks."""
    given = typed.given()
    for table, keys in given.items():
        title = TITLES[table]
        for key, text in keys.items():
            yield from _wrong(text, SECTIONS[table][key], f"{title}, {reading_name(key)}")
        for key in sorted(NEEDED.get(table, frozenset()) - set(keys)):
            yield f"{title}: {reading_name(key)} is missing; type it, or empty the whole table"
    yield from _wrong_rows(typed)
    yield from _lacking(typed, given)


def _wrong_rows(typed: TypedReadings) -> Iterator[str]:
    """Yield one sentence per cell of the lists that cannot be read."""
    for number, (day, drop) in enumerate(typed.cartridges, start=1):
        yield from _wrong(drop, "pressure", f"cartridge readings, row {number}")
        yield from [] if _is_number(day) else [f"cartridge readings, row {number}: {day!r} is no day; type a number"]
    for number, text in enumerate(typed.vessels, start=1):
        yield from _wrong(text, "conductivity", f"vessel {number}")
    wrong = ((name, hour, flow) for name, flows in typed.hourly.items() for hour, flow in enumerate(flows)
             if not _is_number(flow))  # fmt: skip
    for name, hour, flow in wrong:
        yield f"planned day, {name} in hour {hour}: {flow!r} is no number; type one, 0 where nothing flows"


def _lacking(typed: TypedReadings, given: Mapping[str, object]) -> Iterator[str]:
    """Yield one sentence per part that was typed without the table that it belongs to."""
    needs = {TITLES[table]: table.partition(".")[0] for table in given if "." in table}
    needs |= {"the vessels": "membrane"} if typed.vessels else {}
    needs |= {"the hours of the planned day": "flow"} if typed.hours() else {}
    for part, table in needs.items():
        if table not in given:
            yield f"{part}: the table {TITLES[table]!r} is needed too; type it, or empty this one"
    if "flow" in given and not typed.hours():
        yield f"{TITLES['flow']}: the hours of the planned day are missing; type them, or empty this table"


def _wrong(text: str, kind: str, where: str) -> Iterator[str]:
    try:
        read_quantity(text, kind)
    except QuantityError:
        units = ", ".join(filter(None, UNITS[kind]))
        mend = f"a number with a decimal point, and a unit ({units})" if units else "a number with a decimal point"
        yield f"{where}: {text!r} cannot be read; type {mend}"


def _is_number(text: str) -> bool:
    try:
        return math.isfinite(float(text))
    except ValueError:
        return False


def _lines(typed: TypedReadings) -> Iterator[str]:
    """Yield the tables in an order in which no table is opened twice."""
    given = typed.given()
    names = [name for name in SECTIONS if name in given or name in _extras(typed)]
    for name in names:
        yield f"\n[{name}]"
        yield from (f"{key} = {_text(text)}" for key, text in given.get(name, {}).items())
        yield from _extras(typed).get(name, ())
    for day, drop in typed.cartridges:
        yield from ("\n[[pretreatment.cartridges]]", f"day = {float(day):g}", f"drop = {_text(drop)}")
    if typed.hours():
        yield from ("\n[flow.hourly]", f"unit = {_text(typed.hourly_unit)}")
        yield from (f"{name} = [{', '.join(repr(float(flow)) for flow in typed.hourly[name])}]" for name in HOURLY)


def _extras(typed: TypedReadings) -> dict[str, list[str]]:
    """Return by table the lines of what is no plain quantity."""
    vessels = [f"vessels = [{', '.join(map(_text, typed.vessels))}]"] if typed.vessels else []
    baffling = [f"baffling = {_text(typed.baffling)}"] if typed.baffling else []
    return {name: lines for name, lines in (("membrane", vessels), ("disinfection", baffling)) if lines}


def _text(text: str) -> str:
    """Return a text as TOML writes it between quotes."""
    return json.dumps(" ".join(text.split()), ensure_ascii=False).replace("\x7f", "")
