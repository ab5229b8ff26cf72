"""The settings of a plant: read, written, refused in clear words, and never half-written."""

from __future__ import annotations

import stat
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wqcheck.errors import PlantFileError, RecordRefusedError
from wqcheck.languages.catalogues import PAGE_LANGUAGES
from wqcheck.limit_tables.loading import shipped_tables
from wqcheck.plant_settings import PlantSettings, ProductSettings, load_plant_settings, save_plant_settings
from wqcheck.records.roles import People, Person, Role, load_people, save_people
from wqcheck.tables import Product

AT = datetime(2026, 3, 4, 6, 15, tzinfo=UTC)
NAMES = st.text(min_size=1, max_size=20).filter(lambda text: text.strip() and text.isprintable())
PRODUCTS = st.builds(
    ProductSettings,
    name=NAMES,
    water=st.sampled_from(Product),
    limits=st.lists(st.sampled_from(shipped_tables()), max_size=3, unique=True).map(tuple),
)


@given(
    settings=st.builds(
        PlantSettings,
        plant=NAMES,
        language=st.sampled_from(PAGE_LANGUAGES),
        numbers=st.sampled_from(["point", "local"]),
        dates=st.sampled_from(["iso", "local"]),
        layouts=NAMES,
        products=st.lists(PRODUCTS, max_size=3, unique_by=lambda one: one.name.casefold().strip()).map(tuple),
    )
)
def test_settings_come_back_as_they_were_saved(
    tmp_path_factory: pytest.TempPathFactory, settings: PlantSettings
) -> None:
    """Any name, with quotes or backslashes in it, goes into the file and back."""
    path = tmp_path_factory.mktemp("plant") / "plant.toml"
    save_plant_settings(settings, path, at=AT)
    assert load_plant_settings(path) == settings


def test_every_problem_of_the_file_is_said(tmp_path: Path) -> None:
    """Unknown keys, choices, files and tables are all named at once."""
    path = tmp_path / "plant.toml"
    path.write_text(
        'languge = "fr"\nlanguage = "de"\ntrain = "no.toml"\nplant = 3\n'
        '[[products]]\nname = "Still"\nwater = "sparkling"\nlimits = ["who_1958"]\n'
        '[[products]]\nname = "still"\nwater = "purified"\n',
        encoding="utf-8",
    )
    with pytest.raises(PlantFileError) as refused:
        load_plant_settings(path)
    told = str(refused.value)
    for word in (
        "languge",
        "'de'",
        "no.toml",
        "plant: it must be a text",
        "'sparkling'",
        "who_1958",
        "another product",
    ):
        assert word in told


def test_refused_settings_leave_the_file_as_it_was(tmp_path: Path) -> None:
    """What is wrong is not written; what was right before is kept under its time when it is replaced."""
    path = tmp_path / "plant.toml"
    save_plant_settings(PlantSettings(plant="Port Almara (invented)"), path, at=AT)
    before = path.read_bytes()
    with pytest.raises(PlantFileError, match=r"plant\.toml: 1 problem"):
        save_plant_settings(PlantSettings(train="no.toml"), path, at=AT)
    assert path.read_bytes() == before
    save_plant_settings(PlantSettings(plant="Port Brisa (invented)"), path, at=AT)
    assert (tmp_path / "plant.until-20260304T061500.toml").read_bytes() == before
    assert sorted(file.name for file in tmp_path.iterdir()) == ["plant.toml", "plant.until-20260304T061500.toml"]


def test_a_folder_that_may_not_be_written_is_said(tmp_path: Path) -> None:
    """A settings file in the place of a folder cannot be replaced, and the refusal is an error of the tree."""
    path = tmp_path / "plant.toml"
    path.mkdir(mode=stat.S_IRWXU)
    with pytest.raises(PlantFileError, match="cannot be"):
        save_plant_settings(PlantSettings(plant="x"), path, at=AT)


def person(name: str, *roles: Role) -> Person:
    return Person(person=name, name=f"{name} (invented)", roles=frozenset(roles), email=f"{name}@plant.example")


def test_people_come_back_and_must_be_able_to_release(tmp_path: Path) -> None:
    """Roles that leave nobody to release, or only one person for review and release, are refused."""
    path = tmp_path / "people.toml"
    people = People((person("ada", Role.REVIEWER), person("mei", Role.RELEASER, Role.REVIEWER)))
    save_people(people, path, at=AT)
    assert load_people(path) == people
    before = path.read_bytes()
    alone = People((person("mei", Role.RELEASER, Role.REVIEWER), person("rui", Role.ANALYST)))
    for lacking in (alone, People((person("ada", Role.REVIEWER),))):
        with pytest.raises(RecordRefusedError, match="no batch could be released"):
            save_people(lacking, path, at=AT)
    twice = People((*people.listed, person("ada", Role.ANALYST)))
    with pytest.raises(PlantFileError, match="stands in 2 entries"):
        save_people(twice, path, at=AT)
    assert path.read_bytes() == before
