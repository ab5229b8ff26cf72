"""Turns what the sheets leave open into questions on the page, and the answers into a sheet layout that is kept."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from wqcheck.errors import SheetLayoutError
from wqcheck.page.checking import TakenSheets, train_file
from wqcheck.page.layouts_applied import MARKS, NEW_KEY, ORDERS, draw_layouts
from wqcheck.page.office import do
from wqcheck.page.settings import Settings
from wqcheck.page.shown import place_text
from wqcheck.page.spoken import count_text, later, say
from wqcheck.page.words import parameter_words, plain, sentence, some_of, titled
from wqcheck.parameters import catalogue
from wqcheck.questions import NO_PARAMETER, Question, QuestionKind, can_be_kept, is_of_one_sheet, keep_answers
from wqcheck.sheets import ReadResult
from wqcheck.train.description import load_train

BOOK_KEY = "workbook of the questions"
KEEP_KEY = "keep the answers"
ONCE_KEY = "use the answers once"
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
_FREE = frozenset({QuestionKind.UNIT, QuestionKind.UNIT_TEXT})
_WORDED = frozenset({QuestionKind.WORD, QuestionKind.UNIT_TEXT, QuestionKind.DECIMAL, QuestionKind.POINT})
_FEW = frozenset({QuestionKind.DATES, QuestionKind.DECIMAL, QuestionKind.BASIS})


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
    _draw_form(taken.books[place], taken.asked[place], settings)


def _draw_form(book: ReadResult, asked: tuple[Question, ...], settings: Settings) -> None:
    """Draw the questions with their fields, and the buttons that use the answers once or keep them."""
    st.markdown(say("Nothing is guessed: what is not answered stays open, and its results are no pass."))
    if settings.layouts is None:
        st.warning(say("Name a folder of sheet layouts in the side panel (Your own files) to keep answers."))
    drawn = asked[:MOST]
    with st.form(f"questions {book.sha256[:16]}", enter_to_submit=False):
        for group in _grouped(drawn):
            _draw_group(book, group)
        if len(asked) > MOST:
            st.caption(say("{more} more questions follow when these are answered.", more=len(asked) - MOST))
        _draw_buttons(book, drawn, settings)


def _draw_buttons(book: ReadResult, drawn: tuple[Question, ...], settings: Settings) -> None:
    """Draw the two buttons, and say beside them for which sheets an answer holds."""
    st.caption(_holds_for(book, drawn))
    with st.container(horizontal=True):
        st.form_submit_button(
            say("Use for this sheet only"), key=ONCE_KEY, type="primary", disabled=settings.layouts is None,
            on_click=do, args=(partial(_keep, book, drawn, settings, this_sheet_only=True),),
        )  # fmt: skip
        st.form_submit_button(
            say("Keep for all next sheets with these headings"), key=KEEP_KEY,
            disabled=settings.layouts is None or _alone(book) or not can_be_kept(book),
            on_click=do, args=(partial(_keep, book, drawn, settings, this_sheet_only=False),),
        )  # fmt: skip


def _alone(book: ReadResult) -> bool:
    """Whether the book is read with answers that hold for it alone."""
    return book.layout is not None and is_of_one_sheet(book.layout)


def _holds_for(book: ReadResult, drawn: Sequence[Question]) -> str:
    """Say for which sheets the answers will hold."""
    if not can_be_kept(book):
        return say("No table of {name} has headings by which its next sheet could be known, so the answers can hold "
                   "for this sheet only.", name=plain(book.name))  # fmt: skip
    if _alone(book):
        return say("This sheet is read with answers for it alone. Take them back to keep answers for all next sheets.")
    said = say("What is kept is used for **every next sheet** with these headings that leaves the same open; nobody is "
               "asked again.")  # fmt: skip
    organisms = [titled(question.given) for question in drawn if question.kind == QuestionKind.VOLUME]
    if not organisms:
        return said
    volumes = say("The volume examined too ({organisms}): if the laboratory examines less the next time and does not "
                  "say so, its absence would count for the volume kept here.",
                  organisms=plain(", ".join(organisms)))  # fmt: skip
    return f"{said} {volumes}"


def _grouped(asked: Sequence[Question]) -> list[list[Question]]:
    """Put the words in place of results of the same parameters together; every other question stands alone."""
    groups: dict[object, list[Question]] = {}
    for question in asked:
        together = question.about if question.kind == QuestionKind.WORD else question
        groups.setdefault(together, []).append(question)
    return list(groups.values())


def _draw_group(book: ReadResult, group: Sequence[Question]) -> None:
    """Draw one question, or the words of one parameter as one question with a field for each."""
    if len(group) == 1:
        _draw_question(book, group[0])
        return
    about = plain(some_of([titled(code) for code in group[0].about]))
    st.markdown(f"**{say(_TITLES[QuestionKind.WORD])}: {about}**  \n{say('What does each word mean as a result?')}")
    for question in group:
        words, field = st.columns([3, 2], vertical_alignment="center")
        words.markdown(_waiting(question))
        _draw_field(field, book, question)


def _draw_question(book: ReadResult, question: Question) -> None:
    """Draw one question: what is open and where, and the field for its answer, blank until somebody answers."""
    words, field = st.columns([3, 2], vertical_alignment="center")
    title, why = say(_TITLES[question.kind]), plain(sentence(question.why))
    waits = _waiting(question) or plain(place_text(question.where))
    words.markdown(f"**{title}**  \n{why}  \n{waits}")
    _draw_field(field, book, question)


def _waiting(question: Question) -> str:
    """List the first results that wait for the answer: parameter where it is not asked for, result, sample and cell."""
    listed = []
    for result in question.waiting:
        parameter = f"{titled(result.parameter, result.parameter)}: " if question.kind in _WORDED else ""
        sample = f"{say('sample')} {result.sample}" if result.sample else ""
        places = ", ".join(filter(None, (sample, f"{say('cell')} {result.cell}")))
        listed.append(f"{plain(parameter)} **{plain(result.reported)}** ({plain(places)})".strip())
    more = question.results - len(listed)
    beyond = [say("{number} more", number=count_text(more))] if listed and more > 0 else []
    return "; ".join([*listed, *beyond])


def _draw_field(field: DeltaGenerator, book: ReadResult, question: Question) -> None:
    """Draw the field for the answer; its label is for those who hear the page, for the question stands beside it."""
    if question.kind == QuestionKind.MAGNITUDE:
        return
    label = say("{title}: {given}", title=say(_TITLES[question.kind]), given=_given(question))
    key = answer_key(book, question)
    if question.kind == QuestionKind.VOLUME:
        field.number_input(
            label, min_value=0.001, value=None, step=50.0, format="%g", key=key, label_visibility="collapsed",
            placeholder=say("mL, such as 100 or 250"),
        )  # fmt: skip
    elif question.kind in _FEW:
        field.radio(
            label, question.options, index=None, format_func=partial(_option, question), key=key,
            label_visibility="collapsed",
        )  # fmt: skip
    else:
        field.selectbox(
            label, _choices(question), index=None, format_func=partial(_option, question), key=key,
            accept_new_options=question.kind in _FREE, label_visibility="collapsed",
            placeholder=say("type a name") if question.kind in _NAMING else say("not answered"),
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
        return say("this is no parameter: leave it out")
    if question.kind in _NAMING:
        near = f" ({say('near name')})" if answer in question.options else ""
        return f"{titled(answer)}{near}"
    if question.kind == QuestionKind.BASIS and question.given != "electrical_conductivity":
        return say("as {basis}", basis=answer)
    return say({**ORDERS, **MARKS}.get(answer, answer)) if question.kind in _FEW else answer


def _keep(book: ReadResult, asked: tuple[Question, ...], settings: Settings, *, this_sheet_only: bool) -> str:
    """Write the answers that were given into a sheet layout; the sheets are read again with it."""
    given = {question: str(st.session_state.get(answer_key(book, question)) or "").strip() for question in asked}
    answers = {question: answer for question, answer in given.items() if answer}
    if not answers or settings.layouts is None:
        raise SheetLayoutError("no question was answered, so nothing was written")
    with train_file(settings) as path:
        train = load_train(path) if path else None
        kept = keep_answers(book, answers, settings.layouts, train, this_sheet_only=this_sheet_only)
    st.session_state[NEW_KEY] = {*st.session_state.get(NEW_KEY, ()), str(kept)}
    number, file = len(answers), plain(kept)
    if this_sheet_only:
        return say("{number} answer(s) are used for this sheet only and stand in {file}; the sheets were read again.",
                   number=number, file=file)  # fmt: skip
    return say("{number} answer(s) are kept in {file} for all next sheets with these headings; the sheets were read "
               "again.", number=number, file=file)  # fmt: skip
