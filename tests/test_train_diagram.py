"""The diagram shows every stage, point and branch of a train, in words too, and lets no text in as markup."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import pytest

from wqcheck.tables import StageVerdict
from wqcheck.train.description import Point, Stage, Train, load_train
from wqcheck.train.diagram import StageNote, train_svg

SAMPLES = Path(__file__).parent.parent / "sample_results"
TRAIN = load_train(SAMPLES / "train_equipped.toml")
SVG = "{http://www.w3.org/2000/svg}"


def drawn(train: Train, notes: dict[str, StageNote] | None = None, per_row: int = 5) -> ElementTree.Element:
    return ElementTree.fromstring(train_svg(train, notes, per_row=per_row))


def texts(root: ElementTree.Element) -> list[str]:
    return ["".join(node.itertext()) for node in root.iter(f"{SVG}text")]


def test_every_stage_point_and_branch_is_drawn_once() -> None:
    shown = texts(drawn(TRAIN))
    for stage in TRAIN.stages:
        assert shown.count(stage.name) == 1
    for point in TRAIN.points:
        assert shown.count(point.code) == 1
    assert "concentrate" in shown


def test_title_and_description_say_it_in_words() -> None:
    root = drawn(TRAIN, {"UV": StageNote("80.0 % (0.70 log)", StageVerdict.WEAK)})
    assert root.get("role") == "img"
    named = root.get("aria-labelledby", "").split()
    assert [root.find(f"{SVG}title").get("id"), root.find(f"{SVG}desc").get("id")] == named  # type: ignore[union-attr]
    words = root.findtext(f"{SVG}desc") or ""
    assert "UV (uv), to point SP9, 80.0 % (0.70 log), weak" in words
    assert "concentrate to CON" in words


@pytest.mark.parametrize("word", [w for w in StageVerdict if w != StageVerdict.AS_EXPECTED])
def test_a_verdict_is_a_word_and_a_pattern_never_colour_alone(word: StageVerdict) -> None:
    root = drawn(TRAIN, {"UV": StageNote("", word)})
    assert str(word) in texts(root)
    fills = [node.get("fill", "") for node in root.iter(f"{SVG}rect")]
    used = [fill for fill in fills if fill.startswith("url(#")]
    assert len(used) == 1
    assert used[0][5:-1] in {node.get("id") for node in root.iter(f"{SVG}pattern")}


@pytest.mark.parametrize("per_row", [1, 3, 20])
def test_boxes_never_overlap_and_stay_on_the_sheet(per_row: int) -> None:
    root = drawn(TRAIN, per_row=per_row)
    _, _, width, height = map(float, (root.get("viewBox") or "").split())
    boxes = [
        tuple(float(node.get(key, 0)) for key in ("x", "y", "width", "height"))
        for node in root.iter(f"{SVG}rect")
        if node.get("rx") == "7"
    ]
    assert len(boxes) == len(TRAIN.stages)
    for place, (x, y, w, h) in enumerate(boxes):
        assert 0 <= x <= x + w <= width
        assert 0 <= y <= y + h <= height
        for other_x, other_y, _, _ in boxes[:place]:
            assert abs(x - other_x) >= w or abs(y - other_y) >= h


def test_text_of_the_file_is_never_markup() -> None:
    train = Train(
        "<script>&", (Stage('a "b" <c>', "tank", "<A>", "B"),), (Point("<A>", "x"), Point("B", "<y>")), ("B",)
    )
    root = drawn(train)
    assert root.findtext(f"{SVG}title") == "<script>&: treatment train"
    assert {"<A>", 'a "b" <c>'} <= set(texts(root))
    assert not list(root.iter(f"{SVG}script"))


def test_a_stream_led_back_is_dashed_and_named() -> None:
    stage = Stage("membranes", "reverse osmosis", "A", "B", concentrate="C", recycle_to="A")
    points = (Point("A", "feed"), Point("B", "permeate"), Point("C", "concentrate"))
    root = drawn(Train("T", (stage,), points, ("B",)))
    assert "back to A" in texts(root)
    assert sum("stroke-dasharray" in node.attrib for node in root.iter(f"{SVG}path")) == 1
