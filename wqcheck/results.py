"""Turns the text of one result cell into a reported result: the only door from text to number.

Nothing is coerced: what cannot be read has the sign ``unreadable`` and keeps its text and a problem sentence.
Words for *absent*, *not detected*, *not tested* … are data, in ``result_words.csv``.
"""

from __future__ import annotations

import csv
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files

from wqcheck.tables import Sign

UNREADABLE = "cannot be read as a result; ask the laboratory and correct the cell"
AMBIGUOUS_COMMA = "can be read with a decimal comma or a thousands comma; say which in the sheet or its layout"


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportedResult:
    """What one result cell says.

    Attributes
    ----------
    text : str
        As given.
    sign : Sign
        What stands before the value or in its place.
    value : float or None
        The number; None when the text holds none (``ND``, ``absent``, ``TNTC``).
    value_high : float or None
        Upper end of a reported range.
    uncertainty : float or None
        Number after ``±``, in the unit of the value.
    volume_ml : float or None
        Volume examined when the text says so (``absent/25 mL``), in mL.
    unit_text : str
        Unit standing in the cell behind the number, as given.
    qualifier : str
        Laboratory flags in the cell (``U``, ``J``, ``*``, ``BDL`` …).
    problem : str
        Why the result cannot be used as it stands; blank when it can.
    """

    text: str
    sign: Sign
    value: float | None = None
    value_high: float | None = None
    uncertainty: float | None = None
    volume_ml: float | None = None
    unit_text: str = ""
    qualifier: str = ""
    problem: str = ""


_LESS = "<˂＜‹≤⩽﹤"
_GREATER = ">˃＞›≥⩾﹥"
_SIGN_WORDS = {
    "less than": "<", "lower than": "<", "below": "<", "under": "<", "inf. a": "<", "inf a": "<", "inf": "<", "inf.": "<", "inferieur a": "<",
    "inferior a": "<", "menor que": "<", "menor de": "<", "menor a": "<", "kleiner als": "<", "kleiner": "<",
    "inferiore a": "<", "minore di": "<", "moins de": "<", "nd<": "<", "nd <": "<", "lt": "<",
    "more than": ">", "greater than": ">", "above": ">", "over": ">", "sup. a": ">", "sup a": ">", "sup": ">", "sup.": ">", "superieur a": ">",
    "superior a": ">", "maior que": ">", "mayor que": ">", "mayor de": ">", "mayor a": ">", "groesser als": ">",
    "grosser als": ">", "superiore a": ">", "maggiore di": ">", "plus de": ">", "gt": ">",
}  # fmt: skip
_NUMBER = r"[+-]?(?:\d[\d.,'’ \u00a0\u202f]*\d|\d|[.,]\d+)"
_POWER = r"(?:\s*(?:[x×*·]\s*10\s*\^?\s*\(?(?P<power>[+-]?\d+)\)?|[eE]\s*(?P<e>[+-]?\d+)))?"
_RESULT = re.compile(
    rf"(?P<lead>\*+\s*|(?:~|≈|ca\.?|circa|approx\.?|env\.?|c\.)\s*)?(?P<sign>[<>])?\s*=?\s*(?P<number>{_NUMBER}){_POWER}"
    rf"(?:\s*(?:±|\+/-|\+-|\+\\-)\s*(?P<pm>{_NUMBER})(?P<percent>\s*%)?)?(?P<tail>.*)",
    re.DOTALL,
)
_RANGE = re.compile(r"(?P<low>\d[\d.,]*)\s*(?:-|–|—|to|à|a|bis|até|÷)\s*(?P<high>\d[\d.,]*)(?P<tail>.*)", re.DOTALL)
_VOLUME = re.compile(
    r"(?:/|\bin\b|\bper\b|\bem\b|\ben\b|\bpor\b|\bdans\b|\bpour\b|\bje\b|\bsu\b)?\s*(\d+)\s*(ml|l)\b\.?"
)
_WORD_THEN_LIMIT = re.compile(
    rf"(?P<word>[a-z./_ ]+?)\s*[(:;,@]?\s*(?:<|at|a|lod|loq|lq|ld|=|:)*\s*(?P<number>{_NUMBER})\s*\)?(?P<tail>.*)"
)
_FLAGS = re.compile(r"(?:[\s,;/(]*(?:[A-Z]{1,3}\d?|\*+|†|‡|#|[a-z]|\([A-Za-z*]{1,3}\)|\[[A-Za-z0-9*]{1,3}\])\)?)+")
NON_DETECT_FLAGS = frozenset({"U", "UJ", "ND", "BDL", "BQL", "BLD", "LOD", "DL", "UN", "BRL", "UD", "<LD", "<LQ"})
_SUPERSCRIPTS = re.compile(r"(?<=10)\s*([⁺⁻⁰¹²³⁴-⁹]+)")


