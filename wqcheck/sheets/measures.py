"""Turns result cells into analyte, unit, basis, volume, sign, limits and uncertainty, wherever the sheet says them."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import pandas as pd

from wqcheck.parameters import catalogue
from wqcheck.results import NON_DETECT_FLAGS, sign_of
from wqcheck.sheets.answers import told_bases, told_names, told_signs, told_units, told_volumes
from wqcheck.sheets.coded import Coded, Flags, Numbers
from wqcheck.sheets.columns import analytes_of, numbers_of, texts_of, units_of
from wqcheck.sheets.extraction import Extraction
from wqcheck.sheets.identity import carried_down
from wqcheck.tables import Sign
from wqcheck.units import Unit, conversion

_TRAILING_UNIT = re.compile(r"\s*[<>]?\s*[\d.,]+\s*(?P<unit>[^\d\s.,].*)")


@dataclass(frozen=True, slots=True, eq=False)
class Measures:
    """Unit label, unit text, basis and examined volume (mL, shape (n,)) of n results."""

    unit: Coded
    unit_text: Coded
    basis: Coded
    volume_ml: Numbers


def analytes(work: Extraction) -> tuple[Coded, Coded]:
    """Return the analyte text of each result and what it is recognised as."""
    if work.table.kind == "wide":
        columns = work.table.columns
        texts = work.of_columns({c: column.heading or None for c, column in columns.items()})
        return texts, told_names(work, texts, work.of_columns({c: column.analyte for c, column in columns.items()}))
    texts, found = Coded.blank(work.count), Coded.blank(work.count)
    for role in ("parameter", "cas"):
        for column in work.table.with_role(role):
            here = texts_of(work.per_row(column))
            if work.table.kind == "long" and role == "parameter":
                here = _grouped(here)
            texts, found = texts.or_else(here), found.or_else(analytes_of(here))
            work.grid.mark(work.result_rows, column, "parameter", "names the analyte of its row")
    return texts, told_names(work, texts, found)


def _grouped(texts: Coded) -> Coded:
    """Carry the analyte down where it stands only in the first row of each group."""
    blank = ~texts.known()
    mostly_blank = blank.size > 0 and blank.mean() > 0.5 and not blank[0]
    return carried_down(texts, blank) if mostly_blank else texts


def measures(work: Extraction, code: Coded, named: Coded) -> Measures:
    """Return unit, basis and volume of each result; *code* is its parameter and *named* what its name says.

    The unit is taken from the cell, else the row, the column, the name of the analyte, or the whole sheet. A unit that
    nothing states stays blank, unless it can be no other: pH has one, organisms in a stated volume are counted.
    """
    columns = {c: column.unit_text or None for c, column in work.table.columns.items()}
    sources = (
        work.parsed.part("unit_text"),
        work.row_texts("unit"),
        work.of_columns(columns),
        named.attribute("unit_text"),
    )
    text = sources[0]
    for source in sources[1:]:
        text = text.or_else(source)
    if work.sheet_unit is not None:
        text = text.or_else(Coded.all_the_same(work.sheet_unit.label, work.count))
    barred = _contradicting_units(work)
    stated = text.without(barred)
    text = told_units(work, code, stated, barred)
    units = units_of(text)
    basis = _basis(work, code, units, named, text)
    volume = work.parsed.part("volume_ml").numbers()
    for other in (units.attribute("volume_ml").numbers(), named.attribute("volume_ml").numbers(), _volumes(work)):
        volume = np.where(np.isnan(volume), other, volume)
    volume = told_volumes(work, code, volume)
    label = _implied(units.attribute("label"), code, ~text.known(), volume)
    _say_units(work, code, text, label)
    return Measures(label, stated, basis, volume)


def _contradicting_units(work: Extraction) -> Flags:
    """Return, per result, whether two unit columns of its row state different concentrations; a finding says so."""
    stated = [units_of(texts_of(work.per_row(column))) for column in work.table.with_role("unit")]
    labels = [units.attribute("label").map(lambda label: label if "/" in label else None) for units in stated]
    both = np.zeros(work.count, dtype=bool)
    for label in labels[1:]:
        both |= labels[0].known() & label.known() & (labels[0].objects() != label.objects())
    if both.any():
        message = "two columns of the row state different units, so none is taken; leave the unit of the result only"
        work.note("contradicting units", message, work.where(np.flatnonzero(both)))
    return both


def _basis(work: Extraction, code: Coded, units: Coded, named: Coded, text: Coded) -> Coded:
    """Return the stated basis; where name and unit contradict each other there is none, and a finding says so."""
    by_unit, by_name = units.attribute("basis"), named.attribute("basis")
    both = by_unit.known() & by_name.known() & (by_unit.objects() != by_name.objects())
    for given, positions in text.groups(both):
        message = "the name and the unit of the analyte state different bases; ask the laboratory which holds"
        work.note("contradicting basis", message, work.where(positions), str(given))
    return told_bases(work, code, by_unit.or_else(by_name).without(both), both)


def _volumes(work: Extraction) -> Numbers:
    column = work.column_of("volume_ml")
    return np.full(work.count, np.nan) if column is None else numbers_of(work.per_row(column))


def _implied(label: Coded, code: Coded, unstated: Flags, volume: Numbers) -> Coded:
    known = catalogue()
    acidity = unstated & code.flags(lambda c: known[c].unit == "pH")
    counted = unstated & code.flags(lambda c: known[c].kind == "microbiological") & ~np.isnan(volume)
    for rows, unit in ((acidity, "pH"), (counted, "count")):
        label = label.or_else(Coded.all_the_same(unit, len(rows)).without(~rows))
    return label


def _say_units(work: Extraction, code: Coded, text: Coded, label: Coded) -> None:
    """Report units that are not known, and parameters that have none, once per text or parameter."""
    for given, positions in text.groups(~label.known()):
        message = "the unit is not known; correct it in the sheet, or answer once in a sheet layout what it means"
        work.note("unknown unit", message, work.where(positions), str(given))
    for name, positions in code.groups(~label.known() & ~text.known()):
        message = f"no unit is given for {catalogue()[name].name}; write it in the sheet, or once in a sheet layout"
        work.note("missing unit", message, work.where(positions))


def signs(work: Extraction) -> tuple[Coded, Coded]:
    """Return sign and laboratory flags of each result, sign and flag columns taken in."""
    inside, flags = work.parsed.part("qualifier"), work.row_texts("qualifier")
    sign = work.parsed.part("sign")
    plain = sign.equal_to(Sign.EQUAL)
    given = _stated_signs(work)
    stated = given.map(sign_of)
    sign = sign.without(plain & stated.known()).or_else(stated)
    sign = told_signs(work, sign, given, flags)
    undetected = flags.flags(lambda flag: flag.strip().upper() in NON_DETECT_FLAGS) & sign.equal_to(Sign.EQUAL)
    sign = sign.without(undetected).or_else(Coded.all_the_same(Sign.LESS, work.count))
    both = inside.known() & flags.known()
    if not both.any():
        return sign, inside.or_else(flags)
    joined = Coded.of(inside.objects() + (" " + flags.objects())) if both.all() else _joined(inside, flags)
    return sign, joined


def _stated_signs(work: Extraction) -> Coded:
    """Return the text of the sign column of each result: the one of its row, or across, the one left of its column."""
    columns = work.table.with_role("sign")
    if work.table.kind not in {"wide", "crosstab"}:
        return work.row_texts("sign")
    stated = Coded.blank(work.count)
    for column in columns:
        work.grid.mark(work.result_rows, column, "sign", "sign of the result to the right of it")
        here = texts_of(work.per_row(column))
        stated = stated.or_else(here.without(work.found.columns != column + 1))
    return stated


def _joined(first: Coded, second: Coded) -> Coded:
    pairs = pd.MultiIndex.from_arrays([first.codes, second.codes])
    codes, uniques = pd.factorize(pairs)
    parts = [[column.distinct[c] for column, c in ((first, a), (second, b)) if c >= 0] for a, b in uniques]
    return Coded(codes, tuple(" ".join(part) or None for part in parts)).map(lambda text: text)


def reporting_limits(work: Extraction, code: Coded, found: Measures) -> Numbers:
    """Return the quantification (else detection) limit of each result in its unit, NaN where none is given."""
    result = np.full(work.count, np.nan)
    for role in ("reporting_limit", "detection_limit"):
        column, row = work.column_of(role), work.special_row(role)
        if column is None and row is None:
            continue
        cells = work.per_row(column) if column is not None else work.per_column(row or 0)
        own = units_of(Coded.of(cells).map(_trailing_unit)).attribute("label")
        result = np.where(np.isnan(result), numbers_of(cells) * _factors(code, own, found), result)
    return result


def _trailing_unit(cell: object) -> str | None:
    match = _TRAILING_UNIT.fullmatch(cell) if isinstance(cell, str) else None
    return match["unit"] if match else None


def _factors(code: Coded, given: Coded, found: Measures) -> Numbers:
    """Return the factor that takes a limit from its *given* unit to the unit of its result; 1 where it has none."""
    differs = given.known() & (given.objects() != found.unit.objects()) if given.distinct else given.known()
    factors = np.ones(len(differs))
    if differs.any():
        columns = (code, given, found.unit, found.basis)
        codes, uniques = pd.factorize(pd.MultiIndex.from_arrays([column.codes for column in columns]))
        words = [
            [column.distinct[c] if c >= 0 else None for column, c in zip(columns, key, strict=True)] for key in uniques
        ]
        table = [conversion(str(c), own, b, str(unit), b).high if own else 1.0 for c, own, unit, b in words]
        factors = np.where(differs, np.array(table)[codes], 1.0)
    return factors


def uncertainties(work: Extraction, value: Numbers) -> Numbers:
    """Return the stated uncertainty of each result in its unit; percentages are taken of *value* (shape (n,))."""
    inside = work.parsed.part("uncertainty").numbers()
    column = work.column_of("uncertainty")
    if column is None:
        return inside
    texts = texts_of(work.per_row(column))
    plain = texts.map(lambda text: text.replace("±", "").replace("%", "").strip() or None)
    numbers = numbers_of(plain.objects())
    percent = texts.flags(lambda text: "%" in text) | ("%" in work.table.columns[column].heading)
    return np.where(np.isnan(inside), np.where(percent, np.abs(value) * numbers / 100, numbers), inside)


__all__ = ["Measures", "Unit", "analytes", "measures", "reporting_limits", "signs", "uncertainties"]
