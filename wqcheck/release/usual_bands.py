"""Turns the usual bands of the release rules into limit rows, and judges by them what no limit table binds."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any, cast

import pandas as pd
from pandera.typing import DataFrame

from wqcheck.judging.judge import judge
from wqcheck.judging.ranges import SIGNED_UNITS
from wqcheck.judging.reasons import USUAL_BAND
from wqcheck.judging.rules import JudgingRules, RuleStatement
from wqcheck.limit_tables.columns import ANY_PRODUCT, COLUMNS
from wqcheck.limit_tables.loading import LimitTable, typed_rows
from wqcheck.parameters import catalogue
from wqcheck.plant_files import unknown_keys
from wqcheck.tables import Judged, LimitClass, Limits, Product, Readings, Rule, Sign, Verdict
from wqcheck.units import COUNT_UNITS, conversion

USUAL = "usual"
"""Name of the section in the release rules."""

BANDS_TABLE = "usual bands"
"""What stands as table in the rows that are judged by a band."""

_KEYS = frozenset({"lower", "upper", "unit", "basis", "volume_ml"})
_BY_VALUE = JudgingRules(title="usual bands")
"""Bands are generous already: no uncertainty is set against them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """What a parameter usually is: ``lower`` and ``upper`` (None where open) in ``unit``, on ``basis``.

    A count has its ``volume_ml``, the water (mL) that it refers to.
    """

    lower: float | None = None
    upper: float | None = None
    unit: str
    basis: str = ""
    volume_ml: float | None = None


Bands = Mapping[str, Mapping[str, Band]]
"""Kind of water, blank for all of them → parameter code → band."""


def read_bands(data: Mapping[str, Any]) -> dict[str, dict[str, Band]]:
    """Return the bands of a rules file that has no problems."""
    sections = _sections(data.get(USUAL, {}))
    return {kind: {code: Band(**entry) for code, entry in entries.items()} for kind, entries in sections}


def bands_for(bands: Bands, product: str) -> dict[str, Band]:
    """Return the bands of one kind of water: its own go before those of all."""
    return {**bands.get("", {}), **bands.get(product, {})}


def band_problems(data: Mapping[str, Any]) -> Iterator[str]:
    """Yield what is wrong with the section ``[usual]`` of a rules file, each with its mend."""
    given = data.get(USUAL, {})
    if not isinstance(given, dict):
        yield "usual: it must be a table; write [usual] with a band for each parameter below it"
        return
    for kind, entries in _sections(given):
        for code, entry in entries.items():
            where = f"usual{kind and f'.{kind}'}, {code}"
            if code not in catalogue():
                yield f"{where}: this is no kind of water ({', '.join(Product)}) and no parameter of the catalogue"
            elif not isinstance(entry, dict):
                yield f'{where}: it must be a band; write {{ lower = 6, upper = 9, unit = "pH" }}'
            else:
                yield from _entry_problems(where, code, entry)


def unbanded(data: Mapping[str, Any]) -> Iterator[str]:
    """Yield a problem for each parameter that a sound rules file only wants reported and for which any figure would do.

    One of ``hold_if_found`` needs no band: finding it holds.
    """
    bands = read_bands(data)
    for code in sorted(set(data.get("reported_only", ())) - set(data.get("hold_if_found", ()))):
        without = [kind for kind in data["required"] if code not in bands_for(bands, kind)]
        if without:
            yield (
                f"reported_only: {code!r} has no band under [usual] for {', '.join(without)} water, so any figure "
                f'would do; write what is usual: {code} = {{ lower = …, upper = …, unit = "{catalogue()[code].unit}" }}'
            )


