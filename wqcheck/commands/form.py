"""Turns the ``wqcheck form`` command into calls of the library."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from wqcheck.errors import WqcheckError


def form(
    limits: Annotated[list[str], typer.Option("--limits", help="Shipped table or CSV file; give it several times.")],
    product: Annotated[
        str, typer.Option("--product", help="Kind of water: tap, packaged, spring, natural mineral or purified.")
    ],
    out: Annotated[Path, typer.Option("--out", help="The workbook to write, a new file that ends in .xlsx.")],
    train: Annotated[Path | None, typer.Option("--train", help="Train file (TOML): its points are offered.")] = None,
    rules: Annotated[
        Path | None, typer.Option("--rules", help="Release-rules file (TOML); the shipped one by default.")
    ] = None,
    required: Annotated[bool, typer.Option("--required-only", help="Only what the release rules require.")] = False,
) -> None:
    """Write a blank request sheet for the laboratory, which `check` reads back as it is."""
    from wqcheck.forms.blank_form import blank_form, required_only
    from wqcheck.forms.workbook import form_bytes

    if out.suffix.lower() != ".xlsx":
        raise WqcheckError(f"--out takes the name of a workbook that ends in .xlsx (given: {str(out)!r})")
    if out.exists():
        raise WqcheckError(f"{out} exists and may hold results; choose another name or remove it first")
    asked = blank_form(limits, product=product, train=train, rules=rules, on=date.today())
    asked = required_only(asked) if required else asked
    out.parent.mkdir(parents=True, exist_ok=True)
    out.write_bytes(form_bytes(asked))
    needed = sum(bool(line.need) for line in asked.lines)
    typer.echo(f"{out}: {len(asked.lines)} parameters, {needed} of them required")
