"""Turns the results at the points of a train into a profile of one parameter along it: a table and a chart."""

from __future__ import annotations

import altair as alt
import numpy as np
import numpy.typing as npt
import pandas as pd
import streamlit as st

from wqcheck.page.shown import moment
from wqcheck.page.spoken import later, say
from wqcheck.page.words import plain, titled
from wqcheck.statistics.series_units import in_common_units
from wqcheck.tables import Readings
from wqcheck.train.description import Train, match_points
from wqcheck.train.removal_words import interval_text, unit_text

MEASURED, BELOW, ABOVE, NONE_FOUND, RANGE = (
    later("measured"), later("less than the figure (a < result)"), later("more than the figure (a > result)"),
    later("none found"), later("between two ends"),
)  # fmt: skip
KINDS = (MEASURED, BELOW, ABOVE, NONE_FOUND, RANGE)
"""What a result is known to be; each has a shape of its own."""

COLUMNS = ("point", "sampled", "reported", "low", "high", "unit", "cell", "known", "figure")
LABELS_UP_TO = 24
"""Results that can bear their figure beside them before the figures run into one another."""

_SHAPES = ("circle", "triangle-down", "triangle-up", "diamond", "square")
_INK, _BAR, _LINE = "#1d2b33", "#8fb3c4", "#44606e"


def profiled(readings: pd.DataFrame, train: Train) -> list[str]:
    """Return the codes of the parameters that have results at two or more points of the train, by name."""
    place = match_points(readings[Readings.point].fillna(readings[Readings.stage]), train)
    here = place.where(place.isin(points_in_flow(train)))
    counts = here.groupby(readings[Readings.parameter]).nunique()
    return sorted(map(str, counts.index[counts.ge(2)]), key=lambda code: titled(code).casefold())


def points_in_flow(train: Train) -> list[str]:
    """Return the codes of the points along the train; side streams stay out."""
    stages = [point for stage in train.stages for point in (stage.inlet, stage.outlet) if point]
    return list(dict.fromkeys(stages))


def profile_rows(readings: pd.DataFrame, train: Train, code: str) -> tuple[pd.DataFrame, int]:
    """Return what is known of one parameter at each point of the train.

    Returns
    -------
    rows : DataFrame
        One row per result, points in the order of flow, with :data:`COLUMNS`: ``low`` and ``high`` are the ends of what
        it can be, in ``unit``, infinite where there is no end; ``figure`` is that as text. ``reported`` is what the
        sheet says, with its own unit, and ``known`` one of :data:`KINDS`.
    left_out : int
        Results of it at these points that have no figure in that unit.
    """
    order = points_in_flow(train)
    mine = readings[readings[Readings.parameter].eq(code)]
    place = match_points(mine[Readings.point].fillna(mine[Readings.stage]), train)
    along = place.isin(order)
    place, mine = place[along].reset_index(drop=True), mine[along].reset_index(drop=True)
    if mine.empty:
        return pd.DataFrame(columns=list(COLUMNS)), 0
    ranges, unit = in_common_units(Readings.validate(mine))
    own_unit = unit_text(mine[Readings.unit].fillna(""), mine[Readings.basis].fillna(""), mine[Readings.volume_ml])
    rows = pd.DataFrame(
        {
            "point": place,
            "sampled": mine[Readings.sampled_at].dt.strftime("%Y-%m-%d %H:%M").fillna(say("not dated")),
            "reported": (mine[Readings.reported].str.strip() + " " + own_unit.fillna("")).str.strip(),
            "low": ranges.low,
            "high": ranges.high,
            "unit": unit.fillna("").to_numpy(),
            "cell": mine[Readings.sheet].fillna("") + " " + mine[Readings.cell],
        }
    )
    usable = rows["low"].notna() & rows["high"].notna()
    rows = rows[usable].assign(rank=rows["point"].map(order.index))
    rows = rows.sort_values(["rank", "sampled"], kind="stable", ignore_index=True).drop(columns="rank")
    return rows.assign(known=known_as(rows), figure=figure_text(rows)), int(len(usable) - usable.sum())