def sign_of(text: str) -> Sign | None:
    """Return the sign that a cell of a sign column (``<``, ``menor que``, ``=``) states, or None."""
    plain = _plain(text.strip() + "0").rstrip("0").strip() if text.strip() else ""
    return {"<": Sign.LESS, ">": Sign.GREATER, "=": Sign.EQUAL, "<=": Sign.LESS, ">=": Sign.GREATER}.get(plain)


@cache
def _words() -> Mapping[str, str]:
    with files("wqcheck").joinpath("result_words.csv").open(encoding="utf-8", newline="") as file:
        return {_fold(row["word"]): row["meaning"] for row in csv.DictReader(file)}


def _fold(text: str) -> str:
    text = unicodedata.normalize("NFKD", text)
    text = "".join(c for c in text if not unicodedata.combining(c)).lower()
    return " ".join(text.replace("_", " ").split()).strip(" .:;!\"'`")


def parse_result(text: object, decimal: str = "") -> ReportedResult:
    """Return what the result cell *text* says.

    Parameters
    ----------
    text : object
        Text, number or bool as the sheet holds it.
    decimal : {"", ".", ","}
        Decimal mark of the column where it is known; without it ``27,385`` stays unreadable, for it may mean either.
    """
    given = format_number(text) if isinstance(text, int | float) and not isinstance(text, bool) else str(text)
    if isinstance(text, int | float) and not isinstance(text, bool):
        return ReportedResult(text=given, sign=Sign.EQUAL, value=float(text)) if text == text else _unreadable(given)
    plain = _plain(given)
    worded = _from_words(given, plain)
    return worded or _from_range(given, plain, decimal) or _from_number(given, plain, decimal)


def format_number(value: float) -> str:
    """Return the shortest text of *value* that reads back the same, whole numbers without a point."""
    return str(int(value)) if value == int(value) and abs(value) < 1e15 else repr(float(value))


def _plain(given: str) -> str:
    """Return *given* with one form of each sign, dash, blank and power of ten."""
    text = given.replace("&lt;", "<").replace("&gt;", ">")
    text = "".join("<" if c in _LESS else ">" if c in _GREATER else c for c in text)
    text = _SUPERSCRIPTS.sub(lambda m: "^" + unicodedata.normalize("NFKC", m[1]).replace("−", "-"), text)
    text = unicodedata.normalize("NFKC", text.replace("−", "-").replace("º", "°"))
    text = " ".join(text.split())
    folded = _fold(text)
    for words, sign in _SIGN_WORDS.items():
        if folded.startswith(words) and re.match(r"[\s.:]*[\d,.]", folded[len(words) :]):
            return sign + folded[len(words) :].lstrip(" .:")
    return text


def _from_words(given: str, plain: str) -> ReportedResult | None:
    """Read *absent*, *ND*, *TNTC*, *not tested* …, with a volume or a limit behind the word where there is one."""
    folded = _fold(plain.strip("()[] "))
    meaning, volume, value, tail = _words().get(folded), None, None, ""
    if meaning is None and (match := _VOLUME.search(folded)) and not folded[: match.start()].strip(" <0"):
        return None
    if meaning is None and (match := _VOLUME.search(folded)):
        meaning = _words().get(_fold(folded[: match.start()].strip(" /(-")))
        volume = float(match[1]) * (1000.0 if match[2] == "l" else 1.0)
    if meaning is None and (
        match := _WORD_THEN_LIMIT.fullmatch(" ".join(folded.lstrip("< ").replace("<", " < ").split()))
    ):
        meaning = _words().get(_fold(match["word"].strip(" <(:-")))
        meaning = meaning if meaning in {"not detected", "below"} else None
        value, problem = _to_number(match["number"], "")
        tail = match["tail"].strip(" )")
        if meaning and problem:
            return _unreadable(given, problem)
    if meaning is None:
        return None
    sign = {
        "absent": Sign.ABSENT, "present": Sign.PRESENT, "not detected": Sign.LESS, "below": Sign.LESS,
        "too numerous": Sign.GREATER, "not tested": Sign.NOT_DONE,
    }[meaning]  # fmt: skip
    if meaning == "not detected" and volume is not None:
        sign = Sign.ABSENT
    flag = "TNTC" if meaning == "too numerous" else ("ND" if meaning == "not detected" else "")
    return ReportedResult(text=given, sign=sign, value=value, volume_ml=volume, unit_text=tail, qualifier=flag)


