"""Turns reported results into the range of what each can be, in its own unit and then in the unit of a limit.

A detection of 12 is the range [12, 12], ``<10`` is [0, 10), ``>200`` is (200, ∞), and a result that says nothing has
no range (NaN ends) and a *trouble* that says why.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from enum import IntEnum

import numpy as np
import numpy.typing as npt
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.parameters import catalogue
from wqcheck.tables import Readings, Sign
from wqcheck.units import COUNT_UNITS, conversion, tidy

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]

SIGNED_UNITS = frozenset({"°C", "°F", "mV", "‰"})
"""Units whose scale goes below zero; a result in any other cannot be negative."""

SIGNED_GROUPS = frozenset({"calculated index", "stable isotope"})
PH_MOST = 14.0
"""The upper end of what ``>`` can mean for a pH (the customary scale; common practice, no source)."""


class Trouble(IntEnum):
    """Why a result has no range that a limit could be compared with; ``NONE`` when it has one."""

    NONE = 0
    NOT_DONE = 1
    UNREADABLE = 2
    NO_VALUE = 3
    NO_REPORTING_LIMIT = 4
    IMPOSSIBLE = 5
    NO_CONVERSION = 6
    NO_VOLUME = 7


@dataclass(frozen=True, slots=True, eq=False)
class Ranges:
    """What each of n results can be; every field is an array of shape (n,).

    Attributes
    ----------
    low, high : array of float
        The ends, NaN where there is trouble.
    open_low, open_high : array of bool
        Whether the end itself is left out: ``>5`` begins above 5.
    trouble : array of int
        Words of :class:`Trouble`.
    note : array of object
        What the conversion has to say, blank as a rule.
    """

    low: Floats
    high: Floats
    open_low: Bools
    open_high: Bools
    trouble: Ints
    note: npt.NDArray[np.object_]

    def take(self, places: Ints) -> Ranges:
        """Return the ranges at *places* (integers, any number of them)."""
        return Ranges(*(getattr(self, field.name)[places] for field in fields(self)))

    def noted(self, where: Bools, note: str) -> Ranges:
        """Return the ranges with *note* added *where* it applies."""
        if not where.any():
            return self
        both = np.where(self.note == "", note, self.note + ("; " + note))
        return replace(self, note=np.where(where, both, self.note))


def own_ranges(readings: DataFrame[Readings]) -> Ranges:
    """Return the range of each reading in the unit in which it was reported.

    A ``<`` without a value takes the reporting limit. *Not detected* is [0, reporting limit], and exactly 0 for
    organisms, where it means that none grew in the volume examined.
    """
    sign = {word: (readings[Readings.sign] == word).to_numpy(dtype=bool) for word in Sign}
    value = readings[Readings.value].to_numpy(dtype=np.float64)
    below = np.where(np.isnan(value), readings[Readings.reporting_limit].to_numpy(dtype=np.float64), value)
    floor, ceiling = _scale_ends(readings)
    counted = is_count(readings)
    cases = [sign[word] for word in (Sign.EQUAL, Sign.LESS, Sign.GREATER, Sign.ABSENT, Sign.PRESENT)]
    above = np.where(np.isnan(value), floor, value)
    value_high = np.fmax(value, readings[Readings.value_high].to_numpy(dtype=np.float64))
    low = np.select(cases, [value, floor, above, floor, floor], np.nan)
    high = np.select(
        cases,
        [np.where(np.isnan(value), value, value_high), below, ceiling, np.where(counted, 0.0, below), ceiling],
        np.nan,
    )
    open_low = sign[Sign.GREATER] | sign[Sign.PRESENT]
    trouble = _own_trouble(sign, value, high)
    impossible = (high < floor) | ((high == floor) & sign[Sign.LESS])
    trouble[(trouble == Trouble.NONE) & impossible] = Trouble.IMPOSSIBLE
    usable = trouble == Trouble.NONE
    return Ranges(
        low=np.where(usable, low, np.nan),
        high=np.where(usable, high, np.nan),
        open_low=open_low,
        open_high=sign[Sign.LESS],
        trouble=trouble,
        note=np.full(len(readings), "", dtype=object),
    )


def _own_trouble(sign: dict[Sign, Bools], value: Floats, high: Floats) -> Ints:
    unknown = np.isnan(high)
    causes = {
        Trouble.NOT_DONE: sign[Sign.NOT_DONE],
        Trouble.UNREADABLE: sign[Sign.UNREADABLE],
        Trouble.NO_VALUE: sign[Sign.EQUAL] & np.isnan(value),
        Trouble.NO_REPORTING_LIMIT: (sign[Sign.LESS] | sign[Sign.ABSENT]) & unknown,
    }
    return np.select(list(causes.values()), list(causes), np.where(unknown, Trouble.UNREADABLE, Trouble.NONE)).astype(
        np.int64
    )


def is_count(readings: DataFrame[Readings]) -> Bools:
    """Tell for each reading whether it counts organisms, by its parameter or by its unit."""
    known = catalogue()
    by_code = {code for code, entry in known.items() if entry.kind == "microbiological"}
    counted = readings[Readings.parameter].isin(by_code) | readings[Readings.unit].isin(COUNT_UNITS)
    return counted.to_numpy(dtype=bool)


def _scale_ends(readings: DataFrame[Readings]) -> tuple[Floats, Floats]:
    """Return the least and the greatest that each reading's scale allows."""
    parameter, unit = readings[Readings.parameter], readings[Readings.unit]
    signed_codes = {
        code for code, entry in catalogue().items() if entry.unit in SIGNED_UNITS or entry.group in SIGNED_GROUPS
    }
    signed = (parameter.isin(signed_codes) | unit.isin(SIGNED_UNITS)).to_numpy(dtype=bool)
    acidity = parameter.isin(["ph"]).to_numpy(dtype=bool)
    return np.where(signed, -np.inf, 0.0), np.where(acidity, PH_MOST, np.inf)


