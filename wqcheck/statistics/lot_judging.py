"""Turns judged units into one line per lot, with what its sampling plan would accept how often."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd

from wqcheck.judging.plans import plans_named
from wqcheck.limit_tables.sampling_plans import plan_name
from wqcheck.statistics.sampling_plans import operating_characteristic
from wqcheck.tables import Judged, Verdict

_WORST = (Verdict.FAIL, Verdict.UNDETERMINED, Verdict.PASS)


def lots_judged(units: pd.DataFrame) -> Iterator[dict[str, Any]]:
    """Yield the columns of one judged series per lot of *units* (judged rows of one limit row with a plan).

    A lot is a batch, or a sampling day where no batch is stated, at one point; the worst verdict of its units is its
    own.
    """
    chances = _chances(str(units[Judged.status].iloc[0]))
    day = units[Judged.sampled_at].dt.strftime("%Y-%m-%d").fillna("no date")
    lot = ("batch " + units[Judged.batch]).fillna(day)
    for (name, point), rows in units.groupby([lot, Judged.point], sort=False, dropna=False):
        low, high = (rows[column].to_numpy(dtype=np.float64) for column in (Judged.compared_low, Judged.compared_high))
        verdict = next((word for word in _WORST if rows[Judged.verdict].eq(word).any()), Verdict.UNDETERMINED)
        told = str(rows.loc[rows[Judged.verdict].eq(verdict), Judged.reason].iloc[0])
        yield {
            "point": point if isinstance(point, str) else None,
            "period": name,
            "n": len(rows),
            "non_detects": int((np.isfinite(high) & (low <= 0)).sum()),
            "unknown": int((np.isnan(low) | np.isnan(high)).sum()),
            "low": float(np.nan_to_num(low).max()),
            "high": float(np.where(np.isnan(high), np.inf, high).max()),
            "verdict": verdict,
            "reason": told.rstrip(".") + chances,
        }


def _chances(status: str) -> str:
    """Return what the plans of a limit row would accept how often, for print behind a reason."""
    plans = plans_named(plan_name(status))
    return "".join(f"; by {row.method} the plan {operating_characteristic(row.plan)}" for row in plans)
