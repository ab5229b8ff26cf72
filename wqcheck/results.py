"""Turns the text of one result cell into a reported result: the only door from text to number.

Nothing is coerced: what cannot be read has the sign ``unreadable`` and keeps its text and a problem sentence.
Words for *absent*, *not detected*, *not tested*, *less than* … are data, in ``result_words.csv``.
"""

from __future__ import annotations

import csv
import math
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files

from wqcheck.errors import UnknownUnitError
from wqcheck.numerals import AWAITED, FORMULA, IN_DOUBT, UNREADABLE, format_number, to_number
from wqcheck.tables import Sign
from wqcheck.units import recognise_unit


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
    below_quantification : bool
        Whether a word says *below the limit of quantification* or *trace*: a limit of detection does not bound it.
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
    below_quantification: bool = False


NON_DETECT_FLAGS = frozenset(["U", "UJ", "ND", "BDL", "BQL", "BLD", "LOD", "DL", "UN", "BRL", "UD", "<LD", "<LQ"])
"""Laboratory flags that say: not found above the number given."""

UNUSABLE_FLAGS = frozenset(["R", "OR", "OOR", "P", "HI", "E", "G", "L", "M", "K", "I", "O"])
"""Flags behind a number: *rejected*, *over range*, *present*, *more than*, a multiple, or a digit misread."""

_LESS = "<˂＜‹≤⩽﹤"
_GREATER = ">˃＞›≥⩾﹥"
_MEANT_SIGN = {
    "absent": Sign.ABSENT, "present": Sign.PRESENT, "not detected": Sign.LESS, "below": Sign.LESS,
    "below quantification": Sign.LESS, "too numerous": Sign.GREATER, "not tested": Sign.NOT_DONE,
}  # fmt: skip
_MEANT_FLAG = {"too numerous": "TNTC", "not detected": "ND"}
_NO_RESULT = {"unusable": UNREADABLE, "awaited": AWAITED}
_NOT_FOUND = frozenset(["not detected", "below", "below quantification"])

_LONGEST = 500
"""Characters of a result at most: over long texts the patterns below take time that grows with the square."""

_WHOLE, _POINT = re.compile(r"[0-9]{1,15}"), re.compile(r"[0-9]{1,15}(?:\.[0-9]{1,15})?")
_PLAIN_NUMBER = {"": _POINT, ".": _POINT, ",": _WHOLE, IN_DOUBT: _WHOLE, f",{IN_DOUBT}": _WHOLE}
"""Numbers that no rule below reads otherwise, by the decimal mark of their column: most cells of most sheets."""

_NUMBER = r"[+-]?(?:\d[\d.,'’ \u00a0\u202f]*\d|\d|[.,]\d+)"
_SPREAD = rf"(?:±|\+/-|\+-|\+\\-)\s*(?P<pm>{_NUMBER})(?P<percent>\s*%)?"
_TEN = r"[x×*·]\s*10(?:\s*\^\s*|\s+|(?=[+(-])|)\(?(?P<power>[+-]?[1-9]\d?)\)?(?!\d)(?!\s\d)"
_POWER = rf"(?:\s*(?:{_TEN}|[eE]\s*(?P<e>[+-]?\d+)))?"
_RESULT = re.compile(
    rf"(?P<lead>\*+\s*|(?:~|≈|ca\.?|circa|approx\.?|env\.?|c\.)\s*)?=?\s*(?P<sign>[<>])?\s*=?\s*(?P<number>{_NUMBER})"
    rf"[.,]?(?!\d){_POWER}(?:\s*\(?{_SPREAD}\)?)?(?P<tail>.*)",
    re.DOTALL,
)
_RANGE = re.compile(r"(?P<low>\d[\d.,]*)\s*(?:-|–|—|to|à|a|bis|até|÷)\s*(?P<high>\d[\d.,]*)(?P<tail>.*)", re.DOTALL)
_PER = r"(?:/|\b(?:in|per|em|en|por|dans|pour|je|su)\b)"
_VOLUME = re.compile(rf"{_PER}?\s*(\d+)\s*(ml|l)\b\.?")
_VOLUME_ONLY = re.compile(rf"\(?\s*{_PER}\s*(\d+)\s*(ml|l)\s*\.?\)?", re.I)
_WORD_THEN_LIMIT = re.compile(
    rf"(?P<word>[a-z./_ ]+?)\s*[(:;,@]?\s*(?:<|at|a|lod|loq|lq|ld|=|:)*\s*(?P<number>{_NUMBER})\s*\)?(?P<tail>.*)"
)
_ARITHMETIC = re.compile(r"=\s*[+-]?[\d.,\s]*[*^+/&-]\s*[\d(A-Z].*", re.DOTALL)
_MARK = r"(?:\*+|†+|‡|#+|\([A-Za-z*]{1,3}\)|\[[A-Za-z*]{1,3}\])"
_LIKE_A_DIGIT = frozenset("OISZBG")
"""Capitals that stand for 0, 1, 5, 2, 8 and 6 where they touch the digits; a flag there is parted by a blank."""

