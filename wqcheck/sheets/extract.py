"""Turns the result cells of one sheet, with the cells that belong to them, into readings and findings."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd

from wqcheck.findings import Finding, Severity
from wqcheck.parameters import catalogue
from wqcheck.results import NON_DETECT_FLAGS, sign_of
from wqcheck.sheets.columns import Texts, analytes_of, attributes, map_unique, numbers_of, units_of
from wqcheck.sheets.dates import parse_dates, parse_time
from wqcheck.sheets.grid import Cells
from wqcheck.sheets.labels import Fact
from wqcheck.sheets.layout import Table
from wqcheck.sheets.result_cells import Positions, ResultCells, carried_down, group_names
from wqcheck.sheets.roles import RoleGrid, as_text, cell_names, column_name, first_cells
from wqcheck.tables import Sign
from wqcheck.units import Unit, conversion

TEXT_ROLES = ("sample", "batch", "point", "stage", "replicate", "lab", "method", "qualifier", "fraction")
DATE_ROLES = ("sampled_at", "received_at", "analysed_at")
_FRACTION_WORDS = {"total": "total", "dissolved": "dissolved", "filtered": "dissolved", "t": "total", "d": "dissolved"}


@dataclass(slots=True)
class Extraction:
    """One sheet on its way to readings: its cells, layout, facts and the findings made so far."""

    grid: RoleGrid
    table: Table
    facts: Mapping[str, Fact]
    sheet_unit: Unit | None
    workbook: str
    found: ResultCells
    findings: list[Finding] = field(default_factory=list)

    @property
    def cells(self) -> Cells:
        """The cells of the sheet, rows × columns."""
        return self.grid.sheet.cells

    def where(self, rows: Iterable[int], columns: Iterable[int]) -> str:
        """Name the first of the cells at *rows*, *columns* for a finding."""
        names = cell_names(np.asarray(list(rows), dtype=np.int64), np.asarray(list(columns), dtype=np.int64))
        sheet = f"{self.grid.sheet.name}!" if self.grid.sheet.name else ""
        return f"{self.workbook}|{sheet}{first_cells(names)}"

    def note(self, code: str, message: str, where: str, given: str = "", severity: Severity = Severity.NOTE) -> None:
        """Keep a finding."""
        self.findings.append(Finding(code=code, severity=severity, message=message, where=where, given=given))


def extract(work: Extraction) -> pd.DataFrame:
    """Return the readings of one sheet as a frame with the columns of ``tables.Readings``, shape (n, columns)."""
    found, parsed = work.found, work.found.parsed
    texts = {role: _row_texts(work, role) for role in TEXT_ROLES}
    _column_texts(work, texts)
    parameter_text, analytes = _analytes(work)
    unit_text, units = _units(work, analytes)
    code = attributes(analytes, "code")
    unit, basis, volume = _unit_parts(work, code, analytes, unit_text, units)
    sign, qualifier = _signs(work, texts.pop("qualifier"))
    limit = _reporting_limits(work, code, unit, basis)
    value = np.where(np.isnan(parsed.value) & (sign == Sign.LESS), limit, parsed.value)
    fraction = map_unique(texts.pop("fraction"), lambda text: _FRACTION_WORDS.get(str(text).strip().lower()))
    data: dict[str, object] = {role: _with_fact(work, role, array) for role, array in texts.items()}
    data |= {role: _times(work, role) for role in DATE_ROLES}
    data |= {
        "parameter": code, "parameter_text": parameter_text, "reported": parsed.reported, "sign": sign, "value": value,
        "fraction": _first(attributes(analytes, "fraction"), fraction), "value_high": parsed.value_high,
        "unit": unit, "unit_text": unit_text, "basis": basis, "volume_ml": volume, "reporting_limit": limit,
        "uncertainty": _uncertainty(work, value), "qualifier": qualifier, "workbook": work.workbook,
        "sheet": work.grid.sheet.name, "cell": cell_names(found.rows, found.columns),
    }  # fmt: skip
    _say_unreadable(work)
    return pd.DataFrame(data, index=pd.RangeIndex(len(found.rows)))


def _first(*arrays: Texts) -> Texts:
    """Return, element by element, the first of the *arrays* that is not None."""
    result = arrays[0].copy()
    for array in arrays[1:]:
        blank = result == None  # noqa: E711 elementwise
        result[blank] = array[blank]
    return result


def _blank(length: int) -> Texts:
    return np.full(length, None, dtype=object)


def _row_cells(work: Extraction, column: int) -> Cells:
    return np.asarray(work.cells[work.found.rows, column], dtype=object)


def _best_column(work: Extraction, role: str) -> int | None:
    """Return the fullest column of *role*, leftmost of equals, and mark every cell of that role."""
    columns = work.table.with_role(role)
    if not columns or not len(work.found.rows):
        return None
    filled = [sum(cell is not None for cell in _row_cells(work, c)) for c in columns]
    best = columns[int(np.argmax(filled))]
    rows = np.unique(work.found.rows)
    for c in columns:
        spare = f"; column {column_name(best)} is used instead" if c != best else ""
        work.grid.mark(rows, c, role.replace("_", " "), f"belongs to the results of its row{spare}")
    return best


def _row_texts(work: Extraction, role: str) -> Texts:
    if work.table.kind == "list" and work.table.header is None and role == "point":
        work.grid.mark(
            *np.nonzero(work.grid.unexplained()), "point", "name of the point, or of the group of points below it"
        )
        return group_names(work.cells, work.found.rows)
    column = (
        _best_column(work, role)
        if work.table.kind != "crosstab" or role in {"method", "lab", "fraction", "qualifier"}
        else None
    )
    if column is None:
        return _blank(len(work.found.rows))
    texts = as_text(_row_cells(work, column))
    return (
        _carry_identity(work, column, texts)
        if work.table.kind == "long" and role in {"sample", "point", "batch"}
        else texts
    )


def _carry_identity(work: Extraction, column: int, texts: Texts) -> Texts:
    """Carry a sample, point or batch down a long table where only the first row of each group names it."""
    naming = [c for role in ("sample", "point", "batch", "sampled_at") for c in work.table.with_role(role)]
    unnamed = np.asarray(work.cells[:, naming] == None, dtype=bool).all(axis=1)[work.found.rows]  # noqa: E711 elementwise
    blank = np.asarray(texts == None, dtype=bool) & unnamed  # noqa: E711 elementwise
    if not blank.any():
        return texts
    heading = work.table.columns[column].heading or column_name(column)
    rows = work.found.rows[blank]
    work.note(
        "carried down", f"{blank.sum()} rows name no sample; {heading!r} is taken from the row above them",
        work.where(rows, np.full(len(rows), column)),
    )  # fmt: skip
    return carried_down(texts, blank)


def _column_texts(work: Extraction, texts: dict[str, Texts]) -> None:
    """Give the results of a crosstab the sample, point and batch that stand above their column."""
    if work.table.kind != "crosstab":
        return
    for row, role in work.table.special.items():
        if role in {"sample", "point", "batch", "stage", "lab", "replicate"}:
            texts[role] = _first(as_text(work.cells[row, work.found.columns]), texts[role])
    heading = work.table.header
    if heading is None:
        return
    names = map_unique(work.found.columns, lambda c: _crosstab_name(work.table.columns[int(c)].heading))
    if all(name is None for name in names):
        return
    dated = ~np.isnat(parse_dates(np.asarray([work.cells[heading, c] for c in work.found.columns], dtype=object)).times)
    names[dated] = None
    texts["point"] = _first(texts["point"], names)


def _crosstab_name(heading: str) -> str | None:
    from wqcheck.sheets.headings import heading_role

    return None if not heading or heading_role(heading) == "result" else heading


def _analytes(work: Extraction) -> tuple[Texts, Texts]:
    """Return the analyte text of each result and what it is recognised as."""
    if work.table.kind == "wide":
        columns = work.table.columns
        texts = map_unique(work.found.columns, lambda c: columns[int(c)].heading)
        return texts, map_unique(work.found.columns, lambda c: columns[int(c)].analyte)
    named = work.table.with_role("parameter") + work.table.with_role("cas")
    if not named:
        return _blank(len(work.found.rows)), _blank(len(work.found.rows))
    texts, analytes = _blank(len(work.found.rows)), _blank(len(work.found.rows))
    for column in named:
        here = as_text(_row_cells(work, column))
        if work.table.kind == "long" and column == named[0]:
            here = _grouped(here)
        texts, analytes = _first(texts, here), _first(analytes, analytes_of(here))
        work.grid.mark(np.unique(work.found.rows), column, "parameter", "names the analyte of its row")
    return texts, analytes


def _grouped(texts: Texts) -> Texts:
    """Carry the analyte down where it stands only in the first row of each group."""
    blank = np.asarray(texts == None, dtype=bool)  # noqa: E711 elementwise
    return carried_down(texts, blank) if 0 < blank.sum() and blank.mean() > 0.5 and not blank[:1].any() else texts


def _units(work: Extraction, analytes: Texts) -> tuple[Texts, Texts]:
    """Return unit text and unit of each result: from its cell, row, column, analyte name or the whole sheet."""
    columns = work.table.columns
    row_column = _best_column(work, "unit")
    row = as_text(_row_cells(work, row_column)) if row_column is not None else _blank(len(work.found.rows))
    heads = map_unique(work.found.columns, lambda c: columns[int(c)].unit_text)
    inside = attributes(analytes, "unit_text")
    text = _first(work.found.parsed.unit_text, row, heads, inside)
    text[text == ""] = None
    units = units_of(text)
    if work.sheet_unit is not None:
        missing = np.asarray(text == None, dtype=bool)  # noqa: E711 elementwise
        units[missing] = work.sheet_unit
        text[missing] = work.sheet_unit.label
    return text, units


def _unit_parts(
    work: Extraction, code: Texts, analytes: Texts, unit_text: Texts, units: Texts
) -> tuple[Texts, Texts, npt.NDArray[np.float64]]:
    """Return unit label, basis and examined volume of each result."""
    label, unit_basis = attributes(units, "label"), attributes(units, "basis")
    named_basis = attributes(analytes, "basis")
    basis = _first(unit_basis, named_basis)
    both = np.asarray((unit_basis != None) & (named_basis != None) & (unit_basis != named_basis), dtype=bool)  # noqa: E711
    if both.any():
        _say_contradiction(work, both, unit_text)
        basis[both] = None
    volume = work.found.parsed.volume_ml.copy()
    for other in (attributes(units, "volume_ml"), attributes(analytes, "volume_ml"), _volumes(work)):
        volume = np.where(np.isnan(volume), other.astype(np.float64), volume)
    missing = np.asarray((label == None) & (unit_text == None), dtype=bool)  # noqa: E711 elementwise
    label = _implied_units(label, code, missing, volume)
    _say_units(work, code, unit_text, label)
    return label, basis, volume


def _volumes(work: Extraction) -> npt.NDArray[np.float64]:
    column = _best_column(work, "volume_ml")
    return numbers_of(_row_cells(work, column)) if column is not None else np.full(len(work.found.rows), np.nan)


def _implied_units(label: Texts, code: Texts, missing: npt.NDArray[np.bool_], volume: npt.NDArray[np.float64]) -> Texts:
    """Fill units that can be no other: pH has one, organisms in a stated volume are counted."""
    usual = map_unique(code, lambda c: catalogue()[c].unit)
    kind = map_unique(code, lambda c: catalogue()[c].kind)
    label = label.copy()
    label[missing & np.asarray(usual == "pH", dtype=bool)] = "pH"
    label[missing & np.asarray(kind == "microbiological", dtype=bool) & ~np.isnan(volume)] = "count"
    return label


def _signs(work: Extraction, flags: Texts) -> tuple[Texts, Texts]:
    """Return sign and qualifiers of each result, with sign and flag columns taken in."""
    parsed = work.found.parsed
    sign = parsed.sign.copy()
    plain = np.asarray(sign == Sign.EQUAL, dtype=bool)
    column = _best_column(work, "sign")
    if column is not None:
        given = map_unique(as_text(_row_cells(work, column)), lambda text: sign_of(str(text)))
        stated = plain & np.asarray(given != None, dtype=bool)  # noqa: E711 elementwise
        sign[stated] = given[stated]
    undetected = map_unique(flags, lambda text: str(text).strip().upper() in NON_DETECT_FLAGS, False).astype(bool)
    sign[undetected & np.asarray(sign == Sign.EQUAL, dtype=bool)] = Sign.LESS
    joined = np.where(flags == None, parsed.qualifier, flags)  # noqa: E711 elementwise
    both = np.asarray((flags != None) & (parsed.qualifier != None), dtype=bool)  # noqa: E711 elementwise
    joined[both] = parsed.qualifier[both] + " " + flags[both]
    return np.asarray([str(s) for s in Sign], dtype=object)[_sign_codes(sign)], joined


def _sign_codes(sign: Texts) -> Positions:
    order = {str(word): position for position, word in enumerate(Sign)}
    return map_unique(sign, lambda word: order[str(word)], 0).astype(np.int64)


def _reporting_limits(work: Extraction, code: Texts, unit: Texts, basis: Texts) -> npt.NDArray[np.float64]:
    """Return the quantification (else detection) limit of each result in its unit, NaN where none is given."""
    result = np.full(len(work.found.rows), np.nan)
    for role in ("reporting_limit", "detection_limit"):
        column = _best_column(work, role)
        cells = _row_cells(work, column) if column is not None else None
        special = next((row for row, r in work.table.special.items() if r == role), None)
        if cells is None and special is not None:
            cells = np.asarray(work.cells[special, work.found.columns], dtype=object)
        if cells is not None:
            own = units_of(map_unique(cells, _trailing_unit))
            result = np.where(np.isnan(result), numbers_of(cells) * _factors(code, own, unit, basis), result)
    return result


def _trailing_unit(cell: object) -> str | None:
    match = re.fullmatch(r"\s*[<>]?\s*[\d.,]+\s*(?P<unit>[^\d\s].*)", cell) if isinstance(cell, str) else None
    return match["unit"] if match else None


def _factors(code: Texts, given: Texts, unit: Texts, basis: Texts) -> npt.NDArray[np.float64]:
    """Return the factor that takes a limit from its *given* unit to the unit of its result; 1 where it has none."""
    label = attributes(given, "label")
    keys = pd.MultiIndex.from_arrays([code, label, unit, basis])
    codes, uniques = pd.factorize(keys)
    table = [
        1.0 if pd.isna(own) or own == to else conversion(str(c), str(own), None if pd.isna(b) else b, str(to), None if pd.isna(b) else b).high
        for c, own, to, b in uniques
    ]  # fmt: skip
    return np.asarray([*table, 1.0])[codes]


def _uncertainty(work: Extraction, value: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    parsed = work.found.parsed.uncertainty
    column = _best_column(work, "uncertainty")
    if column is None:
        return parsed
    cells = _row_cells(work, column)
    numbers = numbers_of(map_unique(cells, lambda c: c.replace("±", "").replace("%", "") if isinstance(c, str) else c))
    percent = map_unique(cells, lambda c: isinstance(c, str) and "%" in c, False).astype(bool)
    percent |= "%" in work.table.columns[column].heading
    return np.where(np.isnan(parsed), np.where(percent, value * numbers / 100, numbers), parsed)


def _with_fact(work: Extraction, role: str, texts: Texts) -> Texts:
    fact = work.facts.get(role)
    if fact is None:
        return texts
    return np.where(texts == None, str(as_text(np.array([fact.value], dtype=object))[0]), texts)  # noqa: E711


def _times(work: Extraction, role: str) -> npt.NDArray[np.datetime64]:
    column = _best_column(work, role) if work.table.kind != "crosstab" else None
    cells = _row_cells(work, column) if column is not None else _blank(len(work.found.rows))
    if work.table.kind == "crosstab":
        for row, found in work.table.special.items():
            if found == role:
                cells = np.asarray(work.cells[row, work.found.columns], dtype=object)
        if role == "sampled_at" and work.table.header is not None and all(cell is None for cell in cells):
            cells = np.asarray(work.cells[work.table.header, work.found.columns], dtype=object)
            cells = cells if not np.isnat(parse_dates(cells).times).all() else _blank(len(cells))
    fact = work.facts.get(role)
    if fact is not None:
        cells = np.where(cells == None, np.array([fact.value] * len(cells), dtype=object), cells)  # noqa: E711
    dates = parse_dates(cells)
    if dates.ambiguous:
        work.note(
            "ambiguous date", f"the order of day and month in {role!r} cannot be told; write dates as 2026-03-31",
            work.where([work.found.rows[0]], [column if column is not None else 0]), first_cells(dates.ambiguous),
        )  # fmt: skip
    if dates.unread:
        work.note(
            "no full date", f"{role!r} holds texts that are no full date; these results count as undated",
            work.where([work.found.rows[0]], [column if column is not None else 0]), first_cells(dates.unread),
        )  # fmt: skip
    return _with_clock(work, dates.times) if role == "sampled_at" else dates.times


def _with_clock(work: Extraction, times: npt.NDArray[np.datetime64]) -> npt.NDArray[np.datetime64]:
    column = _best_column(work, "sampled_time") if work.table.kind != "crosstab" else None
    if column is None:
        return times
    seconds = map_unique(as_text(_row_cells(work, column)), lambda text: parse_time(str(text)), 0.0).astype(np.float64)
    midnight = times == times.astype("datetime64[D]")
    return np.where(midnight, times + (seconds * 1e6).astype("timedelta64[us]"), times)


def _say_unreadable(work: Extraction) -> None:
    found = work.found
    bad = np.asarray(found.parsed.problem != None, dtype=bool)  # noqa: E711 elementwise
    for text in pd.unique(found.parsed.reported[bad]):
        here = bad & np.asarray(found.parsed.reported == text, dtype=bool)
        problem = str(found.parsed.problem[here][0])
        work.note("unreadable result", f"the result {problem}", work.where(found.rows[here], found.columns[here]), text)
    for row, column in found.orphans[:20]:
        work.note(
            "value without owner", "a value stands in a row that names no sample, point, date or analyte; it is not used",
            work.where([row], [column]), str(work.cells[row, column]), Severity.HOLD,
        )  # fmt: skip


def _say_contradiction(work: Extraction, both: npt.NDArray[np.bool_], unit_text: Texts) -> None:
    work.note(
        "contradicting basis", "the name and the unit of the analyte state different bases; ask the laboratory which holds",
        work.where(work.found.rows[both], work.found.columns[both]), first_cells(dict.fromkeys(unit_text[both])),
    )  # fmt: skip


def _say_units(work: Extraction, code: Texts, unit_text: Texts, label: Texts) -> None:
    """Report units that are not known, and parameters that have none, once per text or parameter."""
    without = np.asarray(label == None, dtype=bool)  # noqa: E711 elementwise
    given = np.asarray(unit_text != None, dtype=bool)  # noqa: E711 elementwise
    for text in pd.unique(unit_text[without & given]):
        here = without & np.asarray(unit_text == text, dtype=bool)
        work.note(
            "unknown unit", "the unit is not known; correct it in the sheet or add the spelling to units.csv",
            work.where(work.found.rows[here], work.found.columns[here]), str(text),
        )  # fmt: skip
    for name in pd.unique(code[without & ~given & np.asarray(code != None, dtype=bool)]):  # noqa: E711 elementwise
        here = without & ~given & np.asarray(code == name, dtype=bool)
        work.note(
            "missing unit", f"no unit is given for {catalogue()[name].name}; write it in the sheet",
            work.where(work.found.rows[here], work.found.columns[here]),
        )  # fmt: skip
