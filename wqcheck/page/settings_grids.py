"""Turns the grids of products and people into records of the plant, or into which row and column is wrong."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import datetime
from functools import partial
from typing import Any

import pandas as pd
import streamlit as st

from wqcheck.errors import PlantFileError
from wqcheck.limit_tables.loading import shipped_tables
from wqcheck.limit_tables.own_folder import own_files
from wqcheck.page.office import Office
from wqcheck.page.saving import save_button, saved_words, store_settings
from wqcheck.page.shown import table_title
from wqcheck.page.spoken import say
from wqcheck.page.typed_grid import Row, draw_grid, draw_unsaved, mark_saved, rows_now, rows_of
from wqcheck.page.words import plain
from wqcheck.plant_settings import ProductSettings
from wqcheck.records.roles import People, Person, Role, save_people
from wqcheck.tables import Product

PRODUCTS_KEY = "products of the plant"
PEOPLE_KEY = "people and roles"
_NAMES = ("person", "name", "email", "subject")

Columns = dict[str, Any]


def draw_products(office: Office) -> None:
    """Draw the products of the plant, which an authorised releaser may change."""
    st.caption(say("Each product with the kind of water it is and the tables it is checked against. One click in the "
                   "side panel then chooses both. The empty line at the end takes a new one."))  # fmt: skip
    options = _tables(office)
    columns: Columns = {
        "name": st.column_config.TextColumn(say("Product"), width="medium"),
        "water": st.column_config.SelectboxColumn(
            say("Kind of water"), options=list(map(str, Product)), format_func=lambda word: say(str(word))
        ),
        "limits": st.column_config.MultiselectColumn(
            say("Limit tables"), options=options, format_func=table_words, width="large"
        ),
    }
    rows = [
        {"name": product.name, "water": str(product.water), "limits": list(product.limits)}
        for product in office.plant.products
    ]
    _draw(office, PRODUCTS_KEY, rows, columns, product_problems, _save_products)


def _tables(office: Office) -> list[str]:
    """List what a product can be checked against: own tables by their place beside the settings, shipped by name."""
    own = office.plant.own_limits
    folder = office.file(own)
    try:
        files = [f"{own}/{path.name}" for path in own_files(folder)] if folder else []
    except OSError:
        files = []
    named = [name for product in office.plant.products for name in product.limits]
    return list(dict.fromkeys([*files, *shipped_tables(), *named]))


def table_words(value: object) -> str:
    """Name a table of a product by its title; an own one is a file."""
    return table_title(str(value).rpartition("/")[2].removesuffix(".csv").removesuffix(".xlsx"))


def product_problems(rows: Sequence[Row]) -> Iterator[str]:
    """Yield what is wrong in the rows of products, each with its row and column."""
    yield from _blanks(rows, {"name": say("Product"), "water": say("Kind of water")})
    yield from _doubles(rows, {"name": say("Product")})


def _save_products(office: Office, rows: Sequence[Row]) -> str:
    products = tuple(
        ProductSettings(name=row["name"], water=Product(row["water"]), limits=tuple(row["limits"] or ()))
        for row in rows
    )  # fmt: skip
    names = ", ".join(product.name for product in products)
    return store_settings(
        office, say("{count} products ({names})", count=len(products), names=names or "–"), products=products
    )


def draw_people(office: Office) -> None:
    """Draw who may act with which roles, which an authorised releaser may change."""
    st.caption(say("An analyst takes in, a reviewer reviews, an authorised releaser decides, an auditor only looks. "
                   "Review and release take two people. No password is kept here: who somebody is, the login service "
                   "says, by e-mail address or subject."))  # fmt: skip
    columns: Columns = {
        "person": st.column_config.TextColumn(say("Short name")),
        "name": st.column_config.TextColumn(say("Name on documents")),
        "email": st.column_config.TextColumn(say("E-mail")),
        "subject": st.column_config.TextColumn(say("Subject (OpenID Connect)")),
        "roles": st.column_config.MultiselectColumn(
            say("Roles"), options=list(map(str, Role)), format_func=lambda word: say(str(word))
        ),
    }
    rows = [
        {"person": one.person, "name": one.name, "email": one.email, "subject": one.subject, "roles": sorted(one.roles)}
        for one in office.people.listed
    ]
    _draw(office, PEOPLE_KEY, rows, columns, people_problems, _save_people)


def people_problems(rows: Sequence[Row]) -> Iterator[str]:
    """Yield what is wrong in the rows of people, each with its row and column."""
    yield from _blanks(rows, {"person": say("Short name"), "roles": say("Roles")})
    yield from _doubles(rows, {"person": say("Short name"), "email": say("E-mail"),
                               "subject": say("Subject (OpenID Connect)")})  # fmt: skip


def _save_people(office: Office, rows: Sequence[Row]) -> str:
    people = People(tuple(
        Person(**{key: row[key] or "" for key in _NAMES}, roles=frozenset(map(Role, row["roles"]))) for row in rows
    ))  # fmt: skip
    name = office.plant.people or "people.toml"
    path = office.plant_file.parent / name
    save_people(people, path, at=datetime.now().astimezone())
    what = say("{count} people with their roles", count=len(people.listed))
    store_settings(office, what, people=name)
    return saved_words(what, path)


def _draw(
    office: Office, key: str, rows: list[Row], columns: Columns, problems: Callable[[Sequence[Row]], Iterator[str]],
    save: Callable[[Office, Sequence[Row]], str],
) -> None:  # fmt: skip
    """Draw a grid with what is wrong in it, what is not saved, and the button that saves all of it."""
    edited = draw_grid(key, pd.DataFrame(rows, columns=list(columns)), columns, fixed=not office.may_set)
    found = list(problems(rows_of(edited)))
    if found:
        st.error("\n".join([say("To mend before this can be saved:"), "", *(f"- {plain(one)}" for one in found)]))
    draw_unsaved(key)
    save_button(office, key, partial(_checked, office, key, problems, save), problems=found)


def _checked(
    office: Office, key: str, problems: Callable[[Sequence[Row]], Iterator[str]],
    save: Callable[[Office, Sequence[Row]], str],
) -> str:  # fmt: skip
    """Save the rows as they stand at the click, unless something is wrong in them."""
    rows = rows_now(key)
    found = list(problems(rows))
    if found:
        raise PlantFileError("\n".join([say("Nothing was saved, for this has to be mended first:"), *found]))
    said = save(office, rows)
    mark_saved(key)
    return said


def _blanks(rows: Sequence[Row], needed: Mapping[str, str]) -> Iterator[str]:
    for place, row in enumerate(rows, start=1):
        for column, title in needed.items():
            if not row[column]:
                yield say("Row {row}, {column}: nothing stands there; fill it in, or delete the row", row=place,
                          column=title)  # fmt: skip


def _doubles(rows: Sequence[Row], single: Mapping[str, str]) -> Iterator[str]:
    for column, title in single.items():
        texts = [str(row[column] or "").casefold() for row in rows]
        counts = Counter(texts)
        for place, text in enumerate(texts, start=1):
            if text and counts[text] > 1 and text in texts[: place - 1]:
                yield say("Row {row}, {column}: {given} stands in row {first} already; it may stand once only",
                          row=place, column=title, given=rows[place - 1][column],
                          first=texts.index(text) + 1)  # fmt: skip
