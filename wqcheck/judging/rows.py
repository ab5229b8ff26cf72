"""Turns readings, the limit rows they met and what came of it into one table of judged rows."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import cast

import numpy as np
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.judging.binding import LimitRows
from wqcheck.judging.ranges import Bools, Floats, Ints, Pairs, Ranges, Trouble
from wqcheck.judging.reasons import Setting, UncertaintyTold, number_words, sentences, spaced
from wqcheck.judging.row_rules import RowRules, Uncertain
from wqcheck.judging.verdicts import SERIES_RULES, VERDICTS, Bounds, Verdicts, bounds, decide, rounded
from wqcheck.statistics.conformance import conformance_probabilities
from wqcheck.tables import Judged, Limits, Readings, Verdict

_PASS, _FAIL, _OPEN, _NEAR_PASS, _NEAR_FAIL = (
    VERDICTS.index(word)
    for word in (
        *(Verdict.PASS, Verdict.FAIL, Verdict.UNDETERMINED),
        *(Verdict.CONDITIONAL_PASS, Verdict.CONDITIONAL_FAIL),
    )
)


@dataclass(frozen=True, slots=True, eq=False)
class Results:
    """What n results say beside their ranges; arrays of shape (n,).

    ``reported`` is the text as given, ``stated`` the stated expanded uncertainty in the limit's unit (NaN for none),
    ``measured`` whether the result is a quantity and not a non-detect, ``counted`` whether it counts organisms,
    ``examined`` the volume in mL, ``uncounted`` whether organisms were too numerous to count, ``loq_percent`` the
    reporting limit in percent of the limit.
    """

    reported: pd.Series
    stated: Floats
    measured: Bools
    counted: Bools
    examined: Floats
    uncounted: Bools
    loq_percent: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """What came of n pairs of a reading and a limit row (target -1: no row); arrays of shape (n,).

    ``verdict`` holds places in :data:`wqcheck.judging.verdicts.VERDICTS`, ``source`` in
    :attr:`wqcheck.judging.row_rules.RowRules.sources`; the other fields are the columns of the same name.
    """

    pairs: Pairs
    low: Floats
    high: Floats
    compared: Floats
    margin: Floats
    verdict: Ints
    reason: pd.Series
    expanded: Floats
    source: Ints
    guard: Floats
    conformity: Floats
    loq_percent: Floats


def outcome(results: Results, limits: LimitRows, rules: RowRules, pairs: Pairs, ranges: Ranges) -> Outcome:
    """Return verdict, margin and reason of *results* whose *ranges* are in the unit of their rows."""
    rows, target = limits.rows, pairs.target
    lower, upper = (rows[name].to_numpy(dtype=np.float64) for name in (Limits.lower, Limits.upper))
    rule = rows[Limits.rule].to_numpy(dtype=object)
    allowed = bounds(rule, lower, upper).take(target)
    uncertain = _uncertain(results, rules, target)
    guard = np.where(uncertain.expanded > 0, rules.multiple[target] * uncertain.expanded, 0.0)
    compared = rounded(ranges, rules.step[target], rules.half_up[target])
    decided = decide(compared, allowed, guard)
    guarded = rules.binary[target] & np.isin(decided.verdict, (_NEAR_PASS, _NEAR_FAIL))
    blind = _blind(results, rules, target, uncertain, decided)
    absence = limits.none_allowed[target]
    setting = Setting(
        target=target,
        phrase=limits.phrase,
        unit=limits.unit,
        examined=np.where(absence, results.examined, np.nan),
        absence=absence,
        series=np.isin(rule.astype(str), SERIES_RULES)[target],
        uncounted=results.uncounted,
        guarded=guarded,
        blind=blind,
    )
    conformity = _conformity(ranges, allowed, uncertain)
    noted = _noted(ranges, compared, limits, rules, target, results.loq_percent)
    told = UncertaintyTold(
        *(target, limits.unit, uncertain.expanded, uncertain.coverage, uncertain.source),
        *(rules.sources, guard, conformity),
    )
    return Outcome(
        pairs=pairs,
        low=ranges.low,
        high=ranges.high,
        compared=decided.compared,
        margin=np.where(blind, np.nan, decided.margin),
        verdict=np.select([guarded, blind], [_FAIL, _OPEN], decided.verdict).astype(np.int64),
        reason=sentences(results.reported, setting, noted, decided.verdict, told),
        expanded=uncertain.expanded,
        source=uncertain.source,
        guard=np.where(rules.multiple[target] > 0, guard, np.nan),
        conformity=conformity,
        loq_percent=results.loq_percent,
    )


def _uncertain(results: Results, rules: RowRules, target: Ints) -> Uncertain:
    """Return the uncertainties; a non-detect has none, and nothing but what a sheet states holds for a count."""
    found = rules.uncertain(np.where(results.measured, results.stated, np.nan), target)
    none = (results.measured == np.False_) | (results.counted & np.isnan(results.stated))
    return replace(found, expanded=np.where(none, np.nan, found.expanded), source=np.where(none, 0, found.source))


def _blind(results: Results, rules: RowRules, target: Ints, uncertain: Uncertain, decided: Verdicts) -> Bools:
    """Tell which results pass by their value while their decision rule needs an uncertainty that nobody gave."""
    needed = rules.strict[target] & results.measured & (results.counted == np.False_)
    blind: Bools = needed & np.isnan(uncertain.expanded) & (decided.verdict == _PASS)
    return blind


def _conformity(ranges: Ranges, allowed: Bounds, uncertain: Uncertain) -> Floats:
    """Return the probability that each exact result's true value meets its limit (JCGM 106:2012, 7.2 to 7.4)."""
    exact = (ranges.low == ranges.high) & (ranges.trouble == Trouble.NONE) & allowed.decidable
    value = np.where(exact, ranges.low, np.nan)
    bounded = np.isfinite(allowed.upper) | np.isfinite(allowed.lower)
    found = conformance_probabilities(value, uncertain.standard, allowed.lower, allowed.upper)
    return np.where(bounded, found, np.nan)


