"""Turns a CSV file that stands beside the limit tables into a checked table, or into what is wrong in it."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pandera.pandas as pa

from wqcheck.errors import LimitTableError, TableProblem
from wqcheck.limit_tables.columns import is_number

HEADER_LINE = 1


def load_data_file(path: Path, model: type[pa.DataFrameModel]) -> tuple[pd.DataFrame, str]:
    """Return the rows of a UTF-8 CSV file as *model* asks, and the SHA-256 of the file's bytes (hexadecimal).

    A blank cell is missing (NA, NaN); a number column holds plain numbers with a decimal point.

    Raises
    ------
    LimitTableError
        ``problems`` lists every bad cell with its line and mend, and nothing is loaded.
    """
    try:
        content = path.read_bytes()
        text = pd.read_csv(io.StringIO(content.decode("utf-8-sig")), dtype="str", keep_default_na=False)
    except (OSError, UnicodeDecodeError, ValueError) as error:
        raise _refused(path, "", "", f"this is no readable UTF-8 CSV file ({error}); mend it") from error
    columns = model.to_schema().columns
    if list(text.columns) != list(columns):
        raise _refused(path, "", ",".join(text.columns), f"the headings must be {','.join(columns)}")
    problems = [*_number_problems(path, text, model)]
    if problems:
        raise LimitTableError(path, problems)
    typed = _typed(text, model)
    try:
        return model.validate(typed, lazy=True), hashlib.sha256(content).hexdigest()
    except pa.errors.SchemaErrors as error:
        raise LimitTableError(path, list(_broken(path, text, error.failure_cases))) from None


def _numbers(model: type[pa.DataFrameModel]) -> dict[str, str]:
    """Return the number columns of *model* with their type."""
    types = {name: str(column.dtype) for name, column in model.to_schema().columns.items()}
    return {name: word for name, word in types.items() if word in {"int64", "float64"}}


def _number_problems(path: Path, text: pd.DataFrame, model: type[pa.DataFrameModel]) -> Iterator[TableProblem]:
    for name, word in _numbers(model).items():
        for place, given in enumerate(text[name]):
            whole = given.isascii() and given.isdigit()
            if not (whole if word == "int64" else is_number(given) or not given):
                kind = "a whole number" if word == "int64" else "a number with a decimal point, or nothing"
                yield TableProblem(path.name, place + HEADER_LINE + 1, name, given, f"write {kind}")


def _typed(text: pd.DataFrame, model: type[pa.DataFrameModel]) -> pd.DataFrame:
    blank = text.mask(text == "")
    for name, word in _numbers(model).items():
        blank[name] = pd.to_numeric(blank[name]).astype(np.int64 if word == "int64" else np.float64)
    return blank


def _broken(path: Path, text: pd.DataFrame, cases: pd.DataFrame) -> Iterator[TableProblem]:
    seen = set()
    for case in cases.to_dict("records"):
        place, column = case["index"], str(case["column"] or "")
        at = (place, column, case["check"])
        if at in seen:
            continue
        seen.add(at)
        known = isinstance(place, int) and column in text
        given = str(text.loc[place, column]) if known else _shown(case)
        line = place + HEADER_LINE + 1 if isinstance(place, int) else HEADER_LINE
        yield TableProblem(path.name, line, column if column in text else "", given, f"this must hold: {case['check']}")


def _shown(case: dict[Any, Any]) -> str:
    return "" if pd.isna(case["failure_case"]) else str(case["failure_case"])


def _refused(path: Path, column: str, given: str, message: str) -> LimitTableError:
    return LimitTableError(path, [TableProblem(path.name, HEADER_LINE, column, given, message)])
