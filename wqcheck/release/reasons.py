"""Turns judged results, findings and release rules into reasons: a sentence each, and what it recommends."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.errors import UnknownParameterError
from wqcheck.findings import Finding, Severity
from wqcheck.judging.reasons import USUAL_BAND
from wqcheck.limit_comparison.overrides import RELAXED
from wqcheck.parameters import find_parameter
from wqcheck.release.finding_weights import WEIGHT_CHANGED
from wqcheck.release.rules import ReleaseRules
from wqcheck.release.usable import measured, not_found
from wqcheck.tables import Judged, Sign, Verdict

FAILING = (Verdict.FAIL, Verdict.CONDITIONAL_FAIL)
DETERMINED = (Verdict.PASS, Verdict.CONDITIONAL_PASS, *FAILING)
_NAMED = 4
"""How many parameters a sentence names of a long list."""

_LOOK_FURTHER = ("screening", "guidance level", USUAL_BAND)
"""Beginnings of a limit's status that ask to look further when it is exceeded; alone it does not reject."""

NO_RESULT, NO_LIMIT, NOT_COMPARED = "missing result", "no limit", "not compared"


class Disposition(StrEnum):
    """What is recommended for a batch. As the disposition of a reason, ``release`` only informs."""

    RELEASE = "release"
    HOLD = "hold"
    REJECT = "reject"


_ORDER = (Disposition.REJECT, Disposition.HOLD, Disposition.RELEASE)
_OF_SEVERITY = {Severity.HOLD: Disposition.HOLD, Severity.NOTE: Disposition.RELEASE}

