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
from wqcheck.sheet_layouts.records import SheetLayout
from wqcheck.sheet_layouts.saving import save_layout
from wqcheck.sheets import ReadResult
from wqcheck.train.description import Train

BEFORE = ".before"
"""What is put behind the name of a layout file as it was before the last answers."""


def can_be_kept(read: ReadResult) -> bool:
    """Return whether a sheet layout could be known again by at least one table of *read*."""
    return any(table.found.fingerprint for table in read.tables)


def keep_answers(read: ReadResult, answers: Mapping[Question, str], folder: Path, train: Train | None = None) -> Path:
    """Write the sheet layout that remembers *answers*, and return its file.

    The layout that was applied gets the answers added, and its file as it was stays beside it (``.before``); otherwise
    a new file is made.

    Raises
    ------
    SheetLayoutError
        An answer does not answer its question, no table can be known again, several layouts fit, or the file cannot be
        written. Nothing is written then.
    """
    if not can_be_kept(read):
        raise SheetLayoutError(
            f"{read.name}: no table has headings by which its next sheet could be known; write it into the sheet"
        )
    for finding in read.findings:
        if finding.code == "several sheet layouts":
            raise SheetLayoutError(f"{finding.message} (given: {finding.given})")
    layout = _with_answers(propose_layout(read, train), answers)
    left = [question for question in questions(read, train) if question not in answers]
    layout = replace(layout, remarks=layout_remarks(read, left))
    path = Path(layout.path) if layout.path else _new_file(folder, layout.name)
    try:
        if path.exists():
            path.with_name(path.name + BEFORE).write_bytes(path.read_bytes())
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


def _new_file(folder: Path, name: str) -> Path:
    """Return a file of *folder* that is not there yet, named after the layout."""
    stem = "_".join(re.findall(r"\w+", name.casefold()))[:60] or "sheet"
    numbered = (folder / f"{stem}{number}.toml" for number in ("", *(f"_{i}" for i in range(2, 1000))))
    return next(path for path in numbered if not path.exists())