def _sections(given: Mapping[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield the bands of all kinds of water under a blank word, then those of each kind."""
    kinds = {key: entry for key, entry in given.items() if key in list(Product) and isinstance(entry, dict)}
    yield "", {key: entry for key, entry in given.items() if key not in kinds}
    yield from kinds.items()


def _entry_problems(where: str, code: str, entry: Mapping[str, Any]) -> Iterator[str]:
    yield from unknown_keys(entry, _KEYS, where)
    wrong = [key for key in ("lower", "upper", "volume_ml") if key in entry and not _is_number(entry[key])]
    yield from (f"{where}, {key}: it must be a number (given: {entry[key]!r})" for key in wrong)
    if wrong:
        return
    if "upper" not in entry:
        yield f"{where}: it has no upper end; write upper = ..."
    elif entry.get("lower", 0) > entry["upper"]:
        yield f"{where}: lower must be at most upper (given: {entry['lower']!r} and {entry['upper']!r})"
    unit, known = entry.get("unit"), catalogue()[code]
    if unit in COUNT_UNITS and known.unit in COUNT_UNITS:
        if not entry.get("volume_ml", 0) > 0:
            yield f"{where}, volume_ml: it is missing; say how much water the count refers to, such as 250"
    elif not _fits(code, unit, entry.get("basis", "")):
        told = f"{known.unit} on {known.basis}" if known.basis else known.unit
        yield f"{where}: the unit (and basis) must fit {told} (given: {unit!r}, {entry.get('basis', '')!r})"


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _fits(code: str, unit: object, basis: object) -> bool:
    known = catalogue()[code]
    if not isinstance(unit, str) or not isinstance(basis, str):
        return False
    found = conversion(code, unit, basis, known.unit, known.basis)
    return found.low == found.high  # neither is NaN then, and the basis leaves nothing open


def judged_by_bands(
    judged: DataFrame[Judged], bands: Bands, product: Product, on: date, stamp: tuple[str, str, str]
) -> tuple[DataFrame[Judged], tuple[RuleStatement, ...]]:
    """Return *judged* with every result that no limit binds set beside its usual band, and the rule that did so.

    A result is inside, outside or undetermined as it is for a limit. A non-detect shows nothing about a lower end of a
    scale that begins at zero and is held against the upper one alone. Where limits only say what is too much, a result
    below the band (a conductivity of 0) is one more row.

    Parameters
    ----------
    judged : DataFrame[Judged]
        Rows of :func:`wqcheck.judging.judge.judge`; left as they are.
    bands : Bands
        Those of the release rules.
    product : Product
    on : date
        Day of the check.
    stamp : (title, path, digest)
        Of the release rules, for print.
    """
    work = _Work(bands_for(bands, product), product, on, stamp)
    code, sign = judged[Judged.parameter], judged[Judged.sign]
    measured = code.isin(work.own) & sign.ne(Sign.NOT_DONE)
    unbound = measured & judged[Judged.verdict].eq(Verdict.NO_LIMIT)
    blind = sign.eq(Sign.LESS) & code.isin(_from_zero(work.own))
    from_below = set(code[judged[Judged.lower].notna()])
    passed = measured & judged[Judged.verdict].isin([Verdict.PASS, Verdict.CONDITIONAL_PASS]) & ~code.isin(from_below)
    once = judged[passed & ~blind].drop_duplicates([Judged.workbook, Judged.sheet, Judged.cell, code.name])
    below = work.judged(once, "lower")
    parts = [
        judged[~unbound],
        work.judged(judged[unbound & ~blind], "lower", "upper"),
        work.judged(judged[unbound & blind], "upper"),
        below[below[Judged.verdict].eq(Verdict.FAIL)],
    ]
    if not sum(map(len, parts[1:])):
        return judged, ()
    together = pd.concat([part for part in parts if len(part)]).sort_index(kind="stable").reset_index(drop=True)
    return cast("DataFrame[Judged]", together), _BY_VALUE.statements([BANDS_TABLE])


@dataclass(frozen=True, slots=True)
class _Work:
    """The bands of one kind of water, and what judging by them needs."""

    own: Mapping[str, Band]
    product: Product
    on: date
    stamp: tuple[str, str, str]

    def judged(self, rows: pd.DataFrame, *ends: str) -> pd.DataFrame:
        """Judge *rows* once more, by those *ends* of the bands alone; same index."""
        if rows.empty:
            return rows
        readings = cast("DataFrame[Readings]", rows[list(Readings.to_schema().columns)].reset_index(drop=True))
        bands = {
            code: replace(
                band, lower=band.lower if "lower" in ends else None, upper=band.upper if "upper" in ends else None
            )
            for code, band in self.own.items()
        }
        table = _table({code: band for code, band in bands.items() if _ends(band)}, self.stamp)
        found = judge(readings, [table], product=self.product, on=self.on, rules=_BY_VALUE)
        return found.set_index(rows.index)


def _ends(band: Band) -> tuple[str, ...]:
    return tuple(end for end in ("lower", "upper") if getattr(band, end) is not None)


def _from_zero(codes: Iterable[str]) -> set[str]:
    """Return those of the *codes* of which there can be nothing; a pH below 7 may be any."""
    known = catalogue()
    return {code for code in codes if known[code].unit not in {*SIGNED_UNITS, known["ph"].unit}}


_RULES = {("lower", "upper"): Rule.RANGE, ("lower",): Rule.MIN, ("upper",): Rule.MAX}


def _table(bands: Mapping[str, Band], stamp: tuple[str, str, str]) -> LimitTable:
    """Return *bands* as a limit table."""
    title, path, digest = stamp
    text = pd.DataFrame([_cells(code, band, title) for code, band in bands.items()], columns=list(COLUMNS), dtype="str")
    rows = typed_rows(text, list(range(1, len(text) + 1)))
    return LimitTable(name=BANDS_TABLE, title=title, path=Path(path), digest=digest, rows=rows)


def _cells(code: str, band: Band, title: str) -> dict[str, str]:
    """Return the cells of one limit row as text."""
    given = {
        Limits.parameter: code, Limits.rule: _RULES[_ends(band)], Limits.lower: band.lower,
        Limits.upper: band.upper, Limits.unit: band.unit, Limits.basis: band.basis, Limits.volume_ml: band.volume_ml,
        Limits.product: ANY_PRODUCT, Limits.limit_class: LimitClass.OPERATIONAL, Limits.status: USUAL_BAND,
        Limits.source: title, Limits.clause: "release rules", Limits.evidence: "common practice, no source",
    }  # fmt: skip
    cells = {str(name): "" if value is None else str(value) for name, value in given.items()}
    return dict.fromkeys(COLUMNS, "") | cells
