"""The view of the settings saves what an authorised releaser enters, and the page starts from it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from wqcheck.page.main import VIEW_KEY
from wqcheck.page.office import PERSON_KEY
from wqcheck.page.saving import save_key
from wqcheck.page.settings import PLANT_PRODUCT_KEY, PRODUCT_KEY, TABLES_KEY
from wqcheck.page.settings_grids import PEOPLE_KEY, PRODUCTS_KEY
from wqcheck.page.settings_view import HEAD_KEY, PLANT_KEY
from wqcheck.page.spoken import LANGUAGE_KEY
from wqcheck.plant_settings import load_plant_settings
from wqcheck.records.roles import load_people

PEOPLE = """
[[people]]
person = "ada"
name = "Ada Sorrel (invented)"
roles = ["analyst", "reviewer"]

[[people]]
person = "mei"
name = "Mei Quell (invented)"
roles = ["releaser"]
"""


def script(*arguments: str) -> None:
    from wqcheck.page.main import main

    main(arguments)


def opened(*arguments: str) -> AppTest:
    given: Any = arguments
    page = AppTest.from_function(script, args=given, default_timeout=120).run()
    if any(field.key == PERSON_KEY for field in page.text_input):
        page.text_input(key=PERSON_KEY).set_value("Mei Quell").run()
    return page.radio(key=VIEW_KEY).set_value("Settings").run()


def words_on(page: AppTest) -> str:
    assert not page.exception, page.exception
    kinds = (page.markdown, page.caption, page.success, page.warning, page.error, page.info)
    return "\n".join(element.value for kind in kinds for element in kind).replace("\\", "")


@pytest.fixture(autouse=True)
def in_a_folder_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def test_plant_name_and_language_are_saved_and_begun_with(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A new page begins in the language that was saved; the first one goes on in the language of its reader."""
    page = opened()
    page.text_input(key=PLANT_KEY).set_value("Port Almara (invented)").run()
    page.selectbox(key=f"{PLANT_KEY} language").set_value("fr").run()
    page.button(key=save_key(PLANT_KEY)).click().run()
    assert f"in {(tmp_path / 'plant.toml').resolve()}" in words_on(page)
    saved = load_plant_settings(tmp_path / "plant.toml")
    assert (saved.plant, saved.language) == ("Port Almara (invented)", "fr")
    assert page.selectbox(key=LANGUAGE_KEY).value == "en"
    monkeypatch.setitem(st.session_state, LANGUAGE_KEY, "fr")  # AppTest writes the options again outside of the page
    assert opened().selectbox(key=LANGUAGE_KEY).value == "fr"


def edited(page: AppTest, key: str, *rows: dict[str, object], number: int = 0) -> AppTest:
    """Enter rows in a grid as the browser sends them."""
    page.session_state[f"{key} {number}"] = {"edited_rows": {}, "added_rows": list(rows), "deleted_rows": []}
    return page


def test_product_chooses_water_and_tables(tmp_path: Path) -> None:
    """The first product is chosen at the start, the other one with one click."""
    (tmp_path / "plant.toml").write_text(
        '[[products]]\nname = "Still"\nwater = "purified"\nlimits = ["who_gdwq_2022"]\n'
        '[[products]]\nname = "Source"\nwater = "spring"\nlimits = ["eu_2020_2184"]\n',
        encoding="utf-8",
    )
    page = opened()
    assert (page.selectbox(key=PRODUCT_KEY).value, page.multiselect(key=TABLES_KEY).value) == (
        "purified", ["who_gdwq_2022"],
    )  # fmt: skip
    page.selectbox(key=PLANT_PRODUCT_KEY).set_value("Source").run()
    assert (page.selectbox(key=PRODUCT_KEY).value, page.multiselect(key=TABLES_KEY).value) == (
        "spring", ["eu_2020_2184"],
    )  # fmt: skip


def test_only_a_releaser_may_save(tmp_path: Path) -> None:
    """With a people file an analyst finds every button closed, a releaser does not."""
    people = tmp_path / "people.toml"
    people.write_text(PEOPLE, encoding="utf-8")
    page = opened(f"--people={people}", "--as=ada")
    assert page.button(key=save_key(PLANT_KEY)).disabled
    assert "Changes take an authorised releaser" in words_on(page)
    page = opened(f"--people={people}", "--as=mei")
    assert not page.button(key=save_key(PLANT_KEY)).disabled


def test_letterhead_is_saved_for_papers(tmp_path: Path) -> None:
    """The lines stand in a letterhead file that the settings name."""
    page = opened()
    page.text_area(key=HEAD_KEY).set_value("Port Almara (invented)\nQuay Road 4").run()
    page.button(key=save_key(HEAD_KEY)).click().run()
    assert load_plant_settings(tmp_path / "plant.toml").letterhead == "letterhead.toml"
    assert 'lines = ["Port Almara (invented)", "Quay Road 4"]' in (tmp_path / "letterhead.toml").read_text("utf-8")


