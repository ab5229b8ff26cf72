"""The report of a train names what was planted first, and a clean train gives no suspicion at all."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.table_rows import readings_of
from wqcheck.batch import take_in
from wqcheck.plant.flow_fit import ProductionDay, Tank
from wqcheck.plant.log import joined, open_plant_readings
from wqcheck.plant.readings import PlantReadings
from wqcheck.tables import StageVerdict
from wqcheck.train.commissioning import CommissioningReport, commission
from wqcheck.train.description import Train, load_train
from wqcheck.train.expectations import load_expectations
from wqcheck.train.kinds import PREVAILS
from wqcheck.train.suspects import Grade

SAMPLES = Path(__file__).parent.parent / "sample_results"
TRAIN = load_train(SAMPLES / "train_equipped.toml")
EXPECTED = load_expectations()
CLEAN_LOG = open_plant_readings(SAMPLES / "plant_log_clean.csv")


def report_of(book: str, log: str) -> CommissioningReport:
    plant = open_plant_readings(SAMPLES / log)
    return commission(take_in([SAMPLES / book]).readings, TRAIN, EXPECTED, plant=plant)


def found(rows: Sequence[Mapping[str, Any]], plant: PlantReadings | None = None, train: Train = TRAIN) -> list[str]:
    """Return the codes of what these results and readings make suspicious."""
    return [one.code for one in commission(readings_of(rows), train, EXPECTED, plant=plant).suspects]


def at(parameter: str, unit: str, **values: float | str) -> list[dict[str, Any]]:
    """Return one result of *parameter* for each point."""
    volume = {"volume_ml": 1.0} if unit == "CFU" else {}
    rows = []
    for point, value in values.items():
        sign = "<" if isinstance(value, str) else "="
        rows.append({"point": point, "parameter": parameter, "unit": unit, "sign": sign,
                     "value": float(str(value).lstrip("<")), **volume})  # fmt: skip
    return rows


@pytest.fixture(scope="module")
def faulty() -> CommissioningReport:
    return report_of("commissioning_faults.xlsx", "plant_log_faults.xlsx")


def test_the_two_planted_faults_are_named_first(faulty: CommissioningReport) -> None:
    first, second, third, *more = faulty.suspects
    assert (first.code, first.stage) == ("chlorine at the membranes", "activated carbon")
    assert (second.code, second.stage) == ("weak UV", "UV")
    assert "dirty product tank" in second.title
    assert (third.code, third.stage, more) == ("film in the tank", "product tank", [])


def test_the_clean_twin_names_nothing() -> None:
    report = report_of("commissioning_clean.xlsx", "plant_log_clean.csv")
    assert report.suspects == ()
    assert not report.stages["verdict"].isin([StageVerdict.WEAK, StageVerdict.WORSE, StageVerdict.UNEXPLAINED]).any()
    assert report.stages["verdict"].eq(StageVerdict.AS_EXPECTED).sum() > 80


def test_each_suspicion_brings_numbers_with_their_cell_and_a_caution(faulty: CommissioningReport) -> None:
    texts = {one.code: [(e.text, e.where) for e in one.evidence] for one in faulty.suspects}
    assert ("free chlorine at SP5: 0.33 mg/L (at most 0.1 mg/L; common practice, no source)", "Commissioning!H15") in (
        texts["chlorine at the membranes"]
    )
    assert any("dose now 24 mJ/cm²" in text and where.endswith("Log!P12") for text, where in texts["weak UV"])
    for one in faulty.suspects:
        assert all(e.text and e.where for e in one.evidence)
        assert one.why
        assert one.check
        assert one.caution.endswith(PREVAILS)


@pytest.mark.parametrize("with_log", [True, False])
def test_the_laboratory_alone_names_the_same_stages(with_log: bool) -> None:
    """Without the plant's log the same two stages come first: the log adds evidence, it does not carry the finding."""
    plant = open_plant_readings(SAMPLES / "plant_log_faults.xlsx") if with_log else None
    readings = take_in([SAMPLES / "commissioning_faults.xlsx"]).readings
    report = commission(readings, TRAIN, EXPECTED, plant=plant)
    assert {one.stage for one in report.suspects[:2]} == {"activated carbon", "UV"}


def test_chlorine_is_seen_by_the_meter_alone() -> None:
    plant = open_plant_readings(SAMPLES / "plant_log_faults.xlsx")
    readings = take_in([SAMPLES / "commissioning_clean.xlsx"]).readings
    codes = [one.code for one in commission(readings, TRAIN, EXPECTED, plant=plant).suspects]
    assert codes == ["chlorine at the membranes", "weak UV"]


