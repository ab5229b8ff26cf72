"""Turns readings of many days and the required panels into which evidence is in date, overdue, or due next."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Any

import numpy as np
import pandas as pd
import pandera.pandas as pa
from pandera.typing import DataFrame, Series

from wqcheck.findings import Finding
from wqcheck.judging.binding import PESTICIDE_GROUP, SINGLE_PESTICIDE, all_rows, bound_rows
from wqcheck.limit_tables.columns import split_list
from wqcheck.limit_tables.loading import LimitTable, product_word
from wqcheck.limit_tables.required_panels import (
    CORE,
    INTERVALS,
    PRODUCT_WATER,
    SOURCE_WATER,
    RequiredPanels,
    load_panels,
    samples_a_year,
)
from wqcheck.parameters import catalogue
from wqcheck.quality.controls_apart import is_control
from wqcheck.release.reasons import name_of
from wqcheck.release.rules import ReleaseRules
from wqcheck.tables import LimitClass, Limits, Readings, Sign
from wqcheck.train.description import Train, match_points
from wqcheck.train.kinds import SOURCE

_NAMED = 6


class State(StrEnum):
    """Whether a parameter's last result still stands for the water of a day."""

    OVERDUE = "overdue"
    NO_RESULT = "no result"
    NOT_KNOWN = "not known"
    IN_DATE = "in date"


class Due(pa.DataFrameModel):
    """One row per table, water (``product`` or ``source``) and required parameter.

    ``last`` is the sampling day of the last usable result up to the day of the question, ``reported`` and ``where``
    that result and its cell, ``age`` in days, and ``next_due`` the last day on which it stands. ``every`` says how
    often the text of ``clause`` asks for one.
    """

    table: Series[str]
    water: Series[str]
    parameter: Series[str]
    every: Series[str]
    state: Series[str] = pa.Field(isin=list(State))
    last: Series[pd.Timestamp] = pa.Field(nullable=True)
    age: Series[float] = pa.Field(nullable=True)
    next_due: Series[pd.Timestamp] = pa.Field(nullable=True)
    reported: Series[str] = pa.Field(nullable=True)
    where: Series[str] = pa.Field(nullable=True)
    clause: Series[str]
    evidence: Series[str]
    reason: Series[str]

    class Config:
        """Exactly these columns, in this order, with these types."""

        strict = True
        ordered = True


@dataclass(frozen=True, slots=True, eq=False)
class Need:
    """One required parameter: where, how often and by which text; no ``interval`` where the text fixes none."""

    table: str
    water: str
    parameter: str
    every: str
    interval: pd.DateOffset | None
    members: tuple[str, ...]
    clause: str
    evidence: str


def due(
    readings: DataFrame[Readings],
    tables: Sequence[LimitTable],
    *,
    product: str,
    on: date,
    volume: float | None = None,
    train: Train | None = None,
) -> DataFrame[Due]:
    """Return for each parameter that a panel requires its last result, and whether it is in date on the day *on*.

    Parameters
    ----------
    readings : DataFrame
        Results of any number of workbooks. Undated ones, tests not done, unreadable ones and control samples are no
        evidence.
    tables : sequence of LimitTable
        The panels of these tables are asked for, by their names.
    product : str
        A word of :class:`wqcheck.tables.Product`.
    on : date
        The day of the question; later results do not count.
    volume : float or None
        Water produced in m³ a day, for panels that count samples by it.
    train : Train or None
        Tells finished water from source water; without it every result counts as finished water, and nothing is known
        of the source. A result at a place that the train does not know is evidence of neither.

    Raises
    ------
    wqcheck.limit_tables.loading.UnknownProductError
        *product* is not one of the words.
    """
    usable = _usable(readings, on)
    last = {water: _latest(usable[chosen]) for water, chosen in _waters(usable, train).items()}
    rows = [_row(need, last.get(need.water), pd.Timestamp(on)) for need in _needs(tables, product, on, volume)]
    columns = {name: str(column.dtype) for name, column in Due.to_schema().columns.items()}
    table = pd.DataFrame({name: pd.Series([row[name] for row in rows], dtype=word) for name, word in columns.items()})
    order = table["state"].map({str(word): place for place, word in enumerate(State)})
    return Due.validate(table.iloc[np.lexsort((table["next_due"], order))].reset_index(drop=True))


