"""A train that is typed becomes the train file of the commands; what is wrong in it is said like a file's faults."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from wqcheck.plant_files import read_plant_file
from wqcheck.train.description import Train, load_train
from wqcheck.train.editing import (
    ORDER,
    TypedTrain,
    as_typed,
    named_fields,
    stage_unit,
    train_data,
    train_text,
    typed_problems,
)
from wqcheck.train.file_problems import DATES, QUANTITIES, WHOLE_NUMBERS
from wqcheck.train.kinds import ONLY_FOR

SAMPLES = Path(__file__).parent.parent / "sample_results"
POINTS = ({"code": "A", "name": "raw", "product": False}, {"code": "B", "name": "after UV", "product": True})


def loaded(typed: TypedTrain, folder: Path) -> Train:
    path = folder / "typed.toml"
    path.write_text(train_text(typed), encoding="utf-8")
    return replace(load_train(path), path="", digest="")


def lamp(**fields: object) -> TypedTrain:
    stages = ({"name": "UV", "kind": "uv", "inlet": "A", "outlet": "B", **fields},)
    return TypedTrain(name="Port Almara (invented)", points=POINTS, stages=stages)


@pytest.mark.parametrize("name", ["train.toml", "train_equipped.toml"])
def test_a_file_that_is_typed_again_is_the_same_train(name: str, tmp_path: Path) -> None:
    data, _ = read_plant_file(SAMPLES / name)
    again = loaded(as_typed(data), tmp_path)
    # repr, for unknown numbers are NaN and equal nothing
    assert repr(again) == repr(replace(load_train(SAMPLES / name), path="", digest=""))


def test_bare_numbers_have_the_unit_of_their_heading(tmp_path: Path) -> None:
    """35 gal/min is 7.949 m³/h: 231 cubic inches a gallon (NIST Handbook 44, Appendix C), 0.0254 m an inch."""
    equipment = loaded(lamp(rated_flow="8", lamp_dose="40", lamp_life="9000"), tmp_path).stages[0].equipment
    assert (equipment.rated_flow, equipment.lamp_dose, equipment.lamp_life) == (8.0, 40.0, 540_000.0)
    customary = replace(lamp(rated_flow="35"), us_units=True)
    assert loaded(customary, tmp_path).stages[0].equipment.rated_flow == pytest.approx(
        35 * 231 * 0.0254**3 * 60, rel=1e-11
    )
    assert (stage_unit("rated_flow", us_units=True), stage_unit("lamp_dose", us_units=True)) == ("gal/min", "mJ/cm²")


def test_written_units_stay_as_they_were_written() -> None:
    stage = train_data(lamp(rated_flow="35 gal/min", lamp_changed="2025-02-17", installed="2"))["stages"][0]
    assert (stage["rated_flow"], str(stage["lamp_changed"]), stage["installed"]) == ("35 gal/min", "2025-02-17", 2)


@pytest.mark.parametrize(
    ("field", "text", "said"),
    [
        ("rated_flow", "much", "'UV', rated_flow: 'much' is no flow"),
        ("rated_flow", "-3", "'-3 m³/h' cannot be; it must be above zero"),
        ("rated_flow", "8 bar", "'8 bar' is no flow"),
        ("lamp_changed", "last March", "lamp_changed must be a date"),
        ("installed", "two", "installed must be a whole number, 1 or more (given: 'two')"),
        ("media_volume", "1", "has no media_volume"),
        ("carries", "beer", "carries 'beer' is not known"),
        ("kind", "lamp", "the kind 'lamp' is not known"),
        ("outlet", "Z", "'Z' is not a point"),
    ],
)
def test_faults_are_said_as_those_of_a_file(field: str, text: str, said: str) -> None:
    assert said in "\n".join(typed_problems(lamp(**{field: text})))


def test_every_quantity_refuses_what_is_no_number() -> None:
    """Each field of a stage with a number or a date, typed as nonsense, is named."""
    for key in (*QUANTITIES, *WHOLE_NUMBERS, *DATES):
        kind = ONLY_FOR.get(key, ("other",))[-1]
        assert any(key in problem for problem in typed_problems(lamp(**{key: "?", "kind": kind}))), key


def test_nothing_typed_is_no_train() -> None:
    said = "\n".join(typed_problems(TypedTrain()))
    for fault in ("name is missing", "there is no product point", "there are no stages"):
        assert fault in said


def test_stages_stand_in_the_order_of_their_numbers() -> None:
    """2.5 puts one between 2 and 3, and one without a number comes last."""
    names = {"c": 3.0, "a": 1.0, "x": 2.5, "b": 2.0, "last": None}
    typed = TypedTrain(stages=[{"name": name, ORDER: place} for name, place in names.items()])
    assert [stage["name"] for stage in train_data(typed)["stages"]] == ["a", "b", "x", "c", "last"]


def test_problems_are_told_with_the_titles_of_the_fields() -> None:
    problems = typed_problems(lamp(rated_flow="much"))
    assert next(named_fields(problems, {"rated_flow": "Rated flow"})).startswith("stage 'UV', Rated flow: 'much'")
