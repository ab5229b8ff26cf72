"""Turns what a plant sets once (products, train, people, letterhead, language) into files beside its page, and back."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any

import pandas as pd
import streamlit as st

from wqcheck.certificate_files.letterhead import PLAIN, load_letterhead
from wqcheck.errors import RecordRefusedError
from wqcheck.languages.catalogues import LANGUAGES, PAGE_LANGUAGES
from wqcheck.limit_tables.loading import shipped_tables
from wqcheck.page.office import Office, do
from wqcheck.page.spoken import later, say
from wqcheck.page.words import plain
from wqcheck.plant_files import read_plant_file, replace_plant_file, toml_text
from wqcheck.plant_settings import ProductSettings, save_plant_settings
from wqcheck.records.roles import People, Person, Role, save_people
from wqcheck.release.rules import load_release_rules
from wqcheck.tables import Product
from wqcheck.train.description import load_train

PLANT_KEY = "plant settings"
PRODUCTS_KEY = "products of the plant"
PEOPLE_KEY = "people and roles"
HEAD_KEY = "letterhead"
TRAIN_KEY = "train of the plant"
RULES_KEY = "release rules of the plant"
_CHOSEN = ("language", "paper_language", "numbers", "dates")
_NUMBERS = {"point": later("a point, everywhere"), "local": later("as the language writes it")}
_DATES = {"iso": later("ISO 8601 (2026-03-04)"), "local": later("as the language writes them")}


def save_key(part: str) -> str:
    """Return the key of the button that saves a part of the settings."""
    return f"save {part}"


def draw_settings_view(office: Office) -> None:
    """Draw the settings of the plant, part by part; only an authorised releaser may change them."""
    st.markdown(f"##### {say('Settings of the plant')}")
    st.caption(say("Kept in {file}. What is saved counts from the next check on; the file before stays beside it.",
                   file=plain(office.plant_file)))  # fmt: skip
    if not office.may_set:
        st.info(say("You can look. Changes take an authorised releaser: choose or log in as one in the side panel."))
    parts: dict[str, Callable[[Office], None]] = {
        say("Plant, language and numbers"): _draw_plant,
        say("Products"): _draw_products,
        say("Treatment train and release rules"): _draw_files,
        say("People and roles"): _draw_people,
        say("Letterhead of certificates"): _draw_letterhead,
    }
    for number, (title, draw) in enumerate(parts.items()):
        with st.expander(title, expanded=number == 0):
            draw(office)


def _save_button(office: Office, part: str, save: Callable[[], str]) -> None:
    st.button(
        say("Save"), key=save_key(part), type="primary", disabled=not office.may_set, on_click=do,
        args=(partial(_saved, office, save),),
    )  # fmt: skip


def _saved(office: Office, save: Callable[[], str]) -> str:
    if not office.may_set:
        raise RecordRefusedError("the settings are changed by an authorised releaser only")
    return save()


def _store(office: Office, **changes: Any) -> str:
    """Save the settings with some changes."""
    save_plant_settings(replace(office.plant, **changes), office.plant_file, at=datetime.now().astimezone())
    return say("Saved in {file}.", file=plain(office.plant_file))


def _draw_plant(office: Office) -> None:
    now, fixed = office.plant, not office.may_set
    left, right = st.columns(2)
    left.text_input(say("Name of the plant"), value=now.plant, key=PLANT_KEY, disabled=fixed)
    _choice(left, say("Decimal mark on the page"), _NUMBERS, "numbers", office)
    layouts = f"{PLANT_KEY} layouts"
    left.text_input(say("Folder of sheet layouts"), value=now.layouts, key=layouts, disabled=fixed)
    languages = {code: LANGUAGES[code] for code in PAGE_LANGUAGES}
    _choice(right, say("Language of the page at the start"), languages, "language", office)
    _choice(right, say("Language of certificates"), LANGUAGES, "paper_language", office)
    _choice(right, say("Dates on the page"), _DATES, "dates", office)
    _save_button(
        office, PLANT_KEY,
        lambda: _store(
            office, plant=st.session_state[PLANT_KEY].strip(), layouts=st.session_state[layouts].strip(),
            **{field: st.session_state[f"{PLANT_KEY} {field}"] for field in _CHOSEN},
        ),
    )  # fmt: skip


def _choice(place: Any, label: str, choices: Mapping[str, str], field: str, office: Office) -> None:
    """Draw the choice of a settings *field* among codes, each shown by its words."""
    codes = list(choices)
    place.selectbox(
        label, codes, index=codes.index(getattr(office.plant, field)), format_func=lambda code: say(choices[code]),
        disabled=not office.may_set, key=f"{PLANT_KEY} {field}",
    )  # fmt: skip


def _draw_products(office: Office) -> None:
    st.caption(say("Each product with the kind of water it is and the tables it is checked against. One click in the "
                   "side panel then chooses both."))  # fmt: skip
    columns = {
        "name": st.column_config.TextColumn(say("Product"), required=True),
        "water": st.column_config.SelectboxColumn(
            say("Kind of water"),
            options=list(map(str, Product)),
            format_func=lambda word: say(str(word)),
            required=True,
        ),
        "limits": st.column_config.MultiselectColumn(say("Limit tables"), options=shipped_tables(), width="large"),
    }
    rows = [
        {"name": product.name, "water": str(product.water), "limits": list(product.limits)}
        for product in office.plant.products
    ]
    edited = _grid(office, pd.DataFrame(rows, columns=list(columns)), columns, PRODUCTS_KEY)
    _save_button(office, PRODUCTS_KEY, lambda: _store(office, products=tuple(map(_product, edited))))


def _product(row: Mapping[str, Any]) -> ProductSettings:
    water = row["water"] or Product.PURIFIED
    return ProductSettings(name=_text(row["name"]), water=Product(water), limits=tuple(_list(row["limits"])))


def _draw_people(office: Office) -> None:
    st.caption(say("An analyst takes in, a reviewer reviews, an authorised releaser decides, an auditor only looks. "
                   "Review and release take two people. No password is kept here: who somebody is, the login service "
                   "says, by e-mail address or subject."))  # fmt: skip
    columns = {
        "person": st.column_config.TextColumn(say("Short name"), required=True),
        "name": st.column_config.TextColumn(say("Name on documents")),
        "email": st.column_config.TextColumn(say("E-mail")),
        "subject": st.column_config.TextColumn(say("Subject (OpenID Connect)")),
        "roles": st.column_config.MultiselectColumn(
            say("Roles"), options=list(map(str, Role)), format_func=say, required=True
        ),
    }
    rows = [
        {"person": one.person, "name": one.name, "email": one.email, "subject": one.subject, "roles": sorted(one.roles)}
        for one in office.people.listed
    ]
    edited = _grid(office, pd.DataFrame(rows, columns=list(columns)), columns, PEOPLE_KEY)
    _save_button(office, PEOPLE_KEY, lambda: _save_people(office, edited))


def _save_people(office: Office, rows: list[dict[str, Any]]) -> str:
    people = People(tuple(
        Person(**{key: _text(row[key]) for key in ("person", "name", "email", "subject")},
               roles=frozenset(map(Role, _list(row["roles"]))))
        for row in rows
    ))  # fmt: skip
    name = office.plant.people or "people.toml"
    path = office.plant_file.parent / name
    save_people(people, path, at=datetime.now().astimezone())
    _store(office, people=name)
    return say("Saved in {file}.", file=plain(path))


def _draw_letterhead(office: Office) -> None:
    path = office.file(office.plant.letterhead)
    head = load_letterhead(path) if path else PLAIN
    fixed = not office.may_set
    st.text_area(say("Lines beside the logo"), value="\n".join(head.lines), key=HEAD_KEY, disabled=fixed)
    logo = st.file_uploader(say("Logo (PNG or SVG)"), type=["png", "svg"], key=f"{HEAD_KEY} logo", disabled=fixed)
    if head.logo and logo is None:
        st.image(head.logo, width=160, caption=say("Logo as it is"))
    st.caption(say("A template of your own is named in the letterhead file; see the README."))
    _save_button(office, HEAD_KEY, lambda: _save_letterhead(office, st.session_state[HEAD_KEY], logo))


def _save_letterhead(office: Office, lines: str, logo: Any) -> str:
    name = office.plant.letterhead or "letterhead.toml"
    path = office.plant_file.parent / name
    keys = _letterhead_keys(path)
    keys["lines"] = [line.strip() for line in lines.splitlines() if line.strip()]
    if logo is not None:
        keys["logo"] = f"logo{Path(logo.name).suffix.casefold()}"
        path.with_name(str(keys["logo"])).write_bytes(logo.getvalue())
    replace_plant_file(path, toml_text(keys, {}), at=datetime.now().astimezone(), check=load_letterhead)
    _store(office, letterhead=name)
    return say("Saved in {file}.", file=plain(path))


def _letterhead_keys(path: Path) -> dict[str, Any]:
    return read_plant_file(path)[0] if path.is_file() else {}


def _draw_files(office: Office) -> None:
    kept: dict[str, tuple[str, str, str, Callable[[Path], object]]] = {
        TRAIN_KEY: ("train", say("Treatment train (TOML)"), "train.toml", load_train),
        RULES_KEY: ("release_rules", say("Release rules (TOML)"), "release_rules.toml", load_release_rules),
    }
    for key, (field, label, default, check) in kept.items():
        now = getattr(office.plant, field)
        st.markdown(f"**{label}**: {plain(now) if now else say('none set; the shipped one, or the one of the check')}")
        file = st.file_uploader(label, type="toml", key=key, label_visibility="collapsed", disabled=not office.may_set)
        if file is not None:
            _save_button(office, key, partial(_save_file, office, field, now or default, file.getvalue(), check))


def _save_file(office: Office, field: str, name: str, content: bytes, check: Callable[[Path], object]) -> str:
    path = office.plant_file.parent / name
    text = content.decode("utf-8-sig", errors="replace")
    replace_plant_file(path, text, at=datetime.now().astimezone(), check=check)
    _store(office, **{field: name})
    return say("Saved in {file}.", file=plain(path))


def _grid(office: Office, rows: pd.DataFrame, columns: Mapping[str, Any], key: str) -> list[dict[str, Any]]:
    edited = st.data_editor(
        rows, column_config=dict(columns), num_rows="dynamic" if office.may_set else "fixed", hide_index=True,
        key=key, disabled=not office.may_set, width="stretch",
    )  # fmt: skip
    return [{str(name): value for name, value in row.items()} for row in edited.to_dict("records")]


def _text(value: object) -> str:
    return str(value).strip() if isinstance(value, str) else ""


def _list(value: object) -> list[str]:
    return [str(item) for item in value] if isinstance(value, (list, tuple)) else []
