"""Turns flags into a table that is read by itself, and that table into CSV and a workbook in which nothing can act."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pandas as pd
from openpyxl import Workbook
from pandera.typing import DataFrame

from wqcheck.certificate.figures import limit_text, unit_text
from wqcheck.certificate.limit_told import in_reported_unit
from wqcheck.certificate.lines import UNVERIFIED, finite, plain_text
from wqcheck.certificate_files.sheet_cells import add_sheet, set_up_print
from wqcheck.limit_tables.cells import guarded
from wqcheck.release.decision import CAUTION, Disposition
from wqcheck.release.flags import Flags
from wqcheck.tables import Judged, Rule, Sign

RESULT, UNIT, LIMIT, LEADS_TO = "result", "unit", "limit", "leads to"
_CLAUSE, _UNVERIFIED = "clause", "evidence of the limit"
_FROM_FLAGS: dict[str, str] = {
    "flag": Flags.kind, LEADS_TO: Flags.leads_to, "parameter": Flags.name, RESULT: Flags.reported,
    UNIT: "", LIMIT: "", "class": Flags.limit_class, "limit table": Flags.table, _CLAUSE: "", _UNVERIFIED: "",
    "stage": Flags.stage, "point": Flags.point, "sample": Flags.sample, "cell": Flags.where, "reason": Flags.reason,
}  # fmt: skip
"""Heading of each column and where it comes from; blank: from the judged row."""

_WIDTHS = dict(zip(_FROM_FLAGS, (22, 10, 26, 16, 14, 16, 15, 22, 24, 22, 18, 10, 14, 34, 80), strict=True))
_OF_LIMIT = (
    *(Judged.rule, Judged.lower, Judged.upper, Judged.limit_unit, Judged.limit_basis),
    *(Judged.parameter, Judged.unit, Judged.basis),
)  # fmt: skip
_SUMS = (Rule.SUM_MAX, Rule.RATIO_SUM_MAX)


def flag_list(flagged: DataFrame[Flags], judged: DataFrame[Judged]) -> pd.DataFrame:
    """Return one row of texts per flag, in the order and with the index given.

    Parameters
    ----------
    flagged : DataFrame[Flags]
        All flags of a check, or some.
    judged : DataFrame[Judged]
        The judged rows that they were made from.
    """
    table = pd.DataFrame({heading: flagged[name] if name else "" for heading, name in _FROM_FLAGS.items()})
    table[LEADS_TO] = table[LEADS_TO].replace(str(Disposition.RELEASE), "to know")
    of_result = flagged[Flags.table].ne("").to_numpy() & flagged[Flags.row].ge(0).to_numpy()
    rows = judged.iloc[flagged[Flags.row].to_numpy()[of_result]]
    summed = rows[Judged.rule].isin(_SUMS) & rows[Judged.parameter_text].isna()
    units = _each(rows, (Judged.sign, Judged.unit, Judged.basis, Judged.volume_ml), _reported_unit)
    limits = _each(rows, _OF_LIMIT, _limit)
    primary = rows[Judged.evidence].str.startswith("primary text").eq(True).to_numpy()
    table.loc[of_result, UNIT] = np.where(summed, "", units)
    table.loc[of_result, LIMIT] = limits
    table.loc[of_result, _CLAUSE] = (rows[Judged.source] + ", " + rows[Judged.clause]).fillna("").to_numpy()
    table.loc[of_result, _UNVERIFIED] = np.where(primary, "official text", UNVERIFIED)
    return table


def csv_bytes(table: pd.DataFrame) -> bytes:
    """Return a table of texts as CSV with a UTF-8 mark; text that a spreadsheet would take for a formula is guarded."""
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(table.columns)
    guards = [{text: guarded(_one_line(text)) for text in table[name].unique()} for name in table.columns]
    columns = [table[name].map(known) for name, known in zip(table.columns, guards, strict=True)]
    writer.writerows(zip(*columns, strict=True))
    return buffer.getvalue().encode("utf-8-sig", "replace")


def workbook_bytes(table: pd.DataFrame, batch: str) -> bytes:
    """Return a table of texts as a workbook with a sheet that says what it is of; every cell is plain text."""
    book = Workbook()
    del book["Sheet"]
    add_sheet(book, "Flags", {name: _WIDTHS.get(name, 20) for name in table.columns}, table.to_numpy().tolist())
    about: list[list[Any]] = [["batch", batch], ["flags", len(table)], ["caution", CAUTION]]
    add_sheet(book, "About", {"what": 16, "value": 100}, about)
    set_up_print(book)
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def _one_line(text: object) -> str:
    """Write a text in one line, so that no tab or line break hides how it begins."""
    return " ".join(plain_text(text).split())


def _each(rows: pd.DataFrame, names: Sequence[str], write: Callable[..., str]) -> np.ndarray[tuple[int], Any]:
    """Write one text per row, each distinct combination of the columns once."""
    if rows.empty:
        return np.array([], dtype=object)
    groups = rows.groupby(list(names), dropna=False, sort=False).ngroup().to_numpy()
    _, first = np.unique(groups, return_index=True)
    texts = [write(*row) for row in rows[list(names)].iloc[first].itertuples(index=False, name=None)]
    return np.array(texts, dtype=object)[groups]


def _reported_unit(sign: object, unit: object, basis: object, volume_ml: object) -> str:
    word = sign in (Sign.ABSENT, Sign.PRESENT)
    return unit_text("" if word else plain_text(unit), plain_text(basis), finite(volume_ml))


def _limit(*cells: object) -> str:
    """Write a limit in the unit of its result, with the one of its text behind where that differs."""
    row = dict(zip(_OF_LIMIT, cells, strict=True))
    rule, basis = plain_text(row[Judged.rule]), plain_text(row[Judged.limit_basis])
    unit = unit_text(plain_text(row[Judged.limit_unit]), basis)
    written = limit_text(rule, finite(row[Judged.lower]), finite(row[Judged.upper]), unit)
    own = in_reported_unit(row)
    if own is None:
        return written
    return f"{limit_text(rule, finite(own[0]), finite(own[1]), unit_text(own[2], basis))} (= {written.lstrip('≤≥ ')})"
