"""Turns readings and limit tables into judged rows: every result beside every limit that binds it, with a verdict."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.judging.binding import LimitRows, all_rows, bound_rows, pairs_in_force, sampling_days, unbound_reasons
from wqcheck.judging.combined import judge_combined
from wqcheck.judging.parts import judge_parts
from wqcheck.judging.plans import row_plans, with_plans
from wqcheck.judging.ranges import Pairs, Ranges, is_count, own_ranges, ranges_in, row_numbers, volume_examined
from wqcheck.judging.row_rules import RowRules, row_rules
from wqcheck.judging.rows import Outcome, Results, joined, judged_rows, no_limit, outcome
from wqcheck.judging.rules import JudgingRules
from wqcheck.limit_tables.checks import COMBINED_RULES
from wqcheck.limit_tables.loading import LimitTable, product_word
from wqcheck.tables import Judged, Limits, Readings, Rule, Sign, Verdict
from wqcheck.units import tidy

SIMPLE_RULES = JudgingRules()
"""Simple acceptance for every table, with what the sheet states as uncertainty."""

WORST_FIRST = (
    *(Verdict.FAIL, Verdict.CONDITIONAL_FAIL, Verdict.UNDETERMINED),
    *(Verdict.CONDITIONAL_PASS, Verdict.PASS, Verdict.NO_LIMIT),
)
"""Verdicts from the one that weighs most to the one that weighs least."""


def judge(
    readings: DataFrame[Readings],
    tables: Sequence[LimitTable],
    *,
    product: str,
    on: date,
    rules: JudgingRules = SIMPLE_RULES,
) -> DataFrame[Judged]:
    """Return every reading with every limit row that binds it, and the verdict.

    Each table is judged on its own. Everything is compared as the range of what a result can be: it passes when the
    whole range meets the limit, fails when none of it does, and is undetermined otherwise.

    Parameters
    ----------
    readings : DataFrame
        One row per reported result; left as it is.
    tables : sequence of LimitTable
        As loaded; rows that hold only guidance are not judged.
    product : str
        A word of :class:`wqcheck.tables.Product`; a row binds it when it names that word or ``any``.
    on : date
        Taken as the sampling day where the sheet gives none: it selects the rows in force.
    rules : JudgingRules
        How results are set beside the limits of each table; simple acceptance of the value as it is by default.

    Returns
    -------
    DataFrame
        Rows in the order of the readings, then of the tables; a reading that no row binds stands once. Sums and
        ratios follow, one row per sample, then limits on wholes that reported parts alone exceed.

    Raises
    ------
    UnknownProductError
        *product* is not one of the words.
    """
    word = product_word(product)
    rows = all_rows(tables)
    limits = bound_rows(rows, word, readings[Readings.parameter].dropna().unique())
    own_rules = row_rules(limits, tables, rules)
    days = sampling_days(readings, on)
    own = own_ranges(readings)
    pairs = _without_doubles(limits, pairs_in_force(readings, limits.rows, days))
    bound = _outcome(readings, own, limits, own_rules, pairs)
    bound = with_plans(readings, own, days, bound, row_plans(tables, limits))
    met = np.zeros(len(readings), dtype=np.bool_)
    met[pairs.reading] = True
    alone = np.flatnonzero(met == np.False_)
    why = unbound_reasons(readings[Readings.parameter].iloc[alone], rows, limits, word)
    singles = judged_rows(readings, limits, own_rules, joined(bound, no_limit(alone, why)))
    sums = judge_combined(readings, own, limits, own_rules, days)
    parts = judge_parts(readings, own, limits, own_rules, days, singles)
    added = [table for table in (sums, parts) if len(table)]
    return pd.concat([singles, *added], ignore_index=True) if added else singles


def _without_doubles(limits: LimitRows, pairs: Pairs) -> Pairs:
    """Drop the row of a sum where the same table also limits the total as such: the total is judged once."""
    rule = limits.rows[Limits.rule]
    combined = rule.isin(COMBINED_RULES).to_numpy(dtype=bool)[pairs.target]
    plain = (rule == Rule.MAX).to_numpy(dtype=bool)[pairs.target]
    tables, names = pd.factorize(limits.rows[Judged.table])
    key = pairs.reading * len(names) + tables[pairs.target]
    kept = ~(combined & np.isin(key, key[plain])) if combined.any() else np.ones(len(key), dtype=np.bool_)
    return Pairs(pairs.reading[kept], pairs.target[kept])


def _outcome(readings: DataFrame[Readings], own: Ranges, limits: LimitRows, rules: RowRules, pairs: Pairs) -> Outcome:
    """Judge single results, a total reported under the code of its sum included."""
    ranges, stated = ranges_in(readings, own, limits.targets(), pairs)
    uncounted = (readings[Readings.sign] == Sign.GREATER) & readings[Readings.value].isna()
    total = limits.rows[Limits.rule].isin(COMBINED_RULES).to_numpy(dtype=bool)[pairs.target]
    counted = is_count(readings)
    upper = limits.rows[Limits.upper].to_numpy(dtype=np.float64)
    whole = np.where(upper > 0, upper, np.nan)[pairs.target]
    results = Results(
        reported=readings[Readings.reported].take(pairs.reading),
        stated=stated.uncertainty,
        measured=(readings[Readings.sign] == Sign.EQUAL).to_numpy(dtype=bool)[pairs.reading],
        counted=counted[pairs.reading],
        examined=volume_examined(readings)[pairs.reading],
        uncounted=(uncounted.to_numpy(dtype=bool) & counted)[pairs.reading],
        loq_percent=tidy(100 * stated.reporting_limit / whole),
    )
    return outcome(results, limits, rules, pairs, ranges.noted(total, "this is the total as reported"))


def strictest(judged: DataFrame[Judged]) -> DataFrame[Judged]:
    """Return for each reading the judged row that weighs most: the worst verdict, then the smallest margin.

    Readings are told apart by workbook, sheet, cell, sample, parameter and text; the order of the rows is kept.
    """
    identity = (Judged.workbook, Judged.sheet, Judged.cell, Judged.sample, Judged.parameter, Judged.reported)
    key = row_numbers([judged[name] for name in identity])
    words, places = pd.factorize(judged[Judged.verdict])
    weight = np.array([WORST_FIRST.index(Verdict(word)) for word in places], dtype=np.int64)[words]
    order = np.lexsort((judged[Judged.margin].to_numpy(dtype=np.float64), weight, key))
    firsts = np.ones(len(order), dtype=np.bool_)
    firsts[1:] = key[order][1:] != key[order][:-1]
    return judged.take(np.sort(order[firsts])).reset_index(drop=True)
