"""Turns published maximum uncertainties into the one that may be taken for a limit row when a sheet states none.

``limits/measurement_uncertainty.csv`` holds them with clause and evidence; it is open to editing.
"""

from __future__ import annotations

import csv
import hashlib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

from wqcheck.judging.binding import PESTICIDE_GROUP, SINGLE_PESTICIDE
from wqcheck.limit_tables.checks import COMBINED_RULES, split_list
from wqcheck.parameters import catalogue
from wqcheck.shipped_files import shipped_folder
from wqcheck.tables import Limits, Rule
from wqcheck.units import conversion, tidy

SHEET = "sheet"
"""The word for the uncertainty that the laboratory states."""

UNCERTAINTY_FILE = "measurement_uncertainty.csv"


@dataclass(frozen=True, slots=True, kw_only=True)
class Permitted:
    """One line of ``measurement_uncertainty.csv``: the largest expanded uncertainty that a text permits.

    Attributes
    ----------
    percent : float
        Of the limit, or of ``of_value`` in ``unit`` where that is given; NaN where ``absolute`` is given.
    absolute : float
        Expanded uncertainty in ``unit``.
    share_percent : float
        Each member of a sum is taken at this share of the limit on the sum; NaN for the limit itself.
    coverage_factor : float
        ``k``.
    """

    table: str
    parameter: str
    percent: float
    of_value: float
    absolute: float
    unit: str
    share_percent: float
    coverage_factor: float
    clause: str
    evidence: str
    note: str


@dataclass(frozen=True, slots=True)
class Expanded:
    """An expanded uncertainty in the unit of a limit, its coverage factor, and how it was obtained, in words."""

    value: float
    coverage_factor: float
    words: str


def uncertainty_file() -> Path:
    """Return the shipped file."""
    return shipped_folder("limits") / UNCERTAINTY_FILE


def uncertainty_digest() -> str:
    """Return the SHA-256 of the shipped file's bytes, hexadecimal."""
    return hashlib.sha256(uncertainty_file().read_bytes()).hexdigest()


@cache
def permitted() -> Mapping[tuple[str, str], Permitted]:
    """Return the lines of the shipped file by limit table and parameter."""
    with uncertainty_file().open(encoding="utf-8-sig", newline="") as stream:
        rows = [_permitted(row) for row in csv.DictReader(stream)]
    return MappingProxyType({(row.table, row.parameter): row for row in rows})


def permitted_tables() -> frozenset[str]:
    """Return the names under which judging rules can ask for permitted uncertainties."""
    return frozenset(table for table, _ in permitted())


def permitted_for(row: Mapping[Any, Any], names: Sequence[str]) -> Expanded | None:
    """Return the permitted uncertainty for a limit *row* (cells by column name) from the first of *names* that has one.

    A member of a sum is taken at its share of the limit, and the members are added in quadrature, as independent
    results are (JCGM 100:2008, 5.1.2).
    """
    for name in names:
        entry = permitted().get((name, _entry_code(str(row[Limits.parameter]))))
        found = _expanded(row, entry) if entry else None
        if found:
            return found
    return None


def has_characteristics(parameter: str, table: str) -> bool:
    """Tell whether the text sets performance characteristics for *parameter* under that limit *table*."""
    return (table, _entry_code(parameter)) in permitted()


def level_share(parameter: str, table: str) -> float:
    """Return the share of the limit on a sum at which the text looks at each member, 1 where it does not say."""
    entry = permitted().get((table, parameter))
    return 1.0 if entry is None or math.isnan(entry.share_percent) else entry.share_percent / 100


def _entry_code(parameter: str) -> str:
    known = catalogue().get(parameter)
    single = known is not None and known.group == PESTICIDE_GROUP and known.kind == "chemical"
    return SINGLE_PESTICIDE if single else parameter


def _expanded(row: Mapping[Any, Any], entry: Permitted) -> Expanded | None:
    source = f"the most that {entry.table}, {entry.clause} permits"
    if math.isnan(entry.absolute) and math.isnan(entry.of_value):
        limit, share = _limit_of(row), 1.0 if math.isnan(entry.share_percent) else entry.share_percent / 100
        members = len(split_list(str(row[Limits.members]))) if row[Limits.rule] in COMBINED_RULES else 1
        added = math.sqrt(members) if share < 1 else 1.0
        value = entry.percent / 100 * share * limit * added
        words = f"{entry.percent:g} % of the limit" + (f" at {share:.0%} for each of {members}" if share < 1 else "")
    else:
        at = entry.absolute if math.isnan(entry.of_value) else entry.percent / 100 * entry.of_value
        unit, basis = (str(row[name]) if isinstance(row[name], str) else "" for name in (Limits.unit, Limits.basis))
        value = at * conversion(entry.parameter, entry.unit, "", unit, basis).high
        words = "" if math.isnan(entry.of_value) else f"{entry.percent:g} % of {entry.of_value:g} {entry.unit}"
    if not value > 0 or row[Limits.rule] == Rule.RATIO_SUM_MAX:
        return None
    return Expanded(float(tidy(value)), entry.coverage_factor, ", ".join(filter(None, (words, source))))


def _limit_of(row: Mapping[Any, Any]) -> float:
    upper, lower = float(row[Limits.upper]), float(row[Limits.lower])
    return lower if math.isnan(upper) else upper


def _permitted(row: Mapping[str, str]) -> Permitted:
    numbers = ("percent", "of_value", "absolute", "share_percent", "coverage_factor")
    given: dict[str, Any] = {name: float(row[name]) if row[name] else math.nan for name in numbers}
    return Permitted(**{**row, **given})