_FLAG = rf"(?:[A-Z]{{1,2}}\d?[+-]?|{_MARK})"
_FLAGS = re.compile(rf"{_FLAG}(?:[\s,;/]+{_FLAG}|{_MARK})*")
_FLAG_BEFORE_OR_BEHIND = re.compile(rf"(?:(?P<before>{_FLAG})\s+)?(?P<unit>\S.*?)(?:\s+(?P<behind>{_FLAG}))?")
_ASIDE = re.compile(
    rf"\((?:[^()]*\bCI\b[^()]*|\s*{_NUMBER}\s*(?:-|–|to)\s*{_NUMBER}\s*)\)|(?:@|at|bei|à|a)\s*2[05]\s*°?\s*C", re.I
)
"""Behind a number: an interval in brackets, or the temperature of the measurement."""

_EXCEEDED = re.compile(r"\b(?:exceed|reject|unusable|invalid|(?:over|above|beyond|out of)(?: the)? (?:range|calib))")
_INTERVAL = re.compile(rf"(?P<low>{_NUMBER})\s*(?:-|–|to)\s*(?P<high>{_NUMBER})")
_UNIT_LIKE = re.compile(r"[(\[]?\s*(?:[^\W\d_]|[%‰°]|/\s*\d*\s*m?[lLgG]\b).*", re.DOTALL)
_STRAY_NUMBER = re.compile(r"(?<![A-Za-z\d^])\d|[<>]|^[(\[]?[xX*]\s*\d")
_SUPERSCRIPTS = re.compile(r"(?<=10)\s*([⁺⁻⁰¹²³⁴-⁹]+)")
_OTHER_NUMBER = re.compile(
    r"(?<=\d)(?=[\u00b2\u00b3\u00b9\u00bc-\u00be\u2070-\u209f\u2150-\u218b\u2460-\u249b\u2776-\u2793])"
)
"""A footnote, fraction or circled digit behind a digit, which compatibility forms would join to the number."""


@cache
def _words() -> Mapping[str, str]:
    text = files("wqcheck").joinpath("result_words.csv").read_text(encoding="utf-8")
    return {_fold(row["word"]): row["meaning"] for row in csv.DictReader(text.splitlines())}


def words_for_results() -> tuple[str, ...]:
    """Return every word of ``result_words.csv`` that stands for a result, folded, with at least four letters."""
    return tuple(word for word, meaning in _words().items() if meaning not in {"<", ">", "unusable"} and len(word) > 3)


@cache
def _sign_words() -> re.Pattern[str]:
    words = [re.escape(word) for word, meaning in _words().items() if meaning in {"<", ">"}]
    return re.compile(rf"({'|'.join(sorted(words, key=len, reverse=True))})[\s.:]*(?=[\d,.])")


def _fold(text: str) -> str:
    text = unicodedata.normalize("NFKD", text)
    text = "".join(c for c in text if not unicodedata.combining(c)).lower()
    return " ".join(text.replace("_", " ").split()).strip(" .:;!\"'`")


def sign_of(text: str) -> Sign | None:
    """Return the sign that a cell of a sign column (``<``, ``menor que``, ``ND``, ``=``) states, or None."""
    plain = _plain(text.strip())
    signs = {"<": Sign.LESS, ">": Sign.GREATER, "=": Sign.EQUAL, "<=": Sign.LESS, ">=": Sign.GREATER}
    meaning = _words().get(_fold(plain), "")
    return signs.get(plain) or signs.get(meaning) or (Sign.LESS if meaning in _NOT_FOUND else None)


