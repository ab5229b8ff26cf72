"""Turns uploads and settings into what was read of them and the one checked batch, and keeps both until they change."""

from __future__ import annotations

import hashlib
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import streamlit as st

from wqcheck.batch import check_workbook, take_in
from wqcheck.errors import WorkbookError
from wqcheck.page.settings import NamedBytes, Settings
from wqcheck.page.shown import table_title
from wqcheck.page.spoken import count_text, say
from wqcheck.page.words import plain
from wqcheck.questions import Question, questions
from wqcheck.records.intake import files_used
from wqcheck.release.decision import BatchCheck, BatchDetails
from wqcheck.sheet_layouts.loading import layout_files
from wqcheck.sheets import ReadResult, files_within, read_books, unread_book
from wqcheck.shipped_files import shipped_folder
from wqcheck.tables import Product, Readings
from wqcheck.train.description import Train, load_train

DESK_KEY = "desk"
TAKEN_KEY = "sheets as read"
SAMPLE_TRAIN = "train.toml"


@dataclass(frozen=True, slots=True, kw_only=True)
class Paper:
    """One file to download: its name, media type and bytes."""

    name: str
    mime: str
    content: bytes


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TakenSheets:
    """What was read of the sheets; ``key`` is a digest of all that it depends on.

    ``refused`` are the sentences about files that could not be read at all; beside others each of them stands among the
    ``books`` without results, and holds the batch. ``asked`` are the open questions of each book; ``batches`` and
    ``product`` are what the sheets say of themselves.
    """

    key: str
    books: tuple[ReadResult, ...]
    asked: tuple[tuple[Question, ...], ...]
    batches: tuple[str, ...]
    product: Product | None
    refused: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Desk:
    """What lies on the desk: the checked batch.

    ``key`` is a digest of sheets and settings; another key means another check. ``files`` are name and bytes of every
    file that the check used, ``on`` its day, ``books`` the workbooks as they were read.
    """

    key: str
    check: BatchCheck
    files: tuple[NamedBytes, ...] = ()
    on: date = date.min
    books: tuple[ReadResult, ...] = ()


def read_sheets(sources: Sequence[NamedBytes], settings: Settings) -> TakenSheets:
    """Read the sheets and ask what they leave open, showing how far it is; only when they or a layout have changed.

    Raises
    ------
    WqcheckError
        A sheet layout or the train file is not usable. A sheet that cannot be read is no error: the others stand.
    """
    layouts = layout_files(settings.layouts)
    key = _digest([*sources, *layouts, *((settings.train,) if settings.train else ())], str(settings.sample_train))
    kept: TakenSheets | None = st.session_state.get(TAKEN_KEY)
    if kept is not None and kept.key == key:
        return kept
    books, refused = list[ReadResult](), list[str]()
    with _progress(say("Reading the sheets")), _train(settings) as train:
        for number, source in enumerate(sources, start=1):
            size, name = f"{count_text(round(len(source[1]) / 1e3))} kB", plain(source[0])
            st.write(say("Reading {number} of {many}: {name} ({size})", number=number, many=len(sources), name=name,
                         size=size))  # fmt: skip
            try:
                books += _books(source, str(settings.layouts) if layouts else "", layouts)
            except WorkbookError as problem:
                refused.append(str(problem))
                books.append(unread_book(*source, str(problem)))
        st.write(say("Looking for what the sheets leave open"))
        asked = tuple(questions(book, train) for book in books)
    taken = TakenSheets(
        key=key, books=tuple(books), asked=asked, refused=tuple(refused), batches=batches_in(books),
        product=product_in(books),
    )  # fmt: skip
    st.session_state[TAKEN_KEY] = taken
    return taken


def checked_desk(taken: TakenSheets, sources: Sequence[NamedBytes], settings: Settings, batch: str) -> Desk:
    """Give the checked batch of these sheets and settings, checking only when one of them changed.

    Raises
    ------
    WqcheckError
        A limit table, train or rules file is not usable; nothing of an earlier check stays on the page.
    """
    key = _digest(_own_files(settings.limits), repr((taken.key, settings, batch)))
    desk: Desk | None = st.session_state.get(DESK_KEY)
    if desk is not None and desk.key == key:
        return desk
    clear_desk()
    results = sum(len(book.readings) for book in taken.books)
    with _progress(say("Judging {results} results of batch {batch}", results=count_text(results), batch=plain(batch))):
        tables = [*settings.limits, *(name for name, _ in settings.own_tables)]
        st.write(say("Against {tables}", tables=plain("; ".join(table_title(Path(name).stem) for name in tables))))
        check, files = _check(taken, sources, settings, batch)
    desk = Desk(key=key, check=check, files=files, on=settings.on, books=taken.books)
    st.session_state[DESK_KEY] = desk
    return desk


