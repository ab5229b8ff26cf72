"""Turns what is chosen in the side panel into one record of settings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import streamlit as st

from wqcheck.limit_tables.loading import shipped_tables
from wqcheck.page.spoken import draw_language, say
from wqcheck.plant_settings import PlantSettings, ProductSettings
from wqcheck.tables import Product

TABLES_KEY = "limit tables"
PRODUCT_KEY = "kind of water"
PLANT_PRODUCT_KEY = "product of the plant"
ON_KEY = "day of the check"
OWN_TABLES_KEY = "own limit tables"
TRAIN_KEY = "train file"
SAMPLE_TRAIN_KEY = "sample train"
RULES_KEY = "release rules"
LAYOUTS_KEY = "folder of sheet layouts"

FIRST_TABLES = ("who_gdwq_2022", "us_21cfr165_110b")

NamedBytes = tuple[str, bytes]


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """How a batch is to be checked.

    ``limits`` are names of shipped tables; ``own_tables``, ``train`` and ``rules`` are uploads, file name and bytes.
    """

    product: Product
    limits: tuple[str, ...]
    own_tables: tuple[NamedBytes, ...]
    train: NamedBytes | None
    sample_train: bool
    rules: NamedBytes | None
    on: date
    layouts: Path | None


def draw_settings(today: date, plant: PlantSettings, folder: Path) -> Settings:
    """Draw the side panel and give what is chosen in it.

    Parameters
    ----------
    today : date
        Day of the check until another is chosen.
    plant : PlantSettings
        What the choices start from.
    folder : Path
        Of the settings file, to which its names are relative.
    """
    with st.sidebar:
        draw_language()
        st.subheader(say("How to check"))
        _draw_products(plant.products)
        limits = _draw_tables(_tables_of(plant), plant.products[0].limits if plant.products else FIRST_TABLES)
        kinds = [str(kind) for kind in Product]
        product = st.selectbox(
            say("Kind of water"),
            kinds,
            index=kinds.index(plant.products[0].water if plant.products else Product.PURIFIED),
            key=PRODUCT_KEY,
            help=say(
                "A limit row counts only for the kinds of water it names. What a sheet says of its water comes first."
            ),
        )
        on = st.date_input(
            say("Day of the check"),
            value=today,
            key=ON_KEY,
            help=say(
                "The limits in force on the sampling day count. A result without a sampling date is taken as sampled "
                "on this day."
            ),
        )
        with st.expander(say("Your own files")):
            own = st.file_uploader(
                say("Limit tables (CSV, XLSX)"), type=["csv", "xlsx"], accept_multiple_files=True, key=OWN_TABLES_KEY
            )
            train = st.file_uploader(say("Treatment train (TOML)"), type="toml", key=TRAIN_KEY)
            sample_train = st.checkbox(say("Use the sample train"), key=SAMPLE_TRAIN_KEY)
            rules = st.file_uploader(say("Release rules (TOML)"), type="toml", key=RULES_KEY)
            layouts = st.text_input(
                say("Folder of sheet layouts"),
                value=str(folder / plant.layouts) if plant.layouts else "",
                key=LAYOUTS_KEY,
                help=say("Answers about a laboratory's sheets are kept here and used for its next ones; blank: none."),
            )
    return Settings(
        product=Product(product),
        limits=tuple(limits),
        own_tables=tuple((file.name, file.getvalue()) for file in own),
        train=(train.name, train.getvalue()) if train else _of_plant(folder, "" if sample_train else plant.train),
        sample_train=sample_train,
        rules=(rules.name, rules.getvalue()) if rules else _of_plant(folder, plant.release_rules),
        on=on,
        layouts=Path(layouts.strip()).expanduser() if layouts.strip() else None,
    )


def _of_plant(folder: Path, name: str) -> NamedBytes | None:
    """Read a file that the plant's settings name, None where they name none."""
    return (Path(name).name, (folder / name).read_bytes()) if name else None


def _draw_products(products: Sequence[ProductSettings]) -> None:
    """Draw the choice of the plant's product, which chooses kind of water and limit tables; both can be changed."""
    if not products:
        return
    by_name = {product.name: product for product in products}

    def choose() -> None:
        product = by_name[st.session_state[PLANT_PRODUCT_KEY]]
        st.session_state[PRODUCT_KEY], st.session_state[TABLES_KEY] = str(product.water), list(product.limits)

    st.selectbox(say("Product"), list(by_name), key=PLANT_PRODUCT_KEY, on_change=choose)


def _tables_of(plant: PlantSettings) -> list[str]:
    """List the shipped limit tables, those of the plant's products first."""
    named = [name for product in plant.products for name in product.limits]
    return list(dict.fromkeys([*named, *shipped_tables()]))


def _draw_tables(names: Sequence[str], first: Sequence[str]) -> list[str]:
    """Draw the choice of limit tables; ``first`` are chosen at the start."""
    return st.multiselect(
        say("Limit tables"),
        names,
        default=[name for name in first if name in names] or list(names[:1]),
        key=TABLES_KEY,
        placeholder=say("choose at least one"),
        help=say("Each table is judged on its own; the decision rests on all of them together."),
    )
