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

from wqcheck.tables import Bound, Readings, Stages
from wqcheck.train.averaging import averaged, in_one_unit
from wqcheck.train.description import Train
from wqcheck.train.measured import measured
from wqcheck.train.pairing import INLET, OUTLET, PAIR, on_one_occasion, pairs_of, sides
from wqcheck.train.removal_words import interval_text, removal_reasons, unit_text
from wqcheck.units import tidy

_NEVER_ALL = 99.9999999999  # percent to the 12 significant digits kept; no measurement shows 100

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


def removal_range(table: pd.DataFrame) -> tuple[Floats, Floats]:
    """Return the least and the most percent that the results leave open, measurement uncertainty included.

    Parameters
    ----------
    table : DataFrame
        Ends of both results and their expanded uncertainty (k = 2), one unit: ``low_in``, ``high_in``, ``spread_in``,
        ``low_out``, ``high_out``, ``spread_out``; ``counted`` for organisms. The uncertainty of a result known only
        as a bound is not used.

    Returns
    -------
    tuple of ndarray
        Percent, each NaN where that end is not known. Where an uncertainty is not stated it is taken as none.

    Notes
    -----
    For independent results u(q)/q = √((u_in/in)² + (u_out/out)²) of q = outlet/inlet (JCGM 100:2008, 5.1.2 and 5.1.6);
    the removal is 100 (1 − q), so the interval is 100 (1 − q (1 ± U)). For counts, whose uncertainty is wide, the same
    relative uncertainty is taken on the logarithmic scale: 100 (1 − q exp(±U)).
    """
    a_low, a_high, b_low, b_high = (table[name].to_numpy() for name in ("low_in", "high_in", "low_out", "high_out"))
    relative = np.hypot(*(_relative(table, side).fillna(0).to_numpy() for side in ("_in", "_out")))
    counted = table["counted"].to_numpy(dtype=np.bool_)
    wider = np.where(counted, np.exp(relative), 1 + relative)
    narrower = np.where(counted, np.exp(-relative), np.maximum(1 - relative, 0))
    most_left = _ratio(b_high, a_low, (a_low > 0) & np.isfinite(b_high)) * wider
    least_left = _ratio(b_low, a_high, (a_high > 0) & np.isfinite(a_high)) * narrower
    return tidy(100 * (1 - most_left)), np.minimum(tidy(100 * (1 - least_left)), _NEVER_ALL)


def _relative(table: pd.DataFrame, side: str) -> pd.Series[float]:
    """Return the relative expanded uncertainty of one side, NaN where it is not stated or the result is a bound."""
    exact = table[f"low{side}"].eq(table[f"high{side}"]) & table[f"low{side}"].gt(0)
    relative: pd.Series[float] = table[f"spread{side}"].where(exact) / table[f"low{side}"].where(exact)
    return relative


def removal_by_stage(readings: DataFrame[Readings], train: Train) -> DataFrame[Stages]:
    """Return what each stage, and the whole train, removed of each parameter.

    Parameters
    ----------
    readings : DataFrame[Readings]
        Results at the points of the train; those at other places are left out
        (:func:`wqcheck.train.description.assign_stages`
        reports them), as are parameters without a removal such as pH.
    train : Train
        The plant's train; its ``pairing`` says how far apart samples may be taken.

    Returns
    -------
    DataFrame[Stages]
        One row per parameter (and fraction) × stage that has results on both sides; in the order of flow, then by
        parameter. Blank fractions count as total (common practice, no source).

    Notes
    -----
    :func:`wqcheck.train.pairing.on_one_occasion` says which samples are paired,
    :func:`wqcheck.train.averaging.averaged` how several are averaged. Percentages are 100 (1 − outlet/inlet): for
    membranes that is the nominal rejection, against the feed, not against the mean of the feed channel.
    """
    pairs = pairs_of(train)
    rows = sides(measured(readings, train), pairs)
    if rows.empty:
        return no_stages()
    table = averaged(in_one_unit(on_one_occasion(rows, train.pairing)))
    removal = removal_between(table["low_in"], table["high_in"], table["low_out"], table["high_out"])
    low, high = removal_range(table)
    found = {"percent": removal.percent, "log": removal.log_removal, "least": low, "most": high}
    told = ~table[["apart", "mixed", "one_dated"]].any(axis=1).to_numpy(dtype=np.bool_)
    table = table.assign(
        **{name: np.where(told, values, np.nan) for name, values in found.items()},
        bound=np.where(told, removal.bound, str(Bound.UNKNOWN)),
        tolerance=train.pairing,
        spread_known=told & (removal.bound == Bound.EXACT) & (table["spread_in"] * table["spread_out"]).notna(),
    )
    table = _with_cumulative(table.merge(pairs, on="pair"))
    return _stages(table.sort_values(["pair", "parameter", "fraction"], ignore_index=True))


def _with_cumulative(table: pd.DataFrame) -> pd.DataFrame:
    """Join to each row what the train removed from its first inlet down to that row's outlet."""
    names = {"of": "pair", "percent": "percent_all", "log": "log_all", "bound": "bound_all"}
    whole = table[table["of"].ge(0)][[*names, "parameter", "fraction"]].rename(columns=names)
    joined = table[table["of"].lt(0)].merge(whole, on=PAIR, how="left")
    return joined.assign(bound_all=joined["bound_all"].fillna(str(Bound.UNKNOWN)))


def _stages(table: pd.DataFrame) -> DataFrame[Stages]:
    return Stages.validate(
        pd.DataFrame(
            {
                Stages.stage: table["stage"],
                Stages.kind: table["kind"],
                Stages.parameter: table["parameter"],
                Stages.inlet_point: table[INLET],
                Stages.outlet_point: table[OUTLET],
                Stages.inlet: interval_text(table["low_in"], table["high_in"]),
                Stages.outlet: interval_text(table["low_out"], table["high_out"]),
                Stages.unit: unit_text(table["unit_to"], table["basis_to"], table["volume_to"]),
                Stages.removal_percent: table["percent"],
                Stages.log_removal: table["log"],
                Stages.bound: table["bound"],
                Stages.reason: removal_reasons(table),
                Stages.removal_low: table["least"],
                Stages.removal_high: table["most"],
                Stages.cumulative_percent: table["percent_all"],
                Stages.cumulative_log: table["log_all"],
                Stages.cumulative_bound: table["bound_all"],
                Stages.inlet_low: table["low_in"],
                Stages.inlet_high: table["high_in"],
                Stages.outlet_low: table["low_out"],
                Stages.outlet_high: table["high_out"],
                Stages.inlet_cells: table["cells_in"],
                Stages.outlet_cells: table["cells_out"],
            }
        ).astype(_stage_types())
    )


def _ratio(part: Floats, whole: Floats, where: npt.NDArray[np.bool_]) -> Floats:
    return tidy(np.divide(part, whole, out=np.full(part.shape, np.nan), where=where))


def no_stages() -> DataFrame[Stages]:
    """Return a table of stages without rows."""
    return Stages.validate(pd.DataFrame({name: pd.Series(dtype=kind) for name, kind in _stage_types().items()}))


def _stage_types() -> dict[str, str]:
    kinds = {name: str(column.dtype) for name, column in Stages.to_schema().columns.items()}
    return {name: "str" if kind.startswith("string") else kind for name, kind in kinds.items()}
