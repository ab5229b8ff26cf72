"""Turns results of parts into failures of the limits on their wholes: a part above the limit is proof about the whole.

``part_whole.csv`` of the package ``quality`` says which parameter contains which. Parts below the limit prove nothing,
so that the value alone counts here, whatever the decision rule of the table.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.judging.binding import Days, LimitRows
from wqcheck.judging.combined import judge_combined
from wqcheck.judging.ranges import Ranges, row_numbers
from wqcheck.judging.row_rules import RowRules
from wqcheck.quality.part_whole import wholes
from wqcheck.tables import Judged, Limits, Readings, Rule, Verdict

_SAMPLE = (Judged.batch, Judged.sample, Judged.point, Judged.sampled_at, Judged.table, Judged.limit_line)


def judge_parts(
    readings: DataFrame[Readings],
    own: Ranges,
    limits: LimitRows,
    rules: RowRules,
    days: Days,
    judged: DataFrame[Judged],
) -> DataFrame[Judged]:
    """Return a failing row for each limit on a whole that its reported parts alone exceed.

    Parameters
    ----------
    readings, own, limits, rules, days
        As for :func:`wqcheck.judging.combined.judge_combined`.
    judged : DataFrame
        What the results themselves gave; where the whole itself fails that limit, nothing is added.
    """
    places, parts = _rows_of_parts(limits, set(readings[Readings.parameter].dropna().unique()))
    if not len(places):
        return Judged.empty()
    found = judge_combined(readings, own, parts, rules.take(places).by_value_alone(), days)
    failing = found[found[Judged.verdict] == Verdict.FAIL].reset_index(drop=True)
    if failing.empty:
        return Judged.empty()
    known = judged[
        (judged[Judged.verdict] == Verdict.FAIL) & judged[Judged.parameter].isin(set(failing[Judged.parameter]))
    ]
    both = pd.concat([known[list(_SAMPLE)], failing[list(_SAMPLE)]], ignore_index=True)
    key = row_numbers([both[name] for name in _SAMPLE])
    new = failing[np.isin(key[len(known) :], key[: len(known)]) == np.False_].reset_index(drop=True)
    return _as_limited(new, limits)


def _rows_of_parts(
    limits: LimitRows, reported: set[str]
) -> tuple[np.ndarray[tuple[int], np.dtype[np.int64]], LimitRows]:
    """Return the rows that limit a whole of which parts are reported, written as limits on the sum of those parts."""
    rows = limits.rows
    single = rows[Limits.rule].isin([Rule.MAX, Rule.ABSENT]).to_numpy(dtype=bool)
    listed = [
        (place, entry)
        for place, (code, fits) in enumerate(zip(rows[Limits.parameter], single, strict=True))
        for entry in wholes()
        if fits and entry.code == code and not reported.isdisjoint(entry.parts)
    ]
    places = np.array([place for place, _ in listed], dtype=np.int64)
    kept = rows.iloc[places].reset_index(drop=True)
    kept[Limits.basis] = kept[Limits.basis].fillna(pd.Series([entry.basis or None for _, entry in listed], dtype="str"))
    kept[Limits.members] = pd.Series([";".join(entry.parts) for _, entry in listed], dtype="str")
    kept[Limits.upper] = kept[Limits.upper].mask(kept[Limits.rule] == Rule.ABSENT, 0.0)
    kept[Limits.rule] = pd.Series(str(Rule.SUM_MAX), index=kept.index, dtype="str")
    said = [f"{limits.phrase[place]} on {entry.code}, of which it is a part" for place, entry in listed]
    whole = replace(
        limits,
        rows=kept,
        unit=limits.unit[places],
        phrase=np.array(said, dtype=np.object_),
        none_allowed=np.zeros(len(places), dtype=np.bool_),
    )
    return places, whole


def _as_limited(rows: DataFrame[Judged], limits: LimitRows) -> DataFrame[Judged]:
    """Return the *rows* with rule and limit as their tables write them, and without the unit of a sum."""
    keys = [str(Judged.table), str(Judged.limit_line)]
    line = str(Limits.line)
    own = limits.rows[[Judged.table, Limits.line, Limits.rule, Limits.upper, Limits.basis]].drop_duplicates(
        [Judged.table, Limits.line]
    )
    own = own.rename(columns={line: keys[1]}).assign(**{keys[1]: own[line].astype(np.float64)})
    written = rows[keys].merge(own, on=keys, how="left")
    changed = {
        str(Judged.rule): written[Limits.rule].to_numpy(),
        str(Judged.upper): written[Limits.upper].to_numpy(),
        str(Judged.limit_basis): written[Limits.basis].to_numpy(),
        str(Judged.unit): None,
    }
    told = rows.assign(**changed)
    return told.astype({name: rows[name].dtype for name in changed})
