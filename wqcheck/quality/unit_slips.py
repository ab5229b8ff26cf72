"""Turns the values of a parameter at one point into findings where some are a thousand times the others.

A thousand is the step from mg to µg, and from mS to µS: the likeliest cause is a unit that one row or lot got wrong.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from wqcheck.findings import Finding, Severity
from wqcheck.judging.ranges import Floats, Ints, row_numbers
from wqcheck.parameters import catalogue, find_parameter
from wqcheck.quality.sample_amounts import Samples
from wqcheck.tables import Readings

FEWEST = 4
"""Values that a comparison needs (common practice, no source)."""

STEP, NEAR, WIDEST = 3.0, 0.4, 1.0
"""Powers of ten between the two lots, by how much they may be off, and how wide each lot may be (common practice)."""

_LEFT_OUT_KINDS = frozenset({"microbiological", "radiological"})
_LEFT_OUT = frozenset({"ph", "temperature", "turbidity", "iron", "particle_count", "total_suspended_solids"})
"""What rightly spans several powers of ten, or has no unit to slip (common practice, no source)."""


@dataclass(frozen=True, slots=True, eq=False)
class Lots:
    """Sorted values in groups; arrays of shape (values,). ``step`` is the log10 step up from the value before."""

    row: Ints
    group: Ints
    log: Floats
    step: Floats


def slip_findings(samples: Samples) -> Iterator[Finding]:
    """Yield a finding for each workbook, point and parameter whose values fall into two lots a thousand apart."""
    lots = _lots(samples)
    if not len(lots.row):
        return
    begins = np.flatnonzero(np.diff(lots.group, prepend=-1))
    ends = np.append(begins[1:], len(lots.row))
    suspects = (ends - begins >= FEWEST) & (np.maximum.reduceat(lots.step, begins) > STEP - NEAR)
    for begin, end in zip(begins[suspects], ends[suspects], strict=True):
        yield from _slip(samples, lots.row[begin:end], lots.log[begin:end])


def _lots(samples: Samples) -> Lots:
    readings, ranges = samples.readings, samples.ranges
    known = catalogue()
    left_out = _LEFT_OUT | {code for code, entry in known.items() if entry.kind in _LEFT_OUT_KINDS}
    kept = np.isin(samples.code, [samples.codes[code] for code in samples.codes if code in left_out], invert=True)
    exact = (ranges.low > 0) & np.isfinite(ranges.high) & (ranges.open_high == np.False_)
    rows = np.flatnonzero(kept & (samples.code >= 0) & exact & (samples.role == ""))
    point = readings[Readings.point].fillna(readings[Readings.stage])
    columns = [readings[Readings.workbook], readings[Readings.parameter], point, readings[Readings.fraction]]
    group = row_numbers([column.iloc[rows] for column in columns]) if len(rows) else np.zeros(0, dtype=np.int64)
    log = np.log10(ranges.low[rows])
    order = np.lexsort((log, group))
    group, log = group[order], log[order]
    step = np.diff(log, prepend=np.inf)
    step[np.flatnonzero(np.diff(group, prepend=-1))] = 0.0
    return Lots(rows[order], group, log, step)


def _slip(samples: Samples, rows: Ints, log: Floats) -> Iterator[Finding]:
    cut = int(np.argmax(np.diff(log))) + 1
    lower, upper = log[:cut], log[cut:]
    apart = float(np.median(upper) - np.median(lower))
    if abs(apart - STEP) > NEAR or max(np.ptp(lower), np.ptp(upper)) > WIDEST:
        return
    fewer = rows[:cut] if cut <= len(rows) // 2 else rows[cut:]
    others = np.setdiff1d(rows, fewer)
    usual = find_parameter(samples.text(Readings.parameter, int(rows[0])))
    point = samples.text(Readings.point, int(rows[0])) or samples.text(Readings.stage, int(rows[0]))
    middle = [float(np.median(samples.ranges.low[lot])) for lot in (fewer, others)]
    message = (
        f"{usual.name}{f' at {point}' if point else ''}: {len(fewer)} of {len(rows)} values are about "
        f"{middle[0] / middle[1]:.3g} times the others (median {middle[0]:.4g} against {middle[1]:.4g} {usual.unit}); "
        "a step of 1,000 is that between mg and µg or mS and µS (common practice, no source): check the unit of these "
        "cells"
    )
    severity = Severity.HOLD if point else Severity.NOTE
    yield from samples.findings([int(row) for row in fewer], "unit slip", severity, message)
