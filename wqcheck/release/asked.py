"""Turns limit tables into what they ask of each parameter of a kind of water, also of one that has no result."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
import pandera.pandas as pa
from pandera.typing import DataFrame, Series

from wqcheck.certificate.figures import limit_text, unit_text
from wqcheck.certificate.lines import finite, plain_text
from wqcheck.judging.binding import all_rows, bound_rows
from wqcheck.limit_tables.loading import LimitTable, product_word
from wqcheck.tables import Judged, LimitClass, Limits

BETWEEN_TABLES = "; "
"""Between the names of tables that limit one parameter."""


class Asked(pa.DataFrameModel):
    """One row per limit that binds the water: parameter, table, class, the limit in words, its clause.

    ``volume_ml`` is the volume of a limit on a count, NaN for others.
    """

    parameter: Series[str]
    table: Series[str]
    limit_class: Series[str] = pa.Field(alias="class")
    limit: Series[str]
    clause: Series[str]
    volume_ml: Series[float] = pa.Field(nullable=True)

    class Config:
        """Exactly these columns, in this order, with these types."""

        strict = True
        ordered = True
        coerce = True


def asked(tables: Sequence[LimitTable], product: str) -> DataFrame[Asked]:
    """Return what *tables* ask of water of the kind *product* (a word of :class:`wqcheck.tables.Product`).

    Raises
    ------
    wqcheck.limit_tables.loading.UnknownProductError
        *product* is not one of the words.
    """
    bound = bound_rows(all_rows(tables), product_word(product))
    rows = bound.rows
    ends = zip(rows[Limits.rule], rows[Limits.lower], rows[Limits.upper], bound.unit, rows[Limits.basis], strict=True)
    words = [
        limit_text(rule, finite(lower), finite(upper), unit_text(str(unit), plain_text(basis)))
        for rule, lower, upper, unit, basis in ends
    ]
    found = pd.DataFrame(
        {
            Asked.parameter: rows[Limits.parameter], Asked.table: rows[str(Judged.table)],
            Asked.limit_class: rows[Limits.limit_class], Asked.limit: words, Asked.clause: rows[Limits.clause],
            Asked.volume_ml: rows[Limits.volume_ml],
        }
    )  # fmt: skip
    texts = {name: "" for name in found.columns if name != Asked.volume_ml}
    return Asked.validate(found.fillna(texts).drop_duplicates().reset_index(drop=True))


def least_volume(limits: pd.DataFrame) -> float:
    """Return the volume in mL that a test has to examine to be set beside all *limits*; NaN where none is a count."""
    return float(limits[Asked.volume_ml].max())


def tables_asking(limits: DataFrame[Asked]) -> dict[str, str]:
    """Return the tables that limit each parameter, joined by :data:`BETWEEN_TABLES`."""
    named = limits.drop_duplicates([Asked.parameter, Asked.table]).groupby(Asked.parameter, sort=False)[Asked.table]
    return {str(code): str(tables) for code, tables in named.agg(BETWEEN_TABLES.join).items()}


def gravest_class(limits: DataFrame[Asked]) -> dict[str, str]:
    """Return the gravest class of limit of each parameter."""
    order = {str(harm): rank for rank, harm in enumerate(LimitClass)}
    ranked = limits.assign(rank=limits[Asked.limit_class].map(order)).sort_values("rank", kind="stable")
    first = ranked.drop_duplicates(Asked.parameter)
    return dict(zip(first[Asked.parameter], first[Asked.limit_class], strict=True))
