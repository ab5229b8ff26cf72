"""Turns readings of finished water into which of them are quality-control samples, and findings that say so."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.findings import Finding, Severity
from wqcheck.judging.ranges import Bools
from wqcheck.parameters import normalise
from wqcheck.quality.sample_amounts import cells_of
from wqcheck.quality.sample_roles import NO_WATER, certain_roles, sample_roles
from wqcheck.tables import Readings

_SHORT = (
    r"(?:lcsd?|mb|fb|tb|eb|rb|blk|msd?|ccv|ccb|icv|icb|qcs?|crm|srm|pt)(?: ?\d+)?"
    r"|(?:(?:qc|quality control|reference|check|proficiency|pt) (?:standard|sample|material)s?"
    r"|(?:negative|positive|sterility|process) controls?|reagent water|leerprobe)(?: \d+)?"
)
"""Short names of control samples, which are names of places too: results under them hold (common practice)."""


def is_control(readings: DataFrame[Readings]) -> Bools:
    """Return which *readings* are blanks, spikes or standards by a name that says nothing else; shape (n,)."""
    certain: Bools = np.isin(certain_roles(readings).astype(str), NO_WATER)
    return certain


def control_notes(readings: DataFrame[Readings]) -> tuple[Finding, ...]:
    """Return what to tell of *readings* that were set apart, and of those that only resemble them and were judged.

    Each names the number of results and their cells. A duplicate is water of the plant.
    """
    apart = is_control(readings)
    like = (np.isin(sample_roles(readings).astype(str), NO_WATER) | _short_name(readings)) & (apart == np.False_)
    return (*_told(readings[apart], certain_roles(readings)[apart]), *_doubtful(readings[like]))


def _told(readings: pd.DataFrame, role: np.ndarray[tuple[int], np.dtype[np.object_]]) -> Iterator[Finding]:
    for (name, word), rows in readings.groupby([_names(readings), role], sort=False):
        message = (
            f"{len(rows)} result(s) of {name} were set apart as a {word} and not judged as finished water; they serve "
            "to check the laboratory's work. If this is water of the plant, give the sample another name"
        )
        yield Finding(code="control sample", severity=Severity.NOTE, message=message, where=cells_of(rows))


def _doubtful(readings: pd.DataFrame) -> Iterator[Finding]:
    for name, rows in readings.groupby(_names(readings), sort=False):
        message = (
            f"{len(rows)} result(s) of {name} were judged as finished water, though the name resembles that of a "
            "quality-control sample; if it is one, let its name say nothing else, such as Field blank; else rename it"
        )
        yield Finding(code="like a control sample", severity=Severity.HOLD, message=message, where=cells_of(rows))


def _short_name(readings: pd.DataFrame) -> Bools:
    """Return where sample or replicate is called as laboratories call their controls, and nothing else; shape (n,)."""
    named = [readings[name].fillna("").map(normalise) for name in (Readings.sample, Readings.replicate)]
    found = [names.str.fullmatch(_SHORT).to_numpy(dtype=bool) for names in named]
    return np.asarray(found[0] | found[1])


def _names(readings: pd.DataFrame) -> pd.Series[str]:
    """Return what each reading's sample is called, by its sample, point and replicate; same index."""
    parts = [readings[name].fillna("") for name in (Readings.sample, Readings.point, Readings.replicate)]
    return (parts[0] + " " + parts[1] + " " + parts[2]).str.split().str.join(" ")