@dataclass(frozen=True, slots=True, eq=False)
class Targets:
    """The units that results are to be turned into; every field is an array of shape (targets,), volumes in mL."""

    unit: npt.NDArray[np.object_]
    basis: npt.NDArray[np.object_]
    volume_ml: Floats
    none_allowed: Bools


@dataclass(frozen=True, slots=True, eq=False)
class Pairs:
    """Which reading meets which target: two integer arrays of shape (pairs,)."""

    reading: Ints
    target: Ints


@dataclass(frozen=True, slots=True, eq=False)
class Factors:
    """Conversion factors of each pair, dimensionless, NaN where there is none; arrays of shape (pairs,)."""

    low: Floats
    high: Floats
    note: npt.NDArray[np.object_]


def conversion_factors(readings: DataFrame[Readings], targets: Targets, pairs: Pairs) -> Factors:
    """Return the factor of each pair, looked up once per distinct (parameter, unit, basis, target)."""
    columns = [readings[name] for name in (Readings.parameter, Readings.unit, Readings.basis)]
    keys = row_numbers(columns)
    found, first = pd.factorize(keys[pairs.reading] * (len(targets.unit) + 1) + pairs.target)
    places = np.zeros(len(first), dtype=np.int64)
    places[found[::-1]] = np.arange(len(found))[::-1]
    parts = [column.iloc[pairs.reading[places]] for column in columns]
    parts += [pd.Series(names[pairs.target[places]]) for names in (targets.unit, targets.basis)]
    texts = [part.astype("str").fillna("").to_list() for part in parts]
    known = [conversion(*key) for key in zip(*texts, strict=True)]
    low = np.array([factor.low for factor in known], dtype=np.float64)
    high = np.array([factor.high for factor in known], dtype=np.float64)
    note = np.array([factor.note for factor in known], dtype=object)
    return Factors(low[found], high[found], note[found])


def row_numbers(columns: Sequence[pd.Series]) -> Ints:
    """Return for each row the number of its combination of *columns* (at least one); blanks count as equal."""
    numbers = np.zeros(len(columns[0]), dtype=np.int64)
    for column in columns:
        codes, words = pd.factorize(column, use_na_sentinel=False)
        numbers, _ = pd.factorize(numbers * (len(words) + 1) + codes)
    return numbers.astype(np.int64)


@dataclass(frozen=True, slots=True, eq=False)
class Stated:
    """What a sheet states beside n results, in the unit of their targets, NaN if nothing; arrays of shape (n,)."""

    uncertainty: Floats
    reporting_limit: Floats


