"""Turns limit tables, a train and release rules into the lines of a blank request sheet for a laboratory."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import pandas as pd

from wqcheck.errors import WqcheckError
from wqcheck.forms.limits import (
    FormLimit,
    form_unit,
    limits_by_code,
    members_of_sums,
    other_units,
    strictest_limit,
    unit_text,
)
from wqcheck.forms.sample_bottles import Bottle, bottle_for
from wqcheck.judging.binding import SINGLE_PESTICIDE, all_rows, bound_rows
from wqcheck.limit_tables.loading import LimitTable, covers, load_limits, product_word
from wqcheck.parameters import catalogue, find_parameter
from wqcheck.release.rules import ReleaseRules, load_release_rules
from wqcheck.shipped_files import shipped_folder
from wqcheck.tables import Limits, Product
from wqcheck.train.description import Train, load_train

SHIPPED_RULES = "release_rules.toml"
NO_TRAIN_POINT = "finished product"

_FIRST_WORD = re.compile(r"^(?!cis-|trans-)[a-z]{3,}(?=[ \[(-]|$)")

_BOTTLED_ML, _TAP_ML, _PLATE_COUNT_ML = 250.0, 100.0, 1.0
"""Volumes for organisms that are required and have no limit, in mL: of bottled water, of tap water, and for plate
counts, as in Directive 98/83/EC, annex I, part A."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FormLine:
    """One parameter on the form.

    Attributes
    ----------
    code, name : str
        Catalogue code and name.
    need : str
        Why it is asked for, when the release rules require it; else blank.
    unit : str
        Unit with its basis or volume, such as ``mg/L as NO3`` or ``CFU/250 mL``; the reader of sheets knows it.
    choices : tuple of str
        Other units that the laboratory may choose.
    limit : str
        The strictest limit in ``unit``, in a few words.
    volume_ml : float or None
        Volume in which organisms are counted.
    bottle : Bottle
        What to sample it with.
    """

    code: str
    name: str
    need: str
    unit: str
    choices: tuple[str, ...]
    limit: str
    volume_ml: float | None
    bottle: Bottle


@dataclass(frozen=True, slots=True, kw_only=True)
class BlankForm:
    """What a request sheet asks; ``points`` are the texts to choose a sampling point from, ``point`` the usual one."""

    product: Product
    plant: str
    sources: tuple[str, ...]
    rules: str
    points: tuple[str, ...]
    point: str
    lines: tuple[FormLine, ...]
    each_pesticide: bool


def blank_form(
    limits: Sequence[str | Path], *, product: str, train: Path | None, rules: Path | None, on: date
) -> BlankForm:
    """Return the lines of a request sheet: what the rules require first, then all else that a table limits.

    Parameters
    ----------
    limits : sequence of str or Path
        Shipped names or CSV files.
    product : str
        Kind of water, a :class:`~wqcheck.tables.Product` word.
    train, rules : Path or None
        Train file; release-rules file, the shipped one by default.
    on : date
        Day on which the limits must be in force.

    Raises
    ------
    wqcheck.errors.WqcheckError
        A file is not usable, or a table has no limit for this kind of water.
    """
    kind = product_word(product)
    tables = [load_limits(name) for name in limits]
    _refuse_uncovered(tables, kind)
    panel = load_release_rules(rules or shipped_folder("limits") / SHIPPED_RULES)
    plant = load_train(train) if train else None
    rows = _in_force(bound_rows(all_rows(tables), kind).rows, on)
    asked, parts = limits_by_code(rows), members_of_sums(rows)
    needs = _needs(panel, kind, parts)
    points = tuple(f"{point.code} – {point.name}" for point in plant.points) if plant else ()
    return BlankForm(
        product=kind,
        plant=plant.name if plant else "",
        sources=tuple(table.title for table in tables),
        rules=panel.title,
        points=points,
        point=_usual_point(plant, points),
        lines=tuple(_line(code, needs.get(code, ""), asked.get(code, ()), kind) for code in _ordered(needs, asked)),
        each_pesticide=bool((rows[Limits.parameter] == SINGLE_PESTICIDE).any()),
    )


def required_only(form: BlankForm) -> BlankForm:
    """Return the form with only the lines that the release rules require."""
    return replace(form, lines=tuple(line for line in form.lines if line.need))


def _refuse_uncovered(tables: Iterable[LimitTable], kind: Product) -> None:
    for table in tables:
        if not covers(table, kind):
            raise WqcheckError(
                f"{table.path.name} has no limit for {kind} water; choose the kind of water or a table that binds it"
            )


def _in_force(rows: pd.DataFrame, on: date) -> pd.DataFrame:
    day = pd.Timestamp(on)
    later, ended = rows[Limits.valid_from] > day, rows[Limits.valid_to] < day
    return rows[(later | ended) == False]  # noqa: E712 elementwise


def _usual_point(plant: Train | None, points: Sequence[str]) -> str:
    if plant is None:
        return NO_TRAIN_POINT
    codes = [point.code for point in plant.points]
    return points[codes.index(plant.product_points[0])]


def _needs(panel: ReleaseRules, kind: Product, parts: Mapping[str, Sequence[str]]) -> dict[str, str]:
    """Return code → ``required`` in words, in the order of the rules; a required sum is asked for by its members."""
    needs: dict[str, str] = {}
    for entry in panel.required.get(kind, ()):
        for code in entry:
            others = " or ".join(find_parameter(other).name for other in entry if other != code)
            for asked in parts.get(code, (code,)):
                needs.setdefault(asked, f"required, or {others}" if others else "required")
    return needs


def _ordered(needs: Iterable[str], asked: Iterable[str]) -> list[str]:
    """Return what is required, then all else: organisms first, then in the order of the catalogue."""
    first = list(needs)
    rest = set(asked) - set(first)
    known = [code for code in catalogue() if code in rest]
    return first + sorted(known, key=lambda code: catalogue()[code].kind != "microbiological")


def _line(code: str, need: str, limits: Sequence[FormLimit], kind: Product) -> FormLine:
    entry = find_parameter(code)
    bottled = _TAP_ML if kind == Product.TAP else _BOTTLED_ML
    unit = form_unit(code, limits, _PLATE_COUNT_ML if code.startswith("heterotrophic") else bottled)
    return FormLine(
        code=code,
        name=_FIRST_WORD.sub(lambda word: word[0].capitalize(), entry.name),
        need=need,
        unit=unit_text(unit),
        choices=other_units(code, unit),
        limit=strictest_limit(code, limits, unit),
        volume_ml=unit.volume_ml,
        bottle=bottle_for(code),
    )
