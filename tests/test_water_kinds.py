"""What a sheet says of its water is held against the kind of water that was asked for."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.plain_batches import checked, holding, rows_of
from wqcheck.release.decision import BatchCheck, Disposition
from wqcheck.release.water_kinds import disagrees

TRAIN = Path(__file__).resolve().parent.parent / "sample_results" / "train.toml"


def labelled(label: str, text: str, **changed: Any) -> BatchCheck:
    """Check the panel below a label."""
    return checked([(label, text), (None,), *rows_of()], **changed)


@pytest.mark.parametrize(
    ("label", "text", "held"),
    [
        ("Product:", "Purified drinking water, 1.5 L bottle", False),
        ("Product:", "Still water in 5 L bottles", False),
        ("Product:", "Natural mineral water", True),
        ("Product:", "Eau de source", True),
        ("Matrix:", "Raw water", True),
        ("Matrix:", "Drinking water", False),
        ("Type of sample:", "Waste water", True),
        ("Water type:", "Tap water", True),
        ("Product: natural mineral water", "", True),
        ("Sample matrix:", "Ground water", True),
    ],
)
def test_a_label_of_another_water_holds(label: str, text: str, held: bool) -> None:
    check = labelled(label, text)
    assert (check.decision.disposition == Disposition.HOLD) == held
    assert holding(check) == ({"other water"} if held else set())


def test_the_finding_names_the_cell_and_what_stands_there() -> None:
    (found,) = [reason for reason in labelled("Matrix:", "Raw water").decision.reasons if reason.code == "other water"]
    assert found.where == "book.xlsx|Results!B1"
    assert "Raw water" in found.message


@pytest.mark.parametrize(
    ("text", "product", "other"),
    [
        ("Spring water", "packaged", False), ("Spring water", "natural mineral", True),
        ("Bottled water", "purified", False),
        ("Natürliches Mineralwasser", "natural mineral", False), ("Água da torneira", "tap", False),
        ("Agua purificada de manantial", "purified", False), ("Well water", "tap", True),
        ("Wellness water", "tap", False),
        ("Permeate water", "purified", True), ("Desalinated sea water", "purified", False),
        ("Water", "purified", False),
    ],
)  # fmt: skip
def test_words_agree_with_kinds_of_water(text: str, product: str, other: bool) -> None:
    assert disagrees(text, product) == other


def test_a_label_of_a_sheet_without_finished_water_says_nothing() -> None:
    raw = [("Matrix:", "Raw water"), (None,), *rows_of(point="SP1")]
    assert not holding(checked({"Raw": raw, "Product": rows_of()}, train=TRAIN))


def test_a_column_is_read_beside_its_row_only() -> None:
    heading, *rows = rows_of()
    told = [(*heading, "Matrix")] + [(*row, "Purified water") for row in rows]
    raw = (*rows[0][:2], "SP1", *rows[0][3:], "Raw water")
    assert not holding(checked([*told, raw], train=TRAIN))
    assert holding(checked([told[0], (*rows[0], "Raw water"), *told[2:]])) == {"other water"}


@pytest.mark.parametrize("point", ["Raw water tank", "Well 3", "RO permeate", "SP1 raw tank outlet", "before UV"])
def test_without_a_train_a_place_named_as_another_water_holds(point: str) -> None:
    assert holding(checked(rows_of(point=point))) == {"other water"}


@pytest.mark.parametrize(
    "point", ["FP", "Filler, line 2", "after UV, before capping", "Finished product at filler", "Tank T-20"]
)
def test_other_places_are_taken_as_finished_water(point: str) -> None:
    assert not holding(checked(rows_of(point=point)))


def test_a_title_of_raw_water_holds() -> None:
    assert holding(checked([("Raw water analysis, week 25",), (None,), *rows_of()])) == {"other water"}
    assert not holding(checked([("Raw water and treated water, week 25",), (None,), *rows_of()]))


@pytest.mark.parametrize(
    ("sheet", "held"), [("Raw water", True), ("Permeate", True), ("Results", False), ("Product", False)]
)
def test_a_sheet_named_as_another_water_holds(sheet: str, held: bool) -> None:
    assert holding(checked({sheet: rows_of()})) == ({"other water"} if held else set())


@pytest.mark.parametrize(
    ("sample", "held"), [("Reject", True), ("RO feed tank 2", True), ("Well", True), ("S1", False)]
)
def test_a_sample_that_is_named_by_a_place_alone_holds(sample: str, held: bool) -> None:
    heading, *rows = rows_of(point=None)
    assert holding(checked([heading, *((sample, *row[1:]) for row in rows)])) == ({"other water"} if held else set())
