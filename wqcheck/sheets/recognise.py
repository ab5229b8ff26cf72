"""Turns the name of an analyte as a laboratory writes it into parameter, basis, fraction, unit and volume.

A name is looked up whole, then without its brackets, trailing unit, limit or filler words (``Lead (Pb), dissolved``,
``tds_mg_l``, ``Nitrate (as N) mg/L``, ``Ferro - VMP: 0,3 mg/L``). A near miss is never taken.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache

from wqcheck.errors import UnknownUnitError
from wqcheck.parameters import Alias, aliases, catalogue, normalise, parameter_for_cas
from wqcheck.units import Unit, recognise_unit

_BRACKETED = re.compile(r"[(\[{]([^()\[\]{}]*)[)\]}]")
_CAS = re.compile(r"(?<![\d-])\d{2,7}-\d{2}-\d(?![\d-])")
_VOLUME = re.compile(r"(?:/|\b(?:in|per|em|en|dans|por|pro|je|su|w|ve|i)\b)\s*(\d+)\s*(ml|l)\b", re.I)
_BASIS_WORDS = re.compile(
    r"(?:as|como|como o|en|als|come|in|som|jako|exprime en|expressed as|expr as|calc as|(?:uitgedrukt|berechnet) als)"
    r"\s+",
    re.I,
)
_ACRONYMS = frozenset(
    ["pH", "EC", "TDS", "DO", "BOD", "BOD5", "COD", "TSS", "TOC", "DOC", "ORP", "CE", "DBO", "DBO5", "DQO"]
)
"""What stands in brackets behind a name in other words (``Potential of Hydrogen (pH)``) and says enough by itself."""
_TOTAL_AS = re.compile(r"total as\s+", re.I)
_LIMIT = re.compile(r"\s*[-–,;:(]?\s*\b(?:VMP|LMP|MCL|MAC|CMA|max\.?|limit\w*|norm\w*|std|standard)\b\W*\d.*", re.I)
_FILLERS = frozenset([
    "amount", "value", "values", "conc", "concentration", "concentracao", "concentracion", "result", "results", "level",
    "levels", "situ", "content", "reading", "lab", "field", "insitu", "measured", "analysis", "of", "the", "in",
    "water",
    "count", "mesure", "valeur", "teor", "de", "do", "da", "du", "des", "total", "totals", "final", "raw", "average",
    "parameter", "test", "titration", "e",
    "mean", "avg", "and", "its", "compounds",
    "no", "gehalte", "concentratie", "waarde", "aantal", "van", "het", "konzentration", "gehalt", "concentrazione",
    "contenuto", "contenido", "teneur", "teneurs", "stezenie", "zawartosc", "halt", "koncentrace", "obsah", "liczba",
])  # fmt: skip
_FRACTIONS = {
    word: fraction
    for fraction, words in (
        (
            "dissolved",
            "dissolved filtered diss dissous soluble dissolvido dissolvida disuelto gelost sol opgelost"
            " opgeloste gefiltreerd gefiltert filtre filtree filtrees filtrado filtrada filtrato filtrata disciolto"
            " disciolta disuelta disueltos rozpuszczony rozpuszczona rozpusteny filtrerad",
        ),
        (
            "total",
            "total totale totais totaux tot unfiltered gesamt totales recoverable totaal totale totali totais"
            " celkovy celkove ogolny ogolna totalt brut brute ongefiltreerd",
        ),
    )
    for word in words.split()
}


@dataclass(frozen=True, slots=True)
class Analyte:
    """What the name of an analyte says; ``unit`` is None when it names none."""

    code: str
    basis: str = ""
    fraction: str = ""
    unit: Unit | None = None
    unit_text: str = ""
    volume_ml: float | None = None


@cache
def recognise_analyte(text: str) -> Analyte | None:
    """Return what *text* says, or None when it is no known name of a parameter."""
    whole = aliases().get(normalise(text))
    if whole is not None:
        return _with_volume(_with_own_unit(_from_alias(whole), text), text)
    if len(text) > 160 or not any(map(str.isalpha, text)):
        return _by_cas(text)
    found = (
        _by_brackets(text) or _by_trailing_unit(text) or _by_fillers(normalise(_LIMIT.sub("", text))) or _by_cas(text)
        or _by_formula(text) or _by_both_names(text)
    )  # fmt: skip
    return _with_volume(_with_unit(found, _units_of_limit(text)), text) if found else None


def _units_of_limit(text: str) -> list[tuple[str, Unit]]:
    """Return the unit of a limit that stands in the name (``Ferro - VMP: 0,3 mg/L``); it is that of the result too."""
    match = _LIMIT.search(text)
    given = match[0].lstrip(" -–,;:()").partition(" ")[2].lstrip("0123456789.,-–<>≤= ").strip(" )") if match else ""
    unit = unit_or_none(given) if given else None
    return [(given, unit)] if unit else []


def _with_own_unit(analyte: Analyte, text: str) -> Analyte:
    """Add the unit where a name that is known whole (``Turbidity (NTU)``) ends in one; ``180 °C`` is a condition."""
    found = _by_brackets(text) or _by_trailing_unit(text)
    if found is None or found.unit is None:
        return analyte
    if found.code != analyte.code:  # ``TH (°f)`` is hardness, and ``TH`` alone thorium
        return _with_unit(analyte, [(found.unit_text, found.unit)]) if found.unit.label == "°F" else analyte
    if found.unit.label == "°C" and catalogue()[analyte.code].unit != "°C":
        return analyte
    return replace(analyte, unit=found.unit, unit_text=found.unit_text, basis=analyte.basis or found.basis)


def _by_formula(text: str) -> Analyte | None:
    """Read a formula written with blanks (``SO 4``, ``NO 3 -``, ``d 18O``); ``No 3`` is a number, not nitrate."""
    compact = "".join(text.split())
    if len(compact) > 8 or not any(map(str.isdigit, compact)) or text.startswith(("No", "no")):
        return None
    alias = aliases().get(normalise(compact))
    return _from_alias(alias) if alias and len(normalise(compact)) > 2 else None


def _from_alias(alias: Alias) -> Analyte:
    return Analyte(alias.code, alias.basis, alias.fraction)


def _with_volume(analyte: Analyte, text: str) -> Analyte:
    match = _VOLUME.search(text)
    if match is None or analyte.volume_ml is not None:
        return analyte
    return replace(analyte, volume_ml=float(match[1]) * (1000.0 if match[2].lower() == "l" else 1.0))


def _by_cas(text: str) -> Analyte | None:
    match = _CAS.search(text)
    code = parameter_for_cas(match[0]) if match else None
    return Analyte(code) if code else None


def _by_both_names(text: str) -> Analyte | None:
    """Read a name with its own symbol behind it (``Järn Fe``)."""
    name, _, symbol = text.strip().rpartition(" ")
    known = aliases()
    first, second = known.get(normalise(name)), known.get(normalise(symbol))
    return _from_alias(first) if first is not None and second is not None and first.code == second.code else None


def _by_brackets(text: str) -> Analyte | None:
    """Take unit, basis, fraction or a second name out of brackets and look up what is left."""
    inside = [part.strip() for part in _BRACKETED.findall(text)]
    if not inside:
        return None
    bare = " ".join(_LIMIT.sub("", _BRACKETED.sub(" ", text)).split())
    units = [(part, unit) for part in inside if (unit := unit_or_none(part))]
    words = [_BASIS_WORDS.sub("", _TOTAL_AS.sub("as ", part)) for part in inside]
    for word in words:
        named = aliases().get(normalise(f"{bare} as {word}"))
        if named is not None:
            return _with_unit(_from_alias(named), units)
    base = recognise_analyte(bare) if bare else None
    if base is None:
        named = next((hit for part in inside if (hit := aliases().get(normalise(part)))), None)
        alone = not normalise(bare) or any(part in _ACRONYMS for part in inside)
        return _with_unit(_from_alias(named), units) if named and alone else None
    fraction = next((_FRACTIONS[key] for part in inside if (key := normalise(part)) in _FRACTIONS), base.fraction)
    stated = {normalise(word) for word, part in zip(words, inside, strict=True) if word != part}
    basis = next((basis for basis in catalogue()[base.code].bases if normalise(basis) in stated), base.basis)
    return _with_unit(replace(base, fraction=fraction, basis=basis), units)


def _with_unit(analyte: Analyte, units: list[tuple[str, Unit]]) -> Analyte:
    if analyte.unit is not None or not units:
        return analyte
    text, unit = units[0]
    return replace(
        analyte,
        unit=unit,
        unit_text=text,
        basis=analyte.basis or unit.basis,
        volume_ml=analyte.volume_ml or unit.volume_ml,
    )


def unit_or_none(text: str) -> Unit | None:
    """Return the unit that *text* means, or None; an element symbol (``Cu``, ``C``) is no unit here."""
    plain = normalise(text)
    symbol = len(plain) <= 2 and plain in aliases() and text.strip("()[] ").isalnum()
    if not text.strip() or symbol or len(text) > 40:
        return None
    try:
        return recognise_unit(text)
    except UnknownUnitError:
        return None


def _by_trailing_unit(text: str) -> Analyte | None:
    """Read ``tds_mg_l``, ``Nitrate as N mg/L``, ``Lead, ug/L``: the longest tail that is a unit, before it a name."""
    for name, given, unit in _tails(_LIMIT.sub("", text)):
        head = _by_fillers(normalise(name))
        if head is not None:
            return _with_unit(head, [(given, unit)])
    return None


def trailing_unit(text: str) -> tuple[Unit | None, str]:
    """Return the concentration or count per volume that *text* ends in (``DUR_mg/L``), and how it is written there."""
    for _, given, unit in _tails(text):
        if "/" in unit.label or unit.volume_ml:
            return unit, given
    return None, ""


def _tails(text: str) -> Iterator[tuple[str, str, Unit]]:
    """Yield what stands before each end of *text* that is a unit, that end and the unit; the longest end first."""
    parts = [part for part in re.split(r"[\s_,;:|]+|\.(?!\d)|(?<=\w)-(?=[a-zA-Zµμ]+/)", text) if part]
    for cut in range(1, len(parts)):
        tail = parts[cut:]
        for joined in (" ".join(tail), "/".join(tail)):
            unit = unit_or_none(joined)
            if unit is not None and joined.strip() not in {"-", "--"}:
                yield " ".join(parts[:cut]), joined, unit


def _by_fillers(name: str) -> Analyte | None:
    """Look *name* up without words that say nothing (``amount``) or say the fraction (``dissolved``)."""
    known = aliases()
    if name in known:
        return _from_alias(known[name])
    words = name.split()
    if len(words) < 2:
        return None
    fractions = {_FRACTIONS[word] for word in words if word in _FRACTIONS}
    fraction = fractions.pop() if len(fractions) == 1 else ""
    without = [word for word in words if word not in _FRACTIONS]
    for kept in (
        without,
        [word for word in without if word not in _FILLERS],
        [w for w in words if w not in _FILLERS - set(_FRACTIONS)],
    ):
        hit = known.get(" ".join(kept))
        if hit is not None:
            return Analyte(hit.code, hit.basis, hit.fraction or fraction)
    return None


_WORD = re.compile(r"[^\s,;:/()\[\]*]+")
_LONGEST_NAME = 4


@cache
def analyte_inside(text: str) -> Analyte | None:
    """Return the first analyte among up to four words in a row of *text*, longest first; not small words (``as``)."""
    words = _WORD.findall(text)
    for length in range(_LONGEST_NAME, 0, -1):
        for start in range(len(words) - length + 1):
            name = " ".join(words[start : start + length])
            small = len(name) <= 2 and (name.islower() or name.isdigit())
            found = None if small or unit_or_none(name) else recognise_analyte(name)
            if found is not None:
                return found
    return None
