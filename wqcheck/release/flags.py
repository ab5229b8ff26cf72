"""Turns a checked batch and the verdicts on its stages into one list of all that asks for a person, worst first."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from enum import StrEnum
from typing import Any

import numpy as np
import pandas as pd
import pandera.pandas as pa
from pandera.typing import DataFrame, Series

from wqcheck.findings import Finding, Severity
from wqcheck.parameters import catalogue
from wqcheck.release.asked import BETWEEN_TABLES, Asked, gravest_class, tables_asking
from wqcheck.release.decision import BatchCheck
from wqcheck.release.reasons import NO_LIMIT, NO_RESULT, NOT_COMPARED, Disposition, Reason, name_of
from wqcheck.tables import Judged, LimitClass, StageVerdicts, Verdict
from wqcheck.train.suspects import BAD


class FlagKind(StrEnum):
    """What a flag is about, in the order of looking."""

    OUT = "out of limit"
    UNDECIDED = "cannot be decided"
    CLOSE = "within the limit by less than its uncertainty"
    REQUIRED = "required, no usable result"
    FINDING = "finding that holds the batch"
    RULE = "held by a release rule"
    STAGE = "weak stage"
    NOT_TESTED = "not tested"


KIND_OF = {
    Verdict.FAIL: FlagKind.OUT,
    Verdict.CONDITIONAL_FAIL: FlagKind.OUT,
    Verdict.UNDETERMINED: FlagKind.UNDECIDED,
    Verdict.CONDITIONAL_PASS: FlagKind.CLOSE,
}
"""Verdicts that are flagged."""

_KINDS, _WORST_FIRST = list(FlagKind), (Disposition.REJECT, Disposition.HOLD, Disposition.RELEASE)
_GAPS = (NO_RESULT, NO_LIMIT, NOT_COMPARED)
_CLASSES = list(LimitClass)
_GRAVE = (LimitClass.HEALTH, LimitClass.MICROBIOLOGICAL, LimitClass.RADIOLOGICAL)
_FIRST = "escherichia_coli"
_TABLE = re.compile(r" \[limit table (.*?)\]; ")


class Flags(pa.DataFrameModel):
    """One row per flag, worst first; text that does not apply is blank, never NA.

    ``leads_to`` is what the flag recommends by itself (:class:`Disposition`; ``release`` only informs). ``where`` is
    ``workbook|sheet!cell`` or as much as is known. ``row`` is the position of its judged row, or of its stage row, in
    the tables that the flag was made from, -1 for other kinds. ``code`` is the verdict, or the code of the finding or
    reason. ``margin`` is the share of the limit that is left (negative when exceeded). ``table`` lists, for a parameter
    without a result, all tables that limit it (:data:`wqcheck.release.asked.BETWEEN_TABLES` between them).
    """

    kind: Series[str] = pa.Field(isin=_KINDS)
    leads_to: Series[str] = pa.Field(isin=list(Disposition))
    code: Series[str]
    parameter: Series[str]
    name: Series[str]
    reported: Series[str]
    limit_class: Series[str] = pa.Field(alias="class")
    table: Series[str]
    stage: Series[str]
    point: Series[str]
    sample: Series[str]
    where: Series[str]
    reason: Series[str]
    margin: Series[float] = pa.Field(nullable=True)
    row: Series[int]

    class Config:
        """Exactly these columns, in this order, with these types."""

        strict = True
        ordered = True
        coerce = True


def flags(
    check: BatchCheck,
    stages: DataFrame[StageVerdicts] | None = None,
    limits: DataFrame[Asked] | None = None,
) -> DataFrame[Flags]:
    """Return everything that asks for a person.

    Parameters
    ----------
    check : BatchCheck
        The checked batch.
    stages : DataFrame[StageVerdicts], optional
        Its removals with verdicts; without them no stage is flagged.
    limits : DataFrame[Asked], optional
        What the limit tables ask for: class and tables of a parameter that has no result are taken from there.

    Returns
    -------
    DataFrame[Flags]
        What rejects first, then what holds, then what informs; within these required organisms without a result (E.
        coli before the others), then limits of health, microbiology and radiology, then the others; then by kind, class
        of limit and margin. An empty table says that nothing was flagged, not that nothing is wrong.
    """
    decision = check.decision
    parts = [
        _results(check.judged, decision.reasons),
        _listed(_gap(reason) for reason in decision.reasons if reason.code in _GAPS),
        _listed(_finding(finding) for finding in check.findings if finding.severity == Severity.HOLD),
        _listed(_rule(reason) for reason in _other_holds(decision.reasons, check.findings)),
        _listed(_not_tested(decision.not_tested, decision.reasons)),
    ]
    if stages is not None:
        parts.append(_stages(stages))
    together = pd.concat([part for part in parts if len(part)] or parts[:1], ignore_index=True)
    together[Flags.limit_class] = _classes(together, gravest_class(limits) if limits is not None else {})
    if limits is not None:
        asking = together[Flags.parameter].map(tables_asking(limits)).astype("str").fillna("")
        together[Flags.table] = together[Flags.table].mask(_without_result(together), asking)
    return Flags.validate(together.iloc[_order(together)].reset_index(drop=True))


def of_tables(flagged: DataFrame[Flags], tables: Iterable[str]) -> pd.Series[bool]:
    """Tell which flags are about a limit of one of the *tables*, also those on a parameter without a result."""
    wanted = set(tables)
    known = {text: not wanted.isdisjoint(text.split(BETWEEN_TABLES)) for text in flagged[Flags.table].unique()}
    return flagged[Flags.table].map(known).astype("bool")


def _without_result(flagged: pd.DataFrame) -> pd.Series[bool]:
    return flagged[Flags.kind].isin([FlagKind.REQUIRED, FlagKind.NOT_TESTED])


def place_text(rows: pd.DataFrame) -> pd.Series[str]:
    """Return ``workbook|sheet!cell`` of each row that has these three columns."""
    sheet = rows[Judged.sheet].fillna("").astype("str").replace(r"(?<=.)$", "!", regex=True)
    return rows[Judged.workbook].astype("str") + "|" + sheet + rows[Judged.cell].astype("str")


def _order(flagged: pd.DataFrame) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
    ranks = {
        Flags.leads_to: {str(word): rank for rank, word in enumerate(_WORST_FIRST)},
        Flags.kind: {str(kind): rank for rank, kind in enumerate(_KINDS)},
        Flags.limit_class: {str(harm): rank for rank, harm in enumerate(_CLASSES)},
    }
    leads, kind, harm = (flagged[name].map(ranked).fillna(len(ranked)).to_numpy() for name, ranked in ranks.items())
    margin = flagged[Flags.margin].fillna(np.inf).to_numpy(dtype=np.float64)
    return np.lexsort((margin, harm, kind, _gravity(flagged), leads))


def _gravity(flagged: pd.DataFrame) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
    """Rank what is looked for first: required organisms without a result, then what harms people, then the others."""
    grave = flagged[Flags.limit_class].isin([str(harm) for harm in _GRAVE])
    germs = flagged[Flags.limit_class].eq(str(LimitClass.MICROBIOLOGICAL)) & flagged[Flags.kind].eq(FlagKind.REQUIRED)
    return np.select([germs & flagged[Flags.parameter].eq(_FIRST), germs, grave], [0, 1, 2], 3)


def _classes(flagged: pd.DataFrame, known: Mapping[str, str]) -> pd.Series[str]:
    """Return the class of limit of each flag; one without a result has that of its parameter's gravest limit."""
    codes = flagged[Flags.parameter].where(_without_result(flagged), "")
    by_code = {code: known.get(code) or _class_by_kind(code) for code in codes.unique()}
    stated = flagged[Flags.limit_class]
    return stated.where(stated.ne(""), codes.map(by_code).fillna(""))


