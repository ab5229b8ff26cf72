"""Turns the cells of a limit table under edit into what is wrong with them, and into what differs from before.

The cells are text in one row per limit; the index is the line of the file they came from, or the next free number for a
row that was added. Nothing is computed from a cell before the table is sound.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pandas as pd

from wqcheck.errors import LimitTableError, TableProblem
from wqcheck.limit_tables.cells import HEADER_LINE, control_problems, read_cells
from wqcheck.limit_tables.columns import COLUMNS, EVIDENCE
from wqcheck.limit_tables.loading import LimitTable, limit_table, shipped_tables
from wqcheck.limit_tables.schema import table_problems
from wqcheck.limit_tables.sheets import csv_bytes
from wqcheck.shipped_files import shipped_folder

LINE = "line"
_CITED = ("source", "clause", "evidence")
_VALUE = tuple(column for column in COLUMNS if column not in {*_CITED, "status", "valid_from", "valid_to", "note"})


def open_cells(path: Path, content: bytes) -> pd.DataFrame:
    """Return the cells of a limit file, sound or not, indexed by line.

    Raises
    ------
    LimitTableError
        It is no limit table, or a cell could be meant in several ways (a formula, a doubtful comma): such a cell is
        mended in the file, not here.
    """
    rows, problems = read_cells(path, content)
    if problems:
        raise LimitTableError(path, problems)
    return _indexed(pd.DataFrame([row for _, row in rows], columns=list(COLUMNS)), [line for line, _ in rows])


def tidied(cells: pd.DataFrame) -> pd.DataFrame:
    """Return *cells* as text without spaces around it, in the order of the columns, and without wholly blank rows."""
    text = cells.reindex(columns=list(COLUMNS)).astype("object").fillna("").astype("str")
    text = text.apply(lambda column: column.str.replace("\r\n", "\n").str.replace("\r", "\n").str.strip())
    filled = text[(text != "").any(axis=1)]
    return _indexed(filled, [int(line) for line in filled.index])


def problems_in(cells: pd.DataFrame, file: str) -> list[TableProblem]:
    """Return everything that ``wqcheck limits check`` would refuse, in the order of the lines."""
    rows = [(int(str(line)), dict(zip(COLUMNS, row, strict=True))) for line, row in _tuples(cells)]
    if not rows:
        return [TableProblem(file, HEADER_LINE, "", "", "the table has no rows; add at least one limit")]
    found = [problem for line, row in rows for problem in control_problems(file, line, row)]
    return sorted([*found, *table_problems(file, rows)], key=lambda problem: problem.line)


def borrowed_in(before: pd.DataFrame, after: pd.DataFrame, file: str) -> list[TableProblem]:
    """Return a problem for each row whose limit was changed while it still cites the official text that says another.

    Certificates print source and clause beside the limit: an own figure under the name of a law would be a false
    statement, however strict it is. A text is official when a shipped table cites it.
    """
    shared = before.index.intersection(after.index)
    old, new = before.loc[shared], after.loc[shared]
    changed = (old[list(_VALUE)] != new[list(_VALUE)]).any(axis=1) & new["source"].isin(_official_sources())
    same = (old[list(_CITED)] == new[list(_CITED)]).all(axis=1)
    message = (
        "the limit was changed and still cites the text that says another; write in source and clause whose limit it "
        "is now, or in evidence where the new figure was read"
    )
    return [
        TableProblem(file, int(str(line)), "source", str(text), message)
        for line, text in new.loc[changed & same, "source"].items()
    ]


def as_own(before: pd.DataFrame, after: pd.DataFrame, source: str) -> pd.DataFrame:
    """Return *after* with the rows of :func:`borrowed_in` cited as an own limit; the note keeps what stood there.

    Parameters
    ----------
    before, after : DataFrame
        Text cells; left as they are.
    source : str
        The own document, such as ``Specification of the plant, issue 4``.
    """
    cells = after.copy()
    for line in [problem.line for problem in borrowed_in(before, after, "")]:
        old, new = (dict(zip(COLUMNS, rows.loc[line, list(COLUMNS)], strict=True)) for rows in (before, after))
        changed = [name for name in _VALUE if old[name] != new[name]]
        was = ", ".join(f"{name} {old[name] or 'blank'}" for name in changed)
        told = f"Was {was} ({old['unit']}) in {old['source']}, {old['clause']}."
        cells.loc[line, list(_CITED)] = [source, "own limit", f"{EVIDENCE[0]}: {source}"]
        cells.loc[line, "note"] = f"{new['note']} {told}".strip()
    return cells


@cache
def _official_sources() -> frozenset[str]:
    paths = [shipped_folder("limits") / f"{name}.csv" for name in shipped_tables()]
    return frozenset(str(text) for path in paths for text in pd.read_csv(path, usecols=["source"])["source"].unique())


def changed_cells(before: pd.DataFrame, after: pd.DataFrame) -> pd.DataFrame:
    """Return one row per cell that differs: ``line``, ``parameter``, ``column``, ``before``, ``after``.

    Rows that were added or dropped are no changed cells and are left out.
    """
    shared = before.index.intersection(after.index)
    old, new = (cells.loc[shared].rename_axis(LINE).melt(ignore_index=False) for cells in (before, after))
    both = pd.DataFrame(
        {"column": old["variable"], "before": old["value"], "after": new["value"]}
    ).reset_index()  # fmt: skip
    differing = both[both["before"] != both["after"]].sort_values(LINE, kind="stable")
    names = after["parameter"].reindex(differing[LINE]).to_numpy()
    differing.insert(1, "parameter", names)
    return differing.reset_index(drop=True)


def edited_table(cells: pd.DataFrame, path: Path) -> LimitTable:
    """Return sound *cells* as the limit table that their file would be, read from the very bytes of that file.

    Raises
    ------
    LimitTableError
        A cell is bad, or the file would not give back every cell as it stands here.
    """
    content = csv_bytes(cells)
    table = limit_table(path, content)
    if _values(open_cells(path, content)) != _values(cells):
        problem = TableProblem(path.name, HEADER_LINE, "", "", "the file would not read back as it stands; retype it")
        raise LimitTableError(path, [problem])
    return table


def _indexed(cells: pd.DataFrame, lines: list[int]) -> pd.DataFrame:
    return cells.astype("str").set_axis(pd.Index(lines, dtype="int64", name=LINE), axis=0)


def _tuples(cells: pd.DataFrame) -> list[tuple[object, list[str]]]:
    return list(zip(cells.index, _values(cells), strict=True))


def _values(cells: pd.DataFrame) -> list[list[str]]:
    rows: list[list[str]] = cells[list(COLUMNS)].to_numpy().tolist()
    return rows
