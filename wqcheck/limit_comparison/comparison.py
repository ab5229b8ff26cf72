"""Turns several limit tables into one comparison per parameter, in one unit and basis: what each asks, and who most."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from enum import StrEnum
from typing import Any

import pandas as pd
import pandera.pandas as pa
from pandera.typing import DataFrame, Series

from wqcheck.judging.binding import SINGLE_PESTICIDE, all_rows, bound_rows
from wqcheck.limit_comparison.demands import Asks, Demand, Relation, demands, in_force, relation, strictest_of, value_in
from wqcheck.limit_tables.columns import ANY_PRODUCT, split_list
from wqcheck.limit_tables.loading import LimitTable, product_word
from wqcheck.parameters import catalogue
from wqcheck.tables import Judged, Limits, Product


class Standing(StrEnum):
    """How the limit of one table stands to those of the others."""

    STRICTEST = "strictest"
    EQUAL = "equally strict"
    ONLY = "only limit"
    LESS = "less strict"
    NOT_COMPARABLE = "not comparable"
    NONE = "no limit"


COMBINATION = "combination"
"""Kind of the parameters that are sums; a limit for any single substance is none for them."""

WINNING = (Standing.STRICTEST, Standing.EQUAL, Standing.ONLY)


class ComparedLimits(pa.DataFrameModel):
    """One row per parameter × what is asked × table × limit row; a table without such a limit stands once.

    ``limit`` is in words as published. ``value_low`` and ``value_high`` are its number in ``unit`` (with basis or
    volume in words), the same for all tables; they differ where a basis is not stated, and are blank where there is
    no number or it cannot be converted. ``reason`` says why the standing is what it is.
    """

    parameter: Series[str]
    asks: Series[str] = pa.Field(isin=list(Asks))
    table: Series[str]
    limit: Series[str] = pa.Field(nullable=True)
    value_low: Series[float] = pa.Field(nullable=True)
    value_high: Series[float] = pa.Field(nullable=True)
    unit: Series[str]
    standing: Series[str] = pa.Field(isin=list(Standing))
    reason: Series[str]
    rule: Series[str] = pa.Field(nullable=True)
    limit_class: Series[str] = pa.Field(alias="class", nullable=True)
    status: Series[str] = pa.Field(nullable=True)
    source: Series[str] = pa.Field(nullable=True)
    clause: Series[str] = pa.Field(nullable=True)
    evidence: Series[str] = pa.Field(nullable=True)
    line: Series[float] = pa.Field(nullable=True)

    class Config:
        """Exactly these columns, in this order, with these types."""

        strict = True
        ordered = True


Found = Mapping[tuple[str, str], Sequence[Demand]]
"""Table and parameter → what the table's rows ask."""


@dataclass(frozen=True, slots=True, eq=False)
class _Bench:
    """What a comparison looks things up in: what all rows ask, and those that bind the product on any day."""

    tables: tuple[str, ...]
    product: Product
    every: Found
    bound: Found
    sums: Mapping[tuple[str, str], Sequence[str]]
    generic: frozenset[tuple[str, int]]


def compare_limits(tables: Sequence[LimitTable], *, product: str, on: date) -> DataFrame[ComparedLimits]:
    """Return what each of *tables* asks of every parameter that one of them limits.

    Parameters
    ----------
    tables : sequence of LimitTable
        At least one; those of one name are told apart by their paths.
    product : str
        A word of :class:`wqcheck.tables.Product`; only rows that bind it count.
    on : date
        Only rows that hold on this day count.

    Returns
    -------
    DataFrame
        In the order of the catalogue, then of the tables. Values are in the unit and basis of the first table that
        has a number. A table's row for any single pesticide stands for each pesticide that another table names.

    Raises
    ------
    UnknownProductError
        *product* is not one of the words.
    """
    word = product_word(product)
    rows = all_rows(_told_apart(tables))
    single = [code for code in rows[Limits.parameter].unique() if catalogue()[code].kind != COMBINATION]
    bound = bound_rows(rows, word, single).rows
    bench = _bench(list(dict.fromkeys(rows[Judged.table])), word, rows, bound)
    groups: dict[tuple[str, Asks], list[Demand]] = {}
    for demand in demands(in_force(bound, on)):
        groups.setdefault((demand.parameter, demand.asks), []).append(demand)
    order = {code: place for place, code in enumerate(catalogue())}
    keys = sorted(groups, key=lambda key: (order[key[0]], list(Asks).index(key[1])))
    lines = [line for key in keys for line in _lines(groups[key], groups, bench)]
    types = {name: str(column.dtype) for name, column in ComparedLimits.to_schema().columns.items()}
    columns = {name: pd.Series([line.get(name) for line in lines], dtype=types[name]) for name in types}
    return ComparedLimits.validate(pd.DataFrame(columns))


def strictest_limits(tables: Sequence[LimitTable], *, product: str, on: date) -> DataFrame[ComparedLimits]:
    """Return for every parameter the limit row that asks most, with the reason; equally strict rows all stand.

    Limits that cannot be ranked with the others are left in: nobody can say that they ask less. Arguments as for
    :func:`compare_limits`.
    """
    compared = compare_limits(tables, product=product, on=on)
    kept = compared[compared[ComparedLimits.standing].isin([*WINNING, Standing.NOT_COMPARABLE])]
    return ComparedLimits.validate(kept.reset_index(drop=True))


def _told_apart(tables: Sequence[LimitTable]) -> list[LimitTable]:
    names = [table.name for table in tables]
    return [replace(t, name=t.name if names.count(t.name) == 1 else str(t.path)) for t in tables]