def known_as(rows: pd.DataFrame) -> npt.NDArray[np.str_]:
    """Return for each row with ends ``low`` and ``high`` which of :data:`KINDS` it is."""
    low, high = (rows[end].to_numpy(dtype=np.float64) for end in ("low", "high"))
    open_below = (low == 0) | np.isneginf(low)
    cases = [(low == 0) & (high == 0), low == high, np.isposinf(high), open_below]
    return np.select(cases, [NONE_FOUND, MEASURED, ABOVE, BELOW], RANGE).astype(np.str_)


def figure_text(rows: pd.DataFrame) -> pd.Series[str]:
    """Return each result with ends ``low`` and ``high`` as text: ``0.35``, ``<0.1``, ``>1600``, ``2–5``."""
    return interval_text(rows["low"].mask(np.isneginf(rows["low"]), 0.0), rows["high"])


def can_be_logarithmic(rows: pd.DataFrame) -> bool:
    """Return whether a logarithmic axis can show every result: none below zero, and at least one above it."""
    ends = rows[["low", "high"]].to_numpy(dtype=np.float64)
    positive = ends[(ends > 0) & np.isfinite(ends)]
    return bool(positive.size) and not bool((ends < 0).any())


def with_bars(rows: pd.DataFrame, *, log: bool) -> tuple[pd.DataFrame, tuple[float, float]]:
    """Add where the bars of each result begin and end, and where its mark stands.

    Returns
    -------
    rows : DataFrame
        With ``nth`` (of its point), ``filled_from`` and ``filled_to`` (what is surely there), ``open_from`` and
        ``open_to`` (what it can reach beyond; equal where there is none) and ``mark``.
    ends : (float, float)
        Lower and upper end of the axis.
    """
    low, high = rows["low"], rows["high"]
    ends = pd.concat([low, high])
    known = ends[np.isfinite(ends)]
    if log:
        foot = 10.0 ** np.floor(np.log10(float(known[known.gt(0)].min()) * 0.7))
        top = max(float(known.max()) * 3, foot * 10)
    else:
        reach = max(float(known.max()), 0.0) - min(float(known.min()), 0.0) or 1.0
        foot = min(0.0, float(known.min()) - (0.15 * reach if known.min() < 0 or np.isneginf(low).any() else 0.0))
        top = max(0.0, float(known.max())) + 0.18 * reach
    start = foot if log else 0.0
    least, most = low.clip(lower=foot), high.clip(lower=foot, upper=top)
    sure = least.where(np.isfinite(low), start)
    below = rows["known"].isin([BELOW, NONE_FOUND])
    drawn = rows.assign(
        nth=rows.groupby("point", sort=False).cumcount().astype("str"),
        filled_from=start,
        filled_to=sure.mask(below, start),
        open_from=least,
        open_to=most,
        mark=most.where(rows["known"].ne(ABOVE), least),
    )
    return drawn, (foot, top)


