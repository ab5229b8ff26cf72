"""Turns the limits on a parameter into the unit in which a laboratory is asked for it, and their strictest in words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from wqcheck.judging.binding import SINGLE_PESTICIDE
from wqcheck.judging.ranges import Floats
from wqcheck.limit_tables.checks import COMBINED_RULES, split_list
from wqcheck.numerals import format_number
from wqcheck.parameters import find_parameter
from wqcheck.tables import Judged, Limits, Rule
from wqcheck.units import COUNT_UNITS, Unit, conversion, tidy

_SMALLER = {"mg/L": ("µg/L", 0.1), "µg/L": ("ng/L", 0.005)}
"""Unit → the next smaller one, and the limit below which it is the usual one (common practice, no source)."""

_MASS_UNITS = ("mg/L", "µg/L", "ng/L")


@dataclass(frozen=True, slots=True, kw_only=True)
class FormLimit:
    """One limit on one parameter.

    ``lower`` and ``upper`` are in ``unit`` on ``basis``, per ``volume_ml`` (mL) for organisms; NaN where there is none.
    A member of a sum has the sum's upper limit, and the sum's name in ``part_of``.
    """

    rule: str
    unit: str
    basis: str
    volume_ml: float
    lower: float
    upper: float
    part_of: str = ""


def members_of_sums(rows: pd.DataFrame) -> dict[str, list[str]]:
    """Return combined parameter → the codes to measure for it; of several ways in one table the one with fewest."""
    members: dict[str, list[str]] = {}
    for row in _ways(rows):
        members.setdefault(str(row["parameter"]), []).extend(split_list(str(row["members"])))
    return {code: list(dict.fromkeys(found)) for code, found in members.items()}


def limits_by_code(rows: pd.DataFrame) -> dict[str, list[FormLimit]]:
    """Return parameter → its limits of all tables, in their order.

    Parameters
    ----------
    rows : DataFrame
        Columns of :class:`wqcheck.tables.Limits` and the table's name. A sum is asked for by its members, and the row
        for any single pesticide by no parameter.
    """
    found: dict[str, list[FormLimit]] = {}
    combined = {*members_of_sums(rows), SINGLE_PESTICIDE}
    for row in _records(rows[~rows[Limits.rule].isin(COMBINED_RULES) & ~rows[Limits.parameter].isin(combined)]):
        found.setdefault(str(row["parameter"]), []).append(_limit(row, _text(row["basis"])))
    for row in _ways(rows):
        members, bases = split_list(str(row["members"])), split_list(_text(row["basis"])) or [""]
        name = find_parameter(str(row["parameter"])).name
        for member, basis in zip(members, bases * len(members) if len(bases) == 1 else bases, strict=True):
            found.setdefault(member, []).append(_limit(row, basis, name))
    return found


def _ways(rows: pd.DataFrame) -> list[dict[str, Any]]:
    """Return the combined rows, for each sum of each table only the one with the fewest members."""
    fewest: dict[tuple[str, str], dict[str, Any]] = {}
    for row in _records(rows[rows[Limits.rule].isin(COMBINED_RULES)]):
        key = (str(row[Judged.table]), str(row["parameter"]))
        if key not in fewest or row["members"].count(";") < fewest[key]["members"].count(";"):
            fewest[key] = row
    return list(fewest.values())


def _records(rows: pd.DataFrame) -> Iterator[dict[str, Any]]:
    return ({str(name): cell for name, cell in row.items()} for row in rows.to_dict("records"))


def _text(cell: object) -> str:
    return cell if isinstance(cell, str) else ""


def _limit(row: Mapping[str, Any], basis: str, part_of: str = "") -> FormLimit:
    ratio = row["rule"] == Rule.RATIO_SUM_MAX
    return FormLimit(
        rule=str(row["rule"]), unit=_text(row["unit"]), basis=basis, volume_ml=float(row["volume_ml"]),
        lower=float(row["lower"]), upper=np.nan if ratio else float(row["upper"]), part_of=part_of,
    )  # fmt: skip


def form_unit(code: str, limits: Sequence[FormLimit], usual_ml: float) -> Unit:
    """Return the unit in which to ask for a parameter.

    Organisms are asked for in the largest volume in which there may be none (else *usual_ml*, mL), all else in the unit
    of the first limit, or in a smaller one where the limit is a small number. The basis is given wherever a result
    without it could mean something else.
    """
    entry = find_parameter(code)
    if entry.unit in COUNT_UNITS:
        return _counted(entry.unit, limits, usual_ml)
    own = [limit for limit in limits if not limit.part_of] or list(limits)
    label, basis = (own[0].unit, own[0].basis or entry.basis) if own else (entry.unit, entry.basis)
    unit = Unit(label, basis)
    while unit.label in _SMALLER:
        smaller, below = _SMALLER[unit.label]
        uppers = _scaled(code, own, unit)[1]
        if not (uppers < below).any():
            break
        unit = Unit(smaller, basis)
    plain = basis == entry.basis == entry.symbol and not entry.ambiguous
    return Unit(unit.label, "" if plain else basis)


def _counted(usual: str, limits: Sequence[FormLimit], usual_ml: float) -> Unit:
    labels = [limit.unit for limit in limits if limit.unit in COUNT_UNITS - {"count"}]
    free = [limit.volume_ml for limit in limits if limit.rule == Rule.ABSENT]
    given = [limit.volume_ml for limit in limits if np.isfinite(limit.volume_ml)]
    return Unit((*labels, usual)[0], "", max(free, default=(*given, usual_ml)[0]))


def _scaled(code: str, limits: Sequence[FormLimit], unit: Unit) -> tuple[Floats, Floats]:
    """Return the lower and the upper limits in *unit* (shape (limits,)), NaN where there is none or no conversion."""
    own = find_parameter(code).basis
    factors = [conversion(code, item.unit, item.basis or own, unit.label, unit.basis or own).high for item in limits]
    volumes = np.array([(unit.volume_ml or np.nan) / item.volume_ml for item in limits], dtype=np.float64)
    scale = np.array(factors, dtype=np.float64) * np.nan_to_num(volumes, nan=1.0)
    ends = (np.array([getattr(item, end) for item in limits], dtype=np.float64) for end in ("lower", "upper"))
    lower, upper = (tidy(scale * end) for end in ends)
    return lower, upper


def strictest_limit(code: str, limits: Sequence[FormLimit], unit: Unit) -> str:
    """Return in a few words what the limits on a parameter together ask of a result in *unit*; blank when nothing."""
    own = [limit for limit in limits if not limit.part_of]
    if any(limit.rule == Rule.ABSENT for limit in own):
        return f"none in {format_number(unit.volume_ml or np.nan)} mL"
    lower, upper = _scaled(code, own, unit)
    low, high = _end(code, own, lower, unit, "lower"), _end(code, own, upper, unit, "upper")
    both = f"{low} to {high}" if low and high else f"at least {low}" if low else f"at most {high}" if high else ""
    strange = [
        f"{format_number(item.upper)} {item.unit}"
        for item, known in zip(own, np.isfinite(lower) | np.isfinite(upper), strict=True)
        if not known and np.isfinite(item.upper)
    ]
    sums = dict.fromkeys(limit.part_of for limit in limits) if not own else {}
    return "; ".join([*([both] if both else []), *strange, *(f"part of {name}" for name in sums)])


def _end(code: str, limits: Sequence[FormLimit], scaled: Floats, unit: Unit, end: str) -> str:
    """Return the strictest of the *scaled* limits (shape (limits,)), as its table writes it where units differ."""
    known = np.flatnonzero(np.isfinite(scaled))
    if not len(known):
        return ""
    best = int(known[np.argmax(scaled[known]) if end == "lower" else np.argmin(scaled[known])])
    item, usual = limits[best], find_parameter(code).basis
    alike = item.unit == unit.label or {item.unit, unit.label} <= set(_MASS_UNITS)
    if alike and (item.basis or usual) == (unit.basis or usual):
        return format_number(float(scaled[best]))
    return f"{format_number(getattr(item, end))} {unit_text(Unit(item.unit, item.basis))}"


def unit_text(unit: Unit) -> str:
    """Return *unit* as a laboratory writes it, with its volume or with what the amount is expressed as."""
    if unit.volume_ml is not None:
        return f"{unit.label}/{'' if unit.volume_ml == 1 else format_number(unit.volume_ml) + ' '}mL"
    if not unit.basis:
        return unit.label
    return f"{unit.label} {'at' if '°' in unit.basis else 'as'} {unit.basis}"


def other_units(code: str, unit: Unit) -> tuple[str, ...]:
    """Return the units that a laboratory may choose for a parameter, the given one first."""
    if unit.volume_ml is not None:
        labels = [unit.label, *sorted(COUNT_UNITS - {unit.label})]
        return tuple(unit_text(Unit(label, "", unit.volume_ml)) for label in labels)
    labels = [unit.label, *(label for label in _MASS_UNITS if label != unit.label)]
    bases = [unit.basis, *(basis for basis in find_parameter(code).bases if unit.basis not in {"", basis})]
    return tuple(
        unit_text(Unit(label, basis)) for basis in bases for label in labels[: None if unit.label in _MASS_UNITS else 1]
    )
