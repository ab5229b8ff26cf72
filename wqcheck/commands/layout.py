"""Turns the ``wqcheck layout`` commands and the ``--layouts`` option into calls of the library."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from wqcheck.errors import WqcheckError

if TYPE_CHECKING:
    from collections.abc import Iterable

    from wqcheck.sheet_layouts.records import SheetLayout
    from wqcheck.sheets import ReadResult

DEFAULT_FOLDER = "layouts"

layout_app = typer.Typer(
    no_args_is_help=True,
    help="Sheet layouts: what was confirmed once for a laboratory's sheets, applied to the next ones.",
)

LayoutsFolder = Annotated[
    Path | None,
    typer.Option(
        "--layouts", help=f"Folder of sheet layouts (TOML); the folder {DEFAULT_FOLDER}/ here, if there is one."
    ),
]
TrainForPoints = Annotated[
    Path | None, typer.Option("--train", help="Train file (TOML): asks which of its points unknown places are.")
]


def layouts_folder(given: Path | None) -> Path | None:
    """Return the folder of sheet layouts: the one given, else ``layouts/`` in the current folder, else None."""
    if given is not None:
        if not given.is_dir():
            raise WqcheckError(f"--layouts takes a folder of sheet layouts (given: {str(given)!r}); check the name")
        return given
    return Path(DEFAULT_FOLDER) if Path(DEFAULT_FOLDER).is_dir() else None


@layout_app.command()
def propose(
    book: Annotated[Path, typer.Argument(help="Workbook or CSV file as the laboratory sent it.")],
    out: Annotated[Path, typer.Option("--out", help="The layout file to write, a new file that ends in .toml.")],
    train: TrainForPoints = None,
    layouts: LayoutsFolder = None,
) -> None:
    """Write what the reader decided about a workbook as a layout to edit, with the open questions as comments."""
    from wqcheck.questions import propose_layout, questions
    from wqcheck.sheet_layouts.saving import save_layout
    from wqcheck.sheets import read_workbook
    from wqcheck.train.description import load_train

    if out.suffix.lower() != ".toml":
        raise WqcheckError(f"--out takes the name of a file that ends in .toml (given: {str(out)!r})")
    if out.exists():
        raise WqcheckError(f"{out} exists and may hold answers; choose another name or remove it first")
    plant = load_train(train) if train else None
    read = read_workbook(book, layouts_folder(layouts))
    layout = propose_layout(read, plant)
    save_layout(layout, out)
    asked = len(questions(read, plant))
    typer.echo(f"{out}: {len(layout.tables)} table(s), {asked} open question(s) as comments at the top")
    if not layout.tables:
        typer.echo("no table of this workbook has headings by which the next one could be known again", err=True)


@layout_app.command("check")
def check_layouts(
    files: Annotated[list[Path], typer.Argument(help="Sheet layout files (TOML).")],
) -> None:
    """Say whether layout files are sound, and what each of them answers."""
    from wqcheck.sheet_layouts.loading import load_layout

    for layout in [load_layout(file) for file in files]:
        typer.echo(f"{layout.path}: {layout.name!r}{f', laboratory {layout.lab!r}' if layout.lab else ''}")
        typer.echo("".join(f"  {line}\n" for line in _summary(layout)), nl=False)


def _summary(layout: SheetLayout) -> Iterable[str]:
    columns = sum(len(table.columns) for table in layout.tables)
    yield f"{len(layout.tables)} table(s) with {columns} column(s)"
    sections = ("dates", "aliases", "units", "bases", "volumes", "unit_spellings", "points", "words", "signs")
    given = [f"{section} {len(getattr(layout, section))}" for section in sections if getattr(layout, section)]
    if layout.decimal:
        given.append(f"decimal mark {layout.decimal!r}")
    yield f"answers: {', '.join(given) or 'none'}"
    replacing = [table for table in layout.tables if table.replace or any(c.replace for c in table.columns)]
    many = len(replacing) + sum(
        answer.replace
        for section in (layout.aliases, layout.units, layout.bases, layout.volumes)
        for answer in section.values()
    )
    if many:
        yield f"{many} answer(s) replace what a sheet states; each use will be a finding"


def print_questions(books: Iterable[ReadResult], train: Path | None) -> None:
    """Print what the sheets leave open, one question a line, with the answers that are usual."""
    from wqcheck.questions import questions
    from wqcheck.train.description import load_train

    plant = load_train(train) if train else None
    asked = [question for book in books for question in questions(book, plant)]
    for question in asked:
        typer.echo(f"{question.kind}: {question}")
    typer.echo(f"{len(asked)} open question(s)" if asked else "no open question")
