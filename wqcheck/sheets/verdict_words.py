"""Turns the words of a laboratory's own verdict (*fail*, *voldoet niet*, *no cumple*) into good or bad.

They stand in ``verdict_words.csv`` in all languages; *yes* and *no* are told by the heading above them.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping
from functools import cache
from importlib.resources import files

from wqcheck.parameters import normalise
from wqcheck.sheets.grid import Cells
from wqcheck.sheets.table import Column

_TURNED = re.compile(
    r"exceed|exceedance|overschr|uberschr|depass|superament|superad|incumpl|incumpr|przekro|prekroc|overskrid|fail"
    r"|non ?con|nao con|no con|niet con|nicht|out of"
)
"""Headings under which *yes* is bad."""

_SIGNS = {"✗": "no", "✘": "no", "❌": "no", "☒": "no", "✓": "yes", "✔": "yes", "☑": "yes"}
_MOST_LETTERS = 60


@cache
def _words() -> Mapping[str, str]:
    text = files("wqcheck.sheets").joinpath("verdict_words.csv").read_text(encoding="utf-8")
    return {normalise(row["word"]): row["meaning"] for row in csv.DictReader(text.splitlines())}


def says_verdict(cell: object) -> str:
    """Return ``fail``, ``pass``, ``yes`` or ``no`` where a cell is such a word, else ``""``."""
    if not isinstance(cell, str) or len(cell) > _MOST_LETTERS:
        return ""
    return _SIGNS.get(cell.strip()) or _words().get(normalise(cell), "")


def says_fail(cell: object, heading: str = "") -> bool:
    """Return whether the cell of a verdict column below *heading* is a bad verdict; ``no`` is below most headings."""
    said = says_verdict(cell)
    bad = "yes" if _TURNED.search(normalise(heading)) else "no"
    return said in {"fail", bad}


def with_verdicts(cells: Cells, columns: Mapping[int, Column]) -> dict[int, Column]:
    """Return *columns* with the role ``verdict`` for those that hold nothing but verdicts, whatever their heading."""
    results = sum(column.role == "result" for column in columns.values())
    free = {"", "other", "qualifier", "limit"} | ({"result"} if results > 1 else set())
    found = dict(columns)
    for c, column in columns.items():
        if column.analyte is None and column.role in free and _only_verdicts(cells[:, c]):
            found[c] = Column("verdict", column.heading)
    return found


def _only_verdicts(column: Cells) -> bool:
    """Return whether *column* holds verdicts alone; the first cell of most columns shows that it does not."""
    filled = (cell for cell in column if cell is not None)
    first = next(filled, None)
    return says_verdict(first) in {"pass", "fail"} and all(says_verdict(cell) in {"pass", "fail"} for cell in filled)
