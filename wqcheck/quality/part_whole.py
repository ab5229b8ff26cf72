"""Turns results of parts and of their whole into findings where a part is more than the whole, or a sum is not one.

``part_whole.csv`` lists which parameter contains which; it is open to editing. Only what lies beyond the combined
uncertainty of both (stated, else half of the last digit) is found.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np

from wqcheck.findings import Finding, Severity
from wqcheck.judging.ranges import Bools, Floats
from wqcheck.quality.sample_amounts import Amount, Samples
from wqcheck.tables import Readings

FAR = 1.2
"""A part above this multiple of its whole is more than the scatter of duplicates (20 %; common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Whole:
    """One line of ``part_whole.csv``: what the parts of a parameter are, and in which unit they are added."""

    code: str
    parts: tuple[str, ...]
    equal: bool
    unit: str
    basis: str
    severity: Severity
    source: str


@cache
def wholes() -> tuple[Whole, ...]:
    """Return the lines of ``part_whole.csv``."""
    text = files("wqcheck.quality").joinpath("part_whole.csv").read_text(encoding="utf-8")
    return tuple(
        Whole(
            code=row["whole"],
            parts=tuple(row["parts"].split(";")),
            equal=row["relation"] == "equal",
            unit=row["unit"],
            basis=row["basis"],
            severity=Severity(row["weight"]),
            source=row["source"],
        )
        for row in csv.DictReader(text.splitlines())
    )


def part_findings(samples: Samples) -> Iterator[Finding]:
    """Yield a finding for each sample and whole that its parts exceed, or that is more than all of its parts."""
    for entry in wholes():
        if entry.code in samples.codes and any(part in samples.codes for part in entry.parts):
            yield from _of_whole(samples, entry)
    yield from _dissolved(samples)


def _of_whole(samples: Samples, entry: Whole) -> Iterator[Finding]:
    whole = samples.amount_in(entry.code, entry.unit, entry.basis)
    parts = [samples.amount_in(part, entry.unit, entry.basis) for part in entry.parts]
    comparable = whole.known() & _same_volume(whole, parts)
    least = sum((part.filled().low for part in parts), np.zeros(len(whole.low)))
    slack = _combined_slack(whole, parts)
    above = comparable & (least - slack > whole.high)
    for at in np.flatnonzero(above).tolist():
        far = least[at] > FAR * (whole.high[at] + slack[at])
        yield from _finding(samples, entry, whole, parts, at, entry.severity if far else Severity.NOTE)
    if entry.equal:
        complete = np.logical_and.reduce([part.known() for part in parts])
        most = sum((part.high for part in parts), np.zeros(len(whole.low)))
        below = comparable & complete & (whole.low - slack > most)
        for at in np.flatnonzero(below).tolist():
            yield from _finding(samples, entry, whole, parts, at, Severity.NOTE)


def _same_volume(whole: Amount, parts: list[Amount]) -> Bools:
    """Return where counts refer to one volume; what is no count always does."""
    same = [
        (part.volume_ml == whole.volume_ml) | (np.isnan(part.volume_ml) & np.isnan(whole.volume_ml)) for part in parts
    ]
    absent = [part.known() == np.False_ for part in parts]
    return np.asarray(np.logical_and.reduce([fits | lacks for fits, lacks in zip(same, absent, strict=True)]))


def _combined_slack(whole: Amount, parts: list[Amount]) -> Floats:
    squares = sum((part.slack**2 for part in parts), whole.slack**2)
    return np.asarray(np.sqrt(squares))


def _finding(
    samples: Samples, entry: Whole, whole: Amount, parts: list[Amount], at: int, severity: Severity
) -> Iterator[Finding]:
    rows = [int(amount.row[at]) for amount in (whole, *parts) if amount.row[at] >= 0]
    named = [samples.given(int(part.row[at])) for part in parts if part.row[at] >= 0]
    said = "is not the sum of" if entry.equal else "is less than"
    basis = f" as {entry.basis}" if entry.basis else ""
    message = (
        f"{samples.given(rows[0])} {said} {' + '.join(named)} in {samples.label(rows[0])}, compared in "
        f"{entry.unit}{basis} beyond their uncertainty ({entry.source}); ask the laboratory to check both results"
    )
    code = "sum and members" if entry.equal else "part above whole"
    return samples.findings(rows, code, severity, message)


def _dissolved(samples: Samples) -> Iterator[Finding]:
    """Yield where the dissolved share of a parameter is more than its total (ASTM D596 9.4)."""
    fraction = samples.readings[Readings.fraction]
    dissolved = fraction.eq("dissolved").fillna(False).to_numpy(dtype=np.bool_)
    for code in samples.readings.loc[dissolved, Readings.parameter].dropna().unique():
        rows = samples.rows_of(str(code))
        part = samples.amount(str(code), rows[dissolved[rows]])
        whole = samples.amount(str(code), rows[dissolved[rows] == np.False_])
        above = part.low - _combined_slack(whole, [part]) > whole.high
        for at in np.flatnonzero(above).tolist():
            pair = [int(whole.row[at]), int(part.row[at])]
            message = (
                f"dissolved {samples.given(pair[1])} is more than total {samples.given(pair[0])} in "
                f"{samples.label(pair[0])}, beyond their uncertainty; a part cannot exceed the whole (ASTM D596 9.4); "
                "check the filtration, and whether the bottles were interchanged"
            )
            yield from samples.findings(pair, "part above whole", Severity.NOTE, message)
