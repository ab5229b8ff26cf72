"""Turns the rules of a limits file into one pandera schema, and what breaks it into problems with their mend."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial

import pandas as pd
import pandera.pandas as pa

from wqcheck.errors import TableProblem
from wqcheck.limit_tables.checks import RULES, Problem, Row, overlaps
from wqcheck.limit_tables.columns import COLUMNS, EXPLAINED

ONE_ROW_EACH = "no two rows bind the same parameter, rule, class and water on the same day"


def _sound(cells: pd.DataFrame, check: Callable[[Row], Iterator[Problem]]) -> pd.Series[bool]:
    """Tell for each row of text cells whether *check* finds nothing; same index."""
    return pd.Series([next(check(row), None) is None for row in _rows(cells)], index=cells.index, dtype=bool)


def _alone(cells: pd.DataFrame) -> pd.Series[bool]:
    """Tell for each row whether no earlier one binds the same; the index of *cells* is the line of the file."""
    clashing = {problem.line for problem in overlaps("", list(zip(cells.index, _rows(cells), strict=True)))}
    return pd.Series([line not in clashing for line in cells.index], index=cells.index, dtype=bool)


def _rows(cells: pd.DataFrame) -> list[dict[str, str]]:
    return [dict(zip(COLUMNS, map(str, row), strict=True)) for row in cells.itertuples(index=False)]


SCHEMA = pa.DataFrameSchema(
    {column: pa.Column(str, description=EXPLAINED[column]) for column in COLUMNS},
    checks=[
        *(pa.Check(partial(_sound, check=check), name=rule, error=rule) for rule, check in RULES.items()),
        pa.Check(_alone, name=ONE_ROW_EACH, error=ONE_ROW_EACH),
    ],
    index=pa.Index(int, name="line", unique=True),
    strict=True,
    ordered=True,
    description="The text cells of a limits file, indexed by line.",
)
"""Every rule of a limits file: what stands in each column (descriptions) and what must hold of each row (checks)."""


def table_problems(file: str, rows: Sequence[tuple[int, Row]]) -> list[TableProblem]:
    """Return everything in which the *rows* (line, stripped text cells by column) break :data:`SCHEMA`.

    The line of the header is 1; each problem names file, line, column, what was given and how to mend it.
    """
    if not rows:
        return []
    lines = pd.Index([line for line, _ in rows], name="line")
    cells = pd.DataFrame([row for _, row in rows], columns=list(COLUMNS), index=lines, dtype="str")
    try:
        SCHEMA.validate(cells, lazy=True)
    except pa.errors.SchemaErrors as error:
        broken = set(error.failure_cases["check"])
    else:
        return []
    found = [
        TableProblem(file, line, column, given, message)
        for rule, check in RULES.items()
        if rule in broken
        for line, row in rows
        for column, given, message in check(row)
    ]
    return [*found, *(overlaps(file, rows) if ONE_ROW_EACH in broken else [])]
