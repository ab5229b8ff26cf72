"""Turns the ``wqcheck series`` command into calls of the library."""

from __future__ import annotations

from dataclasses import replace
from math import inf, isnan
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from wqcheck.commands.exit_codes import CHECKED_NOT_RELEASED, NOT_CHECKED
from wqcheck.commands.layout import LayoutsFolder, layouts_folder
from wqcheck.commands.terminal import AsJson, day_of, print_table, say
from wqcheck.errors import WqcheckError

if TYPE_CHECKING:
    import pandas as pd

    from wqcheck.batch import Taken
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

JUDGED_LEGEND = (
    "A figure lies between its ends: non-detects count as nothing and as their limit, and a verdict holds for both; "
    "with --non-detects they count as asked. A result that says nothing counts as anything from nothing upward."
)

series_app = typer.Typer()


@series_app.command("series")
def print_series(
    books: Annotated[list[Path], typer.Argument(help="Workbooks or CSV files as the laboratory sent them.")],
    parameter: Annotated[str, typer.Option(help="Only this parameter: a code, or a name as in a sheet.")] = "",
    point: Annotated[str, typer.Option(help="Only this sampling point.")] = "",
    non_detects: Annotated[
        str, typer.Option(help="What one counts as: zero, half or limit. Verdicts hold for zero and limit by default.")
    ] = "",
    limits: Annotated[
        list[str] | None, typer.Option("--limits", help="Judge the series by this table; give it several times.")
    ] = None,
    product: Annotated[str, typer.Option(help="Kind of water, with --limits.")] = "packaged",
    train: Annotated[
        Path | None, typer.Option(help="Train file (TOML), with --limits: only its product points are judged.")
    ] = None,
    on: Annotated[
        str, typer.Option(help="Day taken for undated results, 2026-03-31, with --limits; today by default.")
    ] = "",
    out: Annotated[Path | None, typer.Option(help="CSV file for the table with all columns.")] = None,
    layouts: LayoutsFolder = None,
    as_json: AsJson = False,
) -> None:
    """Give statistics over time per parameter and point, or with --limits the verdicts on each series."""
    from wqcheck.statistics.series import statistics_by_point
    from wqcheck.statistics.series_rules import NonDetects
    from wqcheck.statistics.series_units import results_of

    convention = _convention(non_detects)
    taken = _taken(books, train, layouts_folder(layouts))
    chosen = replace(taken, readings=results_of(taken.readings, parameter, point))
    if limits:
        table = _judged(chosen, limits, product, on, convention)
    else:
        table = statistics_by_point(chosen.readings, convention or NonDetects.ZERO)
    if out is not None:
        table.to_csv(out, index=False)
    if as_json:
        typer.echo(table.to_json(orient="records", date_format="iso", force_ascii=False, indent=2))
    elif limits:
        _print_judged(table)
    else:
        _print(table)
    if chosen.readings.empty:
        typer.echo("no result is of that parameter and point", err=True)
        raise typer.Exit(NOT_CHECKED)
    if limits and not table["verdict"].eq("pass").all():
        raise typer.Exit(CHECKED_NOT_RELEASED)


def _taken(books: list[Path], train: Path | None, layouts: Path | None) -> Taken:
    """Read the *books* without control samples; with a *train* only product points, or no known point."""
    from wqcheck.batch import take_in
    from wqcheck.quality.controls_apart import control_notes, is_control
    from wqcheck.tables import Readings
    from wqcheck.train.description import assign_stages, at_product_point, load_train

    plant = load_train(train) if train else None
    taken = take_in(books, layouts)
    say((*taken.findings, *control_notes(taken.readings)))
    readings = Readings.validate(taken.readings[~is_control(taken.readings)].reset_index(drop=True))
    if plant is not None:
        readings, places = assign_stages(readings, plant)
        say(places)
        readings = Readings.validate(readings[at_product_point(readings, plant)].reset_index(drop=True))
    return replace(taken, readings=readings)


def _judged(taken: Taken, limits: list[str], product: str, on: str, convention: NonDetects | None) -> pd.DataFrame:
    from wqcheck.limit_tables.loading import load_limits
    from wqcheck.statistics.series_judging import judge_series

    tables = [load_limits(name) for name in limits]
    return judge_series(taken.readings, tables, product=product, on=day_of(on), non_detects=convention)


def _convention(text: str) -> NonDetects | None:
    from wqcheck.statistics.series_rules import NonDetects

    try:
        return NonDetects(text) if text else None
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


def _print_judged(table: pd.DataFrame) -> None:
    """Print the worst verdicts first, then one line of reason for each row that does not simply pass on its share."""
    order = {"fail": 0, "undetermined": 1, "pass": 2}
    ranked = table.sort_values("verdict", key=lambda words: words.map(order), kind="stable")
    counts = ranked["verdict"].value_counts(sort=False)
    typer.echo("series: " + ", ".join(f"{number} {verdict}" for verdict, number in counts.items()))
    for row in ranked.to_dict("records"):
        if row["statistic"] == "share within the limit" and row["verdict"] == "pass":
            continue
        at = f" at {row['point']}" if isinstance(row["point"], str) else ""
        asked = "" if isnan(row["upper"]) else f", at most {row['upper']:g} {row['unit']}"
        figure = _ends(row["low"], row["high"], "" if row["statistic"].startswith("share") else str(row["unit"]))
        counted = f"n {row['n']}, non-detects {row['non_detects']}, unknown {row['unknown']}"
        typer.echo(
            f"  {row['verdict']:<12} {row['parameter']}{at}, {row['period']}: {row['statistic']} {figure}{asked} "
            f"({row['table']} {row['clause']}; {counted}): {row['reason']}"
        )
    typer.echo(JUDGED_LEGEND)


def _ends(low: float, high: float, unit: str) -> str:
    """Return ``0.21``, ``0.05 to 0.24``, ``at least 3`` or a dash, with its unit."""
    if isnan(low) or isnan(high):
        return "–"
    text = f"{low:.4g}" if low == high else f"at least {low:.4g}" if high == inf else f"{low:.4g} to {high:.4g}"
    return f"{text} {unit}".strip()


def _figure(value: float, low: float, high: float) -> str:
    """Return ``0.21 [0.05, 0.24]``, no brackets when the ends agree, and a dash where there is no estimate."""
    if isnan(low) or isnan(high):
        return ""
    estimate = "–" if isnan(value) else f"{value:.4g}"
    return estimate if low == high else f"{estimate} [{low:.4g}, {high:.4g}]"
