"""Turns judged rows, stage rows and readings into the lines a certificate prints, with their words and numbers."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from wqcheck.certificate.figures import compared_text, limit_text, removal_text, unit_text
from wqcheck.judging.reasons import USUAL_BAND
from wqcheck.languages.catalogues import ENGLISH, Catalogue
from wqcheck.parameters import catalogue
from wqcheck.tables import Judged, Readings, Rule, Sign, Stages, Verdict

UNVERIFIED = "not verified against the official text"

# What stands first: the rows that ask for a decision.
_ORDER = {
    Verdict.FAIL: 0,
    Verdict.CONDITIONAL_FAIL: 1,
    Verdict.UNDETERMINED: 2,
    Verdict.CONDITIONAL_PASS: 3,
    Verdict.PASS: 4,
    Verdict.NO_LIMIT: 5,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleLine:
    """One sample as it was taken: where, when, and who tested it. Dates are ISO text, blank when the sheet has none."""

    sample: str
    point: str
    sampled: str
    received: str
    analysed: str
    laboratory: str
    results: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ResultLine:
    """One result beside one limit.

    ``compared_low`` and ``compared_high`` are the ends of what the result can be, in ``limit_unit``; ``None`` means
    that there is no such end. ``rule`` says how the limit is compared (:class:`wqcheck.tables.Rule`), blank where none
    binds. ``unverified`` is blank, or says that the limit was not read in the official text. ``uncertainty``
    (expanded), ``guard_band`` and the bounds of a sum are in ``limit_unit``, ``conformity`` is a probability from 0 to
    1, ``loq_percent`` the reporting limit in percent of the limit; ``None`` where not known.
    """

    parameter: str
    name: str
    required: bool
    sample: str
    point: str
    reported: str
    sign: str
    unit: str
    basis: str
    volume_ml: float | None
    compared: str
    compared_low: float | None
    compared_high: float | None
    rule: str
    limit: str
    limit_lower: float | None
    limit_upper: float | None
    limit_unit: str
    limit_class: str
    table: str
    source: str
    clause: str
    unverified: str
    verdict: str
    reason: str
    method: str
    laboratory: str
    cell: str
    decision_rule: str
    uncertainty: float | None
    uncertainty_source: str
    guard_band: float | None
    conformity: float | None
    loq_percent: float | None
    sum_lower: float | None
    sum_middle: float | None
    sum_upper: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class StageLine:
    """What one stage removed of one parameter; ``removal_percent`` in percent, ``log_removal`` in log10 units."""

    stage: str
    kind: str
    parameter: str
    name: str
    inlet_point: str
    outlet_point: str
    inlet: str
    outlet: str
    unit: str
    removal: str
    removal_percent: float | None
    log_removal: float | None
    bound: str
    reason: str


def plain_text(value: object) -> str:
    """Give a cell as text: blank for a missing value, and always text that UTF-8 can carry."""
    if value is None or value is pd.NaT or value is pd.NA or (isinstance(value, float) and math.isnan(value)):
        return ""
    return str(value).encode("utf-8", "replace").decode("utf-8")


def finite(value: object) -> float | None:
    """Give a cell as a number, or ``None`` where it is missing or has no end (JSON knows neither NaN nor infinity)."""
    if value is None or value is pd.NA:
        return None
    number = float(str(value))
    return number if math.isfinite(number) else None


def parameter_name(code: str, fallback: str = "") -> str:
    """Name a parameter for print: the catalogue's name, else what the sheet called it, else the code."""
    known = catalogue().get(code)
    return known.name if known is not None else plain_text(fallback or code)


def reported_unit(line: ResultLine, say: Catalogue = ENGLISH) -> str:
    """Write the unit of a result as it stands beside the reported text (``Absent`` needs its volume, not its unit)."""
    word = line.sign in (Sign.ABSENT, Sign.PRESENT)
    return unit_text("" if word else line.unit, line.basis, line.volume_ml, say)


def result_lines(judged: pd.DataFrame, required: tuple[str, ...]) -> tuple[ResultLine, ...]:
    """Make one line per judged row, those that ask for a decision first (``judged`` is not changed).

    Parameters
    ----------
    judged : DataFrame[Judged], shape (n, …)
    required : tuple of str
        Codes of the parameters without which the batch cannot be released.
    """
    return tuple(_result_line(row, required) for row in in_order(judged, required).to_dict("records"))


def in_order(judged: pd.DataFrame, required: tuple[str, ...]) -> pd.DataFrame:
    """Return the judged rows in the order of print: those that ask for a decision first, then what is required."""
    ranks = judged[Judged.verdict].map({str(verdict): rank for verdict, rank in _ORDER.items()})
    optional = judged[Judged.parameter].isin(required).map({True: 0, False: 1})
    order = pd.DataFrame({"rank": ranks, "optional": optional}).sort_values(["rank", "optional"], kind="stable").index
    return judged.loc[order]


