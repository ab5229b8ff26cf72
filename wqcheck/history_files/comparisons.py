"""Turns recorded verdicts, drift flags and rules on series into one row per series and limit, with what it asks for."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from wqcheck.statistics.drift import KEYS, Drift
from wqcheck.tables import Judged, Rule, Verdict

ATTENTION = (
    "beyond the limit",
    "a rule on the series is broken",
    "cannot be told",
    str(Drift.DRIFTING),
    str(Drift.LOOK),
)
"""What a comparison asks attention for, what weighs most first; its place is the ``grade`` of a row."""

NOTHING = "nothing asks for attention"

_FLAG_COLUMNS = [
    *("p", "slope_low", "slope_high", "interval_low", "interval_high", "crossing_earliest", "crossing"),
    *("crossing_latest", "rules", "drift"),
]
_LIMIT_COLUMNS = {
    "rule": Judged.rule, "lower": Judged.lower, "upper": Judged.upper, "basis": Judged.limit_basis,
    "class": Judged.limit_class, "clause": Judged.clause,
}  # fmt: skip
SERIES_RULES = (Rule.MEAN_MAX, Rule.PERCENTILE_MAX)
"""Rules that say nothing of a single result: only the verdict on the series counts."""

_COUNTS = {
    "passed": (Verdict.PASS, Verdict.CONDITIONAL_PASS),
    "failed": (Verdict.FAIL, Verdict.CONDITIONAL_FAIL),
}


def comparisons_of(verdicts: pd.DataFrame, flags: pd.DataFrame, rules: pd.DataFrame) -> pd.DataFrame:
    """Return one row per series and limit row.

    Parameters
    ----------
    verdicts : DataFrame
        Recorded verdicts of the period (columns of Judged).
    flags : DataFrame[DriftFlags]
    rules : DataFrame[JudgedSeries]

    Returns
    -------
    DataFrame
        Columns: parameter, point, table, limit_line, unit, rule, lower, upper, basis, class, clause, n, passed, failed,
        undetermined, share_low and share_high (0 to 1, of results that meet the limit: undetermined ones as not, and as
        meeting it; nothing of all these under a rule on the series), those of the drift flag (p, slopes and their
        interval per year, crossings, rules, drift), drift_reason, rule_verdict and rule_figure (of the rule on the
        series: of a period that fails, else the latest one), grade, attention. What asks for attention stands first.
    """
    keys = list(KEYS)
    groups = verdicts.groupby(keys, dropna=False, sort=False)
    rows = groups[list(_LIMIT_COLUMNS.values())].last(skipna=False) if len(verdicts) else _no_rows(verdicts)
    counts = pd.DataFrame({name: verdicts[Judged.verdict].isin(words) for name, words in _COUNTS.items()})
    summed = counts.groupby([verdicts[key] for key in keys], dropna=False, sort=False).sum()
    table = rows.rename(columns={column: name for name, column in _LIMIT_COLUMNS.items()}).reset_index()
    table = table.assign(n=groups.size().to_numpy(), **{name: summed[name].to_numpy() for name in _COUNTS})
    table["undetermined"] = table["n"] - table["passed"] - table["failed"]
    single = table["rule"].isin(SERIES_RULES).eq(False).astype(int)
    table = table.assign(**{name: table[name] * single for name in (*_COUNTS, "undetermined")})
    table["share_low"] = table["passed"] / table["n"]
    table["share_high"] = (table["n"] - table["failed"]) / table["n"]
    table.loc[single.eq(0), ["share_low", "share_high"]] = np.nan
    flagged = flags.rename(columns={"unit": Judged.limit_unit, "reason": "drift_reason"})
    merged = table.merge(flagged[[*keys, *_FLAG_COLUMNS, "drift_reason"]], on=keys, how="left", validate="1:1")
    merged = _with_rules(merged, rules)
    return _graded(merged.rename(columns={Judged.limit_unit: "unit"}))


def _no_rows(verdicts: pd.DataFrame) -> pd.DataFrame:
    return verdicts.set_index(list(KEYS))[list(_LIMIT_COLUMNS.values())]


def _with_rules(table: pd.DataFrame, rules: pd.DataFrame) -> pd.DataFrame:
    """Add the rule on the series; one over all points together (lead and copper at taps) stands beside each of them."""
    worst, both = _worst_rules(rules), ["rule_verdict", "rule_figure"]
    everywhere = worst[worst["point"].isna()].drop(columns="point")
    own = table.merge(worst, on=["table", "clause", "parameter", "point"], how="left")[both]
    over_all = table.merge(everywhere, on=["table", "clause", "parameter"], how="left")[both]
    return pd.concat([table, own.fillna(over_all)], axis="columns")


def _worst_rules(rules: pd.DataFrame) -> pd.DataFrame:
    """Return of each series the rule that fails, else the latest."""
    failed = rules["verdict"].eq(Verdict.FAIL)
    ranked = rules.assign(failed=failed).sort_values("failed", kind="stable")
    last = ranked.drop_duplicates(["table", "clause", "parameter", "point"], keep="last")
    named = last.assign(
        rule_verdict=last["verdict"],
        rule_figure=last["statistic"] + " of " + last["period"],
    )
    return named[["table", "clause", "parameter", "point", "rule_verdict", "rule_figure"]]


def _graded(table: pd.DataFrame) -> pd.DataFrame:
    """Add what each row asks attention for, and put the gravest first."""
    series = table["rule"].isin(SERIES_RULES)
    asked: list[Any] = [
        table["failed"].gt(0) | table["drift"].eq(Drift.OVER).fillna(False),
        table["rule_verdict"].eq(Verdict.FAIL).fillna(False),
        table["undetermined"].gt(0) | (series & table["rule_verdict"].eq(Verdict.PASS).fillna(False).eq(False)),
        table["drift"].eq(Drift.DRIFTING).fillna(False),
        table["drift"].eq(Drift.LOOK).fillna(False),
    ]
    masks = np.array([mask.to_numpy(dtype=np.bool_) for mask in asked])
    words = ["; ".join(word for word, on in zip(ATTENTION, row, strict=True) if on) or NOTHING for row in masks.T]
    grade: Any = np.where(masks.any(axis=0), masks.argmax(axis=0), len(ATTENTION)) if len(table) else []
    graded = table.assign(grade=grade, attention=words)
    order = ["grade", "crossing", "share_high", "parameter", "point"]
    return graded.sort_values(order, kind="stable", na_position="last", ignore_index=True)
