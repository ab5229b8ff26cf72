"""Turns the number format of a cell and its value into what the format shows besides, or instead of, the value.

A format can put ``<`` before a number, scale it, or print nothing at all; who looks at the sheet sees another result
than the value that is stored (ECMA-376-1, 18.8.31: sections, conditions, literals, scaling by commas, per cent).
"""

from __future__ import annotations

import operator
import re
from functools import cache

_LITERAL = re.compile(r'"([^"]*)"|\\(.)')
_BRACKETED = re.compile(r"\[[^\]]*\]")
_CONDITION = re.compile(r"\[(<=|>=|<>|<|>|=)(-?[\d.]+)\]")
_PADDING = re.compile(r"[_*].")
_DATE = re.compile(r"[ymdhs]", re.I)
_TOKENS = re.compile(r"General|Standard|E[+-]|[0#?.,/@%\s+()-]", re.I)
_SCALED = re.compile(r"[0#?],+(?![0#?])(?!.*[0#?]\.)")
_NUMBER_SHOWN = re.compile(r"[-−+]?\d[\d.,'’\s]*(?:E[+-]?\d{1,3})?", re.I)
_PARTED = r"[-+]?(?:\d+|[1-9]\d{{0,2}}(?:[{0}]\d{{2,3}})*[{0}]\d{{3}})(?:[{1}]\d+)?(?:E[-+]?\d+)?"
_COMPARE = {
    "<": operator.lt, ">": operator.gt, "=": operator.eq, "<=": operator.le, ">=": operator.ge, "<>": operator.ne,
}  # fmt: skip


@cache
def may_differ(code: str) -> bool:
    """Return whether the format *code* could show anything else than a number does; dates do not count."""
    bare = _PADDING.sub("", _BRACKETED.sub("", _LITERAL.sub("", code)))
    if _DATE.search(re.sub("General|Standard", "", bare, flags=re.I)) and not re.search("[0#]", bare):
        return False
    parts = sections(code)
    hides = len(parts) > 1 and not all(part.strip() for part in parts)
    return hides or any(map(_adds, parts)) or "%" in bare or bool(_SCALED.search(bare))


@cache
def sections(code: str) -> tuple[str, ...]:
    """Return the up to four sections of a format: for positive, negative and zero numbers, and for text."""
    parts, begin, quoted, skip = [], 0, "", False
    for place, sign in enumerate(code):
        if skip:
            skip = False
        elif sign == "\\":
            skip = True
        elif quoted:
            quoted = "" if sign == quoted else quoted
        elif sign in '"[':
            quoted = {'"': '"', "[": "]"}[sign]
        elif sign == ";":
            parts.append(code[begin:place])
            begin = place + 1
    return (*parts, code[begin:])


def shown_besides(code: str, value: object) -> tuple[str, str]:
    """Return how *code* shows *value* otherwise (a phrase, blank where it does not), and the text that it adds."""
    section = _section(sections(code), value) if may_differ(code) else None
    if section is None:
        return "", ""
    if not section.strip():
        return "shows nothing at all", ""
    bare = _PADDING.sub("", _BRACKETED.sub("", _LITERAL.sub("", section)))
    added = _adds(section)
    if added:
        return f"adds the text {added!r}", added
    if isinstance(value, float) and "%" in bare:
        return "shows it as a percentage, a hundred times as large", "%"
    if isinstance(value, float) and value and _SCALED.search(bare):
        return "shows it a thousand times smaller or more", ""
    return "", ""


def text_besides(text: str, value: object) -> tuple[str, str]:
    """Return how *text*, which a file keeps as what it shows, is not the *value* (a phrase), and what it adds to it.

    A value that is only rounded is the same, whatever marks parts its digits.
    """
    if not isinstance(value, float) or set(text.strip()) == {"#"}:
        return "", ""
    if not text.strip():
        return "shows nothing at all", ""
    number = _NUMBER_SHOWN.search(text)
    added = text if number is None else (text[: number.start()] + text[number.end() :]).strip()
    if number is None or re.search(r"[^\W_]|[<>=≤≥~≈%]", added):
        return f"shows {text!r}", added
    return ("", "") if any(_rounded(form, value) for form in _readings_of(number[0])) else (f"shows {text!r}", "")


def _readings_of(shown: str) -> set[str]:
    """Return what *shown* can be with a comma or a point as its decimal mark, the other one parting thousands."""
    plain = re.sub(r"[\s'’]", "", shown).replace("−", "-").rstrip(".,")
    marks = [pair for pair in ((",", "."), (".", ",")) if re.fullmatch(_PARTED.format(*pair), plain, re.I)]
    return {plain.replace(parting, "").replace(mark, ".") for parting, mark in marks}


def _rounded(form: str, value: float) -> bool:
    """Return whether the number *form* is *value*, rounded to the digits that it has; the sign does not count."""
    digits, _, exponent = form.lower().lstrip("+-").partition("e")
    try:
        number, power = float(digits), int(exponent or 0)
    except ValueError:
        return False
    last = 10.0 ** (power - len(digits.partition(".")[2]))
    return abs(number * 10.0**power - abs(value)) <= 0.5 * last * (1 + 1e-6) + 1e-12 * abs(value)


def _section(parts: tuple[str, ...], value: object) -> str | None:
    """Return the section of a format that shows *value*; None where it shows it as it stands."""
    if not isinstance(value, float):
        return parts[3] if len(parts) > 3 else next((part for part in parts if "@" in part), None)
    conditions = [(part, _CONDITION.search(part)) for part in parts]
    for part, found in conditions:
        if found is not None and _COMPARE[found[1]](value, float(found[2])):
            return part
    if any(found for _, found in conditions):
        return next((part for part, found in conditions if found is None), None)
    if len(parts) > 2 and value == 0:
        return parts[2]
    return parts[1] if len(parts) > 1 and value < 0 else parts[0]


def _adds(section: str) -> str:
    """Return the literal text with a letter, digit or sign of comparison that a section of a format adds."""
    given = _PADDING.sub("", _BRACKETED.sub("", section))
    quoted = "".join(a or b for a, b in _LITERAL.findall(given))
    plain = _TOKENS.sub("", _LITERAL.sub("", given))
    text = (quoted + plain).strip()
    return text if re.search(r"[^\W_]|[<>=≤≥~≈%]", text) else ""
