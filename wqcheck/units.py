"""Turns unit texts of laboratory sheets into units, and results from one unit and basis into another.

Sheet text never reaches pint: it is looked up in ``units.csv`` first, as a whole spelling or as an amount
over a volume with an optional basis (``mg/L as N``, ``mg N/L``, ``UFC/100 mL``). ``units.csv`` is open to editing.
"""

from __future__ import annotations

import csv
import math
import re
import unicodedata
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from wqcheck.errors import UnknownParameterError, UnknownUnitError
from wqcheck.parameters import Parameter, catalogue, find_parameter

if TYPE_CHECKING:
    from collections.abc import Mapping

COUNT_UNITS = frozenset({"CFU", "MPN", "count"})
"""Units that count organisms in a volume; they convert one to one, their volumes are compared by the caller."""

ONE_TO_ONE = {
    frozenset({"NTU", "FNU"}): "NTU and FNU compared one to one (common practice, no source)",
    frozenset({"1", "pH"}): "",
    frozenset({"1", "TON"}): "",
    frozenset({"1", "TFN"}): "",
    frozenset({"dilution", "TON"}): "",
    frozenset({"dilution", "TFN"}): "",
}

_PINT_NAMES = {
    **{unit: unit for unit in ("1", "%", "‰", "S/m", "mS/m", "mS/cm", "µS/cm", "mSv", "mrem", "mV", "m", "cm")},
    **{unit: unit for unit in ("psi", "bar", "kPa", "L/s", "L/min", "L/h", "m³/h", "mJ/cm²", "J/m²")},
    **{"m⁻¹": "1/m", "cm⁻¹": "1/cm", "gpm": "gallon/minute"},
}  # fmt: skip
_ML_PER = {"L": 1000.0, "mL": 1.0, "dL": 100.0, "m³": 1e6}
_SMALLER = {"g": "mg", "mg": "µg", "µg": "ng", "ng": "pg"}
_LARGER = {small: large for large, small in _SMALLER.items()}


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit as the rest of the package writes it.

    Attributes
    ----------
    label : str
        Canonical label such as ``mg/L``, ``µg/L``, ``CFU``.
    basis : str
        Formula that the mass is expressed as, ``""`` when the text did not say.
    volume_ml : float or None
        For counts, the volume that the count refers to, in mL.
    """

    label: str
    basis: str = ""
    volume_ml: float | None = None


@dataclass(frozen=True, slots=True)
class Conversion:
    """Factors between which ``value × factor`` lies in the target unit; NaN when it cannot be converted (see note)."""

    low: float
    high: float
    note: str = ""


@dataclass(frozen=True, slots=True)
class _Spellings:
    whole: Mapping[str, Unit]
    amount: Mapping[str, str]
    count: Mapping[str, str]
    volume: Mapping[str, str]
    basis: Mapping[str, str]
    defined: Mapping[str, tuple[float, str, str]]


def fold(text: str) -> str:
    """Return *text* as unit spellings are compared: NFKC, lower case, ``u`` for micro, no accents, single spaces."""
    text = unicodedata.normalize("NFKC", text.replace("\N{MICRO SIGN}", "u").replace("º", "°"))
    text = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    text = text.lower().replace("μ", "u").replace("−", "-").replace("–", "-").replace("⁄", "/").replace("·", ".")
    return " ".join(text.split())


@cache
def _spellings() -> _Spellings:
    tables: dict[str, dict[str, Any]] = {"whole": {}, "amount": {}, "count": {}, "volume": {}, "basis": {}}
    defined = {}
    text = files("wqcheck").joinpath("units.csv").read_text(encoding="utf-8")
    for row in csv.DictReader(text.splitlines()):
        unit, key = row["unit"], fold(row["spelling"])
        tables[row["kind"]][key] = Unit(unit, row["basis"]) if row["kind"] == "whole" else unit
        if row["factor"]:
            defined[unit] = (float(row["factor"]), row["of"], row["basis"])
    return _Spellings(**tables, defined=defined)


_PER_LITRE = re.compile(r"[ .*]?(l|ml|m3|dm3|kg|m|cm)\^?\(?-1\)?")
_COUNT = re.compile(
    r"(?P<what>[^/]*?) ?(?:/|\b(?:per|en|por|je|in|par|pro|w|na|ve)\b) ?\(?(?P<n>\d*)[. ]?(?P<vol>[a-z]+3?\.?)\)?"
)
_COUNT_POWER = re.compile(r"(?P<what>.*?)[ .]?(?P<n>\d*) ?(?P<vol>m?l)-1")
_GLUED = re.compile(
    r"(mg|ug|ng|mcg|g)((?:caco3|hco3|no3|no2|nh4|n|sio2|po4|p|o2|so4|cl2|cl|pt|cn|ca|c|fe|f|mn|na|al|pb)/.*)"
)
_RATIO = re.compile(
    r"(?P<amount>[a-z.]+)(?:[ _]?\(?(?P<inner>[a-z0-9+ -]+?)\)?)? ?(?:/|\bper\b|\bpor\b|\bpar\b) ?(?P<vol>[a-z]+3?)\.?"
    r"(?:[ _,;:-]*\(?(?:as|en|in|como|als|exp\.? as|expressed as|calculated as|come|de|di|of|a|bei|bij|som|jako)?"
    r" ?(?P<outer>[a-z0-9+ .°'^-]+?)\)?)?"
)

_LONGEST = 120
"""Characters of a unit at most: over long texts the patterns above take time that grows with the square."""

_BRACES = str.maketrans("{}", "()")
"""Notes in braces, as the Unified Code for Units of Measure writes them (``mg{NO3}/L``), are read like brackets."""


@cache
def recognise_unit(text: str) -> Unit:
    """Return the unit that a sheet's *text* means.

    Parameters
    ----------
    text : str
        As given in the sheet, brackets and accents included.

    Raises
    ------
    UnknownUnitError
        The text stands in no table and is not an amount over a volume.
    """
    if len(text) > _LONGEST:
        raise UnknownUnitError(text)
    key = fold(text).translate(_BRACES)
    bare = key.strip("()[]{} .,;:")
    worded = bare.partition(" ")[2] if bare.startswith(("as ", "in ", "en ", "em ")) else bare
    for candidate in dict.fromkeys((key, bare, worded, key.replace(" ", ""), key.replace("_", "/"))):
        found = _whole_or_composed(candidate)
        if found is not None:
            return found
    raise UnknownUnitError(text)


def _whole_or_composed(key: str) -> Unit | None:
    spellings = _spellings()
    if key in spellings.whole:
        return spellings.whole[key]
    for separator in (" as ", " at ", " a ", " @ ", "@", " (", " bei ", " bij ", " vid ", " en ", " "):
        head, found, tail = key.partition(separator)
        basis = spellings.basis.get(tail.strip("() "))
        if found and basis and head in spellings.whole:
            return Unit(spellings.whole[head].label, basis)
    return _ratio(_PER_LITRE.sub(r"/\1", key)) or _count(key)


def _ratio(key: str) -> Unit | None:
    spellings = _spellings()
    match = _RATIO.fullmatch(_GLUED.sub(r"\1 \2", key) if _GLUED.fullmatch(key) else key)
    if match is None or match["amount"] not in spellings.amount or match["vol"] not in spellings.volume:
        return None
    amount, volume = spellings.amount[match["amount"]], spellings.volume[match["vol"]]
    given = [text.strip() for text in (match["inner"], match["outer"]) if text]
    bases = {spellings.basis.get(text) for text in given}
    if None in bases and match["inner"] and not match["outer"] and len(match["inner"].strip()) > 1:
        bases = {_own_bases().get(match["inner"].strip())}
    if None in bases or len(bases) > 1:
        return None
    if volume == "m³" and amount in _SMALLER:
        amount, volume = _SMALLER[amount], "L"
    elif volume == "mL" and amount in _LARGER:
        amount, volume = _LARGER[amount], "L"
    return Unit(f"{amount}/{volume}", bases.pop() or "" if bases else "")


@cache
def _own_bases() -> dict[str, str]:
    """Return the formulas on which parameters are reported, by their folded form (``µg(As)/L`` names arsenic)."""
    return {fold(basis): basis for parameter in catalogue().values() for basis in parameter.bases}


def _count(key: str) -> Unit | None:
    spellings = _spellings()
    match = _COUNT.fullmatch(key) or _COUNT_POWER.fullmatch(key)
    if match is None or match["vol"] not in spellings.volume:
        return None
    volume = _ML_PER.get(spellings.volume[match["vol"]])
    what = spellings.count.get(match["what"].strip("() .") or "count") or spellings.count.get(match["what"].strip())
    if volume is None or what is None:
        return None
    return Unit(what, volume_ml=float(match["n"] or 1) * volume)


@cache
def conversion(parameter: str, unit: str | None, basis: str | None, to_unit: str, to_basis: str | None) -> Conversion:
    """Return the factors that take a result of *parameter* from *unit* on *basis* to *to_unit* on *to_basis*.

    When the sheet did not state the basis and the parameter is reported on several, the factors span all of them, so
    that a verdict holds whichever was meant. Factors are dimensionless ratios of the two units. Masses per mole come
    from the catalogue (CIAAW abridged standard atomic weights).

    Parameters
    ----------
    parameter : str
        Catalogue code.
    unit, to_unit : str
        Canonical labels; a blank *unit* is never converted.
    basis, to_basis : str or None
        Formulas, blank when not stated.
    """
    if not unit:
        return Conversion(math.nan, math.nan, "the sheet gives no unit")
    try:
        entry: Parameter | None = find_parameter(parameter)
    except UnknownParameterError:
        entry = None
    units = _unit_factor(unit, to_unit, entry, basis, to_basis)
    if isinstance(units, str):
        return Conversion(math.nan, math.nan, units)
    factor, basis, to_basis, note = units
    ratios = _basis_ratios(entry, basis, to_basis)
    if isinstance(ratios, str):
        return Conversion(math.nan, math.nan, ratios)
    if len(set(ratios)) > 1:
        note = f"the basis is not stated; compared on every usual one ({', '.join(entry.bases) if entry else ''})"
    return Conversion(factor * min(ratios), factor * max(ratios), note)


def _unit_factor(
    unit: str, to_unit: str, entry: Parameter | None, basis: str | None, to_basis: str | None
) -> tuple[float, str, str, str] | str:
    """Return factor, both bases and a note, or the reason why the units cannot be related."""
    own = entry.basis if entry else ""
    from_scale, from_unit, from_basis = _in_mass_terms(unit, basis or "", entry)
    to_scale, target, target_basis = _in_mass_terms(to_unit, to_basis or own, entry)
    if math.isnan(from_scale) or math.isnan(to_scale):
        if unit == to_unit:
            return 1.0, basis or "", to_basis or "", ""
        return f"{unit} cannot be turned into {to_unit} without a molar mass and charge of the substance"
    pair = frozenset({from_unit, target})
    if from_unit == target or pair <= COUNT_UNITS:
        return from_scale / to_scale, from_basis, target_basis, ""
    if pair in ONE_TO_ONE:
        return 1.0, from_basis, target_basis, ONE_TO_ONE[pair]
    scale = _pint_factor(from_unit, target)
    if math.isnan(scale):
        return f"{unit} cannot be turned into {to_unit}"
    return from_scale * scale / to_scale, from_basis, target_basis, ""


def _in_mass_terms(unit: str, basis: str, entry: Parameter | None) -> tuple[float, str, str]:
    """Express amounts of substance, equivalents and hardness degrees as a mass per litre on a basis."""
    if unit == "°F" and entry and entry.group == "hardness and alkalinity":
        unit = "°fH"  # sheets write °f for French degrees
    defined = _spellings().defined.get(unit)
    if defined:
        return defined
    amount, _, volume = unit.partition("/")
    prefix, quantity = re.fullmatch(r"([mµn]?)(mol|eq|.*)", amount).groups()  # type: ignore[union-attr]
    if quantity not in {"mol", "eq"} or not volume:
        return 1.0, unit, basis
    mass = (entry.bases.get(entry.basis) or entry.molar_mass) if entry else None
    charge = abs(entry.charge) if entry and entry.charge else None
    per_mole = mass if quantity == "mol" else (mass / charge if mass and charge else None)
    if quantity == "eq" and entry and entry.code in {"hardness", "alkalinity"}:
        per_mole = mass / 2 if mass and entry.code == "hardness" else mass
    return per_mole or math.nan, f"{prefix}g/{volume}", entry.basis if entry else basis


@cache
def _pint_factor(unit: str, to_unit: str) -> float:
    names = _pint_name(unit), _pint_name(to_unit)
    if "" in names:
        return math.nan
    registry, pint = _registry()
    try:
        return float(registry.Quantity(1, names[0]).to(names[1]).magnitude)
    except (pint.PintError, ValueError, TypeError, AttributeError):
        return math.nan


def _pint_name(unit: str) -> str:
    """Return how pint writes a canonical label, ``""`` for units that it does not know or takes for something else."""
    amount, _, volume = unit.partition("/")
    spellings = _spellings()
    known = amount in spellings.amount.values() and volume in spellings.volume.values() and not amount.endswith("eq")
    return unit if known else _PINT_NAMES.get(unit, "")


@cache
def _registry() -> tuple[Any, Any]:
    import pint

    return pint.UnitRegistry(), pint


def _basis_ratios(entry: Parameter | None, basis: str | None, to_basis: str | None) -> list[float] | str:
    if entry is None or not entry.bases:
        same = not basis or not to_basis or basis == to_basis
        return [1.0] if same else f"a result as {basis} cannot be turned into one as {to_basis}"
    target = entry.bases.get(to_basis or entry.basis)
    known = [entry.bases.get(basis)] if basis else [entry.bases.get(entry.basis)]
    if not basis and entry.ambiguous:
        known = list(entry.bases.values())
    if target is None or None in known:
        return f"a result as {basis or entry.basis} cannot be turned into one as {to_basis or entry.basis}"
    return [target / mass for mass in known if mass]


def tidy(values: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Return *values* (any shape) rounded to 12 significant digits, so that a result at its limit equals it.

    Of the whole numbers 1-9,999 µg/L, 1,338 convert to a mg/L float just above the decimal value; none after this.
    """
    array = np.asarray(values, dtype=np.float64)
    usable = np.isfinite(array) & (np.abs(array) > 1e-290)
    exponent = np.zeros_like(array)
    np.log10(np.abs(array), out=exponent, where=usable)
    scale = np.power(10.0, 11 - np.floor(exponent), out=np.ones_like(array), where=usable)
    return np.where(usable, np.rint(array * scale) / scale, array)
