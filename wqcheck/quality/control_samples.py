"""Turns duplicates, blanks and spikes, where a sheet names them as such, into findings about precision and recovery."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from wqcheck.findings import Finding, Severity
from wqcheck.judging.ranges import Bools, Floats, Ints, Trouble, row_numbers
from wqcheck.parameters import catalogue
from wqcheck.quality.sample_amounts import Samples
from wqcheck.quality.sample_roles import BLANK, DUPLICATE, ORDINARY, SPIKE, without_role
from wqcheck.tables import Readings

RPD_MOST, TIMES_LIMIT = 20.0, 5.0
"""Percent, and from which multiple of the reporting limit; below it one reporting limit is accepted (US EPA National
Functional Guidelines for Inorganic Data Review; read in a validation memorandum)."""

RECOVERY = (70.0, 130.0)
"""Percent, laboratory-fortified matrix of US EPA methods 200.7 and 200.8 (from memory)."""

_NO_RPD = frozenset({"ph", "temperature", "air_temperature", "redox_potential"})


def relative_percent_difference(first: Floats, second: Floats) -> Floats:
    """Return 200 |a − b| / (a + b) in percent (same shape), NaN where the sum is nothing or either is unknown."""
    total = first + second
    apart = 200 * np.abs(first - second)
    return np.asarray(np.divide(apart, total, out=np.full(np.shape(total), np.nan), where=total > 0))


def control_findings(samples: Samples) -> Iterator[Finding]:
    """Yield what duplicates, blanks and spikes show."""
    yield from _duplicates(samples)
    yield from _blanks(samples)
    yield from _spikes(samples)


def _pairs(samples: Samples) -> tuple[Ints, Ints]:
    """Return the readings that have a duplicate, and the duplicates: by name, or as replicates of one sample."""
    readings = samples.readings
    chemical = {code for code, entry in catalogue().items() if entry.kind != "microbiological"} - _NO_RPD
    usable = (samples.ranges.trouble == Trouble.NONE) & readings[Readings.parameter].isin(chemical).to_numpy(dtype=bool)
    named = samples.role == DUPLICATE
    rows = np.flatnonzero(usable & (named | ((samples.role == ORDINARY) & _has_duplicate(samples, named))))
    if not len(rows):
        return rows, rows
    table = readings.iloc[rows]
    bare = [without_role(table[name]) for name in (Readings.sample, Readings.point)]
    columns = (Readings.batch, Readings.parameter, Readings.fraction, Readings.method, Readings.lab)
    key = row_numbers([*bare, table[Readings.sampled_at].dt.normalize(), *(table[name] for name in columns)])
    order = np.lexsort((rows, named[rows], key))
    rows, key = rows[order], key[order]
    ahead = np.flatnonzero(np.diff(key, prepend=-1))
    original = np.repeat(rows[ahead], np.diff(np.append(ahead, len(rows))))
    replicate = samples.texts[Readings.replicate]
    second = (named[rows] != named[original]) | (replicate[rows] != replicate[original])
    return original[second], rows[second]


def _has_duplicate(samples: Samples, named: Bools) -> Bools:
    """Return which readings could have one: any where a sheet names duplicates, else those with a replicate."""
    replicate: Bools = samples.texts[Readings.replicate] != ""
    return np.full(len(named), True) if named.any() else replicate


def _duplicates(samples: Samples) -> Iterator[Finding]:
    """Yield pairs beyond the accepted difference; of two non-detects it is not calculated."""
    first, second = _pairs(samples)
    low, high = samples.ranges.low, samples.ranges.high
    apart = np.fmax(low[first] - high[second], low[second] - high[first])
    limit = _reporting_limits(samples)
    least = np.fmax(limit[first], limit[second])
    both = (low[first] == high[first]) & (low[second] == high[second])
    near_limit = np.fmin(low[first], low[second]) < TIMES_LIMIT * np.nan_to_num(least)
    rpd = relative_percent_difference(low[first], low[second])
    wrong = np.where(both & (near_limit == np.False_), rpd > RPD_MOST, apart > np.nan_to_num(least))
    for at in np.flatnonzero(wrong).tolist():
        pair = [int(first[at]), int(second[at])]
        a, b = (samples.text(Readings.reported, row) for row in pair)
        figure = f"200 |a − b|/(a + b) = {rpd[at]:.0f} %" if both[at] else "not calculated, as one is no detection"
        message = (
            f"{samples.name(pair[0])}: {a} and its duplicate {b} differ by more than is accepted: {figure}; accepted "
            f"{RPD_MOST:g} % from {TIMES_LIMIT:g} times the reporting limit, below it one reporting limit (US EPA "
            "National Functional Guidelines, inorganic); have both repeated"
        )
        yield from samples.findings(pair, "duplicate", Severity.NOTE, message)


def _reporting_limits(samples: Samples) -> Floats:
    """Return the reporting limit of each reading in its parameter's usual unit, NaN where none is stated."""
    stated = samples.readings[Readings.reporting_limit].to_numpy(dtype=np.float64)
    value = samples.readings[Readings.value].to_numpy(dtype=np.float64)
    factor = np.divide(samples.ranges.high, value, out=np.full(len(value), np.nan), where=value > 0)
    return np.where(samples.ranges.open_high & np.isnan(stated), samples.ranges.high, stated * factor)


