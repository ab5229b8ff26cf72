"""Turns the shipped limit tables and the plant's own folder of them into those that a person can choose on the page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import streamlit as st

from wqcheck.errors import LimitTableError
from wqcheck.findings import Finding, Severity
from wqcheck.limit_comparison.overrides import apply_overrides, overridden_names
from wqcheck.limit_tables.loading import LimitTable, limit_table, load_limits, shipped_tables
from wqcheck.limit_tables.own_folder import OwnTable, digest_of, own_files, own_tables
from wqcheck.page.shown import table_title, titles_in
from wqcheck.page.spoken import count_text, say
from wqcheck.page.words import plain
from wqcheck.tables import Limits, Product

TABLES_KEY = "limit tables"
FIRST_TABLES = ("who_gdwq_2022", "us_21cfr165_110b")

NamedBytes = tuple[str, bytes]


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """One limit table that can be chosen: a shipped name or the path of an own file, and why it cannot be used."""

    value: str
    label: str
    own: bool = False
    problem: str = ""


def table_choices(folder: Path | None) -> Mapping[str, Choice]:
    """Return what can be chosen by its value: the plant's own tables first, then the shipped ones."""
    found = [
        Choice(value=str(own.path), label=table_title(own.path.stem, own=True), own=True, problem=own.problem)
        for own in _own(folder)
    ]
    found += [Choice(value=name, label=table_title(name)) for name in shipped_tables()]
    return {choice.value: choice for choice in found}


def chosen_first(choices: Mapping[str, Choice], chosen: Sequence[str]) -> Mapping[str, Choice]:
    """Return choices in the order in which a person looks for them: chosen for checks, own, then by title."""
    order = sorted(choices, key=lambda value: (value not in chosen, not choices[value].own, choices[value].label))
    return {value: choices[value] for value in order}


def usable(choices: Mapping[str, Choice]) -> list[str]:
    """Return the values of the tables that can be used."""
    return [value for value, choice in choices.items() if not choice.problem]


def loaded(value: str) -> LimitTable:
    """Return a shipped or own limit table; it is read once for its bytes.

    Raises
    ------
    LimitTableError
        It is not there or not sound.
    """
    return _loaded(value, digest_of(Path(value)))


def draw_table_choice(folder: Path | None, first: Sequence[str] = FIRST_TABLES) -> tuple[str, ...]:
    """Draw the choice of limit tables, ``first`` at the start.

    Own files that cannot be used are said, and chosen ones are never dropped.
    """
    choices = dict(table_choices(folder))
    kept: list[str] = st.session_state.get(TABLES_KEY, list(first))
    choices |= {value: _gone(value) for value in kept if value not in choices}
    st.session_state[TABLES_KEY] = kept
    chosen = st.multiselect(
        say("Limit tables"),
        list(choices),
        format_func=lambda value: _told(choices[value]) if value in choices else str(value),
        key=TABLES_KEY,
        placeholder=say("choose at least one"),
        help=say("Each table is judged on its own; the decision rests on all of them together."),
    )
    for choice in choices.values():
        if choice.problem:
            st.warning(plain(choice.problem))
    return tuple(chosen)


def draw_overrides(limits: Sequence[str], uploads: Sequence[NamedBytes], product: Product) -> None:
    """Say which rows of own tables take the place of others, and why; nothing where no own table is chosen."""
    own_names = [value for value in limits if value not in shipped_tables()]
    if not own_names and not uploads:
        return
    try:
        own = [loaded(value) for value in own_names] + [limit_table(Path(name), data) for name, data in uploads]
        others = [loaded(value) for value in limits if value not in own_names]
    except LimitTableError as error:
        st.warning(plain(str(error.problems[0])))
        return
    findings = _overrides([*others, *own], product)
    for finding in findings:
        if finding.severity is Severity.HOLD:
            st.warning(plain(titles_in(finding.message)))
    told = [finding.message for finding in findings if finding.severity is not Severity.HOLD]
    with st.expander(say("Own limits: {count} in the place of others", count=len(told))):
        for message in told:
            st.markdown(f"- {plain(titles_in(message))}")
        for table in own:
            _draw_beside(table)


def _overrides(tables: Sequence[LimitTable], product: Product) -> tuple[Finding, ...]:
    return apply_overrides(tables, product=product)[1]


def _draw_beside(table: LimitTable) -> None:
    """Say how many rows of an own table are judged beside the other tables, and what that means."""
    beside = sum(not overridden_names(status) for status in table.rows[Limits.status])
    if beside:
        words = say(
            "{table}: {rows} judged beside the other tables. Each is judged on its own, so the strictest decides. "
            "To put a row of another table aside, write the status of yours as: overrides NAME.",
            table=plain(table_title(table.name, own=True)),
            rows=say("1 row") if beside == 1 else say("{number} rows", number=count_text(beside)),
        )  # fmt: skip
        st.caption(words)


def _told(choice: Choice) -> str:
    return say("{label}: not usable", label=choice.label) if choice.problem else choice.label


def _gone(value: str) -> Choice:
    path = Path(value)
    text = f"{path.name} was chosen and is not in the folder any more; take it out of the choice or put it back"
    return Choice(value=value, label=table_title(path.stem, own=True), own=True, problem=text)


def _own(folder: Path | None) -> tuple[OwnTable, ...]:
    if folder is None:
        return ()
    try:
        stamps = tuple((path.name, path.stat().st_mtime_ns, path.stat().st_size) for path in own_files(folder))
    except OSError:
        return own_tables(folder)
    return _looked_at(folder, stamps)


@st.cache_resource(max_entries=8, show_spinner=False)
def _looked_at(folder: Path, stamps: tuple[tuple[str, int, int], ...]) -> tuple[OwnTable, ...]:
    """Look at the folder once for the names, times and sizes of its files, given in ``stamps``."""
    return own_tables(folder)


@st.cache_resource(max_entries=64, show_spinner=False)
def _loaded(value: str, digest: str) -> LimitTable:
    """Load a table once for its digest, which is blank for shipped ones."""
    return load_limits(value)
