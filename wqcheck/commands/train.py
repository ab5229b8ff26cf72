"""Turns the ``wqcheck train`` commands into a checked train file, a diagram, and a commissioning report in files."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from wqcheck.commands.plant import InUnits, Units
from wqcheck.commands.terminal import AsJson, say
from wqcheck.errors import WqcheckError

if TYPE_CHECKING:
    from wqcheck.train.commissioning import CommissioningReport

train_app = typer.Typer(
    no_args_is_help=True, help="The treatment train: check its file, draw it, and report what each stage does."
)

TrainFile = Annotated[Path, typer.Argument(help="Train file (TOML): stages and sampling points.")]


@train_app.command()
def check(file: TrainFile) -> None:
    """Check a train file and list its stages and points; every problem is told at once."""
    from wqcheck.train.description import load_train

    train = load_train(file)
    typer.echo(f"{train.name}: {len(train.stages)} stages, {len(train.points)} points")
    for stage in train.stages:
        units = stage.equipment.installed
        count = f", {stage.equipment.on_duty} of {units} units on duty" if units > 1 else ""
        branch = f", concentrate {stage.concentrate}" if stage.concentrate else ""
        back = f", back to {stage.recycle_to}" if stage.recycle_to else ""
        typer.echo(f"  {stage.name} ({stage.kind}): {stage.inlet or '–'} → {stage.outlet}{branch}{back}{count}")
    typer.echo(f"samples before and after a stage are paired within {train.pairing:g} h")


@train_app.command()
def diagram(
    file: TrainFile,
    out: Annotated[Path, typer.Option(help="SVG file to write.")],
    results: Annotated[
        list[Path] | None, typer.Option("--results", help="Workbook whose removals stand below the stages.")
    ] = None,
    parameter: Annotated[
        str, typer.Option(help="Code of the parameter to show; by default the gravest verdict of all.")
    ] = "",
) -> None:
    """Draw a train as SVG, with what its stages remove where results are given."""
    from wqcheck.parameters import find_parameter
    from wqcheck.train.description import load_train
    from wqcheck.train.diagram import notes_for, train_svg, worst_notes

    train, notes, about = load_train(file), None, ""
    if parameter and not results:
        raise WqcheckError("--parameter needs --results; name the workbook that holds the results")
    if results:
        made, _ = _commission(results, file, [], None)
        about = f"removal of {find_parameter(parameter).name}" if parameter else "gravest verdict of each stage"
        notes = notes_for(made.stages, parameter) if parameter else worst_notes(made.stages)
    out.write_text(train_svg(train, notes, about=about), encoding="utf-8")
    typer.echo(out)


@train_app.command()
def report(
    books: Annotated[list[Path], typer.Argument(help="Workbooks or CSV files as the laboratory sent them.")],
    train: Annotated[Path, typer.Option("--train", help="Train file (TOML): stages and sampling points.")],
    out: Annotated[Path, typer.Option(help="Folder for PDF, XLSX, JSON and SVG.")],
    plant: Annotated[
        list[Path] | None, typer.Option("--plant", help="Plant readings (TOML) or log (XLSX, CSV); several are joined.")
    ] = None,
    expectations: Annotated[
        Path | None, typer.Option(help="Your own table of expectations (CSV) instead of the shipped one.")
    ] = None,
    number: Annotated[str, typer.Option(help="Number of the document; made from the day by default.")] = "",
    units: InUnits = Units.SI,
    as_json: AsJson = False,
) -> None:
    """Report what each stage does, where to look first, and whether the parts fit; exit code 1 with suspects."""
    from wqcheck.commands.exit_codes import CHECKED_NOT_RELEASED
    from wqcheck.train_files.data import report_data, to_json
    from wqcheck.train_files.writing import write_report

    made, files = _commission(books, train, plant or [], expectations)
    now = datetime.now().astimezone()
    data = report_data(
        made, number=number or f"TRAIN-{now:%Y%m%d-%H%M%S}", issued_at=now.isoformat(timespec="seconds"), files=files,
        us_units=units is Units.US,
    )  # fmt: skip
    say(made.findings)
    if as_json:
        typer.echo(json.dumps(json.loads(to_json(data)), ensure_ascii=False, indent=2))
    else:
        _print(made)
    for path in write_report(data, out):
        typer.echo(path, err=as_json)
    if made.suspects:
        raise typer.Exit(CHECKED_NOT_RELEASED)


def _commission(
    books: list[Path], train_file: Path, plant_files: list[Path], expected: Path | None
) -> tuple[CommissioningReport, list[Any]]:
    from wqcheck.batch import take_in
    from wqcheck.plant.log import joined, open_plant_readings
    from wqcheck.release.decision import FileStamp
    from wqcheck.train.commissioning import commission
    from wqcheck.train.description import load_train
    from wqcheck.train.expectations import load_expectations

    train, table = load_train(train_file), load_expectations(expected)
    plants = [open_plant_readings(path) for path in plant_files]
    taken = take_in(books)
    made = commission(taken.readings, train, table, plant=joined(*plants) if plants else None, findings=taken.findings)
    if made.stages.empty:
        raise WqcheckError(
            f"no stage of {train.name} has results at both its inlet and its outlet; check the names of the points"
        )
    files = [FileStamp(name=book.name, sha256=book.sha256, kind="workbook") for book in taken.books]
    files += [FileStamp(name=train_file.name, sha256=train.digest, kind="train", title=train.name)]
    files += [FileStamp(name=Path(one.path).name, sha256=one.digest, kind="plant readings", title=one.name)
              for one in plants]  # fmt: skip
    files += [FileStamp(name=table.path.name, sha256=table.digest, kind="expectations")]
    return made, files


def _print(made: CommissioningReport) -> None:
    from wqcheck.plant.pretreatment import State
    from wqcheck.train.commissioning import CAUTIONS

    counts = made.stages["verdict"].value_counts()
    typer.echo(f"{made.train.name}: " + ", ".join(f"{number} {word}" for word, number in counts.items()))
    typer.echo("look here first:" if made.suspects else "look here first: no rule found anything")
    for place, one in enumerate(made.suspects, start=1):
        typer.echo(f"  {place}. {one.title} [{one.stage}]\n     {one.why}")
        for evidence in one.evidence:
            typer.echo(f"     - {evidence.text} [{evidence.where}]")
        typer.echo(f"     check next: {one.check}\n     caution: {one.caution}")
    for chapter, figures in made.figures.items():
        due = [figure.name for figure in figures if figure.verdict in {State.DUE, State.WATCH}]
        if due:
            typer.echo(f"{chapter}: {'; '.join(due)}")
    typer.echo(CAUTIONS[0], err=True)
