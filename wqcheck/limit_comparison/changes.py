"""Turns two editions of a limit table into what was added, dropped, tightened, relaxed or changed otherwise."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from itertools import zip_longest

import pandas as pd
import pandera.pandas as pa
from pandera.typing import DataFrame, Series

from wqcheck.judging.binding import all_rows
from wqcheck.limit_comparison.demands import Asks, Demand, Relation, demands, plain_number, relation
from wqcheck.limit_tables.columns import ANY_PRODUCT, split_list
from wqcheck.limit_tables.loading import LimitTable, product_word
from wqcheck.parameters import catalogue
from wqcheck.tables import Limits, Product


class Change(StrEnum):
    """What became of a limit from one edition to the next, the ones that ask for action first."""

    TIGHTENED = "tightened"
    ADDED = "added"
    RELAXED = "relaxed"
    DROPPED = "dropped"
    OTHERWISE = "changed otherwise"
    UNCHANGED = "unchanged"


class LimitChanges(pa.DataFrameModel):
    """One row per parameter × kind of limit × waters × day from which the change holds.

    ``starts`` is the first day of the new row where it lies ahead, blank where the new row holds already. ``old`` and
    ``new`` are the limits in words as published, blank where there is none; ``reason`` says what changed beside the
    value, or why two limits cannot be ranked. ``product`` is ``any`` or a ``;`` list.
    """

    change: Series[str] = pa.Field(isin=list(Change))
    parameter: Series[str]
    product: Series[str]
    starts: Series[pd.Timestamp] = pa.Field(nullable=True)
    old: Series[str] = pa.Field(nullable=True)
    new: Series[str] = pa.Field(nullable=True)
    reason: Series[str]
    old_clause: Series[str] = pa.Field(nullable=True)
    new_clause: Series[str] = pa.Field(nullable=True)
    old_evidence: Series[str] = pa.Field(nullable=True)
    new_evidence: Series[str] = pa.Field(nullable=True)
    old_line: Series[float] = pa.Field(nullable=True)
    new_line: Series[float] = pa.Field(nullable=True)

    class Config:
        """Exactly these columns, in this order, with these types."""

        strict = True
        ordered = True


Pair = tuple[Demand | None, Demand | None]
_Spot = tuple[Product, str, Asks]
"""What two editions are laid beside each other by: water, parameter, kind of limit."""


@dataclass(frozen=True, slots=True)
class _Edition:
    """What the rows of one table ask, by water, parameter and kind, on any day."""

    spots: Mapping[_Spot, Sequence[Demand]]

    @property
    def span(self) -> tuple[pd.Timestamp, pd.Timestamp]:
        """The first and the last day on which anything is asked."""
        found = [demand for asked in self.spots.values() for demand in asked]
        return min(map(_begins, found), default=_EVER), max(map(_ends, found), default=_NEVER)

    def on(self, spot: _Spot, day: pd.Timestamp) -> list[Demand]:
        """Return what is asked on *day*."""
        return [demand for demand in self.spots.get(spot, ()) if _begins(demand) <= day <= _ends(demand)]


_EVER, _NEVER = pd.Timestamp("1700-01-01"), pd.Timestamp("2250-01-01")


def _begins(demand: Demand) -> pd.Timestamp:
    day = demand.row[Limits.valid_from]
    return _EVER if pd.isna(day) else pd.Timestamp(day)


def _ends(demand: Demand) -> pd.Timestamp:
    day = demand.row[Limits.valid_to]
    return _NEVER if pd.isna(day) else pd.Timestamp(day)


def limit_changes(old: LimitTable, new: LimitTable, *, on: date, product: str = "") -> DataFrame[LimitChanges]:
    """Return how the limits of *new* differ from those of *old*.

    The old edition is taken as it stands on the day *on*, or on its last day when it has ended; the new one as it
    stands on *on*, or on its first day when that lies ahead (its last when it has ended), and then on every later
    day on which a row of it begins or ends.

    Parameters
    ----------
    old, new : LimitTable
        Two editions; neither is changed.
    on : date
        The day from which is looked.
    product : str
        A word of :class:`wqcheck.tables.Product`; blank for every water.

    Returns
    -------
    DataFrame
        In the order of :class:`Change`, then of the catalogue; waters with the same change share a row.
    """
    waters = [product_word(product)] if product else list(Product)
    before, after = _edition(old, waters), _edition(new, waters)
    day = pd.Timestamp(on)
    last, first = min(day, before.span[1]), min(max(day, after.span[0]), after.span[1])
    spots = sorted(dict.fromkeys((*before.spots, *after.spots)), key=lambda spot: spot[2] == Asks.GUIDANCE)
    merged: dict[tuple[object, ...], dict[str, object]] = {}
    numbered = set()
    for spot in spots:
        if spot[2] == Asks.GUIDANCE and spot[:2] in numbered:
            continue
        for starts, pair in _steps(before, after, spot, last, first):
            numbered.add(spot[:2])
            line = _line(pair, starts) | _guided(pair, before, after, spot)
            key = tuple(line[name] for name in ("parameter", "starts", "old_line", "new_line", "old", "new"))
            named = merged.setdefault(key, line | {"product": ""})
            named["product"] = "; ".join([*split_list(str(named["product"])), spot[0]])
    return _table(list(merged.values()))


def _edition(table: LimitTable, waters: Sequence[Product]) -> _Edition:
    spots: dict[_Spot, list[Demand]] = {}
    for demand in demands(all_rows([table])):
        named = split_list(str(demand.row[Limits.product]))
        for water in waters:
            if ANY_PRODUCT in named or water in named:
                spots.setdefault((water, demand.parameter, demand.asks), []).append(demand)
    return _Edition(spots)


def _steps(
    before: _Edition, after: _Edition, spot: _Spot, last: pd.Timestamp, first: pd.Timestamp
) -> Iterator[tuple[pd.Timestamp | None, Pair]]:
    """Yield each pair of an old and a new limit with the day from which it holds, ``None`` when it holds already."""
    found = after.spots.get(spot, ())
    turns = {day for d in found for day in (_begins(d), _ends(d) + pd.Timedelta(days=1)) if first < day < _NEVER}
    seen: list[Demand] = []
    for day in (first, *sorted(turns)):
        now = after.on(spot, day)
        if day > first and now == seen:
            continue
        for pair in _paired(before.on(spot, last), now):
            if day == first or pair[1] is None or pair[1] not in seen:
                yield (None if day == first else day), pair
        seen = now


def _paired(old: list[Demand], new: list[Demand]) -> Iterator[Pair]:
    """Lay equal limits beside each other first, then those of the same class, then the rest in their order."""
    left, rest = list(old), list(new)
    for fit in (_is_equal, _guards_the_same):
        for demand in tuple(left):
            other = next((one for one in rest if fit(one, demand)), None)
            if other is not None:
                left.remove(demand)
                rest.remove(other)
                yield demand, other
    yield from zip_longest(left, rest)


def _is_equal(one: Demand, other: Demand) -> bool:
    return relation(one, other)[0] == Relation.EQUAL


def _guards_the_same(one: Demand, other: Demand) -> bool:
    return bool(one.row[Limits.limit_class] == other.row[Limits.limit_class])


def _line(pair: Pair, starts: pd.Timestamp | None) -> dict[str, object]:
    old, new = pair
    change, reason = _change(old, new)
    some = old or new
    return {
        "change": change,
        "parameter": some.parameter if some else "",
        "starts": starts,
        "old": old.words if old else None,
        "new": new.words if new else None,
        "reason": reason,
        "old_clause": old.row[Limits.clause] if old else None,
        "new_clause": new.row[Limits.clause] if new else None,
        "old_evidence": old.row[Limits.evidence] if old else None,
        "new_evidence": new.row[Limits.evidence] if new else None,
        "old_line": old.row[Limits.line] if old else math.nan,
        "new_line": new.row[Limits.line] if new else math.nan,
    }


def _guided(pair: Pair, before: _Edition, after: _Edition, spot: _Spot) -> dict[str, object]:
    """Return the reason where one edition has guidance in the place of the other's limit."""
    without = next((told for told, found in (("old", pair[0]), ("new", pair[1])) if found is None), "")
    edition = {"old": before, "new": after}.get(without)
    guided = edition is not None and (*spot[:2], Asks.GUIDANCE) in edition.spots
    return {"reason": f"guidance without a number in the {without} edition"} if guided else {}


