"""Turns the arguments of the page into where its records are, who acts there, and acts on them in clear words."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import streamlit as st

from wqcheck.errors import RecordRefusedError, WqcheckError
from wqcheck.page.login import draw_logged_in, draw_refused, login_is_set_up, open_to_others
from wqcheck.page.spoken import say
from wqcheck.page.words import plain, refusal_text
from wqcheck.plant_settings import FILE_NAME, PlantSettings, load_plant_settings
from wqcheck.records.roles import Act, People, Person, Role, load_people
from wqcheck.records.store import Store, open_store

DEFAULT_STORE = "records.sqlite"
PERSON_KEY = "person who acts"
SAID_KEY = "said about the last act"
NOTHING_SAID = (True, "", "")


@dataclass(frozen=True, slots=True, kw_only=True)
class Office:
    """Where the records are and who may act; ``person`` is who acts now, None until somebody is named.

    ``plant`` are the settings of the plant as they stand in ``plant_file``, which need not be there yet.
    """

    place: str
    people: People
    person: Person | None
    plant: PlantSettings
    plant_file: Path

    @property
    def may_set(self) -> bool:
        """Whether the one who acts may change the settings: an authorised releaser, or the single user."""
        return self.person is not None and Role.RELEASER in self.person.roles

    def file(self, name: str) -> Path | None:
        """Return a file or folder that the settings name, beside the settings file; None where they name none."""
        return self.plant_file.parent / name if name.strip() else None

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
        """Return an act of the person at the page, now: of the one whose name stands in the field at the click.

        Raises
        ------
        RecordRefusedError
            Nobody is named.
        """
        person = self.person
        if PERSON_KEY in st.session_state:
            name = str(st.session_state[PERSON_KEY] or "")
            person = self.people.named(name) if name.strip() else None
        if person is None:
            raise RecordRefusedError("nobody is named as the one who acts; choose who you are in the side panel")
        return Act(by=person, at=datetime.now().astimezone(), why=why.strip())


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """The arguments of the page, as given on the command line; blank where left out."""

    store: str
    people: str
    person: str
    settings: str


def given_to(arguments: Sequence[str]) -> Given:
    """Read ``--store PLACE --people FILE --as PERSON --settings FILE``, each of which may be left out."""
    parser = argparse.ArgumentParser(allow_abbrev=False, add_help=False)
    parser.add_argument("--store", default=DEFAULT_STORE)
    parser.add_argument("--people", default="")
    parser.add_argument("--as", dest="person", default="")
    parser.add_argument("--settings", default="")
    known, _ = parser.parse_known_args(list(arguments))
    return Given(**vars(known))


def plant_of(given: Given) -> tuple[PlantSettings, Path]:
    """Return the settings of the plant and their file; the defaults where there is none yet.

    Raises
    ------
    wqcheck.errors.PlantFileError
        The file is not usable, or was named and is not there.
    """
    path = Path(given.settings or FILE_NAME).expanduser()
    return (load_plant_settings(path) if given.settings or path.is_file() else PlantSettings()), path


def draw_office(given: Given, plant: PlantSettings, plant_file: Path) -> Office:
    """Draw who acts and where the records are, and give both.

    Raises
    ------
    WqcheckError
        The people file is not usable, or does not list the person.
    """
    people = load_people(given.people or (plant_file.parent / plant.people if plant.people else None))
    with st.sidebar:
        person = _draw_who(people, given.person)
        if person is not None:
            roles = plain(", ".join(say(role) for role in sorted(person.roles)))
            st.caption(say("You act as **{name}** ({roles}).", name=plain(person.name), roles=roles))
        if person is None and not open_to_others():
            st.caption(say("Nobody is named yet: say who you are before you record or sign."))
        st.caption(say("Records are kept in {place}", place=plain(given.store)))
    return Office(place=given.store, people=people, person=person, plant=plant, plant_file=plant_file)


def do(act: Callable[[], str], button: str = "") -> None:
    """Run an act and keep what is to be said of it, so that it is still said after the page is drawn again.

    A refusal is said at the button of the key ``button``, by :func:`draw_refusal`; all else over the page.
    """
    try:
        st.session_state[SAID_KEY] = (True, act(), "")
    except WqcheckError as refusal:
        st.session_state[SAID_KEY] = (False, refusal_text(refusal), button)


def draw_refusal(button: str) -> None:
    """Draw at the button of that key why its act was refused, once."""
    done, text, at = st.session_state.get(SAID_KEY, NOTHING_SAID)
    if text and not done and at == button:
        st.session_state.pop(SAID_KEY)
        st.error(text)


def draw_said() -> None:
    """Draw what came of the last act, once, where no button has drawn it."""
    done, text, _ = st.session_state.pop(SAID_KEY, NOTHING_SAID)
    if text:
        (st.success if done else st.error)(text)


def _draw_who(people: People, given: str) -> Person | None:
    """Give who acts: whom the login service names, else the one given, chosen of the people file, or named."""
    if login_is_set_up():
        return draw_logged_in(people)
    if open_to_others():
        draw_refused()
        return None
    name = given or (_draw_name() if people.single_user else _draw_listed(people))
    return people.named(name) if name.strip() else None


def _draw_name() -> str:
    return st.text_input(
        say("Who acts"), key=PERSON_KEY, placeholder=say("your name"),
        help=say("There is no people file, so whoever sits here is named. Review and release still take two persons."),
    )  # fmt: skip


def _draw_listed(people: People) -> str:
    names = [person.person for person in people.listed]
    hint = say("choose who you are")
    return st.selectbox(say("Who acts"), names, index=None, key=PERSON_KEY, placeholder=hint) or ""


def _file_number(place: str) -> int:
    """Tell one file from another that was put in its place."""
    return Path(place).expanduser().stat().st_ino if "://" not in place and Path(place).expanduser().is_file() else 0


@st.cache_resource(max_entries=4, show_spinner=False)
def _kept_open(place: str, file_number: int) -> Store:
    """Open a store once; ``file_number`` opens again when the file is another one."""
    return open_store(place, create=False)
