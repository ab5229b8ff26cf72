"""Turns limit rows into what each demands of a result, and two demands into which of them is the stricter."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Any

import numpy as np
import pandas as pd

from wqcheck.limit_tables.checks import COMBINED_RULES, split_list
from wqcheck.parameters import catalogue
from wqcheck.tables import Judged, Limits, Rule
from wqcheck.units import COUNT_UNITS, conversion, tidy


class Asks(StrEnum):
    """What a limit asks for; only demands of one kind can be ranked. A range asks twice."""

    AT_MOST = "at most"
    AT_LEAST = "at least"
    MEAN = "mean at most"
    PERCENTILE = "percentile at most"
    RATIO = "ratio sum at most"
    PLAN = "sampling plan"
    GUIDANCE = "guidance"


class Relation(StrEnum):
    """How one demand stands to another."""

    STRICTER = "stricter"
    EQUAL = "equal"
    LAXER = "laxer"
    UNKNOWN = "unknown"


_ASKED: Mapping[str, tuple[Asks, ...]] = {
    Rule.MAX: (Asks.AT_MOST,),
    Rule.MIN: (Asks.AT_LEAST,),
    Rule.RANGE: (Asks.AT_LEAST, Asks.AT_MOST),
    Rule.ABSENT: (Asks.AT_MOST,),
    Rule.SUM_MAX: (Asks.AT_MOST,),
    Rule.RATIO_SUM_MAX: (Asks.RATIO,),
    Rule.PERCENTILE_MAX: (Asks.PERCENTILE,),
    Rule.MEAN_MAX: (Asks.MEAN,),
    Rule.ATTRIBUTE_PLAN: (Asks.PLAN,),
    Rule.GUIDANCE: (Asks.GUIDANCE,),
}
_OPPOSITE = {Relation.STRICTER: Relation.LAXER, Relation.LAXER: Relation.STRICTER}


@dataclass(frozen=True, slots=True, kw_only=True)
class Demand:
    """One thing that one limit row asks for.

    Attributes
    ----------
    value : float
        In ``unit`` on ``basis``; a count in ``volume_ml`` (mL). NaN where there is no number, 0 for none in a volume.
    none : bool
        No organism may be found in the volume.
    members : tuple of (code, weight, basis)
        Of a sum or ratio, in the order of the codes; empty for a parameter or total as such, and for a sum of itself.
    row : mapping
        All cells of the row by column name, with the table's name under ``table``.
    """

    parameter: str
    asks: Asks
    value: float
    unit: str
    basis: str
    volume_ml: float
    none: bool
    members: tuple[tuple[str, str, str], ...]
    row: Mapping[str, Any]

    @property
    def table(self) -> str:
        """The name of the table."""
        return str(self.row[str(Judged.table)])

    @property
    def unstated(self) -> bool:
        """Whether the number can mean several bases and the row does not say which."""
        entry = catalogue().get(self.parameter)
        return entry is not None and entry.ambiguous and not self.basis and not self.members

    @property
    def unit_words(self) -> str:
        """The unit with what it is expressed as: ``mg/L as NO3``, ``CFU in 250 mL``."""
        return unit_words(self.unit, self.basis, self.volume_ml)

    @property
    def words(self) -> str:
        """What is asked for, as published: ``at most 10 µg/L``, ``none in 250 mL``."""
        if self.none:
            return f"none in {plain_number(self.volume_ml)} mL"
        if self.asks == Asks.GUIDANCE:
            return "guidance, no number"
        if math.isnan(self.value):
            return f"{self.asks} of the clause"
        sum_of = "sum " if self.members and self.asks == Asks.AT_MOST else ""
        return f"{sum_of}{self.asks} {plain_number(self.value)} {self.unit_words}".strip()


def plain_number(value: float) -> str:
    """Write *value* with at most 12 significant digits, and without an exponent where that stays readable."""
    if value == 0 or 1e-9 <= abs(value) < 1e12:
        return np.format_float_positional(value, precision=12, fractional=False, trim="-")
    return f"{value:.12g}"


def unit_words(unit: str, basis: str, volume_ml: float) -> str:
    """Write a unit with its basis or its volume (mL, NaN for none)."""
    shown = "" if unit in {"1", "pH"} else unit
    if math.isfinite(volume_ml):
        return f"{shown} in {plain_number(volume_ml)} mL".strip()
    if basis:
        return f"{shown} {'at' if '°C' in basis else 'as'} {basis}".strip()
    return shown


def demands(rows: pd.DataFrame) -> list[Demand]:
    """Return what each of *rows* (columns of ``Limits`` and the table's name) asks for, in their order."""
    cells = [{str(name): cell for name, cell in row.items()} for row in rows.to_dict("records")]
    return [_demand(row, asks) for row in cells for asks in _ASKED[row[str(Limits.rule)]]]


def _demand(row: Mapping[str, Any], asks: Asks) -> Demand:
    text = {name: row[name] if isinstance(row[name], str) else "" for name in ("unit", "basis", "members", "weights")}
    upper, volume = float(row["upper"]), float(row["volume_ml"])
    none = row["rule"] == Rule.ABSENT or (asks == Asks.AT_MOST and upper == 0 and text["unit"] in COUNT_UNITS)
    return Demand(
        parameter=row["parameter"],
        asks=asks,
        value=0.0 if none else float(row["lower"]) if asks == Asks.AT_LEAST else upper,
        unit="1" if asks == Asks.RATIO else text["unit"],
        basis=_one_basis(text["basis"]) if asks != Asks.RATIO else "",
        volume_ml=volume,
        none=none,
        members=() if text["members"] == row["parameter"] else _members(row["rule"], text),
        row=row,
    )


def _one_basis(text: str) -> str:
    """Return the basis that all members of a sum share, blank where they differ."""
    bases = set(split_list(text))
    return bases.pop() if len(bases) == 1 else ""


def _members(rule: str, text: Mapping[str, str]) -> tuple[tuple[str, str, str], ...]:
    codes = split_list(text["members"]) if rule in COMBINED_RULES else []
    weights = [plain_number(float(part)) for part in split_list(text["weights"])] or ["1"] * len(codes)
    bases = split_list(text["basis"]) or [""]
    bases = bases * len(codes) if len(bases) == 1 else bases
    unit = f" {text['unit']}" if rule == Rule.RATIO_SUM_MAX else ""
    return tuple(sorted((code, w + unit, b) for code, w, b in zip(codes, weights, bases, strict=True)))


def in_force(rows: pd.DataFrame, day: date) -> pd.DataFrame:
    """Return those of the limit *rows* that hold on *day*; the first and the last day count."""
    on = pd.Timestamp(day)
    begun = rows[Limits.valid_from].isna() | (rows[Limits.valid_from] <= on)
    lasting = rows[Limits.valid_to].isna() | (rows[Limits.valid_to] >= on)
    return rows[begun & lasting]


def value_in(demand: Demand, other: Demand) -> tuple[float, float, str]:
    """Return the ends between which the value of *demand* lies in the unit, basis and volume of *other*, and a note.

    Both ends are NaN where it cannot be converted; the note says why.
    """
    same = (demand.unit, demand.basis, demand.members) == (other.unit, other.basis, other.members)
    if same and demand.members and not math.isfinite(demand.volume_ml):
        return demand.value, demand.value, ""
    factor = conversion(demand.parameter, demand.unit, demand.basis, other.unit, other.basis)
    scale = 1.0
    if demand.unit in COUNT_UNITS and other.unit in COUNT_UNITS:
        scale = other.volume_ml / demand.volume_ml
    low, high = tidy([demand.value * factor.low * scale, demand.value * factor.high * scale])
    return float(low), float(high), factor.note


def relation(one: Demand, other: Demand) -> tuple[Relation, str]:
    """Return how *one* stands to *other* and, where that cannot be told, why; nothing is guessed."""
    if one.asks == other.asks == Asks.PLAN and _same_plan(one, other):
        return Relation.EQUAL, ""
    doubt = _doubt(one, other)
    if doubt:
        return Relation.UNKNOWN, doubt
    if one.none or other.none:
        return _none_relation(one, other)
    low, high, note = value_in(other, one)
    if math.isnan(low) or math.isnan(high):
        return Relation.UNKNOWN, note or "one of them has no number"
    mine = float(tidy([one.value])[0])
    if low == high == mine:
        return Relation.EQUAL, ""
    below, above = mine < low, mine > high
    if mine in (low, high) or not (below or above):
        return Relation.UNKNOWN, note
    return (Relation.STRICTER if below == (one.asks != Asks.AT_LEAST) else Relation.LAXER), ""


def _same_plan(one: Demand, other: Demand) -> bool:
    """Tell whether two demands name the same plan on the same count and volume."""
    named = [(str(demand.row[Limits.status]), demand.unit, demand.volume_ml) for demand in (one, other)]
    return named[0] == named[1] and isinstance(one.row[Limits.status], str)


def _doubt(one: Demand, other: Demand) -> str:
    """Say what keeps two demands from being ranked, before their numbers are looked at; blank for nothing."""
    if one.asks != other.asks:
        return f"{one.asks} and {other.asks} are different questions"
    if one.asks in {Asks.PLAN, Asks.GUIDANCE}:
        return f"{one.asks}: read both clauses"
    if any(demand.unstated for demand in (one, other)):
        return "the basis is not stated"
    if one.asks == Asks.RATIO and one.members != other.members:
        return "ratios with other members or single values"
    if one.members and other.members and one.members != other.members:
        return "sums of different members"
    return ""


def _none_relation(one: Demand, other: Demand) -> tuple[Relation, str]:
    """Rank demands of which at least one is none in a volume: what is absent in more is absent in less."""
    if not one.none:
        found, why = _none_relation(other, one)
        return _OPPOSITE.get(found, found), why
    if other.none:
        if one.volume_ml == other.volume_ml:
            return Relation.EQUAL, ""
        return (Relation.STRICTER if one.volume_ml > other.volume_ml else Relation.LAXER), ""
    if one.volume_ml >= other.volume_ml:
        return Relation.STRICTER, ""
    return Relation.UNKNOWN, f"{one.words} and {other.words} cannot be ranked"


def strictest_of(found: Iterable[Demand]) -> list[Demand]:
    """Return those of *found* that no other one is known to be stricter than."""
    listed = list(found)
    return [d for d in listed if not any(relation(other, d)[0] == Relation.STRICTER for other in listed)]
