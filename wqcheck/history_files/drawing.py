"""Turns one series into an SVG drawing: results over time beside their limits, control lines, trend and forecast.

A non-detect is an open ring at its reporting limit on a bar down to nothing: its place in between is not known. Shapes
and dashes tell everything apart; no colour is needed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil, floor, isfinite, log10
from xml.sax.saxutils import escape

import numpy as np
import pandas as pd

from wqcheck.history_files.phrases import chart_words, figure, series_name, unit_of
from wqcheck.statistics.censored import Floats
from wqcheck.statistics.drift import LOGARITHMIC
from wqcheck.statistics.series_lines import SeriesLines
from wqcheck.tables import Judged

WIDTH, HEIGHT = 720, 205
_LEFT, _RIGHT, _TOP, _BOTTOM = 62, 132, 16, 30
_INK, _SOFT = "#1d2b33", "#5a6f7a"
LIMIT_WITHIN = 3.0
"""A limit is drawn where the drawing need not be more than so many times as high for it; else it is only written."""

Place = tuple[float, float]
LABELS_APART = 11
"""Least distance between two labels, in the units of the drawing."""


@dataclass(frozen=True, slots=True)
class Scale:
    """Where days (seconds since 1970) and figures of the series stand in the drawing."""

    first: float
    last: float
    low: float
    high: float

    def x(self, seconds: float) -> float:
        """Return the place of a moment."""
        return _LEFT + (WIDTH - _LEFT - _RIGHT) * (seconds - self.first) / (self.last - self.first)

    def y(self, value: float) -> float:
        """Return the place of a figure; one beyond the drawing stands at its edge."""
        share = (min(max(value, self.low), self.high) - self.low) / (self.high - self.low)
        return HEIGHT - _BOTTOM - (HEIGHT - _TOP - _BOTTOM) * share

    def holds(self, value: float) -> bool:
        """Tell whether a figure lies within the drawing."""
        return self.low <= value <= self.high


def series_svg(lines: SeriesLines) -> str:
    """Return the drawing of a series with at least one result as an SVG document with title and description."""
    one = lines.history
    title = series_name(one.limit[Judged.parameter], one.limit[Judged.point])
    body = "\n".join(_drawn(lines, scale_of(lines)))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}" '
        'role="img" font-family="Libertinus Serif, Helvetica, Arial, sans-serif">\n'
        f"<title>{escape(title)}</title>\n<desc>{escape(chart_words(lines))}</desc>\n"
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#ffffff"/>\n{body}\n</svg>\n'
    )


def scale_of(lines: SeriesLines) -> Scale:
    """Return the scale that holds all results, the forecast, and those limits that do not press them flat."""
    one = lines.history
    seconds = _seconds(one.days)
    last = max(float(seconds.max()), _seconds(lines.band["day"].to_numpy())[-1] if len(lines.band) else 0.0)
    first = float(seconds.min())
    low, high = value_range(lines)
    return Scale(first - 1, last + 1 if last > first else first + 86400, low, high)


def value_range(lines: SeriesLines) -> tuple[float, float]:
    """Return the ends of the figures that are drawn, in the unit of the series."""
    one = lines.history
    wanted = [float(one.low.min()), float(one.high.max())]
    if one.limit[Judged.parameter] not in LOGARITHMIC and wanted[0] >= 0:
        wanted[0] = 0.0
    middle = lines.band["middle"].to_numpy(dtype=np.float64)
    span = (wanted[1] - wanted[0]) or abs(wanted[1]) or 1.0
    ends = [float(one.limit[name]) for name in (Judged.lower, Judged.upper)]
    for value in [*ends, *middle.tolist()]:
        if isfinite(value) and max(wanted[1], value) - min(wanted[0], value) <= LIMIT_WITHIN * span:
            wanted = [min(wanted[0], value), max(wanted[1], value)]
    room = 0.06 * ((wanted[1] - wanted[0]) or span)
    return wanted[0] - (room if wanted[0] else 0.0), wanted[1] + room


def _drawn(lines: SeriesLines, scale: Scale) -> Iterator[str]:
    yield from _axes(lines, scale)
    yield from _forecast(lines, scale)
    yield from _levels(lines, scale)
    yield from _averages(lines, scale)
    yield from _points(lines, scale)


def _axes(lines: SeriesLines, scale: Scale) -> Iterator[str]:
    left, right, bottom = _LEFT, WIDTH - _RIGHT, HEIGHT - _BOTTOM
    for value in round_values(scale.low, scale.high):
        y = scale.y(value)
        yield _line((left, y), (right, y), _SOFT, 0.3)
        yield _text(left - 6, y + 4, figure(value), "end")
    for moment in months(scale.first, scale.last):
        x = scale.x(moment.timestamp())
        yield _line((x, bottom), (x, bottom + 4), _INK, 0.8)
        yield _text(x, bottom + 17, f"{moment:%Y-%m}", "middle")
    yield _line((left, bottom), (right, bottom), _INK, 0.8)
    yield _line((left, _TOP), (left, bottom), _INK, 0.8)
    yield _text(2, 11, unit_of(lines), "start")


def _levels(lines: SeriesLines, scale: Scale) -> Iterator[str]:
    """Draw limits and control lines, each with its name at the right, none over another."""
    named: list[tuple[float, str, float, str]] = []
    limit = lines.history.limit
    for end, word in ((Judged.upper, "limit"), (Judged.lower, "lower limit")):
        value = float(limit[end])
        if isfinite(value) and scale.holds(value):
            named.append((value, f"{word} {figure(value, 6)}", 2.2, ""))
        elif isfinite(value):
            beyond = "above" if value > scale.high else "below"
            yield _text(WIDTH - _RIGHT + 5, 11, f"limit {figure(value, 6)} lies {beyond}", "start")
    if lines.chart is not None:
        low, high = lines.chart.at_low, lines.chart.at_high
        named.append(((low.centre + high.centre) / 2, "centre", 0.9, "6 3"))
        named.append((max(low.upper, high.upper), "upper control limit", 0.9, "2 3"))
        named.append((min(low.lower, high.lower), "lower control limit", 0.9, "2 3"))
    taken = -99.0
    for value, words, width, dashes in sorted((n for n in named if scale.holds(n[0])), reverse=True):
        y = scale.y(value)
        yield _line((_LEFT, y), (WIDTH - _RIGHT, y), _INK, width, dashes)
        taken = max(y + 4, taken + LABELS_APART)
        yield _text(WIDTH - _RIGHT + 5, taken, words, "start")


def _forecast(lines: SeriesLines, scale: Scale) -> Iterator[str]:
    band = lines.band
    if band.empty:
        return
    xs = [scale.x(second) for second in _seconds(band["day"].to_numpy())]
    upper = [f"{x:.1f},{scale.y(v):.1f}" for x, v in zip(xs, band["high"], strict=True)]
    lower = [f"{x:.1f},{scale.y(v):.1f}" for x, v in zip(xs, band["low"], strict=True)]
    yield f'<polygon points="{" ".join([*upper, *reversed(lower)])}" fill="#d7dfe3" stroke="none"/>'
    line = lines.line(scale.low, scale.high)
    if len(line):
        at = [(scale.x(s), scale.y(v)) for s, v in zip(_seconds(line["day"].to_numpy()), line["value"], strict=True)]
        yield _line(at[0], at[-1], _INK, 1.2, "9 3 2 3")


def _averages(lines: SeriesLines, scale: Scale) -> Iterator[str]:
    for row in lines.averages.to_dict("records"):
        x = scale.x(pd.Timestamp(row["quarter"]).timestamp() + 91 * 86400)
        if x > WIDTH - _RIGHT:
            continue
        low, high = scale.y(row["low"]), scale.y(row["high"])
        yield f'<rect x="{x - 4:.1f}" y="{high - 1.5:.1f}" width="8" height="{low - high + 3:.1f}" fill="{_SOFT}"/>'


def _points(lines: SeriesLines, scale: Scale) -> Iterator[str]:
    one = lines.history
    radius = 3.2 if len(one.days) <= 150 else 2.0
    signalled = {broken.place for broken in lines.chart.broken} if lines.chart else set[int]()
    for place, (second, low, high) in enumerate(zip(_seconds(one.days), one.low, one.high, strict=True)):
        x, top = scale.x(float(second)), scale.y(float(high))
        if low < high:
            yield _line((x, scale.y(float(low))), (x, top + radius), _SOFT, 0.7)
            yield f'<circle cx="{x:.1f}" cy="{top:.1f}" r="{radius}" fill="#ffffff" stroke="{_INK}" stroke-width="1"/>'
        else:
            yield f'<circle cx="{x:.1f}" cy="{top:.1f}" r="{radius - 0.5}" fill="{_INK}"/>'
        if place in signalled:
            size = radius + 2.8
            yield (
                f'<path d="M{x:.1f} {top - size:.1f} L{x + size:.1f} {top:.1f} L{x:.1f} {top + size:.1f} '
                f'L{x - size:.1f} {top:.1f} Z" fill="none" stroke="{_INK}" stroke-width="0.9"/>'
            )


def round_values(low: float, high: float, about: int = 5) -> list[float]:
    """Return about five round figures between two ends."""
    rough = (high - low) / about
    power = 10.0 ** floor(log10(rough))
    step = next(power * part for part in (1, 2, 5, 10) if power * part >= rough)
    first, last = ceil(low / step - 1e-9), floor(high / step + 1e-9)
    return [round(number * step, 12) for number in range(first, last + 1)]


def months(first: float, last: float, most: int = 7) -> list[pd.Timestamp]:
    """Return the first days of months between two moments (seconds since 1970), at most so many."""
    days = [pd.Timestamp(moment, unit="s") for moment in (first, last)]
    found = pd.date_range(days[0].normalize(), days[1], freq="MS")
    step = next(step for step in (1, 2, 3, 6, 12, 24, 60, 120, 600) if len(found) <= most * step)
    kept = [moment for moment in found if (12 * moment.year + moment.month - 1) % step == 0]
    return kept or [days[0].normalize() + pd.Timedelta(days=1)]


def _seconds(days: object) -> Floats:
    return np.asarray(days).astype("datetime64[s]").astype(np.float64)


def _line(begin: Place, end: Place, ink: str, width: float, dashes: str = "") -> str:
    (x1, y1), (x2, y2) = begin, end
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return (
        f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{ink}" stroke-width="{width}"{dashed}/>'
    )


def _text(x: float, y: float, words: str, anchor: str) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" font-size="11.5" text-anchor="{anchor}" fill="{_INK}">{escape(words)}</text>'