def test_bad_settings_file_is_said_and_nothing_else_is_drawn(tmp_path: Path) -> None:
    """A page that cannot know its plant does not go on with defaults."""
    (tmp_path / "plant.toml").write_text('languge = "fr"\n', encoding="utf-8")
    given: Any = ()
    page = AppTest.from_function(script, args=given, default_timeout=120).run()
    assert "the key 'languge' is not known" in words_on(page)
    assert not page.radio


def test_people_of_the_single_user_can_be_entered(tmp_path: Path) -> None:
    """The first people file is made on the page; the page then asks who acts."""
    page = edited(
        opened(), PEOPLE_KEY,
        {"person": "ada", "roles": ["reviewer"]},
        {"person": "mei", "name": "Mei Quell (invented)", "roles": ["releaser"]},
    ).run()  # fmt: skip
    page.button(key=save_key(PEOPLE_KEY)).click().run()
    assert [one.person for one in load_people(tmp_path / "people.toml").listed] == ["ada", "mei"]
    again = opened()
    assert again.selectbox(key=PERSON_KEY).options == ["ada", "mei"]


def test_products_can_be_entered(tmp_path: Path) -> None:
    """A row of the grid is a product of the plant."""
    page = edited(
        opened(), PRODUCTS_KEY, {"name": "Still 0.5 L", "water": "purified", "limits": ["who_gdwq_2022"]}
    ).run()
    page.button(key=save_key(PRODUCTS_KEY)).click().run()
    assert [one.name for one in load_plant_settings(tmp_path / "plant.toml").products] == ["Still 0.5 L"]


def test_a_bad_row_is_named_and_nothing_is_saved(tmp_path: Path) -> None:
    """Row and column of each fault are said, the button is closed, and no kind of water is made up."""
    page = edited(
        opened(), PRODUCTS_KEY, {"name": "Still", "water": None}, {"name": "still", "water": "purified"}
    ).run()  # fmt: skip
    said = words_on(page)
    assert "Row 1, Kind of water: nothing stands there" in said
    assert "Row 2, Product: still stands in row 1 already" in said
    assert page.button(key=save_key(PRODUCTS_KEY)).disabled
    assert not (tmp_path / "plant.toml").exists()


def test_half_typed_rows_outlive_views_and_languages(tmp_path: Path) -> None:
    """What is typed and not saved is there again after another view, and in another language."""
    page = edited(opened(), PRODUCTS_KEY, {"name": "Half typed"}).run()
    assert "Not saved yet" in words_on(page)
    page.radio(key=VIEW_KEY).set_value("Limits").run()
    page.radio(key=VIEW_KEY).set_value("Settings").run()
    assert list(grid_of_products(page)["name"]) == ["Half typed"]
    page.selectbox(key=LANGUAGE_KEY).set_value("fr").run()
    assert list(grid_of_products(page)["name"]) == ["Half typed"]


def test_what_is_not_saved_can_be_taken_back() -> None:
    page = edited(opened(), PRODUCTS_KEY, {"name": "Half typed"}).run()
    page.button(key=f"{PRODUCTS_KEY} taken back").click().run()
    assert grid_of_products(page).empty


def grid_of_products(page: AppTest) -> Any:
    """Give what the grid of products is filled with now."""
    assert not page.exception, page.exception
    return next(frame.value for frame in page.dataframe if list(frame.value) == ["name", "water", "limits"])


def test_what_is_typed_by_the_click_itself_is_saved(tmp_path: Path) -> None:
    """An edit that reaches the page together with the click on Save counts, and what was saved where is said."""
    page = opened()
    edited(page, PRODUCTS_KEY, {"name": "Still", "water": "purified", "limits": ["who_gdwq_2022"]})
    page.button(key=save_key(PRODUCTS_KEY)).click().run()
    assert [one.name for one in load_plant_settings(tmp_path / "plant.toml").products] == ["Still"]
    said = words_on(page)
    assert f"Saved: 1 products (Still), in {(tmp_path / 'plant.toml').resolve()}" in said
    assert "Not saved yet" not in said


def test_a_bad_letterhead_is_said_and_can_be_mended(tmp_path: Path) -> None:
    """The other parts of the settings stay open while one of their files is unsound."""
    (tmp_path / "plant.toml").write_text('letterhead = "head.toml"\n', encoding="utf-8")
    (tmp_path / "head.toml").write_text('lins = ["x"]\n', encoding="utf-8")
    page = opened()
    assert "the key 'lins' is not known" in words_on(page)
    assert page.button(key=save_key(PLANT_KEY))
