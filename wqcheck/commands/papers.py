"""Turns the commands on papers (``verify``, ``schema``, ``sign``, ``keys new``) into calls of the library."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from wqcheck.commands.exit_codes import CHECKED_NOT_RELEASED
from wqcheck.errors import WqcheckError

PASSWORD = "WQCHECK_KEY_PASSWORD"
LetterheadFile = Annotated[
    Path | None, typer.Option("--letterhead", help="Letterhead file (TOML): the plant's lines, logo, template.")
]
Password = Annotated[
    str, typer.Option("--password", envvar=PASSWORD, prompt=True, hide_input=True, help="Asked for when not given.")
]
KeyFile = Annotated[Path, typer.Option("--key", help="Key of the signatory, PKCS#12 (.p12).")]

papers_app = typer.Typer(add_completion=False)
keys_app = typer.Typer(no_args_is_help=True, help="Keys that sign papers.")
papers_app.add_typer(keys_app, name="keys")


@papers_app.command()
def verify(
    file: Annotated[Path, typer.Argument(help="PDF, JSON or XLSX of a certificate or notice.")],
    letterhead: LetterheadFile = None,
) -> None:
    """Check a certificate or notice offline: signature, digest, print against data, every verdict, the decision.

    Exit code 0: nothing wrong was found. 1: something is wrong. 2: it could not be checked.
    """
    from wqcheck.certificate_files.letterhead import PLAIN, load_letterhead
    from wqcheck.verification.paper import verify_paper

    report = verify_paper(_content(file), letterhead=load_letterhead(letterhead) if letterhead else PLAIN)
    for check in report.checks:
        typer.echo(f"{check.outcome:<12} {check.what}: {check.message}")
    raise typer.Exit(0 if report.sound else CHECKED_NOT_RELEASED)


@papers_app.command()
def schema() -> None:
    """Print the JSON Schema of certificates and notices."""
    from importlib import resources

    typer.echo(resources.files("wqcheck").joinpath("certificate_schema.json").read_text("utf-8"), nl=False)


@papers_app.command()
def sign(
    file: Annotated[Path, typer.Argument(help="JSON of the certificate or notice.")],
    key: KeyFile,
    password: Password,
    out: Annotated[Path, typer.Option("--out", help="The signed PDF, a new file.")],
    letterhead: LetterheadFile = None,
) -> None:
    """Print a certificate or notice from its JSON and sign it (PAdES); the PDF states who signed and when."""
    from wqcheck.certificate.data import from_json
    from wqcheck.certificate_files.letterhead import PLAIN, load_letterhead
    from wqcheck.signatures.keys import load_key
    from wqcheck.signatures.signing import signed_pdf

    try:
        certificate = from_json(_content(file).decode("utf-8"))
    except ValueError as error:
        raise WqcheckError(f"{file}: {error}") from error
    head = load_letterhead(letterhead) if letterhead else PLAIN
    signed = signed_pdf(certificate, load_key(key, password), at=datetime.now().astimezone(), letterhead=head)
    _write_new(out, signed)
    typer.echo(out)


@keys_app.command()
def new(
    name: Annotated[str, typer.Option("--name", help="Who signs, printed on each paper.")],
    out: Annotated[Path, typer.Option("--out", help="The key, a new file that ends in .p12.")],
    password: Annotated[
        str,
        typer.Option("--password", envvar=PASSWORD, prompt=True, hide_input=True, confirmation_prompt=True,
                     help="Asked for when not given."),
    ],
) -> None:  # fmt: skip
    """Make a self-signed key: nobody but the plant vouches for it, so publish its SHA-256 where customers look."""
    from wqcheck.signatures.keys import load_key, new_key

    _write_new(out, new_key(name, password, now=datetime.now().astimezone()))
    out.chmod(0o600)
    typer.echo(f"{out}: self-signed key of {name}; SHA-256 of its certificate:\n{load_key(out, password).fingerprint}")


def _content(file: Path) -> bytes:
    try:
        return file.read_bytes()
    except OSError as error:
        raise WqcheckError(f"{file}: the file cannot be opened ({error.strerror}); check the name") from error


def _write_new(out: Path, content: bytes) -> None:
    if out.exists():
        raise WqcheckError(f"{out} exists; choose another name or remove it first")
    out.parent.mkdir(parents=True, exist_ok=True)
    out.write_bytes(content)
