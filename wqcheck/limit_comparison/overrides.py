"""Turns limit tables of which some rows override others into the tables that are judged, and what was put aside.

A row whose status is ``overrides NAME`` (or a ``;`` list of names) takes the place of those tables' rows for its
parameter, for the waters and the days that it binds itself. A health, microbiological or radiological row gives way
only to a row that is at least as strict; otherwise both are judged, and the batch is held.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.findings import Finding, Severity
from wqcheck.judging.binding import all_rows
from wqcheck.limit_comparison.demands import Asks, Demand, Relation, demands, relation
from wqcheck.limit_tables.columns import OVERRIDES, split_list
from wqcheck.limit_tables.loading import LimitTable, binds_product, product_word
from wqcheck.tables import LimitClass, Limits, Product

GUARDED = (LimitClass.HEALTH, LimitClass.MICROBIOLOGICAL, LimitClass.RADIOLOGICAL)
OVERRIDE, REFUSED, IDLE = "limit overridden", "override refused", "override without effect"
RELAXED = "limit relaxed"

_FIRST, _LAST = pd.Timestamp("1700-01-01"), pd.Timestamp("2250-01-01")
_ONE_DAY = pd.Timedelta(days=1)


def overridden_names(status: object) -> list[str]:
    """Return the names of the tables that a row of this *status* overrides; none for every other status."""
    if not isinstance(status, str) or status.split()[:1] != [OVERRIDES]:
        return []
    return split_list(status.strip().removeprefix(OVERRIDES))


def apply_overrides(tables: Sequence[LimitTable], *, product: str) -> tuple[list[LimitTable], tuple[Finding, ...]]:
    """Return *tables* without the rows that give way to an overriding row, and a finding for each override.

    Parameters
    ----------
    tables : sequence of LimitTable
        As loaded; left as they are.
    product : str
        A word of :class:`wqcheck.tables.Product`; only rows that bind it take part.

    Returns
    -------
    tables : list of LimitTable
        In the same order, with the same digests. A row that gives way on some days only is kept for the others.
    findings : tuple of Finding
        A note for each row put aside, a hold for each override that is refused.

    Raises
    ------
    UnknownProductError
        *product* is not one of the words.
    """
    word = product_word(product)
    current = list(tables)
    found: list[Finding] = []
    for place, table in enumerate(tables):
        for row in _overriding(table, word):
            for name in overridden_names(row[str(Limits.status)]):
                targets = [n for n, other in enumerate(tables) if other.name == name and n != place]
                if not targets:
                    found.append(_idle(table, row, f"{name} is not among the other limit tables of this check"))
                for target in targets:
                    current[target], told = _overridden(table, row, current[target], word)
                    found += told
    return current, tuple(found)


def _overriding(table: LimitTable, product: Product) -> Iterator[dict[str, object]]:
    rows = all_rows([table])
    marked = np.array([bool(overridden_names(status)) for status in rows[Limits.status]], dtype=bool)
    for row in rows[marked & binds_product(rows, product)].to_dict("records"):
        yield {str(name): cell for name, cell in row.items()}


def _overridden(
    table: LimitTable, row: Mapping[str, object], target: LimitTable, product: Product
) -> tuple[LimitTable, list[Finding]]:
    """Return *target* without what *row* of *table* puts aside, and what was decided about each of its rows."""
    rows = target.rows
    same = (rows[Limits.parameter] == row["parameter"]).to_numpy(dtype=bool) & binds_product(rows, product)
    own = demands(pd.DataFrame([row]))
    kept: list[pd.DataFrame] = [rows[~same]]
    found: list[Finding] = []
    for _, one in rows[same].groupby(Limits.line, sort=False):
        theirs = demands(one.assign(table=target.name))
        rest = _outside(one, row)
        if theirs[0].asks == Asks.GUIDANCE or rest.equals(one):
            kept.append(one)
            continue
        why = _relaxes(own, theirs)
        kept.append(one if why else rest)
        found.append(_refused(table, row, theirs[0], why) if why else _put_aside(table, row, theirs[0]))
    if not found:
        found.append(_idle(table, row, f"{target.name} has no limit for it on these days"))
    ordered = pd.concat(kept, ignore_index=True).sort_values([Limits.line, Limits.valid_from], kind="stable")
    return replace(target, rows=DataFrame[Limits](ordered.reset_index(drop=True))), found


def _outside(one: pd.DataFrame, row: Mapping[str, object]) -> pd.DataFrame:
    """Return the single row *one* cut down to the days on which *row* does not hold: none, one or two rows."""
    begins, ends = (_day(row[name], bound) for name, bound in (("valid_from", _FIRST), ("valid_to", _LAST)))
    first = _day(one[Limits.valid_from].iloc[0], _FIRST)
    last = _day(one[Limits.valid_to].iloc[0], _LAST)
    if last < begins or first > ends:
        return one
    parts = [one.iloc[:0]]
    if first < begins:
        parts.append(one.assign(**{str(Limits.valid_to): begins - _ONE_DAY}))
    if last > ends:
        parts.append(one.assign(**{str(Limits.valid_from): ends + _ONE_DAY}))
    return pd.concat(parts)


def _day(cell: object, bound: pd.Timestamp) -> pd.Timestamp:
    return bound if not isinstance(cell, pd.Timestamp) or pd.isna(cell) else cell


def _relaxes(own: Sequence[Demand], theirs: Sequence[Demand]) -> str:
    """Say why a row must not give way; blank when it may."""
    if theirs[0].row[str(Limits.limit_class)] not in GUARDED:
        return ""
    if any(their.members for their in theirs) and not any(mine.members for mine in own):
        return "it does not add up the members of the sum"
    for their in theirs:
        found = [relation(mine, their) for mine in own]
        if not any(how in {Relation.STRICTER, Relation.EQUAL} for how, _ in found):
            laxer = any(how == Relation.LAXER for how, _ in found)
            return "it is less strict" if laxer else f"they cannot be ranked ({found[0][1]})"
    own_class = own[0].row[str(Limits.limit_class)]
    return "" if own_class in GUARDED else f"its class, {own_class}, does not reject a batch"


def _named(table: LimitTable, row: Mapping[str, object]) -> str:
    return f"{table.path.name}, line {row['line']}"


def _put_aside(table: LimitTable, row: Mapping[str, object], their: Demand) -> Finding:
    own = demands(pd.DataFrame([row]))
    tighter = any(relation(mine, their)[0] in {Relation.STRICTER, Relation.EQUAL} for mine in own)
    text = (
        f"{row['parameter']} is judged by the own limit, {own[0].words}; {their.table}, "
        f"{their.words} ({their.row['clause']}), was put aside"
    ) + ("" if tighter else "; the own limit is not known to be as strict")
    code = OVERRIDE if tighter else RELAXED
    return Finding(code=code, severity=Severity.NOTE, message=text, where=_named(table, row))


def _refused(table: LimitTable, row: Mapping[str, object], their: Demand, why: str) -> Finding:
    text = (
        f"the own limit for {row['parameter']}, {demands(pd.DataFrame([row]))[0].words}, does not override "
        f"{their.table}, {their.words} ({their.row['clause']}), a {their.row['class']} limit: {why}; both are judged. "
        "Take the override out of the status, or make the row at least as strict and of such a class"
    )
    return Finding(code=REFUSED, severity=Severity.HOLD, message=text, where=_named(table, row))


def _idle(table: LimitTable, row: Mapping[str, object], why: str) -> Finding:
    text = f"the override for {row['parameter']} puts nothing aside: {why}"
    return Finding(code=IDLE, severity=Severity.NOTE, message=text, where=_named(table, row))