def _from_range(given: str, plain: str, decimal: str) -> ReportedResult | None:
    match = _RANGE.fullmatch(plain)
    if match is None:
        return None
    low, problem = _to_number(match["low"], decimal)
    high, also = _to_number(match["high"], decimal)
    unit = match["tail"].strip(" ()")
    if low is None or high is None or low > high or re.match(r"[-–]\d", match["tail"]):
        return _unreadable(given, problem or also or UNREADABLE)
    return ReportedResult(text=given, sign=Sign.EQUAL, value=low, value_high=high, unit_text=unit)


def _from_number(given: str, plain: str, decimal: str) -> ReportedResult:
    match = _RESULT.fullmatch(plain)
    if match is None:
        return _unreadable(given)
    value, problem = _to_number(match["number"], decimal)
    if value is None:
        return _unreadable(given, problem)
    power = match["power"] or match["e"]
    value = float(f"{value!r}e{power}") if power and "e" not in repr(value) else value * 10.0 ** int(power or 0)
    spread, problem = _to_number(match["pm"], decimal) if match["pm"] else (None, "")
    if match["percent"] and spread is not None:
        spread = value * spread / 100
    result = ReportedResult(
        text=given,
        sign={"<": Sign.LESS, ">": Sign.GREATER, None: Sign.EQUAL}[match["sign"]],
        value=value,
        uncertainty=spread,
        qualifier=(match["lead"] or "").strip(),
        problem=problem,
    )
    return _with_tail(result, match["tail"])


def _with_tail(result: ReportedResult, tail: str) -> ReportedResult:
    """Read what stands behind the number: laboratory flags, a bracketed word, or a unit."""
    tail = tail.strip()
    if not tail:
        return result
    meaning = _words().get(_fold(tail.strip("()[] "))) if any(map(str.isalnum, tail)) else None
    flag = tail.strip("()[]* ").upper()
    if meaning in {"not detected", "below"} or flag in NON_DETECT_FLAGS:
        return replace(result, sign=Sign.LESS, qualifier=_join(result.qualifier, tail.strip("() ")))
    if meaning is not None:
        return _unreadable(result.text)
    if _FLAGS.fullmatch(" " + tail) and not re.fullmatch(r"[%a-zµ°]+", tail):
        return replace(result, qualifier=_join(result.qualifier, tail))
    if re.match(r"[\d.,<>±+]|-\d", tail):
        return _unreadable(result.text)
    return replace(result, unit_text=tail)


def _join(*flags: str) -> str:
    return " ".join(flag for flag in flags if flag)


def _unreadable(text: str, problem: str = UNREADABLE) -> ReportedResult:
    return ReportedResult(text=text, sign=Sign.UNREADABLE, problem=problem or UNREADABLE)


def _to_number(text: str, decimal: str) -> tuple[float | None, str]:
    """Return the number that *text* writes, or None with the reason; no form is read that could mean two numbers."""
    digits = re.sub(r"(?<=\d)['’\s](?=\d{3}(?!\d))", "", text.strip())
    points, commas = digits.count("."), digits.count(",")
    if points and commas:
        decimal = "." if digits.rindex(".") > digits.rindex(",") else ","
    elif commas and not decimal:
        decimal = "," if commas == 1 and not _could_be_thousands(digits, ",") else ("." if commas > 1 else "?")
    elif not decimal or (points == 1 and decimal == "," and not _could_be_thousands(digits, ".")):
        decimal = "." if points < 2 else ","
    if decimal == "?":
        return None, AMBIGUOUS_COMMA
    group = "," if decimal == "." else "."
    if group in digits and not re.fullmatch(rf"[+-]?\d{{1,3}}(\{group}\d{{3}})+(\{decimal}\d*)?", digits):
        return None, UNREADABLE
    try:
        return float(digits.replace(group, "").replace(decimal, ".")), ""
    except ValueError:
        return None, UNREADABLE


def _could_be_thousands(digits: str, mark: str) -> bool:
    head, _, tail = digits.lstrip("+-").partition(mark)
    return len(tail) == 3 and 1 <= len(head) <= 3 and head.strip("0") != ""
