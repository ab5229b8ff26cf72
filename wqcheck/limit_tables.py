"""Turns a CSV file of published limits into a checked limit table, or into the list of everything wrong with it."""

from __future__ import annotations

import csv
import hashlib
import io
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path

import numpy as np
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.errors import LimitTableError, TableProblem, WqcheckError
from wqcheck.limit_checks import ANY_PRODUCT, COLUMNS, overlaps, row_problems, split_list
from wqcheck.shipped_files import shipped_folder
from wqcheck.tables import Limits, Product, Rule

HEADER_LINE = 1


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
    """

    name: str
    title: str
    path: Path
    digest: str
    rows: DataFrame[Limits]


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
    """Return the names of the limit tables that come with the package, in alphabetical order."""
    return sorted(path.stem for path in shipped_folder("limits").glob("*.csv"))


def load_limits(name_or_path: str | Path) -> LimitTable:
    """Return the limit table of that shipped name or CSV path.

    Parameters
    ----------
    name_or_path : str or Path
        A name of :func:`shipped_tables`, or the path of a CSV file; a file of that path is taken first.

    Raises
    ------
    LimitTableError
        There is no such table, or it has bad cells: ``problems`` lists all of them, and nothing is loaded.
    """
    path = _find(name_or_path)
    content = path.read_bytes()
    rows = _checked_rows(path, content)
    numbers = [line for line, _ in rows]
    frame = typed_rows(pd.DataFrame([row for _, row in rows], columns=list(COLUMNS), dtype="str"), numbers)
    return LimitTable(
        name=path.stem,
        title=str(frame[Limits.source].iloc[0]),
        path=path,
        digest=hashlib.sha256(content).hexdigest(),
        rows=frame,
    )


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
    for column in ("lower", "upper", "volume_ml"):
        blank[column] = pd.to_numeric(blank[column]).astype(np.float64)
    for column in ("valid_from", "valid_to"):
        blank[column] = pd.to_datetime(blank[column], format="%Y-%m-%d")
    return DataFrame[Limits](blank.assign(line=np.array(lines, dtype=np.int64)))


def _find(name_or_path: str | Path) -> Path:
    path = Path(name_or_path)
    if path.is_file():
        return path
    if path.is_dir():
        raise _refused(path, str(name_or_path), "this is a folder; name one CSV file in it")
    shipped = shipped_tables()
    if str(name_or_path) in shipped:
        return shipped_folder("limits") / f"{name_or_path}.csv"
    near = get_close_matches(path.stem, shipped, n=1, cutoff=0.4)
    hint = f"; nearest: {near[0]}" if near else ""
    listed = ", ".join(shipped) or "none"
    raise _refused(path, str(name_or_path), f"no such file and no such shipped table{hint}; shipped: {listed}")


def _refused(path: Path, given: str, message: str) -> LimitTableError:
    return LimitTableError(path, [TableProblem(path.name, HEADER_LINE, "", given, message)])


def _checked_rows(path: Path, content: bytes) -> list[tuple[int, dict[str, str]]]:
    """Return line number and stripped cells of each row of the file, or raise with all problems."""
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        message = f"the file is not UTF-8 (byte {error.start}); save it as CSV UTF-8"
        raise _refused(path, content[error.start : error.end].hex(), message) from None
    try:
        records = _numbered(text)
    except csv.Error as error:
        raise _refused(path, str(error), "the file cannot be read as CSV; save it again") from None
    header = [cell.strip() for cell in records[0][1]] if records else []
    if header != list(COLUMNS):
        missing = ", ".join(column for column in COLUMNS if column not in header) or "none"
        message = f"the header must be {','.join(COLUMNS)}; missing: {missing}"
        raise _refused(path, ",".join(header), message)
    rows, problems = _named_rows(path.name, records[1:])
    problems += [problem for line, row in rows for problem in row_problems(path.name, line, row)]
    problems += overlaps(path.name, rows)
    if not rows and not problems:
        problems = [TableProblem(path.name, HEADER_LINE, "", "", "the table has no rows; add at least one limit")]
    if problems:
        raise LimitTableError(path, sorted(problems, key=lambda problem: problem.line))
    return rows


def _numbered(text: str) -> list[tuple[int, list[str]]]:
    """Return each non-blank record of CSV *text* with the line on which it begins."""
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    records, begins = [], 1
    for cells in reader:
        if any(cell.strip() for cell in cells):
            records.append((begins, cells))
        begins = reader.line_num + 1
    return records


def _named_rows(
    file: str, records: list[tuple[int, list[str]]]
) -> tuple[list[tuple[int, dict[str, str]]], list[TableProblem]]:
    rows, problems = [], []
    for line, cells in records:
        if len(cells) == len(COLUMNS):
            rows.append((line, dict(zip(COLUMNS, (cell.strip() for cell in cells), strict=True))))
        else:
            message = f"a row has {len(COLUMNS)} cells and this one {len(cells)}; quote a cell that holds a comma"
            problems.append(TableProblem(file, line, "", ",".join(cells)[:80], message))
    return rows, problems
