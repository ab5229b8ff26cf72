"""Turns the summary of a period into plain data that its JSON, its PDF and its workbook are made from."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
import pandas as pd

from wqcheck import __version__
from wqcheck.certificate.figures import unit_text
from wqcheck.certificate.lines import finite, parameter_name, plain_text
from wqcheck.history_files.comparisons import ATTENTION
from wqcheck.history_files.drawing import series_svg
from wqcheck.history_files.gathering import LOOK_BACK, PeriodSummary
from wqcheck.history_files.phrases import (
    DASH,
    Row,
    chart_words,
    ends,
    forecast_words,
    limit_of,
    limit_words,
    series_name,
    share_words,
    trend_words,
    unit_of,
)
from wqcheck.release.decision import CAUTION
from wqcheck.statistics.drift import HORIZON_DAYS, SIGNIFICANT
from wqcheck.statistics.series_lines import SeriesLines
from wqcheck.tables import Judged

SCHEMA = "wqcheck period summary 1"

CAUTIONS = (
    CAUTION,
    "A trend or a forecast is a figure of the past: it does not say what will happen. A forecast day tells when to "
    "look, not how long the water may be used.",
    "A control-chart rule that is broken asks to look at the series; it is no exceedance, and a chart without one is "
    "no proof of compliance.",
    "Seasons, another laboratory or method, and another sampling plan can look like a trend.",
    "Where results are few or mostly non-detects, a trend can be there and not be shown.",
)

SOURCES = (
    "Mean, median and 95th percentile with non-detects: Kaplan-Meier estimate, and its bounds with non-detects as "
    "nothing and as their limit: Helsel (2012), Statistics for Censored Environmental Data, 2nd ed.",
    "Trend: Mann-Kendall test, Gilbert (1987), Statistical Methods for Environmental Pollution Monitoring, 16.4; below "
    "the highest reporting limit all is one tie: Helsel et al. (2020), USGS Techniques and Methods 4-A3, chapter 12 "
    "(from memory)",
    "Slope and its 95 % interval: Sen (1968), J. Am. Stat. Assoc. 63, 1379–1389; Gilbert (1987), 16.5",
    "Forecast: the Sen line and the lines of its interval, drawn on; our own use of them, no source",
    "Control chart: individuals and moving range, NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2",
    "Rules of the chart: Nelson (1984), J. Qual. Technol. 16, 237–239, and ISO 8258:1991, taken over by ISO 7870-2 "
    "(from memory)",
    "Running annual average: 40 CFR 141.133(b)(1)(i); fewer than four quarters: 141.133(a)(3)",
    "90th percentile of lead and copper: 40 CFR 141.80(c)(3)",
    f"A trend counts below p = {SIGNIFICANT:g}, and a forecast within {HORIZON_DAYS} days (common practice, no source)",
)

_STATISTICS = (
    "parameter", "point", "fraction", "unit", "n", "detects", "non_detects", "partly_known", "unusable", "first",
    "last", "undated", "least", "greatest", "mean", "mean_low", "mean_high", "median", "median_low", "median_high",
    "percentile_95", "percentile_95_low", "percentile_95_high", "running_annual_average", "quarters", "percentile_90",
    "reason",
)  # fmt: skip


def report_data(summary: PeriodSummary, *, number: str, issued_at: str, plant: str = "") -> dict[str, Any]:
    """Return a summary as plain data: texts, numbers, ``None``, lists and dictionaries only.

    Parameters
    ----------
    summary : PeriodSummary
    number, issued_at : str
        Number of the document, and its ISO date and time.
    plant : str
        Name of the plant; that of most of the batches by default.
    """
    comparisons = [_comparison(row) for row in summary.comparisons.to_dict("records")]
    tested = int(summary.comparisons["p"].notna().sum() + summary.unlimited["p"].notna().sum())
    return {
        "schema": SCHEMA,
        "number": number,
        "issued_at": issued_at,
        "plant": plant or _plant(summary.batches),
        "period": {"since": summary.period.since.isoformat(), "until": summary.period.until.isoformat(),
                   "words": summary.period.words},
        "batches": _batches(summary.batches),
        "counts": {
            "series": len(summary.statistics), "results": int(summary.statistics["n"].sum()),
            "comparisons": len(comparisons), "tested": tested, "by_chance": round(tested * SIGNIFICANT, 1),
            "attention": {word: sum(word in one["attention"].split("; ") for one in comparisons) for word in ATTENTION},
        },
        "comparisons": comparisons,
        "rules": [_rule(row) for row in summary.rules.to_dict("records")],
        "statistics": [_statistic(row) for row in summary.statistics.to_dict("records")],
        "unlimited": [_unlimited(row) for row in summary.unlimited.to_dict("records")],
        "charts": [_chart(lines) for lines in summary.charts],
        "not_drawn": summary.not_drawn,
        "left_out": list(summary.left_out),
        "looks_back_days": LOOK_BACK.days,
        "cautions": list(CAUTIONS),
        "sources": list(SOURCES),
        "files": [_plain_row(row, ("name", "title", "sha256")) for row in summary.tables.to_dict("records")],
        "software": f"wqcheck {__version__}",
    }  # fmt: skip


def _plant(batches: pd.DataFrame) -> str:
    named = batches.loc[batches["plant"].ne(""), "plant"].mode()
    return str(named.iloc[0]) if len(named) else ""


def _batches(batches: pd.DataFrame) -> dict[str, Any]:
    columns = ("batch", "day", "product", "product_name", "state", "at", "person", "reason", "recommended", "documents")
    listed = [
        _plain_row(row, columns) | {"against_advice": bool(row["override"])} for row in batches.to_dict("records")
    ]
    return {
        "total": len(listed),
        "by_state": _counts(batches["state"]),
        "by_recommendation": _counts(batches["recommended"]),
        "against_advice": sum(one["against_advice"] for one in listed),
        "list": listed,
    }


def _counts(words: pd.Series[str]) -> dict[str, int]:
    return {str(word): int(number) for word, number in words.value_counts(sort=False).items()}


def _comparison(row: Row) -> dict[str, Any]:
    numbers = ("lower", "upper", "share_low", "share_high", "p", "slope_low", "slope_high", "interval_low",
               "interval_high")  # fmt: skip
    texts = ("parameter", "point", "table", "clause", "class", "rule", "basis", "rules", "drift", "drift_reason",
             "rule_verdict", "rule_figure", "attention")  # fmt: skip
    return (
        _named(row)
        | {name: plain_text(row[name]) for name in texts}
        | {name: finite(row[name]) for name in numbers}
        | {name: _day(row[name]) for name in ("crossing_earliest", "crossing", "crossing_latest")}
        | {name: int(row[name]) for name in ("limit_line", "n", "passed", "failed", "undetermined", "grade")}
        | {"unit": unit_text(plain_text(row["unit"]), plain_text(row["basis"])), "limit": limit_words(row),
           "share": share_words(row), "trend": trend_words(row), "forecast": forecast_words(row)}
    )  # fmt: skip


def _rule(row: Row) -> dict[str, Any]:
    texts = ("parameter", "point", "table", "statistic", "period", "unit", "clause", "class", "verdict", "reason")
    share = plain_text(row["statistic"]).startswith("share")
    return (
        _named(row)
        | {name: plain_text(row[name]) for name in texts}
        | {name: finite(row[name]) for name in ("low", "high", "upper")}
        | {name: int(row[name]) for name in ("n", "non_detects", "unknown")}
        | {"figure": ends(float(row["low"]), float(row["high"]), "" if share else plain_text(row["unit"]))}
    )


def _statistic(row: Row) -> dict[str, Any]:
    plain = _plain_row(row, _STATISTICS)
    return plain | _named(row) | {
        "median_shown": _estimate(row, "median"), "mean_shown": _estimate(row, "mean"),
        "percentile_95_shown": _estimate(row, "percentile_95"),
    }  # fmt: skip


def _estimate(row: Row, name: str) -> str:
    """Write an estimate, else the bounds between which the figure lies."""
    value = float(row[name])
    if not np.isnan(value):
        return ends(value, value)
    low, high = float(row[f"{name}_low"]), float(row[f"{name}_high"])
    return f"<{ends(high, high)}" if low == 0 and np.isfinite(high) and high > 0 else ends(low, high)


def _unlimited(row: Row) -> dict[str, Any]:
    numbers = ("p", "slope_low", "slope_high", "interval_low", "interval_high")
    return (
        _named(row)
        | {name: plain_text(row[name]) for name in ("parameter", "point", "unit", "rules", "reason")}
        | {name: finite(row[name]) for name in numbers}
        | {"n": int(row["n"]), "non_detects": int(row["non_detects"]), "trend": trend_words(row)}
    )


def _chart(lines: SeriesLines) -> dict[str, Any]:
    one, chart = lines.history, lines.chart
    signals = [{"day": str(one.days[b.place])[:10], "rule": b.rule.number, "words": b.rule.words, "side": b.side}
               for b in (chart.broken if chart else ())]  # fmt: skip
    return {
        "title": series_name(one.limit[Judged.parameter], one.limit[Judged.point]),
        "table": plain_text(one.limit[Judged.table]),
        "limit": limit_of(lines),
        "unit": unit_of(lines),
        "lower": finite(one.limit[Judged.lower]),
        "upper": finite(one.limit[Judged.upper]),
        "alt": chart_words(lines),
        "svg": series_svg(lines),
        "points": [{"at": str(day), "low": float(low), "high": float(high), "verdict": str(verdict)}
                   for day, low, high, verdict in zip(one.days, one.low, one.high, one.verdicts, strict=True)],
        "control": None if chart is None else {
            "centre": [chart.at_low.centre, chart.at_high.centre],
            "lower": [chart.at_low.lower, chart.at_high.lower],
            "upper": [chart.at_low.upper, chart.at_high.upper],
        },
        "signals": signals,
        "forecast": [{"day": str(row["day"])[:10], **{name: finite(row[name]) for name in ("middle", "low", "high")}}
                     for row in lines.band.to_dict("records")],
        "running_annual_averages": [{"quarter": str(row["quarter"])[:7], "low": finite(row["low"]),
                                     "high": finite(row["high"])} for row in lines.averages.to_dict("records")],
    }  # fmt: skip


def _named(row: Row) -> dict[str, str]:
    return {"name": parameter_name(plain_text(row["parameter"])), "point": plain_text(row["point"]) or DASH}


def _plain_row(row: Row, columns: Iterable[str]) -> dict[str, Any]:
    return {name: _plain(row[name]) for name in columns}


def _plain(value: Any) -> Any:
    if isinstance(value, pd.Timestamp):
        return _day(value)
    if isinstance(value, int | float | np.integer | np.floating):
        number = finite(value)
        return int(number) if number is not None and isinstance(value, int | np.integer) else number
    return plain_text(value)


def _day(value: Any) -> str:
    return "" if pd.isna(value) else f"{value:%Y-%m-%d}"


def attention_of(data: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return the comparisons that ask for attention, what weighs most first."""
    return [one for one in data["comparisons"] if one["grade"] < len(ATTENTION)]
