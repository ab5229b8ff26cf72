"""Turns the data of a certificate into its verdicts, decision and sentences once more, and names what differs."""

from __future__ import annotations

import math
from collections.abc import Iterator

from wqcheck.certificate.data import Certificate, CertificateKind
from wqcheck.certificate.figures import compared_text, limit_text
from wqcheck.certificate.lines import ResultLine, parameter_name
from wqcheck.certificate_files.view import sentences
from wqcheck.findings import Severity
from wqcheck.languages.catalogues import ENGLISH
from wqcheck.release.decision import Disposition
from wqcheck.release.reasons import worst
from wqcheck.tables import LimitClass, Rule, Sign, Verdict

_UPPER = (Rule.MAX, Rule.RANGE, Rule.SUM_MAX, Rule.RATIO_SUM_MAX)
_LOWER = (Rule.MIN, Rule.RANGE)
_REJECTING = (LimitClass.HEALTH, LimitClass.MICROBIOLOGICAL, LimitClass.RADIOLOGICAL)
_PASSES = (Verdict.PASS, Verdict.CONDITIONAL_PASS)
_FAILS = (Verdict.FAIL, Verdict.CONDITIONAL_FAIL)
_KINDS = {
    CertificateKind.RELEASE: Disposition.RELEASE,
    CertificateKind.HOLD: Disposition.HOLD,
    CertificateKind.REJECT: Disposition.REJECT,
}


def verdict_problems(certificate: Certificate) -> Iterator[str]:
    """Yield each line whose verdict, limit or compared value does not follow from its own numbers."""
    for line in certificate.results:
        allowed = possible_verdicts(line)
        if line.verdict not in allowed:
            words = " or ".join(sorted(allowed))
            yield f"{_named(line)}: the verdict is {line.verdict!r}, but its numbers give {words}"
        if line.limit != limit_text(line.rule, line.limit_lower, line.limit_upper, line.limit_unit):
            yield f"{_named(line)}: the limit is written {line.limit!r}, but its numbers give another"
        if _has_ends(line) and line.compared != compared_text(*_span(line), line.limit_unit):
            yield f"{_named(line)}: the compared value is written {line.compared!r}, but its numbers give another"
    for line in certificate.without_limit:
        if line.verdict != Verdict.NO_LIMIT or line.rule:
            yield f"{_named(line)}: it stands among those without a limit, but has one"


def possible_verdicts(line: ResultLine) -> set[str]:
    """Return the verdicts that the limit and the compared ends of a line allow.

    All of the range inside the limit passes, none of it inside fails, anything else is undetermined (ILAC-G8:09/2019,
    section 4.2). The data of a line do not hold the width of a guard band, so that a conditional verdict is allowed on
    the side that it states. An end that the data leave out lies at infinity or is not known; neither proves a pass.
    """
    lower, upper = _allowed(line)
    if lower is None or upper is None:
        return {Verdict.UNDETERMINED}
    low, high = line.compared_low, line.compared_high
    beyond = line.sign in (Sign.GREATER, Sign.PRESENT)
    inside = _at_most(high, upper) and _at_least(low, lower)
    above = low is not None and (low > upper or (low == upper and beyond))
    under = high is not None and (high < lower or (high == lower and line.sign == Sign.LESS))
    if inside:
        return set(_PASSES)
    return set(_FAILS) if above or under else {Verdict.UNDETERMINED}


def decision_problems(certificate: Certificate) -> Iterator[str]:
    """Yield where the decision does not follow from the reasons, the lines and the findings."""
    decided, given = worst(certificate.reasons), certificate.disposition
    released = given == Disposition.RELEASE
    overridden = released and bool(certificate.override) and decided == Disposition.HOLD
    if certificate.reasons and decided != given and not overridden:
        yield f"the decision is {str(given)!r}, but its reasons give {str(decided)!r}"
    if certificate.kind in _KINDS and _KINDS[certificate.kind] != given:
        yield f"a {certificate.kind} cannot have the decision {str(given)!r}"
    if released:
        failing = [line for line in certificate.results if line.verdict == Verdict.FAIL]
        for line in failing:
            if line.limit_class in _REJECTING:
                yield f"{_named(line)} fails a {line.limit_class} limit, and yet the decision is release"
        if not overridden:
            yield from _holding(certificate)
    yield from _sentence_problems(certificate)


def _holding(certificate: Certificate) -> Iterator[str]:
    yield from (f"{name} is required and missing, and yet the decision is release" for name in certificate.missing)
    for finding in certificate.findings:
        if finding.severity == Severity.HOLD:
            yield f"a finding holds the batch ({finding.code}, {finding.where}), and yet the decision is release"


def _sentence_problems(certificate: Certificate) -> Iterator[str]:
    said, steps = sentences(certificate, ENGLISH)
    if said != certificate.statement:
        yield "the statement does not follow from the results"
    if steps != certificate.next_steps:
        yield "the next steps do not follow from the results"
    for line in certificate.results:
        if line.parameter and line.name != parameter_name(line.parameter, line.name):
            yield f"{_named(line)}: the code {line.parameter} has another name in the catalogue"
    if bool(certificate.withdrawn) != (certificate.kind == CertificateKind.WITHDRAWAL):
        yield "the document says that it is withdrawn in one place and not in another"


def _allowed(line: ResultLine) -> tuple[float | None, float | None]:
    """Return the ends of what is allowed, infinite where there is none; ``None`` where no one result can decide."""
    if line.rule == Rule.ABSENT:
        return -math.inf, 0.0
    lower = line.limit_lower if line.rule in _LOWER else -math.inf
    upper = line.limit_upper if line.rule in _UPPER else math.inf
    known = line.rule in _LOWER or line.rule in _UPPER
    return (lower, upper) if known else (None, None)


def _at_most(high: float | None, upper: float) -> bool:
    return math.isinf(upper) or (high is not None and high <= upper)


def _at_least(low: float | None, lower: float) -> bool:
    return math.isinf(lower) or (low is not None and low >= lower)


def _has_ends(line: ResultLine) -> bool:
    return line.compared_low is not None and line.compared_high is not None


def _span(line: ResultLine) -> tuple[object, object]:
    return line.compared_low, line.compared_high


def _named(line: ResultLine) -> str:
    return f"{line.name} ({line.cell})"
