"""Turns what is chosen in the side panel into one record of settings."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path

import streamlit as st

from wqcheck.limit_tables.own_folder import OWN_FOLDER
from wqcheck.page.spoken import draw_language, say
from wqcheck.page.table_choice import FIRST_TABLES, TABLES_KEY, NamedBytes, draw_overrides, draw_table_choice
from wqcheck.tables import Product

__all__ = ["FIRST_TABLES", "TABLES_KEY", "NamedBytes", "Settings", "draw_settings"]

PRODUCT_KEY = "kind of water"
BATCH_KEY = "batch"
ON_KEY = "day of the check"
SIGNED_BY_KEY = "signed by"
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
    ``train`` and ``rules`` are uploads, file name and bytes. ``batch`` is blank where the sheet is to say it.
    ``signed_by`` does not change the check, only the certificate.
    """

    product: Product
    batch: str
    limits: tuple[str, ...]
    own_tables: tuple[NamedBytes, ...]
    train: NamedBytes | None
    sample_train: bool
    rules: NamedBytes | None
    on: date
    signed_by: str
    layouts: Path | None
    own_folder: Path | None = None


def draw_settings(today: date) -> Settings:
    """Draw the side panel and give what is chosen in it; ``today`` is the day of the check until changed."""
    with st.sidebar:
        draw_language()
        st.subheader("How to check")
        limits = draw_table_choice(_folder(st.session_state.get(OWN_FOLDER_KEY, OWN_FOLDER)))
        replaced = st.container()
        kinds = [str(kind) for kind in Product]
        product = st.selectbox(
            "Kind of water",
            kinds,
            index=kinds.index(Product.PURIFIED),
            key=PRODUCT_KEY,
            help="A limit row counts only for the kinds of water it names.",
        )
        batch = st.text_input("Batch", key=BATCH_KEY, placeholder="as the sheet says")
        signed_by = st.text_input("Signed by", key=SIGNED_BY_KEY, placeholder="name of the authorised person")
        on = st.date_input(
            "Day of the check",
            value=today,
            key=ON_KEY,
            help="The limits in force on the sampling day count. A result without a sampling date is taken as sampled "
            "on this day.",
        )
        with st.expander("Your own files"):
            own = st.file_uploader(
                "Limit tables (CSV, XLSX)", type=["csv", "xlsx"], accept_multiple_files=True, key=OWN_TABLES_KEY
            )
            train = st.file_uploader("Treatment train (TOML)", type="toml", key=TRAIN_KEY)
            sample_train = st.checkbox("Use the sample train", key=SAMPLE_TRAIN_KEY)
            rules = st.file_uploader("Release rules (TOML)", type="toml", key=RULES_KEY)
            own_folder = st.text_input(
                say("Folder of your own limit tables"),
                value=OWN_FOLDER,
                key=OWN_FOLDER_KEY,
                help=say(
                    "Its sound CSV and XLSX tables can be chosen above; the Limits view saves into it. Blank: none."
                ),
            )
            layouts = st.text_input(
                "Folder of sheet layouts",
                value="layouts",
                key=LAYOUTS_KEY,
                help="Answers about a laboratory's sheets are kept here and used for its next ones; blank: none.",
            )
        with replaced:
            draw_overrides(limits, [(file.name, file.getvalue()) for file in own], Product(product))
    return Settings(
        product=Product(product),
        batch=batch.strip(),
        limits=limits,
        own_tables=tuple((file.name, file.getvalue()) for file in own),
        train=(train.name, train.getvalue()) if train else None,
        sample_train=sample_train,
        rules=(rules.name, rules.getvalue()) if rules else None,
        on=on,
        signed_by=signed_by.strip(),
        layouts=_folder(layouts),
        own_folder=_folder(own_folder),
    )


def _folder(text: str) -> Path | None:
    """Return the folder that was named, None for a blank."""
    return Path(text.strip()).expanduser() if text.strip() else None
