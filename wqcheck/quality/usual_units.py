"""Turns readings into what each can be in the usual unit and basis of its parameter, and how far that may be off."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.judging.ranges import Floats, Pairs, Ranges, Targets, is_count, own_ranges, ranges_in
from wqcheck.parameters import catalogue
from wqcheck.tables import Readings

_LAST_DIGITS = re.compile(r"[.,](\d+)\D*$")


def in_usual_units(table: DataFrame[Readings], code: npt.NDArray[np.intp], names: list[str]) -> tuple[Ranges, Floats]:
    """Return range and slack of each reading in its parameter's usual unit; those of no known parameter keep theirs.

    Parameters
    ----------
    table : DataFrame[Readings]
        One row per reported result, n of them.
    code : array of int, shape (n,)
        Place of each reading's parameter in *names*, -1 for none.
    names : list of str
        Parameter codes.
    """
    known = catalogue()
    usual = [known.get(name) for name in names]
    wanted = np.array([entry is not None and entry.unit != "" for entry in usual] + [False])
    rows = np.flatnonzero(wanted[code])
    targets = Targets(
        unit=np.array([entry.unit if entry else "" for entry in usual], dtype=object),
        basis=np.array([entry.basis if entry else "" for entry in usual], dtype=object),
        volume_ml=np.full(len(names), np.nan),
        none_allowed=np.zeros(len(names), dtype=np.bool_),
    )
    loose = _looseness(table)
    own = own_ranges(table)
    pairs = Pairs(rows.astype(np.int64), code[rows].astype(np.int64))
    found, off = ranges_in(table.assign(**{Readings.uncertainty: loose}), own, targets, pairs)
    low, high, trouble = own.low.copy(), own.high.copy(), own.trouble.copy()
    low[rows], high[rows], trouble[rows] = found.low, found.high, found.trouble
    slack = loose.copy()
    slack[rows] = off.uncertainty
    return replace(own, low=low, high=high, trouble=trouble), np.nan_to_num(slack, posinf=0.0)


def _looseness(table: DataFrame[Readings]) -> Floats:
    """Return the stated uncertainty of each reading, else half of the last digit given; counts are exact."""
    number, texts = pd.factorize(table[Readings.reported])
    matches = [_LAST_DIGITS.search(str(text)) for text in texts]
    step = np.array([0.5 * 10.0 ** -len(match[1]) if match else 0.5 for match in matches], dtype=np.float64)
    value = table[Readings.value].to_numpy(dtype=np.float64)
    half = step[number] if len(step) else np.zeros(0)
    turns = value / (2 * half)
    whole = np.abs(turns - np.rint(turns)) < 1e-6 * np.maximum(1, np.abs(turns))
    stated = table[Readings.uncertainty].to_numpy(dtype=np.float64)
    rounding = np.where(whole & (is_count(table) == np.False_), half, 0.0)
    return np.where(np.isnan(stated), rounding, np.abs(stated))
