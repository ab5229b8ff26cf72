"""Turns limit tables into the rows that bind a kind of water, and readings into pairs with the rows in force."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.judging.ranges import Bools, Floats, Pairs, Targets
from wqcheck.judging.reasons import limit_phrase, unit_in_volume
from wqcheck.judging.verdicts import Words
from wqcheck.limit_tables.checks import COMBINED_RULES, split_list
from wqcheck.limit_tables.loading import LimitTable, binds_product
from wqcheck.parameters import catalogue
from wqcheck.tables import Judged, Limits, Product, Readings, Rule

SINGLE_PESTICIDE = "pesticide_single"
PESTICIDE_GROUP = "pesticide"

Days = npt.NDArray[np.datetime64]


@dataclass(frozen=True, slots=True, eq=False)
class LimitRows:
    """The judged rows of several tables that bind one product; arrays have the shape (rows,).

    Attributes
    ----------
    rows : DataFrame
        Columns of :class:`wqcheck.tables.Limits` and the table's name.
    unit, phrase : array of str
        The unit in which results are compared, with the volume of a count; and the limit in words.
    none_allowed : array of bool
        Whether no organism may be found in the row's volume.
    """

    rows: pd.DataFrame
    unit: Words
    phrase: Words
    none_allowed: Bools

    def targets(self) -> Targets:
        """Return the units into which a result under each row's own code is turned."""
        ratio = (self.rows[Limits.rule] == Rule.RATIO_SUM_MAX).to_numpy(dtype=bool)
        unit, basis = (self.rows[name].fillna("").to_numpy(dtype=object) for name in (Limits.unit, Limits.basis))
        several = self.rows[Limits.basis].str.contains(";", na=False).to_numpy(dtype=bool)
        volume = self.rows[Limits.volume_ml].to_numpy(dtype=np.float64)
        return Targets(np.where(ratio, "1", unit), np.where(ratio | several, "", basis), volume, self.none_allowed)


def all_rows(tables: Sequence[LimitTable]) -> pd.DataFrame:
    """Return the rows of every table, one after the other, with the table's name in a column of its own."""
    named = [table.rows.assign(**{str(Judged.table): table.name}) for table in tables]
    empty = Limits.empty().assign(**{str(Judged.table): pd.Series(dtype="str")})
    return pd.concat(named, ignore_index=True) if named else empty


def bound_rows(rows: pd.DataFrame, product: Product, reported: Iterable[str] = ()) -> LimitRows:
    """Return those of *rows* that hold a limit (not only guidance) and bind *product*.

    A table's row for any single pesticide also stands for each of the *reported* codes that is a pesticide and that
    the table does not name.
    """
    binding = binds_product(rows, product) & (rows[Limits.rule] != Rule.GUIDANCE).to_numpy(dtype=bool)
    kept = _with_each_pesticide(rows[binding], reported).reset_index(drop=True)
    cells = [{str(name): cell for name, cell in row.items()} for row in kept.to_dict("records")]
    upper, volume = (kept[name].to_numpy(dtype=np.float64) for name in (Limits.upper, Limits.volume_ml))
    rule = kept[Limits.rule].to_numpy(dtype=object)
    return LimitRows(
        rows=kept,
        unit=np.array([unit_in_volume(row) for row in cells], dtype=np.object_),
        phrase=np.array([limit_phrase(row) for row in cells], dtype=np.object_),
        none_allowed=(rule == Rule.ABSENT) | ((rule == Rule.MAX) & (upper == 0) & np.isfinite(volume)),
    )


def _with_each_pesticide(rows: pd.DataFrame, reported: Iterable[str]) -> pd.DataFrame:
    known = catalogue()
    pesticides = {
        code
        for code in reported
        if code in known and known[code].group == PESTICIDE_GROUP and known[code].kind == "chemical"
    }
    added = [rows]
    for table, own in rows.groupby(Judged.table, sort=False):
        every = rows[(rows[Judged.table] == table) & (rows[Limits.parameter] == SINGLE_PESTICIDE)]
        unnamed = sorted(pesticides - set(own[Limits.parameter]))
        added += [every.assign(**{str(Limits.parameter): code}) for code in unnamed if len(every)]
    return pd.concat(added, ignore_index=True)


