"""Turns readings into samples: how much of each parameter each sample can hold, all in the parameter's usual unit.

A sample is what agrees in batch, sample, point and sampling day. Several results of one parameter give the range from
the least to the greatest of them, and a non-detect enters as the range from nothing to its limit, never as zero.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
import numpy.typing as npt
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.findings import Finding, Severity
from wqcheck.judging.ranges import Bools, Floats, Ints, Ranges, Trouble, row_numbers, volume_examined
from wqcheck.parameters import catalogue, find_parameter
from wqcheck.quality.sample_roles import sample_roles
from wqcheck.quality.usual_units import in_usual_units
from wqcheck.tables import Readings
from wqcheck.units import conversion

_MOST_CELLS = 12
_TEXTS = (
    Readings.sample, Readings.batch, Readings.point, Readings.stage, Readings.parameter, Readings.parameter_text,
    Readings.reported, Readings.unit, Readings.replicate, Readings.workbook, Readings.sheet, Readings.cell,
)  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class Amount:
    """How much of one quantity each of n samples can hold; arrays of shape (n,), all in one unit.

    Attributes
    ----------
    low, high : array of float
        The ends, NaN where there is no usable result.
    slack : array of float
        By how much the ends may be off: stated uncertainty, else half of the last digit given.
    volume_ml : array of float
        Volume that counts refer to; NaN for no count, or for counts of different volumes.
    row : array of int
        The first reading it comes from, -1 where there is none.
    """

    low: Floats
    high: Floats
    slack: Floats
    volume_ml: Floats
    row: Ints

    def known(self) -> Bools:
        """Return where there is a usable result."""
        return np.asarray(self.row >= 0)

    def times(self, low: float, high: float) -> Amount:
        """Return the amount in another unit, of which one is between *low* and *high* of its own."""
        return replace(self, low=self.low * low, high=self.high * high, slack=self.slack * high)

    def filled(self) -> Amount:
        """Return the amount with nothing where there is no result."""
        return replace(self, low=np.nan_to_num(self.low), high=np.nan_to_num(self.high, posinf=np.inf))


@dataclass(frozen=True, slots=True, eq=False)
class Samples:
    """Readings (n of them, m samples) and what they amount to.

    Attributes
    ----------
    readings : DataFrame
        The readings, numbered from 0.
    ranges : Ranges
        What each reading can be, in the usual unit and basis of its parameter; shape (n,).
    slack : array of float, shape (n,)
        Stated uncertainty, else half of the last digit given, in the same unit.
    volume_ml : array of float, shape (n,)
        Volume that a count refers to, NaN where there is none.
    sample, code : array of int, shape (n,)
        Number of the sample, and of the parameter in ``codes``.
    texts : mapping of str to array of str, shape (n,)
        Text columns of the readings by name, ``""`` where blank.
    sampled : array of datetime64, shape (n,)
        Time of sampling.
    first : array of int, shape (m,)
        The first reading of each sample.
    role : array of str, shape (n,)
        Words of :mod:`wqcheck.quality.sample_roles`.
    asked, decides : array of bool, shape (n,)
        Whether findings about the reading are wanted, and whether a decision rests on it.
    """

    readings: DataFrame[Readings]
    ranges: Ranges
    slack: Floats
    volume_ml: Floats
    sample: Ints
    first: Ints
    code: Ints
    codes: Mapping[str, int]
    texts: Mapping[str, npt.NDArray[np.object_]]
    sampled: npt.NDArray[np.datetime64]
    role: npt.NDArray[np.object_]
    asked: Bools
    decides: Bools

    def rows_of(self, code: str) -> Ints:
        """Return the numbers of the readings of a parameter that can be used, quality-control samples left out."""
        if code not in self.codes:
            return np.zeros(0, dtype=np.int64)
        ordinary = (self.role == "") | (self.role == "duplicate")
        return np.flatnonzero((self.code == self.codes[code]) & (self.ranges.trouble == Trouble.NONE) & ordinary)

    def amount(self, code: str, rows: Ints | None = None) -> Amount:
        """Return the amount of a parameter in each sample, in its usual unit; from *rows* only, if given."""
        rows = self.rows_of(code) if rows is None else rows
        if not len(rows):
            return _nothing(len(self.first))
        size, at = len(self.first), self.sample[rows]
        low, high, slack = np.full(size, np.inf), np.full(size, -np.inf), np.zeros(size)
        row = np.full(size, -1, dtype=np.int64)
        np.minimum.at(low, at, self.ranges.low[rows])
        np.maximum.at(high, at, self.ranges.high[rows])
        np.maximum.at(slack, at, self.slack[rows])
        row[at[::-1]] = rows[::-1]
        examined = self.volume_ml[rows]
        least, most = np.full(size, np.inf), np.full(size, -np.inf)
        np.fmin.at(least, at, examined)
        np.fmax.at(most, at, examined)
        return Amount(
            low=np.where(row >= 0, low, np.nan),
            high=np.where(row >= 0, high, np.nan),
            slack=slack,
            volume_ml=np.where(least == most, least, np.nan),
            row=row,
        )

    def amount_in(self, code: str, unit: str, basis: str) -> Amount:
        """Return the amount of a parameter in each sample, in *unit* on *basis*."""
        usual = find_parameter(code)
        factor = conversion(code, usual.unit, usual.basis, unit, basis)
        return self.amount(code).times(factor.low, factor.high)

    def text(self, column: str, row: int) -> str:
        """Return a text of a reading, ``""`` where blank."""
        return str(self.texts[column][row])

    def label(self, row: int) -> str:
        """Return words for the sample of a reading."""
        parts = {"sample": Readings.sample, "batch": Readings.batch, "at": Readings.point}
        words = [f"{word} {self.text(column, row)}" for word, column in parts.items() if self.text(column, row)]
        day = self.sampled[row]
        told = " ".join(words + ([] if np.isnat(day) else [f"of {np.datetime_as_string(day, unit='D')}"]))
        return (
            told if self.text(Readings.sample, row) or self.text(Readings.batch, row) else f"the sample {told}".strip()
        )

    def name(self, row: int) -> str:
        """Return the name of a reading's parameter, else what the sheet calls it."""
        entry = catalogue().get(self.text(Readings.parameter, row))
        return entry.name if entry else self.text(Readings.parameter_text, row) or "(no parameter)"

    def given(self, row: int) -> str:
        """Return parameter, result and unit of a reading as the sheet gives them."""
        return f"{self.name(row)} {self.text(Readings.reported, row)} {self.text(Readings.unit, row)}".strip()

    def places(self, rows: Sequence[int]) -> str:
        """Return ``workbook|sheet!cell`` of the readings, the cell alone in the sheet of the first; at most 12."""
        return cells_of(self.readings.iloc[list(dict.fromkeys(rows))])

    def findings(self, rows: Sequence[int], code: str, severity: Severity, message: str) -> Iterator[Finding]:
        """Yield a finding about readings, none where none of them is asked about.

        Where no decision rests on any of them, it is a note.
        """
        each = list(rows)
        if not self.asked[each].any():
            return
        held = severity == Severity.HOLD and bool(self.decides[each].any())
        yield Finding(
            code=code,
            severity=Severity.HOLD if held else Severity.NOTE,
            message=message,
            where=self.places(each),
        )


