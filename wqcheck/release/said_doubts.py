"""Turns laboratory flags, remarks, footers and diluted samples beside finished water into findings that hold."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from functools import cache
from importlib.resources import files

import pandas as pd
from pandera.typing import DataFrame

from wqcheck.findings import Finding, Severity
from wqcheck.parameters import normalise
from wqcheck.quality.sample_amounts import cells_of
from wqcheck.release.sheet_places import beside, home_of, row_of
from wqcheck.tables import Ledger, Readings, Sign

FLAGS = {
    "H": "analysed past its holding time", "HT": "analysed past its holding time", "B": "found in the blank too",
    "R": "rejected", "E": "over the range of the method", "OR": "out of range", "M": "more than counted, or disturbed",
    "J-": "estimated, and biased low", "L-": "biased low", "NJ": "not surely identified, and estimated",
}  # fmt: skip
"""Qualifiers of US data validation (National Functional Guidelines; from memory) and common practice. A number that is
rejected (R) or over range (E) is no result at all, see :data:`wqcheck.results.UNUSABLE_FLAGS`; a word (*absent*) is."""

_TOKEN = re.compile(r"[A-Za-z]{1,2}[+-]?")
_SENTENCE = re.compile(r"[;!?\n•]+|\.(?=\s|$)")
_CLAUSE = re.compile(r"[,()]|\s[-–—]\s|\b(?:and|but|however|et|mais|und|aber|jedoch|pero|mas|porém|però|ma)\b", re.I)
_LEGEND = re.compile(
    r"\s*\(?([A-Z]{1,2}[-+]?|[*†‡#^<>]+|[a-z0-9])\)?\s*"
    r"(?:[=:–-]|(?:means|denotes|indicates|bedeutet|signifie|significa)\b)"
)
"""``* = holding time exceeded``: it speaks of the results that carry the sign."""

_RECEIPT = re.compile(
    r"temp\w*\W.{0,20}(?:receipt|arrival|received|r[ée]ception|recep[cç]|eingang|arrivo)\D{0,12}?(-?\d+(?:[.,]\d+)?)",
    re.I,
)
_WARM = 20.0
"""Temperature on receipt, °C, above which a sample was not cooled (common practice, no source; generous)."""

_FREE_LABEL = re.compile(r"\((?:remark|verdict)\)$|not used$")
"""End of the ledger's reason for a label that names nothing else of the results."""

_REACH = {"doubt": 3, "beyond": 20}
"""Weight → how many words before one of doubt may deny it (``no sign of leakage``, ``no limit value was exceeded``)."""


@cache
def _words() -> dict[str, re.Pattern[str]]:
    """Return one pattern for each weight of ``doubt_words.csv``, for texts as ``normalise`` leaves them."""
    text = files("wqcheck.release").joinpath("doubt_words.csv").read_text(encoding="utf-8")
    by_weight: dict[str, list[str]] = {}
    for row in csv.DictReader(text.splitlines()):
        by_weight.setdefault(row["weight"], []).append(row["pattern"])
    return {weight: re.compile(rf"\b(?:{'|'.join(patterns)})\b") for weight, patterns in by_weight.items()}


_DILUTED = re.compile(r"(?<!odour )(?<!odor )(?<!taste )\bdilut\w*|\b1 ?: ?\d{1,6}\b|\bx ?10\b", re.I)


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
    yield from _unsigned(finished, ledger)
    yield from _diluted(finished)
    signs = _signs(finished)
    remarks = ledger[ledger[Ledger.role].isin(["remark", "qualifier"])]
    yield from _spoken(remarks[beside(remarks, finished)], signs)
    texts = ledger[home_of(ledger).isin(set(home_of(finished)))]
    yield from _spoken(texts[texts[Ledger.role].eq("text")], signs)
    yield from _spoken(_labelled(texts), signs)
    yield from _titled(finished)
    yield from _named(finished)


def _signs(finished: pd.DataFrame) -> frozenset[str]:
    """Return the letters and symbols beside the results, to which a legend may give a meaning."""
    flags = {
        token for text in finished[Readings.qualifier].dropna().unique() for token in re.split(r"[\s,;/()]+", text)
    }
    names = finished[Readings.parameter_text].dropna().unique()
    return frozenset(flags | {sign for name in names for sign in re.findall(r"[*†‡#^]+", name)} - {""})


def _labelled(texts: pd.DataFrame) -> pd.DataFrame:
    """Return what labels say that are of no other use: value with label, so that *leaks: none* is one sentence."""
    one_cell = texts[texts[Ledger.role].eq("label") & texts[Ledger.reason].str.startswith("label and value")]
    values = texts[texts[Ledger.role].eq("label value") & texts[Ledger.reason].str.contains(_FREE_LABEL)]
    labels = texts[texts[Ledger.role].eq("label")]
    named = dict(zip(row_of(labels), labels[Ledger.text], strict=True))
    said = row_of(values).map(named).fillna("") + ": " + values[Ledger.text]
    return pd.concat(
        [one_cell[one_cell[Ledger.reason].str.contains(_FREE_LABEL)], values.assign(**{Ledger.text: said})]
    )


