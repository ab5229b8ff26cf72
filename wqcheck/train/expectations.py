"""Turns the CSV file of what each kind of stage usually does into a checked table, or into all that is wrong in it."""

from __future__ import annotations

import csv
import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from pandera.errors import SchemaErrors
from pandera.typing import DataFrame

from wqcheck.errors import LimitTableError, TableProblem, UnknownParameterError, UnknownUnitError
from wqcheck.parameters import find_parameter
from wqcheck.shipped_files import STAGE_EXPECTATIONS, shipped_folder
from wqcheck.tables import Expectations, Measure
from wqcheck.train.kinds import KINDS
from wqcheck.units import recognise_unit

HEADER = (
    *("kind", "group", "parameters", "measure", "lower", "upper", "unit", "source", "clause", "evidence", "note"),
)
_NUMBERS = ("lower", "upper")
_ENDS: dict[str, tuple[str, ...]] = {
    Measure.PERCENT: ("lower",), Measure.LOG: ("lower",), Measure.OUTLET: ("upper",), Measure.CARRIED: ("upper",),
}  # fmt: skip
"""Measure → the ends that a row with it must give."""


@dataclass(frozen=True, slots=True, eq=False)
class ExpectationTable:
    """What each kind of stage usually does, as loaded: path, SHA-256 of the file, and one row per parameter."""

    path: Path
    digest: str
    rows: DataFrame[Expectations]


def load_expectations(path: Path | str | None = None) -> ExpectationTable:
    """Read a table of expectations.

    Parameters
    ----------
    path : Path or str, optional
        A CSV file with the header :data:`HEADER`; the shipped one by default.

    Raises
    ------
    LimitTableError
        Lists every bad cell with file, line and column; nothing of the file is loaded.
    """
    file = shipped_folder("limits") / STAGE_EXPECTATIONS if path is None else Path(path)
    content, records = _records(file)
    problems = [problem for line, row in records for problem in _row_problems(file.name, line, row)]
    problems += _repeated(file.name, records)
    frame, found = _typed(file.name, records)
    problems += found
    if not records:
        problems.append(TableProblem(file.name, 1, "", "", "the table has no rows; add at least one"))
    if problems or frame is None:
        raise LimitTableError(file, sorted(problems, key=lambda problem: problem.line))
    return ExpectationTable(path=file, digest=hashlib.sha256(content).hexdigest(), rows=frame)


def _records(file: Path) -> tuple[bytes, list[tuple[int, dict[str, str]]]]:
    """Return the file's bytes, and line and cells of each row."""
    try:
        content = file.read_bytes()
        text = content.decode("utf-8-sig")
    except OSError as error:
        raise _refused(file, str(file), f"the file cannot be opened ({error.strerror}); check the name") from error
    except UnicodeDecodeError as error:
        raise _refused(file, "", "the file is not UTF-8; save it as CSV UTF-8") from error
    reader = csv.reader(text.splitlines(keepends=True))
    header = tuple(cell.strip() for cell in next(reader, []))
    if header != HEADER:
        raise _refused(file, ",".join(header), f"the header must be {','.join(HEADER)}")
    records = []
    for cells in reader:
        if any(cell.strip() for cell in cells):
            if len(cells) != len(HEADER):
                message = f"the row has {len(cells)} cells instead of {len(HEADER)}; put text with a comma in quotes"
                raise LimitTableError(file, [TableProblem(file.name, reader.line_num, "", ",".join(cells), message)])
            records.append((reader.line_num, dict(zip(HEADER, (cell.strip() for cell in cells), strict=True))))
    return content, records


def _refused(file: Path, given: str, message: str) -> LimitTableError:
    return LimitTableError(file, [TableProblem(file.name, 1, "", given, message)])


def _codes(row: dict[str, str]) -> list[str]:
    return [code.strip() for code in row["parameters"].split(";") if code.strip()]