def _blanks(samples: Samples) -> Iterator[Finding]:
    """Yield each blank in which something was found, above its reporting limit where one is stated."""
    counted = {code for code, entry in catalogue().items() if entry.kind in {"chemical", "microbiological"}}
    kind = samples.readings[Readings.parameter].isin(counted).to_numpy(dtype=np.bool_)
    floor = np.nan_to_num(_reporting_limits(samples))
    found = (samples.role == BLANK) & kind & (samples.ranges.low > floor) & (samples.ranges.trouble == Trouble.NONE)
    rows = np.flatnonzero(found)
    for _, places in pd.Series(rows).groupby(samples.sample[rows], sort=False):
        together = [int(row) for row in places]
        shown = [samples.given(row) for row in together[:5]]
        message = (
            f"the blank {samples.label(together[0])} is not clean: {', '.join(shown)}{' …' * (len(together) > 5)}; "
            "results below ten times these may come from bottles, reagents or handling (US EPA National Functional "
            "Guidelines, from memory); ask the laboratory before relying on them"
        )
        yield from samples.findings(together, "blank", Severity.NOTE, message)


def _spikes(samples: Samples) -> Iterator[Finding]:
    """Yield recoveries in percent outside the accepted range; other spikes cannot be evaluated, said once."""
    readings = samples.readings
    spiked = samples.role == SPIKE
    percent = readings[Readings.unit].eq("%").fillna(False).to_numpy(dtype=np.bool_)
    value = readings[Readings.value].to_numpy(dtype=np.float64)
    for row in np.flatnonzero(spiked & percent & ((value < RECOVERY[0]) | (value > RECOVERY[1]))).tolist():
        message = (
            f"{samples.name(int(row))}: recovery {samples.text(Readings.reported, int(row))} % of the spike "
            f"{samples.label(int(row))} is outside {RECOVERY[0]:g} to {RECOVERY[1]:g} % (fortified matrix of US EPA "
            "methods 200.7 and 200.8, from memory); results of this parameter may be off by as much"
        )
        yield from samples.findings([int(row)], "spike recovery", Severity.NOTE, message)
    others = np.flatnonzero(spiked & (percent == np.False_))
    if len(others):
        message = (
            f"{len(others)} result(s) of spiked samples give no recovery, for the amount added is not in the sheet; "
            "give the recovery in %"
        )
        yield from samples.findings([int(others[0])], "spike recovery", Severity.NOTE, message)
