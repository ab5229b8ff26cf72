"""Turns texts such as ``26.4 gal/min`` into numbers in the unit that the plant formulas take, and back for the reader.

The formulas take SI units and those accepted with SI (h, min, L, °C); United States units live at this edge only.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from wqcheck.errors import WqcheckError
from wqcheck.units import conversion, fold, tidy

_FAHRENHEIT_ZERO = 32.0
_FAHRENHEIT_STEP = 1.8


class QuantityError(WqcheckError, ValueError):
    """A text is no number with a unit of the kind asked for; the sentence says which units are known."""


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of quantity: its unit inside, its customary United States unit, and how texts may spell units.

    ``spellings`` maps a folded spelling to the label that :func:`wqcheck.units.conversion` takes.
    """

    si: str
    us: str
    spellings: dict[str, str]


KINDS = {
    "flow": Kind("m³/h", "gal/min", {
        "m3/h": "m³/h", "l/h": "L/h", "l/min": "L/min", "l/s": "L/s", "m3/d": "m³/day",
        "gal/min": "gal/min", "gpm": "gal/min", "gal/h": "gal/h", "gph": "gal/h", "gal/d": "gal/day", "gpd": "gal/day",
    }),
    "volume": Kind("m³", "gal", {
        "m3": "m³", "l": "L", "gal": "gal", "ft3": "foot**3",
    }),
    "area": Kind("m²", "ft²", {"m2": "m²", "ft2": "foot**2"}),
    "pressure": Kind("kPa", "psi", {"kpa": "kPa", "pa": "Pa", "mpa": "MPa", "bar": "bar", "psi": "psi"}),
    "temperature": Kind("°C", "°F", {"°c": "°C", "c": "°C", "°f": "°F", "f": "°F"}),
    "concentration": Kind("mg/L", "mg/L", {"mg/l": "mg/L", "ppm": "mg/L", "ug/l": "µg/L", "g/l": "g/L"}),
    "conductivity": Kind("µS/cm", "µS/cm", {"us/cm": "µS/cm", "ms/cm": "mS/cm", "ms/m": "mS/m"}),
    "duration": Kind("min", "min", {"s": "s", "min": "min", "h": "h", "d": "day"}),
    "dose": Kind("mJ/cm²", "mJ/cm²", {
        "mj/cm2": "mJ/cm²", "j/m2": "J/m²", "mw s/cm2": "mW*s/cm²", "uw s/cm2": "µW*s/cm²",
    }),
    "fraction": Kind("1", "1", {"%": "percent", "1": "1", "": "1"}),
    "number": Kind("1", "1", {"": "1"}),
    "speed": Kind("m/h", "gal/min/ft²", {"m/h": "m/h", "gal/min/ft2": "gal/min/foot**2", "gpm/ft2": "gal/min/foot**2"}),
}  # fmt: skip
"""The kinds of quantity that a file of plant readings may hold."""

_LABELS = {"ft²": "foot**2", "gal/min/ft²": "gal/min/foot**2", "ft": "foot"}
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
    folded = fold(match["unit"]) if match else ""
    label = known.spellings.get(folded)
    if match is None or label is None:
        units = ", ".join(unit for unit in known.spellings if unit) or "none"
        raise QuantityError(f"{text!r} is no {kind}; write a number and its unit in quotes (units: {units})")
    return float(tidy(to_si(float(match["number"]), label, kind)))


def to_si(value: float, label: str, kind: str) -> float:
    """Return *value* in unit *label* in the unit that the formulas take."""
    return _converted(value, _LABELS.get(label, label), KINDS[kind].si)


def to_us(value: float, kind: str) -> float:
    """Return *value* (in the formulas' unit of *kind*) in the customary United States unit, to 12 digits."""
    return float(tidy(_converted(value, KINDS[kind].si, _LABELS.get(KINDS[kind].us, KINDS[kind].us))))


def _converted(value: float, label: str, to_label: str) -> float:
    if label == to_label:
        return value
    if "°F" in (label, to_label):
        if label == "°F":
            return (value - _FAHRENHEIT_ZERO) / _FAHRENHEIT_STEP
        return value * _FAHRENHEIT_STEP + _FAHRENHEIT_ZERO
    factor = conversion("", label, "", to_label, "").low
    if math.isnan(factor):
        raise QuantityError(f"{label} cannot be turned into {to_label}")
    return value * factor


def show_quantity(value: float, kind: str, *, us_units: bool = False) -> str:
    """Return a number in the formulas' unit as a text with its unit, four significant digits, SI or United States."""
    shown = to_us(value, kind) if us_units else value
    unit = KINDS[kind].us if us_units else KINDS[kind].si
    text = "not known" if math.isnan(shown) else f"{shown:.4g}" if abs(shown) < 1e4 else f"{shown:,.0f}"
    return text if unit == "1" else f"{text} {unit}"
