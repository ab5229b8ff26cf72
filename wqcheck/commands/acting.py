"""Turns the options ``--store``, ``--as``, ``--people`` and ``--why`` into an open store and an act on it."""

from __future__ import annotations

import getpass
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from wqcheck.records.roles import Act
    from wqcheck.records.store import Store

Place = Annotated[
    str, typer.Option("--store", envvar="WQCHECK_STORE", help="SQLite file, or postgresql://user@host/database.")
]
As = Annotated[str, typer.Option("--as", help="Person who acts; the name of your login by default.")]
PeopleFile = Annotated[
    Path | None, typer.Option("--people", envvar="WQCHECK_PEOPLE", help="People file (TOML): who has which roles.")
]
Why = Annotated[str, typer.Option("--why", help="Written reason.")]
Number = Annotated[str, typer.Argument(help="Batch number.")]

DEFAULT_STORE = "records.sqlite"


@contextmanager
def opened(place: str) -> Iterator[Store]:
    """Open a store that must be there, and close it."""
    from wqcheck.records.store import open_store

    store = open_store(place, create=False)
    try:
        yield store
    finally:
        store.close()


def act_of(person: str, people: Path | None, why: str) -> Act:
    """Return an act of now by a person of the people file, or by whoever is named where there is none."""
    from wqcheck.records.roles import Act, load_people

    return Act(by=load_people(people).named(person or getpass.getuser()), at=datetime.now().astimezone(), why=why)
