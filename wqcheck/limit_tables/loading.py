"""Turns a CSV or XLSX file of published limits into a checked limit table, or into the list of what is wrong in it."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from pathlib import Path

import numpy as np
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.errors import LimitTableError, TableProblem, WqcheckError
from wqcheck.limit_tables.cells import HEADER_LINE, Rows, read_cells, refused
from wqcheck.limit_tables.columns import ANY_PRODUCT, COLUMNS, DATE_COLUMNS, NUMBER_COLUMNS, split_list
from wqcheck.limit_tables.schema import table_problems
from wqcheck.shipped_files import shipped_folder
from wqcheck.tables import Limits, Product, Rule


@dataclass(frozen=True, slots=True, eq=False)
class LimitTable:
    """One issuer's limits in one edition, as loaded; two of them are the same table when their digests agree.

    Attributes
    ----------
    name : str
        The file name without its ending; judged rows carry it in the column ``table``.
    title : str
        The source that the first row cites.
    path : Path
        The file that was read.
    digest : str
        SHA-256 of the file's bytes, hexadecimal.
    rows : DataFrame
        One row per limit.
    written : Mapping[int, tuple[str, str]]
        Line → lower and upper limit as they are written there; their last digits tell the place to round to.
    """

    name: str
    title: str
    path: Path
    digest: str
    rows: DataFrame[Limits]
    written: Mapping[int, tuple[str, str]] = field(default_factory=dict)


class UnknownProductError(WqcheckError, ValueError):
    """A kind of water is none of the words that limit tables use; ``text`` is what was given."""

    def __init__(self, text: str) -> None:
        self.text = text
        super().__init__(text)

    def __str__(self) -> str:
        return f"the product must be one of {', '.join(Product)} (given: {self.text!r})"


def product_word(text: str) -> Product:
    """Return *text* as a product word, or raise :class:`UnknownProductError`."""
    try:
        return Product(text)
    except ValueError:
        raise UnknownProductError(text) from None


def shipped_tables() -> list[str]:
    """Return the names of the limit tables that come with the package, in alphabetical order.

    Other CSV files of that folder, told by their first column, are no limit tables.
    """
    return sorted(path.stem for path in shipped_folder("limits").glob("*.csv") if _begins_as_limits(path))


def _begins_as_limits(path: Path) -> bool:
    with path.open(encoding="utf-8-sig") as file:
        return file.readline().startswith(",".join(COLUMNS[:3]))


def load_limits(name_or_path: str | Path) -> LimitTable:
    """Return the limit table of that shipped name or path.

    Parameters
    ----------
    name_or_path : str or Path
        A name of :func:`shipped_tables`, or the path of a CSV or XLSX file; a file of that path is taken first.

    Raises
    ------
    LimitTableError
        There is no such table, or it has bad cells: ``problems`` lists all of them, and nothing is loaded.
    """
    path = _find(name_or_path)
    return limit_table(path, path.read_bytes())


def limit_table(path: Path, content: bytes) -> LimitTable:
    """Return the limit table that the bytes *content* of the file *path* hold; the file itself is not read.

    Raises
    ------
    LimitTableError
        As :func:`load_limits`.
    """
    rows = _checked(path, content)
    text = pd.DataFrame([row for _, row in rows], columns=list(COLUMNS), dtype="str")
    frame = typed_rows(text, [line for line, _ in rows])
    return LimitTable(
        name=path.stem,
        title=str(frame[Limits.source].iloc[0]),
        path=path,
        digest=hashlib.sha256(content).hexdigest(),
        rows=frame,
        written={line: (row["lower"], row["upper"]) for line, row in rows},
    )


def limit_cells(name_or_path: str | Path) -> pd.DataFrame:
    """Return the cells of a sound limit table as text, as they stand in its file: one row per limit, blanks empty.

    Raises
    ------
    LimitTableError
        As :func:`load_limits`.
    """
    path = _find(name_or_path)
    rows = _checked(path, path.read_bytes())
    return pd.DataFrame([row for _, row in rows], columns=list(COLUMNS), dtype="str")


def covers(table: LimitTable, product: str) -> bool:
    """Tell whether *table* has a row with a limit (not only guidance) that binds *product* at some time."""
    word = product_word(product)
    judged = table.rows[Limits.rule] != Rule.GUIDANCE
    return bool((binds_product(table.rows, word) & judged.to_numpy()).any())


def binds_product(rows: pd.DataFrame, product: Product) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Return for each of the limit *rows* whether it names *product* or binds any; matching is exact."""
    named = [{ANY_PRODUCT, product} & set(split_list(words)) for words in rows[Limits.product]]
    return np.array([bool(words) for words in named], dtype=np.bool_)


def typed_rows(text: pd.DataFrame, lines: list[int]) -> DataFrame[Limits]:
    """Return checked *text* cells (one row per limit, blanks empty) with numbers, dates and their file *lines*."""
    blank = text.mask(text == "")
    for column in NUMBER_COLUMNS:
        blank[column] = pd.to_numeric(blank[column]).astype(np.float64)
    for column in DATE_COLUMNS:
        blank[column] = pd.to_datetime(blank[column], format="%Y-%m-%d")
    return DataFrame[Limits](blank.assign(line=np.array(lines, dtype=np.int64)))


def _find(name_or_path: str | Path) -> Path:
    path = Path(name_or_path)
    if path.is_file():
        return path
    if path.is_dir():
        raise refused(path, str(name_or_path), "this is a folder; name one file in it")
    shipped = shipped_tables()
    if str(name_or_path) in shipped:
        return shipped_folder("limits") / f"{name_or_path}.csv"
    near = get_close_matches(path.stem, shipped, n=1, cutoff=0.4)
    hint = f"; nearest: {near[0]}" if near else ""
    listed = ", ".join(shipped) or "none"
    raise refused(path, str(name_or_path), f"no such file and no such shipped table{hint}; shipped: {listed}")


def _checked(path: Path, content: bytes) -> Rows:
    """Return line number and stripped cells of each row of the file, or raise with all problems."""
    rows, problems = read_cells(path, content)
    problems += table_problems(path.name, rows)
    if not rows and not problems:
        problems = [TableProblem(path.name, HEADER_LINE, "", "", "the table has no rows; add at least one limit")]
    if problems:
        raise LimitTableError(path, sorted(problems, key=lambda problem: problem.line))
    return rows
