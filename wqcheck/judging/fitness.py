"""Turns judged rows into findings where a reporting limit is too high to judge its limit with."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.findings import Finding, Severity
from wqcheck.judging.rules import JudgingRules
from wqcheck.judging.uncertainty import has_characteristics, level_share
from wqcheck.tables import Judged, Rule
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


def _finding(rows: pd.DataFrame, most: float, clause: str) -> Finding:
    worst = rows.iloc[int(np.argmax(rows[Judged.loq_percent].to_numpy(dtype=np.float64)))]
    sheet = f"{worst[Judged.sheet]}!" if isinstance(worst[Judged.sheet], str) else ""
    return Finding(
        code=CODE,
        severity=Severity.NOTE,
        message=(
            f"{len(rows)} × {worst[Judged.parameter]}: a reporting limit is {worst[Judged.loq_percent]:.3g} % of "
            f"the limit of {worst[Judged.table]}, more than {most:g} % ({clause}); ask the laboratory for a method "
            "with a lower one"
        ),
        where=f"{worst[Judged.workbook]}|{sheet}{worst[Judged.cell]}",
        given=str(worst[Judged.reported]),
    )
