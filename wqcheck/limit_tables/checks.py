"""Turns the text cells of a limit table into everything that is wrong with them, and how to mend it.

:mod:`wqcheck.limit_tables.schema` puts the rules together as one schema.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date
from difflib import get_close_matches
from enum import StrEnum

from wqcheck.errors import TableProblem, UnknownUnitError
from wqcheck.limit_tables.columns import (
    ALWAYS,
    ANY_PRODUCT,
    COLUMNS,
    DATE_COLUMNS,
    EVIDENCE,
    LONGEST_CELL,
    NEEDED,
    NUMBER_COLUMNS,
    OVERRIDES,
    UNUSED,
    is_number,
    split_list,
)
from wqcheck.parameters import catalogue
from wqcheck.tables import LimitClass, Product, Rule
from wqcheck.units import COUNT_UNITS, conversion, recognise_unit

__all__ = [
    "ANY_PRODUCT",
    "COLUMNS",
    "COMBINED_RULES",
    "EVIDENCE",
    "LIMIT_KEY",
    "RULES",
    "is_number",
    "overlaps",
    "split_list",
]

COMBINED_RULES = frozenset({Rule.SUM_MAX, Rule.RATIO_SUM_MAX})

LIMIT_KEY = ("parameter", "rule", "basis", "volume_ml", "members", "class")
"""The columns that tell one limit from another; a health value and a value for taste of one parameter are two."""

Row = Mapping[str, str]
Problem = tuple[str, str, str]
"""Column, what was given, and how to mend it."""


def _nearest(word: str, words: list[str]) -> str:
    near = get_close_matches(word, words, n=3, cutoff=0.6)
    return f"; nearest: {', '.join(near)}" if near else ""


def _words(row: Row) -> Iterator[Problem]:
    words: tuple[tuple[str, type[StrEnum]], ...] = (("rule", Rule), ("class", LimitClass))
    for column, allowed in words:
        if row[column] not in list(allowed):
            yield column, row[column], f"write one of {', '.join(allowed)}"
    products = split_list(row["product"])
    allowed_products = [ANY_PRODUCT, *Product]
    wrong = [word for word in products if word not in allowed_products]
    if wrong or not products:
        yield "product", row["product"], f"write {ANY_PRODUCT} or a ; list of {', '.join(Product)}"
    elif len(set(products)) < len(products) or (ANY_PRODUCT in products and len(products) > 1):
        yield "product", row["product"], f"name each product once, and {ANY_PRODUCT} only alone"


def _numbers(row: Row) -> Iterator[Problem]:
    for column in NUMBER_COLUMNS:
        if row[column] and not is_number(row[column]):
            yield column, row[column], "write a number with a decimal point and no unit, or leave the cell blank"
    lower, upper, volume = row["lower"], row["upper"], row["volume_ml"]
    if is_number(lower) and is_number(upper) and float(lower) > float(upper):
        yield "lower", lower, f"the lower limit is above the upper limit {upper}; swap or correct them"
    if is_number(volume) and float(volume) <= 0:
        yield "volume_ml", volume, "the volume examined must be above 0 mL"
    if row["rule"] in COMBINED_RULES and is_number(upper) and float(upper) <= 0:
        yield "upper", upper, "the limit of a sum must be above 0"


def _dates(row: Row) -> Iterator[Problem]:
    good = {}
    for column in DATE_COLUMNS:
        if not row[column]:
            continue
        try:
            good[column] = date.fromisoformat(row[column])
        except ValueError:
            yield column, row[column], "write an ISO date such as 2023-01-12, or leave the cell blank"
            continue
        if len(row[column]) != len("2023-01-12"):
            yield column, row[column], "write the date with dashes, such as 2023-01-12"
    if len(good) == len(DATE_COLUMNS) and good["valid_from"] > good["valid_to"]:
        yield "valid_to", row["valid_to"], f"the row ends before it begins on {row['valid_from']}; correct the dates"


def _codes(row: Row) -> Iterator[Problem]:
    known = catalogue()
    for column, codes in (("parameter", [row["parameter"]]), ("members", split_list(row["members"]))):
        for code in codes:
            if code not in known:
                hint = _nearest(code, list(known))
                yield column, code, f"this code is not in parameters.csv; correct it or add it there{hint}"
        if len(set(codes)) < len(codes):
            yield column, row[column], "name each member once"


def _unit(row: Row) -> Iterator[Problem]:
    if not row["unit"]:
        return
    try:
        label = recognise_unit(row["unit"]).label
    except UnknownUnitError:
        yield "unit", row["unit"], "this unit is not in units.csv; correct it or add its spelling there"
        return
    if label != row["unit"]:
        yield "unit", row["unit"], f"write the unit as {label}, and what it is expressed as in the column basis"
    elif label in COUNT_UNITS and not row["volume_ml"] and row["rule"] != Rule.GUIDANCE:
        yield "volume_ml", "", "a count needs the volume that it refers to, in mL"


def _needs(row: Row) -> Iterator[Problem]:
    for column in (*NEEDED.get(row["rule"], ()), *ALWAYS):
        if not row[column] and not (column == "volume_ml" and row["unit"] in COUNT_UNITS):
            yield column, "", f"a row with the rule {row['rule']} needs this cell"
    for column in UNUSED.get(row["rule"], ()):
        if row[column]:
            yield column, row[column], f"a row with the rule {row['rule']} has no use for this cell; leave it blank"
    if row["rule"] == Rule.ABSENT and row["unit"] and row["unit"] not in COUNT_UNITS:
        yield (
            "unit",
            row["unit"],
            f"a row with the rule absent counts organisms; write {', '.join(sorted(COUNT_UNITS))}",
        )
    if row["rule"] == Rule.ABSENT and is_number(row["upper"]) and float(row["upper"]) != 0:
        yield "upper", row["upper"], "a row with the rule absent has the upper limit 0 or none"


def _evidence(row: Row) -> Iterator[Problem]:
    given = row["evidence"]
    how, _, where = given.partition(":")
    if given and not given.startswith(EVIDENCE):
        yield "evidence", given, f"begin with one of {', '.join(EVIDENCE)}, then say where it was read"
    elif how.strip() in EVIDENCE[:2] and not where.strip():
        yield "evidence", given, f"say where it was read: {how.strip()}: where"


def _status(row: Row) -> Iterator[Problem]:
    given = row["status"]
    if given.split()[:1] == [OVERRIDES] and not all(split_list(given.removeprefix(OVERRIDES)) or [""]):
        yield "status", given, f"name the tables whose rows this one replaces: {OVERRIDES} who_gdwq_2022"


def _lengths(row: Row) -> Iterator[Problem]:
    for column in COLUMNS:
        if len(row[column]) > LONGEST_CELL:
            yield column, f"{row[column][:60]}…", f"a cell holds at most {LONGEST_CELL} characters; shorten it"


def _lists(row: Row) -> Iterator[Problem]:
    members = split_list(row["members"])
    weights, bases = split_list(row["weights"]), split_list(row["basis"])
    if row["rule"] not in COMBINED_RULES:
        return
    if row["parameter"] in members and len(members) > 1:
        yield "members", row["parameter"], "a sum of several is not a member of itself; give the sum its own code"
    if weights and len(weights) != len(members):
        yield "weights", row["weights"], f"give one weight for each of the {len(members)} members"
    for weight in weights:
        if not is_number(weight) or float(weight) <= 0:
            yield "weights", weight, "each weight is a number above 0 with a decimal point"
    if len(bases) > 1 and len(bases) != len(members):
        yield "basis", row["basis"], f"give one basis for all, or one for each of the {len(members)} members"


def _bases(row: Row) -> Iterator[Problem]:
    bases, known = split_list(row["basis"]), catalogue()
    combined = row["rule"] in COMBINED_RULES
    codes = split_list(row["members"]) if combined else [row["parameter"]]
    for code, basis in zip(codes, bases * len(codes) if len(bases) == 1 else bases, strict=False):
        entry = known.get(code)
        if entry and basis and basis not in entry.bases and basis != entry.basis:
            usual = ", ".join(entry.bases) or "no basis: leave the cell blank"
            yield "basis", basis, f"{code} is not expressed so; the catalogue has {usual}"


def _stated(row: Row) -> Iterator[Problem]:
    """Refuse a number that can be meant in several ways: 10 mg/L of nitrate is 44 mg/L as NO3, or 10."""
    entry = catalogue().get(row["parameter"])
    if entry and entry.ambiguous and not row["basis"] and row["rule"] not in {*COMBINED_RULES, Rule.GUIDANCE}:
        yield "basis", "", f"say what {entry.code} is expressed as: {', '.join(entry.bases)}"


def _fit(row: Row) -> Iterator[Problem]:
    """Refuse a unit into which no result of the parameter can be turned: every result would stay undecided."""
    entry = catalogue().get(row["parameter"])
    if not entry or not entry.unit or row["rule"] == Rule.RATIO_SUM_MAX or row["unit"] in {"", entry.unit}:
        return
    try:
        label = recognise_unit(row["unit"]).label
    except UnknownUnitError:
        return
    if math.isnan(conversion(entry.code, entry.unit, entry.basis, label, entry.basis).low):
        yield "unit", row["unit"], f"no result of {entry.code} (usually in {entry.unit}) can be turned into this unit"


RULES: Mapping[str, Callable[[Row], Iterator[Problem]]] = {
    "rule, class and product are words of their lists": _words,
    "numbers are plain, lower is not above upper, volumes and the limits of sums are above 0": _numbers,
    "dates are ISO dates, and a row does not end before it begins": _dates,
    "codes are in the catalogue, and no member stands twice": _codes,
    "the unit is in the unit table, and a count names its volume": _unit,
    "the cells that the rule needs are filled, and those that it has no use for are blank": _needs,
    "evidence says how and where the row was read": _evidence,
    "an override names the tables that it replaces": _status,
    "a cell fits into a workbook cell": _lengths,
    "a sum has members, with one weight and one basis for each": _lists,
    "the basis is one that the parameter is expressed as": _bases,
    "what can be expressed in several ways says how it is": _stated,
    "results of the parameter can be turned into the unit": _fit,
}
"""Every rule for one row in a sentence, and the check that finds each breach of it."""


def overlaps(file: str, rows: Sequence[tuple[int, Row]]) -> list[TableProblem]:
    """Return a problem for each later row that binds what an earlier one of the same key binds at the same time.

    Rows are the same limit when the columns of :data:`LIMIT_KEY` agree and a product is named by both.
    """
    keys: dict[tuple[str, ...], list[tuple[str, str, int]]] = {}
    for line, row in rows:
        named = split_list(row["product"])
        for product in Product if ANY_PRODUCT in named else named:
            key = tuple(row[column] for column in LIMIT_KEY)
            span = (row["valid_from"] or _BEGINNING, row["valid_to"] or _END, line)
            keys.setdefault((*key, product), []).append(span)
    clashes = {(key[0], *lines) for key, spans in keys.items() for lines in _clashes(sorted(spans))}
    return [
        TableProblem(file, second, "parameter", parameter, f"line {first} already binds {_THE_SAME}; keep one of them")
        for parameter, first, second in sorted(clashes)
    ]


_BEGINNING, _END = "0000-00-00", "9999-99-99"
_THE_SAME = "this parameter, rule, class and product at the same time"


def _clashes(spans: list[tuple[str, str, int]]) -> Iterator[tuple[int, int]]:
    """Yield the lines of spans (first day, last day, line), sorted, that begin before an earlier one has ended."""
    latest, holder = "", 0
    for begins, ends, line in spans:
        if holder and begins <= latest:
            yield min(holder, line), max(holder, line)
        if ends > latest:
            latest, holder = ends, line
