"""Turns the ``wqcheck limits`` commands into calls of the library."""

from __future__ import annotations

from typing import Annotated

import typer

from wqcheck.errors import LimitTableError
from wqcheck.exit_codes import NOT_CHECKED
from wqcheck.terminal import AsJson, print_table

limits_app = typer.Typer(
    no_args_is_help=True, help="The limit tables: which there are, what stands in them, are they sound."
)


@limits_app.command("list")
def list_limits() -> None:
    """List the shipped limit tables."""
    from wqcheck.limit_tables import load_limits, shipped_tables

    for name in shipped_tables():
        table = load_limits(name)
        read_in = table.rows["evidence"].str.partition(":")[0].value_counts()
        checked = ", ".join(f"{count} {how}" for how, count in read_in.items())
        typer.echo(f"{name}\t{len(table.rows)} rows ({checked})\t{table.title}")


@limits_app.command("show")
def show_limits(
    name: Annotated[str, typer.Argument(help="Shipped table or CSV file.")],
    product: Annotated[str, typer.Option(help="Only rows that bind this kind of water.")] = "",
    as_json: AsJson = False,
) -> None:
    """Print the rows of one limit table."""
    from wqcheck.limit_tables import binds_product, load_limits, product_word

    rows = load_limits(name).rows
    if product:
        rows = rows[binds_product(rows, product_word(product))]
    if as_json:
        typer.echo(rows.to_json(orient="records", date_format="iso", force_ascii=False, indent=2))
    else:
        print_table(
            rows[
                [
                    "parameter",
                    "rule",
                    "lower",
                    "upper",
                    "unit",
                    "basis",
                    "volume_ml",
                    "product",
                    "class",
                    "clause",
                    "evidence",
                ]
            ]
        )


@limits_app.command("check")
def check_limits(files: Annotated[list[str], typer.Argument(help="CSV files or shipped names.")]) -> None:
    """Check limit tables and report every bad cell with file, line and column."""
    from wqcheck.limit_tables import load_limits

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
