"""Turns groups of members and their totals into one reading per sum, as it stands in the judged table."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import numpy.typing as npt
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.judging.binding import LimitRows
from wqcheck.judging.ranges import Floats, Ranges
from wqcheck.judging.sum_groups import Groups, Measured, Members
from wqcheck.tables import Limits, Readings, Sign


def sum_readings(
    limits: LimitRows, members: Members, groups: Groups, measured: Measured, totals: Ranges
) -> DataFrame[Readings]:
    """Return one reading per group that stands for the sum: what its sample is, and its members as text."""
    source = measured.readings.iloc[groups.first].reset_index(drop=True)
    kept = {Readings.sample, Readings.batch, Readings.point, Readings.stage, Readings.workbook, Readings.sheet}
    kept |= {Readings.sampled_at, Readings.received_at, Readings.analysed_at}
    told = source.copy()
    for name in set(told.columns) - kept:
        told[name] = pd.Series(np.nan, index=told.index, dtype=source[name].dtype)
    sign, value, value_high = _as_result(totals)
    told[Readings.parameter] = limits.rows[Limits.parameter].iloc[groups.row].to_numpy()
    told[Readings.reported], told[Readings.cell] = _listed(members, groups, measured)
    told[Readings.sign] = pd.Series(sign, dtype="str")
    told[Readings.value], told[Readings.value_high] = value, value_high
    told[Readings.unit] = pd.Series(limits.unit[groups.row], dtype="str")
    return told


def _as_result(totals: Ranges) -> tuple[npt.NDArray[np.object_], Floats, Floats]:
    """Return sign, value and upper value that say what each total can be; *not done* where nothing is known."""
    exact, from_nothing, finite = totals.low == totals.high, totals.low == 0, np.isfinite(totals.high)
    less, between, at_least = from_nothing & finite, finite, totals.low > 0
    cases = [exact, less, between, at_least]
    words = [Sign.EQUAL.value, Sign.LESS.value, Sign.EQUAL.value, Sign.GREATER.value]
    sign = np.select(cases, words, Sign.NOT_DONE.value).astype(object)
    value = np.select(cases, [totals.low, totals.high, totals.low, totals.low], np.nan)
    return sign, value, np.select(cases[:3], [np.full(len(sign), np.nan)] * 2 + [totals.high], np.nan)


def _listed(members: Members, groups: Groups, measured: Measured) -> tuple[pd.Series, pd.Series]:
    """Return for each group its members' results and their cells as ``;`` lists; a cell elsewhere names its sheet."""
    group, place = np.nonzero(groups.best >= 0)
    readings, pairs = measured.readings, measured.pairs
    where = [Readings.workbook, Readings.sheet]
    shown = readings[[*where, Readings.cell, Readings.reported, Readings.unit, Readings.basis]]
    picked = shown.iloc[pairs.reading[groups.best[group, place]]].reset_index(drop=True)
    home = readings[where].iloc[groups.first[group]].reset_index(drop=True)
    name = members.wanted[Limits.parameter].iloc[groups.member[group, place]].reset_index(drop=True)
    basis = (" as " + picked[Readings.basis]).fillna("")
    text = name + " " + picked[Readings.reported] + (" " + picked[Readings.unit]).fillna("") + basis
    book, sheet = picked[Readings.workbook], picked[Readings.sheet].fillna("")
    same_book = book.eq(home[Readings.workbook]).to_numpy(dtype=bool)
    here = same_book & sheet.eq(home[Readings.sheet].fillna("")).to_numpy(dtype=bool)
    place_of = (book + "|").where(~same_book, "") + (sheet + "!").where(~here, "")
    ends = np.searchsorted(group, np.arange(len(groups.row) + 1))
    return _joined(text, ends), _joined(place_of + picked[Readings.cell], ends)


def _joined(parts: pd.Series, ends: npt.NDArray[np.intp]) -> pd.Series:
    """Join *parts* with ``;`` from each of the *ends* to the next."""
    words = parts.to_list()
    joined = ["; ".join(words[begin:end]) for begin, end in pairwise(ends)]
    return pd.Series(joined, dtype="str")
