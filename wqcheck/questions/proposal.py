"""Turns what the reader decided about a workbook into a sheet layout to edit, with the open questions as comments."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from wqcheck.parameters import normalise
from wqcheck.questions.answering import section_of
from wqcheck.questions.asking import questions
from wqcheck.questions.records import Question, QuestionKind
from wqcheck.sheet_layouts.checks import basis_problem, misfit
from wqcheck.sheet_layouts.records import COLUMN_ROLES, DATE_ROLES, ColumnAnswer, SheetLayout, TableAnswer
from wqcheck.sheet_layouts.saving import answer_line
from wqcheck.sheets import ReadResult, ReadTable
from wqcheck.sheets.roles import column_name
from wqcheck.sheets.table import Column, Table
from wqcheck.train.description import Train

_MOST_QUESTIONS = 60
_EXPLAINED = """Sheet layout: what was confirmed for the sheets of one laboratory. Each line may be changed or left out.
A sheet is known again by the fingerprints of its headings. An answer fills what a sheet leaves open; where the sheet
states something else the sheet holds, unless the answer says replace = true."""


def propose_layout(read: ReadResult, train: Train | None = None) -> SheetLayout:
    """Return what was decided about the sheets of *read* as a layout to edit; unchanged, it changes no reading.

    Where a layout was applied already, it is returned with the tables and questions that it did not know.
    """
    known = read.layout or SheetLayout(
        name=f"Sheets of {read.labels['lab']}" if "lab" in read.labels else Path(read.name).stem,
        lab=read.labels.get("lab", ""),
        decimal=_decided_mark(read.tables),
        dates=dict(_decided_orders(read.tables)),
    )
    new = {t.found.fingerprint: t for t in read.tables if not known.table_for(t.found.fingerprint)}
    tables = [_table(read.tables, text) for text in new if text]
    return replace(known, tables=(*known.tables, *tables), remarks=layout_remarks(read, questions(read, train)))


def layout_remarks(read: ReadResult, asked: Sequence[Question]) -> tuple[str, ...]:
    """Return the comment lines of a layout file for *read*: what it is for, its headings, the questions *asked*."""
    return (_EXPLAINED, *_headings(read.tables), *_open(asked))


def _decided_mark(tables: Iterable[ReadTable]) -> str:
    marks = {mark for table in tables for mark in table.marks.values()}
    return marks.pop() if len(marks) == 1 else ""


def _decided_orders(tables: Sequence[ReadTable]) -> Iterator[tuple[str, str]]:
    """Yield role and order where each column of dates of that role proved the same."""
    for role in DATE_ROLES:
        orders = {table.orders.get(role, "") for table in tables} - {""}
        if len(orders) == 1 and "?" not in orders:
            yield role, orders.pop()


def _table(tables: Iterable[ReadTable], fingerprint: str) -> TableAnswer:
    """Return the first table with *fingerprint*, without units in which the others differ from it."""
    same = [table for table in tables if table.found.fingerprint == fingerprint]
    columns = [list(_columns(table.table)) for table in same]
    units = [{(column.heading, column.nth): column.unit for column in one} for one in columns]
    agreed = [
        replace(column, unit=column.unit if len({one.get((column.heading, column.nth)) for one in units}) == 1 else "")
        for column in columns[0]
    ]
    first = same[0]
    kind = "none" if isinstance(first.table, str) else first.table.kind
    return TableAnswer(
        fingerprints=(fingerprint,), sheet=first.found.part.name.strip(), kind=kind, columns=tuple(agreed)
    )


def _columns(table: Table | str) -> Iterator[ColumnAnswer]:
    """Yield what each column of a table is; those of the samples of a crosstab change from sheet to sheet."""
    if isinstance(table, str):
        return
    seen: Counter[str] = Counter()
    for position, column in sorted(table.columns.items()):
        seen[normalise(column.heading)] += bool(column.heading)
        varies = table.kind == "crosstab" and column.role == "result"
        if varies or not (column.heading or column.role in COLUMN_ROLES):
            continue
        yield _column(position, column, seen[normalise(column.heading)])


def _column(position: int, column: Column, nth: int) -> ColumnAnswer:
    analyte = column.analyte
    code = analyte.code if analyte else ""
    basis = analyte.basis if analyte else ""
    unit = column.unit_text.strip() if column.unit is not None else ""
    return ColumnAnswer(
        heading=column.heading,
        column="" if column.heading else column_name(position),
        nth=nth if column.heading else 1,
        role=column.role if column.role in COLUMN_ROLES else "",
        parameter=code,
        basis="" if basis_problem(basis, code) else basis,
        fraction=analyte.fraction if analyte else "",
        unit="" if misfit(unit, code) else unit,
    )


def _headings(tables: Iterable[ReadTable]) -> Iterator[str]:
    yield ""
    for table in tables:
        found, name = table.found, table.found.part.name or "the file"
        if not table.found.fingerprint:
            yield f"{name}: too few headings to know the table again"
        elif not isinstance(found.found, str) and found.found.header is not None:
            yield f"{name}: {found.fingerprint}, headings in row {found.part.top + found.found.header + 1}"


def _open(asked: Sequence[Question]) -> Iterator[str]:
    if not asked:
        return
    yield f"\nOpen questions ({len(asked)}). To answer one, take its line, without the #, to the lines below."
    for question in asked[:_MOST_QUESTIONS]:
        yield f"- {question}"
        likely = question.options[0] if question.options else "…"
        if question.kind == QuestionKind.DECIMAL:
            yield f'  decimal = "{likely}"'
        elif section := section_of(question):
            answer = float(likely) if question.kind == QuestionKind.VOLUME else likely
            yield f"  {answer_line(section, question.given, answer)}"
    if len(asked) > _MOST_QUESTIONS:
        yield f"… and {len(asked) - _MOST_QUESTIONS} more: wqcheck read --questions lists all"
