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
from wqcheck.train.description import Train, assign_stages, at_product_point, load_train, match_points
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
