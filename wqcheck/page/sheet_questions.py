"""Turns what the sheets leave open into questions on the page, and the answers into a sheet layout that is kept."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import streamlit as st

from wqcheck.errors import SheetLayoutError
from wqcheck.page.checking import TakenSheets, train_file
from wqcheck.page.office import do
from wqcheck.page.settings import Settings
from wqcheck.page.spoken import later, say
from wqcheck.page.words import parameter_words, plain, sentence, titled
from wqcheck.parameters import catalogue
from wqcheck.questions import NO_PARAMETER, Question, QuestionKind, can_be_kept, keep_answers
from wqcheck.sheets import ReadResult
from wqcheck.train.description import load_train

BOOK_KEY = "workbook of the questions"
KEEP_KEY = "keep the answers"
MOST = 25
"""Questions drawn at once; the others follow when these are answered."""

_TITLES = {
    QuestionKind.PARAMETER: later("Name that is not known"),
    QuestionKind.COLUMN: later("Column that was not read"),
    QuestionKind.UNNAMED: later("Results without a name"),
    QuestionKind.UNIT: later("Unit that is missing"),
    QuestionKind.UNIT_TEXT: later("Unit that is not known"),
    QuestionKind.DATES: later("Order of day and month"),
    QuestionKind.POINT: later("Place that is no point of the train"),
    QuestionKind.BASIS: later("Basis that is not stated"),
    QuestionKind.VOLUME: later("Volume examined that is not stated"),
    QuestionKind.DECIMAL: later("Decimal mark"),
    QuestionKind.WORD: later("Word in place of a result"),
    QuestionKind.MAGNITUDE: later("Values of two magnitudes"),
}
_NAMING = frozenset({QuestionKind.PARAMETER, QuestionKind.COLUMN, QuestionKind.UNNAMED})
_FREE = frozenset({QuestionKind.UNIT, QuestionKind.UNIT_TEXT, QuestionKind.VOLUME})
_FEW = frozenset({QuestionKind.DATES, QuestionKind.DECIMAL, QuestionKind.BASIS})
_ORDERS = {"dmy": later("day, month, year"), "mdy": later("month, day, year"), "ymd": later("year, month, day")}
_MARKS = {
    ",": later("the comma is the decimal mark"),
    ".": later("the point is the decimal mark; a comma parts thousands"),
}


def answer_key(book: ReadResult, question: Question) -> str:
    """Give the key of the field that takes the answer to a question."""
    return f"answer {book.sha256[:16]} {question.kind} {question.given}"


def draw_questions(taken: TakenSheets, settings: Settings) -> None:
    """Draw the sheet layouts that were applied, and the open questions of one workbook with fields for the answers."""
    draw_layouts(taken.books)
    open_books = [place for place, asked in enumerate(taken.asked) if asked]
    if not open_books:
        st.success(say("The sheets leave nothing open."))
        return
    place = open_books[0]
    if len(open_books) > 1:
        place = st.selectbox(
            say("Workbook with open questions"), open_books, key=BOOK_KEY,
            format_func=lambda place: f"{taken.books[place].name}: {len(taken.asked[place])}",
        )  # fmt: skip
    book, asked = taken.books[place], taken.asked[place]
    if can_be_kept(book):
        _draw_form(book, asked, settings)
        return
    st.warning(say("No table of {name} has headings by which its next sheet could be known, so no answer can be kept. "
                   "Write what is missing into the sheet and take it in again.", name=plain(book.name)))  # fmt: skip
    st.markdown("\n".join(f"- {plain(sentence(question.why))} *{plain(question.where)}*" for question in asked))


def draw_layouts(books: tuple[ReadResult, ...]) -> None:
    """Say which sheet layout was applied to which workbook, and open its file."""
    for book in books:
        if book.layout is None:
            continue
        said = next((finding.message for finding in book.findings if finding.code == "sheet layout"), "")
        st.markdown(f"**{plain(book.name)}:** {plain(said)}.")
        with st.expander(say("Open the sheet layout {file}", file=plain(Path(book.layout.path).name))):
            st.caption(plain(book.layout.path))
            st.code(Path(book.layout.path).read_text(encoding="utf-8"), language="toml")


def _draw_form(book: ReadResult, asked: tuple[Question, ...], settings: Settings) -> None:
    """Draw the questions with their fields and the button that keeps the answers."""
    st.markdown(
        say("Nothing is guessed: what is not answered stays open, and its results are no pass. An answer is kept for "
            "all next sheets of this laboratory that have the same headings.")
    )  # fmt: skip
    folder = settings.layouts
    if folder is None:
        st.warning(say("Name a folder of sheet layouts in the side panel (Your own files) to keep answers."))
    drawn = asked[:MOST]
    with st.form(f"questions {book.sha256[:16]}", enter_to_submit=False):
        for question in drawn:
            _draw_question(book, question)
        if len(asked) > MOST:
            st.caption(say("{more} more questions follow when these are answered.", more=len(asked) - MOST))
        st.form_submit_button(
            say("Keep these answers as a sheet layout"), key=KEEP_KEY, type="primary", disabled=folder is None,
            on_click=do, args=(partial(_keep, book, drawn, settings),),
        )  # fmt: skip


def _draw_question(book: ReadResult, question: Question) -> None:
    """Draw one question: what is open and where, and the field for its answer, blank until somebody answers."""
    words, field = st.columns([3, 2], vertical_alignment="center")
    title, why, where = say(_TITLES[question.kind]), plain(sentence(question.why)), plain(question.where)
    words.markdown(f"**{title}**  \n{why}  \n*{where}*")
    if question.kind == QuestionKind.MAGNITUDE:
        return
    label = say("{title}: {given}", title=say(_TITLES[question.kind]), given=_given(question))
    key = answer_key(book, question)
    if question.kind in _FEW:
        field.radio(label, question.options, index=None, format_func=partial(_option, question), key=key)
        return
    field.selectbox(
        label, _choices(question), index=None, format_func=partial(_option, question), key=key,
        placeholder=say("not answered"), accept_new_options=question.kind in _FREE,
    )  # fmt: skip


def _given(question: Question) -> str:
    """Write what is asked about: a parameter by its name, a text as it stands in the sheet."""
    if question.kind in (QuestionKind.UNIT, QuestionKind.BASIS, QuestionKind.VOLUME):
        return plain(parameter_words(question.given))
    if question.kind == QuestionKind.DATES:
        return plain(question.given.replace("_", " "))
    return "" if question.kind == QuestionKind.UNNAMED else plain(question.given)


def _choices(question: Question) -> list[str]:
    """List the answers that can be chosen: near names first, then every other parameter by its name."""
    if question.kind not in _NAMING:
        return list(question.options)
    others = sorted(set(catalogue()) - set(question.options), key=lambda code: parameter_words(code).casefold())
    return [*question.options, *others]


def _option(question: Question, answer: str) -> str:
    """Write an answer as its reader says it."""
    if question.kind in _NAMING and answer == NO_PARAMETER:
        return say("no parameter: leave the column out")
    if question.kind in _NAMING:
        near = f" ({say('near name')})" if answer in question.options else ""
        return f"{titled(answer)}{near}"
    if question.kind == QuestionKind.VOLUME:
        return f"{answer} mL"
    if question.kind == QuestionKind.BASIS and question.given != "electrical_conductivity":
        return say("as {basis}", basis=answer)
    return say({**_ORDERS, **_MARKS}.get(answer, answer)) if question.kind in _FEW else answer


def _keep(book: ReadResult, asked: tuple[Question, ...], settings: Settings) -> str:
    """Write the answers that were given into a sheet layout; the sheets are read again with it."""
    given = {question: str(st.session_state.get(answer_key(book, question)) or "").strip() for question in asked}
    answers = {question: answer for question, answer in given.items() if answer}
    if not answers or settings.layouts is None:
        raise SheetLayoutError("no question was answered, so nothing was written")
    with train_file(settings) as path:
        kept = keep_answers(book, answers, settings.layouts, load_train(path) if path else None)
    return say(
        "{number} answer(s) are kept in {file}, and the sheets were read again with it.",
        number=len(answers), file=plain(kept),
    )  # fmt: skip