def ranges_in(readings: DataFrame[Readings], own: Ranges, targets: Targets, pairs: Pairs) -> tuple[Ranges, Stated]:
    """Return the range of each pair's reading in the pair's target, and what the sheet states beside it.

    A basis that is not stated widens the range to every basis that may have been meant. A count is scaled to the
    target's volume, except where none is allowed: absence is only proven in a volume at least as large.
    """
    factors = conversion_factors(readings, targets, pairs)
    mine = own.take(pairs.reading)
    worded = np.isnan(readings[Readings.value].to_numpy(dtype=np.float64)) & is_count(readings) & ~own.open_high
    unscaled = worded[pairs.reading] & np.isin(targets.unit.astype(str), list(COUNT_UNITS))[pairs.target]
    low_factor, high_factor = np.where(unscaled, 1.0, factors.low), np.where(unscaled, 1.0, factors.high)
    lost = (mine.trouble == Trouble.NONE) & np.isnan(low_factor)
    converted = Ranges(
        low=mine.low * np.where(mine.low < 0, high_factor, low_factor),
        high=mine.high * np.where(mine.high < 0, low_factor, high_factor),
        open_low=mine.open_low,
        open_high=mine.open_high,
        trouble=np.where(lost, Trouble.NO_CONVERSION, mine.trouble),
        note=np.where(unscaled, "", factors.note),
    )
    examined = volume_examined(readings)[pairs.reading]
    wanted, none_allowed = targets.volume_ml[pairs.target], targets.none_allowed[pairs.target]
    if np.isfinite(wanted).any():
        absence = np.isfinite(wanted) & none_allowed
        high_factor = high_factor * np.where(np.isfinite(wanted) & (absence == np.False_), wanted / examined, 1.0)
        converted = _scaled(converted, examined, np.where(absence, np.nan, wanted))
        converted = _absence(converted, examined, np.where(absence, wanted, np.nan))
    stated = Stated(
        uncertainty=tidy(readings[Readings.uncertainty].to_numpy(dtype=np.float64)[pairs.reading] * high_factor),
        reporting_limit=_reporting_limit(readings)[pairs.reading] * high_factor,
    )
    return replace(converted, low=tidy(converted.low), high=tidy(converted.high)), stated


def _reporting_limit(readings: DataFrame[Readings]) -> Floats:
    """Return the reporting limit of each reading in its own unit: as stated, else what stands behind a ``<``."""
    stated, value = (readings[name].to_numpy(dtype=np.float64) for name in (Readings.reporting_limit, Readings.value))
    below = (readings[Readings.sign] == Sign.LESS).to_numpy(dtype=bool)
    return np.where(np.isnan(stated) & below, value, stated)


def volume_examined(readings: DataFrame[Readings]) -> Floats:
    """Return the volume that each reading's count refers to, in mL; NaN where none, or none above 0, is stated."""
    examined = readings[Readings.volume_ml].to_numpy(dtype=np.float64)
    return np.where(examined > 0, examined, np.nan)


def _none_found(ranges: Ranges) -> Bools:
    """Tell where no organism grew: counts are whole numbers, so below 1 is none."""
    none: Bools = (ranges.high < 1) | ((ranges.high == 1) & ranges.open_high)
    return none


def _scaled(ranges: Ranges, examined: Floats, wanted: Floats) -> Ranges:
    """Scale counts from the volume *examined* to the volume *wanted* (mL, NaN where there is nothing to scale).

    None in a smaller volume than wanted is only known as less than one in the volume examined.
    """
    counted = np.isfinite(wanted)
    ratio = np.where(counted, wanted / examined, 1.0)
    may_be_one = counted & (examined < wanted) & _none_found(ranges) & (ranges.open_low == ranges.open_high)
    nowhere = np.isnan(ratio) & (ranges.trouble == Trouble.NONE)
    return replace(
        ranges,
        low=ranges.low * ratio,
        high=np.where(may_be_one, 1.0, ranges.high) * ratio,
        open_high=ranges.open_high | may_be_one,
        trouble=np.where(nowhere, Trouble.NO_VOLUME, ranges.trouble),
    )


def _absence(ranges: Ranges, examined: Floats, wanted: Floats) -> Ranges:
    """Read counts as an answer to *none in the volume wanted* (mL, NaN where that is not the question)."""
    asked = np.isfinite(wanted)
    none_there = asked & _none_found(ranges) & (ranges.low == 0)
    high = np.where(none_there, 0.0, ranges.high)
    unproven = asked & np.isfinite(high) & ((examined < wanted) | np.isnan(examined))
    return replace(
        ranges,
        high=np.where(unproven, np.inf, high),
        open_high=np.where(asked, unproven, ranges.open_high),
    )