def _usable(readings: DataFrame[Readings], on: date) -> DataFrame[Readings]:
    day, sign = readings[Readings.sampled_at], readings[Readings.sign]
    said = ~sign.isin([Sign.NOT_DONE, Sign.UNREADABLE]) & readings[Readings.parameter].notna()
    kept = said & (day.dt.normalize() <= pd.Timestamp(on)) & ~is_control(readings)
    return Readings.validate(readings[kept])


def _waters(readings: DataFrame[Readings], train: Train | None) -> dict[str, pd.Series[bool]]:
    """Return which readings are of finished and which of source water."""
    if train is None:
        return {PRODUCT_WATER: pd.Series(True, index=readings.index)}
    place = readings[Readings.point].fillna(readings[Readings.stage])
    code = match_points(place, train)
    finished = code.isin(train.product_points) | place.isna()
    inlets = {stage.inlet for stage in train.stages} - {stage.outlet for stage in train.stages}
    sources = inlets | {stage.outlet for stage in train.stages if stage.kind == SOURCE}
    return {PRODUCT_WATER: finished, SOURCE_WATER: code.isin(sources - set(train.product_points))}


def _latest(readings: pd.DataFrame) -> dict[str, dict[str, Any]]:
    """Return the last result of each parameter as a record; the last pesticide also for any single one."""
    known = catalogue()
    ordered = readings.sort_values(Readings.sampled_at, kind="stable")
    last = {
        str(row[Readings.parameter]): {str(name): cell for name, cell in row.items()}
        for row in ordered.drop_duplicates(Readings.parameter, keep="last").to_dict("records")
    }
    single = [row for code, row in last.items() if code in known and known[code].group == PESTICIDE_GROUP]
    if single:
        last.setdefault(SINGLE_PESTICIDE, max(single, key=lambda row: row[Readings.sampled_at]))
    return last


def _needs(tables: Sequence[LimitTable], product: str, on: date, volume: float | None) -> Iterator[Need]:
    word, panels = product_word(product), load_panels()
    for table in tables:
        named = panels[panels[RequiredPanels.table].eq(table.name)]
        own = named[[word in split_list(waters) for waters in named[RequiredPanels.waters]]]
        limits = bound_rows(all_rows([table]), word).rows
        begun, ended = (limits[name] for name in (Limits.valid_from, Limits.valid_to))
        day = pd.Timestamp(on)
        limits = limits[~((begun > day) | (ended < day))]
        kinds, members = _kinds(limits), _members(limits)
        for panel in own.to_dict("records"):
            others = own[own[RequiredPanels.water].eq(panel["water"])][RequiredPanels.parameters]
            for code in _codes(str(panel["parameters"]), kinds, others):
                every, interval = _interval(str(panel["every"]), code, volume)
                texts = {name: str(panel[name]) for name in ("table", "water", "clause", "evidence")}
                yield Need(**texts, parameter=code, every=every, interval=interval, members=members.get(code, ()))


def _codes(listed: str, kind: Mapping[str, str], panels: Iterable[str]) -> Iterator[str]:
    """Yield the parameters that a panel lists, in the order of the catalogue; *kind* is that of each limited one."""
    words = split_list(listed)
    named = {word for panel in panels for word in split_list(panel)}
    for code in catalogue():
        by_kind = code in kind and kind[code] in words
        by_rest = code in kind and "all others" in words and code not in named and f"-{code}" not in words
        if code in words or by_kind or by_rest:
            yield code


def _kinds(limits: pd.DataFrame) -> dict[str, str]:
    """Return the word of a panel for each limited parameter, by its limit rows and the catalogue."""
    radiological = set(limits.loc[limits[Limits.limit_class].eq(LimitClass.RADIOLOGICAL), Limits.parameter])
    known = {str(code): catalogue()[str(code)].kind for code in limits[Limits.parameter].unique()}
    chemical = {code: "chemical" if kind == "combination" else kind for code, kind in known.items()}
    return {code: f"all {'radiological' if code in radiological else kind}" for code, kind in chemical.items()}


