"""Turns the checked batch on the desk and the recorded ones into the one batch that a view works on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

import streamlit as st

from wqcheck.errors import WqcheckError
from wqcheck.limit_tables.loading import LimitTable, limit_table
from wqcheck.page.checking import DESK_KEY, Desk
from wqcheck.page.office import Office
from wqcheck.page.settings import NamedBytes
from wqcheck.page.shown import table_title
from wqcheck.page.spoken import say
from wqcheck.page.words import STATE_WORDS, plain
from wqcheck.records.batches import BatchRecord, batch, batches
from wqcheck.records.intake import kept_file
from wqcheck.records.standing import State
from wqcheck.release.decision import BatchCheck, FileStamp

KEPT_KEY = "batch in hand"
CHOICE_KEY = "choice of the batch in hand"
RECORDED_KEY = "check that was recorded"
ON_THE_DESK = ""
"""What is kept while the batch on the desk is in hand: no recorded batch has a blank name."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class InHand:
    """The batch that a view works on; ``record`` is None while it only lies on the desk, ``desk`` once recorded."""

    check: BatchCheck
    desk: Desk | None = None
    record: BatchRecord | None = None


def is_recorded(desk: Desk) -> bool:
    """Whether the batch on the desk was recorded as it lies there."""
    return st.session_state.get(RECORDED_KEY) == desk.key


def take_in_hand(name: str) -> None:
    """Take a recorded batch in hand, or the one on the desk with :data:`ON_THE_DESK`, for all views."""
    st.session_state[KEPT_KEY] = name


def file_used(hand: InHand, office: Office, kind: str) -> NamedBytes | None:
    """Return name and bytes of the first file of a kind that the check used; None where it used none.

    Raises
    ------
    wqcheck.errors.WqcheckError
        The records cannot be read, or do not keep it.
    """
    stamp = next((stamp for stamp in hand.check.files if stamp.kind == kind), None)
    if stamp is None:
        return None
    if hand.desk is not None:
        return next((file for file in hand.desk.files if sha256(file[1]).hexdigest() == stamp.sha256), None)
    return stamp.name, kept_file(office.store(), stamp.sha256)


def tables_used(hand: InHand, office: Office) -> tuple[LimitTable, ...]:
    """Return the limit tables that the check used, from the very bytes that it used.

    One whose bytes are not at hand, or are read no more, is left out: the verdicts stand without it.
    """
    found = (_table_of(stamp, hand, office) for stamp in hand.check.files if stamp.kind == "limit table")
    return tuple(table for table in found if table is not None)


def _table_of(stamp: FileStamp, hand: InHand, office: Office) -> LimitTable | None:
    files = hand.desk.files if hand.desk is not None else ()
    content = next((data for _, data in files if sha256(data).hexdigest() == stamp.sha256), None)
    try:
        return _table(stamp.name, content or kept_file(office.store(), stamp.sha256))
    except WqcheckError:
        return None


@st.cache_resource(max_entries=32, show_spinner=False)
def _table(name: str, content: bytes) -> LimitTable:
    """Load a limit table once for its bytes."""
    return limit_table(Path(name), content)


def hand_words(office: Office) -> str:
    """Say which batch is in hand and where it stands, as Markdown; without a batch, that there is none.

    Raises
    ------
    wqcheck.errors.StoreError
        The store cannot be read.
    """
    told = _batches_told(office, st.session_state.get(DESK_KEY))
    return say("In hand: **{batch}**", batch=plain(told[_kept(told)])) if told else say("No batch is in hand.")


def _batches_told(office: Office, desk: Desk | None) -> dict[str, str]:
    """Write each batch that can be taken in hand with where it stands, by its name; the one on the desk first."""
    listed = batches(office.store()) if office.exists else None
    states = {} if listed is None else dict(zip(listed["batch"], listed["state"], strict=True))
    told = {}
    if desk is not None and not is_recorded(desk):
        told[ON_THE_DESK] = say("{batch}: on the desk, not recorded", batch=desk.check.details.batch)
    for name, state in states.items():
        told[name] = say("{batch}: {state}", batch=name, state=say(STATE_WORDS[State(state)]))
    return told


def _kept(told: Mapping[str, str]) -> str:
    """Give the batch that was taken in hand; the first one where none was."""
    last = st.session_state.get(KEPT_KEY)
    return str(last) if last in told else next(iter(told))


def draw_in_hand(office: Office) -> InHand | None:
    """Draw the choice between the batch on the desk and the recorded ones; None where there is neither.

    Raises
    ------
    wqcheck.errors.StoreError
        The store cannot be read.
    """
    desk: Desk | None = st.session_state.get(DESK_KEY)
    told = _batches_told(office, desk)
    if not told:
        return None
    kept = _kept(told)
    key = f"{CHOICE_KEY} {told[kept]}"  # the browser keeps the words of a key, so other words have another one
    st.session_state[key] = kept
    name = st.selectbox(
        say("Batch"), list(told), format_func=told.__getitem__, key=key,
        on_change=lambda: take_in_hand(st.session_state[key]),
    )  # fmt: skip
    if name == ON_THE_DESK and desk is not None:
        return InHand(check=desk.check, desk=desk)
    record = batch(office.store(), name)
    tables = (stamp.name for stamp in record.check.files if stamp.kind == "limit table")
    titles = plain("; ".join(table_title(Path(table).stem) for table in tables))
    product = say(str(record.check.details.product))
    st.caption(
        say("This batch was checked as {product} water, against: {tables}. The side panel is for the next check.",
            product=product, tables=titles)
    )  # fmt: skip
    return InHand(check=record.check, record=record)
