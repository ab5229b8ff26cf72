"""Turns the data of a certificate into its verdicts, decision and sentences once more, and names what differs."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from decimal import Decimal

import numpy as np

from wqcheck.certificate.data import Certificate, CertificateKind
from wqcheck.certificate.figures import compared_text, limit_text
from wqcheck.certificate.lines import ResultLine, parameter_name
from wqcheck.certificate_files.view import sentences
from wqcheck.findings import Severity
from wqcheck.judging.ranges import Ranges, Trouble
from wqcheck.judging.rules import Unknown
from wqcheck.judging.verdicts import SERIES_RULES, VERDICTS, DecisionRule, bounds, decide, rounded
from wqcheck.languages.catalogues import ENGLISH
from wqcheck.parameters import catalogue
from wqcheck.release.decision import Disposition
from wqcheck.release.reasons import worst
from wqcheck.statistics.rounding import Method
from wqcheck.tables import LimitClass, Rule, Sign, Verdict
from wqcheck.units import COUNT_UNITS
from wqcheck.verification.lots import lot_verdicts

_SUMS = (Rule.SUM_MAX, Rule.RATIO_SUM_MAX)
_CONDITIONAL = (Verdict.CONDITIONAL_PASS, Verdict.CONDITIONAL_FAIL)
_MULTIPLE = re.compile(r"w = (\S+) U")
_MORE_DIGITS = 4  # how many numbers of digits a limit is taken to be written with: 0.1, 0.10, 0.100, 0.1000
_REJECTING = (LimitClass.HEALTH, LimitClass.MICROBIOLOGICAL, LimitClass.RADIOLOGICAL)
_KINDS = {
    CertificateKind.RELEASE: Disposition.RELEASE,
    CertificateKind.HOLD: Disposition.HOLD,
    CertificateKind.REJECT: Disposition.REJECT,
}


def verdict_problems(certificate: Certificate) -> Iterator[str]:
    """Yield each line whose verdict, limit or compared value does not follow from its own numbers."""
    yield from _guard_problems(certificate)
    by_lot = lot_verdicts(certificate.results)
    for place, line in enumerate(certificate.results):
        allowed = {by_lot[place]} if place in by_lot else possible_verdicts(certificate, line)
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


def possible_verdicts(certificate: Certificate, line: ResultLine) -> set[str]:
    """Return the verdicts that limit, compared ends, guard band and decision rule of a line allow; all if unknowable.

    All of the range inside the limit passes, none of it inside fails, anything else is undetermined; within its guard
    band a result does so conditionally, or fails by guarded acceptance (ILAC-G8:09/2019, 4.2). One result of a
    percentile or mean decides nothing; for a sampling plan see :mod:`wqcheck.verification.lots`. By the rounding method
    of ASTM E29 each number of digits that the limit could have is tried.
    """
    if line.rule == Rule.ATTRIBUTE_PLAN:
        return set(Verdict)
    if line.rule in SERIES_RULES:
        return {Verdict.UNDETERMINED}
    ranges = _ranges(line)
    sizes = _step_sizes(line) if _rounds(certificate, line) else [math.nan]
    ties = (np.array([False]), np.array([True]))
    return {_verdict(certificate, line, rounded(ranges, np.array([size]), tie)) for size in sizes for tie in ties}


def not_recomputable(certificate: Certificate) -> int:
    """Count the lines whose verdict rests on a sampling plan that their reason does not state."""
    asking = sum(line.rule == Rule.ATTRIBUTE_PLAN for line in certificate.results)
    return asking - len(lot_verdicts(certificate.results))


def _verdict(certificate: Certificate, line: ResultLine, ranges: Ranges) -> str:
    lower, upper = (math.nan if end is None else end for end in (line.limit_lower, line.limit_upper))
    allowed = bounds(np.array([line.rule], dtype=np.object_), np.array([lower]), np.array([upper]))
    verdict = VERDICTS[int(decide(ranges, allowed, np.array([line.guard_band or 0.0])).verdict[0])]
    if line.decision_rule.startswith(DecisionRule.GUARDED_ACCEPTANCE) and verdict in _CONDITIONAL:
        return Verdict.FAIL
    return Verdict.UNDETERMINED if verdict == Verdict.PASS and _needs_uncertainty(certificate, line) else verdict


def _ranges(line: ResultLine) -> Ranges:
    """Give what a result can be; where only one end is left out, the range has no end there."""
    low, high = line.compared_low, line.compared_high
    least, most = (math.nan, math.nan) if low is None and high is None else (-math.inf, math.inf)
    return Ranges(
        low=np.array([least if low is None else low]),
        high=np.array([most if high is None else high]),
        open_low=np.array([line.sign in (Sign.GREATER, Sign.PRESENT)]),
        open_high=np.array([line.sign == Sign.LESS]),
        trouble=np.array([Trouble.NONE.value], dtype=np.int64),
        note=np.array([""], dtype=np.object_),
    )


def _needs_uncertainty(certificate: Certificate, line: ResultLine) -> bool:
    """Tell whether the decision rule lets no measured value pass without an uncertainty, and this one has none."""
    if line.uncertainty is not None or line.guard_band is None or _counts_organisms(line):
        return False
    measured = line.sum_lower > 0 if line.sum_lower is not None else line.sign == Sign.EQUAL
    return measured and f"without an uncertainty: {Unknown.UNDETERMINED}" in _rule_of(certificate, line)


def _counts_organisms(line: ResultLine) -> bool:
    known = catalogue().get(line.parameter)
    return line.unit in COUNT_UNITS or (known is not None and known.kind == "microbiological")


def _rule_of(certificate: Certificate, line: ResultLine) -> str:
    return next((entry.rule for entry in certificate.decision_rules if entry.table == line.table), "")


def _rounds(certificate: Certificate, line: ResultLine) -> bool:
    return f"{Method.ROUNDING} comparison" in _rule_of(certificate, line)


def _step_sizes(line: ResultLine) -> list[float]:
    """Give the places of the last digit that the limit can be written with, from its shortest form on."""
    ends = [Decimal(repr(end)).normalize().as_tuple().exponent for end in (line.limit_lower, line.limit_upper) if end]
    first = min((end for end in ends if isinstance(end, int)), default=0)
    return [float(Decimal(1).scaleb(min(first, 0) - more)) for more in range(_MORE_DIGITS)]


def _guard_problems(certificate: Certificate) -> Iterator[str]:
    """Yield each line whose decision rule or guard band ``w = r U`` (ILAC-G8:09/2019, 4.2) is not that of its table.

    A part above the limit of its whole fails by its value alone.
    """
    for line in certificate.results:
        by_parts = line.sum_lower is not None and line.rule not in _SUMS
        told, wanted = _multiple(line.decision_rule), _multiple(_rule_of(certificate, line))
        if told != wanted and not (by_parts and line.verdict == Verdict.FAIL):
            yield f"{_named(line)}: its decision rule is {line.decision_rule!r}, which is not that of its limit table"
        width = told * (line.uncertainty or 0.0)
        if not math.isclose(width, line.guard_band or 0.0, rel_tol=1e-5):
            yield f"{_named(line)}: its guard band does not follow from its uncertainty"


def _multiple(rule: str) -> float:
    found = _MULTIPLE.search(rule)
    return float(found[1]) if found else 0.0


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


def _has_ends(line: ResultLine) -> bool:
    return line.compared_low is not None and line.compared_high is not None


def _span(line: ResultLine) -> tuple[object, object]:
    return line.compared_low, line.compared_high


def _named(line: ResultLine) -> str:
    return f"{line.name} ({line.cell})"
