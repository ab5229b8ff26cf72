"""In the view of the train every field of a train file can be typed, with the checks of the file, and saved."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from wqcheck.page.main import VIEW_KEY
from wqcheck.page.saving import save_key
from wqcheck.page.spoken import LANGUAGE_KEY
from wqcheck.page.train_edit import (
    BEGIN_KEY,
    EMPTY,
    FLOW,
    GROUPS,
    NAME_KEY,
    POINTS_KEY,
    SAMPLE,
    SAVE_PART,
    SHOWN_KEY,
    STAGES_KEY,
    TITLES,
    USE_KEY,
)
from wqcheck.page.train_input import IN_TROUBLE, KEPT_TRAIN_KEY, SOURCE_KEY
from wqcheck.plant_settings import load_plant_settings
from wqcheck.train.description import load_train
from wqcheck.train.editing import ORDER, STAGE_KEYS
from wqcheck.train.file_problems import QUANTITIES

POINTS = [{"code": "A", "name": "raw"}, {"code": "B", "name": "after UV", "product": True}]
LAMP = {"name": "UV", "kind": "uv", "inlet": "A", "outlet": "B", "rated_flow": "8", "lamp_dose": "40 mJ/cm2"}


def script(*arguments: str) -> None:
    from wqcheck.page.main import main

    main(arguments)


@pytest.fixture
def page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> AppTest:
    """Give the view of the train, no batch in hand."""
    monkeypatch.chdir(tmp_path)
    given: Any = (f"--store={tmp_path / 'records.sqlite'}", "--as=Mei Quell")
    opened = AppTest.from_function(script, args=given, default_timeout=120).run()
    return opened.radio(key=VIEW_KEY).set_value("Train").run()


def words_on(page: AppTest) -> str:
    assert not page.exception, page.exception
    kinds = (page.markdown, page.caption, page.success, page.warning, page.error, page.info)
    return "\n".join(element.value for kind in kinds for element in kind).replace("\\", "")


def field(page: AppTest, name: str) -> str:
    """Give the key of a field of the train that is edited now."""
    return next(one.key for one in page.text_input if one.key and one.key.startswith(name))


def typed(page: AppTest, stage: dict[str, Any]) -> AppTest:
    """Type a train of one stage into the empty grids."""
    page.radio(key=BEGIN_KEY).set_value(EMPTY).run()
    key = field(page, NAME_KEY)
    page.text_input(key=key).set_value("Port Almara (invented)").run()
    digest = key.removeprefix(NAME_KEY)
    for grid, rows in ((POINTS_KEY, POINTS), (STAGES_KEY, [stage])):
        page.session_state[f"{grid}{digest} 0"] = {"edited_rows": {}, "added_rows": rows, "deleted_rows": []}
    return page.run()


def test_a_rated_lamp_is_typed_and_saved_as_the_train_of_the_plant(page: AppTest, tmp_path: Path) -> None:
    """The rating in the unit of its heading, and the dose with a unit of its own, stand in the file that is read."""
    typed(page, LAMP)
    assert "Not saved yet" in words_on(page)
    page.button(key=save_key(SAVE_PART)).click().run()
    said = words_on(page)
    assert f"Saved: treatment train Port Almara (invented), in {(tmp_path / 'train.toml').resolve()}" in said
    train = load_train(tmp_path / load_plant_settings(tmp_path / "plant.toml").train)
    equipment = train.stages[0].equipment
    assert (equipment.rated_flow, equipment.lamp_dose, train.product_points) == (8.0, 40.0, ("B",))


def test_a_bad_cell_is_named_with_stage_and_column(page: AppTest, tmp_path: Path) -> None:
    typed(page, LAMP | {"rated_flow": "fast"})
    said = words_on(page)
    assert "stage 'UV', Rated flow: 'fast' is no flow; write a number and its unit" in said
    assert page.button(key=save_key(SAVE_PART)).disabled
    assert page.button(key=USE_KEY).disabled
    assert not (tmp_path / "train.toml").exists()


def test_typed_stages_outlive_other_columns_views_and_languages(page: AppTest) -> None:
    """Also in the columns that are not shown."""
    typed(page, LAMP)
    page.button_group(key=SHOWN_KEY).set_value("Membranes and lamps").run()
    page.radio(key=VIEW_KEY).set_value("Limits").run()
    page.radio(key=VIEW_KEY).set_value("Train").run()
    page.selectbox(key=LANGUAGE_KEY).set_value("fr").run()
    grid = next(frame.value for frame in page.dataframe if ORDER in list(frame.value))
    assert grid["rated_flow"].tolist() == ["8"]
    assert not page.button(key=save_key(SAVE_PART)).disabled


def test_the_typed_train_is_looked_through_in_this_view(page: AppTest) -> None:
    """Used without a batch it is kept for the next one, and the sample's train is edited as it is."""
    page.radio(key=BEGIN_KEY).set_value(SAMPLE).run()
    assert not page.button(key=USE_KEY).disabled
    page.button(key=USE_KEY).click().run()
    assert "is in use in this view; it is saved nowhere yet" in words_on(page)
    name, content = page.session_state[KEPT_TRAIN_KEY]
    assert (name, b"lamp_dose" in content) == ("train_equipped.toml", True)


def test_the_train_of_the_batch_is_edited_among_the_parts(page: AppTest) -> None:
    page.radio(key=SOURCE_KEY).set_value(IN_TROUBLE).run()
    grid = next(frame.value for frame in page.dataframe if ORDER in list(frame.value))
    assert grid.loc[grid["name"].eq("UV"), "lamp_dose"].tolist() == ["40 mJ/cm2"]


def test_every_key_of_a_stage_has_a_column_and_a_title() -> None:
    """No field of a train file is left out of the groups, and each is named."""
    grouped = {key for keys in GROUPS.values() for key in keys}
    assert grouped == {ORDER, *STAGE_KEYS}
    assert set(STAGE_KEYS) | set(QUANTITIES) <= set(TITLES)
    assert GROUPS[FLOW][0] == ORDER