_WRITTEN = "keep the batch until an authorised person has settled this in writing"
_NEXT = {
    (
        Verdict.FAIL,
        Disposition.REJECT,
    ): "keep the batch apart, find the cause, and have an authorised person decide on it",
    (Verdict.FAIL, Disposition.HOLD): _WRITTEN,
    (Verdict.FAIL, Disposition.RELEASE): "find the cause; the release rules let this class inform only",
    (
        Verdict.UNDETERMINED,
        Disposition.HOLD,
    ): "ask the laboratory for a result that can be compared, or repeat the test",
    (Verdict.UNDETERMINED, Disposition.RELEASE): "the release rules let this inform only",
    (Verdict.CONDITIONAL_PASS, Disposition.HOLD): _WRITTEN,
    (Verdict.CONDITIONAL_PASS, Disposition.RELEASE): "watch this parameter, for its uncertainty reaches over the limit",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """One reason for a decision: a sentence, what it recommends by itself, and ``workbook|sheet!cell``."""

    disposition: Disposition
    code: str
    message: str
    where: str = ""
    parameter: str = ""

    def weight(self) -> int:
        """Return its place in a list that begins with what rejects."""
        return _ORDER.index(self.disposition)


def worst(reasons: Iterable[Reason]) -> Disposition:
    """Return the worst disposition of the reasons, ``release`` when there is none."""
    return min((reason.disposition for reason in reasons), key=_ORDER.index, default=Disposition.RELEASE)


def gaps(
    judged: DataFrame[Judged], batch: str, entries: Sequence[tuple[str, ...]], reported_only: frozenset[str]
) -> dict[tuple[str, ...], str]:
    """Return the required entries that nothing answers, and why.

    An entry is answered by a result of this batch that was compared with a limit, or by any result that measures a
    parameter in ``reported_only``; one code of the entry is enough.
    """
    own = judged[_of_batch(judged, batch)]
    codes, verdict = own[Judged.parameter], own[Judged.verdict]
    compared = set(codes[verdict.isin(DETERMINED)])
    readable = set(codes[~own[Judged.sign].isin([Sign.NOT_DONE, Sign.UNREADABLE])])
    shown = set(codes[measured(own)])
    undetermined = set(codes[verdict.eq(Verdict.UNDETERMINED)])
    found = {}
    for entry in entries:
        if not compared.union(shown & reported_only).isdisjoint(entry):
            continue
        given = readable.intersection(entry)
        found[entry] = NO_RESULT if not given else NO_LIMIT if given.isdisjoint(undetermined) else NOT_COMPARED
    return found


def panel_reasons(found: Mapping[tuple[str, ...], str], product: str, *, known: bool, empty: bool) -> Iterator[Reason]:
    """Yield what the rules ask for and the results do not give; see :func:`gaps`."""
    if empty:
        message = "there is no result of the finished water; add its laboratory results and check again"
        yield Reason(disposition=Disposition.HOLD, code="no results", message=message)
    if not known:
        message = f"the release rules require nothing for {product} water; add a list for it under [required]"
        yield Reason(disposition=Disposition.HOLD, code="no rules", message=message)
    sentences = {
        NO_RESULT: "is required and has no result; have it analysed, or add the result, and check again",
        NO_LIMIT: "is required and has a result but no limit to compare with; add a limit table that covers it, "
        "or list it under reported_only in the release rules and give its usual band there",
        NOT_COMPARED: "is required and none of its results could be compared with a limit; repeat the test",
    }
    for entry, gap in found.items():
        names = " or ".join(name_of(code) for code in entry)
        yield Reason(disposition=Disposition.HOLD, code=gap, message=f"{names} {sentences[gap]}", parameter=entry[0])


def row_reasons(judged: DataFrame[Judged], required: Sequence[str], rules: ReleaseRules) -> Iterator[Reason]:
    """Yield one reason for each row that is not a plain pass and has a limit, its weight given by the rules.

    The row's own ``reason`` names the value, the limit and its clause; the table and what to do next are added.

    A failure rejects in a rejecting class (a screening or guidance level only holds there) and informs in a noting
    class, but a required parameter and every other class holds; an undetermined result holds in a rejecting class, an
    unknown class or a required parameter, else as the rules say. What lies outside its usual band always holds.
    """
    verdict, limit_class = judged[Judged.verdict], judged[Judged.limit_class]
    status = judged[Judged.status].fillna("").astype("str")
    further = status.str.startswith(_LOOK_FURTHER)
    rejecting = limit_class.isin(rules.reject_classes) & ~further
    firm = limit_class.isin(rules.reject_classes) | limit_class.isna() | judged[Judged.parameter].isin(required)
    firm |= status.eq(USUAL_BAND)
    failing = verdict.isin(FAILING)
    undetermined = verdict.eq(Verdict.UNDETERMINED)
    inform = limit_class.isin(rules.note_classes) & ~firm
    cases = [failing & rejecting, failing & inform, failing, undetermined & firm, undetermined]
    words = [
        Disposition.REJECT,
        Disposition.RELEASE,
        Disposition.HOLD,
        Disposition.HOLD,
        _OF_SEVERITY[rules.undetermined],
    ]
    other = str(_OF_SEVERITY[rules.conditional_pass])
    chosen = np.select([case.to_numpy(dtype=np.bool_) for case in cases], [str(word) for word in words], other)
    told = failing | undetermined | verdict.eq(Verdict.CONDITIONAL_PASS)
    rows = judged[told].to_dict("records")
    for row, word in zip(rows, chosen[told.to_numpy(dtype=np.bool_)], strict=True):
        yield _row_reason(row, Disposition(word))


def found_reasons(judged: DataFrame[Judged], rules: ReleaseRules) -> Iterator[Reason]:
    """Yield one reason for each organism of ``hold_if_found`` that no limit binds and that is, or may be, found.

    Not found is: absent, 0, or a count below 1, in the volume that the rules ask for; everything else but a test not
    done holds.
    """
    none = not_found(judged, rules.found_volume_ml)
    unbound = judged[Judged.verdict].eq(Verdict.NO_LIMIT) & judged[Judged.parameter].isin(rules.hold_if_found)
    for row in judged[unbound & ~none & judged[Judged.sign].ne(Sign.NOT_DONE)].to_dict("records"):
        code = str(row[Judged.parameter])
        message = (
            f"{name_of(code)}: reported {row[Judged.reported]}, and no limit table binds it, but the release rules "
            f"hold a batch unless it is not found in {rules.found_volume_ml:g} mL; {_WRITTEN}"
        )
        yield Reason(disposition=Disposition.HOLD, code="found", message=message, where=_place(row), parameter=code)


def finding_reasons(findings: Sequence[Finding]) -> Iterator[Reason]:
    """Yield a reason for each finding that holds, and for each limit relaxed; other notes stay among the findings."""
    for finding in findings:
        if finding.severity == Severity.HOLD or finding.code == RELAXED:
            given = f" (given: {finding.given})" if finding.given else ""
            message = f"{finding.message}{given}"
            yield Reason(
                disposition=_OF_SEVERITY[finding.severity], code=finding.code, message=message, where=finding.where
            )


def weight_reasons(findings: Sequence[Finding]) -> Iterator[Reason]:
    """Yield what the rules changed in the weight of findings, for print."""
    for finding in findings:
        if finding.code == WEIGHT_CHANGED:
            yield Reason(disposition=Disposition.RELEASE, code=finding.code, message=finding.message)


def other_reasons(
    judged: DataFrame[Judged], batch: str, rules: ReleaseRules, not_tested: Sequence[str]
) -> Iterator[Reason]:
    """Yield what concerns many results at once: limits from memory, parameters not tested, rows of other batches."""
    memory = judged[judged[Judged.evidence].str.startswith("memory").eq(True) & judged[Judged.verdict].isin(DETERMINED)]
    for table, rows in memory.groupby(Judged.table, sort=False):
        codes = rows[Judged.parameter].dropna().unique().tolist()
        message = (
            f"{len(codes)} limits of {table} that were used were not checked against the published text, among them "
            f"{_listed(codes)}; they are marked in the list of results, check them there"
        )
        yield Reason(disposition=_OF_SEVERITY[rules.memory_evidence], code="memory limit", message=message)
    if not_tested:
        message = (
            f"{len(not_tested)} parameters have a limit but no result, among them {_listed(not_tested)}; all are "
            "listed as not tested, see when the full panel was last done"
        )
        yield Reason(disposition=_OF_SEVERITY[rules.not_tested], code="not tested", message=message)
    strange = judged.loc[~_of_batch(judged, batch), Judged.batch].dropna().unique()
    if len(strange):
        message = (
            f"some results belong to other batches ({', '.join(strange)}) and answer for no required parameter of "
            f"{batch}; check each batch by itself"
        )
        yield Reason(disposition=Disposition.RELEASE, code="other batch", message=message)


def nothing_against(judged: DataFrame[Judged]) -> Reason:
    """Return the reason for a release."""
    number = int(judged[Judged.verdict].isin(DETERMINED).sum())
    message = (
        f"every parameter that the release rules require has its result, and none of the {number} comparisons with "
        "a limit holds or rejects the batch"
    )
    return Reason(disposition=Disposition.RELEASE, code="nothing against release", message=message)


def name_of(code: str) -> str:
    """Return the catalogue's name of a parameter, else its code with blanks."""
    try:
        return find_parameter(code).name
    except UnknownParameterError:
        return code.replace("_", " ")


def _listed(codes: Sequence[str]) -> str:
    return ", ".join(name_of(code) for code in codes[:_NAMED])


def _of_batch(judged: DataFrame[Judged], batch: str) -> pd.Series[bool]:
    """Return which rows belong to the batch; a blank batch does."""
    stated = judged[Judged.batch].str.strip().str.casefold()
    return stated.isna() | stated.eq("") | stated.eq(batch.strip().casefold())


def _place(row: Mapping[Any, Any]) -> str:
    sheet = "" if pd.isna(row[Judged.sheet]) else f"{row[Judged.sheet]}!"
    return f"{row[Judged.workbook]}|{sheet}{row[Judged.cell]}"


def _row_reason(row: Mapping[Any, Any], disposition: Disposition) -> Reason:
    text = {key: "" if pd.isna(value) else str(value) for key, value in row.items()}
    verdict = Verdict(text[Judged.verdict])
    name = name_of(text[Judged.parameter]) if text[Judged.parameter] else text[Judged.parameter_text]
    step = _NEXT[(Verdict.FAIL if verdict in FAILING else verdict, disposition)]
    return Reason(
        disposition=disposition,
        code=str(verdict),
        message=f"{name}: {text[Judged.reason].strip().rstrip('.')} [limit table {text[Judged.table]}]; {step}",
        where=_place(row),
        parameter=text[Judged.parameter],
    )
