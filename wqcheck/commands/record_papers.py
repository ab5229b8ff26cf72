"""Turns ``wqcheck records issue`` and ``withdraw`` into numbered documents of the store and their files."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from wqcheck.commands.acting import DEFAULT_STORE, As, Number, PeopleFile, Place, Why, act_of, opened
from wqcheck.commands.papers import LetterheadFile

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
