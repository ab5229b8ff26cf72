"""Turns the figures of series into the short phrases that stand in the columns of a summary and beside a chart."""

from __future__ import annotations

from collections.abc import Mapping
from math import inf, isfinite, isnan
from typing import Any

import pandas as pd

from wqcheck.certificate.figures import limit_text, unit_text
from wqcheck.certificate.lines import finite, parameter_name, plain_text
from wqcheck.history_files.comparisons import SERIES_RULES
from wqcheck.languages.catalogues import ENGLISH, Catalogue
from wqcheck.statistics.drift import SIGNIFICANT
from wqcheck.statistics.series_lines import SeriesLines
from wqcheck.tables import Judged

DASH = "–"
Row = Mapping[Any, Any]


def figure(value: float, digits: int = 3) -> str:
    """Write a number with a few significant digits and without an exponent where that stays readable."""
    text = f"{value:.{digits}g}"
    return f"{float(text):,.0f}".replace(",", " ") if "e+" in text and abs(value) < 1e9 else text.replace("-", "−")


def ends(low: float, high: float, unit: str = "") -> str:
    """Write what lies between two ends: ``3.2``, ``0 to 5``, ``at least 3``; a dash where it is not known."""
    if isnan(low) or isnan(high):
        return DASH
    if figure(low) == figure(high):
        text = figure(low)
    else:
        text = f"at least {figure(low)}" if high == inf else f"{figure(low)} to {figure(high)}"
    return f"{text} {unit}".strip()


def series_name(parameter: object, point: object) -> str:
    """Name a series: ``Lead at FP``."""
    where = plain_text(point)
    name = parameter_name(plain_text(parameter))
    return f"{name} at {where}" if where else f"{name}, no point stated"


def limit_words(row: Row) -> str:
    """Write the limit of a comparison (rule, lower, upper, unit, basis)."""
    unit = unit_text(plain_text(row["unit"]), plain_text(row["basis"]))
    return limit_text(plain_text(row["rule"]), finite(row["lower"]), finite(row["upper"]), unit)


def share_words(row: Row) -> str:
    """Write how many results meet a limit: ``51 of 52 (98.1 %)``; under a rule on the series its verdict."""
    if row["rule"] in SERIES_RULES:
        verdict = plain_text(row["rule_verdict"]) or "not judged"
        return f"{verdict}, {plain_text(row['rule_figure'])}".rstrip(", ")
    n, passed, failed, open_ = (int(row[name]) for name in ("n", "passed", "failed", "undetermined"))
    share = f"{100 * passed / n:.3g} %" if passed in (0, n) or not open_ + failed else f"{_below(passed, n)} %"
    words = f"{passed} of {n} ({share})"
    words += f"; {failed} beyond it" if failed else ""
    return words + (f"; {open_} cannot be told" if open_ else "")


def _below(passed: int, n: int) -> str:
    """Write a share below 100 % that rounding does not turn into 100 %."""
    return f"{min(100 * passed / n, 99.9):.1f}"


def trend_words(row: Row, say: Catalogue = ENGLISH) -> str:
    """Write the trend of a flag: slope a year with its interval and the probability of the test."""
    p, unit = float(row["p"]), _unit_of(row)
    if isnan(p):
        return say("not tested")
    said = "p < 0.001" if p < 0.001 else f"p = {p:.2g}"
    if p >= SIGNIFICANT:
        return say("none shown ({chance})", chance=said)
    ends = [figure(end) for name in ("interval_low", "interval_high") if isfinite(end := float(str(row[name])))]
    known = len(ends) == 2
    interval = say("95 %: {low} to {high}", low=ends[0], high=ends[1]) if known else say("95 % interval not known")
    slope = _signed(float(row["slope_low"]), float(row["slope_high"]), say)
    return say("{slope} {unit} a year ({interval}; {chance})", slope=slope, unit=unit, interval=interval, chance=said)


def forecast_words(row: Row, say: Catalogue = ENGLISH) -> str:
    """Write when the Sen line meets the limit; a dash without a significant trend that comes to it."""
    met = row["crossing"]
    if not float(row["p"]) < SIGNIFICANT or pd.isna(met):
        return DASH
    days = [DASH if pd.isna(day) else say.day(day.date()) for day in (row["crossing_earliest"], met)]
    latest = row["crossing_latest"]
    if pd.isna(latest):
        return say("about {day} (95 %: {first} or later)", day=days[1], first=days[0])
    return say("about {day} (95 %: {first} to {last})", day=days[1], first=days[0], last=say.day(latest.date()))


def chart_words(lines: SeriesLines, say: Catalogue = ENGLISH) -> str:
    """Say in words what a chart shows, for those who do not see it."""
    one = lines.history
    below = int((one.low < one.high).sum())
    days = {"first": _day(one.days[0]), "last": _day(one.days[-1])}
    told = [say("{number} results from {first} to {last}", number=len(one.days), **days)]
    told += [say("{number} of them not detected or known as a range", number=below)] if below else []
    reach = {"low": figure(float(one.low.min())), "high": figure(float(one.high.max()))}
    told.append(say("from {low} to {high} {unit}", unit=unit_of(lines), **reach).strip())
    told.append(say("limit: {limit}", limit=limit_of(lines) or say("none")))
    if lines.chart is not None:
        broken = sorted({b.rule.number for b in lines.chart.broken})
        numbers = ", ".join(map(str, broken)) or say("none")
        told.append(say("control chart rules broken: {numbers}", numbers=numbers))
    told.append(say("a significant trend" if lines.significant else "no significant trend"))
    return "; ".join(told)


def unit_of(lines: SeriesLines) -> str:
    """Write the unit of a series as printed."""
    return unit_text(lines.unit, plain_text(lines.history.limit.get(Judged.limit_basis)))


def limit_of(lines: SeriesLines) -> str:
    """Write the limit of a series as printed; blank where there is none."""
    limit = lines.history.limit
    if not limit[Judged.table]:
        return ""
    low, high = finite(limit[Judged.lower]), finite(limit[Judged.upper])
    return limit_text(plain_text(limit[Judged.rule]), low, high, unit_of(lines))


def _unit_of(row: Row) -> str:
    return unit_text(plain_text(row["unit"]), plain_text(row.get("basis")))


def _signed(low: float, high: float, say: Catalogue) -> str:
    texts = [f"+{figure(end)}" if end > 0 else figure(end) for end in (low, high)]
    return texts[0] if texts[0] == texts[1] else say("{low} to {high}", low=texts[0], high=texts[1])


def _day(moment: Any) -> str:
    return str(moment)[:10]