def _class_by_kind(code: str) -> str:
    """Return the class that the kind of a parameter tells without a table: organisms and radioactivity."""
    kind = catalogue()[code].kind if code in catalogue() else ""
    return kind if kind in (LimitClass.MICROBIOLOGICAL, LimitClass.RADIOLOGICAL) else ""


def _results(judged: DataFrame[Judged], reasons: Sequence[Reason]) -> pd.DataFrame:
    """Return the judged rows that are no plain pass; the decision's reasons say what each leads to."""
    kinds = judged[Judged.verdict].map({str(verdict): str(kind) for verdict, kind in KIND_OF.items()})
    at = np.flatnonzero(kinds.notna().to_numpy())
    rows = judged.iloc[at]
    code = rows[Judged.parameter].fillna("").astype("str")
    known = {one: name_of(one) for one in code.unique() if one}
    named = code.map(known).where(code.ne(""), rows[Judged.parameter_text])
    return pd.DataFrame(
        {
            Flags.kind: kinds.iloc[at], Flags.leads_to: _leads_to(rows, reasons), Flags.code: rows[Judged.verdict],
            Flags.parameter: code, Flags.name: _text(named), Flags.reported: rows[Judged.reported],
            **{name: _text(rows[name]) for name in (Flags.limit_class, Flags.table, Flags.stage, Flags.point,
                                                    Flags.sample)},
            Flags.where: place_text(rows), Flags.reason: rows[Judged.reason], Flags.margin: rows[Judged.margin],
            Flags.row: at,
        }
    )  # fmt: skip


