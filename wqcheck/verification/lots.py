"""Turns the lines of a paper that rest on a sampling plan into the verdicts that the plan gives for their lots.

A reason states the plan with its figures and the number of the lot, so a paper is checked by its own data.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence

import numpy as np

from wqcheck.certificate.lines import ResultLine
from wqcheck.judging.plans import agreed, unit_ranges
from wqcheck.judging.ranges import Ranges, Trouble
from wqcheck.statistics.sampling_plans import AttributePlan, LotDecision, decide_lot, decide_unit
from wqcheck.tables import Rule, Sign, Verdict

_STATED = re.compile(
    r"\(sampling plan n = (?P<n>\d+), c = (?P<c>\d+), m = (?P<m>[\d.e+-]+)(?:, M = (?P<M>[\d.e+-]+))?"
    r"(?:, mean at most (?P<mean>[\d.e+-]+))?, (?P<beyond>above|at or above) counts \S+/(?:(?P<volume>[\d.e+-]+) )?mL; "
    r"(?P<clause>.*?); lot (?P<lot>\d+)\)"
)
_VOLUME = re.compile(r"/(?:([\d.]+) )?mL$")


def lot_verdicts(lines: Sequence[ResultLine]) -> dict[int, str]:
    """Return the verdict that its plan gives for each of the *lines* that states one, by the place of the line.

    A line whose way of counting is open states several plans; it passes or fails only where they agree.
    """
    said: dict[int, list[LotDecision]] = {}
    for stated, places in _lots(lines).items():
        for place, decision in _decided(stated, [lines[place] for place in places], places):
            said.setdefault(place, []).append(decision)
    return {place: str(agreed(decisions).verdict) for place, decisions in said.items()}


def _lots(lines: Sequence[ResultLine]) -> Mapping[tuple[str, str, re.Match[str]], list[int]]:
    found: dict[tuple[str, str, str], list[int]] = {}
    matches: dict[tuple[str, str, str], re.Match[str]] = {}
    for place, line in enumerate(lines):
        for match in _STATED.finditer(line.reason) if line.rule == Rule.ATTRIBUTE_PLAN else ():
            key = (line.table, line.parameter, match[0])
            matches.setdefault(key, match)
            found.setdefault(key, []).append(place)
    return {(key[0], key[1], matches[key]): places for key, places in found.items()}


def _decided(
    stated: tuple[str, str, re.Match[str]], lines: Sequence[ResultLine], places: Iterable[int]
) -> Iterator[tuple[int, LotDecision]]:
    match = stated[2]
    ends = {name: None if match[name] is None else float(match[name]) for name in ("M", "mean")}
    try:
        plan = AttributePlan(
            n=int(match["n"]),
            c=int(match["c"]),
            m=float(match["m"]),
            counts_at_limit=match["beyond"] != "above",
            **ends,
        )
    except ValueError:
        return
    ranges = _ranges(lines, float(match["volume"] or 1))
    names = [line.sample or f"line {number}" for number, line in enumerate(lines)]
    units = unit_ranges(ranges, np.array([names.index(name) for name in names], dtype=np.int64))
    lot = decide_lot(units, plan)
    for number, place in enumerate(places):
        alone = decide_unit(ranges.take(np.array([number])), plan, len(units.low))
        yield place, alone if lot.verdict == Verdict.UNDETERMINED else lot


def _ranges(lines: Sequence[ResultLine], volume_ml: float) -> Ranges:
    """Return what each line can be, in the volume of the plan; the paper gives it in the volume of the limit."""
    of_limit = [_VOLUME.search(line.limit_unit) for line in lines]
    scale = np.array([volume_ml / float(found[1] or 1) if found else math.nan for found in of_limit])
    unknown = np.array([line.compared_low is None and line.compared_high is None for line in lines]) | np.isnan(scale)
    low = np.array([0.0 if line.compared_low is None else line.compared_low for line in lines]) * scale
    high = np.array([math.inf if line.compared_high is None else line.compared_high for line in lines]) * scale
    return Ranges(
        low=low,
        high=high,
        open_low=np.array([line.sign in (Sign.GREATER, Sign.PRESENT) for line in lines]),
        open_high=np.array([line.sign == Sign.LESS for line in lines]),
        trouble=np.where(unknown, Trouble.NO_VALUE.value, Trouble.NONE.value).astype(np.int64),
        note=np.full(len(lines), "", dtype=np.object_),
    )
