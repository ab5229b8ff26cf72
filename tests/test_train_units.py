"""The same train, log and results give the same verdicts in SI and in United States units."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.table_rows import readings_of
from wqcheck.plant.log import read_plant_log
from wqcheck.train.commissioning import CommissioningReport, commission
from wqcheck.train.description import load_train
from wqcheck.train.expectations import load_expectations

EXPECTED = load_expectations()

# What one SI unit is worth in the other: 231 in³ to the gallon, psi and ft by definition (NIST SP 811, Appendix B).
GALLON_PER_MINUTE = 1 / (60 * 3.785411784e-3)  # of a m³/h
PSI = 1 / (0.45359237 * 9.80665 / 0.0254**2 / 1e5)  # of a bar
SQUARE_FOOT, CUBIC_FOOT = 1 / 0.3048**2, 1 / 0.3048**3

TRAIN = """
name = "A train"
product_points = ["D"]
points = [
  {{code = "A", name = "raw"}}, {{code = "B", name = "after carbon"}}, {{code = "C", name = "after cartridge"}},
  {{code = "P", name = "permeate"}}, {{code = "D", name = "after the lamp"}},
]
[[stages]]
name = "carbon"
kind = "activated carbon"
inlet = "A"
outlet = "B"
rated_flow = "{flow}"
media_volume = "{volume}"
[[stages]]
name = "cartridge"
kind = "cartridge filter"
inlet = "B"
outlet = "C"
plan_change_out = "{plan}"
change_out = "{due}"
[[stages]]
name = "membranes"
kind = "reverse osmosis"
inlet = "C"
outlet = "P"
rated_pressure = "{pressure}"
membranes = 6
membrane_area = "{area}"
[[stages]]
name = "lamp"
kind = "uv"
inlet = "P"
outlet = "D"
lamp_dose = "40 mJ/cm2"
"""

LOG = """Date,Feed flow ({f}),Permeate flow ({f}),Feed pressure ({p}),Differential pressure ({p}),\
Permeate pressure ({p}),Temperature ({t}),Feed dissolved solids (mg/L),Permeate dissolved solids (mg/L),\
Cartridge pressure drop ({p}),UV dose (mJ/cm2),Feed free chlorine (mg/L)
"""

amounts = st.floats(0.01, 1.0)
PLANT = st.fixed_dictionaries({
    "flow": st.floats(2, 20), "share": st.floats(0.3, 0.85), "pressure": st.floats(8, 20), "drop": st.floats(0.1, 1.2),
    "warmth": st.floats(5, 35), "passage": st.floats(0.005, 0.2), "dose": st.floats(10, 80),
    "chlorine": st.floats(0, 1), "plan": st.floats(0.3, 0.6), "due": st.floats(0.6, 1.0), "area": st.floats(20, 45),
    "volume": st.floats(0.2, 3), "later": st.floats(0.7, 1.2),
})  # fmt: skip
LABORATORY = st.fixed_dictionaries({
    "chlorine": st.tuples(amounts, amounts), "conductivity": st.tuples(st.floats(500, 5000), st.floats(5, 900)),
    "iron": st.tuples(amounts, amounts), "turbidity": st.tuples(amounts, amounts),
})  # fmt: skip


def train_text(plant: dict[str, float], us: bool) -> str:
    def shown(value: float, si: str, other: str, worth: float) -> str:
        return f"{value * worth!r} {other}" if us else f"{value!r} {si}"

    return TRAIN.format(
        flow=shown(plant["flow"], "m3/h", "gal/min", GALLON_PER_MINUTE),
        volume=shown(plant["volume"], "m3", "ft3", CUBIC_FOOT),
        plan=shown(plant["plan"], "bar", "psi", PSI),
        due=shown(plant["due"], "bar", "psi", PSI),
        pressure=shown(plant["pressure"], "bar", "psi", PSI),
        area=shown(plant["area"], "m2", "ft2", SQUARE_FOOT),
    )


def log_text(plant: dict[str, float], us: bool) -> str:
    flow, pressure = (GALLON_PER_MINUTE, PSI) if us else (1.0, 1.0)
    rows = [LOG.format(f="gal/min" if us else "m3/h", p="psi" if us else "bar", t="°F" if us else "°C")]
    for day, change in ((1, 1.0), (8, plant["later"])):
        warmth = plant["warmth"] * 1.8 + 32 if us else plant["warmth"]
        cells = [
            plant["flow"] * flow, plant["flow"] * plant["share"] * change * flow, plant["pressure"] * pressure,
            1.5 * pressure, 0.4 * pressure, warmth, 2500.0, 2500 * plant["passage"], plant["drop"] * pressure,
            plant["dose"], plant["chlorine"],
        ]  # fmt: skip
        rows.append(f"2025-05-{day:02d},{','.join(map(repr, cells))}\n")
    return "".join(rows)


def rows_of(laboratory: dict[str, tuple[float, float]], us: bool) -> list[dict[str, Any]]:
    """Give the laboratory's results; in the other system in the units that laboratories there like."""
    kinds = {
        "chlorine": ("free_chlorine", "A", "C", ("mg/L", 1.0), ("µg/L", 1000.0)),
        "conductivity": ("electrical_conductivity", "C", "P", ("mS/m", 0.1), ("µS/cm", 1.0)),
        "iron": ("iron", "P", "D", ("mg/L", 1.0), ("µg/L", 1000.0)),
        "turbidity": ("turbidity", "P", "D", ("FNU", 1.0), ("NTU", 1.0)),
    }
    found = []
    for name, (code, before, after, *units) in kinds.items():
        unit, worth = units[us]
        for point, value in zip((before, after), laboratory[name], strict=True):
            found.append({"point": point, "parameter": code, "unit": unit, "value": value * worth})
    return found


def report(plant: dict[str, float], laboratory: dict[str, tuple[float, float]], us: bool) -> CommissioningReport:
    with tempfile.TemporaryDirectory() as folder:
        train, log = Path(folder) / "train.toml", Path(folder) / "log.csv"
        train.write_text(train_text(plant, us), encoding="utf-8")
        log.write_text(log_text(plant, us), encoding="utf-8")
        readings = readings_of(rows_of(laboratory, us))
        return commission(readings, load_train(train), EXPECTED, plant=read_plant_log(log))


@settings(deadline=None, max_examples=25)
@given(PLANT, LABORATORY)
def test_the_same_train_in_si_and_us_units_gives_the_same_verdicts(
    plant: dict[str, float], laboratory: dict[str, tuple[float, float]]
) -> None:
    ours, theirs = (report(plant, laboratory, us) for us in (False, True))
    said = [
        (
            [(one.code, one.stage, one.grade) for one in made.suspects],
            made.stages[["stage", "parameter", "bound"]].to_dict("list"),
            made.stages["verdict"].fillna("").tolist(),
            made.feeds["passed"].tolist(),
            [(chapter, one.name, one.verdict) for chapter, figures in made.figures.items() for one in figures],
        )
        for made in (ours, theirs)
    ]
    assert said[0] == said[1]
