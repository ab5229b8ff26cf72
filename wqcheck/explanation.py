"""Turns one judged row into its working: every step from the text in the sheet to the verdict, in lines.

The same lines stand in ``wqcheck explain``, on the page and in the annex of a certificate.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.certificate.limit_told import limit_told
from wqcheck.certificate.lines import UNVERIFIED
from wqcheck.errors import WqcheckError
from wqcheck.judging.reasons import percent_told
from wqcheck.judging.rules import RuleStatement
from wqcheck.parameters import catalogue
from wqcheck.sheets.surroundings import cell_places
from wqcheck.tables import Judged, Rule, Sign, Verdict
from wqcheck.units import COUNT_UNITS, conversion

_SIGNS = {
    Sign.EQUAL: "the value", Sign.LESS: "less than", Sign.GREATER: "more than", Sign.ABSENT: "not detected",
    Sign.PRESENT: "detected", Sign.NOT_DONE: "the test was not done", Sign.UNREADABLE: "no readable result",
}  # fmt: skip

STEP_TITLES = (
    "as given", "read as", "unit", "conversion", "bounds", "limit", "evidence", "decision rule", "reporting limit",
    "uncertainty", "verdict",
)  # fmt: skip
"""What the steps of a working are about, for print in other languages."""


class NothingToExplainError(WqcheckError, LookupError):
    """No judged result is at the cell, or of the sample and parameter, that was asked for; the text says what is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step of a working: what it is about, and what it gives."""

    title: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation:
    """The working of one result beside one limit; ``where`` is ``workbook|sheet!cell``."""

    result: str
    where: str
    verdict: str
    steps: tuple[Step, ...]

    def lines(self) -> tuple[str, ...]:
        """Return the working as text, one line a step, the titles in a column."""
        width = max(len(step.title) for step in self.steps)
        return tuple(f"{step.title:<{width}}  {step.text}" for step in self.steps)


def explain(judged: pd.DataFrame, rules: Sequence[RuleStatement]) -> tuple[Explanation, ...]:
    """Return the working of each row of *judged* (``DataFrame[Judged]``), in its order.

    *rules* are those of the limit tables used.
    """
    told = {statement.table: statement.rule for statement in rules}
    return tuple(_explained(row, told) for row in judged.to_dict("records"))


def rows_at(judged: DataFrame[Judged], *, cell: str = "", sample: str = "", parameter: str = "") -> DataFrame[Judged]:
    """Return the judged rows of one cell (``Sheet!F12`` or ``F12``), or of a sample and a parameter.

    A sum is found under each cell that it was made from.

    Raises
    ------
    NothingToExplainError
        There is no such row, or nothing was asked for.
    """
    if not (cell or sample or parameter):
        raise NothingToExplainError("say which result: --cell Sheet!F12, or --sample and --parameter")
    found = np.ones(len(judged), dtype=np.bool_)
    if cell:
        found &= _at_cell(judged, cell)
    if sample:
        found &= judged[Judged.sample].eq(sample).fillna(False).to_numpy(dtype=np.bool_)
    if parameter:
        found &= _of_parameter(judged, parameter)
    if not found.any():
        asked = {"cell": cell, "sample": sample, "parameter": parameter}
        words = ", ".join(f"{name} {text}" for name, text in asked.items() if text)
        raise NothingToExplainError(f"no judged result has {words}; {_what_there_is(judged, cell=bool(cell))}")
    rows: DataFrame[Judged] = judged[found].reset_index(drop=True)
    return rows


def _at_cell(judged: DataFrame[Judged], cell: str) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    book, _, place = cell.rpartition("|")
    sheet, _, name = place.rpartition("!")
    sheet, name = sheet.strip("'"), name.replace("$", "").upper()
    homes = judged[Judged.sheet].fillna("").to_list()
    books = judged[Judged.workbook].to_list()
    places = [
        set(cell_places(cells, home_book, home))
        for cells, home, home_book in zip(judged[Judged.cell], homes, books, strict=True)
    ]
    wanted = [
        any(
            own == name and (not sheet or own_sheet == sheet) and (not book or own_book == book)
            for own_book, own_sheet, own in found
        )
        for found in places
    ]
    return np.array(wanted, dtype=np.bool_)


def _of_parameter(judged: DataFrame[Judged], parameter: str) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    texts = judged[Judged.parameter_text].str.casefold().eq(parameter.casefold()).fillna(False)
    names = {code for code, entry in catalogue().items() if entry.name.casefold() == parameter.casefold()}
    wanted = judged[Judged.parameter].isin({parameter, *names})
    return (texts | wanted).to_numpy(dtype=np.bool_)


def _what_there_is(judged: DataFrame[Judged], *, cell: bool) -> str:
    if cell:
        first = judged.iloc[:3]
        some = ", ".join(
            f"{sheet}!{place}" for sheet, place in zip(first[Judged.sheet], first[Judged.cell], strict=True)
        )
        return f"judged results stand at {some} …; `wqcheck read --ledger` says what every other cell is"
    return "samples: " + (", ".join(judged[Judged.sample].dropna().unique()[:5].tolist()) or "none is named")


def _explained(row: Mapping[Any, Any], rules: Mapping[str, str]) -> Explanation:
    steps = [_given(row), _parsed(row), _unit(row)]
    summed = row[Judged.rule] in (Rule.SUM_MAX, Rule.RATIO_SUM_MAX) and not _text(row[Judged.parameter_text])
    if _text(row[Judged.table]):
        steps += [] if summed else [_converted(row)]
        steps += [*_bounds(row), _limit(row), _evidence(row), *_decision(row, rules)]
    steps.append(Step(title="verdict", text=f"{str(row[Judged.verdict]).upper()}: {row[Judged.reason]}"))
    code = _text(row[Judged.parameter])
    name = catalogue()[code].name if code in catalogue() else _text(row[Judged.parameter_text]) or "unknown parameter"
    against = _text(row[Judged.table]) or "no limit table"
    return Explanation(
        result=f"{name} beside {against}",
        where=_where(row),
        verdict=str(row[Judged.verdict]),
        steps=tuple(step for step in steps if step.text),
    )


def _where(row: Mapping[Any, Any]) -> str:
    sheet = _text(row[Judged.sheet])
    return f"{row[Judged.workbook]}|{sheet + '!' if sheet else ''}{row[Judged.cell]}"


def _text(cell: object) -> str:
    return "" if cell is None or pd.isna(cell) else str(cell)  # type: ignore[call-overload]


def _number(value: object) -> str:
    number = float(str(value)) if value is not None and not pd.isna(value) else math.nan  # type: ignore[call-overload]
    return "not known" if math.isnan(number) else f"{number:.8g}"


def _given(row: Mapping[Any, Any]) -> Step:
    named = _text(row[Judged.parameter_text])
    unit = _text(row[Judged.unit_text])
    parts = [f"{row[Judged.reported]!r}", f"for {named!r}" if named else "", f"with the unit {unit!r}" if unit else ""]
    sample = ", ".join(filter(None, (_text(row[Judged.sample]), _text(row[Judged.point]))))
    return Step(
        title="as given", text=" ".join(filter(None, parts)) + f" at {_where(row)}" + (f" ({sample})" if sample else "")
    )


def _parsed(row: Mapping[Any, Any]) -> Step:
    sign = Sign(row[Judged.sign])
    value, high, limit = (row[name] for name in (Judged.value, Judged.value_high, Judged.reporting_limit))
    parts = [_SIGNS[sign]]
    if not pd.isna(value):
        parts.append(_number(value) + ("" if pd.isna(high) else f" to {_number(high)}"))
    told = " ".join(parts)
    extra = [f"reporting limit {_number(limit)}"] if not pd.isna(limit) else []
    extra += (
        [f"expanded uncertainty {_number(row[Judged.uncertainty])}"] if not pd.isna(row[Judged.uncertainty]) else []
    )
    extra += [f"qualifier {row[Judged.qualifier]}"] if _text(row[Judged.qualifier]) else []
    return Step(title="read as", text="; ".join([told, *extra]))


def _unit(row: Mapping[Any, Any]) -> Step:
    unit, basis, volume = _text(row[Judged.unit]), _text(row[Judged.basis]), row[Judged.volume_ml]
    if not unit:
        return Step(title="unit", text="none recognised")
    if unit == "1":
        return Step(title="unit", text="none: a sum of ratios has no unit")
    examined = "" if pd.isna(volume) else f" in {_number(volume)} mL"
    return Step(title="unit", text=unit + examined + (f", expressed as {basis}" if basis else ""))


def _converted(row: Mapping[Any, Any]) -> Step:
    code, unit, basis = (_text(row[name]) for name in (Judged.parameter, Judged.unit, Judged.basis))
    to_unit, _, volume = (
        _text(row[Judged.limit_unit]).partition("/") if _counts(row) else (_text(row[Judged.limit_unit]), "", "")
    )
    to_basis = _text(row[Judged.limit_basis])
    factor = conversion(code, unit, basis, to_unit, "" if ";" in to_basis else to_basis)
    if math.isnan(factor.low):
        return Step(title="conversion", text=f"none: {factor.note}")
    span = f"{factor.low:.8g}" if factor.low == factor.high else f"{factor.low:.8g} to {factor.high:.8g}"
    same_unit = unit == to_unit and factor.low == factor.high == 1
    factors = "none needed" if same_unit else f"{_as(unit, basis)} → {_as(to_unit, to_basis)}: × {span}"
    masses = "" if same_unit else _masses(code, basis, to_basis)
    target = _text(row[Judged.limit_unit]) + (f" as {to_basis}" if to_basis else "")
    compared = _span(row[Judged.compared_low], row[Judged.compared_high])
    counted_in = volume if volume[:1].isdigit() else f"1 {volume}"
    scaled = (
        f", counted in the volume of the limit ({counted_in})" if volume and row[Judged.rule] != Rule.ABSENT else ""
    )
    words = "; ".join(filter(None, (factors, masses, factor.note)))
    ends = f"; compared as {compared} {target}".rstrip() if compared else ""
    return Step(title="conversion", text=f"{words}{scaled}{ends}")


def _as(unit: str, basis: str) -> str:
    return f"{unit} as {basis}" if basis else unit


def _span(low: float, high: float) -> str:
    """Write what a result can be; blank where nothing is known of it."""
    if pd.isna(low) or pd.isna(high):
        return ""
    if low == high:
        return _number(low)
    bottom = "anything" if math.isinf(low) else _number(low)
    return f"{bottom} or more" if math.isinf(high) else f"{bottom} to {_number(high)}"


def _counts(row: Mapping[Any, Any]) -> bool:
    return _text(row[Judged.limit_unit]).partition("/")[0] in COUNT_UNITS


def _masses(code: str, basis: str, to_basis: str) -> str:
    """Name the molar masses behind a change of basis, in g/mol; nothing where the basis stays."""
    entry = catalogue().get(code)
    if entry is None or not entry.bases or any("°C" in name for name in entry.bases):
        return ""
    wanted = dict.fromkeys(name for name in (basis or entry.basis, to_basis or entry.basis) if name in entry.bases)
    return (
        "molar mass " + ", ".join(f"{name} {entry.bases[name]:g} g/mol" for name in wanted) if len(wanted) > 1 else ""
    )


def _bounds(row: Mapping[Any, Any]) -> list[Step]:
    if pd.isna(row[Judged.sum_lower]):
        return []
    unit = "" if row[Judged.limit_unit] == "1" else f" {_text(row[Judged.limit_unit])}"
    ends = (row[Judged.sum_lower], row[Judged.sum_middle], row[Judged.sum_upper])
    lower, middle, upper = (_number(end) if math.isfinite(end) else "" for end in ends)
    text = f"lower bound {lower}, middle {middle}, upper {upper}{unit}"
    if not (middle and upper):
        text = f"lower bound {lower}{unit}; no middle and no upper one, for a member is missing"
    return [Step(title="bounds", text=f"{text} (non-detects as zero, half and all of their limits)")]


def _limit(row: Mapping[Any, Any]) -> Step:
    line = "" if pd.isna(row[Judged.limit_line]) else f", line {row[Judged.limit_line]:g}"
    return Step(
        title="limit", text=f"{limit_told(row)}; {row[Judged.table]}{line}: {row[Judged.source]}, {row[Judged.clause]}"
    )


def _evidence(row: Mapping[Any, Any]) -> Step:
    evidence = _text(row[Judged.evidence])
    doubt = "" if evidence.startswith("primary text") else UNVERIFIED
    return Step(title="evidence", text=": ".join(filter(None, (doubt, evidence))))


def _decision(row: Mapping[Any, Any], rules: Mapping[str, str]) -> list[Step]:
    steps = [
        Step(title="decision rule", text=rules.get(_text(row[Judged.table]), "") or _text(row[Judged.decision_rule]))
    ]
    unit = "" if row[Judged.limit_unit] == "1" else " " + _text(row[Judged.limit_unit])
    if not pd.isna(row[Judged.loq_percent]):
        steps.append(Step(title="reporting limit", text=f"{_number(row[Judged.loq_percent])} % of the limit"))
    if row[Judged.verdict] == Verdict.UNDETERMINED and pd.isna(row[Judged.expanded_uncertainty]):
        return steps
    if pd.isna(row[Judged.expanded_uncertainty]):
        return [*steps, Step(title="uncertainty", text="not known")]
    parts = [f"U = {_number(row[Judged.expanded_uncertainty])}{unit}, {row[Judged.uncertainty_source]}"]
    if not pd.isna(row[Judged.guard_band]):
        parts.append(f"guard band w = {_number(row[Judged.guard_band])}{unit}")
    if not pd.isna(row[Judged.conformity]):
        percent = float(percent_told(np.array(row[Judged.conformity])))
        parts.append(f"probability of conformity {percent:.1f} % (JCGM 106:2012, 7.2 to 7.4)")
    return [*steps, Step(title="uncertainty", text="; ".join(parts))]
