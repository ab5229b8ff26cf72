"""Turns the settings file of a plant (TOML) into what its page starts from, and back into the file."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from wqcheck.languages.catalogues import LANGUAGES, PAGE_LANGUAGES
from wqcheck.limit_tables.loading import shipped_tables
from wqcheck.limit_tables.own_folder import OWN_FOLDER
from wqcheck.plant_files import (
    is_list_of_texts,
    is_text,
    read_plant_file,
    refuse_problems,
    replace_plant_file,
    toml_text,
    unknown_keys,
)
from wqcheck.tables import Product

FILE_NAME = "plant.toml"
FILES = ("people", "letterhead", "train", "release_rules")
"""Keys that name a file; it must be there."""
_PRODUCT_KEYS = ("name", "water", "limits")
_CHOICES: Mapping[str, tuple[str, ...]] = {
    "language": PAGE_LANGUAGES,
    "paper_language": tuple(LANGUAGES),
    "numbers": ("point", "local"),
    "dates": ("iso", "local"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ProductSettings:
    """One product of the plant: its name, the kind of water it is, and the limit tables that it is checked against."""

    name: str
    water: Product
    limits: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantSettings:
    """What the page of a plant starts from.

    Attributes
    ----------
    plant : str
        Name of the plant.
    language, paper_language : str
        Codes (ISO 639-1) of the page and of certificates.
    numbers : {"point", "local"}
        Decimal mark on the page: a point, or as the language writes it.
    dates : {"iso", "local"}
        Dates on the page: ISO 8601, or as the language writes them.
    people, letterhead, train, release_rules : str
        Files, relative to the settings file; blank for none.
    layouts, own_limits : str
        Folders of sheet layouts and of the plant's own limit tables.
    products : tuple of ProductSettings
    """

    plant: str = ""
    language: str = "en"
    paper_language: str = "en"
    numbers: str = "point"
    dates: str = "iso"
    people: str = ""
    letterhead: str = ""
    train: str = ""
    release_rules: str = ""
    layouts: str = "layouts"
    own_limits: str = OWN_FOLDER
    products: tuple[ProductSettings, ...] = ()


def load_plant_settings(path: Path) -> PlantSettings:
    """Read the settings file of a plant.

    Raises
    ------
    wqcheck.errors.PlantFileError
        Everything that is wrong with the file.
    """
    data, _ = read_plant_file(path)
    refuse_problems(path, list(_problems(data, path.parent)))
    products = [
        ProductSettings(name=entry["name"], water=Product(entry["water"]), limits=tuple(entry.get("limits", ())))
        for entry in data.pop("products", [])
    ]
    return PlantSettings(**data, products=tuple(products))


def save_plant_settings(settings: PlantSettings, path: Path, *, at: datetime) -> None:
    """Check the settings and write them to *path*; the file before is kept beside it under its time *at*.

    Raises
    ------
    wqcheck.errors.PlantFileError
        Everything that is wrong with the settings; nothing was written.
    """
    replace_plant_file(path, settings_text(settings), at=at, check=load_plant_settings)


def settings_text(settings: PlantSettings) -> str:
    """Return the settings as TOML; :func:`load_plant_settings` reads the same record back."""
    data = _as_data(settings)
    products = data.pop("products", [])
    return toml_text(data, {"products": products})


def _as_data(settings: PlantSettings) -> dict[str, Any]:
    """Return what the file says: only what differs from its default."""
    plain = PlantSettings()
    names = [name for name in PlantSettings.__slots__ if name != "products"]
    data: dict[str, Any] = {
        name: getattr(settings, name) for name in names if getattr(settings, name) != getattr(plain, name)
    }
    if settings.products:
        data["products"] = [
            {"name": product.name, "water": str(product.water), "limits": list(product.limits)}
            for product in settings.products
        ]
    return data


def _problems(data: Mapping[str, Any], folder: Path) -> Iterator[str]:
    yield from unknown_keys(data, PlantSettings.__slots__, "the file")
    texts = {name: value for name, value in data.items() if name in PlantSettings.__slots__ and name != "products"}
    yield from (f"{key}: it must be a text (given: {value!r})" for key, value in texts.items() if not _says(value))
    for key, choices in _CHOICES.items():
        if key in data and data[key] not in choices:
            yield f"{key}: it must be one of {', '.join(choices)} (given: {data[key]!r})"
    for key in FILES:
        if _says(data.get(key)) and data[key].strip() and not (folder / data[key]).is_file():
            yield f"{key}: there is no such file beside the settings (given: {data[key]!r})"
    yield from _product_problems(data.get("products", []))


def _says(value: object) -> bool:
    return isinstance(value, str)


def _product_problems(products: object) -> Iterator[str]:
    if not isinstance(products, list) or not all(isinstance(entry, dict) for entry in products):
        yield "products: write each one as a table, [[products]]"
        return
    names = [str(entry.get("name", "")).casefold().strip() for entry in products]
    for number, entry in enumerate(products, start=1):
        where = f"product {number}"
        yield from unknown_keys(entry, _PRODUCT_KEYS, where)
        if not is_text(entry.get("name")):
            yield f"{where}: it has no name"
        elif names.count(names[number - 1]) > 1:
            yield f"{where}: another product has the name {entry['name']!r} too"
        if entry.get("water") not in list(Product):
            kinds = ", ".join(Product)
            yield f"{where}: water must be one of {kinds} (given: {entry.get('water')!r})"
        yield from _limit_problems(entry.get("limits", []), where)


def _limit_problems(limits: object, where: str) -> Iterator[str]:
    if not is_list_of_texts(limits):
        yield f"{where}: limits must be a list of names of limit tables (given: {limits!r})"
        return
    assert isinstance(limits, list)
    for name in limits:
        if name not in shipped_tables() and Path(name).suffix.casefold() not in (".csv", ".xlsx"):
            yield f"{where}: {name!r} is neither a shipped limit table nor a CSV or XLSX file of your own"
