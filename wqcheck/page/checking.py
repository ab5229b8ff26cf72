"""Turns uploads and settings into the one checked batch that the page shows, and keeps it until either changes."""

from __future__ import annotations

import hashlib
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import streamlit as st

from wqcheck.batch import check_workbook, take_in
from wqcheck.page.settings import NamedBytes, Settings
from wqcheck.page.words import plain
from wqcheck.records.intake import files_used
from wqcheck.release.decision import BatchCheck, BatchDetails
from wqcheck.sheets import ReadResult, read_books
from wqcheck.shipped_files import shipped_folder
from wqcheck.tables import Readings

DESK_KEY = "desk"
SAMPLE_TRAIN = "train.toml"


@dataclass(frozen=True, slots=True, kw_only=True)
class Paper:
    """One file to download: its name, media type and bytes."""

    name: str
    mime: str
    content: bytes


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Desk:
    """What lies on the desk: the checked batch and the papers made from it.

    ``key`` is a digest of uploads and settings; another key means another check. ``papers_for`` are the number and the
    signatory that the papers state. ``files`` are name and bytes of every file that the check used, ``on`` its day,
    ``books`` the workbooks as they were read.
    """

    key: str
    check: BatchCheck
    files: tuple[NamedBytes, ...] = ()
    on: date = date.min
    books: tuple[ReadResult, ...] = ()
    papers: tuple[Paper, ...] = ()
    papers_for: tuple[str, str] = ("", "")


def desk_key(sources: Sequence[NamedBytes], settings: Settings) -> str:
    """Digest everything that a check depends on; the signatory is not part of it."""
    digest = hashlib.sha256(repr(replace(settings, signed_by="")).encode("utf-8"))
    for name, content in sources:
        digest.update(repr((name, len(content))).encode("utf-8"))
        digest.update(content)
    for name, content in [*layout_files(settings.layouts), *_own_files(settings.limits)]:
        digest.update(repr((name, content)).encode("utf-8"))
    return digest.hexdigest()


def checked_desk(sources: Sequence[NamedBytes], settings: Settings) -> Desk:
    """Give the checked batch of these uploads and settings, checking only when one of them changed.

    Raises
    ------
    WqcheckError
        A workbook, limit table, train or rules file is not usable; nothing of an earlier check stays on the page.
    """
    key = desk_key(sources, settings)
    desk: Desk | None = st.session_state.get(DESK_KEY)
    if desk is not None and desk.key == key:
        return desk
    clear_desk()
    desk = _check(sources, settings, key)
    st.session_state[DESK_KEY] = desk
    return desk


def clear_desk() -> None:
    """Take an earlier check off the page."""
    st.session_state.pop(DESK_KEY, None)


def keep_papers(desk: Desk, papers: tuple[Paper, ...], papers_for: tuple[str, str]) -> None:
    """Put the papers made from a check beside it, and what number and signatory they state."""
    st.session_state[DESK_KEY] = replace(desk, papers=papers, papers_for=papers_for)


def books_of(sources: Sequence[NamedBytes], layouts: Path | None) -> tuple[ReadResult, ...]:
    """Read the workbooks, each once for its bytes and the layouts kept, and show how far it is.

    Raises
    ------
    WqcheckError
        A workbook cannot be read at all.
    """
    kept = layout_files(layouts)
    bar = st.progress(0.0, text="Reading")
    books: list[ReadResult] = []
    try:
        for number, source in enumerate(sources):
            bar.progress(number / len(sources), text=f"Reading {number + 1} of {len(sources)}: {plain(source[0])}")
            books += _books(source, str(layouts) if kept else "", kept)
    finally:
        bar.empty()
    return tuple(books)


def layout_files(folder: Path | None) -> tuple[NamedBytes, ...]:
    """Give name and bytes of each sheet layout of a folder; none where there is no such folder."""
    paths = sorted(folder.glob("*.toml")) if folder is not None and folder.is_dir() else []
    return tuple((path.name, path.read_bytes()) for path in paths)


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


def batches_in(sources: Sequence[ReadResult]) -> tuple[str, ...]:
    """List the batches that the sheets name, in the order of the sheets.

    Raises
    ------
    WqcheckError
        A workbook cannot be read at all.
    """
    taken = take_in(sources)
    stated = [str(name).strip() for name in taken.readings[Readings.batch].dropna().unique()]
    labelled = [book.labels.get(Readings.batch, "").strip() for book in taken.books]
    return tuple(dict.fromkeys(filter(None, stated or labelled)))


def _check(sources: Sequence[NamedBytes], settings: Settings, key: str) -> Desk:
    """Check the batch; the only place of the page that does."""
    with tempfile.TemporaryDirectory() as folder:
        own = [_saved(Path(folder), file) for file in settings.own_tables]
        rules = _saved(Path(folder), settings.rules) if settings.rules else None
        train = _train_path(Path(folder), settings)
        books = books_of(sources, settings.layouts)
        check = check_workbook(
            books,
            details=BatchDetails(batch=settings.batch, product=settings.product),
            limits=[*settings.limits, *own],
            train=train,
            rules=rules,
            on=settings.on,
            product=settings.product,
        )
        wanted = {stamp.sha256 for stamp in check.files}
        limits: list[str | Path] = [*settings.limits, *own]
        kept = [*layout_files(settings.layouts), *_own_files(settings.limits)]
        given = [*sources, *files_used([], limits, train, rules), *kept]
        files = tuple(file for file in given if hashlib.sha256(file[1]).hexdigest() in wanted)
        return Desk(key=key, check=check, files=files, on=settings.on, books=books)


def _train_path(folder: Path, settings: Settings) -> Path | None:
    """Give the train file: the upload if there is one, the sample if it is asked for."""
    if settings.train:
        return _saved(folder, settings.train)
    return shipped_folder("sample_results") / SAMPLE_TRAIN if settings.sample_train else None


def _saved(folder: Path, file: NamedBytes) -> Path:
    """Write an upload into a folder under its own name, so that messages name it as the user does."""
    path = folder / Path(file[0]).name
    path.write_bytes(file[1])
    return path