def clear_desk() -> None:
    """Take an earlier check off the page."""
    st.session_state.pop(DESK_KEY, None)


def batches_in(books: Sequence[ReadResult]) -> tuple[str, ...]:
    """List the batches that the sheets name, in the order of the sheets."""
    taken = take_in(books)
    stated = [str(name).strip() for name in taken.readings[Readings.batch].dropna().unique()]
    labelled = [book.labels.get(Readings.batch, "").strip() for book in books]
    return tuple(dict.fromkeys(filter(None, stated or labelled)))


def product_in(books: Sequence[ReadResult]) -> Product | None:
    """Give the kind of water, where the sheets name exactly one that is known."""
    stated = {book.labels.get("product_kind", "").strip().casefold() for book in books} - {""}
    return Product(stated.pop()) if len(stated) == 1 and stated <= set(Product) else None


@contextmanager
def train_file(settings: Settings) -> Iterator[Path | None]:
    """Give the train file for as long as the block lasts: the upload, else the sample if asked for, else none."""
    with tempfile.TemporaryDirectory() as folder:
        if settings.train:
            yield saved_upload(Path(folder), settings.train)
        else:
            yield shipped_folder("sample_results") / SAMPLE_TRAIN if settings.sample_train else None


@contextmanager
def _progress(label: str) -> Iterator[None]:
    """Show a label, and what the block writes below it, for as long as the block lasts."""
    place = st.empty()
    try:
        with place.status(label, expanded=True):
            yield
    finally:
        place.empty()


@contextmanager
def _train(settings: Settings) -> Iterator[Train | None]:
    with train_file(settings) as path:
        yield load_train(path) if path else None


def _own_files(limits: Sequence[str]) -> list[NamedBytes]:
    """Give name and bytes of the chosen limit tables that are the plant's own, and of what stands beside them."""
    folders = dict.fromkeys(Path(name).parent for name in limits if Path(name).is_file())
    beside = [path for folder in folders for path in sorted(folder.glob("*.csv"))]
    paths = dict.fromkeys([*(Path(name) for name in limits if Path(name).is_file()), *beside])
    return [(path.name, path.read_bytes()) for path in paths]


@st.cache_resource(max_entries=12, show_spinner=False)
def _books(source: NamedBytes, folder: str, kept: tuple[NamedBytes, ...]) -> tuple[ReadResult, ...]:
    """Read one workbook or zipped folder; ``kept`` reads it again when a layout has changed."""
    return read_books(source, Path(folder) if folder else None)


def _check(
    taken: TakenSheets, sources: Sequence[NamedBytes], settings: Settings, batch: str
) -> tuple[BatchCheck, tuple[NamedBytes, ...]]:
    """Check the batch and give the files that the check used; the only place of the page that does."""
    with tempfile.TemporaryDirectory() as folder, train_file(settings) as train:
        own = [saved_upload(Path(folder), file) for file in settings.own_tables]
        rules = saved_upload(Path(folder), settings.rules) if settings.rules else None
        limits: list[str | Path] = [*settings.limits, *own]
        check = check_workbook(
            taken.books, details=BatchDetails(batch=batch, product=settings.product), limits=limits, train=train,
            rules=rules, on=settings.on, product=settings.product,
        )  # fmt: skip
        sheets = [part for source in sources for part in files_within(source)]
        given = [
            *sheets,
            *files_used([], limits, train, rules),
            *layout_files(settings.layouts),
            *_own_files(settings.limits),
        ]
    wanted = {stamp.sha256 for stamp in check.files}
    return check, tuple(file for file in given if hashlib.sha256(file[1]).hexdigest() in wanted)


def _digest(files: Sequence[NamedBytes], text: str) -> str:
    digest = hashlib.sha256(text.encode("utf-8"))
    for name, content in files:
        digest.update(repr((name, len(content))).encode("utf-8"))
        digest.update(content)
    return digest.hexdigest()


def saved_upload(folder: Path, file: NamedBytes) -> Path:
    """Write an upload into a folder under its own name, so that messages name it as the user does."""
    path = folder / Path(file[0]).name
    path.write_bytes(file[1])
    return path
