"""A stage is held against what its train file says it is rated to remove, and a bad rating is named."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.table_rows import readings_of
from wqcheck.tables import Measure
from wqcheck.train.description import Point, Stage, Train
from wqcheck.train.editing import TypedTrain, typed_problems
from wqcheck.train.expectations import load_expectations
from wqcheck.train.ratings import SOURCE, rated_removals
from wqcheck.train.removal import removal_by_stage
from wqcheck.train.stage_verdicts import judge_stages

STAGE = Stage("UV", "uv", "A", "B")
POINTS = (Point("A", "before"), Point("B", "after"))


def verdict(rating: str, before: float, after: float, parameter: str = "heterotrophic_plate_count") -> tuple[str, str]:
    """Return the verdict, and by what it is held, of a lamp with counts before and after it, in CFU/mL."""
    train = Train("T", (replace(STAGE, rated_removal=rating),), POINTS, ("B",))
    rows = [
        {"point": point, "parameter": parameter, "unit": "CFU", "volume_ml": 1.0, "value": value}
        for point, value in (("A", before), ("B", after))
    ]
    table = judge_stages(removal_by_stage(readings_of(rows), train), load_expectations().rows, train)
    row = table[table["stage"].eq("UV")].iloc[0]
    return row["verdict"], "rated" if SOURCE in row["expected_source"] else "usual"


def test_the_rating_takes_the_place_of_what_is_usual() -> None:
    """100,000 to 50 is 99.95 %, to 5,000 is 95 %: by hand; the rating asks for 99.9 %."""
    assert verdict("heterotrophic plate count 99.9 %", 100_000, 50) == ("as expected", "rated")
    assert verdict("heterotrophic_plate_count 99.9 %", 100_000, 5_000) == ("weak", "rated")
    assert verdict("heterotrophic_plate_count 1 log", 100_000, 5_000) == ("as expected", "rated")


def test_a_rating_of_another_parameter_changes_nothing() -> None:
    assert verdict("turbidity 90 %", 100_000, 50) == verdict("", 100_000, 50)
    assert verdict("", 100_000, 50)[1] == "usual"


def test_names_and_both_units_are_read() -> None:
    assert rated_removals("E. coli 99.9 %; free chlorine 95%; turbidity 1 log") == [
        ("escherichia_coli", Measure.PERCENT, 99.9), ("free_chlorine", Measure.PERCENT, 95.0),
        ("turbidity", Measure.LOG, 1.0),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("99.9 %", "is no rated removal"),
        ("E. coli", "is no rated removal"),
        ("moonlight 50 %", "'moonlight' is no known parameter"),
        ("E. coli 101 %", "at most 100 % or 12 log"),
        ("E. coli 0 %", "above 0"),
        ("E. coli 99 %; escherichia_coli 3 log", "stands there twice"),
    ],
)
def test_bad_ratings_are_named(text: str, said: str) -> None:
    points = ({"code": "A", "name": "before"}, {"code": "B", "name": "after", "product": True})
    stage = {"name": "UV", "kind": "uv", "inlet": "A", "outlet": "B", "rated_removal": text}
    problems = "\n".join(typed_problems(TypedTrain(name="T", points=points, stages=[stage])))
    assert "stage 'UV', rated_removal" in problems
    assert said in problems
