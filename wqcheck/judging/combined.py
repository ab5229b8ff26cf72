"""Turns the results of one sample into verdicts on limits for their sum, or for the sum of their ratios.

A member without a usable result can be anything from nothing upward: the sum is then only known from below, so that
it can fail but never pass.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.judging.binding import Days, LimitRows, pairs_in_force, weights_of
from wqcheck.judging.ranges import Bools, Floats, Ints, Pairs, Ranges, Targets, Trouble, ranges_in, row_numbers
from wqcheck.judging.rows import Results, judged_rows, outcome
from wqcheck.limit_tables.checks import COMBINED_RULES, split_list
from wqcheck.tables import Judged, Limits, Readings, Rule, Sign
from wqcheck.units import tidy


@dataclass(frozen=True, slots=True, eq=False)
class Members:
    """The members of all combined rows, one after the other; arrays of shape (members,).

    ``row`` is the limit row, ``place`` the member's place in it, ``weight`` what its result is multiplied with.
    ``wanted`` has parameter and validity of each, as :func:`wqcheck.judging.binding.pairs_in_force` takes them.
    """

    row: Ints
    place: Ints
    weight: Floats
    wanted: pd.DataFrame
    targets: Targets


@dataclass(frozen=True, slots=True, eq=False)
class Groups:
    """Samples × combined rows of which at least one member was reported; ``best`` is -1 for a member that was not.

    Attributes
    ----------
    row, first : array of int, shape (groups,)
        The limit row, and the first reading of the group.
    member : array of int, shape (groups, most members)
        Number of the member in :class:`Members`, -1 beyond the row's own.
    best : array of int, shape (groups, most members)
        The pair with the largest result of that member.
    low : array of float, shape (groups, most members)
        The largest lower end among the results of that member.
    count : array of int, shape (groups, most members)
        How many results the member has.
    """

    row: Ints
    first: Ints
    member: Ints
    best: Ints
    low: Floats
    count: Ints


def judge_combined(readings: DataFrame[Readings], own: Ranges, limits: LimitRows, days: Days) -> DataFrame[Judged]:
    """Return one judged row per sample and combined limit of which the sample has at least one member.

    A sample is what agrees in batch, sample, point and sampling day. Of several results of one member the largest
    counts. Its ``reported`` and ``cell`` list the members.
    """
    members = _members(limits)
    pairs = pairs_in_force(readings, members.wanted, days)
    if not len(pairs.reading):
        return Judged.empty()
    ranges, _ = ranges_in(readings, own, members.targets, pairs)
    groups = _groups(_sample_numbers(readings, days, pairs), members, pairs, ranges)
    totals = _totals(groups, members, ranges)
    told = _told(readings, limits, members, pairs, groups, totals)
    count = len(groups.row)
    results = Results(
        reported=told[Readings.reported],
        guard=np.zeros(count),
        examined=np.full(count, np.nan),
        uncounted=np.zeros(count, dtype=np.bool_),
    )
    found = outcome(results, limits, Pairs(np.arange(count), groups.row), totals)
    return judged_rows(told, limits, found)


def _members(limits: LimitRows) -> Members:
    rows = limits.rows
    combined = np.flatnonzero(rows[Limits.rule].isin(COMBINED_RULES).to_numpy(dtype=bool))
    listed = [split_list(str(text)) for text in rows[Limits.members].iloc[combined]]
    sizes = [len(names) for names in listed]
    row = np.repeat(combined, sizes).astype(np.int64)
    place = np.array([number for size in sizes for number in range(size)], dtype=np.int64)
    ratio = (rows[Limits.rule].iloc[combined] == Rule.RATIO_SUM_MAX).to_numpy(dtype=bool)
    weights = [weights_of(text, size) for text, size in zip(rows[Limits.weights].iloc[combined], sizes, strict=True)]
    weights = [1 / given if inverse else given for given, inverse in zip(weights, ratio, strict=True)]
    bases = [split_list(text) if isinstance(text, str) else [""] for text in rows[Limits.basis].iloc[combined]]
    bases = [given * size if len(given) == 1 else given for given, size in zip(bases, sizes, strict=True)]
    wanted = rows[[Limits.valid_from, Limits.valid_to]].iloc[row].reset_index(drop=True)
    wanted[Limits.parameter] = pd.Series([name for names in listed for name in names], dtype="str")
    targets = Targets(
        unit=rows[Limits.unit].iloc[row].to_numpy(dtype=object),
        basis=np.array([basis for given in bases for basis in given], dtype=object),
        volume_ml=rows[Limits.volume_ml].iloc[row].to_numpy(dtype=np.float64),
        none_allowed=np.zeros(len(row), dtype=np.bool_),
    )
    return Members(row, place, np.concatenate([*weights, np.zeros(0)]), wanted, targets)


def _sample_numbers(readings: DataFrame[Readings], days: Days, pairs: Pairs) -> Ints:
    """Return for each pair the number of the sample that its reading belongs to."""
    columns = [readings[name].iloc[pairs.reading] for name in (Readings.batch, Readings.sample, Readings.point)]
    return row_numbers([*columns, pd.Series(days[pairs.reading])])


def _groups(samples: Ints, members: Members, pairs: Pairs, ranges: Ranges) -> Groups:
    row = members.row[pairs.target]
    rows = int(members.row.max(initial=-1)) + 1
    group, keys = pd.factorize(samples * rows + row)
    place, most = members.place[pairs.target], int(members.place.max(initial=-1)) + 1
    shape = (len(keys), most)
    low, high = np.nan_to_num(ranges.low, nan=0.0, posinf=np.inf), np.nan_to_num(ranges.high, nan=np.inf, posinf=np.inf)
    order = np.lexsort((low, high))
    best = np.full(shape, -1, dtype=np.int64)
    best[group[order], place[order]] = order  # a later write wins: the largest result
    lows = np.zeros(shape)
    np.maximum.at(lows, (group, place), low)
    count = np.zeros(shape, dtype=np.int64)
    np.add.at(count, (group, place), 1)
    first = np.zeros(len(keys), dtype=np.int64)
    first[group[::-1]] = pairs.reading[::-1]
    grid = np.full((rows, most), -1, dtype=np.int64)
    grid[members.row, members.place] = np.arange(len(members.row))
    row_of = keys % rows if rows else keys
    return Groups(row_of, first, grid[row_of], best, lows, count)


def _totals(groups: Groups, members: Members, ranges: Ranges) -> Ranges:
    asked, given = groups.member >= 0, groups.count > 0
    weight = np.append(members.weight, 0.0)[groups.member]
    padded_high = np.append(np.nan_to_num(ranges.high, nan=np.inf, posinf=np.inf), np.inf)[groups.best]
    high = np.multiply(padded_high, weight, out=np.zeros(asked.shape), where=asked)
    same_low = np.append(ranges.low, np.nan)[groups.best] == groups.low
    open_low = np.append(ranges.open_low, False)[groups.best] & same_low
    open_high = np.append(ranges.open_high, False)[groups.best]
    usable = np.append(ranges.trouble == Trouble.NONE, False)[groups.best]
    names = members.wanted[Limits.parameter].to_numpy(dtype=object)
    notes = _notes(
        groups,
        names,
        {
            "no result for": asked & (groups.count == 0),
            "no usable result for": asked & given & (usable == np.False_),
            "several results, of which the largest counts, for": groups.count > 1,
        },
    )
    return Ranges(
        low=tidy((groups.low * weight).sum(axis=1)),
        high=tidy(high.sum(axis=1)),
        open_low=np.logical_or.reduce(open_low, axis=1),
        open_high=np.logical_or.reduce(open_high, axis=1),
        trouble=np.zeros(len(groups.row), dtype=np.int64),
        note=notes,
    )


def _notes(groups: Groups, names: npt.NDArray[np.object_], marks: dict[str, Bools]) -> npt.NDArray[np.object_]:
    """Return for each group which members are marked, in words; built once per distinct pattern."""
    flags = np.packbits(np.column_stack(list(marks.values())), axis=1)
    numbers = row_numbers([pd.Series(column) for column in (groups.row, *flags.T)])
    found, distinct = pd.factorize(numbers)
    first = np.zeros(len(distinct), dtype=np.int64)
    first[found[::-1]] = np.arange(len(found))[::-1]
    texts = []
    for group in first:
        said = [
            f"{words} {', '.join(names[groups.member[group, mark[group]]])}"
            for words, mark in marks.items()
            if mark[group].any()
        ]
        texts.append("; ".join(said))
    return np.array(texts, dtype=object)[found]


def _told(
    readings: DataFrame[Readings], limits: LimitRows, members: Members, pairs: Pairs, groups: Groups, totals: Ranges
) -> DataFrame[Readings]:
    """Return one reading per group that stands for the sum: what its sample is, and its members as text."""
    source = readings.iloc[groups.first].reset_index(drop=True)
    kept = {Readings.sample, Readings.batch, Readings.point, Readings.stage, Readings.workbook, Readings.sheet}
    kept |= {Readings.sampled_at, Readings.received_at, Readings.analysed_at}
    told = source.copy()
    for name in set(told.columns) - kept:
        told[name] = pd.Series(np.nan, index=told.index, dtype=source[name].dtype)
    sign, value, value_high = _as_result(totals)
    told[Readings.parameter] = limits.rows[Limits.parameter].iloc[groups.row].to_numpy()
    told[Readings.reported], told[Readings.cell] = _listed(readings, members, pairs, groups)
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


def _listed(
    readings: DataFrame[Readings], members: Members, pairs: Pairs, groups: Groups
) -> tuple[pd.Series, pd.Series]:
    """Return for each group its members' results and their cells as ``;`` lists; a cell elsewhere names its sheet."""
    group, place = np.nonzero(groups.best >= 0)
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
