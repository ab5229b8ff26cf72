"""Turns the ``wqcheck limits`` commands into calls of the library."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from wqcheck.commands.exit_codes import NOT_CHECKED
from wqcheck.commands.terminal import AsJson
from wqcheck.errors import LimitTableError, WqcheckError

if TYPE_CHECKING:
    from collections.abc import Iterable

    import pandas as pd

limits_app = typer.Typer(
    no_args_is_help=True,
    help="The limit tables: which there are, what stands in them, are they sound, how they differ, and copies to edit.",
)

OneTable = Annotated[str, typer.Argument(help="Shipped table, or CSV or XLSX file.")]
Water = Annotated[
    str, typer.Option("--product", help="Kind of water: tap, packaged, spring, natural mineral or purified.")
]
OnDay = Annotated[str, typer.Option("--on", help="Day on which the limits hold, 2026-03-31; today by default.")]


@limits_app.command("list")
def list_limits() -> None:
    """List the shipped limit tables."""
    from wqcheck.limit_tables.loading import load_limits, shipped_tables

    for name in shipped_tables():
        table = load_limits(name)
        read_in = table.rows["evidence"].str.partition(":")[0].value_counts()
        checked = ", ".join(f"{count} {how}" for how, count in read_in.items())
        typer.echo(f"{name}\t{len(table.rows)} rows ({checked})\t{table.title}")


@limits_app.command("acts")
def list_acts(product: Water = "") -> None:
    """Say which text binds which water, and which shipped table is made from it."""
    from wqcheck.limit_tables.acts import acts_for, load_acts
    from wqcheck.limit_tables.loading import product_word

    acts = load_acts()
    for act in acts_for(product_word(product), acts) if product else acts:
        until = f" until {act.until}" if act.until else ""
        typer.echo(f"{act.jurisdiction}: {act.act} [{act.standing}{until}]")
        typer.echo(f"  binds {', '.join(act.waters)}; table {act.table or 'none shipped'}; {act.evidence}")
        typer.echo(f"  {act.note}")
        if act.link:
            typer.echo(f"  {act.link}")
    typer.echo("The regulator of the country of sale says which texts hold for you.", err=True)


@limits_app.command("show")
def show_limits(
    name: OneTable,
    product: Annotated[str, typer.Option(help="Only rows that bind this kind of water.")] = "",
    as_json: AsJson = False,
) -> None:
    """Print the rows of one limit table in words, and which of them are not verified."""
    from wqcheck.certificate.lines import UNVERIFIED
    from wqcheck.commands.limit_lines import limit_lines, terminal_width
    from wqcheck.limit_tables.loading import binds_product, load_limits, product_word

    rows = load_limits(name).rows
    if product:
        rows = rows[binds_product(rows, product_word(product))]
    if as_json:
        primary = rows["evidence"].str.startswith("primary text")
        _print_json(rows.assign(unverified=primary.map({True: "", False: UNVERIFIED})))
    else:
        _print(limit_lines(rows, terminal_width()))


@limits_app.command("check")
def check_limits(files: Annotated[list[str], typer.Argument(help="CSV or XLSX files, or shipped names.")]) -> None:
    """Check limit tables and report every bad cell with file, line (row of the sheet) and column."""
    from wqcheck.limit_tables.loading import load_limits

    bad = False
    for name in files:
        try:
            table = load_limits(name)
        except LimitTableError as problem:
            bad = True
            typer.echo(str(problem), err=True)
        else:
            typer.echo(f"{name}: {len(table.rows)} rows, sound")
    raise typer.Exit(NOT_CHECKED if bad else 0)


@limits_app.command("columns")
def explain_columns() -> None:
    """Print what must stand in each column of a limit table."""
    from wqcheck.commands.limit_lines import laid_out, terminal_width
    from wqcheck.limit_tables.columns import EXPLAINED

    _print(
        laid_out([["column", "what to write"], *([name, text] for name, text in EXPLAINED.items())], terminal_width())
    )


@limits_app.command("compare")
def compare(
    names: Annotated[list[str], typer.Argument(help="Two or more: shipped tables, CSV or XLSX files.")],
    product: Water = "packaged",
    on: OnDay = "",
    as_json: AsJson = False,
) -> None:
    """Compare limit tables: per parameter, in one unit, what each asks and which is the strictest."""
    from wqcheck.commands.limit_lines import comparison_lines, terminal_width
    from wqcheck.limit_comparison.comparison import compare_limits
    from wqcheck.limit_tables.loading import load_limits

    tables, day = [load_limits(name) for name in dict.fromkeys(names)], _day(on)
    if len(tables) < 2:
        raise WqcheckError("compare takes two or more different tables; `wqcheck limits list` names those shipped")
    compared = compare_limits(tables, product=product, on=day)
    if as_json:
        _print_json(compared)
    else:
        _print(comparison_lines(compared, tables, product=product, on=day, width=terminal_width()))


@limits_app.command("diff")
def diff(
    old: OneTable,
    new: OneTable,
    product: Annotated[str, typer.Option(help="Only rows that bind this kind of water; every kind by default.")] = "",
    on: OnDay = "",
    as_json: AsJson = False,
) -> None:
    """Say what a new edition adds, drops, tightens, relaxes or changes otherwise."""
    from wqcheck.commands.limit_lines import change_lines, terminal_width
    from wqcheck.limit_comparison.changes import limit_changes
    from wqcheck.limit_tables.loading import load_limits

    before, after, day = load_limits(old), load_limits(new), _day(on)
    changes = limit_changes(before, after, on=day, product=product)
    if as_json:
        _print_json(changes)
    else:
        _print(change_lines(changes, before, after, on=day, width=terminal_width()))


@limits_app.command("copy")
def copy_limits(
    name: OneTable,
    to: Annotated[Path, typer.Option("--to", help="New file, .xlsx (opens the same everywhere) or .csv.")],
) -> None:
    """Write an editable copy of a limit table: a workbook with drop-down lists, or a CSV file."""
    from wqcheck.limit_tables.loading import limit_cells
    from wqcheck.limit_tables.sheets import write_copy

    cells = limit_cells(name)
    write_copy(cells, to)
    typer.echo(f"{to}: {len(cells)} rows of {name}")
    typer.echo(f"edit it, run `wqcheck limits check {to}`, then give it with --limits {to}", err=True)


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text) if text else date.today()
    except ValueError:
        raise WqcheckError(f"--on takes a day like 2026-03-31 (given: {text!r})") from None


def _print(lines: Iterable[str]) -> None:
    typer.echo("\n".join(lines))


def _print_json(table: pd.DataFrame) -> None:
    typer.echo(table.to_json(orient="records", date_format="iso", force_ascii=False, indent=2))
