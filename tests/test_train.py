"""The plant's train file is read whole or refused whole, and every place text is matched or reported."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pandas as pd
import pytest
from pandera.typing import DataFrame

from tests.table_rows import readings_of
from wqcheck.errors import PlantFileError
from wqcheck.findings import Severity
from wqcheck.tables import Readings
from wqcheck.train.description import Equipment, Train, assign_stages, at_product_point, load_train, match_points
from wqcheck.train.kinds import KINDS

SAMPLE = Path(__file__).parent.parent / "sample_results" / "train.toml"

GOOD = """
name = "A plant"
product_points = ["B"]
[[points]]
code = "A"
name = "raw"
[[points]]
code = "B"
name = "treated"
[[stages]]
name = "filter"
kind = "media filter"
inlet = "A"
outlet = "B"
"""


@pytest.fixture(scope="module")
def sample() -> Train:
    return load_train(SAMPLE)


def written(folder: Path, text: str) -> Path:
    path = folder / "train.toml"
    path.write_text(text, encoding="utf-8")
    return path


def placed(*points: str | None) -> DataFrame[Readings]:
    """Return one turbidity result for each point text."""
    return readings_of([{"point": point, "parameter": "turbidity", "value": 0.1, "unit": "NTU"} for point in points])


def test_the_sample_train_has_its_ten_points_in_the_order_of_flow(sample: Train) -> None:
    assert [point.code for point in sample.points] == [*(f"SP{number}" for number in range(1, 10)), "FP"]
    assert [stage.outlet for stage in sample.stages] == [point.code for point in sample.points]
    assert sample.product_points == ("FP",)
    assert "invented" in sample.name
    assert {stage.kind for stage in sample.stages} <= set(KINDS)


def test_digest_is_the_sha256_of_the_file(sample: Train) -> None:
    assert sample.digest == hashlib.sha256(SAMPLE.read_bytes()).hexdigest()
    assert sample.path == str(SAMPLE)


def test_every_problem_of_a_train_file_is_listed_at_once(tmp_path: Path) -> None:
    bad = (
        GOOD.replace("media filter", "sieve")
        .replace('product_points = ["B"]', 'product_points = ["X"]')
        .replace('inlet = "A"', 'inlet = "Q"')
        .replace('name = "treated"', 'name = "Raw"')
    )
    with pytest.raises(PlantFileError) as caught:
        load_train(written(tmp_path, bad))
    text = str(caught.value)
    assert "'sieve' is not known" in text
    assert "'X' is not a point" in text
    assert "'Q' is not a point" in text
    assert "'raw' means more than one point (A, B)" in text
    assert "train.toml: 5 problem(s)" in text  # the fifth: outlet B leads nowhere once the product point is X


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('product_points = ["B"]', "product_points = []", "no product point"),
        ('product_points = ["B"]', "", "no product point"),
        ('name = "A plant"', "", "name is missing"),
        ('inlet = "A"', "", "inlet is missing"),
        ('inlet = "A"', "inlet = 3", "inlet must be text"),
        ('inlet = "A"', 'inlet = "B"', "same point"),
        ('outlet = "B"', "", "outlet is missing"),
        ('code = "A"', 'code = "A"\nalias = ["x"]', "'alias' is not known"),
        ('code = "A"', 'code = "A"\naliases = "x"', "aliases must be a list"),
        ('name = "filter"', 'name = "whole train"', "kept for the row over all stages"),
        ("[[stages]]", "[[steps]]", "there are no stages"),
        ('name = "A plant"', "name = A plant", "not valid TOML"),
    ],
)
def test_each_kind_of_problem_is_told_with_its_mend(tmp_path: Path, old: str, new: str, told: str) -> None:
    assert load_train(written(tmp_path, GOOD)).name == "A plant"
    with pytest.raises(PlantFileError, match=r"train\.toml") as caught:
        load_train(written(tmp_path, GOOD.replace(old, new)))
    assert told in str(caught.value)


def test_a_missing_or_garbled_file_is_told_plainly(tmp_path: Path) -> None:
    with pytest.raises(PlantFileError, match="cannot be opened"):
        load_train(tmp_path / "none.toml")
    (tmp_path / "latin.toml").write_bytes('name = "caf\xe9"'.encode("latin-1"))
    with pytest.raises(PlantFileError, match="UTF-8"):
        load_train(tmp_path / "latin.toml")


SECOND = """
[[stages]]
name = "tank"
kind = "tank"
inlet = "B"
outlet = "C"
[[points]]
code = "C"
name = "tank outlet"
"""


def test_an_outlet_that_leads_nowhere_needs_a_note(tmp_path: Path) -> None:
    with pytest.raises(PlantFileError, match="'C' is no later stage's inlet and no product point"):
        load_train(written(tmp_path, GOOD + SECOND))
    noted = SECOND.replace('outlet = "C"', 'outlet = "C"\nnote = "to waste"')
    assert load_train(written(tmp_path, GOOD + noted)).stages[1].note == "to waste"


def test_stages_out_of_the_order_of_flow_are_refused(tmp_path: Path) -> None:
    head, stages = GOOD.split("[[stages]]")
    turned = head.replace('["B"]', '["C"]') + SECOND + "[[stages]]" + stages
    with pytest.raises(PlantFileError, match="'tank': it stands before 'filter', which feeds it"):
        load_train(written(tmp_path, turned))


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("SP1", "SP1"), ("sp-01", "SP1"), ("SP 1", "SP1"), ("Raw tank outlet", "SP1"), ("SP1 – raw tank outlet", "SP1"),
        ("RO permeate (SP6)", "SP6"), ("after 5 μm cartridge", "SP4"), ("Finished Product", "FP"), ("SP10", None),
        ("SP1.1", None), ("SP11", None), ("borehole 4", None),
    ],
)  # fmt: skip
def test_place_texts_are_matched_by_code_name_or_alias_only(sample: Train, text: str, code: str | None) -> None:
    found = match_points(pd.Series([text, None], dtype="str"), sample)
    assert found.isna().tolist() == [code is None, True]
    assert found.dropna().tolist() == ([code] if code else [])


def test_stage_is_the_one_that_a_point_is_the_outlet_of(sample: Train) -> None:
    readings, findings = assign_stages(placed("SP1", "after carbon", "SP6", "FP"), sample)
    assert readings["stage"].tolist() == ["source", "activated carbon", "reverse osmosis", "filler"]
    assert findings == ()


def test_unknown_places_hold_and_stay_in_the_table(sample: Train) -> None:
    given = placed("SP1", "roof tank", "roof tank", None)
    readings, findings = assign_stages(given, sample)
    assert len(readings) == 4
    assert readings["stage"].isna().tolist() == [False, True, True, True]
    unknown, blank = findings
    assert (unknown.code, unknown.severity, unknown.given) == ("unknown point", Severity.HOLD, "roof tank")
    assert unknown.where == "book.xlsx|Results!B3"
    assert "2 result(s)" in unknown.message
    assert (blank.code, blank.severity) == ("no point", Severity.NOTE)
    assert given["stage"].isna().all(), "the table that was given is left alone"


def test_results_of_an_unknown_place_count_as_finished_water(sample: Train) -> None:
    assert at_product_point(placed("SP1", "FP", "roof tank", None), sample).tolist() == [False, True, True, True]


EQUIPPED = SAMPLE.with_name("train_equipped.toml")


def test_equipment_is_read_in_si_whatever_the_unit_of_the_file() -> None:
    """44 gal/min are 9.99 m³/h and 8 psi 55.16 kPa (231 cubic inches to the gallon; NIST SP 811, Appendix B)."""
    train = load_train(EQUIPPED)
    stages = {stage.name: stage for stage in train.stages}
    cartridge = stages["5-micron cartridge"].equipment
    assert cartridge.rated_flow == pytest.approx(9.9935, abs=1e-4)
    assert cartridge.plan_change_out == pytest.approx(55.158, abs=1e-3)
    assert (cartridge.installed, cartridge.standby, cartridge.on_duty) == (2, 1, 1)
    membranes = stages["reverse osmosis"]
    assert membranes.equipment.membrane_area == pytest.approx(37.161, abs=1e-3)  # 400 ft²
    assert (membranes.concentrate, membranes.equipment.membranes) == ("CON", 9)
    assert stages["UV"].equipment.lamp_dose == 40
    assert stages["UV"].equipment.lamp_life == 9000 * 60
    assert train.pairing == 12


def test_a_file_without_equipment_stays_valid(sample: Train) -> None:
    assert {stage.equipment for stage in sample.stages} == {Equipment()}
    assert sample.pairing == 12


def test_results_of_the_concentrate_are_no_product() -> None:
    train = load_train(EQUIPPED)
    readings, findings = assign_stages(placed("CON", "brine"), train)
    assert set(readings[Readings.stage]) == {"reverse osmosis, concentrate"}
    assert findings == ()
    assert not at_product_point(readings, train).any()


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ('rated_flow = "12"', "rated_flow: '12' is no flow; write a number and its unit"),
        ('rated_flow = "0 m3/h"', "must be above zero"),
        ('rated_pressure = "6 m3/h"', "is no pressure"),
        ("installed = 0", "installed must be a whole number, 1 or more"),
        ("installed = 2.5", "installed must be a whole number"),
        ("standby = 1", "1 of 1 units cannot stand by"),
        ('lamp_dose = "40 mJ/cm2"', "a stage of kind 'media filter' has no lamp_dose; leave it out"),
        ('plan_change_out = "10 psi"\nchange_out = "8 psi"', "plan_change_out is above change_out"),
        ('media_changed = "March"', "media_changed must be a date without quotes"),
        ('concentrate = "C"', "its concentrate 'C' is not a point"),
        ('concentrate = "B"', "its concentrate 'B' is its inlet or outlet"),
        ('recycle_to = "Z"', "its recycle_to 'Z' is not a point"),
        ('carries = "milk"', "carries 'milk' is not known"),
    ],
)
def test_bad_equipment_is_told_with_its_mend(tmp_path: Path, line: str, told: str) -> None:
    with pytest.raises(PlantFileError) as caught:
        load_train(written(tmp_path, GOOD + line + "\n"))
    assert told in str(caught.value)
    assert "stage 'filter'" in str(caught.value)


def test_problems_of_shape_hide_no_others(tmp_path: Path) -> None:
    """A missing name, a bad number and a place that is no point are told together."""
    bad = GOOD.replace('name = "A plant"\n', "").replace('inlet = "A"', 'inlet = "Q"') + 'rated_flow = "fast"\n'
    with pytest.raises(PlantFileError) as caught:
        load_train(written(tmp_path, bad))
    for told in ("name is missing", "'Q' is not a point", "'fast' is no flow"):
        assert told in str(caught.value)


@pytest.mark.parametrize("text", ["0 h", "200 h", "soon"])
def test_a_pairing_tolerance_is_at_most_a_week(tmp_path: Path, text: str) -> None:
    with pytest.raises(PlantFileError, match="pairing_tolerance"):
        load_train(written(tmp_path, f'pairing_tolerance = "{text}"\n' + GOOD))
