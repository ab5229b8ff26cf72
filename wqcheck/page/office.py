"""Turns the arguments of the page into where its records are, who acts there, and acts on them in clear words."""

from __future__ import annotations

import argparse
import getpass
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import streamlit as st

from wqcheck.errors import RecordRefusedError, WqcheckError
from wqcheck.page.words import message_text, plain
from wqcheck.records.roles import Act, People, Person, load_people
from wqcheck.records.store import Store, open_store

DEFAULT_STORE = "records.sqlite"
PERSON_KEY = "person who acts"
SAID_KEY = "said about the last act"


@dataclass(frozen=True, slots=True, kw_only=True)
class Office:
    """Where the records are and who may act; ``person`` is who acts now, None until somebody is named."""

    place: str
    people: People
    person: Person | None

    @property
    def exists(self) -> bool:
        """Whether there is a store to read: a database is taken to be there, a file is looked for."""
        return "://" in self.place or Path(self.place).expanduser().is_file()

    def store(self, *, create: bool = False) -> Store:
        """Return the open store; it stays open for all tabs of the page.

        Raises
        ------
        wqcheck.errors.StoreError
            It cannot be opened, or is not there and may not be made.
        """
        if not self.exists and create:
            open_store(self.place).close()
        return _kept_open(self.place, _file_number(self.place))

    def act(self, why: str = "") -> Act:
        """Return an act of the person at the page, now.

        Raises
        ------
        RecordRefusedError
            Nobody is named.
        """
        if self.person is None:
            raise RecordRefusedError("nobody is named as the one who acts; choose who you are in the side panel")
        return Act(by=self.person, at=datetime.now().astimezone(), why=why.strip())


def draw_office(arguments: Sequence[str]) -> Office:
    """Draw who acts and where the records are, and give both.

    Parameters
    ----------
    arguments : sequence of str
        ``--store PLACE --people FILE --as PERSON``, each of which may be left out.

    Raises
    ------
    WqcheckError
        The people file is not usable, or does not list the person.
    """
    parser = argparse.ArgumentParser(allow_abbrev=False, add_help=False)
    parser.add_argument("--store", default=DEFAULT_STORE)
    parser.add_argument("--people", default=None)
    parser.add_argument("--as", dest="person", default="")
    given, _ = parser.parse_known_args(list(arguments))
    people = load_people(given.people)
    with st.sidebar:
        name = given.person or _draw_who(people)
        person = people.named(name) if name.strip() else None
        if person is not None:
            st.caption(f"You act as **{plain(person.name)}** ({plain(', '.join(sorted(person.roles)))}).")
        st.caption(f"Records: {plain(given.store)}")
    return Office(place=given.store, people=people, person=person)


def do(act: Callable[[], str]) -> None:
    """Run an act and keep what is to be said of it, so that it is still said after the page is drawn again."""
    try:
        st.session_state[SAID_KEY] = (True, act())
    except WqcheckError as refusal:
        st.session_state[SAID_KEY] = (False, refusal_text(refusal))


def draw_said() -> None:
    """Draw what came of the last act, once."""
    done, text = st.session_state.pop(SAID_KEY, (True, ""))
    if text:
        (st.success if done else st.error)(text)


def refusal_text(refusal: WqcheckError) -> str:
    """Write a refusal without the options of the command line, which the page has as fields."""
    return message_text(re.sub(r" \((--[a-z]+ ?)+[A-Z]*\)", "", str(refusal)))


def _draw_who(people: People) -> str:
    """Ask who sits there: of the people file, or by name where there is none."""
    if people.single_user:
        return st.text_input(
            "Who acts", value=getpass.getuser(), key=PERSON_KEY,
            help="There is no people file, so whoever sits here is named. Review and release still take two persons.",
        )  # fmt: skip
    names = [person.person for person in people.listed]
    return st.selectbox("Who acts", names, index=None, key=PERSON_KEY, placeholder="choose who you are") or ""


def _file_number(place: str) -> int:
    """Tell one file from another that was put in its place."""
    return Path(place).expanduser().stat().st_ino if "://" not in place and Path(place).expanduser().is_file() else 0


@st.cache_resource(max_entries=4, show_spinner=False)
def _kept_open(place: str, file_number: int) -> Store:
    """Open a store once; ``file_number`` opens again when the file is another one."""
    return open_store(place, create=False)