def parse_result(text: object, decimal: str = "") -> ReportedResult:
    """Return what the result cell *text* says.

    Parameters
    ----------
    text : object
        Text, number or bool as the sheet holds it; None is a blank cell.
    decimal : {"", ".", ","}
        Decimal mark of the column where it is known; without it ``27,385`` stays unreadable, for it may mean either.
    """
    if isinstance(text, int | float) and not isinstance(text, bool):
        if not math.isfinite(text):
            return _unreadable(str(text))
        return ReportedResult(text=format_number(text), sign=Sign.EQUAL, value=float(text))
    given = "" if text is None else str(text)
    if (number := plain_number(given, decimal)) is not None:
        return ReportedResult(text=given, sign=Sign.EQUAL, value=number)
    if len(given) > _LONGEST:
        return _unreadable(given, FORMULA if given.lstrip().startswith("=") else "")
    plain = _plain(given)
    if _ARITHMETIC.fullmatch(plain):
        return _unreadable(given, FORMULA)
    return _from_words(given, plain) or _from_range(given, plain, decimal) or _from_number(given, plain, decimal)


def plain_number(text: str, decimal: str = "") -> float | None:
    """Return the value of a *text* of digits that can mean nothing else than that number, None for any other text."""
    return float(text) if _PLAIN_NUMBER[decimal].fullmatch(text) else None


def _plain(given: str) -> str:
    """Return *given* with one form of each sign, dash, blank and power of ten."""
    text = given.replace("&lt;", "<").replace("&gt;", ">")
    text = "".join("<" if c in _LESS else ">" if c in _GREATER else c for c in text)
    text = _SUPERSCRIPTS.sub(lambda m: "^" + unicodedata.normalize("NFKC", m[1]).replace("−", "-"), text)
    text = _OTHER_NUMBER.sub("^", text)
    text = unicodedata.normalize("NFKC", text.replace("−", "-").replace("º", "°"))
    text = " ".join(text.split())
    if not text[:1].isalpha():
        return text
    folded = _fold(text)
    match = _sign_words().match(folded)
    return _words()[match[1]] + folded[match.end() :] if match else text


def _from_words(given: str, plain: str) -> ReportedResult | None:
    """Read *absent*, *ND*, *TNTC*, *not tested* …, with a volume or a limit behind the word where there is one."""
    folded = _fold(plain)
    if not plain:
        return ReportedResult(text=given, sign=Sign.NOT_DONE)
    meaning = _words().get(folded) or _words().get(_fold(plain.strip("()[] ")) or "?")
    volume = None
    if meaning is None and (match := _VOLUME.search(folded)):
        meaning = _words().get(_fold(folded[: match.start()].strip(" /(-")) or "?")
        meaning = None if meaning in {"not tested", *_NO_RESULT} else meaning
        volume = _millilitres(match)
    if meaning in {"<", ">"}:
        return None
    if meaning is None:
        return _from_word_and_limit(given, folded)
    if meaning in _NO_RESULT:
        return _unreadable(given, _NO_RESULT[meaning])
    return ReportedResult(
        text=given,
        sign=Sign.ABSENT if meaning == "not detected" and volume is not None else _MEANT_SIGN[meaning],
        volume_ml=volume,
        qualifier=_MEANT_FLAG.get(meaning, ""),
        below_quantification=meaning == "below quantification",
    )


def _millilitres(match: re.Match[str]) -> float:
    return float(match[1]) * (1000.0 if match[2].lower() == "l" else 1.0)


def _from_word_and_limit(given: str, folded: str) -> ReportedResult | None:
    """Read ``ND (0.05)`` and ``<LOQ 0.05 mg/L``: a word for *not found* and the limit it was not found above."""
    match = _WORD_THEN_LIMIT.fullmatch(" ".join(folded.lstrip("(< ").replace("<", " < ").split()))
    meaning = _words().get(_fold(match["word"].strip(" <(:-"))) if match else None
    if match is None or meaning not in _NOT_FOUND:
        return None
    value, problem = to_number(match["number"], "")
    if value is None:
        return _unreadable(given, problem)
    result = ReportedResult(text=given, sign=Sign.LESS, value=value, qualifier=_MEANT_FLAG.get(meaning, ""))
    return _with_tail(result, match["tail"].strip(" )"))


def _from_range(given: str, plain: str, decimal: str) -> ReportedResult | None:
    match = _RANGE.fullmatch(plain)
    if match is None:
        return None
    low, problem = to_number(match["low"], decimal)
    high, also = to_number(match["high"], decimal)
    if low is None or high is None or low > high:
        return _unreadable(given, problem or also)
    return _with_tail(ReportedResult(text=given, sign=Sign.EQUAL, value=low, value_high=high), match["tail"])


