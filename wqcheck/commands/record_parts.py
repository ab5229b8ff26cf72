"""Turns the ``records`` commands on parts of a batch, remarks and plant readings into records of the store."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from wqcheck.commands.acting import DEFAULT_STORE, As, Number, PeopleFile, Place, Why, act_of, opened
from wqcheck.errors import WqcheckError

if TYPE_CHECKING:
    from wqcheck.records.parts import Part
    from wqcheck.records.roles import Act

record_parts_app = typer.Typer(add_completion=False)

Code = Annotated[
    str, typer.Argument(help="Its code; one that the batch has already takes the place of the earlier one.")
]


@record_parts_app.command("sub-lot")
def sub_lot(
    batch: Number,
    code: Code,
    containers: Annotated[str, typer.Option(help="Its containers: how many, or from which to which.")] = "",
    volume: Annotated[str, typer.Option(help="Its volume with the unit, such as 1.2 m3.")] = "",
    note: Annotated[str, typer.Option(help="What sets the part apart.")] = "",
    place: Place = DEFAULT_STORE,
    person: As = "",
    people: PeopleFile = None,
) -> None:
    """Record a part of a batch that can be told apart, such as a pallet or an hour of filling."""
    from wqcheck.records.parts import SubLot

    part = SubLot(code=code, containers=containers, volume=volume, note=note)
    _attach(batch, part, place, act_of(person, people, ""))


@record_parts_app.command()
def retain(
    batch: Number,
    code: Code,
    quantity: Annotated[str, typer.Option(help="What is kept back, such as 6 bottles of 0.5 L.")],
    kept_at: Annotated[str, typer.Option("--kept-at", help="Where it is kept.")],
    keep_until: Annotated[str, typer.Option("--keep-until", help="Day until which it is kept, 2027-03-31.")],
    place: Place = DEFAULT_STORE,
    person: As = "",
    people: PeopleFile = None,
) -> None:
    """Record a retained sample of a batch: what, where, and until which day."""
    from wqcheck.records.parts import RetainedSample

    until = _day_of("--keep-until", keep_until)
    part = RetainedSample(code=code, quantity=quantity, kept_at=kept_at, keep_until=until)
    _attach(batch, part, place, act_of(person, people, ""))


@record_parts_app.command()
def link(
    batch: Number,
    code: Code,
    role: Annotated[str, typer.Option(help="finished product, in-process, source or yearly panel.")],
    origin: Annotated[str, typer.Option(help="Workbook or batch that holds its results.")] = "",
    valid_until: Annotated[str, typer.Option("--valid-until", help="Last day that a yearly panel counts.")] = "",
    place: Place = DEFAULT_STORE,
    person: As = "",
    people: PeopleFile = None,
) -> None:
    """Record a sample that answers for a batch too, such as the yearly panel that is still in date."""
    from wqcheck.records.parts import LinkedSample, SampleRole

    if role not in list(SampleRole):
        raise WqcheckError(f"--role must be one of {', '.join(SampleRole)} (given: {role!r})")
    until = _day_of("--valid-until", valid_until) if valid_until else None
    part = LinkedSample(code=code, role=SampleRole(role), origin=origin, valid_until=until)
    _attach(batch, part, place, act_of(person, people, ""))


@record_parts_app.command()
def remark(
    batch: Number,
    text: Annotated[str, typer.Argument(help="The remark.")],
    cell: Annotated[str, typer.Option(help="Cell of the result that it is about, such as 'Run!F12'.")] = "",
    parameter: Annotated[str, typer.Option(help="Parameter that it is about, a code or a name.")] = "",
    place: Place = DEFAULT_STORE,
    person: As = "",
    people: PeopleFile = None,
) -> None:
    """Keep a written remark on a batch, or on one of its results; nothing is taken back or changed later."""
    from wqcheck.records.remarks import remark_at

    with opened(place) as store:
        about = remark_at(store, batch, act_of(person, people, ""), text, cell=cell, parameter=parameter)
    typer.echo(f"batch {batch}: remark kept, about {about or 'the batch'}")


@record_parts_app.command("plant-readings")
def plant_readings(
    file: Annotated[Path, typer.Argument(help="Plant readings of one day: TOML, workbook or CSV.")],
    on: Annotated[str, typer.Option(help="Day of the readings, 2026-03-31; today by default.")] = "",
    place: Place = DEFAULT_STORE,
    person: As = "",
    people: PeopleFile = None,
    why: Why = "",
) -> None:
    """Record the plant readings of a day; a later file for the same day is a correction of it."""
    from wqcheck.plant.log import open_plant_readings
    from wqcheck.records.intake import keep_plant_readings

    plant, day = open_plant_readings(file), _day_of("--on", on) if on else date.today()
    with opened(place) as store:
        keep_plant_readings(store, (file.name, file.read_bytes()), plant, act_of(person, people, why), day=day)
    typer.echo(f"{file.name}: plant readings of {plant.name} recorded for {day}")


def _attach(batch: str, part: Part, place: str, act: Act) -> None:
    from wqcheck.records.parts import attach

    with opened(place) as store:
        attach(store, batch, act, [part])
    typer.echo(f"batch {batch}: {part.code} recorded")


def _day_of(option: str, text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise WqcheckError(f"{option} takes a day like 2026-03-31 (given: {text!r})") from None
