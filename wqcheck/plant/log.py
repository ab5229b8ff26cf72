"""Turns a spreadsheet or CSV log of plant readings, a row per date, into the readings record that the figures take.

The newest row is today, the first complete one the baseline; a column may lack, and a cell may be blank.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from difflib import get_close_matches
from pathlib import Path

import numpy as np
import pandas as pd

from wqcheck.errors import PlantFileError, WorkbookError
from wqcheck.parameters import normalise
from wqcheck.plant.readings import NEEDED, SECTIONS, PlantReadings, read_plant_readings
from wqcheck.plant_files import refuse_problems
from wqcheck.quantities import QuantityError, read_quantity
from wqcheck.sheets.grid import Sheet
from wqcheck.sheets.opening import open_book
from wqcheck.sheets.roles import cell_names

TDS_PER_CONDUCTIVITY = 0.65
"""mg/L for each µS/cm where a log has no dissolved solids (0.55 to 0.7 in natural waters: Standard Methods 2510 A,
from memory)."""

COLUMNS: dict[str, str] = {
    "feed flow": "membrane.feed_flow",
    "permeate flow": "membrane.permeate_flow",
    "concentrate flow": "membrane.concentrate_flow",
    "feed pressure": "membrane.feed_pressure",
    "differential pressure": "membrane.differential",
    "permeate pressure": "membrane.permeate_pressure",
    "temperature": "membrane.temperature",
    "feed dissolved solids": "membrane.feed_tds",
    "permeate dissolved solids": "membrane.permeate_tds",
    "concentrate dissolved solids": "membrane.concentrate_tds",
    "feed conductivity": "conductivity.feed_tds",
    "permeate conductivity": "conductivity.permeate_tds",
    "concentrate conductivity": "conductivity.concentrate_tds",
    "feed free chlorine": "membrane.feed_chlorine",
    "cartridge pressure drop": "cartridge.drop",
    "antiscalant dose": "pretreatment.antiscalant_dose",
    "antiscalant set point": "pretreatment.antiscalant_set",
    "uv dose": "disinfection.uv_dose",
    "uv transmittance": "disinfection.uv_transmittance",
    "lamp hours": "disinfection.lamp_hours",
}
"""Heading of a log (without its unit) → table and key of the readings; ``vessel 1 conductivity`` … come beside them."""

IGNORED = frozenset({"remarks", "notes", "operator", "shift", "time"})
_DATE = "date"
_VESSEL = re.compile(r"vessel (\d+) conductivity")
_HEADING = re.compile(r"(?P<name>[^(\[]*?)\s*(?:[(\[](?P<unit>[^)\]]*)[)\]])?\s*")


@dataclass(frozen=True, slots=True)
class _Column:
    """A column of the log: its place, what it holds, the kind of quantity and the unit of its heading."""

    number: int
    key: str
    kind: str
    unit: str


def open_plant_readings(path: Path | str) -> PlantReadings:
    """Read plant readings from a TOML file or from a log, whichever the file's ending says.

    Raises
    ------
    PlantFileError
        Lists every problem with its place and mend; nothing of the file is used.
    """
    return read_plant_readings(path) if Path(path).suffix.lower() == ".toml" else read_plant_log(path)


def read_plant_log(path: Path | str) -> PlantReadings:
    """Read a log of plant readings (.xlsx, .xls, .ods or .csv).

    Parameters
    ----------
    path : Path or str
        The first sheet has a row of headings with ``Date`` among them, then a row per date. A heading names the
        reading and its unit in brackets: ``Feed pressure (bar)``; see :data:`COLUMNS`. A cell may bring its own unit.

    Raises
    ------
    PlantFileError
        Lists every problem with its cell and mend; nothing of the file is used.
    """
    try:
        book = open_book(Path(path))
    except WorkbookError as problem:
        raise PlantFileError(str(problem)) from problem
    sheet = book.sheets[0]
    top = _heading_row(path, sheet)
    columns, problems = _columns(sheet, top)
    rows, found = _rows(sheet, top, columns)
    refuse_problems(path, [*problems, *found])
    if rows.empty:
        raise PlantFileError(f"{path}: the log has no readings below its headings; add a row with a date")
    name = next((str(cell).strip() for row in sheet.cells[:top] for cell in row if cell is not None), Path(path).stem)
    return _record(name, book.sha256, str(path), rows.sort_values("day", kind="stable"))


def joined(first: PlantReadings, *others: PlantReadings) -> PlantReadings:
    """Return one record of several files; where two give the same table and key, the later file counts."""
    whole = first
    for other in others:
        tables = {
            name: {**other.tables.get(name, {}), **whole.tables.get(name, {}), **_known(other.tables.get(name, {}))}
            for name in (*whole.tables, *other.tables)
        }
        whole = replace(
            whole,
            digest=f"{whole.digest} {other.digest}",
            path=f"{whole.path}, {other.path}",
            tables=tables,
            baffling=other.baffling or whole.baffling,
            cartridges=other.cartridges or whole.cartridges,
            production_day=other.production_day or whole.production_day,
            stages=other.stages or whole.stages,
            vessels=other.vessels or whole.vessels,
            cells={**whole.cells, **other.cells},
            notes=(*whole.notes, *other.notes),
        )
    return whole


def _known(table: Mapping[str, float]) -> dict[str, float]:
    return {key: value for key, value in table.items() if math.isfinite(value)}


def _heading_row(path: Path | str, sheet: Sheet) -> int:
    for row in range(min(len(sheet.cells), 30)):
        names = [_split(cell)[0] for cell in sheet.cells[row]]
        if _DATE in names and any(name in COLUMNS for name in names):
            return row
    raise PlantFileError(
        f"{path}: no row of headings was found in its first 30 rows; write one with Date and readings such as "
        f"Feed pressure (bar); known readings: {', '.join(COLUMNS)}"
    )


def _split(cell: object) -> tuple[str, str]:
    """Return a heading's name, as it is compared, and its unit."""
    match = _HEADING.fullmatch(str(cell)) if isinstance(cell, str) else None
    return (normalise(match["name"]), (match["unit"] or "").strip()) if match else ("", "")