def sampling_days(readings: DataFrame[Readings], on: date) -> Days:
    """Return the day on which each reading was sampled, and *on* where the sheet does not say."""
    days: Days = readings[Readings.sampled_at].dt.normalize().fillna(pd.Timestamp(on)).to_numpy(dtype="datetime64[s]")
    return days


def pairs_in_force(readings: DataFrame[Readings], wanted: pd.DataFrame, days: Days) -> Pairs:
    """Return every reading with every row of *wanted* that has its parameter and is in force on its day.

    Pairs follow the order of the readings, then of the rows. *wanted* has the columns ``parameter``, ``valid_from``
    and ``valid_to`` (both days included, blank for no bound).
    """
    codes, words = pd.factorize(readings[Readings.parameter])
    left = pd.DataFrame({"code": codes, "reading": np.arange(len(codes))})
    right = pd.DataFrame(
        {"code": pd.Index(words).get_indexer(wanted[Limits.parameter]), "target": np.arange(len(wanted))}
    )
    met = left[left["code"] >= 0].merge(right[right["code"] >= 0], on="code", how="inner")
    reading, target = met["reading"].to_numpy(dtype=np.int64), met["target"].to_numpy(dtype=np.int64)
    begins = wanted[Limits.valid_from].fillna(pd.Timestamp("1700-01-01")).to_numpy(dtype="datetime64[s]")
    ends = wanted[Limits.valid_to].fillna(pd.Timestamp("2250-01-01")).to_numpy(dtype="datetime64[s]")
    day = days[reading]
    held = (begins[target] <= day) & (day <= ends[target])
    return Pairs(reading[held], target[held])


def unbound_reasons(parameter: pd.Series, rows: pd.DataFrame, bound: LimitRows, product: Product) -> pd.Series:
    """Return one sentence per reading that no row binds, from its *parameter* (shape (n,)): why there is no limit."""
    codes, words = pd.factorize(parameter)
    why = [_why_unbound(str(word), rows, bound.rows, product) for word in words]
    why.append("the parameter is not recognised, so no limit can be looked up.")
    return pd.Series(why, dtype="str").take(codes).reset_index(drop=True)


def _why_unbound(code: str, rows: pd.DataFrame, bound: pd.DataFrame, product: Product) -> str:
    if code in set(bound[Limits.parameter]):
        return f"no limit for {code} was in force on the sampling date."
    combined = bound[bound[Limits.rule].isin(COMBINED_RULES)]
    sums = [
        row
        for row, members in zip(combined[Limits.parameter], combined[Limits.members], strict=True)
        if code in split_list(str(members))
    ]
    if sums:
        return f"{code} has no limit of its own; it is judged as part of {', '.join(dict.fromkeys(sums))}."
    own = rows[rows[Limits.parameter] == code]
    guided = own[own[Limits.rule] == Rule.GUIDANCE]
    if len(guided) and binds_product(guided, product).any():
        return f"{', '.join(guided[Judged.table].unique())}: guidance on {code} without a number to compare with."
    if len(own):
        others = "; ".join(own[Limits.product].unique())
        return f"{', '.join(own[Judged.table].unique())}: {code} is bound for {others}, not for {product}."
    named = ", ".join(rows[Judged.table].unique()) or "none was given"
    return f"no limit for {code} in the limit tables ({named})."


def weights_of(text: object, members: int) -> Floats:
    """Return the weights of a combined row; a blank cell weighs each of its *members* with 1."""
    parts = split_list(text) if isinstance(text, str) else []
    return np.array([float(part) for part in parts], dtype=np.float64) if parts else np.ones(members)
