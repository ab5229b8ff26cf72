"""Turns texts such as ``26.4 gal/min`` into numbers in the unit that the plant formulas take, and back for the reader.

The formulas take SI units and those accepted with SI (h, min, L, °C); United States units live at this edge only.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from wqcheck.errors import WqcheckError
from wqcheck.units import fold, tidy

GALLON = 3.785411784e-3  # m³, United States liquid gallon of 231 cubic inches, exact
FOOT = 0.3048  # m, exact
PSI = 0.45359237 * 9.80665 / 0.0254**2 / 1000  # kPa, pound-force per square inch by definition
_FAHRENHEIT_ZERO = 32.0
_FAHRENHEIT_STEP = 1.8


class QuantityError(WqcheckError, ValueError):
    """A text is no number with a unit of the kind asked for; the sentence says which units are known."""


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of quantity: its unit inside, its customary United States unit, and what each spelling is worth inside.

    ``worth`` maps a folded spelling (lower case, no superscripts) to a factor; ``us_worth`` is that of the ``us`` unit.
    Degrees Fahrenheit are told by ``us`` being ``°F``.
    """

    si: str
    us: str
    us_worth: float
    worth: dict[str, float]


KINDS = {
    "flow": Kind("m³/h", "gal/min", 60 * GALLON, {
        "m3/h": 1.0, "m3/d": 1 / 24, "l/h": 1e-3, "l/min": 0.06, "l/s": 3.6, "gal/min": 60 * GALLON,
        "gpm": 60 * GALLON, "gal/h": GALLON, "gph": GALLON, "gal/d": GALLON / 24, "gpd": GALLON / 24,
    }),
    "volume": Kind("m³", "gal", GALLON, {"m3": 1.0, "l": 1e-3, "gal": GALLON, "ft3": FOOT**3}),
    "area": Kind("m²", "ft²", FOOT**2, {"m2": 1.0, "ft2": FOOT**2}),
    "pressure": Kind("kPa", "psi", PSI, {"kpa": 1.0, "pa": 1e-3, "mpa": 1000.0, "bar": 100.0, "psi": PSI}),
    "temperature": Kind("°C", "°F", math.nan, {"°c": 1.0, "c": 1.0, "°f": math.nan, "f": math.nan}),
    "concentration": Kind("mg/L", "mg/L", 1.0, {"mg/l": 1.0, "ppm": 1.0, "ug/l": 1e-3, "g/l": 1000.0}),
    "conductivity": Kind("µS/cm", "µS/cm", 1.0, {"us/cm": 1.0, "ms/cm": 1000.0, "ms/m": 10.0, "s/m": 1e4}),
    "duration": Kind("min", "min", 1.0, {"s": 1 / 60, "min": 1.0, "h": 60.0, "d": 1440.0}),
    "dose": Kind("mJ/cm²", "mJ/cm²", 1.0, {"mj/cm2": 1.0, "j/m2": 0.1, "mw s/cm2": 1.0, "uw s/cm2": 1e-3}),
    "speed": Kind("m/h", "gal/min/ft²", 60 * GALLON / FOOT**2, {"m/h": 1.0, "gpm/ft2": 60 * GALLON / FOOT**2}),
    "fraction": Kind("1", "1", 1.0, {"%": 0.01, "1": 1.0, "": 1.0}),
    "change": Kind("1", "1", 1.0, {"%": 0.01, "1": 1.0, "": 1.0}),
    "number": Kind("1", "1", 1.0, {"": 1.0}),
}  # fmt: skip
"""The kinds of quantity that a file of plant readings may hold; ``ppm`` is taken as mg/L, as dilute waters allow."""

_TEXT = re.compile(r"\s*(?P<number>[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(?P<unit>.*?)\s*")


def read_quantity(text: object, kind: str) -> float:
    """Return a text as a number in the unit that the formulas take for its kind.

    Parameters
    ----------
    text : object
        A number and a unit (``"26.4 gal/min"``, ``"75 %"``); a bare number only for kinds without a unit.
    kind : str
        A key of :data:`KINDS`.

    Returns
    -------
    float
        In ``KINDS[kind].si``, to 12 significant digits.

    Raises
    ------
    QuantityError
        The text is no number with a known unit.
    """
    known = KINDS[kind]
    match = _TEXT.fullmatch(str(text)) if isinstance(text, str | int | float) and not isinstance(text, bool) else None
    unit = fold(match["unit"]) if match else ""
    if match is None or unit not in known.worth:
        units = ", ".join(spelling for spelling in known.worth if spelling) or "none"
        raise QuantityError(f"{text!r} is no {kind}; write a number and its unit in quotes (units: {units})")
    value, worth = float(match["number"]), known.worth[unit]
    return float(tidy((value - _FAHRENHEIT_ZERO) / _FAHRENHEIT_STEP if math.isnan(worth) else value * worth))


def to_us(value: float, kind: str) -> float:
    """Return *value* (in the formulas' unit of *kind*) in the customary United States unit, to 12 digits."""
    known = KINDS[kind]
    fahrenheit = math.isnan(known.us_worth)
    return float(tidy(value * _FAHRENHEIT_STEP + _FAHRENHEIT_ZERO if fahrenheit else value / known.us_worth))


def in_both_systems(value: float, kind: str) -> str:
    """Return a number in the formulas' unit as text in SI, and in brackets in United States units where they differ."""
    metric, customary = (show_quantity(value, kind, us_units=us) for us in (False, True))
    return metric if metric == customary else f"{metric} ({customary})"


def show_quantity(value: float, kind: str, *, us_units: bool = False) -> str:
    """Return a number in the formulas' unit as a text with its unit, four significant digits, SI or United States."""
    shown = to_us(value, kind) if us_units else value
    unit = KINDS[kind].us if us_units else KINDS[kind].si
    if math.isnan(shown):
        return "not known"
    text = f"{shown:.4g}" if abs(shown) < 1e4 else f"{shown:,.0f}"
    return text if unit == "1" else f"{text} {unit}"
