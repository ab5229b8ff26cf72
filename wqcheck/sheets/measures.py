"""Turns result cells into analyte, unit, basis, volume, sign, limits and uncertainty, wherever the sheet says them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import partial
from itertools import combinations

import numpy as np
import pandas as pd

from wqcheck.parameters import catalogue
from wqcheck.results import NON_DETECT_FLAGS, sign_of, unusable_beside, withdrawn
from wqcheck.sheets.answers import told_bases, told_names, told_signs, told_units, told_volumes
from wqcheck.sheets.coded import Coded, Flags, Numbers
from wqcheck.sheets.columns import analytes_of, texts_of, units_of
from wqcheck.sheets.degrees import degrees_settled
from wqcheck.sheets.extraction import Extraction
from wqcheck.sheets.grid import Cells
from wqcheck.sheets.identity import carried_down
from wqcheck.sheets.numbers_beside import numbers_beside
from wqcheck.sheets.recognise import recognise_analyte, unit_or_none
from wqcheck.sheets.sheet_names import analyte_of_sheet
from wqcheck.sheets.sign_codes import coded_sign
from wqcheck.tables import Sign
from wqcheck.units import Unit, conversion

_NOT_CENSORED = frozenset(["", "~", "≈", "ca.", "ca", "y", "n", "yes", "no", "true", "false", "t", "f", "0", "1", "-"])
"""What stands in columns of signs, or of *censored: yes or no*, beside values that are taken as they stand."""

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
            known = here.map(work.codes.get).or_else(analytes_of(here))
            better = known.known() & ~found.known()
            texts = texts.without(better).or_else(here)
            found = found.or_else(known)
            work.grid.mark(work.result_rows, column, "parameter", "names the analyte of its row")
    of_sheet = None if texts.known().any() else analyte_of_sheet(work)
    if of_sheet is not None:
        texts = Coded.all_the_same(work.grid.sheet.name.strip(), work.count)
        found = Coded.all_the_same(of_sheet, work.count)
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
    barred = _contradicting_units(work, code, sources)
    stated = text.without(barred)
    text = told_units(work, code, stated, barred)
    units = degrees_settled(work, code, text, units_of(text))
    basis = _basis(work, code, units, named, text)
    volume = _examined(work, units.attribute("volume_ml").numbers(), named.attribute("volume_ml").numbers())
    volume = told_volumes(work, code, volume)
    label = _implied(units.attribute("label"), code, ~text.known(), volume)
    _say_units(work, code, text, label)
    return Measures(label, stated, basis, volume)


def _contradicting_units(work: Extraction, code: Coded, sources: tuple[Coded, ...]) -> Flags:
    """Return, per result, whether columns, headings and name state different concentrations; a finding says so.

    A unit in the cell itself, the first of *sources*, holds against all others; and a unit of another kind than that
    of the heading (``µS/cm`` below ``Result (mg/L)``) is an exception that the row states.
    """
    inside, _, *around = sources
    grouped = set(work.beside.get("unit", {}).values())
    alike = [column for column in work.table.with_role("unit") if column not in grouped]
    stated = [texts_of(work.per_row(column)) for column in alike] + ([work.row_texts("unit")] if grouped else [])
    labels = [units_of(texts).attribute("label") for texts in (*stated, *around)]
    labels = [label.map(lambda label: label if "/" in label else None) for label in labels]
    both = np.zeros(work.count, dtype=bool)
    for (_, one), (second, other) in combinations(enumerate(labels), 2):
        differ = one.differs_from(other)
        if differ.any() and second >= len(stated):
            own = other.without(~differ)
            differ &= np.isfinite(_factors(code, one, Measures(own, own, own.without(differ), np.empty(0))))
        both |= differ
    both &= ~inside.known()
    if both.any():
        message = "columns, heading or name of the result state different units, so none is taken; leave its unit only"
        work.note("contradicting units", message, work.where(np.flatnonzero(both)))
    return both


def _examined(work: Extraction, by_unit: Numbers, by_name: Numbers) -> Numbers:
    """Return the volume examined (mL): as the cell says, else unit, name or column; of several what proves least.

    A count is reported for the volume of its unit. Where nothing was found, the smallest volume stated is all that
    is known to be free of it.
    """
    inside = work.parsed.part("volume_ml").numbers()
    stated = np.stack([by_unit, by_name, _volumes(work)])
    first = np.where(np.isnan(stated[0]), np.where(np.isnan(stated[1]), stated[2], stated[1]), stated[0])
    least = np.fmin.reduce(stated)
    differ = np.isnan(inside) & (least < np.fmax.reduce(stated))
    if differ.any():
        message = "unit, name and volume column state different volumes; what was not found holds for the smallest only"
        work.note("contradicting volumes", message, work.where(np.flatnonzero(differ)))
    sign, value = work.parsed.part("sign"), work.parsed.part("value").numbers()
    none_found = sign.equal_to(Sign.ABSENT) | sign.equal_to(Sign.LESS) | (value == 0)
    return np.where(np.isnan(inside), np.where(differ & none_found, least, first), inside)


def _basis(work: Extraction, code: Coded, units: Coded, named: Coded, text: Coded) -> Coded:
    """Return the stated basis; where name, unit and basis column contradict there is none, and a finding says so."""
    by_unit, by_name = units.attribute("basis"), named.attribute("basis")
    by_column = units_of(work.row_texts("basis").map(_as_unit)).attribute("basis")
    both = np.zeros(work.count, dtype=bool)
    for one, other in combinations((by_unit, by_name, by_column), 2):
        both |= one.differs_from(other)
    for given, positions in text.groups(both):
        message = "name, unit and basis of the analyte contradict each other; ask the laboratory which basis holds"
        work.note("contradicting basis", message, work.where(positions), str(given))
    return told_bases(work, code, by_unit.or_else(by_name).or_else(by_column).without(both), both)


def _as_unit(basis: str) -> str:
    """Return the cell of a basis column (``N``, ``as NO3``) as the unit of a mass on that basis."""
    return f"mg/L {basis}" if basis.lower().startswith("as ") else f"mg/L as {basis}"


def _volumes(work: Extraction) -> Numbers:
    cells = work.cells_of("volume_ml")
    return np.full(work.count, np.nan) if cells is None else numbers_beside(work, cells, "volume")


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
    flagged = flags.map(sign_of)
    sign = sign.without(sign.equal_to(Sign.EQUAL) & flagged.known()).or_else(flagged)
    doubtful = _doubtful(work, flags)
    sign = sign.without(doubtful).or_else(Coded.all_the_same(Sign.UNREADABLE, work.count))
    both = inside.known() & flags.known()
    if not both.any():
        return sign, inside.or_else(flags)
    joined = Coded.of(inside.objects() + (" " + flags.objects())) if both.all() else _joined(inside, flags)
    return sign, joined


def _doubtful(work: Extraction, flags: Coded) -> Flags:
    """Return, per result, whether a flag, sign or status beside it says that it is not to be used as it stands."""

    def unknown_sign(text: str) -> bool:
        return not work.layout.sign_of(text) and _is_no_sign(text)

    def doubted_flag(text: str) -> bool:
        return not work.layout.sign_of(text) and unusable_beside(text)

    doubts = (
        (flags, doubted_flag, "the laboratory's flag says that the result is not to be used as it stands"),
        (_stated_signs(work), unknown_sign, "the text in the sign column is no sign that is known; correct it"),
        (work.row_texts("remark"), withdrawn, "the status says that the result is not valid or not final"),
    )
    doubtful = np.zeros(work.count, dtype=bool)
    for texts, test, message in doubts:
        here = texts.flags(test)
        doubtful |= here
        for given, positions in texts.groups(here):
            work.note("result in doubt", message, work.where(positions), str(given))
    return doubtful


def _is_no_sign(text: str) -> bool:
    plain = text.strip().lower()
    return sign_of(text) is None and plain not in _NOT_CENSORED and recognise_analyte(text.strip()) is None


def _stated_signs(work: Extraction) -> Coded:
    """Return the text of the sign column of each result: the one of its row, or across, the one left of its column."""
    columns = work.table.with_role("sign")
    if work.table.kind not in {"wide", "crosstab"}:
        column = work.column_of("sign")
        heading = "" if column is None else work.table.columns[column].heading
        return work.row_texts("sign").map(lambda text: coded_sign(text, heading))
    stated = Coded.blank(work.count)
    for column in columns:
        work.grid.mark(work.result_rows, column, "sign", "sign of the result to the right of it")
        heading = work.table.columns[column].heading
        here = texts_of(work.per_row(column)).map(partial(coded_sign, heading=heading))
        stated = stated.or_else(here.without(work.found.columns != column + 1))
    return stated


def _joined(first: Coded, second: Coded) -> Coded:
    pairs = pd.MultiIndex.from_arrays([first.codes, second.codes])
    codes, uniques = pd.factorize(pairs)
    parts = [[column.distinct[c] for column, c in ((first, a), (second, b)) if c >= 0] for a, b in uniques]
    return Coded(codes, tuple(" ".join(part) or None for part in parts)).map(lambda text: text)


def reporting_limits(work: Extraction, code: Coded, found: Measures) -> Numbers:
    """Return the quantification (else detection) limit of each result in its unit, NaN where none is given.

    What is below quantification or a trace may well be above the limit of detection, which does not bound it.
    """
    result = np.full(work.count, np.nan)
    beyond = work.parsed.part("below_quantification").flags(bool)
    for role in ("reporting_limit", "detection_limit"):
        cells, row = work.cells_of(role), work.special_row(role)
        if cells is None and row is None:
            continue
        headings = work.headings_of(role)
        if cells is None:
            cells = work.per_column(row or 0)
            headings = Coded.all_the_same(_first_text(work.cells[row or 0]), work.count)
        own = units_of(cells.map(_trailing_unit)).attribute("label").or_else(headings.map(_unit_of_heading))
        wanted = np.isnan(result) & ~(beyond & (role == "detection_limit"))
        result = np.where(
            wanted, numbers_beside(work, cells, role.replace("_", " ")) * _factors(code, own, found), result
        )
    return result


def _first_text(cells: Cells) -> str:
    return next((cell for cell in cells if isinstance(cell, str)), "")


def _unit_of_heading(heading: str) -> str | None:
    """Return the label of the concentration in a heading such as ``LOQ (mg/L)`` or ``LOQ mg/L``."""
    units = [unit_or_none(word.strip("()[],;")) for word in heading.split()[1:]]
    labels = [unit.label for unit in units if unit is not None and "/" in unit.label]
    return labels[-1] if labels else None


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


def uncertainties(work: Extraction, value: Numbers, code: Coded, found: Measures) -> Numbers:
    """Return the stated uncertainty of each result in its unit; percentages are taken of *value* (shape (n,))."""
    inside = work.parsed.part("uncertainty").numbers()
    cells, headings = work.cells_of("uncertainty"), work.headings_of("uncertainty")
    if cells is None:
        return inside
    texts = texts_of(cells)
    plain = texts.map(lambda text: text.replace("±", "").replace("%", "").strip() or None)
    numbers = numbers_beside(work, plain, "uncertainty")
    numbers = numbers * _factors(code, headings.map(_unit_of_heading), found)
    percent = texts.flags(lambda text: "%" in text) | headings.flags(lambda heading: "%" in heading)
    return np.where(np.isnan(inside), np.where(percent, np.abs(value) * numbers / 100, numbers), inside)


__all__ = ["Measures", "Unit", "analytes", "measures", "reporting_limits", "signs", "uncertainties"]
