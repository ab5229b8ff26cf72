"""Turns what a stage is rated to remove, as its train file says it, into what is expected of that stage."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence

import pandas as pd

from wqcheck.parameters import aliases, catalogue, normalise
from wqcheck.tables import Measure

SOURCE = "rating of the stage in the train file"
COLUMNS = ("stage", "parameter", "measure", "lower", "upper", "unit_wanted", "source", "clause")
_TEXT = re.compile(r"(?P<name>.*\S)\s+(?P<amount>\d+\.?\d*|\.\d+)\s*(?P<unit>%|log)", re.IGNORECASE)


def rated_removals(text: str) -> list[tuple[str, Measure, float]]:
    """Return what a stage is rated to remove: code of the parameter, ``percent`` or ``log``, and the least removal.

    Parameters
    ----------
    text : str
        ``"E. coli 99.9 %; free chlorine 95 %; heterotrophic_plate_count 3 log"``: names, aliases or codes.

    Raises
    ------
    ValueError
        A part says no removal of a known parameter; the text names it and how to mend it.
    """
    return [_rated(part.strip()) for part in text.split(";") if part.strip()]


def _rated(part: str) -> tuple[str, Measure, float]:
    found = _TEXT.fullmatch(part)
    if found is None:
        raise ValueError(f"{part!r} is no rated removal; write a parameter and its removal, such as 'E. coli 99.9 %'")
    name, amount = found["name"], float(found["amount"])
    alias = aliases().get(normalise(name))
    code = name if name in catalogue() else alias.code if alias else ""
    if not code:
        raise ValueError(f"{name!r} is no known parameter; write its name or its code")
    measure = Measure.PERCENT if found["unit"] == "%" else Measure.LOG
    if amount <= 0 or amount > (100 if measure is Measure.PERCENT else 12):
        raise ValueError(f"{part!r} cannot be; a removal is above 0 and at most 100 % or 12 log")
    return code, measure, amount


def ratings_table(stages: Sequence[tuple[str, str]]) -> pd.DataFrame:
    """Return the ratings of stages (name, text as in the file), a row of :data:`COLUMNS` per stage and parameter."""
    rows = list(_rows(stages))
    return pd.DataFrame(rows, columns=list(COLUMNS)).astype(
        {"stage": "str", "parameter": "str", "measure": "str", "lower": "float64", "upper": "float64",
         "unit_wanted": "str", "source": "str", "clause": "str"}
    )  # fmt: skip


def _rows(stages: Sequence[tuple[str, str]]) -> Iterator[tuple[object, ...]]:
    for stage, text in stages:
        for code, measure, amount in rated_removals(text):
            unit = "%" if measure is Measure.PERCENT else "log"
            yield stage, code, str(measure), amount, math.nan, unit, SOURCE, None
