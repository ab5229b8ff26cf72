"""Turns laboratory flags, remarks, footers and diluted samples beside finished water into findings that hold."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pandas as pd
from pandera.typing import DataFrame

from wqcheck.findings import Finding, Severity
from wqcheck.parameters import normalise
from wqcheck.quality.sample_amounts import cells_of
from wqcheck.release.sheet_places import beside, home_of
from wqcheck.tables import Ledger, Readings

FLAGS = {
    "H": "analysed past its holding time", "HT": "analysed past its holding time", "B": "found in the blank too",
    "J-": "estimated, and biased low", "L-": "biased low", "NJ": "not surely identified, and estimated",
}  # fmt: skip
"""Qualifiers of US data validation (National Functional Guidelines; from memory) and common practice. A result that is
rejected (R) or over range (E) is no result at all, see :data:`wqcheck.results.UNUSABLE_FLAGS`."""

_TOKEN = re.compile(r"[A-Za-z]{1,2}[+-]?")
_SURE = re.compile(
    r"\b(?:exceeded|exceeds|outside (?:of )?(?:the )?(?:holding|hold|range|control)|past (?:the )?hold\w*"
    r"|out of control|not valid|invalid|unverified|under review|does not comply|do not comply"
    r"|not compliant|non compliant|failed|contaminated|draft|superseded"
    r"|mislabel\w*|mixed up|swapped|leak\w*|broken|spill\w*|thawed|lost|copied|void"
    r"|lab(?:oratory)? (?:accident|error)|overgrown|confluent|biased|suspect|doubtful|not representative"
    r"|qc fail\w*|retest (?:pending|required)|repeat (?:pending|required)|insufficient (?:volume|sample))\b"
)
_MAYBE = re.compile(
    r"\b(?:holding time|hold time|in blank|blank contamination|contamination|interference|received warm|headspace"
    r"|dilut\w+|temperature on receipt|preliminary|provisional)\b"
)
_DENIED = re.compile(
    r"\b(?:no|not|none|without|within|met|free|ok|acceptable|passed|if|see|must|shall|only|maximum|max)\b"
)
_CONDITIONAL = re.compile(r"\b(?:if|unless|without approval|except in full|shall|must not|uncontrolled)\b")
_DILUTED = re.compile(r"\bdilut\w*|\b1 ?: ?\d{1,6}\b|\bx ?10\b", re.I)


def doubts(finished: pd.DataFrame, ledger: DataFrame[Ledger]) -> Iterator[Finding]:
    """Yield a finding that holds for each flag, remark or footer that puts a result of finished water in doubt.

    Parameters
    ----------
    finished : DataFrame
        Results on which the decision rests.
    ledger : DataFrame[Ledger]
        Every other cell: remarks count beside their row, texts outside the table for their sheet.
    """
    yield from _flagged(finished)
    yield from _diluted(finished)
    remarks = ledger[ledger[Ledger.role].eq("remark")]
    yield from _spoken(remarks[beside(remarks, finished)])
    texts = ledger[ledger[Ledger.role].eq("text") & home_of(ledger).isin(set(home_of(finished)))]
    yield from _spoken(texts)


def _flagged(finished: pd.DataFrame) -> Iterator[Finding]:
    flag = finished[Readings.qualifier].fillna("").map(_flag_of)
    for word, rows in finished[flag.ne("")].groupby(flag, sort=False):
        message = (
            f"the laboratory flags {len(rows)} result(s) with {word}: {FLAGS[str(word)]}; such a result does not "
            "release a batch: have the test repeated, or ask the laboratory what its flag means"
        )
        yield _finding("laboratory flag", message, cells_of(rows), str(rows[Readings.qualifier].iloc[0]))


def _flag_of(text: str) -> str:
    bare = text.strip().strip("()[]* ")
    tokens = _TOKEN.findall(bare) if re.fullmatch(r"(?:[A-Za-z]{1,2}[+-]?[\s,;/]*)+", bare) else []
    return next((token.upper() for token in tokens if token.upper() in FLAGS), "")


def _diluted(finished: pd.DataFrame) -> Iterator[Finding]:
    names = (Readings.parameter_text, Readings.unit_text, Readings.sample, Readings.replicate, Readings.qualifier)
    told = pd.concat([finished[name].fillna("").str.contains(_DILUTED) for name in names], axis=1).any(axis=1)
    if told.any():
        message = (
            f"{int(told.sum())} result(s) are told to be of a diluted sample; nothing says whether they were counted "
            "back to the water itself: give the result of the undiluted water"
        )
        yield _finding("diluted sample", message, cells_of(finished[told]))


def _spoken(cells: pd.DataFrame) -> Iterator[Finding]:
    for row in cells.drop_duplicates(Ledger.text).to_dict("records"):
        text = str(row[Ledger.text])
        if puts_in_doubt(text):
            sheet = "" if pd.isna(row[Ledger.sheet]) else f"{row[Ledger.sheet]}!"
            message = "the sheet says something that puts results in doubt; settle it with the laboratory in writing"
            yield _finding("remark in doubt", message, f"{row[Ledger.workbook]}|{sheet}{row[Ledger.cell]}", text[:160])


def puts_in_doubt(text: str) -> bool:
    """Return whether a remark says that results are not to be relied on; common practice, no source."""
    bare = normalise(text)
    if _CONDITIONAL.search(bare):
        return False
    return bool(_SURE.search(bare) or (_MAYBE.search(bare) and not _DENIED.search(bare)))


def _finding(code: str, message: str, where: str, given: str = "") -> Finding:
    return Finding(code=code, severity=Severity.HOLD, message=message, where=where, given=given)
