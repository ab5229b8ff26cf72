"""Turns values that cannot be, or that stand in for a missing one, into findings.

``possible_values.csv`` lists what is physically possible for a parameter, else for a unit; it is open to editing.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np
import numpy.typing as npt
import pandas as pd

from wqcheck.findings import Finding, Severity
from wqcheck.judging.ranges import SIGNED_GROUPS, SIGNED_UNITS, Bools
from wqcheck.parameters import catalogue
from wqcheck.quality.sample_amounts import Samples
from wqcheck.tables import Readings, Sign

_ANY_IN_UNIT = "unit:"
NEGATIVE_STAND_INS = (-1, -8, -9, -88, -99, -888, -999, -8888, -9999, -99999, -999.9, -999.99, -99.9, -99.99, -1e30)
POSITIVE_STAND_INS = (999, 9999, 99999, 999999, 9999999, 999.9, 999.99, 9999.9, 9999.99, 8888, 88888, 1e30)
"""What databases and loggers write for *no value* (common practice, no source)."""

ALONE_FROM = 9999
"""A positive stand-in below this may be a value; it counts where two parameters of a workbook show it."""


@dataclass(frozen=True, slots=True)
class Possible:
    """One line of ``possible_values.csv``; ends in ``unit``."""

    covers: str
    unit: str
    lower: float
    upper: float
    severity: Severity
    source: str


@cache
def possible_values() -> tuple[Possible, ...]:
    """Return the lines of ``possible_values.csv``."""
    text = files("wqcheck.quality").joinpath("possible_values.csv").read_text(encoding="utf-8")
    return tuple(
        Possible(
            covers=row["covers"],
            unit=row["unit"],
            lower=float(row["lower"]),
            upper=float(row["upper"]),
            severity=Severity(row["weight"]),
            source=row["source"],
        )
        for row in csv.DictReader(text.splitlines())
    )


def plausibility_findings(samples: Samples) -> Iterator[Finding]:
    """Yield stand-in values, then values that cannot be; one finding per parameter, value and sheet."""
    stand_in = _stand_ins(samples)
    yield from _stand_in_findings(samples, stand_in)
    yield from _negative(samples, stand_in)
    yield from _impossible(samples, stand_in)


def _value(samples: Samples) -> npt.NDArray[np.float64]:
    return samples.readings[Readings.value].to_numpy(dtype=np.float64)


def _signed(samples: Samples) -> Bools:
    """Return where the scale goes below zero, or a net count may: activities are counts less a background."""
    low = {
        code
        for code, entry in catalogue().items()
        if entry.unit in SIGNED_UNITS or entry.group in SIGNED_GROUPS or entry.kind == "radiological"
    }
    readings = samples.readings
    return (readings[Readings.parameter].isin(low) | readings[Readings.unit].isin(SIGNED_UNITS)).to_numpy(
        dtype=np.bool_
    )


def _stand_ins(samples: Samples) -> Bools:
    readings, value = samples.readings, _value(samples)
    below = np.isin(value, NEGATIVE_STAND_INS) & ((_signed(samples) == np.False_) | (value < -300))
    above = np.isin(value, POSITIVE_STAND_INS) & readings[Readings.sign].eq(Sign.EQUAL).to_numpy(dtype=np.bool_)
    rows = np.flatnonzero(above)
    seen = pd.DataFrame({
        "book": readings[Readings.workbook].iloc[rows].to_numpy(),
        "value": value[rows],
        "parameter": samples.code[rows],
    })  # fmt: skip
    several = seen.groupby(["book", "value"])["parameter"].transform("nunique").to_numpy() > 1
    above[rows] = several | (value[rows] >= ALONE_FROM)
    return np.asarray(below | above)


def _stand_in_findings(samples: Samples, stand_in: Bools) -> Iterator[Finding]:
    value = _value(samples)
    for rows in _alike(samples, np.flatnonzero(stand_in), [Readings.reported, Readings.sheet]):
        given = samples.text(Readings.reported, rows[0])
        severity = Severity.HOLD if value[rows[0]] < 0 else Severity.NOTE
        message = (
            f"{len(rows)} result(s) read {given}, which many programs write for a missing value (common practice, no "
            "source); if it is one, leave the cell empty or write what is known, such as <0.01"
        )
        yield from samples.findings(rows, "stand-in value", severity, message)


def _negative(samples: Samples, stand_in: Bools) -> Iterator[Finding]:
    wrong = (_value(samples) < 0) & (_signed(samples) == np.False_) & (stand_in == np.False_)
    for rows in _alike(samples, np.flatnonzero(wrong), [Readings.parameter, Readings.sheet]):
        given = ", ".join(samples.text(Readings.reported, row) for row in rows[:5])
        message = (
            f"{samples.name(rows[0])}: {given} is negative, and there is no less than nothing; write the reporting "
            "limit with <, or correct the cell"
        )
        yield from samples.findings(rows, "impossible value", Severity.HOLD, message)


def _impossible(samples: Samples, stand_in: Bools) -> Iterator[Finding]:
    """Yield values beyond what is possible, compared in the parameter's usual unit."""
    for code, number in samples.codes.items():
        line = _line_for(code)
        if line is None:
            continue
        rows = np.flatnonzero((samples.code == number) & (stand_in == np.False_) & (samples.role == ""))
        slack = samples.slack[rows]
        low, high = samples.ranges.low[rows] - slack, samples.ranges.high[rows] + slack
        told = samples.readings[Readings.value].iloc[rows].ge(0).to_numpy(dtype=np.bool_) | (line.lower < 0)
        wrong = ((high < line.lower) | (low > line.upper)) & told
        if wrong.any():
            yield from _line_findings(samples, rows[wrong], line)


def _line_for(code: str) -> Possible | None:
    entry = catalogue().get(code)
    lines = {line.covers: line for line in possible_values()}
    own = lines.get(code)
    if own is not None or entry is None:
        return own
    return lines.get(f"{_ANY_IN_UNIT}{entry.unit}")


def _line_findings(samples: Samples, rows: npt.NDArray[np.intp], line: Possible) -> Iterator[Finding]:
    for together in _alike(samples, rows, [Readings.parameter, Readings.sheet]):
        given = ", ".join(samples.text(Readings.reported, row) for row in together[:5])
        unit = samples.text(Readings.unit, together[0])
        message = (
            f"{samples.name(together[0])}: {given}{f' {unit}' if unit else ''} is not possible; "
            f"values lie between {line.lower:g} and {line.upper:g} {line.unit} ({line.source}); check digits, unit and "
            "column"
        )
        yield from samples.findings(together, "impossible value", line.severity, message)


def _alike(samples: Samples, rows: npt.NDArray[np.intp], columns: list[str]) -> Iterator[list[int]]:
    """Yield the *rows* of one workbook that agree in *columns*, together."""
    if len(rows):
        table = samples.readings.iloc[rows]
        keys = [table[name].fillna("").to_numpy() for name in (Readings.workbook, *columns)]
        for _, places in pd.Series(rows).groupby(keys, sort=False):
            yield [int(row) for row in places]
