"""Turns the members of a sum into its total: what it can be, its bounds by convention, and its uncertainty.

A member without a usable result can be anything from nothing upward, so that such a sum can fail but never pass. A
non-detect counts as zero, half or all of its limit in the lower, middle and upper bound; where the limit's own text
prescribes one of them, that one decides.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from wqcheck.judging.binding import LimitRows
from wqcheck.judging.ranges import Bools, Floats, Ranges, Trouble, row_numbers
from wqcheck.judging.reasons import MISSING_MEMBER, number_words
from wqcheck.judging.row_rules import RowRules
from wqcheck.judging.sum_groups import Groups, Measured, Members
from wqcheck.tables import Limits, Readings, Sign
from wqcheck.units import tidy

TOO_HIGH = "reporting limit too high of"


@dataclass(frozen=True, slots=True, eq=False)
class Totals:
    """What n sums can be; arrays of shape (n,).

    ``ranges`` is what decides; ``lower``, ``middle`` and ``upper`` are the bounds (``upper`` infinite and ``middle``
    NaN where a member is missing); ``uncertainty`` is the expanded one of the sum as stated for its detections, added
    in quadrature (JCGM 100:2008, 5.1.2), NaN where one of them states none; ``loq_percent`` the largest reporting
    limit of a member in percent of the limit.
    """

    ranges: Ranges
    lower: Floats
    middle: Floats
    upper: Floats
    uncertainty: Floats
    loq_percent: Floats


@dataclass(frozen=True, slots=True, eq=False)
class _Cells:
    """Groups × members; every array has the shape (groups, most members), and is weighed where it is an amount."""

    asked: Bools
    usable: Bools
    low: Floats
    high: Floats
    not_detected: Bools
    uncertainty: Floats
    loq_percent: Floats
    open_low: Bools
    open_high: Bools


def totals_of(limits: LimitRows, rules: RowRules, members: Members, groups: Groups, measured: Measured) -> Totals:
    """Return the total of each group, from what was *measured* of its members."""
    cells = _cells(limits, members, groups, measured)
    lower, upper = tidy(cells.low.sum(axis=1)), tidy(cells.high.sum(axis=1))
    halves = np.where(np.isfinite(upper), tidy(((cells.low + cells.high) / 2).sum(axis=1)), np.nan)
    total = Ranges(
        low=lower,
        high=upper,
        open_low=np.logical_or.reduce(cells.open_low, axis=1),
        open_high=np.logical_or.reduce(cells.open_high, axis=1),
        trouble=np.zeros(len(groups.row), dtype=np.int64),
        note=_member_notes(groups, members, cells, rules.loq_percent[groups.row]),
    )
    total = _by_convention(total, cells, rules.share[groups.row])
    told = np.logical_or.reduce(cells.not_detected, axis=1)
    total = _bounds_told(total, told, (lower, halves, upper), limits.unit[groups.row])
    note = rules.convention[groups.row].astype(str)
    for words in set(note[told].tolist()) - {""}:
        total = total.noted(told & (note == words), words)
    return Totals(total, lower, halves, upper, _added(cells), np.fmax.reduce(cells.loq_percent, axis=1))


def _cells(limits: LimitRows, members: Members, groups: Groups, measured: Measured) -> _Cells:
    ranges, stated = measured.ranges, measured.stated
    asked = groups.member >= 0
    weight = np.append(members.weight, 0.0)[groups.member]
    padded_high = np.append(np.nan_to_num(ranges.high, nan=np.inf, posinf=np.inf), np.inf)[groups.best]
    same_low = np.append(ranges.low, np.nan)[groups.best] == groups.low
    usable = np.append(ranges.trouble == Trouble.NONE, False)[groups.best]
    sign = np.append(measured.readings[Readings.sign].to_numpy(dtype=object)[measured.pairs.reading], "")[groups.best]
    below = np.isin(sign.astype(str), (Sign.LESS, Sign.ABSENT)) & usable & (groups.low == 0)
    whole = limits.rows[Limits.upper].to_numpy(dtype=np.float64)[groups.row][:, None]
    loq = np.append(stated.reporting_limit, np.nan)[groups.best]
    return _Cells(
        asked=asked,
        usable=usable,
        low=groups.low * weight,
        high=np.multiply(padded_high, weight, out=np.zeros(asked.shape), where=asked),
        not_detected=below & (padded_high > 0),
        uncertainty=np.where(sign == Sign.EQUAL, np.append(stated.uncertainty, np.nan)[groups.best] * weight, 0.0),
        loq_percent=np.divide(100 * loq * weight, whole, out=np.full(asked.shape, np.nan), where=asked & (whole > 0)),
        open_low=np.append(ranges.open_low, False)[groups.best] & same_low,
        open_high=np.append(ranges.open_high, False)[groups.best],
    )


def _by_convention(total: Ranges, cells: _Cells, share: Floats) -> Ranges:
    """Return the totals in which non-detects count the prescribed *share* of their limit (NaN where none is)."""
    prescribed = np.isfinite(share)
    if not prescribed.any():
        return total
    counted = np.where(cells.not_detected, np.where(cells.not_detected, cells.high, 0.0) * share[:, None], 0.0)
    low = np.where(cells.not_detected, counted, cells.low).sum(axis=1)
    high = np.where(cells.not_detected, counted, cells.high).sum(axis=1)
    still_open = np.logical_or.reduce(cells.open_high & (cells.not_detected == np.False_), axis=1)
    return replace(
        total,
        low=np.where(prescribed, tidy(low), total.low),
        high=np.where(prescribed, tidy(high), total.high),
        open_high=np.where(prescribed, still_open, total.open_high),
    )


def _bounds_told(
    total: Ranges, told: Bools, bounds: tuple[Floats, Floats, Floats], unit: npt.NDArray[np.object_]
) -> Ranges:
    """Return *total* with a note on its three bounds where there are non-detects."""
    where = np.flatnonzero(told)
    lower, middle, upper = (number_words(values[where], "not known") for values in bounds)
    spaced = [f" {label}" if label not in {"1", "pH"} else "" for label in unit[where].tolist()]
    texts = [
        f"with non-detects as zero, half and all of their limits it is {low}, {half} and {high}{label}"
        for low, half, high, label in zip(lower, middle, upper, spaced, strict=True)
    ]
    note = total.note.copy()
    note[where] = [f"{old}; {new}" if old else new for old, new in zip(note[where].tolist(), texts, strict=True)]
    return replace(total, note=note)


def _added(cells: _Cells) -> Floats:
    squares = np.where(cells.asked, cells.uncertainty, 0.0) ** 2
    added = np.sqrt(squares.sum(axis=1))
    return np.where(added > 0, tidy(added), np.nan)


def _member_notes(groups: Groups, members: Members, cells: _Cells, most_percent: Floats) -> npt.NDArray[np.object_]:
    given = groups.count > 0
    with np.errstate(invalid="ignore"):
        too_high = cells.loq_percent > tidy(most_percent)[:, None]
    return _notes(
        groups,
        members.wanted[Limits.parameter].to_numpy(dtype=object),
        {
            MISSING_MEMBER: cells.asked & (groups.count == 0),
            "no usable result for": cells.asked & given & (cells.usable == np.False_),
            "several results, of which the largest counts, for": groups.count > 1,
            TOO_HIGH: cells.asked & too_high,
        },
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
