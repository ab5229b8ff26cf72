"""Turns judged rows into findings where a reporting limit is too high to judge its limit with."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.findings import Finding, Severity
from wqcheck.judging.rules import JudgingRules
from wqcheck.judging.uncertainty import has_characteristics, level_share
from wqcheck.tables import Judged, Rule, Verdict
from wqcheck.units import tidy

CODE = "reporting limit too high"


def reporting_limit_findings(judged: DataFrame[Judged], rules: JudgingRules) -> Iterator[Finding]:
    """Yield a note for each parameter and table whose reporting limit is above the share that the text allows.

    It never changes a verdict: a result that passes does so with a method that the text does not call fit for purpose.
    """
    summed = judged[Judged.rule].isin([Rule.MAX, Rule.SUM_MAX])
    concerned = judged[summed & judged[Judged.loq_percent].notna()]
    for (table, parameter), rows in concerned.groupby([Judged.table, Judged.parameter], sort=False):
        rule = rules.of(str(table))
        if rule.loq_max_percent is None or not has_characteristics(str(parameter), str(table)):
            continue
        most = float(tidy(rule.loq_max_percent * level_share(str(parameter), str(table))))
        high = rows[rows[Judged.loq_percent] > most]
        if len(high):
            yield _finding(high, most, rule.loq_clause)


def blind_passes(judged: DataFrame[Judged]) -> Iterator[Finding]:
    """Yield a finding that holds for each parameter and table that pass below a reporting limit above their limit.

    The method could not have seen an exceedance (``0`` or ``<1`` beside a reporting limit of 50, and a limit of 10).
    """
    upper = judged[Judged.rule].eq(Rule.MAX) & judged[Judged.verdict].isin([Verdict.PASS, Verdict.CONDITIONAL_PASS])
    blind = upper & judged[Judged.loq_percent].gt(100) & judged[Judged.value].le(judged[Judged.reporting_limit])
    for (table, parameter), rows in judged[blind].groupby([Judged.table, Judged.parameter], sort=False):
        worst = rows.iloc[0]
        message = (
            f"{len(rows)} result(s) of {parameter} meet the limit of {table} by their figure, but the reporting limit "
            f"beside it, {worst[Judged.reporting_limit]:g}, is above that limit, so that nothing is shown; ask the "
            "laboratory for a method with a lower one"
        )
        yield Finding(
            code="reporting limit above limit", severity=Severity.HOLD, message=message, where=_place(worst),
            given=str(worst[Judged.reported]),
        )  # fmt: skip


def _place(row: pd.Series) -> str:
    sheet = f"{row[Judged.sheet]}!" if isinstance(row[Judged.sheet], str) else ""
    return f"{row[Judged.workbook]}|{sheet}{row[Judged.cell]}"


def _finding(rows: pd.DataFrame, most: float, clause: str) -> Finding:
    worst = rows.iloc[int(np.argmax(rows[Judged.loq_percent].to_numpy(dtype=np.float64)))]
    return Finding(
        code=CODE,
        severity=Severity.NOTE,
        message=(
            f"{len(rows)} × {worst[Judged.parameter]}: a reporting limit is {worst[Judged.loq_percent]:.3g} % of "
            f"the limit of {worst[Judged.table]}, more than {most:g} % ({clause}); ask the laboratory for a method "
            "with a lower one"
        ),
        where=_place(worst),
        given=str(worst[Judged.reported]),
    )
