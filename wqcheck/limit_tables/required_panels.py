"""Turns the file of required panels into what must be tested how often, by limit table and kind of water."""

from __future__ import annotations

from math import ceil
from pathlib import Path

import pandas as pd
import pandera.pandas as pa
from pandera.typing import DataFrame, Series

from wqcheck.limit_tables.columns import split_list
from wqcheck.limit_tables.data_files import load_data_file
from wqcheck.parameters import catalogue
from wqcheck.shipped_files import shipped_folder
from wqcheck.tables import Product

PANELS_FILE = "required_panels.csv"
PRODUCT_WATER, SOURCE_WATER = "product", "source"

INTERVALS = {
    "week": pd.DateOffset(days=7), "3 months": pd.DateOffset(months=3), "year": pd.DateOffset(years=1),
    "4 years": pd.DateOffset(years=4), "6 years": pd.DateOffset(years=6),
}  # fmt: skip
"""How long a result stands in for a new one."""

VOLUME_A, VOLUME_B = "volume A", "volume B"
ALL = ("all chemical", "all physical", "all radiological", "all others")
"""Words for many parameters of a table: by their kind, or all that no other row of the same table and water names."""

CORE = ("escherichia_coli", "enterococci")
"""At least yearly whatever the volume (Directive (EU) 2020/2184, Annex II Part B, Table 1, Note 4)."""

_SAMPLES = {VOLUME_A: ((10, 2), (100, 4)), VOLUME_B: ((10, 1), (100, 1))}
_LEAST_M3 = 10


class RequiredPanels(pa.DataFrameModel):
    """One row per panel: what a table's text wants tested in which water how ``every`` often.

    ``parameters`` is a ``;`` list of codes and of words of :data:`ALL`; a code after ``-`` is left out.
    """

    table: Series[str]
    waters: Series[str]
    water: Series[str] = pa.Field(isin=[PRODUCT_WATER, SOURCE_WATER])
    parameters: Series[str]
    every: Series[str] = pa.Field(isin=[*INTERVALS, VOLUME_A, VOLUME_B])
    clause: Series[str]
    source: Series[str]
    evidence: Series[str] = pa.Field(str_matches=r"^(primary text: .+|secondary text: .+|memory.*)$")
    note: Series[str] = pa.Field(nullable=True)

    @pa.check("waters", name="a ; list of kinds of water")
    def _waters(cls, texts: pd.Series) -> pd.Series[bool]:
        return texts.map(lambda text: set(split_list(str(text))) <= set(Product)).astype(bool)

    @pa.check("parameters", name="a ; list of codes of parameters.csv, perhaps after -, and of words for many")
    def _parameters(cls, texts: pd.Series) -> pd.Series[bool]:
        known = {*ALL, *catalogue(), *(f"-{code}" for code in catalogue())}
        return texts.map(lambda text: set(split_list(str(text))) <= known).astype(bool)

    class Config:
        """Exactly these columns, in this order, with these types."""

        strict = True
        ordered = True


def load_panels(path: Path | None = None) -> DataFrame[RequiredPanels]:
    """Return the panels of a CSV file, the shipped ``limits/required_panels.csv`` by default.

    Raises
    ------
    LimitTableError
        ``problems`` lists every bad cell, and nothing is loaded.
    """
    rows, _ = load_data_file(path or shipped_folder("limits") / PANELS_FILE, RequiredPanels)
    return DataFrame[RequiredPanels](rows)


def samples_a_year(every: str, volume: float) -> int | None:
    """Return how many samples a year the supply of *volume* m³ a day asks for; None where the table fixes no number.

    Directive (EU) 2020/2184, Annex II Part B, Table 1 with Notes 3 and 4. *every* is ``volume A`` or ``volume B``.
    """
    if not volume >= _LEAST_M3:
        return None
    steps = _SAMPLES[every]
    if volume <= 1000:
        return steps[0][1] if volume <= 100 else steps[1][1]
    if every == VOLUME_A:
        return 4 + 3 * ceil((volume - 1000) / 1000)
    if volume <= 10_000:
        return 1 + ceil((volume - 1000) / 4500)
    return 3 + ceil((volume - 10_000) / 10_000) if volume <= 100_000 else 12 + ceil((volume - 100_000) / 25_000)
