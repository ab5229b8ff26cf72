"""Turns cells and results into the sheet and row that they stand in, so that one can be found beside the other."""

from __future__ import annotations

import pandas as pd

from wqcheck.tables import Ledger, Readings


def home_of(cells: pd.DataFrame) -> pd.Series[str]:
    """Return ``workbook|sheet`` of each cell of a ledger or each reading; same index."""
    return cells[Readings.workbook] + "|" + cells[Readings.sheet].fillna("")


def row_of(cells: pd.DataFrame) -> pd.Series[str]:
    """Return ``workbook|sheet|row`` of each cell of a ledger or each reading; same index."""
    return home_of(cells) + "|" + cells[Readings.cell].str.extract(r"(\d+)", expand=False).fillna("")


def beside(ledger: pd.DataFrame, readings: pd.DataFrame) -> pd.Series[bool]:
    """Return which cells of a *ledger* stand in the row of one of the *readings*; same index."""
    found: pd.Series[bool] = row_of(ledger[list(Ledger.to_schema().columns)]).isin(set(row_of(readings)))
    return found
