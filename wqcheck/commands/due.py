"""Turns the ``wqcheck due`` command into calls of the library."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from wqcheck.commands.exit_codes import CHECKED_NOT_RELEASED
from wqcheck.commands.layout import LayoutsFolder, layouts_folder
from wqcheck.commands.terminal import AsJson, day_of, print_table, say

if TYPE_CHECKING:
    import pandas as pd

SHOWN = ["state", "next_due", "table", "water", "parameter", "every", "last", "age", "reported", "clause"]

due_app = typer.Typer()


@due_app.command("due")
def print_due(
    books: Annotated[list[Path], typer.Argument(help="Workbooks of any age: last results count.")],
    limits: Annotated[
        list[str], typer.Option("--limits", help="Table whose panel is asked for; give it several times.")
    ],
    product: Annotated[
        str, typer.Option(help="Kind of water: tap, packaged, spring, natural mineral or purified.")
    ] = "packaged",
    on: Annotated[str, typer.Option(help="Day of the question, 2026-03-31; today by default.")] = "",
    volume: Annotated[float | None, typer.Option(help="Water produced, m³ a day, for panels that go by it.")] = None,
    train: Annotated[
        Path | None, typer.Option(help="Train file (TOML): tells finished water from source water.")
    ] = None,
    rules: Annotated[Path | None, typer.Option(help="Release-rules file (TOML); the shipped one by default.")] = None,
    layouts: LayoutsFolder = None,
    out: Annotated[Path | None, typer.Option(help="CSV file for the table with all columns.")] = None,
    as_json: AsJson = False,
) -> None:
    """Say which required tests are in date, which are overdue, and what falls due next."""
    from wqcheck.batch import SHIPPED_RULES, take_in
    from wqcheck.limit_tables.loading import load_limits
    from wqcheck.release.due import due
    from wqcheck.release.rules import load_release_rules
    from wqcheck.shipped_files import shipped_folder
    from wqcheck.train.description import load_train

    tables = [load_limits(name) for name in limits]
    plant = load_train(train) if train else None
    taken = take_in(books, layouts_folder(layouts))
    table = due(taken.readings, tables, product=product, on=day_of(on), volume=volume, train=plant)
    say(taken.findings)
    if out is not None:
        table.to_csv(out, index=False)
    if as_json:
        typer.echo(table.to_json(orient="records", date_format="iso", force_ascii=False, indent=2))
    else:
        each = load_release_rules(rules or shipped_folder("limits") / SHIPPED_RULES).required.get(product, ())
        typer.echo(f"each batch (release rules): {', '.join(' or '.join(entry) for entry in each) or 'nothing'}")
        _print(table)
    if not table["state"].eq("in date").all() or table.empty:
        raise typer.Exit(CHECKED_NOT_RELEASED)


def _print(table: pd.DataFrame) -> None:
    if table.empty:
        typer.echo("required_panels.csv has no panel for these tables and this kind of water")
        return
    counts = table["state"].value_counts(sort=False)
    typer.echo("required tests: " + ", ".join(f"{number} {state}" for state, number in counts.items()))
    shown = table[SHOWN].copy()
    for day in ("last", "next_due"):
        shown[day] = shown[day].dt.strftime("%Y-%m-%d")
    print_table(shown.dropna(axis="columns", how="all"))
    coming = table["next_due"][table["state"].eq("in date")].min()
    if table["state"].eq("in date").any():
        names = table.loc[table["next_due"].eq(coming) & table["state"].eq("in date"), "parameter"].unique()
        more = f" and {len(names) - 6} more" if len(names) > 6 else ""
        typer.echo(f"next: {', '.join(names[:6])}{more} by {coming:%Y-%m-%d}")
    typer.echo("The regulator and the plant's licence may ask for more: a panel is the least that its text names.")
