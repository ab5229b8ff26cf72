"""Turns results that stand more than once for the same sample, parameter and time into findings."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from wqcheck.findings import Finding, Severity
from wqcheck.judging.ranges import Bools, Ints, Trouble, row_numbers
from wqcheck.quality.sample_amounts import Samples
from wqcheck.tables import Readings

_SAME = (
    Readings.batch, Readings.sample, Readings.point, Readings.stage, Readings.sampled_at, Readings.parameter,
    Readings.fraction, Readings.replicate, Readings.method, Readings.lab, Readings.volume_ml,
)  # fmt: skip
_FAR = 2.0
"""How many times the least of several values for one sample the greatest may be (common practice, no source)."""

_GIVEN = (Readings.reported, Readings.unit, Readings.basis, Readings.analysed_at)


def repeat_findings(samples: Samples) -> Iterator[Finding]:
    """Yield identical rows, then results of one sample that exclude each other; each said once per sample."""
    rows = np.flatnonzero(_identified(samples))
    if not len(rows):
        return
    table = samples.readings.iloc[rows]
    key = row_numbers([table[name] for name in _SAME])
    given = row_numbers([pd.Series(key), *(table[name] for name in _GIVEN)])
    yield from _identical(samples, rows, given)
    yield from _conflicting(samples, rows, key)


def _identified(samples: Samples) -> Bools:
    """Return which readings say whose they are: a sample, or a point and a day."""
    readings = samples.readings
    place = readings[Readings.point].notna() | readings[Readings.stage].notna() | readings[Readings.batch].notna()
    known = readings[Readings.sample].notna() | (place & readings[Readings.sampled_at].notna())
    return (known & readings[Readings.parameter].notna()).to_numpy(dtype=np.bool_)


def _identical(samples: Samples, rows: Ints, given: Ints) -> Iterator[Finding]:
    again = pd.Series(given).duplicated().to_numpy()
    repeats = pd.Series(rows[again])
    originals = np.zeros(int(given.max()) + 1, dtype=np.int64)
    originals[given[::-1]] = rows[::-1]
    first = originals[given[again]]
    for _, places in repeats.groupby(samples.sample[repeats], sort=False):
        at = places.index.to_numpy()
        cells = [int(row) for pair in zip(first[at], repeats.iloc[at], strict=True) for row in pair]
        message = (
            f"{len(at)} row(s) of {samples.label(int(places.iloc[0]))} stand twice with the same sample, "
            "parameter, time and result; each was used, so remove the copy, or name the replicate"
        )
        yield from samples.findings(cells, "repeated row", Severity.NOTE, message)


def _conflicting(samples: Samples, rows: Ints, key: Ints) -> Iterator[Finding]:
    """Yield groups whose ranges have no value in common, even with the slack of each; a day is no time.

    Values more than twice apart hold; counts of organisms scatter that much.
    """
    moment = samples.readings[Readings.sampled_at].iloc[rows]
    timed = (samples.texts[Readings.sample][rows] != "") | moment.ne(moment.dt.normalize()).to_numpy(dtype=np.bool_)
    usable = (samples.ranges.trouble[rows] == Trouble.NONE) & timed
    rows, key = rows[usable], key[usable]
    size = int(key.max(initial=-1)) + 1
    low, high = np.full(size, -np.inf), np.full(size, np.inf)
    np.maximum.at(low, key, samples.ranges.low[rows] - samples.slack[rows])
    np.minimum.at(high, key, samples.ranges.high[rows] + samples.slack[rows])
    wrong, far = (low > high)[key], (low > _FAR * high)[key]
    far &= np.isnan(samples.volume_ml[rows])
    for _, at in pd.Series(np.flatnonzero(wrong)).groupby(key[wrong], sort=False):
        together = [int(row) for row in rows[at]]
        severity = Severity.HOLD if far[at].any() else Severity.NOTE
        values = ", ".join(dict.fromkeys(samples.text(Readings.reported, row) for row in together))
        message = (
            f"{samples.name(together[0])} of {samples.label(together[0])} is reported as {values} for the same time "
            "and method; each was judged by itself: have the laboratory say which holds, or name the replicates"
        )
        yield from samples.findings(together, "two values", severity, message)
