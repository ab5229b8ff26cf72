"""Turns what is chosen in the side panel into one record of settings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import streamlit as st

from wqcheck.limit_tables.loading import shipped_tables
from wqcheck.page.spoken import draw_language, say, worded
from wqcheck.page.table_choice import FIRST_TABLES, TABLES_KEY, NamedBytes, draw_overrides, draw_table_choice
from wqcheck.plant_settings import PlantSettings, ProductSettings
from wqcheck.tables import Product

__all__ = ["FIRST_TABLES", "TABLES_KEY", "NamedBytes", "Settings", "draw_settings"]

PRODUCT_KEY = "kind of water"
PLANT_PRODUCT_KEY = "product of the plant"
ON_KEY = "day of the check"
OWN_TABLES_KEY = "own limit tables"
TRAIN_KEY = "train file"
SAMPLE_TRAIN_KEY = "sample train"
RULES_KEY = "release rules"
LAYOUTS_KEY = "folder of sheet layouts"
OWN_FOLDER_KEY = "folder of own limit tables"


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """How a batch is to be checked.

    ``limits`` are names of shipped tables and paths of the plant's own in the folder ``own_folder``; ``own_tables``,
    ``train`` and ``rules`` are uploads, file name and bytes.
    """

    product: Product
    limits: tuple[str, ...]
    own_tables: tuple[NamedBytes, ...]
    train: NamedBytes | None
    sample_train: bool
    rules: NamedBytes | None
    on: date
    layouts: Path | None
    own_folder: Path | None = None


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
        _draw_products(plant.products, folder)
        first = _tables(plant.products[0], folder) if plant.products else list(FIRST_TABLES)
        own_tables = str(folder / plant.own_limits) if plant.own_limits else ""
        limits = draw_table_choice(_folder(st.session_state.get(OWN_FOLDER_KEY, own_tables)), first)
        replaced = st.container()
        kinds = [str(kind) for kind in Product]
        product = st.selectbox(
            say("Kind of water"),
            kinds,
            index=kinds.index(plant.products[0].water if plant.products else Product.PURIFIED),
            key=worded(PRODUCT_KEY),
            format_func=say,
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
            own_folder = st.text_input(
                say("Folder of your own limit tables"),
                value=own_tables,
                key=OWN_FOLDER_KEY,
                help=say(
                    "Its sound CSV and XLSX tables can be chosen above; the Limits view saves into it. Blank: none."
                ),
            )
            layouts = st.text_input(
                say("Folder of sheet layouts"),
                value=str(folder / plant.layouts) if plant.layouts else "",
                key=LAYOUTS_KEY,
                help=say("Answers about a laboratory's sheets are kept here and used for its next ones; blank: none."),
            )
        with replaced:
            draw_overrides(limits, [(file.name, file.getvalue()) for file in own], Product(product))
    return Settings(
        product=Product(product),
        limits=limits,
        own_tables=tuple((file.name, file.getvalue()) for file in own),
        train=(train.name, train.getvalue()) if train else _of_plant(folder, "" if sample_train else plant.train),
        sample_train=sample_train,
        rules=(rules.name, rules.getvalue()) if rules else _of_plant(folder, plant.release_rules),
        on=on,
        layouts=_folder(layouts),
        own_folder=_folder(own_folder),
    )


def _of_plant(folder: Path, name: str) -> NamedBytes | None:
    """Read a file that the plant's settings name, None where they name none."""
    return (Path(name).name, (folder / name).read_bytes()) if name else None


def _draw_products(products: Sequence[ProductSettings], folder: Path) -> None:
    """Draw the choice of the plant's product, which chooses kind of water and limit tables; both can be changed."""
    if not products:
        return
    by_name = {product.name: product for product in products}

    def choose() -> None:
        product = by_name[st.session_state[PLANT_PRODUCT_KEY]]
        st.session_state[worded(PRODUCT_KEY)], st.session_state[TABLES_KEY] = (
            str(product.water),
            _tables(product, folder),
        )

    st.selectbox(say("Product"), list(by_name), key=PLANT_PRODUCT_KEY, on_change=choose)


def _tables(product: ProductSettings, folder: Path) -> list[str]:
    """List the limit tables of a product: shipped names, and paths of own files beside the settings."""
    return [name if name in shipped_tables() else str(folder / name) for name in product.limits]


def _folder(text: str) -> Path | None:
    """Return the folder that was named, None for a blank."""
    return Path(text.strip()).expanduser() if text.strip() else None
