"""Turns parameters into the bottles to take for them: container, preservation and how soon the analysis must begin.

The rows stand in ``sample_handling.csv``, each with its source; they are hints, and the laboratory's own rules prevail.
A row names parameter codes, catalogue groups, or both; a code is looked up before its group.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from wqcheck.limit_tables.checks import split_list
from wqcheck.parameters import find_parameter


@dataclass(frozen=True, slots=True, kw_only=True)
class Bottle:
    """One kind of bottle; all fields are texts for print."""

    name: str
    container: str
    amount: str
    preservation: str
    start_within: str
    source: str


@dataclass(frozen=True, slots=True)
class _Bottles:
    of_code: dict[str, Bottle]
    of_group: dict[str, Bottle]
    other: Bottle
    all: tuple[Bottle, ...]


def bottle_for(code: str) -> Bottle:
    """Return the bottle for the parameter with this code; the last row of the file is for what no other row names.

    Raises
    ------
    wqcheck.errors.UnknownParameterError
        The code is not in the catalogue.
    """
    bottles = _bottles()
    group = find_parameter(code).group
    return bottles.of_code.get(code) or bottles.of_group.get(group) or bottles.other


def all_bottles() -> tuple[Bottle, ...]:
    """Return every kind of bottle, in the order of the file."""
    return _bottles().all


@cache
def _bottles() -> _Bottles:
    text = files("wqcheck.forms").joinpath("sample_handling.csv").read_text(encoding="utf-8")
    found = _Bottles({}, {}, Bottle(**dict.fromkeys(Bottle.__slots__, "")), ())
    for row in csv.DictReader(text.splitlines()):
        bottle = Bottle(name=row["bottle"], **{name: row[name] for name in Bottle.__slots__ if name != "name"})
        found.of_code.update(dict.fromkeys(split_list(row["parameters"]), bottle))
        found.of_group.update(dict.fromkeys(split_list(row["groups"]), bottle))
        found = _Bottles(found.of_code, found.of_group, bottle, (*found.all, bottle))
    return found
