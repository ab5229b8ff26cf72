"""Turns the results of the units of one lot into the verdict of the sampling plan that their limit row names.

Counts by MPN and by membrane filter have plans of their own. A lot with fewer units than the plan asks for can fail;
beyond that each unit is judged for itself, and the reason says how many units are missing.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.judging.binding import Days, LimitRows
from wqcheck.judging.ranges import Bools, Ints, Pairs, Ranges, Targets, Trouble, ranges_in, row_numbers
from wqcheck.judging.rows import Outcome
from wqcheck.judging.verdicts import VERDICTS
from wqcheck.limit_tables.loading import LimitTable
from wqcheck.limit_tables.sampling_plans import Beyond, Method, SamplingPlans, load_plans, plan_name
from wqcheck.statistics.sampling_plans import AttributePlan, LotDecision, decide_lot, decide_unit, plan_text
from wqcheck.tables import Judged, Limits, Readings, Rule, Verdict

METHOD_OF_UNIT = {"MPN": Method.MPN, "CFU": Method.FILTER}
"""How a count was made, by its unit; any other count is held against the plans of both methods."""

NO_PLAN = LotDecision(Verdict.UNDETERMINED, "the sampling plan that the limit row names is in no plan file")


@dataclass(frozen=True, slots=True)
class RowPlan:
    """One plan of a limit row: for which method, in which unit per volume (mL), and its clause."""

    method: Method
    unit: str
    volume_ml: float
    clause: str
    plan: AttributePlan


@dataclass(frozen=True, slots=True, eq=False)
class Lots:
    """The readings of one limit row, sorted into lots and units; arrays of shape (n,).

    ``reading`` are the numbers of the readings, ``lot`` and ``unit`` those of the lot and of the unit, ``method`` a
    word of :class:`Method` or blank.
    """

    reading: Ints
    lot: Ints
    unit: Ints
    method: np.ndarray[tuple[int], np.dtype[np.object_]]


def row_plans(tables: Sequence[LimitTable], limits: LimitRows) -> dict[int, list[RowPlan]]:
    """Return the plans of each limit row with the rule ``attribute_plan`` that names one, by the row's number."""
    rows = limits.rows
    asking = np.flatnonzero(rows[Limits.rule].eq(Rule.ATTRIBUTE_PLAN).to_numpy(dtype=bool))
    folders = {table.name: table.path.parent for table in tables}
    found = {}
    for number in asking.tolist():
        name = plan_name(rows[Limits.status].iloc[number])
        if name:
            found[number] = plans_named(name, folders[rows[Judged.table].iloc[number]])
    return found


def plans_named(name: str, folder: Path | None = None) -> list[RowPlan]:
    """Return the plans of that *name*, one for each method; none where the plan file of the *folder* has none."""
    known = load_plans(folder).rows
    return [_row_plan(row) for row in known[known[SamplingPlans.plan].eq(name)].to_dict("records")]


def _row_plan(row: Mapping[Hashable, Any]) -> RowPlan:
    ends = {name: None if pd.isna(row[name]) else float(row[name]) for name in ("M", "mean")}
    plan = AttributePlan(
        n=int(row["n"]), c=int(row["c"]), m=float(row["m"]), counts_at_limit=row["beyond"] == Beyond.AT_OR_ABOVE, **ends
    )
    return RowPlan(Method(row["method"]), str(row["unit"]), float(row["volume_ml"]), str(row["clause"]), plan)


def with_plans(
    readings: DataFrame[Readings],
    own: Ranges,
    days: Days,
    found: Outcome,
    plans: dict[int, list[RowPlan]],
) -> Outcome:
    """Return *found* with the verdict of the plan at each pair whose limit row names one; every other as it was.

    A lot is what agrees in batch and point, and in the sampling day where no batch is stated. Results of one sample
    are one unit, of which the worse ends count; results without a sample name are units of their own.
    """
    met = {row: at for row in plans if len(at := np.flatnonzero(found.pairs.target == row))}
    if not met:
        return found
    verdict, reason = found.verdict.copy(), found.reason.to_numpy(dtype=object).copy()
    for row, at in met.items():
        lots = _lots(readings, days, found.pairs.reading[at])
        decided = _decided(readings, own, lots, plans[row])
        given = readings[Readings.reported].iloc[lots.reading]
        verdict[at] = [VERDICTS.index(decision.verdict) for decision in decided]
        reason[at] = [f"reported {text}: {told.reason}." for text, told in zip(given, decided, strict=True)]
    return replace(found, verdict=verdict, reason=pd.Series(reason, dtype="str"))


