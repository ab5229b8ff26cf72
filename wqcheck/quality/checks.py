"""Turns readings into findings about the data themselves: what cannot all be right, before anything is judged."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.findings import Finding, Severity
from wqcheck.judging.ranges import Trouble
from wqcheck.quality.control_samples import control_findings
from wqcheck.quality.follow_up import follow_up_findings
from wqcheck.quality.holding_times import time_findings
from wqcheck.quality.ion_balance import ANIONS, CATIONS, balance_findings, balance_of, ions_of
from wqcheck.quality.mineral_checks import SOLIDS_PARTS, mineral_findings
from wqcheck.quality.part_whole import part_findings, wholes
from wqcheck.quality.plausibility import plausibility_findings
from wqcheck.quality.repeated_results import repeat_findings
from wqcheck.quality.sample_amounts import Samples, samples_of
from wqcheck.quality.unit_slips import slip_findings
from wqcheck.tables import Readings

SHOWN = 20
"""How many findings of one code and severity are told each by itself; the rest is one finding that counts them."""


def check_quality(
    readings: DataFrame[Readings], asked: pd.Series[bool] | None = None, decides: pd.Series[bool] | None = None
) -> tuple[Finding, ...]:
    """Return what is inconsistent in readings: formula, numbers, source, cells and how to mend it.

    A finding holds only where the data cannot all be right and a decision could rest on the wrong one; every other
    is a note. Non-detects enter as bounds, never as zero.

    Parameters
    ----------
    readings : DataFrame[Readings]
        One row per reported result; the more of a workbook, the more each result can be compared with.
    asked, decides : Series of bool, optional
        About which readings findings are wanted, and on which a decision rests (about others there are only notes);
        as long as *readings*, by default all.
    """
    if readings.empty:
        return ()
    with np.errstate(over="ignore", divide="ignore", invalid="ignore"):  # what leaves the scale becomes NaN: not found
        return tuple(_abridged(_all_findings(samples_of(readings, asked, decides))))


def _all_findings(samples: Samples) -> Iterator[Finding]:
    ions = ions_of(samples)
    balance = balance_of(ions, samples.amount("ph"))
    yield from plausibility_findings(samples)
    yield from slip_findings(samples)
    yield from time_findings(samples)
    yield from repeat_findings(samples)
    yield from part_findings(samples)
    yield from balance_findings(samples, ions, balance)
    yield from mineral_findings(samples, ions, balance)
    yield from control_findings(samples)
    yield from follow_up_findings(samples)
    yield from _unconverted(samples)


def _unconverted(samples: Samples) -> Iterator[Finding]:
    """Yield one note on the results that no comparison could use, because of their unit."""
    compared = {*CATIONS, *ANIONS, *SOLIDS_PARTS, *(code for entry in wholes() for code in (entry.code, *entry.parts))}
    wanted = np.isin(samples.code, [number for code, number in samples.codes.items() if code in compared])
    rows = np.flatnonzero(wanted & (samples.ranges.trouble == Trouble.NO_CONVERSION) & (samples.role != "spike"))
    if len(rows):
        names = samples.readings[Readings.parameter].iloc[rows].unique()
        message = (
            f"{len(rows)} result(s) of {', '.join(names[:6])}{' …' if len(names) > 6 else ''} could not enter the "
            "comparisons with other results, not evaluable: the unit is missing or cannot be converted; give the unit"
        )
        yield from samples.findings([int(row) for row in rows[:SHOWN]], "not evaluable", Severity.NOTE, message)


def _abridged(findings: Iterable[Finding]) -> Iterator[Finding]:
    """Yield findings, and after many of one code and severity one that counts the rest."""
    more: dict[tuple[str, Severity], list[Finding]] = defaultdict(list)
    shown: dict[tuple[str, Severity], int] = defaultdict(int)
    for finding in findings:
        kind = (finding.code, finding.severity)
        shown[kind] += 1
        if shown[kind] <= SHOWN:
            yield finding
        else:
            more[kind].append(finding)
    for rest in more.values():
        yield replace(rest[0], message=f"{len(rest)} more like this, of which the first: {rest[0].message}")
