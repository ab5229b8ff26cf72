"""Turns results before and after a stage into what it removed: percent, log10 units, and how exactly both are known.

A result is an interval: ``<b`` is 0 to b, ``>a`` is a to infinity, none in V mL is 0 to 1 per V. The figures say what
the results at hand show on that day; they are no treatment credit.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.errors import UnknownParameterError
from wqcheck.parameters import find_parameter
from wqcheck.tables import Bound, Readings, Sign, Stages
from wqcheck.train.description import SOURCE, WHOLE_TRAIN, Train, match_points
from wqcheck.train.removal_words import interval_text, removal_reasons, unit_text
from wqcheck.units import COUNT_UNITS, conversion, tidy

REMOVABLE_PHYSICAL = frozenset(
    {
        "absorbance_436_nm",
        "colour",
        "dry_residue_105c",
        "dry_residue_180c",
        "dry_residue_260c",
        "electrical_conductivity",
        "particle_count",
        "salinity",
        "settleable_solids",
        "total_dissolved_solids",
        "total_solids",
        "total_suspended_solids",
        "turbidity",
        "uv_absorbance_254_nm",
        "volatile_suspended_solids",
    }
)
"""Physical properties that a stage can lower in proportion; pH, temperature, taste and the like have no removal."""

_NEVER_ALL = 99.9999999999  # percent to the 12 significant digits kept; no measurement shows 100
_PAIR = ["pair", "parameter", "fraction"]
_INLET, _OUTLET = "inlet", "outlet"

Floats = npt.NDArray[np.float64]


class Removal(NamedTuple):
    """Removal of each pair, arrays of one shape: percent, log10 units, and a :class:`~wqcheck.tables.Bound` word.

    ``percent`` and ``log_removal`` are NaN where the bound is ``unknown``.
    """

    percent: Floats
    log_removal: Floats
    bound: npt.NDArray[np.str_]


def removal_between(
    inlet_low: npt.ArrayLike, inlet_high: npt.ArrayLike, outlet_low: npt.ArrayLike, outlet_high: npt.ArrayLike
) -> Removal:
    """Return percent and log removal between results known as intervals.

    Parameters
    ----------
    inlet_low, inlet_high, outlet_low, outlet_high : array_like
        Ends of what each result can be, all in one unit, any one shape. Exact: both ends equal. Below a reporting
        limit: 0 and the limit. Above a working range: the end of the range and infinity. Not known: NaN.

    Returns
    -------
    Removal
        ``exact`` where both results are; ``at least`` where the outlet is only known from above or the inlet only from
        below, or where both ends of the removal are known; ``at most`` where the least removal is not known, and then
        only if the inlet is measured or the outlet is surely higher; otherwise ``unknown``. Negative removal (higher
        after the stage) is kept, and an outlet of exactly zero is ``unknown``, because no measurement shows 100 %.

    Notes
    -----
    Percent is ``100 (1 - outlet/inlet)`` and the log removal value ``log10(inlet) - log10(outlet)``; an organism not
    found in the filtrate counts as one at the detection limit (40 CFR 141.719(a)(7) and (b)(2)(v); US EPA 2005,
    Membrane Filtration Guidance Manual, EPA 815-R-06-009), so the figure is a lower bound.
    """
    ends = (np.asarray(end, dtype=np.float64) for end in (inlet_low, inlet_high, outlet_low, outlet_high))
    a_low, a_high, b_low, b_high = np.broadcast_arrays(*ends)
    known = ~(np.isnan(a_low) | np.isnan(a_high) | np.isnan(b_low) | np.isnan(b_high))
    most_left = _ratio(b_high, a_low, known & (a_low > 0) & (b_high > 0) & np.isfinite(b_high) & np.isfinite(a_low))
    told = (a_low > 0) | ((a_high > 0) & (b_low > a_high))
    least_left = _ratio(b_low, a_high, known & (b_low > 0) & np.isfinite(a_high) & told)
    exact = known & (a_low == a_high) & (b_low == b_high) & np.isfinite(most_left)
    surely_higher = least_left > 1
    at_least = np.isfinite(most_left)
    at_most = np.isfinite(least_left)
    choices = [exact, at_most & surely_higher, at_least, at_most]
    left = np.select(choices, [most_left, least_left, most_left, least_left], np.nan)
    words = [str(Bound.EXACT), str(Bound.AT_MOST), str(Bound.AT_LEAST), str(Bound.AT_MOST)]
    percent = np.minimum(tidy(100 * (1 - left)), _NEVER_ALL)
    return Removal(percent, tidy(-np.log10(left) + 0.0), np.select(choices, words, str(Bound.UNKNOWN)))


def removal_by_stage(readings: DataFrame[Readings], train: Train) -> DataFrame[Stages]:
    """Return what each stage, and the whole train, removed of each parameter.

    Parameters
    ----------
    readings : DataFrame[Readings]
        Results at the points of the train; those at other places are left out
        (:func:`wqcheck.train.description.assign_stages`
        reports them), as are parameters without a removal such as pH.
    train : Train
        The plant's train.

    Returns
    -------
    DataFrame[Stages]
        One row per parameter (and fraction) × stage that has results on both sides; in the order of flow, then by
        parameter. Blank fractions count as total (common practice, no source).

    Notes
    -----
    The sides are paired by calendar day of sampling, the latest day that both have; several results of one side and
    day are averaged arithmetically (common practice, no source). Without dates all results are averaged.
    """
    sides = _on_one_day(_sides(_measured(readings, train), _pairs(train)))
    if sides.empty:
        return no_stages()
    table = _averaged(_in_one_unit(sides))
    removal = removal_between(table["low_in"], table["high_in"], table["low_out"], table["high_out"])
    bound = np.where(table["apart"], str(Bound.UNKNOWN), removal.bound)
    told = bound != str(Bound.UNKNOWN)
    table = table.assign(
        percent=np.where(told, removal.percent, np.nan), log=np.where(told, removal.log_removal, np.nan), bound=bound
    )
    table = table.merge(_pairs(train), on="pair").sort_values(["pair", "parameter", "fraction"], ignore_index=True)
    return Stages.validate(
        pd.DataFrame(
            {
                Stages.stage: table["stage"],
                Stages.kind: table["kind"],
                Stages.parameter: table["parameter"],
                Stages.inlet_point: table["inlet"],
                Stages.outlet_point: table["outlet"],
                Stages.inlet: interval_text(table["low_in"], table["high_in"]),
                Stages.outlet: interval_text(table["low_out"], table["high_out"]),
                Stages.unit: unit_text(table["unit_to"], table["basis_to"], table["volume_to"]),
                Stages.removal_percent: table["percent"],
                Stages.log_removal: table["log"],
                Stages.bound: table["bound"],
                Stages.reason: removal_reasons(table),
            }
        )
    )


def _ratio(part: Floats, whole: Floats, where: npt.NDArray[np.bool_]) -> Floats:
    return tidy(np.divide(part, whole, out=np.full(part.shape, np.nan), where=where))


def no_stages() -> DataFrame[Stages]:
    """Return a table of stages without rows."""
    return Stages.validate(pd.DataFrame({name: pd.Series(dtype=kind) for name, kind in _stage_types().items()}))


def _stage_types() -> dict[str, str]:
    numbers = {Stages.removal_percent, Stages.log_removal}
    return {name: "float64" if name in numbers else "str" for name in Stages.to_schema().columns}


def _pairs(train: Train) -> pd.DataFrame:
    """Return the stages that have an inlet, and the whole train to each product point, numbered in ``pair``."""
    treating = [stage for stage in train.stages if stage.kind != SOURCE]
    rows: list[tuple[str, str | None, str, str]]
    rows = [(stage.name, stage.kind, stage.inlet, stage.outlet) for stage in treating]
    ends = train.product_points or tuple(stage.outlet for stage in treating[-1:])
    rows += [(WHOLE_TRAIN, None, treating[0].inlet, end) for end in ends if treating]
    table = pd.DataFrame(rows, columns=["stage", "kind", _INLET, _OUTLET], dtype="str")
    return table.assign(pair=range(len(table)))


def _measured(readings: DataFrame[Readings], train: Train) -> pd.DataFrame:
    """Return what each usable row says as an interval ``low`` … ``high`` per ``volume``, with a ``note`` where due."""
    place = match_points(readings[Readings.point].fillna(readings[Readings.stage]), train)
    codes = readings[Readings.parameter]
    removable = {code: _is_removable(code) for code in codes.dropna().unique()}
    usable = place.notna() & codes.map(removable).eq(True) & readings[Readings.sign].ne(Sign.NOT_DONE)
    rows = readings[usable]
    unit = rows[Readings.unit].fillna("")
    worded = rows[Readings.sign].isin([Sign.ABSENT, Sign.PRESENT])
    unit = unit.mask(worded & unit.eq(""), "count")
    count = unit.isin(COUNT_UNITS)
    table = pd.DataFrame(
        {
            "parameter": rows[Readings.parameter],
            "fraction": rows[Readings.fraction].fillna("total"),
            "point": place[usable],
            "day": rows[Readings.sampled_at].dt.normalize(),
            "unit": unit,
            "basis": rows[Readings.basis].fillna(""),
            "volume": rows[Readings.volume_ml].where(count, 1.0),
        }
    )
    return table.join(_intervals(rows, count))


def _is_removable(code: str) -> bool:
    try:
        physical = find_parameter(code).kind == "physical"
    except UnknownParameterError:
        return True
    return code in REMOVABLE_PHYSICAL or not physical


def _intervals(rows: pd.DataFrame, count: pd.Series[bool]) -> pd.DataFrame:
    """Return ``low``, ``high`` and ``note`` of each reading, per its own unit and volume."""
    sign, value, limit = rows[Readings.sign], rows[Readings.value], rows[Readings.reporting_limit]
    none = (sign.eq(Sign.EQUAL) & value.eq(0)) | sign.eq(Sign.ABSENT)
    low = value.where(sign.isin([Sign.EQUAL, Sign.GREATER])).mask(none | sign.eq(Sign.LESS), 0.0)
    low = low.mask(sign.eq(Sign.PRESENT) & count, 1.0)
    high = rows[Readings.value_high].fillna(value).where(sign.eq(Sign.EQUAL))
    high = high.mask(sign.eq(Sign.LESS), value.fillna(limit)).mask(sign.isin([Sign.GREATER, Sign.PRESENT]), np.inf)
    high = high.mask(none, limit.fillna(value)).mask(none & count, 1.0)
    volume = rows[Readings.volume_ml]
    examined = volume.map("{:g}".format).astype("str") + " mL"
    note = pd.Series("", index=rows.index).mask(low.isna(), "found, but not how much")
    note = note.mask(high.isna(), "nothing detected, but the reporting limit is not stated")
    note = note.mask(none & count, "none found in " + examined + " counts as fewer than 1")
    note = note.mask(sign.eq(Sign.PRESENT) & count, "present in " + examined + " counts as at least 1")
    note = note.mask(count & volume.isna(), "the volume examined is not stated")
    note = note.mask(sign.eq(Sign.UNREADABLE), "a result cannot be read")
    return pd.DataFrame({"low": low, "high": high, "note": note.astype("str")}, index=rows.index)


def _sides(measured: pd.DataFrame, pairs: pd.DataFrame) -> pd.DataFrame:
    """Return each measured row once for every pair it is the inlet or outlet of, where both sides have results."""
    ends = pairs.melt(id_vars="pair", value_vars=[_INLET, _OUTLET], var_name="side", value_name="point")
    sides = measured.merge(ends, on="point")
    return sides[sides.groupby(_PAIR)["side"].transform("nunique").eq(2)]


def _on_one_day(sides: pd.DataFrame) -> pd.DataFrame:
    """Keep the latest day with results on both sides; all rows where dates are missing; mark pairs ``apart`` else."""
    on_day = sides.groupby([*_PAIR, "day"])["side"].nunique().reset_index()
    common = on_day[on_day["side"].eq(2)].groupby(_PAIR)["day"].max().rename("common")
    sides = sides.merge(common, left_on=_PAIR, right_index=True, how="left")
    undated = sides["day"].isna().groupby([sides[key] for key in _PAIR]).transform("any")
    apart = sides["common"].isna() & ~undated
    own_last = sides.groupby([*_PAIR, "side"])["day"].transform("max")
    keep = sides["day"].eq(sides["common"].fillna(own_last)) | (sides["common"].isna() & undated)
    return sides.assign(apart=apart)[keep]


def _in_one_unit(sides: pd.DataFrame) -> pd.DataFrame:
    """Express both sides of a pair in the unit, basis and volume of its first inlet result."""
    first = sides[sides["side"].eq(_INLET)].drop_duplicates(_PAIR)
    sides = sides.merge(first[[*_PAIR, "unit", "basis", "volume"]], on=_PAIR, suffixes=("", "_to"))
    keys = ["parameter", "unit", "basis", "unit_to", "basis_to"]
    distinct = sides[keys].drop_duplicates(ignore_index=True)
    factors = [_factors(*row) for row in distinct.itertuples(index=False, name=None)]
    table = distinct.join(pd.DataFrame(factors, columns=["factor_low", "factor_high", "unit_note"]))
    sides = sides.merge(table, on=keys)
    scale = sides["volume_to"] / sides["volume"]
    return sides.assign(
        low=tidy(sides["low"] * sides["factor_low"] * scale), high=tidy(sides["high"] * sides["factor_high"] * scale)
    )


def _factors(parameter: str, unit: str, basis: str, unit_to: str, basis_to: str) -> tuple[float, float, str]:
    if not unit or not unit_to:
        return np.nan, np.nan, "the sheet gives no unit"
    if (unit, basis) == (unit_to, basis_to):
        return 1.0, 1.0, ""
    found = conversion(parameter, unit, basis, unit_to, basis_to)
    note = found.note or (f"{unit} counted as {unit_to}" if unit in COUNT_UNITS and unit != unit_to else "")
    return found.low, found.high, note


def _averaged(sides: pd.DataFrame) -> pd.DataFrame:
    """Return one row per pair, parameter and fraction: mean ends of inlet and outlet, their numbers, and notes."""
    groups = sides.groupby([*_PAIR, "side"], sort=False)
    ends = groups[["low", "high"]].mean(skipna=False).assign(number=groups.size()).reset_index()
    inlet, outlet = (ends[ends["side"].eq(side)].drop(columns="side") for side in (_INLET, _OUTLET))
    table = inlet.merge(outlet, on=_PAIR, suffixes=("_in", "_out"))
    about = sides.drop_duplicates(_PAIR)[[*_PAIR, "unit_to", "basis_to", "volume_to", "common", "apart"]]
    notes = pd.concat([sides[[*_PAIR, name]].set_axis([*_PAIR, "note"], axis=1) for name in ("note", "unit_note")])
    notes = notes[notes["note"].ne("")].drop_duplicates()
    joined = notes.groupby(_PAIR)["note"].agg("; ".join)
    table = table.merge(about, on=_PAIR).merge(joined, left_on=_PAIR, right_index=True, how="left")
    return table.assign(note=table["note"].fillna(""))