def _change(old: Demand | None, new: Demand | None) -> tuple[Change, str]:
    if old is None or new is None:
        return (Change.ADDED if old is None else Change.DROPPED), ""
    other = "; ".join(_differences(old, new))
    if old.asks == Asks.GUIDANCE:
        return Change.UNCHANGED, "guidance in both; read the notes"
    how, why = relation(new, old)
    if how in {Relation.STRICTER, Relation.LAXER}:
        return (Change.TIGHTENED if how == Relation.STRICTER else Change.RELAXED), other
    if how == Relation.EQUAL:
        return (Change.OTHERWISE if other else Change.UNCHANGED), other
    return Change.OTHERWISE, "; ".join(filter(None, (why, other)))


def _differences(old: Demand, new: Demand) -> Iterator[str]:
    """Say in what, beside the value, two limits differ."""
    for name in ("rule", "unit", "basis", "class"):
        was, now = (_shown(demand.row[name]) for demand in (old, new))
        if was != now:
            yield f"{name} {was} → {now}"
    if not old.none and not new.none and math.isfinite(old.volume_ml) and old.volume_ml != new.volume_ml:
        yield f"volume {plain_number(old.volume_ml)} mL → {plain_number(new.volume_ml)} mL"
    if old.members and new.members and old.members != new.members:
        codes = [{code for code, _, _ in demand.members} for demand in (old, new)]
        gone, come = (", ".join(sorted(some)) or "none" for some in (codes[0] - codes[1], codes[1] - codes[0]))
        yield f"members gone: {gone}; come: {come}"


def _shown(cell: object) -> str:
    return cell if isinstance(cell, str) and cell else "blank"


def _table(lines: list[dict[str, object]]) -> DataFrame[LimitChanges]:
    order = {code: place for place, code in enumerate(catalogue())}
    ranks = list(Change)
    lines.sort(key=lambda line: (ranks.index(Change(str(line["change"]))), order[str(line["parameter"])]))
    for line in lines:
        named = set(split_list(str(line["product"])))
        line["product"] = ANY_PRODUCT if named == set(Product) else line["product"]
    types = {name: str(column.dtype) for name, column in LimitChanges.to_schema().columns.items()}
    columns = {name: pd.Series([line[name] for line in lines], dtype=types[name]) for name in types}
    return LimitChanges.validate(pd.DataFrame(columns))