def _from_number(given: str, plain: str, decimal: str) -> ReportedResult:
    match = _RESULT.fullmatch(plain)
    if match is None:
        return _unreadable(given)
    value, problem = to_number(match["number"], decimal, match["power"] or match["e"] or "")
    if value is None:
        return _unreadable(given, problem)
    spread, problem = to_number(match["pm"], decimal) if match["pm"] else (None, "")
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
    """Read what stands behind the number: laboratory flags, a word in brackets, a volume, a unit, or nothing known."""
    misread = tail[:1] in _LIKE_A_DIGIT and _FLAGS.fullmatch(tail.strip()) and not _is_unit(tail)
    tail = tail.strip().rstrip(";:")
    bare = tail.strip("()[]* ")
    meaning = _words().get(_fold(bare)) if any(map(str.isalnum, bare)) else None
    if not tail:
        return result
    if meaning in _NOT_FOUND or bare.upper() in NON_DETECT_FLAGS:
        return replace(result, sign=Sign.LESS, qualifier=_join(result.qualifier, tail.strip("() ")))
    if meaning is not None or misread or says_unusable(tail) or _contradicts(result, tail):
        return _unreadable(result.text)
    if _ASIDE.fullmatch(tail) or (_FLAGS.fullmatch(tail) and (len(bare) < 2 or not _is_unit(bare))):
        return replace(result, qualifier=_join(result.qualifier, tail))
    if match := _VOLUME_ONLY.fullmatch(tail):
        return replace(result, volume_ml=_millilitres(match))
    return _with_unit(result, tail)


def says_unusable(flags: str) -> bool:
    """Return whether laboratory *flags* (``R``, ``(OR)``, ``J, E``) hold one of :data:`UNUSABLE_FLAGS`."""
    found = re.findall(r"[A-Za-z]+", flags) if _FLAGS.fullmatch(flags.strip()) else []
    return any(flag.upper() in UNUSABLE_FLAGS for flag in found)


def unusable_beside(flag: str) -> bool:
    """Return whether a flag column says *rejected*, *over range* or *more than*; no digit is misread there."""
    bare = flag.strip()
    return says_unusable(bare if bare.upper() not in {"I", "O", "K", "M"} else "") or bool(
        _EXCEEDED.search(_fold(bare)) or withdrawn(bare)
    )


def withdrawn(status: str) -> bool:
    """Return whether the cell of a status or remark column is a word such as *rejected*, *void* or *preliminary*."""
    folded = _fold(status)
    return folded in {"preliminary", "provisional"} or (
        len(folded) > 3 and folded.isalpha() and folded != "unknown" and _words().get(folded) in _NO_RESULT
    )


def _contradicts(result: ReportedResult, tail: str) -> bool:
    """Return whether *tail* is an interval in brackets that does not hold the value."""
    match = _INTERVAL.search(tail) if _ASIDE.fullmatch(tail) else None
    if match is None or result.value is None:
        return False
    low, high = to_number(match["low"], "")[0], to_number(match["high"], "")[0]
    return low is None or high is None or result.value < low or result.value > high


def _with_unit(result: ReportedResult, tail: str) -> ReportedResult:
    """Read *tail* as a unit, perhaps with one flag; an unknown unit is kept as text unless numbers stand in it."""
    split = _FLAG_BEFORE_OR_BEHIND.fullmatch(tail)
    if not _is_unit(tail) and split is not None and _is_unit(split["unit"]):
        flag = _join(split["before"] or "", split["behind"] or "")
        if says_unusable(split["before"] or "") or says_unusable(split["behind"] or ""):
            return _unreadable(result.text)
        sign = Sign.LESS if flag in NON_DETECT_FLAGS else result.sign
        return replace(result, sign=sign, unit_text=split["unit"], qualifier=_join(result.qualifier, flag))
    if not _UNIT_LIKE.fullmatch(tail) or (_STRAY_NUMBER.search(tail) and not _is_unit(tail)):
        return _unreadable(result.text)
    return replace(result, unit_text=tail)


def _is_unit(text: str) -> bool:
    try:
        recognise_unit(text)
    except UnknownUnitError:
        return False
    return True


def _join(*flags: str) -> str:
    return " ".join(flag for flag in flags if flag)


def _unreadable(text: str, problem: str = "") -> ReportedResult:
    return ReportedResult(text=text, sign=Sign.UNREADABLE, problem=problem or UNREADABLE)
