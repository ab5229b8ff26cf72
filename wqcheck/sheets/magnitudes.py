"""Turns the values of a sheet into findings where one parameter in one unit falls into two lots a thousand apart.

A thousand is the step from mg to µg, and from mS to µS: the likeliest cause is that some cells are in another unit than
the sheet says. It is told when the sheet is read, whatever points the values are from.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from wqcheck.parameters import catalogue
from wqcheck.sheets.coded import Coded, Numbers
from wqcheck.sheets.extraction import Extraction
from wqcheck.sheets.result_cells import Positions
from wqcheck.tables import Sign

FEWEST = 4
STEP, NEAR, WIDEST = 3.0, 0.4, 1.0
"""Values that a comparison needs; powers of ten between the lots, how far off they may be, how wide each lot may be
(common practice, no source)."""

_WIDE_OF_ITSELF = frozenset({"temperature", "turbidity", "iron", "particle_count", "total_suspended_solids"})
"""What rightly spans several powers of ten (common practice, no source)."""


def say_mixed_magnitudes(work: Extraction, code: Coded, unit: Coded, sign: Coded, value: Numbers) -> None:
    """Report each parameter and unit whose n values (shape (n,)) are of two magnitudes, with the cells of the fewer."""
    usable = sign.equal_to(Sign.EQUAL) & code.flags(_may_slip) & (value > 0)
    rows = np.flatnonzero(usable)
    if len(rows) < FEWEST:
        return
    group = code.codes[rows] * (len(unit.distinct) + 1) + unit.codes[rows] + 1
    log = np.log10(value[rows])
    for positions, logs in _suspects(group, log):
        lots = _two_lots(logs)
        if lots is None:
            continue
        fewer, others = (rows[positions[lot]] for lot in lots)
        parameter = catalogue()[code.distinct[code.codes[fewer[0]]]]
        message = (
            f"{parameter.name} holds values of two magnitudes in one unit: {len(fewer)} are about "
            f"{np.median(value[fewer]) / np.median(value[others]):.3g} times the other {len(others)}; a step of 1,000 "
            "is that between mg and µg or mS and µS (common practice, no source): check the unit of these cells"
        )
        work.note("mixed magnitudes", message, work.where(np.sort(fewer)), parameter.code)


@cache
def _may_slip(code: str) -> bool:
    parameter = catalogue()[code]
    return parameter.kind in {"chemical", "physical"} and parameter.unit != "pH" and code not in _WIDE_OF_ITSELF


def _suspects(group: Positions, log: Numbers) -> list[tuple[Positions, Numbers]]:
    """Return the positions and sorted log10 values of the groups with a step that wide between neighbours."""
    order = np.lexsort((log, group))
    group, log = group[order], log[order]
    begins = np.flatnonzero(np.diff(group, prepend=-1))
    step = np.diff(log, prepend=0.0)
    step[begins] = 0.0
    ends = np.append(begins[1:], len(group))
    suspect = (ends - begins >= FEWEST) & (np.maximum.reduceat(step, begins) > STEP - NEAR - WIDEST)
    pairs = zip(begins[suspect], ends[suspect], strict=True)
    return [(order[begin:end], log[begin:end]) for begin, end in pairs]


def _two_lots(log: Numbers) -> tuple[slice, slice] | None:
    """Return the fewer and the other values of sorted *log* where they are two lots about :data:`STEP` apart."""
    cut = int(np.argmax(np.diff(log))) + 1
    lower, upper = log[:cut], log[cut:]
    apart = float(np.median(upper) - np.median(lower))
    if abs(apart - STEP) > NEAR or max(np.ptp(lower), np.ptp(upper)) > WIDEST:
        return None
    low, high = slice(0, cut), slice(cut, len(log))
    return (low, high) if cut <= len(log) // 2 else (high, low)