def _result_line(row: Mapping[Any, Any], required: tuple[str, ...]) -> ResultLine:
    words = {key: plain_text(value) for key, value in row.items()}
    code = words[Judged.parameter]
    unit = unit_text(words[Judged.limit_unit], words[Judged.limit_basis])
    listed = words[Judged.rule] in (Rule.SUM_MAX, Rule.RATIO_SUM_MAX) and not words[Judged.parameter_text]
    lower, upper = finite(row[Judged.lower]), finite(row[Judged.upper])
    low, high = row[Judged.compared_low], row[Judged.compared_high]
    primary = words[Judged.evidence].startswith("primary text")
    return ResultLine(
        parameter=code,
        name=parameter_name(code, words[Judged.parameter_text]),
        required=code in required,
        sample=words[Judged.sample],
        point=words[Judged.point],
        reported=words[Judged.reported],
        sign=words[Judged.sign],
        unit="" if listed else words[Judged.unit] or words[Judged.unit_text],
        basis=words[Judged.basis],
        volume_ml=finite(row[Judged.volume_ml]),
        compared=compared_text(low, high, unit),
        compared_low=finite(low),
        compared_high=finite(high),
        rule=words[Judged.rule],
        limit=limit_text(words[Judged.rule], lower, upper, unit),
        limit_lower=lower,
        limit_upper=upper,
        limit_unit=unit,
        limit_class=words[Judged.limit_class],
        table=words[Judged.table],
        source=words[Judged.source],
        clause=words[Judged.clause],
        unverified="" if primary or not words[Judged.rule] or words[Judged.status] == USUAL_BAND else UNVERIFIED,
        verdict=words[Judged.verdict],
        reason=words[Judged.reason],
        method=words[Judged.method],
        laboratory=words[Judged.lab],
        cell="|".join(filter(None, (words[Judged.workbook], f"{words[Judged.sheet]}!{words[Judged.cell]}"))),
        decision_rule=words[Judged.decision_rule],
        uncertainty=finite(row[Judged.expanded_uncertainty]),
        uncertainty_source=words[Judged.uncertainty_source],
        guard_band=finite(row[Judged.guard_band]),
        conformity=finite(row[Judged.conformity]),
        loq_percent=finite(row[Judged.loq_percent]),
        sum_lower=finite(row[Judged.sum_lower]),
        sum_middle=finite(row[Judged.sum_middle]),
        sum_upper=finite(row[Judged.sum_upper]),
    )


def stage_lines(stages: pd.DataFrame) -> tuple[StageLine, ...]:
    """Make one line per parameter × stage, in the order given (``stages`` is ``DataFrame[Stages]``, may be empty)."""
    return tuple(_stage_line(row) for row in stages.to_dict("records"))


def _stage_line(row: Mapping[Any, Any]) -> StageLine:
    words = {key: plain_text(value) for key, value in row.items()}
    percent, log = finite(row[Stages.removal_percent]), finite(row[Stages.log_removal])
    return StageLine(
        stage=words[Stages.stage],
        kind=words[Stages.kind],
        parameter=words[Stages.parameter],
        name=parameter_name(words[Stages.parameter]),
        inlet_point=words[Stages.inlet_point],
        outlet_point=words[Stages.outlet_point],
        inlet=words[Stages.inlet],
        outlet=words[Stages.outlet],
        unit=words[Stages.unit],
        removal=removal_text(percent, words[Stages.bound]),
        removal_percent=percent,
        log_removal=log,
        bound=words[Stages.bound],
        reason=words[Stages.reason],
    )


def sample_lines(
    readings: pd.DataFrame, judged: pd.DataFrame, stages: pd.DataFrame, batch: str
) -> tuple[SampleLine, ...]:
    """Make one line per sample × point × sampling time behind what the document states, in sheet order.

    These are the samples of judged rows, and those of this or no batch at the points that a stage compares.

    Parameters
    ----------
    readings : DataFrame[Readings], shape (n, …)
        All results read; a year's history may stand among them.
    judged : DataFrame[Judged]
    stages : DataFrame[Stages]
    batch : str
        Batch number.
    """
    points = pd.concat([stages[Stages.inlet_point], stages[Stages.outlet_point]])
    own = readings[Readings.batch].isna() | readings[Readings.batch].eq(batch).fillna(False).astype(bool)
    around = readings[readings[Readings.point].isin(points.dropna()) & own]
    place = [Readings.workbook, Readings.sheet, Readings.cell]
    concerned = pd.concat([judged[list(readings.columns)], around]).drop_duplicates(place)
    groups = concerned.groupby([Readings.sample, Readings.point, Readings.sampled_at], sort=False, dropna=False)
    return tuple(
        SampleLine(
            sample=plain_text(sample),
            point=plain_text(point),
            sampled=_moment(sampled),
            received=_span(group[Readings.received_at]),
            analysed=_span(group[Readings.analysed_at]),
            laboratory="; ".join(group[Readings.lab].dropna().drop_duplicates().map(plain_text)),
            results=len(group),
        )
        for (sample, point, sampled), group in groups
    )


def _span(moments: pd.Series[Any]) -> str:
    first, last = _moment(moments.min()), _moment(moments.max())
    return first if first == last else f"{first} to {last}"


def _moment(moment: Any) -> str:
    if pd.isna(moment):
        return ""
    return str(moment.strftime("%Y-%m-%d" if moment == moment.normalize() else "%Y-%m-%d %H:%M"))
