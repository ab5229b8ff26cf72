"""Turns the ``wqcheck records`` commands into calls of the record store."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from wqcheck.commands.acting import DEFAULT_STORE, As, Number, PeopleFile, Place, Why, act_of, opened
from wqcheck.commands.exit_codes import CHECKED_NOT_RELEASED
from wqcheck.commands.layout import LayoutsFolder, layouts_folder
from wqcheck.commands.record_papers import record_papers_app
from wqcheck.commands.record_parts import record_parts_app
from wqcheck.commands.terminal import AsJson, print_decision, print_table, say
from wqcheck.errors import WqcheckError

if TYPE_CHECKING:
    import pandas as pd

    from wqcheck.records.roles import Act
    from wqcheck.records.standing import State

records_app = typer.Typer(
    no_args_is_help=True,
    help="The record store: batches, reviews, decisions, numbered documents, recall, verification and backup.",
)
records_app.add_typer(record_papers_app)
records_app.add_typer(record_parts_app)


@records_app.command()
def init(place: Place = DEFAULT_STORE) -> None:
    """Make a record store, or bring an older one up to date."""
    from wqcheck.records.schema import SCHEMA_VERSION
    from wqcheck.records.store import open_store

    store = open_store(place)
    typer.echo(f"{store.name}: ready (schema {SCHEMA_VERSION})")
    store.close()


@records_app.command("import")
def take_in_books(
    books: Annotated[list[Path], typer.Argument(help="Workbooks or CSV files as the laboratory sent them.")],
    limits: Annotated[
        list[str] | None, typer.Option("--limits", help="Shipped table or CSV file; none: keep the sheets for later.")
    ] = None,
    product: Annotated[
        str, typer.Option(help="Kind of water: tap, packaged, spring, natural mineral or purified.")
    ] = "packaged",
    batch: Annotated[str, typer.Option(help="Batch number; what the sheet says by default.")] = "",
    train: Annotated[
        Path | None, typer.Option("--train", help="Train file (TOML): stages and sampling points.")
    ] = None,
    rules: Annotated[
        Path | None, typer.Option("--rules", help="Release-rules file (TOML); the shipped one by default.")
    ] = None,
    on: Annotated[str, typer.Option("--on", help="Day taken for undated results, 2026-03-31; today by default.")] = "",
    layouts: LayoutsFolder = None,
    place: Place = DEFAULT_STORE,
    person: As = "",
    people: PeopleFile = None,
    why: Why = "",
) -> None:
    """Check workbooks against limits and take the batch in; without --limits keep them as received."""
    from wqcheck.batch import check_workbook
    from wqcheck.records.intake import files_used, receive, take_in
    from wqcheck.release.decision import BatchDetails
    from wqcheck.sheet_layouts.loading import layout_files

    act, day = act_of(person, people, why), _day(on)
    if not limits:
        with opened(place) as store:
            new = receive(store, [(book.name, book.read_bytes()) for book in books if _is_file(book)], act)
        typer.echo(f"{len(books)} sheet(s) kept as received, {new} of them new")
        return
    checked = check_workbook(
        books, details=BatchDetails(batch=batch, product=product), limits=limits, train=train, rules=rules, on=day,
        product=product, layouts=layouts_folder(layouts),
    )  # fmt: skip
    files = [*files_used(books, limits, train, rules), *layout_files(layouts_folder(layouts))]
    with opened(place) as store:
        version = take_in(store, checked, act, files, on=day)
    say(checked.findings)
    print_decision(checked)
    typer.echo(f"batch {checked.details.batch}: taken in, check {version}; it is received and waits for review")


@records_app.command("batches")
def list_batches(
    state: Annotated[str, typer.Option(help="Only those in this state, such as 'under review'.")] = "",
    place: Place = DEFAULT_STORE,
    as_json: AsJson = False,
) -> None:
    """List the batches, those that changed last first."""
    from wqcheck.records.batches import batches

    with opened(place) as store:
        frame = batches(store, state=_state(state) if state else None)
    _show(frame, as_json)


@records_app.command()
def show(batch: Number, place: Place = DEFAULT_STORE, as_json: AsJson = False) -> None:
    """Show one batch: where it stands, its steps, flags, parts, remarks and documents."""
    from wqcheck.records.batches import batch as open_batch
    from wqcheck.records.batches import flags

    with opened(place) as store:
        record, flagged = open_batch(store, batch), flags(store, batch)
    if as_json:
        from wqcheck.commands.terminal import check_json

        typer.echo(check_json(record.check, record.check.judged))
        return
    print_decision(record.check, most=8)
    typer.echo(f"state: {record.standing.state} since {record.standing.at} (check {record.check_version})\n")
    print_table(record.steps.fillna(""))
    for title, frame in (("flags", flagged[["verdict", "parameter", "reported", "table", "cell", "reason"]]),
                         ("remarks", record.remarks), ("documents", record.documents)):  # fmt: skip
        if len(frame):
            typer.echo(f"\n{title}:")
            print_table(frame)
    for part in record.parts:
        typer.echo(f"  {part}")


@records_app.command()
def review(
    batch: Number, place: Place = DEFAULT_STORE, person: As = "", people: PeopleFile = None, why: Why = ""
) -> None:
    """Sign the review of the latest check (a reviewer)."""
    _decide(batch, place, act_of(person, people, why), "under review")


@records_app.command()
def release(
    batch: Number,
    place: Place = DEFAULT_STORE,
    person: As = "",
    people: PeopleFile = None,
    why: Why = "",
    override: Annotated[
        bool, typer.Option("--override", help="Against a recommended hold; the certificate prints the reason.")
    ] = False,
) -> None:
    """Release a reviewed batch (an authorised releaser who has not reviewed it)."""
    _decide(batch, place, act_of(person, people, why), "released", override=override)


@records_app.command()
def hold(
    batch: Number, place: Place = DEFAULT_STORE, person: As = "", people: PeopleFile = None, why: Why = ""
) -> None:
    """Put a batch on hold, with a written reason."""
    _decide(batch, place, act_of(person, people, why), "on hold")


@records_app.command()
def reject(
    batch: Number, place: Place = DEFAULT_STORE, person: As = "", people: PeopleFile = None, why: Why = ""
) -> None:
    """Reject a batch, with a written reason."""
    _decide(batch, place, act_of(person, people, why), "rejected")


@records_app.command()
def touched(
    kind: Annotated[str, typer.Argument(help="sample, workbook, lab, point, 'limit table' or 'limit row'.")],
    value: Annotated[str, typer.Argument(help="Its name; a limit row as TABLE:LINE.")],
    place: Place = DEFAULT_STORE,
    as_json: AsJson = False,
) -> None:
    """List every batch that rests on a sample, workbook, laboratory, point, limit table or limit row."""
    from wqcheck.records.touched import Touch, batches_touched_by

    if kind not in list(Touch):
        raise WqcheckError(f"say what is in doubt: {', '.join(Touch)} (given: {kind!r})")
    with opened(place) as store:
        frame = batches_touched_by(store, Touch(kind), value)
    _show(frame, as_json)
    typer.echo(f"{len(frame)} batch(es) rest on the {kind} {value}", err=True)


@records_app.command()
def verify(
    anchor: Annotated[list[str] | None, typer.Option(help="Head of the log known from elsewhere, NUMBER:HASH.")] = None,
    certificate: Annotated[
        list[Path] | None, typer.Option(help="JSON of a certificate that was issued; it knows the head of its day.")
    ] = None,
    place: Place = DEFAULT_STORE,
) -> None:
    """Find whatever in the store is not as it was recorded; exit code 1 when something is."""
    from wqcheck.records.verify import verify as verify_store

    anchors = [*(anchor or []), *map(_head_in, certificate or [])]
    with opened(place) as store:
        result = verify_store(store, anchors)
    for one in result.found:
        typer.echo(str(one))
    outcome = f"{len(result.found)} thing(s) are not as they were recorded" if result.found else "sound"
    typer.echo(f"{store.name}: {outcome}; {result.entries} log entries and {result.rows} rows, head {result.head}")
    raise typer.Exit(CHECKED_NOT_RELEASED if result.found else 0)


@records_app.command()
def backup(to: Annotated[Path, typer.Argument(help="Backup file to make.")], place: Place = DEFAULT_STORE) -> None:
    """Write a consistent copy of the store with its digest, while others go on working."""
    from wqcheck.records.backup import backup as write_backup

    with opened(place) as store:
        digest = write_backup(store, to)
    typer.echo(f"{to}: SHA-256 {digest}")


@records_app.command()
def restore(source: Annotated[Path, typer.Argument(help="Backup file.")], place: Place = DEFAULT_STORE) -> None:
    """Make a new store from a backup after verifying it; nothing is written over."""
    from wqcheck.records.backup import restore as restore_store

    result = restore_store(source, place)
    typer.echo(f"{place}: restored and sound; {result.entries} log entries and {result.rows} rows, head {result.head}")


@records_app.command()
def export(to: Annotated[Path, typer.Argument(help="Zip file to make.")], place: Place = DEFAULT_STORE) -> None:
    """Write all records as CSV and JSON with the original files into a zip with a manifest of digests."""
    from wqcheck.records.export import export as export_store

    with opened(place) as store:
        members = export_store(store, to)
    typer.echo(f"{to}: {len(members)} files and manifest.json")


@records_app.command("log")
def print_log(
    last: Annotated[int, typer.Option(help="How many entries, counted from the end; 0 for all.")] = 20,
    place: Place = DEFAULT_STORE,
) -> None:
    """Print the log, oldest first, and its head; keep the head outside of the store."""
    from wqcheck.records.log import entries, head

    with opened(place) as store, store.reading() as connection:
        for row in entries(connection, last):
            why = f": {row['why']}" if row["why"] else ""
            typer.echo(f"{row['seq']:>6}  {row['at']}  {row['person']:<12} {row['action']} {row['subject']}{why}")
        typer.echo(f"head {head(connection)}")


def _decide(batch: str, place: str, act: Act, to: str, *, override: bool = False) -> None:
    from wqcheck.records.decisions import decide

    with opened(place) as store:
        decide(store, batch, act, _state(to), override=override)
    typer.echo(f"batch {batch}: {to}, signed by {act.by.name}")


def _state(text: str) -> State:
    from wqcheck.records.standing import State

    if text not in list(State):
        raise WqcheckError(f"a state is one of {', '.join(State)} (given: {text!r})")
    return State(text)


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text) if text else date.today()
    except ValueError:
        raise WqcheckError(f"--on takes a day like 2026-03-31 (given: {text!r})") from None


def _is_file(path: Path) -> bool:
    if not path.is_file():
        raise WqcheckError(f"{path} does not exist or is a folder; check the name")
    return True


def _head_in(path: Path) -> str:
    """Give the head of the log that the JSON of a certificate knows."""
    import json

    from wqcheck.certificate.data import verify_digest

    text = path.read_text(encoding="utf-8") if _is_file(path) else ""
    if not verify_digest(text):
        raise WqcheckError(f"{path} is no certificate as it was issued: its content does not match its digest")
    record = json.loads(text).get("record", "")
    if not record:
        raise WqcheckError(f"{path} was not issued from a record store and knows no head")
    return str(record)


def _show(frame: pd.DataFrame, as_json: bool) -> None:
    if as_json:
        typer.echo(frame.to_json(orient="records", force_ascii=False, indent=2))
    elif frame.empty:
        typer.echo("none", err=True)
    else:
        print_table(frame)
