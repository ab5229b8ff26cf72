"""Whatever stands in a workbook, each cell is a reading or in the ledger, once; only WorkbookError is ever raised."""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from tests.strategies import Row, sheets
from tests.workbooks import csv_text, xlsx_bytes
from wqcheck.errors import WorkbookError
from wqcheck.sheets import ReadResult, read_workbook

SMALL_BOOK = xlsx_bytes({"Results": [["Sample", "Lead (µg/L)"], ["S-1", 1], ["S-2", "<0.5"]]})
SHEETS = st.lists(sheets(), min_size=1, max_size=2)


def cells_of(read: ReadResult) -> list[str]:
    """Return the place of every reading and every row of the ledger."""
    ledger = read.ledger()
    return [*(read.readings["sheet"] + "!" + read.readings["cell"]), *(ledger["sheet"] + "!" + ledger["cell"])]


def written(rows: list[Row]) -> list[Row]:
    """Return *rows* without what a workbook cannot hold: control characters, and texts that would be formulas."""
    return [[_written(cell) for cell in row] for row in rows]


def _written(cell: Any) -> Any:
    if not isinstance(cell, str):
        return cell
    return "".join(c for c in cell if c.isprintable()).lstrip("=")


def check_cells_add_up(name: str, data: bytes) -> ReadResult:
    read = read_workbook((name, data))
    cells = cells_of(read)
    assert len(cells) == read.cells
    assert len(set(cells)) == len(cells)
    return read


def check_read_or_refused(data: bytes) -> None:
    try:
        check_cells_add_up("book.xlsx", data)
    except WorkbookError as problem:
        sentence = str(problem)
    else:
        return
    assert sentence.startswith("book.xlsx")


@given(SHEETS)
@settings(max_examples=60, deadline=None)
def test_every_cell_of_a_workbook_is_a_reading_or_in_the_ledger_once(books: list[list[Row]]) -> None:
    filled = {f"Sheet {n}": written(rows) for n, rows in enumerate(books)}
    data = xlsx_bytes(filled)
    read = check_cells_add_up("book.xlsx", data)
    expected = sum(
        cell is not None and str(cell).strip() != "" for rows in filled.values() for row in rows for cell in row
    )
    assert read.cells == expected
    again = read_workbook(("book.xlsx", data))
    pd.testing.assert_frame_equal(read.readings, again.readings)
    assert read.findings == again.findings
    assert read.labels == again.labels


@given(
    sheets(),
    st.sampled_from([",", ";", "\t"]),
    st.sampled_from(["\n", "\r\n", "\r"]),
    st.sampled_from(["utf-8", "utf-16"]),
)
@settings(max_examples=50, deadline=None)
def test_every_field_of_a_text_file_is_a_reading_or_in_the_ledger_once(
    rows: list[Row], delimiter: str, line_end: str, encoding: str
) -> None:
    data = csv_text(written(rows), delimiter, line_end).encode(encoding)
    if data:
        check_cells_add_up("book.csv", data)


@given(st.binary(min_size=1, max_size=300))
@example(b"PK\x03\x04")
@example(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1")
@example(b"\xff\xfe\x00")
@example(b"\xef\xbb\xbf")
@settings(max_examples=80, deadline=None)
def test_bytes_of_any_kind_are_read_or_refused_with_a_sentence(data: bytes) -> None:
    check_read_or_refused(data)


@given(st.data())
@settings(max_examples=40, deadline=None)
def test_a_workbook_with_damaged_bytes_is_read_or_refused_with_a_sentence(data: st.DataObject) -> None:
    whole = bytearray(SMALL_BOOK)
    for _ in range(data.draw(st.integers(1, 4))):
        whole[data.draw(st.integers(0, len(whole) - 1))] = data.draw(st.integers(0, 255))
    cut = data.draw(st.integers(1, len(whole)))
    check_read_or_refused(bytes(whole[:cut]))


def test_the_check_itself_notices_a_lost_cell(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("wqcheck.sheets.roles.RoleGrid.filled", lambda grid: int(grid.filled_cells().sum()) + 1)
    with pytest.raises(AssertionError):
        check_cells_add_up("book.csv", b"Sample,Lead\nS-1,1\n")
