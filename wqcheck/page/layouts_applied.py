"""Turns the sheet layouts that were applied into lists of what they answer, with a way to take the answers back."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial
from pathlib import Path

import pandas as pd
import streamlit as st

from wqcheck.page.office import do
from wqcheck.page.shown import number
from wqcheck.page.spoken import later, say
from wqcheck.page.words import plain, sentence, titled
from wqcheck.questions import can_be_taken_back, is_of_one_sheet, take_back
from wqcheck.sheet_layouts.records import SheetLayout
from wqcheck.sheets import ReadResult

BACK_KEY = "take the answers back"
NEW_KEY = "sheet layouts made in this tab"

ORDERS = {"dmy": later("day, month, year"), "mdy": later("month, day, year"), "ymd": later("year, month, day")}
MARKS = {
    ",": later("the comma is the decimal mark"),
    ".": later("the point is the decimal mark; a comma parts thousands"),
}


def draw_layouts(books: Sequence[ReadResult]) -> None:
    """Say which sheet layout was applied to which workbook, for which sheets it holds, and what it answers."""
    for book in books:
        if book.layout is not None:
            _draw_layout(book, book.layout)


def _draw_layout(book: ReadResult, layout: SheetLayout) -> None:
    said = next((finding.message for finding in book.findings if finding.code == "sheet layout"), "")
    holds = (
        say("It holds for this sheet only.")
        if is_of_one_sheet(layout)
        else say("It holds for every sheet with these headings.")
    )
    words, button = st.columns([4, 1], vertical_alignment="center")
    words.markdown(f"**{plain(book.name)}:** {plain(sentence(said))}. {holds}")
    if can_be_taken_back(layout) or layout.path in st.session_state.get(NEW_KEY, ()):
        button.button(
            say("Take the last answers back"), key=f"{BACK_KEY} {book.sha256[:16]}", on_click=do,
            args=(partial(_take_back, layout.path),),
            help=say("The file as it was before them holds again; the answers are put away beside it."),
        )  # fmt: skip
    label = say("What the sheet layout {file} answers", file=plain(Path(layout.path).name))
    with st.expander(label):
        columns = [say("What"), say("On the sheet"), say("Answer")]
        st.table(pd.DataFrame(answers_in(layout), columns=columns, dtype="str").map(plain), hide_index=True)
        st.caption(plain(layout.path))
        st.code(Path(layout.path).read_text(encoding="utf-8"), language="toml")


def answers_in(layout: SheetLayout) -> list[tuple[str, str, str]]:
    """List what a sheet layout answers: kind of the answer, what of the sheet it is about, and the answer."""
    return [*_names_in(layout), *_measures_in(layout), *_texts_in(layout)]


def _names_in(layout: SheetLayout) -> Iterator[tuple[str, str, str]]:
    for name, alias in layout.aliases.items():
        yield say("Parameter"), name, titled(alias.parameter)
    for table in layout.tables:
        if table.parameter:
            yield say("Parameter"), table.sheet or say("the whole table"), titled(table.parameter)
    for name in layout.not_parameters:
        yield say("Parameter"), name, say("no parameter")


def _measures_in(layout: SheetLayout) -> Iterator[tuple[str, str, str]]:
    for code, unit in layout.units.items():
        yield say("Unit"), titled(code), unit.text
    for code, basis in layout.bases.items():
        yield say("Basis"), titled(code), basis.text
    for code, volume in layout.volumes.items():
        yield say("Volume examined"), titled(code), f"{number(volume.volume_ml)} mL"


def _texts_in(layout: SheetLayout) -> Iterator[tuple[str, str, str]]:
    for text, unit in layout.unit_spellings.items():
        yield say("Unit"), text, unit
    for role, order in layout.dates.items():
        yield say("Order of day and month"), say(role.replace("_", " ")), say(ORDERS[order])
    if layout.decimal:
        yield say("Decimal mark"), "", say(MARKS[layout.decimal])
    for text, point in layout.points.items():
        yield say("Sampling point"), text, point.point or point.stage
    for text, meaning in layout.words.items():
        yield say("Word in place of a result"), text, say(meaning)


def _take_back(path: str) -> str:
    away = take_back(Path(path))
    return say("The last answers were taken back; they are put away in {file}, and the sheets were read again.",
               file=plain(away))  # fmt: skip
