"""Turns the ``wqcheck series`` command into calls of the library."""

from __future__ import annotations

from math import isnan
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from wqcheck.commands.exit_codes import NOT_CHECKED
from wqcheck.commands.layout import LayoutsFolder, layouts_folder
from wqcheck.commands.terminal import AsJson, print_table, say
from wqcheck.errors import WqcheckError

if TYPE_CHECKING:
    import pandas as pd

    from wqcheck.statistics.series_rules import NonDetects

SHOWN = [
    *("parameter", "point", "fraction", "unit", "n", "detects", "non_detects", "first", "last", "least", "greatest"),
    *("mean", "median", "percentile_95", "running_annual_average", "quarters", "percentile_90"),
]
"""Columns of the table on a terminal; the CSV file and the JSON hold all."""

BOUNDED = ("mean", "median", "percentile_95")
"""Figures that are shown with their bounds."""

LEGEND = (
    "Mean, median and 95th percentile: Kaplan-Meier estimate [with non-detects as nothing, as their limit]. "
    "The 90th percentile counts as 40 CFR 141.80(c)(3) does."
)

series_app = typer.Typer()


@series_app.command("series")
def print_series(
    books: Annotated[list[Path], typer.Argument(help="Workbooks or CSV files as the laboratory sent them.")],
    parameter: Annotated[str, typer.Option(help="Only this parameter: a code, or a name as in a sheet.")] = "",
    point: Annotated[str, typer.Option(help="Only this sampling point.")] = "",
    non_detects: Annotated[
        str, typer.Option(help="What one counts as in running averages and 90th percentiles: zero, half or limit.")
    ] = "zero",
    out: Annotated[Path | None, typer.Option(help="CSV file for the table with all columns.")] = None,
    layouts: LayoutsFolder = None,
    as_json: AsJson = False,
) -> None:
    """Give statistics over time per parameter and point, with bounds where there are non-detects."""
    from wqcheck.batch import take_in
    from wqcheck.statistics.series import statistics_by_point
    from wqcheck.statistics.series_units import results_of

    convention = _convention(non_detects)
    taken = take_in(books, layouts_folder(layouts))
    table = statistics_by_point(results_of(taken.readings, parameter, point), convention)
    say(taken.findings)
    if out is not None:
        table.to_csv(out, index=False)
    if as_json:
        typer.echo(table.to_json(orient="records", date_format="iso", force_ascii=False, indent=2))
    else:
        _print(table)
    if table.empty:
        typer.echo("no result is of that parameter and point", err=True)
        raise typer.Exit(NOT_CHECKED)


def _convention(text: str) -> NonDetects:
    from wqcheck.statistics.series_rules import NonDetects

    try:
        return NonDetects(text)
    except ValueError:
        words = ", ".join(NonDetects)
        raise WqcheckError(f"--non-detects takes one of {words} (given: {text!r})") from None


def _print(table: pd.DataFrame) -> None:
    """Print the table with the bounds of a figure behind it, then the reasons."""
    shown = table[SHOWN].copy()
    for day in ("first", "last"):
        shown[day] = shown[day].dt.strftime("%Y-%m-%d")
    for name in BOUNDED:
        shown[name] = [
            _figure(*ends) for ends in zip(table[name], table[f"{name}_low"], table[f"{name}_high"], strict=True)
        ]
    print_table(shown.dropna(axis="columns", how="all"))
    for row in table[table["reason"].ne("")].to_dict("records"):
        at = f" at {row['point']}" if row["point"] == row["point"] and row["point"] else ""
        typer.echo(f"  {row['parameter']}{at}: {row['reason']}")
    typer.echo(LEGEND)


def _figure(value: float, low: float, high: float) -> str:
    """Return ``0.21 [0.05, 0.24]``, no brackets when the ends agree, and a dash where there is no estimate."""
    if isnan(low) or isnan(high):
        return ""
    estimate = "–" if isnan(value) else f"{value:.4g}"
    return estimate if low == high else f"{estimate} [{low:.4g}, {high:.4g}]"
