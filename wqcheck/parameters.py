"""Turns the name of a parameter, as a laboratory writes it, into a code and what is known about that parameter.

The catalogue is two tables that open in a spreadsheet: ``parameters.csv`` (one row per parameter) and ``aliases.csv``
(one row per spelling). A new parameter is a row in the first and its spellings in the second; nothing here changes.
"""

from __future__ import annotations

import csv
import re
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from types import MappingProxyType

from wqcheck.errors import UnknownParameterError

_ORDINALS = str.maketrans("ªºı", "  i")
"""Signs of ordinals are blanks, and a dotless i is an i, for capitals of Turkish do not tell them apart."""
_NOT_ALPHANUMERIC = re.compile(r"[\W_]+")


@dataclass(frozen=True, slots=True)
class Parameter:
    """What is known about one parameter.

    Attributes
    ----------
    code : str
        Stable lower-case name; limit tables, readings and certificates use it.
    name : str
        English name for print.
    symbol : str
        Formula as an element list (``NO3``, ``CHCl3``) where ``molar_mass`` is given; else an abbreviation or blank.
    cas : str
        CAS registry number, blank where none or where the parameter is a group.
    molar_mass : float or None
        In g/mol, from the abridged standard atomic weights (CIAAW).
    charge : int or None
        Charge of the ion in elementary charges, e.g. -2 for sulfate.
    unit : str
        Usual canonical unit, e.g. ``mg/L``.
    basis : str
        What an amount is expressed as when nothing else is said; blank for a substance that is always itself.
    bases : Mapping[str, float]
        Basis → g per mole of the same reacting entity (one mole of charge for the alkalinity forms). An amount on
        basis ``a`` times ``bases[b] / bases[a]`` is the amount on basis ``b``. For conductivity the "bases" are the
        reference temperatures and the numbers are relative conductivities.
    ambiguous : bool
        Whether a result without a stated basis may in practice mean any of several.
    kind : str
        ``chemical``, ``physical``, ``microbiological``, ``radiological`` or ``combination``.
    group : str
        Family for sorting, e.g. ``metal``, ``anion``, ``pesticide``.
    decimals : int
        Decimals to show in ``unit``; never used in a comparison.
    source : str
        Where mass, basis or definition come from.
    """

    code: str
    name: str
    symbol: str
    cas: str
    molar_mass: float | None
    charge: int | None
    unit: str
    basis: str
    bases: Mapping[str, float]
    ambiguous: bool
    kind: str
    group: str
    decimals: int
    source: str


@dataclass(frozen=True, slots=True)
class Alias:
    """What one spelling says: the parameter code, and the basis and fraction if the spelling names them."""

    code: str
    basis: str = ""
    fraction: str = ""


def normalise(text: object) -> str:
    """Reduce a spelling to what counts when spellings are compared.

    Compatibility forms are unfolded (``NO₃⁻`` is ``NO3-``), accents stripped, letters lowered, and every run of other
    characters becomes one space. The ordinal signs ª and º stand for a degree sign in sheets and count as no letter.

    Parameters
    ----------
    text : object
        A cell as it came from the sheet.

    Returns
    -------
    str
        Letters and digits with single spaces between; ``""`` for a blank cell.
    """
    bare = str(text)
    if not bare.isascii():
        unfolded = unicodedata.normalize("NFKD", unicodedata.normalize("NFKC", bare.translate(_ORDINALS)))
        bare = "".join(character for character in unfolded if not unicodedata.combining(character))
    return _NOT_ALPHANUMERIC.sub(" ", bare.lower()).strip()


@cache
def catalogue() -> Mapping[str, Parameter]:
    """All known parameters by code, in the order of ``parameters.csv``."""
    return MappingProxyType({row["code"]: _parameter(row) for row in _rows("parameters.csv")})


def find_parameter(code: str) -> Parameter:
    """Give the parameter with this code.

    Raises
    ------
    UnknownParameterError
        No row of ``parameters.csv`` has the code.
    """
    try:
        return catalogue()[code]
    except KeyError:
        raise UnknownParameterError(code) from None


@cache
def aliases() -> Mapping[str, Alias]:
    """All known spellings, keyed by their normalised form."""
    return MappingProxyType(
        {normalise(row["alias"]): Alias(row["code"], row["basis"], row["fraction"]) for row in _rows("aliases.csv")}
    )


def parameter_for_cas(cas: str) -> str | None:
    """Give the code of the parameter with this CAS number, or None when no row has it."""
    return _codes_by_cas().get(cas.strip())


def codes_matching(text: str) -> frozenset[str]:
    """Return the codes of the parameters of which code, name, a spelling, symbol or CAS number contains *text*."""
    wanted = normalise(text)
    return frozenset(code for code, said in _all_spellings().items() if any(wanted in one for one in said))


@cache
def _all_spellings() -> Mapping[str, frozenset[str]]:
    said = {
        code: {normalise(word) for word in (code, entry.name, entry.symbol, entry.cas)}
        for code, entry in catalogue().items()
    }
    for spelling, alias in aliases().items():
        said.setdefault(alias.code, set()).add(spelling)
    return MappingProxyType({code: frozenset(words - {""}) for code, words in said.items()})


@cache
def _codes_by_cas() -> Mapping[str, str]:
    return MappingProxyType({parameter.cas: code for code, parameter in catalogue().items() if parameter.cas})


def _rows(file: str) -> Iterator[dict[str, str]]:
    text = resources.files("wqcheck").joinpath(file).read_text(encoding="utf-8-sig")
    yield from csv.DictReader(text.splitlines())


def _parameter(row: Mapping[str, str]) -> Parameter:
    pairs = (pair.split("=") for pair in row["bases"].split(";") if pair)
    return Parameter(
        code=row["code"],
        name=row["name"],
        symbol=row["symbol"],
        cas=row["cas"],
        molar_mass=float(row["molar_mass"]) if row["molar_mass"] else None,
        charge=int(row["charge"]) if row["charge"] else None,
        unit=row["unit"],
        basis=row["basis"],
        bases=MappingProxyType({basis: float(mass) for basis, mass in pairs}),
        ambiguous=row["ambiguous"] == "true",
        kind=row["kind"],
        group=row["group"],
        decimals=int(row["decimals"]),
        source=row["source"],
    )
