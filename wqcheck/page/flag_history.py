"""Turns the recorded results of one parameter at one point into a small chart with its limit, and into words."""

from __future__ import annotations

import altair as alt
import numpy as np
import pandas as pd
import streamlit as st
from pandera.typing import DataFrame

from wqcheck.judging.ranges import Trouble
from wqcheck.page.spoken import count_text, later, say
from wqcheck.statistics.series_units import in_limit_unit
from wqcheck.tables import Readings, Sign

MEASURED, BELOW, ABOVE, SPAN = later("measured"), later("not detected: below"), later("more than"), later("a range")
ABSENT = later("not found in the volume examined")
NONE_IN = later("none found in {volume} mL")
ON_ZERO = later("{words} (open circles on the zero line)")
_INK, _LIMIT_INK = "#1f5fa8", "#b3261e"
DAYS_WITH_HOURS = 3
"""Within so many days the hours are told too."""

_SHAPES = {MEASURED: "circle", BELOW: "circle", ABSENT: "circle", ABOVE: "triangle-up", SPAN: "diamond"}

_MARKS = {
    MEASURED: later("measured (filled circles)"),
    BELOW: later("not detected (open circles; the result lies on the dotted line below)"),
    ABOVE: later("more than can be counted (open triangles)"),
    SPAN: later("a range (diamonds)"),
}


def history_points(readings: DataFrame[Readings], limit_unit: str, basis: str, batch: str) -> tuple[pd.DataFrame, int]:
    """Make one row per dated, usable result, and count the others.

    Parameters
    ----------
    readings : DataFrame[Readings]
        Of one parameter and point.
    limit_unit, basis : str
        What to draw in, see :func:`wqcheck.statistics.series_units.in_limit_unit`.
    batch : str
        The batch in hand, whose results are marked.

    Returns
    -------
    points : DataFrame
        ``day``, ``low``, ``high``, ``drawn`` (the end that the mark stands at), ``kind``, ``batch``, ``reported``,
        ``ours`` (whether it is of the batch in hand).
    left_out : int
        Results without a day, or that cannot be turned into the unit.
    """
    ranges = in_limit_unit(readings, limit_unit, basis)
    low, high = ranges.low, ranges.high
    kind = np.select([low == high, np.isposinf(high), (low <= 0) & np.isfinite(high)], [MEASURED, ABOVE, BELOW], SPAN)
    kind = np.where((kind == BELOW) & readings[Readings.sign].eq(Sign.ABSENT).to_numpy(), ABSENT, kind)
    points = pd.DataFrame(
        {
            "day": readings[Readings.sampled_at], "low": np.where(np.isfinite(low), low, 0.0), "high": high,
            "drawn": np.select([kind == ABOVE, kind == ABSENT], [low, 0.0], high), "kind": kind,
            "batch": readings[Readings.batch].fillna("").astype("str"), "reported": readings[Readings.reported],
            "volume": readings[Readings.volume_ml],
        }
    )  # fmt: skip
    points["ours"] = points["batch"].str.casefold().eq(batch.casefold())
    usable = (ranges.trouble == Trouble.NONE) & points["day"].notna().to_numpy() & np.isfinite(points["drawn"])
    return points[usable].reset_index(drop=True), int(len(points) - usable.sum())


