"""Turns a column of cells into codes and distinct values, so that whatever is done to a value is done once."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import compress
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

Objects = npt.NDArray[np.object_]
Flags = npt.NDArray[np.bool_]
Numbers = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Coded:
    """A column of n values: ``codes`` (shape (n,)) point into ``distinct``; -1 is blank."""

    codes: npt.NDArray[np.int64]
    distinct: tuple[Any, ...]

    @classmethod
    def of(cls, cells: npt.NDArray[Any]) -> Coded:
        """Return the column of *cells* (shape (n,)); None and NaN are blank."""
        codes, uniques = pd.factorize(cells)
        return cls(codes, tuple(uniques))

    @classmethod
    def blank(cls, length: int) -> Coded:
        """Return a column of *length* blanks."""
        return cls(np.full(length, -1, dtype=np.int64), ())

    @classmethod
    def all_the_same(cls, value: object, length: int) -> Coded:
        """Return a column that holds *value* everywhere."""
        return cls(np.zeros(length, dtype=np.int64), (value,))

    def map(self, read: Callable[[Any], Any]) -> Coded:
        """Return the column of ``read(value)``; where that is None the result is blank."""
        given = [read(value) for value in self.distinct]
        return self.with_values(given)

    def attribute(self, name: str) -> Coded:
        """Return the column of one attribute of each value; a blank text is blank."""
        return self.with_values([getattr(value, name) or None for value in self.distinct])

    def with_values(self, given: Sequence[Any]) -> Coded:
        """Return the column with each distinct value replaced by the one at its place in *given*; None is blank."""
        places: dict[Any, int] = {}
        new = [-1 if value is None else places.setdefault(value, len(places)) for value in given]
        table = np.array([*new, -1], dtype=np.int64)
        return Coded(table[self.codes], tuple(places))

    def or_else(self, other: Coded) -> Coded:
        """Return this column with its blanks filled from *other* of the same length."""
        if not other.distinct:
            return self
        if not self.distinct:
            return other
        places = {value: place for place, value in enumerate(self.distinct)}
        moved = np.array([places.setdefault(value, len(places)) for value in other.distinct] + [-1], dtype=np.int64)
        return Coded(np.where(self.codes < 0, moved[other.codes], self.codes), tuple(places))

    def taken(self, rows: npt.NDArray[Any]) -> Coded:
        """Return the values at *rows* (positions, or flags of shape (n,)), and the distinct ones among them alone."""
        codes = self.codes[rows]
        present = np.zeros(len(self.distinct) + 1, dtype=bool)
        present[codes] = True
        present = present[:-1]
        if present.all():
            return Coded(codes, self.distinct)
        moved = np.append(np.where(present, np.cumsum(present) - 1, -1), -1)
        return Coded(moved[codes], tuple(compress(self.distinct, present)))

    def without(self, rows: Flags) -> Coded:
        """Return the column with the flagged *rows* (shape (n,)) blank."""
        return Coded(np.where(rows, -1, self.codes), self.distinct)

    def known(self) -> Flags:
        """Return, per row, whether there is a value."""
        return np.asarray(self.codes >= 0)

    def equal_to(self, value: object) -> Flags:
        """Return, per row, whether the value is *value*."""
        return np.asarray(np.array([*(given == value for given in self.distinct), False], dtype=bool)[self.codes])

    def known_values(self, other: Coded) -> Flags:
        """Return, per row of *other*, whether its value stands anywhere in this column."""
        return other.flags({self.distinct[code] for code in np.unique(self.codes) if code >= 0}.__contains__)

    def differs_from(self, other: Coded) -> Flags:
        """Return, per row, whether both columns have a value and these are not equal; *self* holds each value once."""
        places = {value: place for place, value in enumerate(self.distinct)}
        moved = np.array([*(places.get(value, -2) for value in other.distinct), -1], dtype=np.int64)[other.codes]
        return np.asarray((self.codes >= 0) & (moved != -1) & (self.codes != moved))

    def flags(self, test: Callable[[Any], bool]) -> Flags:
        """Return, per row, whether ``test(value)`` holds; blanks give False."""
        return np.asarray(np.array([*(bool(test(value)) for value in self.distinct), False], dtype=bool)[self.codes])

    def objects(self) -> Objects:
        """Return the values as an array of shape (n,), None where blank."""
        table = np.empty(len(self.distinct) + 1, dtype=object)
        table[:-1] = self.distinct
        return np.asarray(table[self.codes], dtype=object)

    def numbers(self) -> Numbers:
        """Return numeric values as an array of shape (n,), NaN where blank."""
        return np.asarray(np.array([*self.distinct, np.nan], dtype=np.float64)[self.codes])

    def texts(self) -> pd.Series[str]:
        """Return the values as a text series of length n, missing where blank."""
        table = pd.array([*(str(value) for value in self.distinct), None], dtype="str")
        return pd.Series(table.take(np.where(self.codes < 0, len(self.distinct), self.codes)))

    def groups(self, rows: Flags) -> list[tuple[Any, npt.NDArray[np.int64]]]:
        """Return each distinct value among the flagged *rows* with the positions at which it stands."""
        here = np.flatnonzero(rows & self.known())
        order = here[np.argsort(self.codes[here], kind="stable")]
        cuts = np.flatnonzero(np.diff(self.codes[order])) + 1
        return [(self.distinct[self.codes[part[0]]], part) for part in np.split(order, cuts) if len(part)]
