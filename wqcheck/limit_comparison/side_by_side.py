"""Turns a comparison of limit tables into one row per parameter and kind of limit, with a column for each table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

import pandas as pd

from wqcheck.limit_comparison.comparison import WINNING, Standing
from wqcheck.limit_comparison.demands import Asks, plain_number

PARAMETER, UNIT, STRICTEST = "parameter", "limit in", "strictest"

SHORT_REASONS = {
    "guidance": "guidance",
    "another kind": "other kind",
    "only for": "other water",
    "only as part": "in a sum",
}
"""How the reason for having no limit begins → what stands in the table for it."""

_SIGNS = {Asks.AT_MOST: "≤", Asks.AT_LEAST: "≥", Asks.MEAN: "mean ≤", Asks.PERCENTILE: "percentile ≤",
          Asks.RATIO: "sum of ratios ≤"}  # fmt: skip
_SINGLE = " (any single pesticide)"


@dataclass(frozen=True, slots=True, kw_only=True)
class Marks:
    """What is written behind a limit or in its place.

    ``unverified`` follows a limit that was not read in its official text, ``single`` one that holds for any single
    pesticide; ``nothing`` stands where a table has no limit. With ``published`` a value that was converted is followed
    by the limit as published.
    """

    unverified: str
    single: str
    nothing: str
    published: bool = True

    def behind(self, evidence: object) -> str:
        """Return the mark for how a row was checked."""
        return "" if str(evidence).startswith("primary text") else self.unverified


def side_by_side(compared: pd.DataFrame, names: Mapping[str, str], marks: Marks) -> pd.DataFrame:
    """Return a comparison as text cells: parameter, kind and unit, one column per table, and who is the strictest.

    Parameters
    ----------
    compared : DataFrame
        Rows of :class:`wqcheck.limit_comparison.comparison.ComparedLimits`.
    names : Mapping
        Table → what it is called in the heading and in the last column.
    marks : Marks
    """
    records: list[Mapping[str, Any]] = [{str(k): v for k, v in row.items()} for row in compared.to_dict("records")]
    groups = [list(group) for _, group in groupby(records, key=lambda row: (row["parameter"], row["asks"]))]
    rows = [_row(group, names, marks) for group in groups]
    return pd.DataFrame(rows, columns=[PARAMETER, UNIT, *names.values(), STRICTEST], dtype="str")


def _row(group: Sequence[Mapping[str, Any]], names: Mapping[str, str], marks: Marks) -> list[str]:
    cells = {table: [_cell(row, marks) for row in group if row["table"] == table] for table in names}
    first = group[0]
    return [
        str(first["parameter"]),
        f"{_SIGNS.get(first['asks'], first['asks'])} {first['unit']}".strip(),
        *("; ".join(dict.fromkeys(texts)) for texts in cells.values()),
        _strictest(group, names),
    ]


def _cell(row: Mapping[str, Any], marks: Marks) -> str:
    if row["standing"] == Standing.NONE:
        reason = str(row["reason"])
        if reason.startswith("not on this day"):
            return reason.removeprefix("not on this day (").removesuffix(")")
        if reason.startswith("no limit"):
            return marks.nothing
        return next((short for begins, short in SHORT_REASONS.items() if reason.startswith(begins)), reason)
    limit, low, high = str(row["limit"]), row["value_low"], row["value_high"]
    mark = (marks.single if _SINGLE in limit else "") + marks.behind(row["evidence"])
    if pd.isna(low):
        return limit.removeprefix(f"{row['asks']} ").removesuffix(_SINGLE) + mark
    number = plain_number(float(f"{low:.4g}")) + ("" if low == high else f" to {plain_number(float(f'{high:.4g}'))}")
    same = limit.replace("sum ", "").removesuffix(_SINGLE).endswith(f"{number} {row['unit']}".strip())
    return number + mark + (f" ({_bare(limit)})" if marks.published and not same else "")


def _bare(limit: str) -> str:
    """Return a limit in words without what it asks, which stands in a column of its own."""
    text = limit.removeprefix("sum ").removesuffix(_SINGLE)
    return next((text.removeprefix(f"{asks} ") for asks in Asks if text.startswith(f"{asks} ")), text)


def _strictest(group: Sequence[Mapping[str, Any]], names: Mapping[str, str]) -> str:
    winners = list(dict.fromkeys(names[row["table"]] for row in group if row["standing"] in WINNING))
    unclear = list(dict.fromkeys(names[row["table"]] for row in group if row["standing"] == Standing.NOT_COMPARABLE))
    alone = any(row["standing"] == Standing.ONLY for row in group)
    told = [("only " if alone else "") + " = ".join(winners)] if winners else []
    return "; ".join([*told, *([f"cannot be told: {', '.join(unclear)}"] if unclear else [])])
