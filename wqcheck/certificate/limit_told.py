"""Turns the limit of a judged row into words: in the unit of its result first, and as its text writes it behind."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from wqcheck.certificate.figures import number_text, unit_text
from wqcheck.limit_tables.marks import mark_words
from wqcheck.tables import Judged, Rule
from wqcheck.units import COUNT_UNITS, conversion, tidy


def limit_told(row: Mapping[Any, Any]) -> str:
    """Return a limit with its class and the issuer's marks: ``at most 10 µg/L (0.01 mg/L in the text; health)``.

    *row* is a row of ``DataFrame[Judged]``.
    """
    lower, upper, unit, basis = (row[name] for name in (
        Judged.lower, Judged.upper, Judged.limit_unit, Judged.limit_basis))  # fmt: skip
    words = [_ends(row[Judged.rule], lower, upper), _unit(unit, basis)]
    in_text = ""
    if own := in_reported_unit(row):
        in_text = f"{' '.join(words).removeprefix('at most ')} in the text"
        words = [_ends(row[Judged.rule], *own[:2]), _unit(own[2], basis)]
    if row[Judged.rule] == Rule.ABSENT:
        words = [_none_found(_text(unit))]
    notes = (in_text, _text(row[Judged.limit_class]), mark_words(_text(row[Judged.status]), _text(row[Judged.source])))
    return f"{' '.join(words).strip()} ({'; '.join(filter(None, notes))})"


def in_reported_unit(row: Mapping[Any, Any]) -> tuple[float, float, str] | None:
    """Return the bounds of a judged row's limit in the unit of its result, and that unit.

    None where the units are the same, where they do not convert by one factor, and where the basis or a volume differs:
    a limit is never rewritten with a rounded molar mass.
    """
    unit, to_unit = ("" if pd.isna(row[name]) else str(row[name]) for name in (Judged.unit, Judged.limit_unit))
    basis, to_basis = ("" if pd.isna(row[name]) else str(row[name]) for name in (Judged.basis, Judged.limit_basis))
    code = row[Judged.parameter]
    counted = {unit, to_unit.partition("/")[0]} & COUNT_UNITS
    if unit in ("", to_unit) or not to_unit or basis != to_basis or pd.isna(code) or counted:
        return None
    factor = conversion(str(code), unit, basis, to_unit, to_basis)
    if not math.isfinite(factor.low) or factor.low != factor.high or factor.low <= 0:
        return None
    lower, upper = (float(tidy(np.array(float(row[name]) / factor.low))) for name in (Judged.lower, Judged.upper))
    return lower, upper, unit


def _ends(rule: str, lower: float, upper: float) -> str:
    least, most = (number_text(end) if not pd.isna(end) else "not known" for end in (lower, upper))
    words = {
        Rule.MIN: f"at least {least}",
        Rule.RANGE: f"{least} to {most}",
        Rule.SUM_MAX: f"sum at most {most}",
        Rule.RATIO_SUM_MAX: f"sum of ratios at most {most}",
        Rule.PERCENTILE_MAX: f"percentile at most {most}",
        Rule.MEAN_MAX: f"mean at most {most}",
    }
    return words.get(Rule(rule), f"at most {most}" if not pd.isna(upper) else rule.replace("_", " "))


def _unit(unit: object, basis: object) -> str:
    return unit_text(_text(unit), _text(basis))


def _none_found(unit: str) -> str:
    volume = unit.partition("/")[2]
    return f"none found in {volume if volume[:1].isdigit() else f'1 {volume}'}" if volume else "none found"


def _text(cell: object) -> str:
    return "" if cell is None or pd.isna(cell) else str(cell)  # type: ignore[call-overload]
