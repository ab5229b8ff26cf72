"""Typed readings become the file that the plant commands read, or a sentence for each that cannot be used."""

from __future__ import annotations

import tomllib
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from wqcheck.errors import PlantFileError
from wqcheck.plant.flow_fit import ProductionDay
from wqcheck.plant.readings import HOURLY, SECTIONS, PlantReadings, read_plant_readings
from wqcheck.plant.typed_readings import TITLES, UNITS, US_FIRST, TypedReadings, typed_toml, usual_unit
from wqcheck.quantities import KINDS, read_quantity, to_us

SAMPLE = Path(__file__).resolve().parent.parent / "sample_results" / "plant_readings.toml"


def sample() -> TypedReadings:
    """Return the sample file as a person would type it, but for the rated stages, which the train file knows."""
    data = tomllib.loads(SAMPLE.read_text(encoding="utf-8"))
    tables: dict[str, dict[str, str]] = {}
    for name, keys in SECTIONS.items():
        entry: Any = data
        for part in name.split("."):
            entry = entry.get(part, {})
        tables[name] = {key: str(entry.get(key, "")) for key in keys}
    hourly = data["flow"]["hourly"]
    return TypedReadings(
        tables=tables, baffling=data["disinfection"]["baffling"], vessels=("41 µS/cm", "43 µS/cm"),
        cartridges=[(str(row["day"]), row["drop"]) for row in data["pretreatment"]["cartridges"]],
        hourly={name: [str(flow) for flow in hourly[name]] for name in HOURLY}, hourly_unit=hourly["unit"],
    )  # fmt: skip


def read(typed: TypedReadings, folder: Path) -> PlantReadings:
    path = folder / "typed.toml"
    path.write_text(typed_toml(typed, 'Port "Almara"'), encoding="utf-8")
    return read_plant_readings(path)


def test_what_was_typed_is_read_back_to_the_last_digit(tmp_path: Path) -> None:
    original, again = read_plant_readings(SAMPLE), read(sample(), tmp_path)
    assert again.name == 'Port "Almara"'
    assert set(again.tables) == set(original.tables)
    for name, table in original.tables.items():
        np.testing.assert_array_equal(list(again.tables[name].values()), list(table.values()), name)
    assert (again.cartridges, again.baffling, again.vessels) == (original.cartridges, "poor", (41.0, 43.0))
    one, other = original.production_day, again.production_day
    assert one is not None
    assert other is not None
    for field in fields(ProductionDay):
        np.testing.assert_array_equal(getattr(one, field.name), getattr(other, field.name), field.name)


def test_nothing_typed_is_no_reading() -> None:
    assert TypedReadings(tables={"membrane": {"feed_flow": " "}}).count() == 0
    assert sample().count() > 60


def test_every_table_has_words_and_every_unit_offered_is_read() -> None:
    assert list(TITLES) == list(SECTIONS)
    assert set(UNITS) == {kind for keys in SECTIONS.values() for kind in keys.values()} | {"conductivity"}
    for kind, units in UNITS.items():
        for unit in units:
            assert np.isfinite(read_quantity(f"1 {unit}", kind)), (kind, unit)
    for kind in US_FIRST:
        assert usual_unit(kind, us_units=True) == KINDS[kind].us
        assert read_quantity(f"{to_us(7.0, kind)!r} {usual_unit(kind, us_units=True)}", kind) == pytest.approx(7.0)
    assert usual_unit("dose", us_units=True) == "mJ/cm²"


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"tables": {"pretreatment": {"filter_flow": "8,5 m³/h"}}},
         "Before the membranes, filter flow: '8,5 m³/h' cannot be read; type a number with a decimal point, and a unit "
         "(m³/h, gal/min, L/min, L/h)"),
        ({"tables": {"disinfection": {"ph": "7.3 mg/L"}}}, "Disinfection, pH: '7.3 mg/L' cannot be read; type a"),
        ({"tables": {"membrane": {"feed_flow": "8 m³/h"}}},
         "Membranes today: feed dissolved solids is missing; type it, or empty the whole table"),
        ({"tables": {"feed_water.limits": {"gypsum": "2"}}}, "the table 'Feed water of the membranes' is needed too"),
        ({"vessels": ["41 µS/cm"]}, "the vessels: the table 'Membranes today' is needed too"),
        ({"vessels": ["41 mg/L"]}, "vessel 1: '41 mg/L' cannot be read"),
        ({"cartridges": [("first", "2 psi")]}, "cartridge readings, row 1: 'first' is no day; type a number"),
        ({"cartridges": [("0", "2 °C")]}, "cartridge readings, row 1: '2 °C' cannot be read"),
        ({"hourly": {"supply": ["8", "much"]}}, "planned day, supply in hour 1: 'much' is no number"),
        ({"hourly": {"supply": ["8"]}}, "the hours of the planned day: the table"),
        ({"tables": {"flow": {"recovery": "70 %"}}}, "the hours of the planned day are missing"),
    ],
)  # fmt: skip
def test_each_problem_is_one_sentence_and_nothing_is_written(changes: dict[str, Any], said: str) -> None:
    with pytest.raises(PlantFileError) as caught:
        typed_toml(TypedReadings(**changes), "P")
    assert said in str(caught.value)


def test_what_cannot_be_is_refused_by_the_reader_of_the_file(tmp_path: Path) -> None:
    hot = TypedReadings(tables={"disinfection": {"temperature": "99 °C"}})
    with pytest.raises(PlantFileError, match="it runs from 0 to 60"):
        read(hot, tmp_path)
    uneven = replace(sample(), hourly={**sample().hourly, "rinse": ["0"]})
    with pytest.raises(PlantFileError, match="give each the same number"):
        read(uneven, tmp_path)