def history_chart(points: pd.DataFrame, limits: tuple[float, float], unit: str) -> alt.LayerChart | alt.FacetChart:
    """Draw the points: measured filled, non-detects open with a line down to zero, the limits as dashed lines.

    Parameters
    ----------
    points : DataFrame
        From :func:`history_points`, at least one row.
    limits : (float, float)
        Lower and upper limit in ``unit``, NaN where there is none.
    unit : str
        As it is printed.
    """
    drawn = points.assign(
        word=_words(points),
        filled=points["kind"].isin([MEASURED, SPAN]),
        bottom=points["low"].where(points["kind"].isin([BELOW, SPAN])),
    )
    within_days = (drawn["day"].max() - drawn["day"].min()).days < DAYS_WITH_HOURS
    days = alt.Axis(
        format="%Y-%m-%d %H:%M" if within_days else "%Y-%m-%d", labelFontSize=12, titleFontSize=12, tickCount=4,
        labelOverlap=True,
    )  # fmt: skip
    base = alt.Chart(drawn).encode(x=alt.X("day:T", title=say("sampled"), axis=days, scale=alt.Scale(padding=14)))
    nothing = points["high"].le(0).all() or points["kind"].eq(ABSENT).all()
    upright = alt.Scale(domain=[0, 1]) if nothing and not np.isfinite(limits).any() else alt.Scale(zero=True, nice=True)
    spans = base.mark_rule(strokeDash=[2, 3], strokeWidth=1.5, aria=False).encode(
        y=alt.Y("bottom:Q", scale=upright), y2="high:Q"
    )
    values = alt.Axis(labelFontSize=12, titleFontSize=12, tickCount=4, format="~g")
    marks = base.mark_point(strokeWidth=2, filled=False, opacity=1).encode(
        y=alt.Y("drawn:Q", title=unit or None, scale=upright, axis=values),
        shape=alt.Shape("kind:N", legend=None, scale=alt.Scale(domain=list(_SHAPES), range=list(_SHAPES.values()))),
        fillOpacity=alt.when(alt.datum.filled).then(alt.value(1.0)).otherwise(alt.value(0.0)),
        fill=alt.value(_INK), stroke=alt.value(_INK),
        size=alt.when(alt.datum.ours).then(alt.value(200)).otherwise(alt.value(60)),
        tooltip=[alt.Tooltip("reported:N", title=say("Reported")), alt.Tooltip("word:N", title=say("Known as")),
                 alt.Tooltip("batch:N", title=say("Batch")), alt.Tooltip("day:T", title=say("Sampled"))],
    )  # fmt: skip
    lines = pd.DataFrame(
        [
            {"at": end, "said": f"{word} {end:g} {unit}".strip()}
            for word, end in zip((say("at least"), say("limit")), limits, strict=True)
            if np.isfinite(end)
        ],
        columns=["at", "said"],
    )
    rules = alt.Chart(lines).mark_rule(strokeDash=[8, 4], strokeWidth=2, color=_LIMIT_INK).encode(y="at:Q")
    texts = (
        alt.Chart(lines)
        .mark_text(align="left", baseline="bottom", dx=4, dy=-3, fontSize=12, color=_LIMIT_INK)
        .encode(y="at:Q", x=alt.value(0), text="said:N")
    )
    return alt.layer(spans, marks, rules, texts).properties(height=220)


def _words(points: pd.DataFrame) -> pd.Series[str]:
    """Say as what each result is known; an absence with the volume in which nothing was found."""
    words = points["kind"].map({word: say(word) for word in _SHAPES})
    absent = points["kind"].eq(ABSENT) & points["volume"].notna()
    told = {volume: say(NONE_IN, volume=f"{volume:g}") for volume in points["volume"].dropna().unique()}
    return words.mask(absent, points["volume"].map(told).astype("str"))


def marks_of(points: pd.DataFrame) -> dict[str, int]:
    """Count the marks of each kind, with what they look like; absences for each volume."""
    absent = points["kind"].eq(ABSENT)
    told = _words(points[absent]).value_counts(sort=False)
    counts = points["kind"].value_counts()
    marks = {say(said): int(counts[word]) for word, said in _MARKS.items() if word in counts}
    return marks | {say(ON_ZERO, words=words): int(number) for words, number in told.items()}


def draw_points(points: pd.DataFrame, limits: tuple[float, float], unit: str, left_out: int, limit: str = "") -> None:
    """Draw the chart with how many results it holds; ``limit`` says in words what no line can show."""
    if len(points):
        st.altair_chart(history_chart(points, limits, unit), width="stretch", alt=say("History of this parameter"))
        kinds = ", ".join(f"{count_text(number)} {told}" for told, number in marks_of(points).items())
        lined = say("The dashed line is the limit.") if np.isfinite(limits).any() else limit
        told = say("{many} results: {kinds}. Large marks are of this batch.", many=count_text(len(points)), kinds=kinds)
        st.caption(" ".join(filter(None, (told, lined))))
    if left_out:
        st.caption(say("{many} more cannot be drawn: without a day, unreadable, or in a unit that does not convert.",
                       many=count_text(left_out)))  # fmt: skip