def _members(limits: pd.DataFrame) -> dict[str, tuple[str, ...]]:
    """Return the members of each sum, as the first row that lists them has them."""
    listed = limits.dropna(subset=[Limits.members]).drop_duplicates(Limits.parameter)
    return {
        str(code): tuple(split_list(members))
        for code, members in zip(listed[Limits.parameter], listed[Limits.members], strict=True)
    }


def _interval(every: str, code: str, volume: float | None) -> tuple[str, pd.DateOffset | None]:
    """Return how often in words, and how long one result stands."""
    if every in INTERVALS:
        return every, INTERVALS[every]
    number = None if volume is None else samples_a_year(every, volume)
    if number is not None:
        return f"{number} a year at {volume:g} m³/day", pd.DateOffset(days=365 // number)
    if code in CORE:
        return "year at least", INTERVALS["year"]
    return "by volume", None


def _row(need: Need, last: dict[str, dict[str, Any]] | None, on: pd.Timestamp) -> dict[str, Any]:
    texts = {name: getattr(need, name) for name in ("table", "water", "parameter", "every", "clause", "evidence")}
    result = None if last is None else _result(need, last)
    if result is None:
        state = State.NOT_KNOWN if last is None else State.NO_RESULT
        said = "no train file says which results are of the source" if last is None else "no dated, usable result"
        empty = {"last": pd.NaT, "age": np.nan, "next_due": pd.NaT, "reported": None, "where": None}
        return texts | empty | {"state": state, "reason": said}
    day = result[Readings.sampled_at].normalize()
    sheet = f"{result[Readings.sheet]}!" if isinstance(result[Readings.sheet], str) else ""
    shown = {"last": day, "age": float((on - day).days), "reported": str(result[Readings.reported])}
    shown |= {"where": f"{result[Readings.workbook]}|{sheet}{result[Readings.cell]}"}
    if need.interval is None:
        said = "the number of samples goes by volume: give --volume, and ask the authority below 10 m³/day"
        return texts | shown | {"next_due": pd.NaT, "state": State.NOT_KNOWN, "reason": said}
    until = day + need.interval
    state = State.IN_DATE if on <= until else State.OVERDUE
    said = f"the result of {day:%Y-%m-%d} stands until {until:%Y-%m-%d}"
    return texts | shown | {"next_due": until, "state": state, "reason": said}


def _result(need: Need, last: dict[str, dict[str, Any]]) -> dict[str, Any] | None:
    """Return the last result of a parameter, of a sum that of the member tested longest ago; None without one."""
    if need.parameter in last:
        return last[need.parameter]
    members = [last.get(code) for code in need.members]
    known = [row for row in members if row is not None]
    if not known or len(known) < len(members):
        return None
    return min(known, key=lambda row: row[Readings.sampled_at])


def overdue_findings(table: DataFrame[Due], rules: ReleaseRules) -> Iterator[Finding]:
    """Yield one finding per table and clause whose evidence is out of date or missing, weighed by the rules."""
    late = table[table["state"].isin([State.OVERDUE, State.NO_RESULT])]
    for (name, water, clause), rows in late.groupby(["table", "water", "clause"], sort=False):
        number = len(rows)
        named = [_when(row) for row in rows.sort_values("last", kind="stable").head(_NAMED).to_dict("records")]
        more = f" and {number - _NAMED} more" if number > _NAMED else ""
        what = "1 parameter" if number == 1 else f"{number} parameters"
        message = (
            f"{name} {clause} asks for {what} of {water} water ({rows['every'].iloc[0]}) that these sheets give no "
            f"result in date of: {', '.join(named)}{more}. Have them tested, or find the sheets that hold their results"
        )
        yield Finding(code="overdue", severity=rules.overdue, message=message)


def _when(row: Mapping[Any, Any]) -> str:
    """Name a parameter, with the days of its last result and of the next one where there is one."""
    name = name_of(str(row["parameter"]))
    if row["state"] != State.OVERDUE:
        return name
    return f"{name} (last {row['last']:%Y-%m-%d}, due {row['next_due']:%Y-%m-%d})"
