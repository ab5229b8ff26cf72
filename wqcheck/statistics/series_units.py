"""Turns readings into series: the name of each, and its ranges in the one unit in which most of it was reported."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.judging.ranges import Bools, Pairs, Ranges, Targets, own_ranges, ranges_in
from wqcheck.parameters import aliases, catalogue, normalise
from wqcheck.tables import Readings
from wqcheck.train.removal_words import unit_text
from wqcheck.units import COUNT_UNITS, tidy

_MEASURE = ["unit", "basis", "volume_ml"]


def series_names(readings: DataFrame[Readings]) -> pd.Series[str]:
    """Return the parameter code of each reading, the name as given where it is not known, ``(no name)`` without one."""
    named = readings[Readings.parameter].fillna(readings[Readings.parameter_text]).fillna("(no name)")
    return named.astype("str")


def results_of(readings: DataFrame[Readings], parameter: str = "", point: str = "") -> DataFrame[Readings]:
    """Return the readings of one parameter (a code, or a name as in a sheet) and one point; a blank takes all."""
    chosen = readings[Readings.reported].notna()
    if parameter:
        alias = aliases().get(normalise(parameter))
        code = alias.code if alias is not None and parameter not in catalogue() else parameter
        chosen &= series_names(readings).eq(code)
    if point:
        chosen &= readings[Readings.point].str.strip().str.casefold().eq(point.strip().casefold()).fillna(False)
    return Readings.validate(readings[chosen].reset_index(drop=True))


def in_common_units(readings: DataFrame[Readings]) -> tuple[Ranges, pd.Series[str]]:
    """Return each reading's range in the common unit of its parameter, and that unit as text.

    Parameters
    ----------
    readings : DataFrame
        One row per reported result, any order; left as it is.

    Returns
    -------
    ranges : Ranges
        Shape (n,). What cannot be converted has its trouble there.
    unit : Series of str, shape (n,)
        Such as ``mg/L as NO3`` or ``CFU/250 mL``; NA where no result of the parameter states a unit.
    """
    measure = pd.DataFrame({name: readings[name] for name in _MEASURE})
    measure[_MEASURE[:2]] = measure[_MEASURE[:2]].astype("str").fillna("")
    common = _most_used(measure.assign(series=series_names(readings)))
    target = Targets(
        unit=common["unit"].to_numpy(dtype=object),
        basis=common["basis"].to_numpy(dtype=object),
        volume_ml=common["volume_ml"].to_numpy(dtype=np.float64),
        none_allowed=np.zeros(len(common), dtype=np.bool_),
    )
    everyone = np.arange(len(readings), dtype=np.int64)
    own = own_ranges(readings)
    converted, _ = ranges_in(readings, own, target, Pairs(everyone, everyone))
    text = unit_text(common["unit"], common["basis"], common["volume_ml"])
    return _unchanged(own, converted, _same(measure, common)), text


def in_limit_unit(readings: DataFrame[Readings], limit_unit: str, basis: str = "") -> Ranges:
    """Return each reading's range in the unit of a limit, to be drawn beside it.

    Parameters
    ----------
    readings : DataFrame
        One row per reported result, any order; left as it is.
    limit_unit, basis : str
        As a judged row states them: a count with its volume (``CFU/250 mL``, ``CFU/mL``), a ``;`` list of bases never.

    Returns
    -------
    Ranges
        Shape (n,). What cannot be converted has its trouble there.
    """
    unit, volume_ml = _counted_unit(limit_unit)
    one = Targets(
        unit=np.array([unit], dtype=object), basis=np.array([basis], dtype=object), volume_ml=np.array([volume_ml]),
        none_allowed=np.zeros(1, dtype=np.bool_),
    )  # fmt: skip
    everyone = np.arange(len(readings), dtype=np.int64)
    converted, _ = ranges_in(readings, own_ranges(readings), one, Pairs(everyone, np.zeros_like(everyone)))
    return converted


def _counted_unit(limit_unit: str) -> tuple[str, float]:
    """Return the unit of a count and its volume in mL, NaN for any other unit."""
    unit, _, volume = limit_unit.partition("/")
    if unit not in COUNT_UNITS or not volume.endswith("mL"):
        return limit_unit, np.nan
    return unit, float(volume.removesuffix("mL").strip().replace(",", "") or 1)


def _most_used(measure: pd.DataFrame) -> pd.DataFrame:
    """Return, for each row, the unit, basis and volume that most rows of its series share; the first of equals."""
    counts = measure.groupby(["series", *_MEASURE], dropna=False, sort=False).size().rename("count").reset_index()
    stated = counts.assign(stated=counts["unit"].ne(""))
    best = stated.sort_values(["stated", "count"], ascending=False, kind="stable").drop_duplicates("series")
    return best.set_index("series").loc[measure["series"], _MEASURE].reset_index(drop=True)


def _same(measure: pd.DataFrame, common: pd.DataFrame) -> Bools:
    """Tell which rows are in their common unit already."""
    mine, ours = (frame.assign(volume_ml=frame["volume_ml"].fillna(0.0)) for frame in (measure, common))
    same: Bools = (mine.reset_index(drop=True) == ours).all(axis=1).to_numpy(dtype=np.bool_)
    return same


def _unchanged(own: Ranges, converted: Ranges, same: Bools) -> Ranges:
    """Return *own* ranges where nothing is to be converted: a basis that nobody states is then still one basis."""
    kept = {
        field.name: np.where(same, getattr(own, field.name), getattr(converted, field.name)) for field in fields(own)
    }
    return Ranges(**{**kept, "low": tidy(kept["low"]), "high": tidy(kept["high"])})
