"""Turns command lines into calls of the library: results on stdout, messages on stderr.

Exit code 0: released or fine. 1: checked, but not released. 2: could not be checked.
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from wqcheck.commands.due import due_app
from wqcheck.commands.exit_codes import CHECKED_NOT_RELEASED, NOT_CHECKED
from wqcheck.commands.form import form
from wqcheck.commands.layout import LayoutsFolder, TrainForPoints, layout_app, layouts_folder, print_questions
from wqcheck.commands.limits import limits_app
from wqcheck.commands.page import page_app
from wqcheck.commands.papers import LetterheadFile, papers_app
from wqcheck.commands.plant import plant_app
from wqcheck.commands.records import records_app
from wqcheck.commands.series import series_app
from wqcheck.commands.terminal import AsJson, check_json, day_of, print_decision, print_flags, print_table, say
from wqcheck.commands.train import train_app
from wqcheck.errors import WqcheckError

if TYPE_CHECKING:
    from wqcheck.batch import Taken
    from wqcheck.judging.rules import JudgingRules
    from wqcheck.release.decision import BatchCheck

app = typer.Typer(
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    help="Laboratory results of bottled and treated water: read, compared with published limits, put on a certificate.",
)
app.add_typer(limits_app, name="limits")
app.add_typer(layout_app, name="layout")
app.add_typer(plant_app, name="plant")
app.add_typer(train_app, name="train")
app.add_typer(records_app, name="records")
app.command()(form)
app.add_typer(series_app)
app.add_typer(papers_app)
app.add_typer(due_app)
app.add_typer(page_app)

Books = Annotated[list[Path], typer.Argument(help="Workbooks or CSV files as the laboratory sent them.")]
LimitNames = Annotated[list[str], typer.Option("--limits", help="Shipped table or CSV file; give it several times.")]
Kind = Annotated[
    str, typer.Option("--product", help="Kind of water: tap, packaged, spring, natural mineral or purified.")
]
TrainFile = Annotated[Path | None, typer.Option("--train", help="Train file (TOML): stages and sampling points.")]
RulesFile = Annotated[
    Path | None, typer.Option("--rules", help="Release-rules file (TOML); the shipped one by default.")
]
Language = Annotated[str, typer.Option("--language", help="Language of the document: en, fr, pt, es or ar.")]
JudgingFile = Annotated[
    Path | None, typer.Option("--judging-rules", help="Judging-rules file (TOML); the shipped one by default.")
]
Decision = Annotated[
    str, typer.Option("--decision-rule", help="simple acceptance, guard band or guarded acceptance, for every table.")
]
Guard = Annotated[
    float | None,
    typer.Option("--guard-multiple", help="r of the guard band w = r U (ILAC-G8:09/2019), for every table."),
]
MostCells = Annotated[int, typer.Option(min=1, help="Cells that one file may reach over, blank ones too.")]
MOST_CELLS = 16_000_000
OnDay = Annotated[str, typer.Option("--on", help="Day taken for undated results, 2026-03-31; today by default.")]


@app.command()
def read(
    books: Books,
    out: Annotated[Path, typer.Option(help="CSV file for the readings, one row per reported result.")],
    ledger: Annotated[Path | None, typer.Option(help="CSV file for every other cell, with role and reason.")] = None,
    layouts: LayoutsFolder = None,
    questions: Annotated[bool, typer.Option("--questions", help="Print what the sheets leave open.")] = False,
    train: TrainForPoints = None,
    most_cells: MostCells = MOST_CELLS,
) -> None:
    """Read workbooks into one table of readings, and say what every other cell is."""
    taken = _taken(books, layouts_folder(layouts), most_cells)
    taken.readings.to_csv(out, index=False)
    say(taken.findings)
    cells = sum(book.cells for book in taken.books)
    line = f"{out}: {len(taken.readings)} results of {cells} non-empty cells"
    if ledger is not None:
        others = taken.ledger()
        others.to_csv(ledger, index=False)
        line += f"; {ledger}: the other {len(others)} cells"
    typer.echo(line)
    if questions:
        print_questions(taken.books, train)


@app.command()
def check(
    books: Books,
    limits: LimitNames,
    product: Kind = "packaged",
    batch: Annotated[str, typer.Option(help="Batch number; what the sheet says by default.")] = "",
    train: TrainFile = None,
    rules: RulesFile = None,
    out: Annotated[Path | None, typer.Option(help="CSV file for all judged results.")] = None,
    strictest: Annotated[
        bool, typer.Option("--strictest", help="Of several tables show only the one that weighs most.")
    ] = False,
    on: OnDay = "",
    layouts: LayoutsFolder = None,
    judging_rules: JudgingFile = None,
    decision_rule: Decision = "",
    guard_multiple: Guard = None,
    as_json: AsJson = False,
    most_cells: MostCells = MOST_CELLS,
) -> None:
    """Compare results with limit tables and say what could be released, worst first."""
    from wqcheck.judging.judge import strictest as weighing_most

    checked = _check(
        books, limits, product=product, batch=batch, train=train, rules=rules, on=on, layouts=layouts_folder(layouts),
        judging=_judging(judging_rules, decision_rule, guard_multiple), most_cells=most_cells,
    )  # fmt: skip
    judged = weighing_most(checked.judged) if strictest else checked.judged
    if out is not None:
        judged.to_csv(out, index=False)
    if as_json:
        typer.echo(check_json(checked, judged))
    else:
        say(checked.findings)
        print_flags(judged)
        print_decision(checked)
    _exit_by(checked)


@app.command()
def stages(
    books: Books,
    train: Annotated[Path, typer.Option("--train", help="Train file (TOML): stages and sampling points.")],
    out: Annotated[Path | None, typer.Option(help="CSV file for the table.")] = None,
    layouts: LayoutsFolder = None,
    as_json: AsJson = False,
) -> None:
    """Compute what each stage of the train removes, as bounds where a result is a non-detect."""
    from wqcheck.batch import take_in
    from wqcheck.train.description import assign_stages, load_train
    from wqcheck.train.removal import removal_by_stage

    plant = load_train(train)
    taken = take_in(books, layouts_folder(layouts))
    readings, places = assign_stages(taken.readings, plant)
    table = removal_by_stage(readings, plant)
    say((*taken.findings, *places))
    if out is not None:
        table.to_csv(out, index=False)
    if as_json:
        typer.echo(table.to_json(orient="records", force_ascii=False, indent=2))
    else:
        print_table(
            table[
                ["stage", "parameter", "inlet", "outlet", "unit", "bound", "removal_percent", "log_removal", "reason"]
            ]
        )
    if table.empty:
        typer.echo("no stage has results at both its inlet and its outlet", err=True)
        raise typer.Exit(NOT_CHECKED)


@app.command()
def certificate(
    books: Books,
    batch: Annotated[str, typer.Option(help="Batch number.")],
    limits: LimitNames,
    signed_by: Annotated[str, typer.Option(help="Name of the authorised person.")],
    out: Annotated[Path, typer.Option(help="Folder for the files.")],
    product: Kind = "packaged",
    train: TrainFile = None,
    rules: RulesFile = None,
    number: Annotated[str, typer.Option(help="Number of the document; made from batch and day by default.")] = "",
    on: OnDay = "",
    language: Language = "en",
    letterhead: LetterheadFile = None,
    layouts: LayoutsFolder = None,
    judging_rules: JudgingFile = None,
    decision_rule: Decision = "",
    guard_multiple: Guard = None,
) -> None:
    """Issue the certificate of a batch, or a hold or reject notice when it may not be released."""
    judging = _judging(judging_rules, decision_rule, guard_multiple)
    checked = _check(
        books,
        limits,
        product=product,
        batch=batch,
        train=train,
        rules=rules,
        on=on,
        judging=judging,
        layouts=layouts_folder(layouts),
    )
    say(checked.findings)
    print_decision(checked)
    issued_at = datetime.now().astimezone()
    signature = (number or f"{batch}-{issued_at:%Y%m%d}", signed_by, issued_at)
    for path in _issue(checked, signature, out, language=language, letterhead=letterhead):
        typer.echo(path)
    _exit_by(checked)


@app.command()
def explain(
    books: Books,
    limits: LimitNames,
    cell: Annotated[str, typer.Option(help="Cell of the result, Sheet!F12.")] = "",
    sample: Annotated[str, typer.Option(help="Sample, as the sheet names it.")] = "",
    parameter: Annotated[str, typer.Option(help="Code or name of the parameter.")] = "",
    product: Kind = "packaged",
    batch: Annotated[str, typer.Option(help="Batch number; what the sheet says by default.")] = "",
    train: TrainFile = None,
    rules: RulesFile = None,
    on: OnDay = "",
    layouts: LayoutsFolder = None,
    judging_rules: JudgingFile = None,
    decision_rule: Decision = "",
    guard_multiple: Guard = None,
) -> None:
    """Show the working of one result: from the text in the cell to the verdict beside each limit."""
    from wqcheck.explanation import explain as explained
    from wqcheck.explanation import rows_at
    from wqcheck.release.decision import CAUTION

    judging = _judging(judging_rules, decision_rule, guard_multiple)
    checked = _check(
        books, limits, product=product, batch=batch, train=train, rules=rules, on=on, judging=judging,
        layouts=layouts_folder(layouts),
    )  # fmt: skip
    rows = rows_at(checked.judged, cell=cell, sample=sample, parameter=parameter)
    for working in explained(rows, checked.decision_rules):
        typer.echo(f"{working.result}: {working.verdict}")
        for line in working.lines():
            typer.echo(f"  {line}")
    typer.echo(CAUTION, err=True)


@app.command()
def demo(
    out: Annotated[Path, typer.Option(help="Folder for the files.")] = Path("demo"),
    language: Language = "en",
) -> None:
    """Run the whole job on the invented sample plant: stages, a certificate and a reject notice."""
    from wqcheck.shipped_files import shipped_folder

    samples = shipped_folder("sample_results")
    train = samples / "train.toml"
    tables = ["who_gdwq_2022", "us_21cfr165_110b", str(samples / "plant_specification.csv")]
    out.mkdir(parents=True, exist_ok=True)
    typer.echo("An invented plant on an invented coast; every figure is made up.\n")
    _demo_stages(samples / "commissioning_crosstab.xlsx", train, out / "stages.csv")
    papers = []
    for book in ("run_B2107_clean.xlsx", "run_B2108_trouble.xlsx"):
        checked = _check([samples / book], tables, product="purified", batch="", train=train, rules=None, on="")
        typer.echo(f"\n{book}")
        print_decision(checked, most=4)
        issued_at = datetime.now().astimezone()
        number = f"DEMO-{checked.details.batch}-{issued_at:%Y%m%d-%H%M%S}"
        papers += [
            path
            for path in _issue(checked, (number, "Demo Signatory (invented)", issued_at), out, language=language)
            if path.suffix == ".pdf"
        ]
    typer.echo(f"\nOpen {papers[0]} (certificate) and {papers[1]} (notice), each with its .xlsx and .json beside it.")
    typer.echo("`wqcheck page` starts the page; the sample plant opens there with one click.")


def _taken(books: list[Path], layouts: Path | None, most_cells: int) -> Taken:
    from dataclasses import replace

    from wqcheck.batch import take_in
    from wqcheck.sheets import READING_LIMITS

    return take_in(books, layouts, replace(READING_LIMITS, cells=most_cells))


def _check(
    books: list[Path],
    limits: list[str],
    *,
    product: str,
    batch: str,
    train: Path | None,
    rules: Path | None,
    on: str,
    layouts: Path | None = None,
    judging: JudgingRules | None = None,
    most_cells: int = MOST_CELLS,
) -> BatchCheck:
    from wqcheck.batch import check_workbook
    from wqcheck.release.decision import BatchDetails

    return check_workbook(
        _taken(books, layouts, most_cells).books,
        details=BatchDetails(batch=batch, product=product),
        limits=limits,
        train=train,
        rules=rules,
        on=day_of(on),
        product=product,
        layouts=layouts,
        judging=judging,
    )


def _judging(path: Path | None, decision_rule: str, guard_multiple: float | None) -> JudgingRules:
    from wqcheck.judging.rules import load_judging_rules, shipped_judging_rules

    chosen = load_judging_rules(path) if path else shipped_judging_rules()
    return chosen.overridden(decision_rule, guard_multiple)


def _issue(
    checked: BatchCheck,
    signature: tuple[str, str, datetime],
    out: Path,
    *,
    language: str = "en",
    letterhead: Path | None = None,
) -> tuple[Path, ...]:
    from wqcheck.certificate.data import issue_certificate, issue_notice
    from wqcheck.certificate_files.letterhead import PLAIN, load_letterhead
    from wqcheck.certificate_files.writing import write_certificate
    from wqcheck.release.decision import Disposition

    number, signed_by, issued_at = signature
    released = checked.decision.disposition == Disposition.RELEASE
    issue = issue_certificate if released else issue_notice
    paper = issue(checked, number=number, signed_by=signed_by, issued_at=issued_at, language=language)
    return write_certificate(paper, out, letterhead=load_letterhead(letterhead) if letterhead else PLAIN)


def _demo_stages(book: Path, train: Path, out: Path) -> None:
    from wqcheck.batch import take_in
    from wqcheck.train.description import assign_stages, load_train
    from wqcheck.train.kinds import WHOLE_TRAIN
    from wqcheck.train.removal import removal_by_stage

    plant = load_train(train)
    readings, _ = assign_stages(take_in([book]).readings, plant)
    table = removal_by_stage(readings, plant)
    table.to_csv(out, index=False)
    typer.echo(f"{book.name}: {len(readings)} results, {len(table)} stage removals in {out}; over the whole train:")
    whole = table[table["stage"] == WHOLE_TRAIN]
    print_table(whole[["parameter", "inlet", "outlet", "unit", "bound", "removal_percent", "log_removal"]])


def _exit_by(checked: BatchCheck) -> None:
    from wqcheck.release.decision import Disposition

    raise typer.Exit(0 if checked.decision.disposition == Disposition.RELEASE else CHECKED_NOT_RELEASED)


def main() -> None:
    """Run the command line; a problem of the input ends with one sentence and exit code 2, never a traceback."""
    try:
        app()
    except WqcheckError as problem:
        typer.echo(f"wqcheck: {problem}", err=True)
        raise SystemExit(NOT_CHECKED) from None


if __name__ == "__main__":
    main()
