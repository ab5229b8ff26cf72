"""Turns one series into a chart of its results, limits, control lines, trend, forecast and running averages."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite
from typing import Any

import altair as alt
import pandas as pd

from wqcheck.history_files.drawing import value_range
from wqcheck.history_files.phrases import figure, unit_of
from wqcheck.page.spoken import say
from wqcheck.page.words import EXCEEDING
from wqcheck.statistics.series_lines import SeriesLines
from wqcheck.tables import Judged

HEIGHT = 330
INK, SOFT, WARN, BAND = "#1d2b33", "#5a6f7a", "#a33a00", "#c9d6dc"
MARKS_SHRINK_FROM = 200


@dataclass(frozen=True, slots=True)
class Shown:
    """What is drawn beside results and limits."""

    control: bool = True
    trend: bool = True
    averages: bool = False


def series_chart(
    lines: SeriesLines, shown: Shown, batches: pd.DataFrame | None = None
) -> alt.LayerChart | alt.FacetChart:
    """Draw a series with at least one result: dots detected, open rings on a bar down to nothing not detected.

    ``batches`` says by sampling time of which ``batch`` the results are, and whether it is ``gone``.
    """
    low, high = value_range(lines)
    value = alt.Y(
        "value:Q", title=unit_of(lines) or None, scale=alt.Scale(domain=[low, high], clamp=True, nice=False),
        axis=alt.Axis(labelFontSize=12, titleFontSize=12, tickCount=6),
    )  # fmt: skip
    day = alt.X("day:T", title=None, axis=alt.Axis(labelFontSize=12, format="%Y-%m-%d", labelOverlap=True))
    layers = [*_forecast(lines, day, value, shown), *_levels(lines, value, shown, (low, high))]
    if shown.averages and len(lines.averages):
        layers.append(_averages(lines, day, value))
    rows = result_rows(lines)
    named = {} if batches is None else batches.to_dict("index")
    found = [named.get(pd.Timestamp(at), {"batch": "", "gone": False}) for at in rows["day"]]
    rows = rows.assign(batch=[one["batch"] for one in found], gone=[one["gone"] for one in found])
    layers += _results(rows, day, value)
    if shown.control:
        layers += _signals(lines, day, value)
    return alt.layer(*layers).properties(height=HEIGHT)


def result_rows(lines: SeriesLines) -> pd.DataFrame:
    """Give day, low, high, value (the upper end), whether it is a non-detect, and the result in words."""
    one = lines.history
    frame = pd.DataFrame(
        {"day": one.days, "low": one.low, "high": one.high, "verdict": list(map(say, one.verdicts.astype(str)))}
    ).assign(over=[verdict in EXCEEDING for verdict in one.verdicts])
    below = frame["low"].lt(frame["high"])
    words = frame["high"].map(lambda end: figure(end, 6))
    told = words.mask(below & frame["low"].le(0), "<" + words)
    told = told.mask(below & frame["low"].gt(0), frame["low"].map(lambda end: figure(end, 6)) + "–" + words)
    return frame.assign(value=frame["high"], below=below, result=told + " " + unit_of(lines))


def _results(rows: pd.DataFrame, day: alt.X, value: alt.Y) -> list[alt.Chart]:
    size = 45 if len(rows) <= MARKS_SHRINK_FROM else 18
    tips = [
        alt.Tooltip("day:T", title=say("Sampled"), format="%Y-%m-%d %H:%M"),
        alt.Tooltip("result:N", title=say("Result")),
        alt.Tooltip("verdict:N", title=say("Verdict")),
        alt.Tooltip("batch:N", title=say("Batch")),
    ]  # fmt: skip
    known, below = rows[rows["below"].eq(False)], rows[rows["below"]]
    bars = alt.Chart(below).mark_rule(color=SOFT, strokeWidth=1, aria=False).encode(x=day, y=value.copy(), y2="low:Q")
    rings = alt.Chart(below).mark_point(
        shape="circle", filled=True, fill="white", stroke=INK, size=size + 15, opacity=1
    )
    dots = alt.Chart(known).mark_point(shape="circle", filled=True, color=INK, size=size, opacity=1)
    not_detected = [bars, rings.encode(x=day, y=value, tooltip=tips)] if len(below) else []
    drawn = [*not_detected, *([dots.encode(x=day, y=value, tooltip=tips)] if len(known) else [])]
    return [*drawn, *_named(rows, day, value)]


def _named(rows: pd.DataFrame, day: alt.X, value: alt.Y) -> list[alt.Chart]:
    """Write the batch beside each result beyond the limit, and cross out what is of a rejected or withdrawn one."""
    over = rows[rows["over"] & rows["batch"].ne("")]
    gone = rows[rows["gone"]]
    layers = []
    if len(over):
        words = alt.Chart(over).mark_text(align="left", dx=8, fontSize=12, color=WARN)
        layers.append(words.encode(x=day, y=value, text="batch:N"))
    if len(gone):
        crosses = alt.Chart(gone).mark_point(shape="cross", filled=False, color=WARN, size=190, strokeWidth=2, angle=45)
        layers.append(crosses.encode(x=day, y=value))
    return layers


def _levels(lines: SeriesLines, value: alt.Y, shown: Shown, drawn: tuple[float, float]) -> list[alt.Chart]:
    """Draw limits and control lines with their names; what lies beyond the drawing is said below the chart."""
    named: list[dict[str, Any]] = []
    limit = lines.history.limit
    for name in (Judged.upper, Judged.lower):
        end = float(limit[name])
        if isfinite(end):
            named.append({"value": end, "name": say("limit {figure}", figure=figure(end, 6)), "kind": "limit"})
    if shown.control and lines.chart is not None:
        low, high = lines.chart.at_low, lines.chart.at_high
        named += [
            {"value": (low.centre + high.centre) / 2, "name": say("centre"), "kind": "centre"},
            {"value": max(low.upper, high.upper), "name": say("upper control limit"), "kind": "control"},
            {"value": min(low.lower, high.lower), "name": say("lower control limit"), "kind": "control"},
        ]
    rows = pd.DataFrame([one for one in named if drawn[0] <= one["value"] <= drawn[1]])
    layers = []
    styles: dict[str, tuple[str, float, list[int]]] = {
        "limit": (WARN, 2.5, [1, 0]), "centre": (SOFT, 1.2, [6, 3]), "control": (SOFT, 1.2, [2, 3]),
    }  # fmt: skip
    for kind, (ink, width, dashes) in styles.items():
        part = rows[rows["kind"].eq(kind)] if len(rows) else rows
        if len(part):
            base = alt.Chart(part).encode(y=value)
            layers.append(base.mark_rule(color=ink, strokeWidth=width, strokeDash=dashes))
            left = kind == "centre"
            text = base.mark_text(align="left" if left else "right", baseline="bottom", dx=4 if left else -4, dy=-2,
                                  fontSize=12, color=ink)  # fmt: skip
            layers.append(text.encode(x=alt.value(0 if left else "width"), text="name:N"))
    return layers


def _forecast(lines: SeriesLines, day: alt.X, value: alt.Y, shown: Shown) -> list[alt.Chart]:
    """Draw the Sen line from the first result to the horizon, and the lines of its interval as a band."""
    band = lines.band
    if not shown.trend or band.empty:
        return []
    area = alt.Chart(band.rename(columns={"high": "value"})).mark_area(color=BAND, opacity=0.7, clip=True)
    drawn = alt.Chart(lines.line(*value_range(lines))).mark_line(
        color=INK, strokeWidth=1.6, strokeDash=[9, 3, 2, 3], clip=True
    )
    return [area.encode(x=day, y=value, y2="low:Q"), drawn.encode(x=day, y=value)]


def _averages(lines: SeriesLines, day: alt.X, value: alt.Y) -> alt.Chart:
    rows = lines.averages.rename(columns={"high": "value"})
    rows = rows.assign(day=rows["quarter"] + pd.Timedelta(days=91), words=[
        f"{figure(low)} – {figure(high)} {unit_of(lines)}" for low, high in zip(rows["low"], rows["value"], strict=True)
    ])  # fmt: skip
    tips = [alt.Tooltip("day:T", title=say("Year to"), format="%Y-%m-%d"),
            alt.Tooltip("words:N", title=say("Running annual average"))]  # fmt: skip
    marks = alt.Chart(rows).mark_point(shape="square", filled=True, color=SOFT, size=110, opacity=1)
    drawn: alt.Chart = marks.encode(x=day, y=value, tooltip=tips)
    return drawn


def _signals(lines: SeriesLines, day: alt.X, value: alt.Y) -> list[alt.Chart]:
    """Ring the points at which a rule of the control chart is broken, with the rules named when pointed at."""
    if lines.chart is None or not lines.chart.broken:
        return []
    one = lines.history
    rows = pd.DataFrame([
        {"day": one.days[b.place], "value": one.high[b.place], "rule": f"{b.rule.number}: {say(b.rule.words)}"}
        for b in lines.chart.broken
    ])  # fmt: skip
    named = rows.groupby(["day", "value"])["rule"].agg("; ".join).reset_index()
    marks = alt.Chart(named).mark_point(shape="diamond", filled=False, color=INK, size=130, strokeWidth=1, opacity=1)
    tips = [alt.Tooltip("day:T", title=say("Sampled"), format="%Y-%m-%d"), alt.Tooltip("rule:N", title=say("Rule"))]
    return [marks.encode(x=day, y=value, tooltip=tips)]