def _columns(sheet: Sheet, top: int) -> tuple[list[_Column], list[str]]:
    columns, problems, seen = [], [], set()
    for number, cell in enumerate(sheet.cells[top]):
        name, unit = _split(cell)
        vessel = _VESSEL.fullmatch(name)
        key = f"vessel.{vessel[1]}" if vessel else _DATE if name == _DATE else COLUMNS.get(name, "")
        where = f"cell {_cell(sheet, top, number)}"
        if key in seen:
            problems.append(f"{where}: the reading {name!r} has two columns; keep one")
        elif key:
            columns.append(_Column(number, key, _kind(key), unit))
            seen.add(key)
        elif cell is not None and name not in IGNORED:
            near = get_close_matches(name, COLUMNS, n=1, cutoff=0.5)
            hint = f"did you mean {near[0]!r}? " if near else ""
            known = ", ".join((*COLUMNS, "vessel 1 conductivity"))
            problems.append(f"{where}: the heading {cell!r} is not known; {hint}use one of {known}, or Remarks")
    return columns, problems


def _kind(key: str) -> str:
    table, _, name = key.partition(".")
    if table in {"conductivity", "vessel"}:
        return "conductivity"
    return "pressure" if table == "cartridge" else SECTIONS.get(table, {}).get(name, "")


def _rows(sheet: Sheet, top: int, columns: list[_Column]) -> tuple[pd.DataFrame, list[str]]:
    """Return ``day``, ``key``, ``value`` (in the formulas' unit) and ``cell`` of each reading."""
    dates = next(column for column in columns if column.key == _DATE)
    found, problems = [], []
    for row in range(top + 1, len(sheet.cells)):
        cells = [(column, sheet.cells[row][column.number]) for column in columns if column.key != _DATE]
        given = [(column, cell) for column, cell in cells if cell is not None and str(cell).strip()]
        if not given:
            continue
        day = _day(sheet.cells[row][dates.number])
        if day is None:
            place = _cell(sheet, row, dates.number)
            text = sheet.cells[row][dates.number]
            problems.append(f"cell {place}: {text!r} is no date; write one such as 2025-03-31")
            continue
        for column, cell in given:
            place = _cell(sheet, row, column.number)
            value, problem = _value(cell, column)
            problems += [f"cell {place}: {problem}"] if problem else []
            found.append((day, column.key, value, place))
    return pd.DataFrame(found, columns=["day", "key", "value", "cell"]), problems


