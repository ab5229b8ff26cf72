"""Turns the headings of a table into a fingerprint by which the next sheet of the same form is known again."""

from __future__ import annotations

import hashlib
import re

import numpy as np

from wqcheck.parameters import normalise
from wqcheck.sheets.content import is_date_text
from wqcheck.sheets.grid import Cells
from wqcheck.sheets.table import Table

_NUMBERS = re.compile(r"\d{3,}")
_SEARCHED_ROWS = 60
_FEWEST_HEADINGS, _FEW_HEADINGS = 2, 5


def headings_of(cells: Cells, table: Table | str) -> tuple[str, ...]:
    """Return what stays the same in the headings of a table, sheet after sheet, left to right.

    Headings are normalised, dates and numbers of three and more digits (of batches, reports, years) become ``#``. The
    columns of a crosstab are headed by samples and do not count. Of a sheet in which no table was found it is the row
    with the most texts.
    """
    if isinstance(table, str):
        texts = [str(cell) for cell in _fullest_row(cells) if isinstance(cell, str)]
    else:
        varying = "result" if table.kind == "crosstab" else None
        texts = [column.heading for _, column in sorted(table.columns.items()) if column.role != varying]
    return tuple(_lasting(text.strip()) for text in texts if normalise(text))


def fingerprint(cells: Cells, table: Table | str) -> str:
    """Return the fingerprint of a table: 16 hexadecimal digits of the SHA-256 of its kind and lasting headings.

    Rows of data, row numbers, widths and blank columns do not count. A table with few headings (*Parameter*, *Unit*)
    is told from that of another laboratory by the labels above it (``Report no:``), without their values; one with
    fewer than two headings has no fingerprint (``""``), for it could be any.
    """
    headings = headings_of(cells, table)
    if len(headings) < _FEWEST_HEADINGS:
        return ""
    labels = _labels_above(cells, table) if len(headings) < _FEW_HEADINGS else []
    kind = "none" if isinstance(table, str) else table.kind
    return hashlib.sha256("\n".join([kind, *headings, "", *labels]).encode()).hexdigest()[:16]


def _labels_above(cells: Cells, table: Table | str) -> list[str]:
    header = None if isinstance(table, str) else table.header
    texts = [cell for row in cells[: min(header or 0, _SEARCHED_ROWS)] for cell in row if isinstance(cell, str)]
    return [_lasting(text.partition(":")[0].strip()) for text in texts if ":" in text]


def _lasting(text: str) -> str:
    return "#" if is_date_text(text) else _NUMBERS.sub("#", normalise(text))


def _fullest_row(cells: Cells) -> Cells:
    head = cells[:_SEARCHED_ROWS]
    if not head.size:
        return np.array([], dtype=object)
    texts = [sum(isinstance(cell, str) for cell in row) for row in head]
    return np.asarray(head[int(np.argmax(texts))])