def _text(column: pd.Series[Any]) -> pd.Series[str]:
    return column.fillna("").astype("str")


def _leads_to(rows: pd.DataFrame, reasons: Sequence[Reason]) -> pd.Series[str]:
    """Return what each judged row leads to by the reasons of the decision; one without a reason holds."""
    worst: dict[tuple[str, str, str, str], Disposition] = {}
    for reason in reasons:
        if found := _TABLE.search(reason.message):
            key = (reason.where, reason.parameter, reason.code, found[1])
            worst[key] = min(worst.get(key, reason.disposition), reason.disposition, key=_WORST_FIRST.index)
    columns = (place_text(rows), _text(rows[Judged.parameter]), rows[Judged.verdict], _text(rows[Judged.table]))
    words = [str(worst.get(key, Disposition.HOLD)) for key in zip(*columns, strict=True)]
    return pd.Series(words, index=rows.index, dtype="str")


def _listed(rows: Iterable[Mapping[str, object]]) -> pd.DataFrame:
    """Return rows that give only what they know as a table with all columns."""
    blank = dict.fromkeys(Flags.to_schema().columns, "") | {Flags.margin: np.nan, Flags.row: -1}
    return pd.DataFrame([{**blank, **row} for row in rows], columns=list(blank))


def _gap(reason: Reason) -> dict[str, object]:
    return {**_of_reason(reason), Flags.kind: FlagKind.REQUIRED}


def _rule(reason: Reason) -> dict[str, object]:
    return {**_of_reason(reason), Flags.kind: FlagKind.RULE}


def _of_reason(reason: Reason) -> dict[str, object]:
    name = name_of(reason.parameter) if reason.parameter else reason.code
    return {
        Flags.leads_to: reason.disposition, Flags.code: reason.code, Flags.parameter: reason.parameter,
        Flags.name: name, Flags.where: reason.where, Flags.reason: reason.message,
    }  # fmt: skip


def _finding(finding: Finding) -> dict[str, object]:
    return {
        Flags.kind: FlagKind.FINDING, Flags.leads_to: Disposition.HOLD, Flags.code: finding.code,
        Flags.name: finding.code, Flags.reported: finding.given, Flags.where: finding.where,
        Flags.reason: finding.message,
    }  # fmt: skip


def _other_holds(reasons: Sequence[Reason], findings: Sequence[Finding]) -> list[Reason]:
    """Return the reasons that hold and that no other part of the list tells."""
    told = {finding.code for finding in findings if finding.severity == Severity.HOLD}
    told |= {*map(str, KIND_OF), *_GAPS, "not tested"}
    return [reason for reason in reasons if reason.disposition != Disposition.RELEASE and reason.code not in told]


def _not_tested(codes: Sequence[str], reasons: Sequence[Reason]) -> Iterable[Mapping[str, object]]:
    """Yield what has a limit and no result; the reason of the decision says whether that holds."""
    leads = next((reason.disposition for reason in reasons if reason.code == "not tested"), Disposition.RELEASE)
    for code in codes:
        yield {
            Flags.kind: FlagKind.NOT_TESTED, Flags.leads_to: leads, Flags.code: "not tested", Flags.parameter: code,
            Flags.name: name_of(code), Flags.reason: "a chosen table limits it, and the sheets have no result of it",
        }  # fmt: skip


def _stages(stages: DataFrame[StageVerdicts]) -> pd.DataFrame:
    """Return the removals that are weak or worse than the inlet; they inform and decide nothing."""
    at = np.flatnonzero(stages[StageVerdicts.verdict].isin([str(word) for word in BAD]).to_numpy())
    rows = stages.iloc[at]
    unit = _text(rows[StageVerdicts.unit])
    return pd.DataFrame(
        {
            **dict.fromkeys(Flags.to_schema().columns, ""),
            Flags.kind: str(FlagKind.STAGE), Flags.leads_to: str(Disposition.RELEASE),
            Flags.code: rows[StageVerdicts.verdict], Flags.parameter: rows[StageVerdicts.parameter],
            Flags.name: [name_of(code) for code in rows[StageVerdicts.parameter]],
            Flags.reported: rows[StageVerdicts.inlet] + " → " + rows[StageVerdicts.outlet] + " " + unit,
            Flags.stage: rows[StageVerdicts.stage], Flags.point: rows[StageVerdicts.outlet_point],
            Flags.where: _text(rows[StageVerdicts.outlet_cells]),
            Flags.reason: rows[StageVerdicts.verdict] + "; usual: " + _text(rows[StageVerdicts.expected]),
            Flags.margin: np.nan, Flags.row: at,
        },
        index=rows.index,
    )  # fmt: skip