def _day(cell: object) -> pd.Timestamp | None:
    if isinstance(cell, datetime | date):
        return pd.Timestamp(cell)
    try:
        return pd.Timestamp(datetime.fromisoformat(str(cell).strip()))
    except ValueError:
        return None


def _value(cell: object, column: _Column) -> tuple[float, str]:
    """Return one reading; a plain number takes the unit of its heading."""
    text = f"{cell:.15g}" if isinstance(cell, float) else str(cell).strip()
    bare = re.fullmatch(r"[-+]?\d*[.]?\d+(?:[eE][-+]?\d+)?", text)
    try:
        value = read_quantity(f"{text} {column.unit}".strip() if bare else text, column.kind)
    except QuantityError as problem:
        return math.nan, f"{problem}, or leave it blank"
    if value < 0 and column.kind != "temperature":
        return value, f"{text!r} cannot be below zero; correct it or leave it blank"
    return value, ""


def _cell(sheet: Sheet, row: int, number: int) -> str:
    place = str(cell_names(np.array([row + sheet.top]), np.array([number]))[0])
    return f"{sheet.name}!{place}" if sheet.name else place


def _record(name: str, digest: str, path: str, rows: pd.DataFrame) -> PlantReadings:
    rows, notes = _with_dissolved_solids(rows)
    wide = rows.pivot_table(index="day", columns="key", values="value", aggfunc="last")
    latest = rows.drop_duplicates("key", keep="last").set_index("key")
    tables: dict[str, dict[str, float]] = {}
    newest = {str(key): float(value) for key, value in latest["value"].items()}
    for table in ("pretreatment", "disinfection"):
        tables |= _table(table, newest)
    needed = [f"membrane.{key}" for key in sorted(NEEDED["membrane"])]
    if set(needed) <= set(wide.columns):
        whole = wide[wide[needed].notna().all(axis=1)]
        for table, row in (("membrane", whole.tail(1)), ("membrane.baseline", whole.head(1))):
            values = {} if row.empty else row.iloc[0].to_dict()
            tables |= _table(table, {str(key): float(value) for key, value in values.items()})
    if "membrane" not in tables:
        tables |= _table("membrane", newest)
        lacking = [key for key in needed if key not in wide.columns]
        notes.append(f"membrane figures need more: {', '.join(lacking) or 'a date with all readings'}")
    drops = rows[rows["key"].eq("cartridge.drop")]
    days = (drops["day"] - rows["day"].min()) / pd.Timedelta(days=1)
    vessels = latest[latest.index.str.startswith("vessel.")].sort_index()
    return PlantReadings(
        name=name, digest=digest, path=path, tables=tables,
        cartridges=tuple(zip(days.astype(float), drops["value"].astype(float), strict=True)),
        vessels=tuple(vessels["value"].astype(float)), notes=tuple(notes),
        cells={str(key): f"{Path(path).name}|{cell}" for key, cell in latest["cell"].items()},
    )  # fmt: skip


def _table(name: str, values: Mapping[str, float]) -> dict[str, dict[str, float]]:
    """Return one table of the readings by its name, nothing where none of its keys is in the log."""
    source = name.partition(".")[0]
    found = {key: values.get(f"{source}.{key}", math.nan) for key in SECTIONS[name]}
    return {name: found} if any(map(math.isfinite, found.values())) else {}


def _with_dissolved_solids(rows: pd.DataFrame) -> tuple[pd.DataFrame, list[str]]:
    """Add dissolved solids from conductivity, where the log has the latter only."""
    measured = rows["key"].str.startswith("conductivity.")
    taken = rows[measured].assign(key=rows["key"].str.replace("conductivity.", "membrane."))
    taken = taken[~taken["key"].isin(set(rows["key"]))]
    taken = taken.assign(value=taken["value"] * TDS_PER_CONDUCTIVITY)
    note = f"dissolved solids taken as {TDS_PER_CONDUCTIVITY:g} mg/L for each µS/cm of conductivity"
    whole = pd.concat([rows[~measured], taken], ignore_index=True).sort_values("day", kind="stable")
    return whole, [note] if len(taken) else []
