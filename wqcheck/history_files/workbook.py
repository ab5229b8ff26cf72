"""Turns the data of a period's summary into a workbook with native charts, in which nothing given acts as a formula."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from io import BytesIO
from typing import Any

from openpyxl import Workbook
from openpyxl.chart import Reference, ScatterChart, Series
from openpyxl.worksheet.pagebreak import Break
from openpyxl.worksheet.worksheet import Worksheet

from wqcheck.certificate_files.sheet_cells import add_sheet, set_up_print
from wqcheck.certificate_files.workbook import steady

_SHEETS: dict[str, tuple[str, dict[str, tuple[str, int]]]] = {
    "Batches": ("batches", {
        "Day": ("day", 12), "Batch": ("batch", 16), "Water": ("product", 16), "Product": ("product_name", 28),
        "State": ("state", 14), "Recommended": ("recommended", 14), "Against the advice": ("against_advice", 12),
        "Decided": ("at", 26), "By": ("person", 16), "Reason": ("reason", 40), "Documents in force": ("documents", 28),
    }),
    "Comparisons": ("comparisons", {
        "Asks for": ("attention", 34), "Parameter": ("name", 26), "Point": ("point", 12), "Limit": ("limit", 24),
        "Class": ("class", 16), "Limit table": ("table", 24), "Clause": ("clause", 20), "Results": ("n", 9),
        "Meet it": ("passed", 9), "Beyond it": ("failed", 9), "Cannot be told": ("undetermined", 9),
        "Share that meets it, at least": ("share_low", 12), "at most": ("share_high", 12),
        "Drift": ("drift", 24), "Trend": ("trend", 44), "Forecast of meeting the limit": ("forecast", 36),
        "p (Mann-Kendall)": ("p", 12), "Sen slope a year, low": ("slope_low", 12), "high": ("slope_high", 12),
        "95 % interval, low": ("interval_low", 12), "interval, high": ("interval_high", 12), "Unit": ("unit", 14),
        "Control chart rules broken in the period": ("rules", 60), "Why": ("drift_reason", 60),
    }),
    "Statistics": ("statistics", {
        "Parameter": ("name", 26), "Point": ("point", 12), "Fraction": ("fraction", 10), "Unit": ("unit", 14),
        "Results": ("n", 9), "Detected": ("detects", 9), "Not detected": ("non_detects", 9),
        "Known in part": ("partly_known", 9), "Not usable": ("unusable", 9), "Undated": ("undated", 9),
        "First": ("first", 12), "Last": ("last", 12), "Least": ("least", 12), "Median": ("median", 12),
        "Median, low": ("median_low", 12), "Median, high": ("median_high", 12), "Greatest": ("greatest", 12),
        "Mean": ("mean", 12), "Mean, low": ("mean_low", 12), "Mean, high": ("mean_high", 12),
        "95th percentile": ("percentile_95", 12), "95th percentile, low": ("percentile_95_low", 12),
        "95th percentile, high": ("percentile_95_high", 12), "Beware": ("reason", 60),
    }),
    "Rules on series": ("rules", {
        "Verdict": ("verdict", 14), "Parameter": ("name", 26), "Point": ("point", 12), "Rule": ("statistic", 26),
        "Period": ("period", 28), "Figure": ("figure", 24), "Figure, low": ("low", 12), "Figure, high": ("high", 12),
        "At most": ("upper", 12), "Unit": ("unit", 14), "Results": ("n", 9), "Not detected": ("non_detects", 9),
        "Unknown": ("unknown", 9), "Limit table": ("table", 24), "Clause": ("clause", 20), "Why": ("reason", 60),
    }),
    "Series without a limit": ("unlimited", {
        "Parameter": ("name", 26), "Point": ("point", 12), "Results": ("n", 9), "Not detected": ("non_detects", 9),
        "Unit": ("unit", 14), "Trend": ("trend", 44), "p (Mann-Kendall)": ("p", 12),
        "Control chart rules broken in the period": ("rules", 60), "Why": ("reason", 60),
    }),
}  # fmt: skip
"""Sheet → key of the data, and heading → key of the row and width."""

_POINTS = {"Series": 28, "Day": 18, "Detected": 12, "Not detected: below": 12, "At least": 12, "Lower limit": 12,
           "Upper limit": 12, "Lower control limit": 12, "Centre": 12, "Upper control limit": 12, "Unit": 14,
           "Verdict": 16}  # fmt: skip
_DRAWN = {"Detected": 3, "Not detected: below": 4, "Lower limit": 6, "Upper limit": 7, "Centre": 9}
"""Column of the sheet of points → its number, for the lines of a chart."""

_CHART_ROWS, _CHARTS_ON_A_PAGE = 17, 2
_INK = "1D2B33"


def workbook_bytes(data: Mapping[str, Any], moment: datetime) -> bytes:
    """Write the sheets of a summary; the same data give the same bytes.

    Parameters
    ----------
    data : Mapping
        As :func:`wqcheck.history_files.data.report_data` gives it.
    moment : datetime
        When it was issued, with a time zone.
    """
    book = Workbook()
    del book["Sheet"]
    first = add_sheet(book, "Summary", {"Entry": 44, "Content": 100}, _entries(data))
    for line in range(2, first.max_row + 1):
        first.row_dimensions[line].height = 15 * (1 + len(str(first.cell(line, 2).value)) // 100)
    for title, (key, columns) in _SHEETS.items():
        rows = data["batches"]["list"] if key == "batches" else data[key]
        widths = {heading: width for heading, (_, width) in columns.items()}
        add_sheet(book, title, widths, ([_cell(row[name]) for name, _ in columns.values()] for row in rows))
    _add_charts(book, data["charts"])
    add_sheet(book, "Files", {"File": 40, "Title": 50, "SHA-256": 70},
              ([one["name"], one["title"], one["sha256"]] for one in data["files"]))  # fmt: skip
    set_up_print(book)
    book["Charts"].page_setup.orientation = "portrait"
    buffer = BytesIO()
    book.save(buffer)
    return steady(buffer.getvalue(), moment)


def _entries(data: Mapping[str, Any]) -> Iterator[tuple[str, str | int | float]]:
    batches, counts = data["batches"], data["counts"]
    yield from (("Number", data["number"]), ("Issued", data["issued_at"]), ("Plant", data["plant"]),
                ("Period", data["period"]["words"]), ("Batches", batches["total"]))  # fmt: skip
    yield from ((f"Batches {state}", number) for state, number in batches["by_state"].items())
    yield from ((f"Batches recommended: {word}", number) for word, number in batches["by_recommendation"].items())
    yield from (("Decided against the advice", batches["against_advice"]), ("Results", counts["results"]),
                ("Series", counts["series"]), ("Series and limits compared", counts["comparisons"]))  # fmt: skip
    yield from ((f"Series and limits: {word}", number) for word, number in counts["attention"].items())
    yield "Tested for a trend", counts["tested"]
    yield "of these seemingly so by chance, about", counts["by_chance"]
    for entry, key in (("Left out", "left_out"), ("Caution", "cautions"), ("Source", "sources")):
        yield from ((entry, text) for text in data[key])
    yield "Software", data["software"]


def _add_charts(book: Workbook, charts: Sequence[Mapping[str, Any]]) -> None:
    """Add a sheet with the points of each series that is drawn, and one with a native chart of each."""
    drawn = add_sheet(book, "Charts", {"Native charts of the series that ask for attention, or were chosen": 110}, [])
    points = add_sheet(book, "Chart points", _POINTS, (row for chart in charts for row in _points(chart)))
    points.auto_filter.ref = points.dimensions
    for row in points.iter_rows(min_row=2, min_col=2, max_col=2):
        row[0].number_format = "yyyy-mm-dd hh:mm"
    first = 2
    for place, chart in enumerate(charts):
        last = first + len(chart["points"]) - 1
        drawn.add_chart(_native(points, chart, first, last), f"A{3 + place * _CHART_ROWS}")
        first = last + 1
        if place % _CHARTS_ON_A_PAGE == _CHARTS_ON_A_PAGE - 1:
            drawn.row_breaks.append(Break(id=2 + (place + 1) * _CHART_ROWS))


def _points(chart: Mapping[str, Any]) -> Iterator[list[Any]]:
    control = chart["control"] or {"lower": [None, None], "centre": [None, None], "upper": [None, None]}
    ends = (control["lower"][0], control["centre"][1], control["upper"][1])
    low, centre, high = (None if end is None else float(f"{end:.6g}") for end in ends)
    for point in chart["points"]:
        below = point["low"] < point["high"]
        yield [
            chart["title"], _serial(point["at"]), None if below else point["high"], point["high"] if below else None,
            point["low"] if below else None, chart["lower"], chart["upper"], low, centre, high, chart["unit"],
            point["verdict"],
        ]  # fmt: skip


def _native(points: Worksheet, chart: Mapping[str, Any], first: int, last: int) -> ScatterChart:
    """Return a chart of the rows of one series: dots where detected, crosses at the reporting limit where not."""
    drawn = ScatterChart()
    drawn.title = f"{chart['title']}; {chart['limit'] or 'no limit'}"
    drawn.style, drawn.height, drawn.width = 13, 8, 19
    drawn.x_axis.number_format, drawn.x_axis.title = "yyyy-mm", "day of sampling"
    drawn.y_axis.title = chart["unit"]
    drawn.x_axis.delete = drawn.y_axis.delete = False
    days = Reference(points, min_col=2, min_row=first, max_row=last)
    for name, column in _DRAWN.items():
        if all(points.cell(row, column).value is None for row in range(first, last + 1)):
            continue
        series = Series(Reference(points, min_col=column, min_row=first, max_row=last), days, title=name)
        symbol = {"Detected": "circle", "Not detected: below": "x"}.get(name, "none")
        series.marker.symbol = symbol
        line = series.graphicalProperties.line
        if symbol == "none":
            line.solidFill, line.width = _INK, 28575 if "limit" in name else 12700
            line.dashStyle = "dash" if name == "Centre" else "solid"
        else:
            line.noFill, series.marker.size = True, 6
            series.marker.graphicalProperties.solidFill = series.marker.graphicalProperties.line.solidFill = _INK
        drawn.series.append(series)
    return drawn


def _serial(at: str) -> float:
    """Return a moment as spreadsheets count it: days since 30 December 1899."""
    return (datetime.fromisoformat(at) - datetime(1899, 12, 30)).total_seconds() / 86400


def _cell(value: Any) -> Any:
    return ("yes" if value else "no") if isinstance(value, bool) else value
