"""Turns the times of sampling, receipt and analysis into findings: orders that cannot be, and samples kept too long.

``holding_times.csv`` lists how long a sample may wait for each parameter, with its source; it is open to editing. Time
runs from sampling to the start of analysis, elapsed and not by calendar days. A date without a time is that whole day,
and only what is certain is found.
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
from wqcheck.judging.ranges import Floats, row_numbers
from wqcheck.parameters import catalogue, find_parameter
from wqcheck.quality.sample_amounts import Samples
from wqcheck.tables import Readings, Sign

_ANY_GROUP = "group:"
_ORDERS = (
    (Readings.sampled_at, Readings.received_at, "sampled", "received", Severity.HOLD),
    (Readings.sampled_at, Readings.analysed_at, "sampled", "analysed", Severity.HOLD),
    (Readings.received_at, Readings.analysed_at, "received", "analysed", Severity.NOTE),
)
ON_SITE = frozenset({
    "ph", "temperature", "air_temperature", "free_chlorine", "total_chlorine", "combined_chlorine", "chlorine_dioxide",
    "ozone", "dissolved_oxygen", "oxygen_saturation", "electrical_conductivity", "turbidity", "redox_potential",
    "residual_chlorine", "flow_rate", "pressure",
})  # fmt: skip
"""What is often measured before a sample reaches the laboratory (common practice, no source)."""


_WATER = {"drinking water": "drinking water", "general": "any water", "recommended": "any water, as a recommendation"}


@dataclass(frozen=True, slots=True)
class HoldingTime:
    """One line of ``holding_times.csv``; ``hours`` from sampling to the start of analysis."""

    covers: str
    hours: float
    severity: Severity
    applies: str
    source: str
    note: str


@cache
def holding_times() -> tuple[HoldingTime, ...]:
    """Return the lines of ``holding_times.csv``, those that hold first, then by falling hours."""
    text = files("wqcheck.quality").joinpath("holding_times.csv").read_text(encoding="utf-8")
    rows = csv.DictReader(text.splitlines())
    lines = [
        HoldingTime(
            covers=row["covers"],
            hours=float(row["hours"]),
            severity=Severity(row["weight"]),
            applies=row["applies"],
            source=row["source"] + (" (from memory)" if row["evidence"] == "memory" else ""),
            note=row["note"],
        )
        for row in rows
    ]
    return tuple(sorted(lines, key=lambda line: (line.severity != Severity.HOLD, -line.hours)))


def times_for(code: str) -> tuple[HoldingTime, ...]:
    """Return the holding times of a parameter: those of its own, else those of its group."""
    entry = catalogue().get(code)
    own = tuple(line for line in holding_times() if line.covers == code)
    group = f"{_ANY_GROUP}{entry.group}" if entry else ""
    return own or tuple(line for line in holding_times() if line.covers == group)


def elapsed_hours(begin: pd.Series, end: pd.Series) -> tuple[Floats, Floats]:
    """Return the least and the greatest hours from *begin* to *end*; a time of 0:00 stands for the whole day."""
    seconds = [moment.to_numpy(dtype="datetime64[s]") for moment in (begin, end)]
    apart = seconds[1] - seconds[0]
    hours = np.where(np.isnat(apart), np.nan, apart.astype(np.float64) / 3600)
    unsure = [(moment == moment.dt.normalize()).to_numpy(dtype=np.float64) * 24 for moment in (begin, end)]
    return hours - unsure[0], hours + unsure[1]


def time_findings(samples: Samples) -> Iterator[Finding]:
    """Yield orders of dates that cannot be, then exceeded holding times: one per rule, those that hold per sample."""
    for earlier, later, first, second, severity in _ORDERS:
        _, most = elapsed_hours(samples.readings[earlier], samples.readings[later])
        wrong = most < 0
        if severity == Severity.NOTE:
            wrong &= samples.readings[Readings.parameter].isin(ON_SITE).to_numpy(dtype=np.bool_) == np.False_
        for rows in _by_sample(samples, np.flatnonzero(wrong), [earlier, later]):
            yield from _order_finding(samples, rows, (earlier, later), (first, second), severity)
    yield from _too_long(samples)


def _by_sample(samples: Samples, rows: npt.NDArray[np.intp], columns: list[str]) -> Iterator[list[int]]:
    """Yield the *rows* that agree in sample and *columns*, together."""
    if not len(rows):
        return
    table = samples.readings.iloc[rows]
    numbers = row_numbers([pd.Series(samples.sample[rows]), *(table[name] for name in columns)])
    for places in pd.Series(rows).groupby(numbers, sort=False):
        yield [int(row) for row in places[1]]


def _order_finding(
    samples: Samples, rows: list[int], columns: tuple[str, str], words: tuple[str, str], severity: Severity
) -> Iterator[Finding]:
    earlier, later = (samples.readings[name].iloc[rows[0]] for name in columns)
    message = (
        f"{len(rows)} result(s) of {samples.label(rows[0])} were {words[1]} on {later:%Y-%m-%d %H:%M} and only "
        f"{words[0]} on {earlier:%Y-%m-%d %H:%M}; this order cannot be, so no holding time is known: correct the dates "
        "(day and month interchanged?)"
    )
    return samples.findings(rows, "order of dates", severity, message)


def _too_long(samples: Samples) -> Iterator[Finding]:
    readings = samples.readings
    least, _ = elapsed_hours(readings[Readings.sampled_at], _begun(readings))
    done = readings[Readings.sign].ne(Sign.NOT_DONE).to_numpy(dtype=np.bool_)
    line = _exceeded(samples, np.where(done & (samples.role == ""), least, np.nan))
    every = holding_times()
    rows = np.flatnonzero(line >= 0)
    rules = pd.factorize(pd.Series([f"{entry.hours} {entry.source} {entry.severity}" for entry in every]))[0]
    held = np.array([entry.severity == Severity.HOLD for entry in every])[line[rows]]
    book = pd.factorize(readings[Readings.workbook])[0][rows]
    owner = np.where(held, samples.sample[rows], -1 - book)
    for _, places in pd.Series(rows).groupby([owner, rules[line[rows]]], sort=False):
        together = [int(row) for row in places]
        yield from _late_finding(samples, together, least[together], every[line[together[0]]])


def _begun(readings: pd.DataFrame) -> pd.Series:
    """Return when the analysis began at the earliest: as stated, else when the laboratory received the sample."""
    indoors = ~readings[Readings.parameter].isin(ON_SITE)
    return readings[Readings.analysed_at].fillna(readings[Readings.received_at].where(indoors))


def _exceeded(samples: Samples, hours: Floats) -> npt.NDArray[np.int64]:
    """Return for each reading the place in :func:`holding_times` of the rule that it exceeds, -1 for none.

    Of several exceeded rules the one that holds counts, then the longest.
    """
    every = holding_times()
    found = np.full(len(hours), -1, dtype=np.int64)
    for code, number in samples.codes.items():
        rows = np.flatnonzero(samples.code == number)
        for line in reversed(times_for(code)):
            found[rows[hours[rows] > line.hours]] = every.index(line)
    return found


def _late_finding(samples: Samples, rows: list[int], hours: Floats, line: HoldingTime) -> Iterator[Finding]:
    codes = samples.readings[Readings.parameter].iloc[rows].unique()
    names = ", ".join(find_parameter(str(code)).name for code in codes[:6]) + (" …" if len(codes) > 6 else "")
    number = len(np.unique(samples.sample[rows]))
    whose = samples.label(rows[int(np.argmax(hours))])
    first = f"{whose}" if number == 1 else f"{number} samples, the longest {whose}"
    note = f" ({line.note})" if line.note else ""
    mend = "measure it on site" if line.hours < 1 else "take a new sample"
    message = (
        f"{names} of {first}: analysis began {_span(float(hours.max()))} after sampling, holding time exceeded; "
        f"accepted are {_span(line.hours)} for {_WATER[line.applies]}, {line.source}{note}; {mend}, or state on the "
        "report that the holding time was exceeded"
    )
    return samples.findings(rows, "holding time", line.severity, message)


def _span(hours: float) -> str:
    if hours < 1:
        return f"{60 * hours:.0f} min"
    return f"{hours:.1f} h".replace(".0 h", " h") if hours <= 72 else f"{hours / 24:.1f} days".replace(".0 d", " d")
