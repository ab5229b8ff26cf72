"""Turns the results on both sides of a stage into one interval for each side, in one unit, with its uncertainty."""

from __future__ import annotations

import numpy as np
import pandas as pd

from wqcheck.train.pairing import INLET, OUTLET, PAIR
from wqcheck.units import COUNT_UNITS, conversion, tidy

MOST_CELLS = 6
"""Cells that are named as evidence of one mean; the workbook holds the others."""


def in_one_unit(sides: pd.DataFrame) -> pd.DataFrame:
    """Express both sides of a pair in the unit, basis and volume of its first inlet result."""
    first = sides[sides["side"].eq(INLET)].drop_duplicates(PAIR)
    sides = sides.merge(first[[*PAIR, "unit", "basis", "volume"]], on=PAIR, suffixes=("", "_to"))
    keys = ["parameter", "unit", "basis", "unit_to", "basis_to"]
    distinct = sides[keys].drop_duplicates(ignore_index=True)
    factors = [_factors(*row) for row in distinct.itertuples(index=False, name=None)]
    table = distinct.join(pd.DataFrame(factors, columns=["factor_low", "factor_high", "unit_note"]))
    sides = sides.merge(table, on=keys)
    scale = sides["volume_to"] / sides["volume"]
    return sides.assign(
        low=tidy(sides["low"] * sides["factor_low"] * scale),
        high=tidy(sides["high"] * sides["factor_high"] * scale),
        spread=sides["spread"] * sides["factor_high"] * scale,
    )


def _factors(parameter: str, unit: str, basis: str, unit_to: str, basis_to: str) -> tuple[float, float, str]:
    if not unit or not unit_to:
        return np.nan, np.nan, "the sheet gives no unit"
    if (unit, basis) == (unit_to, basis_to):
        return 1.0, 1.0, ""
    found = conversion(parameter, unit, basis, unit_to, basis_to)
    back = conversion(parameter, unit_to, basis_to, unit, basis)
    if bool(basis) != bool(basis_to) and (found.low != found.high or back.low != back.high):
        return np.nan, np.nan, f"only one side states its basis ({basis or basis_to})"
    note = found.note or (f"{unit} counted as {unit_to}" if unit in COUNT_UNITS and unit != unit_to else "")
    return found.low, found.high, note


def averaged(sides: pd.DataFrame) -> pd.DataFrame:
    """Return one row per pair, parameter and fraction.

    Returns
    -------
    DataFrame
        ``low``, ``high``, ``spread`` (expanded uncertainty, NaN unless all results have one) and ``number`` (results)
        with the suffixes ``_in`` and ``_out``; ``unit_to``, ``basis_to``, ``volume_to``, ``apart``, ``mixed``,
        ``one_dated``, ``first_day``, ``last_day``, ``counted``, ``cells_in``, ``cells_out`` and ``note``.

    Notes
    -----
    Replicates of one sample are averaged first, so that a sample examined twice does not count twice, and then the
    samples. Concentrations are averaged arithmetically, counts geometrically (Standard Methods 9020 and the geometric
    means of 40 CFR 131.41; from memory), each end of the interval by itself: a non-detect keeps both its ends. Removals
    are never averaged. Uncertainties of independent results combine as JCGM 100:2008, 5.1.2.
    """
    once = _means(sides.assign(number=1), [*PAIR, "side", "sample", "at"])
    ends = _means(once, [*PAIR, "side"])
    cells = sides.groupby([*PAIR, "side"], sort=False)["cell"].agg(lambda names: ", ".join(names.unique()[:MOST_CELLS]))
    ends = ends.merge(cells.rename("cells").reset_index(), on=[*PAIR, "side"])
    inlet, outlet = (ends[ends["side"].eq(side)].drop(columns=["side", "counted"]) for side in (INLET, OUTLET))
    table = inlet.merge(outlet, on=PAIR, suffixes=("_in", "_out"))
    table = table.merge(_about(sides), on=PAIR)
    notes = pd.concat([sides[[*PAIR, name]].set_axis([*PAIR, "note"], axis=1) for name in ("note", "unit_note")])
    notes = notes[notes["note"].ne("")].drop_duplicates()
    joined = notes.groupby(PAIR)["note"].agg("; ".join)
    table = table.merge(joined, left_on=PAIR, right_index=True, how="left")
    return table.assign(note=table["note"].fillna(""))


def _means(rows: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    """Return the mean ends, the uncertainty of the mean, and how many results it stands for, of each group."""
    counted = rows["counted"]
    with np.errstate(divide="ignore"):
        scaled = {end: rows[end].mask(counted, np.log(rows[end].where(counted, 1.0))) for end in ("low", "high")}
    relative = rows["spread"].mask(counted, rows["spread"] / rows["low"].where(rows["low"] > 0))
    groups = rows.assign(**scaled, variance=relative**2).groupby(keys, sort=False, dropna=False)
    table = groups[["low", "high"]].mean(skipna=False)
    table = table.assign(counted=groups["counted"].first(), number=groups["number"].sum())
    for end in ("low", "high"):
        table[end] = tidy(table[end].mask(table["counted"], np.exp(table[end].where(table["counted"], 0.0))))
    spread = np.sqrt(groups["variance"].mean(skipna=False) / groups.size())
    return table.assign(spread=spread.mask(table["counted"], spread * table["low"])).reset_index()


def _about(sides: pd.DataFrame) -> pd.DataFrame:
    """Return of each pair its unit and whether and when its sides were sampled together."""
    groups = sides.groupby(PAIR, sort=False)
    days = groups["at"].agg(first_day="min", last_day="max").reset_index()
    undated = groups["at"].agg(lambda times: bool(times.isna().any())).rename("undated").reset_index()
    kept = [*PAIR, "unit_to", "basis_to", "volume_to", "apart", "mixed", "one_dated", "counted"]
    return sides.drop_duplicates(PAIR)[kept].merge(days, on=PAIR).merge(undated, on=PAIR)