def test_chlorine_behind_the_carbon_counts_where_the_membrane_feed_was_not_sampled() -> None:
    report = commission(readings_of(at("free_chlorine", "mg/L", SP2=0.6, SP3=0.4)), TRAIN, EXPECTED)
    assert [(one.code, one.stage) for one in report.suspects] == [("chlorine at the membranes", "activated carbon")]


def test_a_leak_lets_double_charged_ions_pass_and_wear_does_not() -> None:
    salts = at("electrical_conductivity", "µS/cm", SP5=4000.0, SP6=480.0)
    leak = [*salts, *at("sulfate", "mg/L", SP5=420.0, SP6=40.0)]
    worn = [*salts, *at("sulfate", "mg/L", SP5=420.0, SP6=2.0)]
    reports = [commission(readings_of(rows), TRAIN, EXPECTED) for rows in (leak, worn)]
    assert [report.suspects[0].code for report in reports] == ["salt passage"] * 2
    assert "O-ring" in reports[0].suspects[0].why
    assert reports[0].suspects[0].grade == Grade.BARRIER
    assert "wear" in reports[1].suspects[0].why
    assert reports[1].suspects[0].grade == Grade.REMOVAL


def test_swapped_bottles_come_before_everything_else() -> None:
    """Bottles of feed and permeate swapped: the membranes seem to add salt, which no membrane does."""
    rows = [
        row
        for parameter, unit, feed, permeate in (("chloride", "mg/L", 1080.0, 16.0), ("sodium", "mg/L", 670.0, 13.0))
        for row in at(parameter, unit, SP4=feed, SP5=permeate, SP6=feed, SP7=permeate)
    ]
    report = commission(readings_of(rows), TRAIN, EXPECTED)
    first = report.suspects[0]
    assert (first.code, first.grade) == ("mixed-up samples", Grade.RESULTS)
    assert "reverse osmosis" in first.why


def test_carbon_that_lets_organics_pass_is_exhausted() -> None:
    rows = at("chloroform", "µg/L", SP2=20.0, SP3=18.0) + at("total_organic_carbon", "mg/L", SP2=2.0, SP3=1.9)
    assert found(rows) == ["spent carbon"]


def test_antiscalant_that_is_off_counts_only_near_saturation() -> None:
    """At 70 % recovery 28 mg/L silica gives 93 mg/L, and about 110 dissolve at 20 °C (common practice, no source)."""
    dosing = {**CLEAN_LOG.tables["pretreatment"], "antiscalant_dose": 0.0}
    off = replace(CLEAN_LOG, tables={**CLEAN_LOG.tables, "pretreatment": dosing})
    silica = {"basis": "SiO2"}
    near, far = (
        [row | silica for row in at("silica", "mg/L", SP5=strength, SP6=strength / 60)] for strength in (28.0, 12.0)
    )
    assert found(near, off) == ["antiscalant off"]
    assert found(far, off) == []
    assert found(near, CLEAN_LOG) == []


def test_one_salty_vessel_is_named() -> None:
    leaking = replace(CLEAN_LOG, vessels=(61.0, 240.0, 70.0))
    report = commission(readings_of(at("chloride", "mg/L", SP5=1000.0, SP6=15.0)), TRAIN, EXPECTED, plant=leaking)
    assert [one.code for one in report.suspects] == ["leak in a vessel"]
    assert report.suspects[0].title.startswith("Vessel 2 ")


@pytest.mark.parametrize(("psi", "codes"), [(7.9, []), (8.1, ["spent cartridges"]), (10.0, ["spent cartridges"])])
def test_cartridges_are_changed_from_eight_to_ten_psi(psi: float, codes: list[str]) -> None:
    """8 to 10 psi: common practice, no source."""
    old = replace(CLEAN_LOG, cartridges=((0.0, 10.0), (7.0, psi * 6.894757293168)))
    assert found(at("turbidity", "NTU", SP3=0.3, SP4=0.2), old) == codes


def test_a_membrane_past_its_cleaning_trigger_is_named() -> None:
    """Normalised flow down by more than 10 % (common practice, no source)."""
    low = {**CLEAN_LOG.tables["membrane"], "permeate_flow": 4.8}
    assert "cleaning due" in found(
        at("turbidity", "NTU", SP3=0.3, SP4=0.2), replace(CLEAN_LOG, tables={**CLEAN_LOG.tables, "membrane": low})
    )


