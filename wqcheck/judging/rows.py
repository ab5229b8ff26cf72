"""Turns readings, the limit rows they met and what came of it into one table of judged rows."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import cast

import numpy as np
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.judging.binding import LimitRows
from wqcheck.judging.ranges import Bools, Floats, Ints, Pairs, Ranges
from wqcheck.judging.reasons import Setting, sentences
from wqcheck.judging.verdicts import SERIES_RULES, VERDICTS, bounds, decide
from wqcheck.tables import Judged, Limits, Readings, Verdict


@dataclass(frozen=True, slots=True, eq=False)
class Results:
    """What n results say beside their ranges; arrays of shape (n,).

    ``reported`` is the text as given, ``guard`` the width of the guard band in the limit's unit (0 for none),
    ``examined`` the volume in mL, ``uncounted`` whether organisms were too numerous to count.
    """

    reported: pd.Series
    guard: Floats
    examined: Floats
    uncounted: Bools


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """What came of n pairs of a reading and a limit row (target -1: no row); arrays of shape (n,).

    ``verdict`` holds places in :data:`wqcheck.judging.verdicts.VERDICTS`; the other fields are the columns of the same
    name.
    """

    pairs: Pairs
    low: Floats
    high: Floats
    compared: Floats
    margin: Floats
    verdict: Ints
    reason: pd.Series


def outcome(results: Results, limits: LimitRows, pairs: Pairs, ranges: Ranges) -> Outcome:
    """Return verdict, margin and reason of *results* whose *ranges* are in the unit of their rows."""
    rows, target = limits.rows, pairs.target
    lower, upper = (rows[name].to_numpy(dtype=np.float64) for name in (Limits.lower, Limits.upper))
    rule = rows[Limits.rule].to_numpy(dtype=object)
    allowed = bounds(rule, lower, upper).take(target)
    decided = decide(ranges, allowed, results.guard)
    absence = limits.none_allowed[target]
    setting = Setting(
        target=target,
        phrase=limits.phrase,
        unit=limits.unit,
        examined=np.where(absence, results.examined, np.nan),
        absence=absence,
        series=np.isin(rule.astype(str), SERIES_RULES)[target],
        uncounted=results.uncounted,
    )
    reason = sentences(results.reported, setting, ranges, decided.verdict)
    return Outcome(pairs, ranges.low, ranges.high, decided.compared, decided.margin, decided.verdict, reason)


def binary(found: Outcome) -> Outcome:
    """Return *found* with every conditional verdict turned into *fail* (ILAC-G8:09/2019, clause 4.2.2)."""
    conditional = [VERDICTS.index(word) for word in (Verdict.CONDITIONAL_PASS, Verdict.CONDITIONAL_FAIL)]
    near = np.isin(found.verdict, conditional)
    told = found.reason.str.removesuffix(".") + ", and guarded acceptance needs more than that."
    return replace(
        found,
        verdict=np.where(near, VERDICTS.index(Verdict.FAIL), found.verdict),
        reason=found.reason.mask(near, told),
    )


def no_limit(reading: Ints, reason: pd.Series) -> Outcome:
    """Return the outcome of the *reading* numbers that no row binds, with the *reason* of each."""
    unknown = np.full(len(reading), np.nan)
    verdict = np.full(len(reading), VERDICTS.index(Verdict.NO_LIMIT), dtype=np.int64)
    pairs = Pairs(reading, np.full(len(reading), -1, dtype=np.int64))
    return Outcome(pairs, unknown, unknown, unknown, unknown, verdict, reason)


def joined(first: Outcome, second: Outcome) -> Outcome:
    """Return both outcomes as one, in the order of the readings."""
    reading = np.concatenate([first.pairs.reading, second.pairs.reading])
    target = np.concatenate([first.pairs.target, second.pairs.target])
    order = np.argsort(reading, kind="stable")
    reason = pd.concat([first.reason, second.reason], ignore_index=True)
    names = ("low", "high", "compared", "margin", "verdict")
    both = (np.concatenate([getattr(first, name), getattr(second, name)])[order] for name in names)
    low, high, compared, margin, verdict = both
    return Outcome(Pairs(reading[order], target[order]), low, high, compared, margin, verdict, reason.take(order))


def judged_rows(readings: DataFrame[Readings], limits: LimitRows, found: Outcome) -> DataFrame[Judged]:
    """Return the table of judged rows: the reading's columns, the limit row's, and what was *found*."""
    told = readings.take(found.pairs.reading).reset_index(drop=True)
    names = [Judged.table, Judged.rule, Judged.lower, Judged.upper, Judged.limit_class]
    names += [Judged.status, Judged.source, Judged.clause, Judged.evidence]
    rows = limits.rows[names].assign(
        **{
            str(Judged.limit_unit): pd.Series(limits.unit, dtype="str"),
            str(Judged.limit_basis): limits.rows[Limits.basis],
            str(Judged.limit_line): limits.rows[Limits.line].astype(np.float64),
        }
    )
    bound = rows.reindex(np.arange(len(rows) + 1)).take(found.pairs.target).reset_index(drop=True)
    gained = pd.DataFrame(
        {
            str(Judged.compared_value): found.compared,
            str(Judged.compared_low): found.low,
            str(Judged.compared_high): found.high,
            str(Judged.verdict): pd.Series(VERDICTS, dtype="str").take(found.verdict).reset_index(drop=True),
            str(Judged.margin): found.margin,
            str(Judged.reason): found.reason.reset_index(drop=True),
        }
    )
    table = pd.concat([told, bound, gained], axis=1)
    return cast("DataFrame[Judged]", table[list(Judged.to_schema().columns)])
