"""Turns limits, results and removals into the short phrases that stand in the columns of a certificate.

Each phrase can be had in any language of :mod:`wqcheck.languages`; the data of a certificate hold the English ones.
"""

from __future__ import annotations

import math
import re
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

import numpy as np
import pandas as pd

from wqcheck.languages.catalogues import ENGLISH, Catalogue
from wqcheck.tables import Bound, Rule

COMPARED_DIGITS = 6
"""Significant digits of a converted result in print; the data hold it in full."""


def number_text(value: float, digits: int = 12) -> str:
    """Write a number with at most that many significant digits, without exponent where that stays readable."""
    if value == 0 or 1e-9 <= abs(value) < 1e12:
        return np.format_float_positional(value, precision=digits, fractional=False, trim="-").replace("-", "−")
    return f"{value:.{digits}g}".replace("-", "−")


def unit_text(unit: str, basis: str, volume_ml: float | None = None, say: Catalogue = ENGLISH) -> str:
    """Write a unit with what it is expressed as: ``mg/L as NO3``, ``CFU in 250 mL``, ``µS/cm at 25 °C``.

    The basis of a sum is a ``;`` list, one for each member; it is written where all agree.
    """
    bases = set(basis.split(";"))
    basis = bases.pop() if len(bases) == 1 else ""
    shown = "" if unit in ("1", "pH") else unit
    if volume_ml is not None:
        return say("{unit} in {volume} mL", unit=shown, volume=say.figure(number_text(volume_ml))).strip()
    if basis:
        at_temperature = "°C" in basis
        return (
            say("{unit} at {temperature}", unit=shown, temperature=basis)
            if at_temperature
            else say("{unit} as {basis}", unit=shown, basis=basis)
        ).strip()
    return shown


def unit_words(unit: str, say: Catalogue) -> str:
    """Write a unit of :func:`unit_text` in another language."""
    plain, word, basis = unit.partition(" at ") if " at " in unit else unit.partition(" as ")
    return unit_text(plain, basis, say=say) if word else unit


def limit_text(rule: str, lower: float | None, upper: float | None, unit: str, say: Catalogue = ENGLISH) -> str:
    """Write a limit in one short phrase.

    Parameters
    ----------
    rule : str
        One of :class:`wqcheck.tables.Rule`; blank where no limit binds.
    lower, upper : float or None
        The bounds in ``unit``.
    unit : str
        The limit's unit as printed, with its basis; a count carries its volume (``CFU/250 mL``).
    say : Catalogue
        The language.
    """
    low, high = ("?" if end is None else say.figure(number_text(end)) for end in (lower, upper))
    if rule == Rule.ABSENT:
        volume = unit.partition("/")[2]
        return say("absent in {volume}", volume="1 mL" if volume == "mL" else volume) if volume else say("absent")
    phrase = (
        {
            Rule.MAX: f"≤ {high}",
            Rule.MIN: f"≥ {low}",
            Rule.RANGE: f"{low}–{high}",
            Rule.SUM_MAX: say("sum ≤ {limit}", limit=high),
            Rule.RATIO_SUM_MAX: say("sum of ratios ≤ {limit}", limit=high),
            Rule.PERCENTILE_MAX: say("percentile ≤ {limit}", limit=high),
            Rule.MEAN_MAX: say("mean ≤ {limit}", limit=high),
            Rule.ATTRIBUTE_PLAN: say("sampling plan of the clause"),
            Rule.GUIDANCE: say("no number, see the clause"),
        }.get(Rule(rule), "")
        if rule
        else ""
    )
    return f"{phrase} {unit_words(unit, say)}".strip() if any(sign in phrase for sign in "≤≥–") else phrase


def compared_text(low: object, high: object, unit: str) -> str:
    """Write what a result can be in the limit's unit: a value, a span, or an end that is open; blank when unknown."""
    ends = [math.nan if end is None or end is pd.NA else float(str(end)) for end in (low, high)]
    below, above = (math.isfinite(end) for end in ends)
    low_text, high_text = (number_text(end, COMPARED_DIGITS) for end in ends)
    if below and above and ends[0] == ends[1]:
        phrase = low_text
    elif below and above:
        phrase = f"{low_text} to {high_text}"
    elif below and math.isinf(ends[1]):
        phrase = f"{low_text} or more"
    elif above and math.isinf(ends[0]):
        phrase = f"{high_text} or less"
    else:
        return ""
    return f"{phrase} {unit}".strip()


_COMPARED = re.compile(r"(?P<low>[−0-9.e+]+)(?: (?P<word>to|or more|or less)(?: (?P<high>[−0-9.e+]+))?)?")


def compared_words(phrase: str, unit: str, say: Catalogue) -> str:
    """Write a phrase of :func:`compared_text` in another language (the data do not tell unknown from open ends)."""
    match = _COMPARED.match(phrase)
    if match is None:
        return phrase
    low, high = (say.figure(match[name] or "") for name in ("low", "high"))
    texts = {
        "to": say("{low} to {high}", low=low, high=high),
        "or more": say("{low} or more", low=low),
        "or less": say("{low} or less", low=low),
    }
    return f"{texts.get(match['word'], low)} {unit_words(unit, say)}".strip()


def removal_text(percent: float | None, bound: str, say: Catalogue = ENGLISH) -> str:
    """Write a removal with its bound: one decimal, from 99 % on four; rounding never claims more than was shown."""
    if percent is None or bound == Bound.UNKNOWN:
        return say("unknown")
    rounding = ROUND_CEILING if bound == Bound.AT_MOST else ROUND_FLOOR
    step = Decimal("0.0001" if percent >= 99 else "0.1")
    rounded = Decimal(f"{percent:.10f}").quantize(step, rounding)
    sign = {Bound.AT_LEAST: "≥ ", Bound.AT_MOST: "≤ "}.get(Bound(bound), "")
    return f"{sign}{say.figure(number_text(float(rounded)))} %"
