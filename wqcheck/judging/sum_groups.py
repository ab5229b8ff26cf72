"""Turns limits on sums, and readings of their members, into groups: one per sample and limit row."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.judging.binding import Days, LimitRows, weights_of
from wqcheck.judging.ranges import Floats, Ints, Pairs, Ranges, Stated, Targets, row_numbers
from wqcheck.limit_tables.checks import COMBINED_RULES, split_list
from wqcheck.tables import Limits, Readings, Rule


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


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """Readings paired with the members they answer; ``ranges`` and ``stated`` have the shape of the pairs."""

    readings: DataFrame[Readings]
    pairs: Pairs
    ranges: Ranges
    stated: Stated


def members_of(limits: LimitRows) -> Members:
    """Return the members of the rows of *limits* that combine several parameters."""
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


def sample_numbers(readings: DataFrame[Readings], days: Days) -> Ints:
    """Return for each reading the number of its sample: what agrees in batch, sample, point and sampling day."""
    columns = [readings[name].reset_index(drop=True) for name in (Readings.batch, Readings.sample, Readings.point)]
    return row_numbers([*columns, pd.Series(days)])


def groups_of(samples: Ints, members: Members, measured: Measured) -> Groups:
    """Return the groups of what was *measured*; *samples* has the sample's number of each pair's reading."""
    pairs, ranges = measured.pairs, measured.ranges
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