def test_a_lamp_past_its_life_is_named() -> None:
    old = {**CLEAN_LOG.tables["disinfection"], "lamp_hours": 9500 * 60.0}
    assert found(
        at("turbidity", "NTU", SP3=0.3, SP4=0.2), replace(CLEAN_LOG, tables={**CLEAN_LOG.tables, "disinfection": old})
    ) == ["lamp past its life"]
    shares = {one.name: one for one in report_of("commissioning_clean.xlsx", "plant_log_clean.csv").figures["Service"]}
    assert shares["lamp of UV, share of its life"].value == pytest.approx(2150 / 9000)
    carbon = shares["media of activated carbon, share of its life"]
    assert carbon.value == pytest.approx(127 / 365)  # 13 January to 20 May 2025
    assert carbon.verdict == "within"


def test_bacteria_already_there_are_not_blamed_on_tank_or_filler() -> None:
    assert found(at("total_coliforms", "CFU", SP9=3.0, FP=3.0)) == []
    assert found(at("total_coliforms", "CFU", SP9="<1", FP=40.0)) == ["weak stage"]


def test_files_of_plant_readings_are_joined_and_the_later_counts() -> None:
    day = open_plant_readings(SAMPLES / "plant_readings.toml")
    both = joined(day, CLEAN_LOG)
    assert both.tables["membrane"]["feed_pressure"] == CLEAN_LOG.tables["membrane"]["feed_pressure"]
    assert both.tables["feed_water"]["silica"] == day.tables["feed_water"]["silica"]
    assert both.tables["pretreatment"]["carbon_volume"] == day.tables["pretreatment"]["carbon_volume"]
    assert both.production_day is day.production_day
    assert len(both.cartridges) == 8


def planned(**changes: Any) -> list[tuple[str, str, int]]:
    """Return code, stage and grade of the suspicions about a planned day of the equipped train."""
    day = ProductionDay(
        raw_tank=Tank(20.0, 10.0), product_tank=Tank(10.0, 5.0), recovered=0.70, supply=np.full(8, 8.0),
        feed=np.full(8, 8.0), backwash=np.zeros(8), filler=np.full(8, 5.6), rinse=np.zeros(8),
    )  # fmt: skip
    tables = {**CLEAN_LOG.tables, "flow": {}}
    plant = replace(CLEAN_LOG, production_day=replace(day, **changes), tables=tables)
    chloride = at("chloride", "mg/L", SP5=1000.0, SP6=15.0)
    found = commission(readings_of(chloride), TRAIN, EXPECTED, plant=plant).suspects
    assert all(one.evidence and one.check and one.caution.endswith(PREVAILS) for one in found)
    return [(one.code, one.stage, one.grade) for one in found]


def test_a_plan_that_fits_gives_no_suspicion() -> None:
    assert planned() == []


def test_a_stage_rated_below_its_flow_is_named_with_the_narrowest_first() -> None:
    """Feed 10 m³/h at 70 %: 7 m³/h of permeate, 117 % of 6.0; 44 gal/min are 9.99 m³/h, just too few (by hand)."""
    asked = planned(feed=np.full(8, 10.0), supply=np.full(8, 10.0), filler=np.full(8, 7.0))
    assert asked == [
        ("rated below its flow", "reverse osmosis", Grade.FIT),
        ("rated below its flow", "5-micron cartridge", Grade.FIT),
    ]


def test_a_tank_that_runs_dry_or_spills_is_named_at_its_stage() -> None:
    """5 m³ and 5.6 m³/h against 7.5 m³/h last under three hours; 5 m³ of room fill within the first (by hand)."""
    assert planned(filler=np.full(8, 7.5)) == [("tank runs dry", "product tank", Grade.FIT)]
    assert planned(filler=np.zeros(8)) == [("tank spills", "product tank", Grade.FIT)]
    thirsty = planned(supply=np.full(8, 4.0))
    assert set(thirsty) == {("tank runs dry", tank, Grade.FIT) for tank in ("raw tank", "product tank")}


def test_a_field_blank_is_no_water_of_the_train() -> None:
    """A blank of 0 mg/L taken at the same point would halve the mean behind the carbon."""
    rows = at("free_chlorine", "mg/L", SP2=0.6, SP3=0.4)
    blank = [{**row, "sample": "Field blank"} for row in at("free_chlorine", "mg/L", SP3=0.0)]
    report = commission(readings_of([*rows, *blank]), TRAIN, EXPECTED)
    carbon = report.stages[report.stages["stage"].eq("activated carbon")]
    assert list(carbon["outlet"]) == ["0.4"]
