"""Turns answers to the questions about a workbook into the sheet layout file that its next reading finds."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from wqcheck.errors import SheetLayoutError
from wqcheck.questions.answering import answered
from wqcheck.questions.asking import questions
from wqcheck.questions.proposal import layout_remarks, propose_layout
from wqcheck.questions.records import Question
from wqcheck.sheet_layouts.loading import ONE_SHEET, file_of_one_sheet
from wqcheck.sheet_layouts.records import SheetLayout
from wqcheck.sheet_layouts.saving import save_layout
from wqcheck.sheets import ReadResult
from wqcheck.train.description import Train

BEFORE = ".before"
"""What is put behind the name of a layout file as it was before the last answers."""
UNDONE = ".undone"
"""What is put behind the name of a layout file whose last answers were taken back."""


def can_be_kept(read: ReadResult) -> bool:
    """Return whether a sheet layout could be known again by at least one table of *read*."""
    return any(table.found.fingerprint for table in read.tables)


def keep_answers(
    read: ReadResult, answers: Mapping[Question, str], folder: Path, train: Train | None = None, *,
    this_sheet_only: bool = False,
) -> Path:  # fmt: skip
    """Write the sheet layout that remembers *answers*, and return its file.

    The layout that was applied gets the answers added, and its file as it was stays beside it (``.before``); otherwise
    a new file is made. With *this_sheet_only* the file holds for these very bytes and for no later sheet; answers of a
    layout that was applied are taken over into it, and that layout stays as it is.

    Raises
    ------
    SheetLayoutError
        An answer does not answer its question, no table can be known again, several layouts fit, the layout that was
        applied holds for this sheet alone, or the file cannot be written. Nothing is written then.
    """
    if not this_sheet_only and not can_be_kept(read):
        raise SheetLayoutError(
            f"{read.name}: no table has headings by which its next sheet could be known; write it into the sheet"
        )
    if not this_sheet_only and read.layout is not None and is_of_one_sheet(read.layout):
        raise SheetLayoutError(
            f"{read.name} is read with answers that hold for it alone; take them back first, then answer for all"
        )
    for finding in read.findings:
        if finding.code == "several sheet layouts":
            raise SheetLayoutError(f"{finding.message} (given: {finding.given})")
    layout = _with_answers(propose_layout(read, train), answers)
    left = [question for question in questions(read, train) if question not in answers]
    layout = replace(layout, remarks=layout_remarks(read, left))
    path = _file_for(read, layout, folder, this_sheet_only=this_sheet_only)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.exists():
            _before(path).write_bytes(path.read_bytes())
        save_layout(layout, path)
    except OSError as problem:
        raise SheetLayoutError(f"{path} cannot be written ({problem.strerror}); choose another folder") from problem
    return path


def _with_answers(layout: SheetLayout, answers: Mapping[Question, str]) -> SheetLayout:
    """Return *layout* with all answers, or raise everything that is wrong with them."""
    problems = []
    for question, answer in answers.items():
        try:
            layout = answered(layout, question, answer)
        except SheetLayoutError as problem:
            problems.append(str(problem))
    if problems:
        raise SheetLayoutError(
            "\n".join([f"{len(problems)} answer(s) cannot be kept, so nothing was written:", *problems])
        )
    return layout


def is_of_one_sheet(layout: SheetLayout) -> bool:
    """Return whether *layout* is kept for one file alone."""
    return Path(layout.path).parent.name == ONE_SHEET


def can_be_taken_back(layout: SheetLayout) -> bool:
    """Return whether answers were added to the file of *layout*, or all of it are answers for one file."""
    return is_of_one_sheet(layout) or _before(Path(layout.path)).is_file()


def take_back(path: Path) -> Path:
    """Undo the last answers in a layout file and return where they are put away (``.undone``).

    The file as it was before them (``.before``) takes its place; without one the layout is no longer applied.

    Raises
    ------
    SheetLayoutError
        The files cannot be moved.
    """
    away = path.with_name(path.name + UNDONE)
    try:
        path.replace(away)
        if _before(path).is_file():
            _before(path).replace(path)
    except OSError as problem:
        raise SheetLayoutError(f"{path} cannot be put away ({problem.strerror}); check its folder") from problem
    return away


def _before(path: Path) -> Path:
    return path.with_name(path.name + BEFORE)


def _file_for(read: ReadResult, layout: SheetLayout, folder: Path, *, this_sheet_only: bool) -> Path:
    if this_sheet_only:
        return file_of_one_sheet(folder, read.sha256)
    return Path(layout.path) if layout.path else _new_file(folder, layout.name)


def _new_file(folder: Path, name: str) -> Path:
    """Return a file of *folder* that is not there yet, named after the layout."""
    stem = "_".join(re.findall(r"\w+", name.casefold()))[:60] or "sheet"
    numbered = (folder / f"{stem}{number}.toml" for number in ("", *(f"_{i}" for i in range(2, 1000))))
    return next(path for path in numbered if not path.exists())
