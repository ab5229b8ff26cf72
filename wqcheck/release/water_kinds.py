"""Turns what sheets say of the water (product, kind, matrix, names of places) into findings where it is another one.

``water_kinds.csv`` lists the words and the kinds of water that each agrees with; it is open to editing.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from functools import cache
from importlib.resources import files

import pandas as pd
from pandera.typing import DataFrame

from wqcheck.findings import Finding, Severity
from wqcheck.limit_tables.columns import split_list
from wqcheck.parameters import normalise
from wqcheck.quality.sample_amounts import cells_of
from wqcheck.release.sheet_places import beside, home_of
from wqcheck.tables import Ledger, Product, Readings
from wqcheck.train.description import Train, match_points

_TOLD = re.compile(r"\((?:product|product kind)\)$")
"""End of the ledger's reason for a label about the water."""

_COLUMNS = ("product", "product kind")
_LONGEST_TITLE = 80
_PLACE = re.compile(
    r"\b(?:raw|feed|inlet|influent|intake|untreated|borehole|well|wellhead|concentrate|reject|brine|permeate|drain|river|lake|dam|stream|sea"
    r"|upstream|before|pre|vor|avant|antes|brut|brute|bruta|cruda|rohwasser)\b"
)
_NEUTRAL = frozenset({"water", "tank", "ro", "sample", "no", "uv", "point", "line", "stage", "pump", "tap", "valve"})
_FINISHED = re.compile(
    r"\b(?:finished|product|treated|filler|filling|bottles?|bottled|final|after|post|outlet of the train)\b"
)


@cache
def _kinds() -> tuple[tuple[re.Pattern[str], frozenset[str]], ...]:
    text = files("wqcheck.release").joinpath("water_kinds.csv").read_text(encoding="utf-8")
    rows = csv.DictReader(text.splitlines())
    return tuple((re.compile(rf"\b(?:{row['pattern']})\b"), frozenset(split_list(row["products"]))) for row in rows)


@cache
def kinds_named(text: str) -> tuple[frozenset[str], ...]:
    """Return for each kind of water that *text* names the products it agrees with; none for ``raw water``."""
    bare = normalise(text)
    return tuple(products for pattern, products in _kinds() if pattern.search(bare))


def disagrees(text: str, product: str) -> bool:
    """Return whether *text* names a kind of water, and none that agrees with *product*."""
    named = kinds_named(text)
    return bool(named) and not any(product in products for products in named)


def other_water(
    finished: pd.DataFrame, ledger: DataFrame[Ledger], product: Product, train: Train | None
) -> Iterator[Finding]:
    """Yield a finding that holds for each text about the finished water that names another kind than *product*.

    Parameters
    ----------
    finished : DataFrame
        Results taken as finished water; only what is said of them, or of their sheet, counts.
    ledger : DataFrame[Ledger]
        Every other cell: labels hold for their sheet, columns for their row.
    product : Product
        The kind of water that was asked for.
    train : Train or None
        A place that it knows is what the train says, whatever its name.
    """
    yield from _labels(finished, ledger, product)
    yield from _names(finished, product, train)


def _labels(finished: pd.DataFrame, ledger: DataFrame[Ledger], product: Product) -> Iterator[Finding]:
    sheets = set(home_of(finished))
    said = ledger[ledger[Ledger.reason].str.contains(_TOLD) & ledger[Ledger.role].isin(["label", "label value"])]
    values = said[said[Ledger.role].eq("label value") | said[Ledger.reason].str.startswith("label and value")]
    yield from _told(values[home_of(values).isin(sheets)], product)
    columns = ledger[ledger[Ledger.role].isin(_COLUMNS)]
    yield from _told(columns[beside(columns, finished)].drop_duplicates(Ledger.text), product)
    titles = ledger[ledger[Ledger.role].eq("text") & ledger[Ledger.text].str.len().le(_LONGEST_TITLE)]
    yield from _told(titles[home_of(titles).isin(sheets) & ~_says_finished(titles[Ledger.text])], product)


def _told(cells: pd.DataFrame, product: Product) -> Iterator[Finding]:
    for row in cells.to_dict("records"):
        text = str(row[Ledger.text])
        if disagrees(text, product):
            sheet = "" if pd.isna(row[Ledger.sheet]) else f"{row[Ledger.sheet]}!"
            yield _finding(text, product, f"{row[Ledger.workbook]}|{sheet}{row[Ledger.cell]}")


def _names(finished: pd.DataFrame, product: Product, train: Train | None) -> Iterator[Finding]:
    """Yield samples, places and sheets whose name says that they are no finished water."""
    point = finished[Readings.point].fillna(finished[Readings.stage])
    known = pd.Series(False, index=finished.index) if train is None else match_points(point, train).notna()
    place = point.where(~known)
    before = place.map(lambda name: bool(_PLACE.search(normalise(name))), na_action="ignore").eq(True)
    sheet = finished[Readings.sheet].where(~known & ~_says_finished(finished[Readings.sheet]))
    sample = finished[Readings.sample]
    for names, doubtful in (
        (place, before & ~_says_finished(place)),
        (sample, sample.map(_is_a_place, na_action="ignore").eq(True)),
        (sheet, sheet.map(_is_a_place, na_action="ignore").eq(True)),
    ):
        other = names.map(lambda name: disagrees(name, product), na_action="ignore").eq(True) | doubtful
        for name, rows in finished[other].groupby(names[other], sort=False):
            yield _finding(str(name), product, cells_of(rows))


def _is_a_place(name: str) -> bool:
    """Return whether a name says nothing but a place before the product: ``Reject``, ``RO feed tank 2``."""
    words = normalise(name).split()
    at = [bool(_PLACE.fullmatch(word)) for word in words]
    return any(at) and all(found or word in _NEUTRAL or word.isdigit() for word, found in zip(words, at, strict=True))


def _says_finished(names: pd.Series[str]) -> pd.Series[bool]:
    return names.map(lambda name: bool(_FINISHED.search(normalise(name))), na_action="ignore").eq(True)


def _finding(text: str, product: Product, where: str) -> Finding:
    message = (
        f"the sheet names another water than {product} water, as which its results were judged; check the kind of "
        "water, take the sheet out, or give the train file that says which points are finished water"
    )
    return Finding(code="other water", severity=Severity.HOLD, message=message, where=where, given=text[:120])