def _titled(finished: pd.DataFrame) -> Iterator[Finding]:
    """Yield the sheets whose own name puts them in doubt (*Draft*, *old, do not use*)."""
    for (book, sheet), _ in finished.groupby([Readings.workbook, Readings.sheet], sort=False):
        if puts_in_doubt(str(sheet)):
            message = "the name of the sheet puts its results in doubt; take it out, or name it for what it is"
            yield _finding("remark in doubt", message, f"{book}|{sheet}", str(sheet))


def _flagged(finished: pd.DataFrame) -> Iterator[Finding]:
    flag = finished[Readings.qualifier].fillna("").map(_flag_of)
    for word, rows in finished[flag.ne("")].groupby(flag, sort=False):
        message = (
            f"the laboratory flags {len(rows)} result(s) with {word}: {FLAGS[str(word)]}; such a result does not "
            "release a batch: have the test repeated, or ask the laboratory what its flag means"
        )
        yield _finding("laboratory flag", message, cells_of(rows), str(rows[Readings.qualifier].iloc[0]))


def _unsigned(finished: pd.DataFrame, ledger: DataFrame[Ledger]) -> Iterator[Finding]:
    """Yield each sign ``>`` beside results of which none was read as more than a figure (``absent`` with ``>``)."""
    signs = ledger[ledger[Ledger.role].eq("sign") & ledger[Ledger.text].str.contains(">")]
    more = finished[finished[Readings.sign].eq(Sign.GREATER)]
    for row in signs[beside(signs, finished) & ~beside(signs, more)].to_dict("records"):
        message = "the sign > stands beside a result that was not read as more than a figure; ask which of both holds"
        sheet = "" if pd.isna(row[Ledger.sheet]) else f"{row[Ledger.sheet]}!"
        yield _finding("laboratory flag", message, f"{row[Ledger.workbook]}|{sheet}{row[Ledger.cell]}", ">")


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


def _named(finished: pd.DataFrame) -> Iterator[Finding]:
    """Yield results under an analyte's name that says that they are of something else (*E. coli (method blank)*)."""
    names = finished[Readings.parameter_text].fillna("")
    for name, rows in finished[names.map(_of_something_else)].groupby(names, sort=False):
        message = (
            f"{len(rows)} result(s) stand under a name that says more than the analyte, as if they were no results of "
            "the water; ask the laboratory what they are, and name the analyte alone"
        )
        yield _finding("remark in doubt", message, cells_of(rows), str(name))


def _of_something_else(name: str) -> bool:
    return bool(_words()["analyte"].search(normalise(name)))


def _spoken(cells: pd.DataFrame, signs: frozenset[str]) -> Iterator[Finding]:
    for row in cells.drop_duplicates(Ledger.text).to_dict("records"):
        text = str(row[Ledger.text])
        if puts_in_doubt(text, signs):
            sheet = "" if pd.isna(row[Ledger.sheet]) else f"{row[Ledger.sheet]}!"
            message = "the sheet says something that puts results in doubt; settle it with the laboratory in writing"
            yield _finding("remark in doubt", message, f"{row[Ledger.workbook]}|{sheet}{row[Ledger.cell]}", text[:160])


def puts_in_doubt(text: str, signs: frozenset[str] = frozenset()) -> bool:
    """Return whether a remark says that results are not to be relied on; common practice, no source.

    Each sentence is looked at by itself, and in it each clause: *no leak, label missing* denies the leak alone. A
    sentence under a condition (*if …*) says nothing of this sample, and a legend (``R = rejected``) only if one of the
    *signs* stands at a result.
    """
    warm = _RECEIPT.search(text)
    if _words()["whole"].fullmatch(normalise(text)) or (warm and float(warm[1].replace(",", ".")) > _WARM):
        return True
    return any(_doubts(sentence, signs) for sentence in _SENTENCE.split(text))


def _doubts(sentence: str, signs: frozenset[str]) -> bool:
    legend = _LEGEND.match(sentence)
    bare, words = normalise(sentence), _words()
    if (legend and legend[1] not in signs) or words["given"].search(bare) or words["legend"].search(bare):
        return False
    clauses = [normalise(clause) for clause in _CLAUSE.split(sentence)]
    for weight, reach in _REACH.items():
        if any(not _denied(clause, one, reach) for clause in clauses for one in words[weight].finditer(clause)):
            return True
    return bool(words["perhaps"].search(bare)) and not words["calm"].search(bare)


def _denied(clause: str, found: re.Match[str], reach: int) -> bool:
    """Return whether *found* is denied: by one of *reach* words before it, or by the last word of its clause."""
    before, behind = clause[: found.start()].split()[-reach:], clause[found.end() :].split()[-1:]
    return any(_words()["denied"].fullmatch(word) for word in (*before, *behind))


def _finding(code: str, message: str, where: str, given: str = "") -> Finding:
    return Finding(code=code, severity=Severity.HOLD, message=message, where=where, given=given)
