"""Turns a parameter into the units that laboratories usually report it in, likeliest first."""

from __future__ import annotations

from wqcheck.parameters import catalogue

_COUNTS = ("CFU/100 mL", "MPN/100 mL", "CFU/250 mL", "CFU/mL")
_ALTERNATIVES = {
    "mg/L": ("mg/L", "µg/L", "g/L"),
    "µg/L": ("µg/L", "mg/L", "ng/L"),
    "ng/L": ("ng/L", "µg/L"),
    "µS/cm": ("µS/cm", "mS/cm", "mS/m"),
    "NTU": ("NTU", "FNU"),
    "Bq/L": ("Bq/L", "mBq/L", "pCi/L"),
    "m⁻¹": ("m⁻¹", "cm⁻¹"),
    "°C": ("°C", "°F"),
}
"""Units in use for what the catalogue gives in the unit on the left (common practice, no source)."""

_HARDNESS = ("mg/L as CaCO3", "°fH", "°dH", "mmol/L")


def unit_options(code: str) -> tuple[str, ...]:
    """Return the units that results of the parameter *code* usually have; none where it has no unit."""
    parameter = catalogue()[code]
    if parameter.kind == "microbiological" and parameter.unit in {"CFU", "count"}:
        return _COUNTS
    if parameter.group == "hardness and alkalinity" and "CaCO3" in parameter.bases:
        return _HARDNESS
    return _ALTERNATIVES.get(parameter.unit, (parameter.unit,) if parameter.unit else ())