def _bench(tables: Sequence[str], product: Product, rows: pd.DataFrame, bound: pd.DataFrame) -> _Bench:
    every = _by_table(demands(rows))
    single = rows[rows[Limits.parameter] == SINGLE_PESTICIDE]
    sums: dict[tuple[str, str], list[str]] = {}
    for (table, code), found in every.items():
        for member in dict.fromkeys(member for demand in found for member, _, _ in demand.members):
            sums.setdefault((table, member), []).append(code)
    return _Bench(
        tables=tuple(tables),
        product=product,
        every=every,
        bound=_by_table(demands(bound)),
        sums=sums,
        generic=frozenset(zip(single[Judged.table], single[Limits.line], strict=True)),
    )


def _by_table(found: Sequence[Demand]) -> Found:
    grouped: dict[tuple[str, str], list[Demand]] = {}
    for demand in found:
        grouped.setdefault((demand.table, demand.parameter), []).append(demand)
    return grouped


def _lines(
    group: list[Demand], groups: Mapping[tuple[str, Asks], list[Demand]], bench: _Bench
) -> list[dict[str, object]]:
    """Return the lines of one parameter and question, in the order of the tables."""
    shared = next((demand for demand in group if not demand.none and not math.isnan(demand.value)), group[0])
    lines = []
    for table in bench.tables:
        own = [demand for demand in group if demand.table == table]
        lines += [_line(demand, shared, group, bench) for demand in own]
        if not own:
            why = _why_none(table, group[0], groups, bench)
            lines.append(_blank(group[0], shared) | {"table": table, "standing": Standing.NONE, "reason": why})
    return lines


def _blank(demand: Demand, shared: Demand) -> dict[str, object]:
    return {"parameter": demand.parameter, "asks": demand.asks, "unit": shared.unit_words}


def _line(demand: Demand, shared: Demand, group: list[Demand], bench: _Bench) -> dict[str, object]:
    low, high = (math.nan, math.nan) if demand.none or shared.none else value_in(demand, shared)[:2]
    standing, reason = _standing(demand, group)
    generic = (demand.table, demand.row["line"]) in bench.generic and demand.parameter != SINGLE_PESTICIDE
    names = ("rule", "class", "status", "source", "clause", "evidence", "line")
    return _blank(demand, shared) | {
        "table": demand.table,
        "limit": demand.words + (" (any single pesticide)" if generic else ""),
        "value_low": low,
        "value_high": high,
        "standing": standing,
        "reason": reason,
        **{name: demand.row[name] for name in names},
    }


def _standing(demand: Demand, group: list[Demand]) -> tuple[Standing, str]:
    """Return how *demand* stands in its *group*, and why."""
    others = [other for other in group if other is not demand]
    if not any(other.table != demand.table for other in others) and len(strictest_of(group)) == len(group):
        return Standing.ONLY, "no other table asks this"
    found = [(relation(demand, other), other) for other in others]
    stricter = [other for (how, _), other in found if how == Relation.LAXER]
    if stricter:
        most = strictest_of(stricter)[0]
        return Standing.LESS, f"{most.table} asks for {most.words}"
    unranked = [(why, other) for (how, why), other in found if how == Relation.UNKNOWN]
    doubts = "; ".join(f"{other.table}: {why}" for why, other in unranked)
    if unranked and (len(unranked) == len(others) or _rivals(unranked, group)):
        return Standing.NOT_COMPARABLE, doubts
    equals = sorted({other.table for (how, _), other in found if how == Relation.EQUAL} - {demand.table})
    laxer = [other for (how, _), other in found if how == Relation.STRICTER]
    told = [f"{other.table} asks for {other.words}" for other in laxer]
    told += [f"the same as {', '.join(equals)}"] if equals else []
    told += [f"not compared with {doubts}"] if doubts else []
    return (Standing.EQUAL if equals else Standing.STRICTEST), "; ".join(told)


def _rivals(unranked: list[tuple[str, Demand]], group: list[Demand]) -> bool:
    """Tell whether one that could not be ranked is itself stricter than some other: then both may be the strictest."""
    return any(relation(other, third)[0] == Relation.STRICTER for _, other in unranked for third in group)


def _why_none(table: str, asked: Demand, groups: Mapping[tuple[str, Asks], list[Demand]], bench: _Bench) -> str:
    """Say what *table* has instead of a limit of this kind."""
    code = asked.parameter
    others = [demand for asks in Asks for demand in groups.get((code, asks), []) if demand.table == table]
    if others:
        return f"another kind of limit: {others[0].words}"
    later = bench.bound.get((table, code), ())
    if later:
        return f"not on this day ({_span(later[0].row)})"
    own = bench.every.get((table, code), ())
    if any(demand.asks == Asks.GUIDANCE and _binds(demand, bench.product) for demand in own):
        return "guidance without a number"
    if own:
        return f"only for {'; '.join(dict.fromkeys(str(demand.row[Limits.product]) for demand in own))}"
    sums = bench.sums.get((table, code))
    return f"only as part of {', '.join(sums)}" if sums else "no limit"


def _binds(demand: Demand, product: Product) -> bool:
    return bool({ANY_PRODUCT, product} & set(split_list(str(demand.row[Limits.product]))))


def _span(row: Mapping[str, Any]) -> str:
    begins, ends = (row[name] for name in (Limits.valid_from, Limits.valid_to))
    words = [f"from {begins:%Y-%m-%d}"] if not pd.isna(begins) else []
    return " ".join([*words, *([f"until {ends:%Y-%m-%d}"] if not pd.isna(ends) else [])])