def _noted(
    ranges: Ranges, compared: Ranges, limits: LimitRows, rules: RowRules, target: Ints, loq_percent: Floats
) -> Ranges:
    """Return the *ranges* with notes on rounding and on reporting limits that are too high for their limit."""
    with np.errstate(invalid="ignore"):
        too_high = loq_percent > rules.loq_percent[target]
    for note in set(rules.loq_note[target[too_high]].tolist()):
        ranges = ranges.noted(too_high & (rules.loq_note[target] == note), f"its reporting limit is {note}")
    moved = np.isfinite(rules.step[target]) & np.isfinite(compared.high) & (compared.high != ranges.high)
    if not moved.any():
        return ranges
    where, note = np.flatnonzero(moved), ranges.note.copy()
    numbers = number_words(compared.high[where], "")
    units = [spaced(unit) for unit in limits.unit[target[where]].tolist()]
    added = [f"rounded to {number}{unit} (ASTM E29)" for number, unit in zip(numbers, units, strict=True)]
    note[where] = [f"{old}; {new}" if old else new for old, new in zip(note[where].tolist(), added, strict=True)]
    return replace(ranges, note=note)


def no_limit(reading: Ints, reason: pd.Series) -> Outcome:
    """Return the outcome of the *reading* numbers that no row binds, with the *reason* of each."""
    count = len(reading)
    unknown, none = np.full(count, np.nan), np.zeros(count, dtype=np.int64)
    pairs = Pairs(reading, np.full(count, -1, dtype=np.int64))
    verdict = np.full(count, VERDICTS.index(Verdict.NO_LIMIT), dtype=np.int64)
    ends = (unknown, unknown, unknown, unknown)
    return Outcome(pairs, *ends, verdict, reason, unknown, none, unknown, unknown, unknown)


def joined(first: Outcome, second: Outcome) -> Outcome:
    """Return both outcomes as one, in the order of the readings; *first* is in that order already."""
    if not len(second.pairs.reading):
        return first
    reading = np.concatenate([first.pairs.reading, second.pairs.reading])
    target = np.concatenate([first.pairs.target, second.pairs.target])
    order = np.argsort(reading, kind="stable")
    both = {
        field.name: np.concatenate([getattr(first, field.name), getattr(second, field.name)])[order]
        for field in fields(Outcome)
        if field.name not in {"pairs", "reason"}
    }
    reason = pd.concat([first.reason, second.reason], ignore_index=True).take(order)
    return Outcome(pairs=Pairs(reading[order], target[order]), reason=reason, **both)


def judged_rows(readings: DataFrame[Readings], limits: LimitRows, rules: RowRules, found: Outcome) -> DataFrame[Judged]:
    """Return the table of judged rows: the reading's columns, the limit row's, and what was *found*."""
    told = readings.take(found.pairs.reading).reset_index(drop=True)
    names = [Judged.table, Judged.rule, Judged.lower, Judged.upper, Judged.limit_class]
    names += [Judged.status, Judged.source, Judged.clause, Judged.evidence]
    rows = limits.rows[names].assign(
        **{
            str(Judged.limit_unit): pd.Series(limits.unit, dtype="str"),
            str(Judged.limit_basis): limits.rows[Limits.basis],
            str(Judged.limit_line): limits.rows[Limits.line].astype(np.float64),
            str(Judged.decision_rule): pd.Series(rules.label, dtype="str"),
        }
    )
    bound = rows.reindex(np.arange(len(rows) + 1)).take(found.pairs.target).reset_index(drop=True)
    table = pd.concat([told, bound, _gained(found, rules)], axis=1)
    return cast("DataFrame[Judged]", table[list(Judged.to_schema().columns)])


def _gained(found: Outcome, rules: RowRules) -> pd.DataFrame:
    sources = pd.Series([words or None for words in rules.sources], dtype="str")
    unknown = np.full(len(found.verdict), np.nan)
    return pd.DataFrame(
        {
            str(Judged.compared_value): found.compared,
            str(Judged.compared_low): found.low,
            str(Judged.compared_high): found.high,
            str(Judged.verdict): pd.Series(VERDICTS, dtype="str").take(found.verdict).reset_index(drop=True),
            str(Judged.margin): found.margin,
            str(Judged.reason): found.reason.reset_index(drop=True),
            str(Judged.expanded_uncertainty): found.expanded,
            str(Judged.uncertainty_source): sources.take(found.source).reset_index(drop=True),
            str(Judged.guard_band): found.guard,
            str(Judged.conformity): found.conformity,
            str(Judged.loq_percent): found.loq_percent,
            **{str(name): unknown for name in (Judged.sum_lower, Judged.sum_middle, Judged.sum_upper)},
        }
    )