def profile_chart(rows: pd.DataFrame, name: str, *, log: bool) -> alt.LayerChart | alt.FacetChart:
    """Draw a profile: filled bars are surely there, open bars can be there, shapes tell what is known of a result.

    Parameters
    ----------
    rows : DataFrame
        From :func:`profile_rows`, at least one.
    name : str
        Name of the parameter, for the axis.
    log : bool
        Logarithmic axis; only where :func:`can_be_logarithmic`.
    """
    drawn, ends = with_bars(rows, log=log)
    drawn = drawn.assign(known=[say(word) for word in drawn["known"]])
    unit = next(iter(rows["unit"]), "")
    axis = alt.Axis(labelFontSize=12, titleFontSize=13, labelAngle=0, tickCount=8)
    scale = alt.Scale(type="log" if log else "linear", domain=list(ends), nice=False, zero=False)
    title = f"{name}, {unit}" if unit else name

    def up(column: str) -> alt.Y:
        return alt.Y(f"{column}:Q", scale=scale, title=None, axis=axis)

    base = alt.Chart(drawn).encode(
        x=alt.X("point:N", sort=list(dict.fromkeys(rows["point"])), title=say("sampling point, in the order of flow"),
                axis=axis, scale=alt.Scale(paddingInner=0.3, paddingOuter=0.2)),
        xOffset="nth:N",
        tooltip=[alt.Tooltip(f"{name}:N", title=title) for name, title in _tips().items()],
    )  # fmt: skip
    open_bars = base.mark_bar(filled=False, stroke=_LINE, strokeWidth=1.5, strokeDash=[4, 3], aria=False)
    layers = [
        open_bars.encode(y=up("open_from"), y2="open_to:Q").transform_filter("datum.open_from != datum.open_to"),
        base.mark_bar(color=_BAR, stroke=_LINE).encode(y=up("filled_from"), y2="filled_to:Q"),
        base.mark_point(size=70, filled=True, color=_INK, opacity=1.0).encode(y=up("mark"), shape=_shapes()),
    ]
    if len(drawn) <= LABELS_UP_TO:
        layers.append(base.mark_text(dy=-11, fontSize=11, color=_INK).encode(y=up("mark"), text="figure:N"))
    return alt.layer(*layers).properties(height=430, title=alt.TitleParams(title, anchor="start", fontSize=13))


def _tips() -> dict[str, str]:
    """Return what is told of a result that is pointed at, each column with its heading."""
    return {"point": say("Point"), "reported": say("Reported"), "known": say("Known as"), "sampled": say("Sampled"),
            "cell": say("Cell")}  # fmt: skip


def _shapes() -> alt.Shape:
    """Return the shapes of what is known, with their legend."""
    legend = alt.Legend(title=None, orient="bottom", labelFontSize=12, symbolFillColor=_INK, columns=3, labelLimit=0)
    words = [say(kind) for kind in KINDS]
    return alt.Shape("known:N", scale=alt.Scale(domain=words, range=list(_SHAPES)), legend=legend)


def profile_table(rows: pd.DataFrame, train: Train) -> pd.DataFrame:
    """Make the table beside the chart."""
    names = {point.code: point.name for point in train.points}
    return pd.DataFrame(
        {
            say("Point"): rows["point"] + " " + rows["point"].map(names).fillna(""),
            say("Reported"): rows["reported"],
            say("Known as"): [say(word) for word in rows["known"]],
            say("Sampled; cell"): rows["sampled"].map(moment) + "; " + rows["cell"],
        }
    )


def draw_profile(readings: pd.DataFrame, train: Train, code: str, *, log: bool) -> None:
    """Draw one parameter along the train, the chart with the table beside it, or below it where there is no room."""
    rows, left_out = profile_rows(readings, train, code)
    name = titled(code)
    if left_out:
        st.warning(
            say("{number} of its results have no figure in the unit of the others; see Take in.", number=left_out)
        )
    if rows.empty:
        st.info(say("None of its results has a figure that could be drawn."))
        return
    if log and not can_be_logarithmic(rows):
        st.info(say("{parameter} has results at or below zero only, or below zero: the axis stays linear.",
                    parameter=name))  # fmt: skip
        log = False
    with st.container(horizontal=True):
        with st.container(width=500):
            about = say("{parameter} along the train", parameter=name)
            st.altair_chart(profile_chart(rows, name, log=log), width="stretch", alt=about)
        with st.container(width=430):
            st.table(profile_table(rows, train).map(plain), hide_index=True)
    st.caption(
        say(
            "A filled bar is surely there. An open, dashed bar is what the result can be beyond it: from nothing (or "
            "the lowest that is possible) up to the limit given for a “<” result, and upwards without end for a “>” "
            "result. On a logarithmic axis bars begin at the foot of the chart: read their upper ends, not their "
            "lengths."
        )
    )
