"""Turns the batch names of results into which belong to a batch, and findings about those that do not."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator

import pandas as pd
from pandera.typing import DataFrame

from wqcheck.findings import Finding, Severity
from wqcheck.tables import Readings
from wqcheck.train.description import place_of

_LOOK_ALIKES = str.maketrans("авсеорхумтнк", "abceopxymthk")
"""Cyrillic letters that look like Latin ones, as batch names are compared."""


_TITLE = re.compile(r"\b(?:batch|lot|lote|lotto|partida|charge)\b\W*([^\W_]*\d[\w-]*)", re.I)


def of_batch(readings: DataFrame[Readings], batch: str) -> pd.Series[bool]:
    """Return which results belong to the batch, those that state none included; same index."""
    stated = readings[Readings.batch]
    return stated.isna() | (stated.str.strip().str.casefold() == batch.strip().casefold()).fillna(False)


def other_batches(readings: DataFrame[Readings], batch: str) -> list[Finding]:
    """Return which batches other than *batch* were set aside; a name that may mean *batch* itself holds."""
    found = []
    for name, rows in readings.groupby(Readings.batch, sort=False):
        if str(name).strip().casefold() != batch.strip().casefold():
            alike = _may_be_same(str(name), batch)
            text = f"{len(rows)} result(s) belong to batch {name} and were not judged for batch {batch}"
            text += "; the names are alike: write the batch in one way" if alike else ""
            severity = Severity.HOLD if alike else Severity.NOTE
            found.append(Finding(code="other batch", severity=severity, message=text, where=place_of(rows.iloc[0])))
    return found


def other_titles(finished: pd.DataFrame, batch: str) -> Iterator[Finding]:
    """Yield a finding that holds for each sheet whose name states another batch, where its rows state none.

    That is a word for a batch and a name with a digit: *Batch B7*, *Lote 12-A*.
    """
    silent = finished[finished[Readings.batch].isna()]
    for sheet, rows in silent.groupby(Readings.sheet, sort=False):
        found = _TITLE.search(str(sheet))
        if found and _bare(found[1]) != _bare(batch):
            text = f"the sheet is named for batch {found[1]}, and its results were judged for batch {batch}"
            text += "; state the batch beside them"
            yield Finding(code="other batch", severity=Severity.HOLD, message=text, where=place_of(rows.iloc[0]))


def _may_be_same(name: str, batch: str) -> bool:
    """Return whether *name* is *batch* in another spelling, or names several batches with it among them."""
    number = _bare(batch)
    parts = {_bare(part) for part in re.split(r"[\s,;/&+–-]+", unicodedata.normalize("NFKC", name))}
    return bool(number) and (number in parts or _bare(name) == number or _bare(name).endswith(number))


def _bare(name: str) -> str:
    """Return letters and digits of a batch name, look-alike letters as one and without leading zeros or ``.0``."""
    folded = unicodedata.normalize("NFKC", name).casefold().translate(_LOOK_ALIKES)
    return re.sub(r"(?<!\d)0+(?=\d)|[\W_]", "", re.sub(r"\.0+$", "", folded.strip()))
