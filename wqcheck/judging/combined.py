"""Turns the results of one sample into verdicts on limits for their sum, or for the sum of their ratios."""

from __future__ import annotations

import numpy as np
from pandera.typing import DataFrame

from wqcheck.judging.binding import Days, LimitRows, pairs_in_force
from wqcheck.judging.ranges import Pairs, Ranges, ranges_in
from wqcheck.judging.row_rules import RowRules
from wqcheck.judging.rows import Results, judged_rows, outcome
from wqcheck.judging.sum_groups import Measured, groups_of, members_of, sample_numbers
from wqcheck.judging.sum_rows import sum_readings
from wqcheck.judging.sum_totals import totals_of
from wqcheck.tables import Judged, Readings


def judge_combined(
    readings: DataFrame[Readings], own: Ranges, limits: LimitRows, rules: RowRules, days: Days
) -> DataFrame[Judged]:
    """Return one judged row per sample and combined limit of which the sample has at least one member.

    A sample is what agrees in batch, sample, point and sampling day. Of several results of one member the largest
    counts. Its ``reported`` and ``cell`` list the members.
    """
    members = members_of(limits)
    pairs = pairs_in_force(readings, members.wanted, days)
    if not len(pairs.reading):
        return Judged.empty()
    measured = Measured(readings, pairs, *ranges_in(readings, own, members.targets, pairs))
    groups = groups_of(sample_numbers(readings, days)[pairs.reading], members, measured)
    totals = totals_of(limits, rules, members, groups, measured)
    told = sum_readings(limits, members, groups, measured, totals.ranges)
    count = len(groups.row)
    results = Results(
        reported=told[Readings.reported],
        stated=totals.uncertainty,
        measured=totals.lower > 0,
        counted=np.isfinite(members.targets.volume_ml)[groups.member[:, 0]],
        examined=np.full(count, np.nan),
        uncounted=np.zeros(count, dtype=np.bool_),
        loq_percent=totals.loq_percent,
    )
    found = outcome(results, limits, rules, Pairs(np.arange(count), groups.row), totals.ranges)
    table = judged_rows(told, limits, rules, found)
    bounds = {Judged.sum_lower: totals.lower, Judged.sum_middle: totals.middle, Judged.sum_upper: totals.upper}
    return table.assign(**{str(name): values for name, values in bounds.items()})