def _row_problems(file: str, line: int, row: dict[str, str]) -> Iterator[TableProblem]:
    """Yield what is wrong in one row beside the types and words that the table model checks."""
    if row["kind"] not in KINDS:
        yield TableProblem(file, line, "kind", row["kind"], f"write one of {', '.join(KINDS)}")
    if not _codes(row):
        yield TableProblem(file, line, "parameters", "", "name at least one parameter code; part several by ;")
    for code in _codes(row):
        try:
            find_parameter(code)
        except UnknownParameterError as problem:
            yield TableProblem(file, line, "parameters", code, str(problem))
    yield from _end_problems(file, line, row)
    try:
        if row["unit"] not in {"", "%", "log"}:
            recognise_unit(row["unit"])
    except UnknownUnitError as problem:
        yield TableProblem(file, line, "unit", row["unit"], str(problem))


def _end_problems(file: str, line: int, row: dict[str, str]) -> Iterator[TableProblem]:
    for column in _NUMBERS:
        if row[column] and np.isnan(_number(row[column])):
            yield TableProblem(file, line, column, row[column], "write a number with a point, or leave it blank")
    low, high = (_number(row[column]) for column in _NUMBERS)
    if low > high:
        yield TableProblem(file, line, "upper", row["upper"], "it is below the lower end; change the two")
    missing = [column for column in _ENDS.get(row["measure"], ()) if not row[column]]
    for column in missing:
        yield TableProblem(file, line, column, "", f"a row of {row['measure']} needs this number")
    if row["measure"] == Measure.INLET and not (row["lower"] or row["upper"]):
        yield TableProblem(file, line, "upper", "", "a row of inlet needs a lower or an upper end")
    share = row["measure"] in {Measure.PERCENT, Measure.CARRIED}
    if share and row["unit"] != "%":
        yield TableProblem(file, line, "unit", row["unit"], f"a row of {row['measure']} is in %")


def _number(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        return np.nan
    return value if np.isfinite(value) else np.nan


def _repeated(file: str, records: list[tuple[int, dict[str, str]]]) -> Iterator[TableProblem]:
    seen: dict[tuple[str, str, str], int] = {}
    for line, row in records:
        for code in _codes(row):
            key = (row["kind"], code, row["measure"])
            if key in seen:
                message = f"line {seen[key]} says this of {row['kind']} and {row['measure']} already; keep one"
                yield TableProblem(file, line, "parameters", code, message)
            seen.setdefault(key, line)


def _typed(
    file: str, records: list[tuple[int, dict[str, str]]]
) -> tuple[DataFrame[Expectations] | None, list[TableProblem]]:
    """Return one row per parameter as the table model wants it, or what the model refuses."""
    rows = [row | {"parameter": code, "line": str(line)} for line, row in records for code in _codes(row)]
    types = {name: str(column.dtype) for name, column in Expectations.to_schema().columns.items()}
    frame = pd.DataFrame(rows, columns=list(types), dtype="str")
    for column in _NUMBERS:
        frame[column] = [_number(text) for text in frame[column]]
    texts = [name for name, kind in types.items() if name not in {*_NUMBERS, "line"}]
    frame = frame.assign(**{name: frame[name].mask(frame[name].eq("")) for name in texts})
    frame = frame.astype(types)
    try:
        return Expectations.validate(frame, lazy=True), []
    except SchemaErrors as error:
        cases = error.failure_cases
        told = {
            (int(frame["line"].iloc[int(case["index"])]), str(case["column"]), str(case["failure_case"]))
            for case in cases[cases["index"].notna()].to_dict("records")
        }
        return None, [TableProblem(file, line, column, given, _mend(column)) for line, column, given in sorted(told)]


def _mend(column: str) -> str:
    words = {
        Expectations.measure: f"write one of {', '.join(Measure)}",
        Expectations.evidence: "write primary text, secondary text, memory or common practice",
    }
    return words.get(column, "the cell may not be blank")
