"""Turns what is chosen in the side panel into one record of settings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import streamlit as st

from wqcheck.limit_tables.loading import shipped_tables
from wqcheck.page.spoken import draw_language
from wqcheck.tables import Product

TABLES_KEY = "limit tables"
PRODUCT_KEY = "kind of water"
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


def draw_settings(today: date) -> Settings:
    """Draw the side panel and give what is chosen in it; ``today`` is the day of the check until changed."""
    with st.sidebar:
        draw_language()
        st.subheader("How to check")
        limits = _draw_tables(shipped_tables())
        kinds = [str(kind) for kind in Product]
        product = st.selectbox(
            "Kind of water",
            kinds,
            index=kinds.index(Product.PURIFIED),
            key=PRODUCT_KEY,
            help="A limit row counts only for the kinds of water it names. What a sheet says of its water comes first.",
        )
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
            layouts = st.text_input(
                "Folder of sheet layouts",
                value="layouts",
                key=LAYOUTS_KEY,
                help="Answers about a laboratory's sheets are kept here and used for its next ones; blank: none.",
            )
    return Settings(
        product=Product(product),
        limits=tuple(limits),
        own_tables=tuple((file.name, file.getvalue()) for file in own),
        train=(train.name, train.getvalue()) if train else None,
        sample_train=sample_train,
        rules=(rules.name, rules.getvalue()) if rules else None,
        on=on,
        layouts=Path(layouts.strip()).expanduser() if layouts.strip() else None,
    )


def _draw_tables(names: Sequence[str]) -> list[str]:
    """Draw the choice of shipped limit tables."""
    return st.multiselect(
        "Limit tables",
        names,
        default=[name for name in FIRST_TABLES if name in names] or list(names[:1]),
        key=TABLES_KEY,
        placeholder="choose at least one",
        help="Each table is judged on its own; the decision rests on all of them together.",
    )