def cells_of(readings: pd.DataFrame) -> str:
    """Return ``workbook|sheet!cell`` of *readings*, the cell alone in the sheet of the first; at most 12."""
    shown = readings.head(_MOST_CELLS)
    homes = list(zip(shown[Readings.workbook], shown[Readings.sheet].fillna(""), strict=True))
    told = [
        cell if number and home == homes[0] else f"{home[0]}|{f'{home[1]}!' if home[1] else ''}{cell}"
        for number, (home, cell) in enumerate(zip(homes, shown[Readings.cell], strict=True))
    ]
    more = [f"{len(readings) - _MOST_CELLS} more cells"] if len(readings) > _MOST_CELLS else []
    return "; ".join([*told, *more])


def first_known(first: Amount, second: Amount, unless: Bools | None = None) -> Amount:
    """Return the *first* amount, and the *second* in samples where the first is not known, or *unless* says so."""
    use = first.known() if unless is None else first.known() & (unless == np.False_)
    return Amount(*(np.where(use, getattr(first, part.name), getattr(second, part.name)) for part in fields(Amount)))


def _nothing(size: int) -> Amount:
    unknown = np.full(size, np.nan)
    return Amount(unknown, unknown, np.zeros(size), unknown, np.full(size, -1, dtype=np.int64))


def samples_of(
    readings: DataFrame[Readings], asked: pd.Series[bool] | None = None, decides: pd.Series[bool] | None = None
) -> Samples:
    """Return the samples that readings make up.

    Parameters
    ----------
    readings : DataFrame[Readings]
        One row per reported result.
    asked, decides : Series of bool, optional
        About which of them findings are wanted, and on which a decision rests, as long as *readings*; by default all.
    """
    table = readings.reset_index(drop=True)
    code, names = pd.factorize(table[Readings.parameter])
    ranges, slack = in_usual_units(table, code, [str(name) for name in names])
    role = sample_roles(table)
    sample = _sample_numbers(table, role)
    first = np.zeros(int(sample.max(initial=-1)) + 1, dtype=np.int64)
    first[sample[::-1]] = np.arange(len(table))[::-1]
    every = np.ones(len(table), dtype=np.bool_)
    return Samples(
        readings=table,
        ranges=ranges,
        slack=slack,
        volume_ml=volume_examined(table),
        sample=sample,
        first=first,
        code=code.astype(np.int64),
        codes={str(name): number for number, name in enumerate(names)},
        texts={name: table[name].fillna("").to_numpy(dtype=object) for name in _TEXTS},
        sampled=table[Readings.sampled_at].to_numpy(dtype="datetime64[ns]"),
        role=role,
        asked=every if asked is None else asked.to_numpy(dtype=np.bool_),
        decides=every if decides is None else decides.to_numpy(dtype=np.bool_),
    )


def _sample_numbers(table: DataFrame[Readings], role: npt.NDArray[np.object_]) -> Ints:
    point = table[Readings.point].fillna(table[Readings.stage])
    nameless = table[Readings.sample].isna() & table[Readings.batch].isna() & point.isna()
    sheet = (table[Readings.workbook] + "|" + table[Readings.sheet].fillna("")).where(nameless)
    control = pd.Series(np.where(role == "duplicate", "", role))
    day = table[Readings.sampled_at].dt.normalize()
    return row_numbers([table[Readings.batch], table[Readings.sample], point, day, sheet, control])
