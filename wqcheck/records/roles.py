"""Turns a people file (TOML) into persons with roles, and an act that a person may not do into a clear refusal.

Passwords are never kept: the page learns who someone is from a login service (OIDC), and this file says who that is.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import Any

from wqcheck.errors import RecordRefusedError
from wqcheck.plant_files import (
    is_list_of_texts,
    is_text,
    read_plant_file,
    refuse_problems,
    replace_plant_file,
    toml_text,
    unknown_keys,
)


class Role(StrEnum):
    """What a person may do: take in, review, release, or only look."""

    ANALYST = "analyst"
    REVIEWER = "reviewer"
    RELEASER = "releaser"
    AUDITOR = "auditor"


WORKING = (Role.ANALYST, Role.REVIEWER, Role.RELEASER)
"""Roles that may take in, attach and remark; an auditor only looks."""

_SAID = {
    Role.ANALYST: "an analyst",
    Role.REVIEWER: "a reviewer",
    Role.RELEASER: "an authorised releaser",
    Role.AUDITOR: "an auditor",
}
_KEYS = ("person", "name", "email", "subject", "roles")
_SECRETS = ("password", "passwd", "secret", "token", "hash")


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """Someone who acts on the records.

    Attributes
    ----------
    person : str
        Short name, which the records keep; it never passes to someone else.
    name : str
        Name as documents print it.
    roles : frozenset of Role
    email, subject : str
        What the login service says of them: e-mail address and OIDC subject; either may be blank.
    """

    person: str
    name: str
    roles: frozenset[Role]
    email: str = ""
    subject: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Act:
    """Who acts, when (with time zone) and why; a step that needs a written reason refuses a blank one."""

    by: Person
    at: datetime
    why: str = ""


@dataclass(frozen=True, slots=True)
class People:
    """The persons of a plant; in a single-user installation (no file) whoever sits there is named and has all roles."""

    listed: tuple[Person, ...]
    single_user: bool = False

    def named(self, text: str) -> Person:
        """Return the person of that short name or name.

        Raises
        ------
        RecordRefusedError
            The people file does not list them, or no name was given.
        """
        wanted = text.strip()
        if not wanted:
            raise RecordRefusedError("nobody is named as the one who acts; give a person (--as PERSON)")
        if self.single_user:
            return Person(person=wanted.casefold(), name=wanted, roles=frozenset(Role) - {Role.AUDITOR})
        for person in self.listed:
            if wanted.casefold() in {person.person.casefold(), person.name.casefold()}:
                return person
        raise RecordRefusedError(f"the people file does not list {wanted!r}; add them with their roles, or correct it")

    def logged_in(self, *, subject: str, email: str = "", email_verified: bool = False) -> Person:
        """Return the person whom the login service names.

        Parameters
        ----------
        subject : str
            Claim ``sub`` of OpenID Connect Core 1.0, section 2; it decides where the file gives one.
        email, email_verified
            Claims of section 5.1; an address counts only when it is verified, and only for an entry without subject.

        Raises
        ------
        RecordRefusedError
            No entry of the people file fits.
        """
        by_subject = [person for person in self.listed if subject and person.subject == subject]
        by_email = [
            person for person in self.listed
            if email and email_verified and not person.subject and person.email.casefold() == email.casefold()
        ]  # fmt: skip
        if by_subject or by_email:
            return (by_subject or by_email)[0]
        hint = "" if email_verified or not email else "; the login service has not verified the address"
        raise RecordRefusedError(
            f"nobody in the people file has the login {email or subject!r}{hint}; ask for an entry"
        )


def single_user() -> People:
    """Return the people of an installation without a people file."""
    return People(listed=(), single_user=True)


def load_people(path: Path | str | None) -> People:
    """Return the persons of a people file, or a single-user installation where there is none.

    Raises
    ------
    wqcheck.errors.PlantFileError
        Everything that is wrong with the file.
    """
    if path is None:
        return single_user()
    data, _ = read_plant_file(path)
    problems = [*unknown_keys(data, ("people",), "the file")]
    entries = data.get("people")
    if not isinstance(entries, list) or not entries:
        problems.append("the file lists nobody; write one [[people]] entry for each person")
        entries = []
    for number, entry in enumerate(entries, start=1):
        problems += _entry_problems(entry, f"people entry {number}")
    refuse_problems(path, problems)
    refuse_problems(path, list(_double_problems(entries)))
    return People(tuple(map(_person, entries)))


def save_people(people: People, path: Path, *, at: datetime) -> None:
    """Write a people file; the one before is kept beside it under its time.

    Raises
    ------
    RecordRefusedError
        Nobody could release, or nobody else could review.
    wqcheck.errors.PlantFileError
        Everything that is wrong with an entry; the file before still stands.
    """
    releasers = {person.person for person in people.listed if Role.RELEASER in person.roles}
    reviewers = {person.person for person in people.listed if Role.REVIEWER in person.roles}
    if not any(reviewers - {releaser} for releaser in releasers):
        raise RecordRefusedError(
            "with these roles no batch could be released: that takes an authorised releaser and another person who "
            "reviews; give the roles to two people"
        )
    replace_plant_file(path, toml_text({}, {"people": list(map(_entry, people.listed))}), at=at, check=load_people)


def _entry(person: Person) -> dict[str, str | list[str]]:
    texts = {key: getattr(person, key) for key in _KEYS[:-1]}
    return {key: text for key, text in texts.items() if text} | {"roles": sorted(person.roles)}


def require(act: Act, roles: tuple[Role, ...], what: str) -> None:
    """Refuse an act whose person has none of the roles that may do *what* (a verb with its object).

    Raises
    ------
    RecordRefusedError
        They may not, or the time of the act has no time zone.
    """
    if act.at.tzinfo is None:
        raise RecordRefusedError("the time of an act needs its time zone, or nobody can say later when it was")
    if not act.by.roles & set(roles):
        have = ", ".join(sorted(_SAID[role] for role in act.by.roles)) or "nobody with a role"
        allowed = " or ".join(_SAID[role] for role in roles)
        raise RecordRefusedError(f"{act.by.name} may not {what}: that takes {allowed}, and they are {have}")


def _person(entry: Mapping[str, Any]) -> Person:
    texts = {key: str(entry.get(key, "")).strip() for key in ("person", "name", "email", "subject")}
    return Person(**{**texts, "name": texts["name"] or texts["person"]}, roles=frozenset(map(Role, entry["roles"])))


def _entry_problems(entry: object, where: str) -> Iterator[str]:
    if not isinstance(entry, dict):
        yield f"{where}: this is no table; write it under [[people]]"
        return
    for key in entry:
        if str(key).casefold() in _SECRETS:
            yield f"{where}: {key} is a secret and must not stand here; remove it and change it where it was used"
    known = {key: value for key, value in entry.items() if str(key).casefold() not in _SECRETS}
    yield from unknown_keys(known, _KEYS, where)
    if not is_text(entry.get("person")):
        yield f"{where}: person is missing; give a short name that never passes to someone else"
    for key in ("name", "email", "subject"):
        if key in entry and not is_text(entry[key]):
            yield f"{where}: {key} must be text (given: {entry[key]!r})"
    roles = entry.get("roles")
    if not is_list_of_texts(roles) or not roles or not set(roles) <= set(Role):
        yield f"{where}: roles must be a list of {', '.join(Role)} (given: {roles!r})"


def _double_problems(entries: list[dict[str, str]]) -> Iterator[str]:
    for key in ("person", "email", "subject"):
        given = [str(entry[key]).strip().casefold() for entry in entries if entry.get(key)]
        for text in sorted({text for text in given if given.count(text) > 1}):
            yield f"{key} {text!r} stands in {given.count(text)} entries; each belongs to one person"
