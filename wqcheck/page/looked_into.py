"""Turns the batch in hand into its flags, the verdicts on its stages and where to look first, once per batch."""

from __future__ import annotations

from dataclasses import dataclass

import streamlit as st
from pandera.typing import DataFrame

from wqcheck.errors import WqcheckError
from wqcheck.page.in_hand import InHand, file_used, tables_used
from wqcheck.page.office import Office
from wqcheck.page.train_input import opened_train
from wqcheck.records.intake import kept_file
from wqcheck.release.asked import Asked, asked
from wqcheck.release.decision import FileStamp
from wqcheck.release.flags import Flags, flags
from wqcheck.sheets.grid import Sheet
from wqcheck.sheets.opening import open_books
from wqcheck.sheets.reading_limits import READING_LIMITS
from wqcheck.tables import StageVerdicts
from wqcheck.train.description import Train
from wqcheck.train.expectations import load_expectations
from wqcheck.train.look_first import look_here_first
from wqcheck.train.stage_verdicts import feed_against_limits, judge_stages
from wqcheck.train.suspects import Case, Suspect

LOOKED_KEY = "batch looked into"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LookedInto:
    """What the view of flags is drawn from; ``key`` tells one check of a batch from another.

    ``asked`` are the limits of the tables used. ``train`` is None where the check used none, and then there are no
    suspects.
    """

    key: str
    flags: DataFrame[Flags]
    asked: DataFrame[Asked]
    stages: DataFrame[StageVerdicts]
    train: Train | None
    suspects: tuple[Suspect, ...]


def looked_into(hand: InHand, office: Office) -> LookedInto:
    """Give the flags of the batch in hand; they are made once per check.

    Raises
    ------
    wqcheck.errors.WqcheckError
        The records or the train file that the check used cannot be read.
    """
    key = hand_key(hand, office)
    kept: LookedInto | None = st.session_state.get(LOOKED_KEY)
    if kept is not None and kept.key == key:
        return kept
    with st.spinner("…"):
        table = load_expectations()
        train = _train(hand, office)
        stages = judge_stages(hand.check.stages, table.rows, train)
        suspects: tuple[Suspect, ...] = ()
        if train is not None:
            feeds = feed_against_limits(hand.check.readings, train, table.rows)
            suspects = look_here_first(Case(train=train, readings=hand.check.readings, stages=stages, feeds=feeds))
        limits = asked(tables_used(hand, office), hand.check.details.product)
        found = LookedInto(
            key=key, flags=flags(hand.check, stages, limits), asked=limits, stages=stages, train=train,
            suspects=suspects,
        )  # fmt: skip
    st.session_state[LOOKED_KEY] = found
    return found


def hand_key(hand: InHand, office: Office) -> str:
    """Give what tells one check of a batch from another."""
    if hand.record is not None:
        return f"{office.place} {hand.record.standing.batch} {hand.record.check_version}"
    return hand.desk.key if hand.desk is not None else hand.check.details.batch


def sheets_of(hand: InHand, office: Office, workbook: str) -> tuple[Sheet, ...]:
    """Give the sheets of a workbook of the batch: as read on the desk, or opened again from the recorded bytes.

    A blank ``workbook`` stands for the only one. None are given where the bytes are not at hand.

    Raises
    ------
    wqcheck.errors.WqcheckError
        The recorded bytes cannot be opened.
    """
    if hand.desk is not None:
        books = [book for book in hand.desk.books if workbook in ("", book.name)]
        return tuple(grid.sheet for book in books for grid in book.grids)
    stamps = [stamp for stamp in _stamps(hand, "workbook") if workbook in ("", stamp.name)]
    return tuple(sheet for stamp in stamps for sheet in _opened(stamp.name, stamp.sha256, office))


@st.cache_resource(max_entries=6, show_spinner=False, hash_funcs={Office: lambda office: office.place})
def _opened(name: str, sha256: str, office: Office) -> tuple[Sheet, ...]:
    """Open a recorded workbook, once."""
    books = open_books((name, kept_file(office.store(), sha256)), READING_LIMITS)
    return tuple(sheet for book in books for sheet in book.sheets)


def _stamps(hand: InHand, kind: str) -> list[FileStamp]:
    return [stamp for stamp in hand.check.files if stamp.kind == kind]


def _train(hand: InHand, office: Office) -> Train | None:
    """Give the train that the check used, read again from its bytes."""
    try:
        file = file_used(hand, office, "train")
    except WqcheckError:
        return None
    return opened_train(file) if file is not None else None
