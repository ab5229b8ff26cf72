"""Turns the results at the points of a train into a profile of one parameter along it: a table and a chart."""

from __future__ import annotations

import altair as alt
import numpy as np
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.statistics.series_units import in_common_units
from wqcheck.tables import Readings
from wqcheck.train.description import Train, match_points

KINDS = ("measured", "below the limit given", "above the limit given", "none found", "a range")
"""What a result is known to be; each has a shape of its own."""

_SHAPES = ("circle", "triangle-down", "triangle-up", "diamond", "square")
_INK, _SOFT = "#1d2b33", "#5a6f7a"


def profiled(readings: DataFrame[Readings], train: Train) -> list[str]:
    """Return the codes of the parameters that have results at two or more points of the train, in order of code."""
    place = match_points(readings[Readings.point].fillna(readings[Readings.stage]), train)
    counts = place.groupby(readings[Readings.parameter]).nunique()
    return sorted(str(code) for code in counts.index[counts.ge(2)])


def profile_rows(readings: DataFrame[Readings], train: Train, code: str) -> tuple[pd.DataFrame, int]:
    """Return what is known of one parameter at each point of the train.

    Returns
    -------
    rows : DataFrame
        One row per result, points in the order of flow: ``point``, ``sampled``, ``reported``, ``low``, ``high`` (ends
        of what it can be, in ``unit``; infinite where there is no upper end), ``known`` (one of :data:`KINDS`),
        ``cell``.
    left_out : int
        Results of it at these points that have no figure in that unit; the page says how many.
    """
    order = _points_in_flow(train)
    mine = readings[readings[Readings.parameter].eq(code)].reset_index(drop=True)
    place = match_points(mine[Readings.point].fillna(mine[Readings.stage]), train)
    mine, place = mine[place.isin(order)].reset_index(drop=True), place[place.isin(order)].reset_index(drop=True)
    if mine.empty:
        return pd.DataFrame(columns=["point", "sampled", "reported", "low", "high", "known", "unit", "cell"]), 0
    ranges, unit = in_common_units(Readings.validate(mine))
    rows = pd.DataFrame(
        {
            "point": place,
            "sampled": mine[Readings.sampled_at].dt.strftime("%Y-%m-%d %H:%M").fillna("not dated"),
            "reported": mine[Readings.reported],
            "low": np.maximum(ranges.low, 0.0) if code != "ph" else ranges.low,
            "high": ranges.high,
            "unit": unit.fillna("").to_numpy(),
            "cell": mine[Readings.sheet].fillna("") + " " + mine[Readings.cell],
        }
    )
    known = rows["low"].notna() & rows["high"].notna()
    rows = rows[known].assign(known=known_as(rows[known]))
    rank = rows["point"].map({point: number for number, point in enumerate(order)})
    return rows.assign(rank=rank).sort_values(["rank", "sampled"], kind="stable").drop(columns="rank"), int(
        len(known) - known.sum()
    )


def known_as(rows: pd.DataFrame) -> np.ndarray[tuple[int], np.dtype[np.str_]]:
    """Return for each row with ends ``low`` and ``high`` which of :data:`KINDS` it is."""
    low, high = (rows[end].to_numpy(dtype=np.float64) for end in ("low", "high"))
    cases = [(low == 0) & (high == 0), low == high, np.isposinf(high), low == 0]
    return np.select(cases, ["none found", *(KINDS[place] for place in (0, 2, 1))], KINDS[4]).astype(np.str_)


def profile_chart(rows: pd.DataFrame, name: str, *, log: bool) -> alt.LayerChart:
    """Draw a profile: shapes tell what is known of a result, bars how far it can reach.

    Parameters
    ----------
    rows : DataFrame
        From :func:`profile_rows`, at least one.
    name : str
        Name of the parameter, for the axis.
    log : bool
        Logarithmic axis; bars that begin at nothing then begin at the foot of the axis.
    """
    unit = next(iter(rows["unit"]), "")
    drawn = with_bars(rows, log=log)
    scale = alt.Scale(type="log", domain=[drawn["foot"].min(), drawn["reach"].max() * 1.5]) if log else alt.Scale()
    axis = alt.Axis(labelFontSize=13, titleFontSize=13)
    x = alt.X("point:N", sort=list(dict.fromkeys(rows["point"])), title="sampling point, in the order of flow",
              axis=alt.Axis(labelAngle=0, labelFontSize=13, titleFontSize=13))  # fmt: skip
    title = f"{name}, {unit}" if unit else name
    base = alt.Chart(drawn).encode(x=x, tooltip=["point:N", "reported:N", "unit:N", "known:N", "sampled:N", "cell:N"])
    bars = base.transform_filter("datum.foot != datum.reach").mark_rule(strokeWidth=3, color=_SOFT, strokeDash=[5, 3])
    marks = base.mark_point(size=110, filled=True, color=_INK, opacity=1.0)
    return alt.layer(
        bars.encode(y=alt.Y("foot:Q", scale=scale, title=title, axis=axis), y2="reach:Q"),
        marks.encode(
            y=alt.Y("mark:Q", scale=scale, title=title, axis=axis),
            shape=alt.Shape(
                "known:N",
                scale=alt.Scale(domain=list(KINDS), range=list(_SHAPES)),
                legend=alt.Legend(title="result", orient="bottom", labelFontSize=13, symbolFillColor=_INK),
            ),
        ),
    ).properties(height=320)


def with_bars(rows: pd.DataFrame, *, log: bool) -> pd.DataFrame:
    """Add where the bar of each result begins (``foot``) and ends (``reach``), and where its mark stands (``mark``)."""
    low, high = rows["low"], rows["high"]
    finite = high.where(np.isfinite(high), low * 2).where(np.isfinite, 1.0)
    positive = pd.concat([low[low.gt(0)], finite[finite.gt(0)]])
    foot = float(positive.min()) / 3 if len(positive) else 0.1
    below = low.clip(lower=foot) if log else low
    above = finite.clip(lower=foot) if log else finite
    mark = above.where(rows["known"].ne("above the limit given"), below)
    return rows.assign(foot=below, reach=above, mark=mark, high=finite)


def _points_in_flow(train: Train) -> list[str]:
    """Return the codes of the points along the train; side streams stay out."""
    stages = [point for stage in train.stages for point in (stage.inlet, stage.outlet) if point]
    return list(dict.fromkeys(stages))