def _lots(readings: DataFrame[Readings], days: Days, reading: Ints) -> Lots:
    table = readings.iloc[reading]
    day = pd.Series(days[reading]).where(table[Readings.batch].isna().to_numpy(dtype=bool))
    lot = row_numbers([table[Readings.batch], table[Readings.point], day])
    unnamed = table[Readings.sample].isna().to_numpy(dtype=bool)
    unit = row_numbers([pd.Series(lot), table[Readings.sample], pd.Series(np.where(unnamed, reading, -1))])
    method = table[Readings.unit].astype("object").map(METHOD_OF_UNIT).fillna("").to_numpy(dtype=object)
    return Lots(reading, lot, unit, method)


def _decided(readings: DataFrame[Readings], own: Ranges, lots: Lots, plans: Sequence[RowPlan]) -> list[LotDecision]:
    """Return the decision at each reading: by the plan of its method, and by all plans where that is open."""
    if not plans:
        return [NO_PLAN] * len(lots.reading)
    said: list[list[LotDecision]] = [[] for _ in lots.reading]
    for plan in plans:
        ranges = _ranges(readings, own, lots.reading, plan)
        counted: Bools = (lots.method == plan.method) | (lots.method == "") | (plan.method == Method.ANY)
        for place, decision in _by_plan(ranges, lots, np.flatnonzero(counted), plan):
            said[place].append(decision)
    return [agreed(decisions) for decisions in said]


def _ranges(readings: DataFrame[Readings], own: Ranges, reading: Ints, plan: RowPlan) -> Ranges:
    target = Targets(
        unit=np.array([plan.unit], dtype=object),
        basis=np.array([""], dtype=object),
        volume_ml=np.array([plan.volume_ml]),
        none_allowed=np.zeros(1, dtype=np.bool_),
    )
    return ranges_in(readings, own, target, Pairs(reading, np.zeros(len(reading), dtype=np.int64)))[0]


def _by_plan(ranges: Ranges, lots: Lots, counted: Ints, plan: RowPlan) -> Iterator[tuple[int, LotDecision]]:
    """Yield what *plan* says at each of the *counted* places, lot by lot."""
    asked = plan_text(plan.plan, plan.unit, plan.volume_ml)
    for _, members in pd.Series(counted).groupby(lots.lot[counted]):
        places = members.to_numpy(dtype=np.int64)
        units = unit_ranges(ranges.take(places), lots.unit[places])
        lot = decide_lot(units, plan.plan)
        for place in places.tolist():
            alone = lot
            if lot.verdict == Verdict.UNDETERMINED:
                alone = decide_unit(ranges.take(np.array([place])), plan.plan, len(units.low))
            yield (
                place,
                LotDecision(alone.verdict, f"{alone.reason} ({asked}; {plan.clause}; lot {lots.lot[places[0]] + 1})"),
            )


def unit_ranges(ranges: Ranges, unit: Ints) -> Ranges:
    """Return one range per unit: of several results of one unit the greater of each end, and any trouble."""
    number, kept = pd.factorize(unit)
    usable = ranges.trouble == Trouble.NONE
    low, high = np.where(usable, ranges.low, 0.0), np.where(usable, ranges.high, np.inf)
    ends = [np.full(len(kept), -np.inf), np.full(len(kept), -np.inf)]
    trouble = np.zeros(len(kept), dtype=np.int64)
    for end, values in zip(ends, (low, high), strict=True):
        np.maximum.at(end, number, values)
    np.maximum.at(trouble, number, ranges.trouble)
    closed_high, open_low = np.zeros(len(kept), dtype=np.bool_), np.zeros(len(kept), dtype=np.bool_)
    np.logical_or.at(closed_high, number, (high == ends[1][number]) & (ranges.open_high == np.False_))
    np.logical_or.at(open_low, number, (low == ends[0][number]) & ranges.open_low)
    note = np.full(len(kept), "", dtype=object)
    return Ranges(ends[0], ends[1], open_low, closed_high == np.False_, trouble, note)


def agreed(decisions: Sequence[LotDecision]) -> LotDecision:
    """Return what all plans say together: pass or fail only where they agree."""
    if not decisions:
        return LotDecision(Verdict.UNDETERMINED, "no plan of the limit row is for this way of counting")
    if len({decision.verdict for decision in decisions}) == 1:
        return LotDecision(decisions[0].verdict, " and ".join(dict.fromkeys(one.reason for one in decisions)))
    said = " but ".join(f"{decision.verdict}, as {decision.reason}" for decision in decisions)
    return LotDecision(Verdict.UNDETERMINED, f"the unit does not tell how it was counted, and the plans differ: {said}")
