"""Turns ``wqcheck records issue``, ``withdraw`` and ``summary`` into papers of the store and their files."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from wqcheck.commands.acting import DEFAULT_STORE, As, Number, PeopleFile, Place, Why, act_of, opened
from wqcheck.commands.papers import LetterheadFile
from wqcheck.errors import WqcheckError

if TYPE_CHECKING:
    from wqcheck.records.certificates import PaperStyle

record_papers_app = typer.Typer(add_completion=False)

Pattern = Annotated[str, typer.Option(help="Number pattern with {number} and, if wanted, {year}.")]
Language = Annotated[str, typer.Option("--language", help="Language of the document: en, fr, pt, es or ar.")]


@record_papers_app.command()
def issue(
    batch: Number,
    out: Annotated[Path, typer.Option(help="Folder for the files.")],
    pattern: Pattern = "",
    language: Language = "en",
    letterhead: LetterheadFile = None,
    place: Place = DEFAULT_STORE,
    person: As = "",
    people: PeopleFile = None,
    why: Why = "",
) -> None:
    """Issue the numbered certificate or notice of a decided batch, and write its files."""
    from wqcheck.certificate_files.writing import file_stem
    from wqcheck.records.certificates import issue as issue_document
    from wqcheck.records.numbers import PATTERN

    act, style = act_of(person, people, why), _style(letterhead, language)
    with opened(place) as store:
        issued = issue_document(store, batch, act, pattern=pattern or PATTERN, style=style)
    _write(out, file_stem(issued.certificate.number), issued.files)


@record_papers_app.command()
def withdraw(
    batch: Number,
    out: Annotated[Path | None, typer.Option(help="Folder for the notices of withdrawal.")] = None,
    letterhead: LetterheadFile = None,
    place: Place = DEFAULT_STORE,
    person: As = "",
    people: PeopleFile = None,
    why: Why = "",
) -> None:
    """Withdraw a batch and its documents, with a written reason."""
    from wqcheck.certificate_files.writing import file_stem
    from wqcheck.records.certificates import FORMS, withdrawal_file
    from wqcheck.records.certificates import withdraw as withdraw_batch

    with opened(place) as store:
        numbers = withdraw_batch(store, batch, act_of(person, people, why), style=_style(letterhead))
        typer.echo(f"batch {batch}: withdrawn; documents withdrawn: {', '.join(numbers) or 'none'}")
        for number in numbers if out else ():
            files = {form: withdrawal_file(store, number, form) for form in FORMS}
            _write(out or Path(), f"{file_stem(number)}-withdrawn", files)


@record_papers_app.command()
def summary(
    out: Annotated[Path, typer.Option(help="Folder for the PDF, the workbook and the JSON.")],
    period: Annotated[str, typer.Option(help="A year 2026, a quarter 2026-Q3 or a month 2026-07.")] = "",
    since: Annotated[str, typer.Option("--from", help="First day, instead of --period.")] = "",
    until: Annotated[str, typer.Option("--to", help="Last day, with --from.")] = "",
    number: Annotated[str, typer.Option(help="Number of the document; its days by default.")] = "",
    chart: Annotated[
        list[str] | None, typer.Option(help="Also draw this series, as PARAMETER@POINT; give it several times.")
    ] = None,
    place: Place = DEFAULT_STORE,
) -> None:
    """Write what became of the batches of a period, what its results say, and what drifts."""
    from wqcheck.history_files.data import report_data
    from wqcheck.history_files.gathering import summarise
    from wqcheck.history_files.period import period_of
    from wqcheck.history_files.writing import write_summary

    days = period_of(period, since, until)
    chosen = [_series(text) for text in chart or []]
    with opened(place) as store:
        found = summarise(store, days, chosen=chosen)
    name = number or f"summary_{days.since}_{days.until}"
    data = report_data(found, number=name, issued_at=datetime.now().astimezone().isoformat(timespec="seconds"))
    for path in write_summary(data, out):
        typer.echo(path)
    asked = ", ".join(f"{number} {word}" for word, number in data["counts"]["attention"].items())
    typer.echo(f"{data['batches']['total']} batch(es), {data['counts']['series']} series; {asked}", err=True)
    drawn = {(one.history.limit["parameter"], one.history.limit["point"] or "") for one in found.charts}
    for code, point in (one for one in chosen if one not in drawn):
        typer.echo(f"note: {code}@{point} has no results with a day in this period and is not drawn", err=True)


def _series(text: str) -> tuple[str, str]:
    """Give parameter and point of a series written as PARAMETER@POINT."""
    from wqcheck.parameters import catalogue

    code, _, point = text.partition("@")
    if code not in catalogue():
        raise WqcheckError(f"--chart takes PARAMETER@POINT with a code of the catalogue, lead@FP (given: {text!r})")
    return code, point


def _style(letterhead: Path | None, language: str = "en") -> PaperStyle:
    from wqcheck.certificate_files.letterhead import PLAIN, load_letterhead
    from wqcheck.records.certificates import PaperStyle

    return PaperStyle(language=language, letterhead=load_letterhead(letterhead) if letterhead else PLAIN)


def _write(folder: Path, stem: str, files: dict[str, bytes]) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for form, content in files.items():
        path = folder / f"{stem}.{form}"
        path.write_bytes(content)
        typer.echo(path)
