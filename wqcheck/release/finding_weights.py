"""Turns the release rules' words on findings about the data into findings that hold, inform or are left out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from wqcheck.findings import Finding, Severity
from wqcheck.plant_files import is_list_of_texts, unknown_keys

MUST_HOLD = frozenset({
    "impossible value", "stand-in value", "part above whole", "sum and members", "unit slip", "order of dates",
    "holding time", "no follow-up", "laboratory verdict", "comment on result", "shown otherwise", "merged result",
    "example sheet", "columns of years", "no result given", "like a control sample",
})  # fmt: skip
"""Codes of which some findings hold because a decision could rest on a wrong result: their weight is not changed."""

MUST_BE_TOLD = frozenset({
    "ion balance", "two values", "duplicate", "blank", "spike recovery", "control sample",
})  # fmt: skip
"""Codes that may be made to hold or to inform, and are never left out."""

MAY_BE_LEFT_OUT = frozenset({
    "ion balance not evaluable", "repeated row", "dissolved solids", "conductivity and ions", "solids and conductivity",
    "hardness", "alkalinity forms", "not evaluable",
})  # fmt: skip

WEIGHED = MUST_HOLD | MUST_BE_TOLD | MAY_BE_LEFT_OUT
"""Every code that the checks of the data give."""

WEIGHT_CHANGED = "findings weighed"
_LISTS = ("hold", "note", "ignore")


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingWeights:
    """Codes whose findings hold, only inform, or are left out; a code in none of the sets weighs as it was found."""

    hold: frozenset[str] = frozenset()
    note: frozenset[str] = frozenset()
    ignore: frozenset[str] = frozenset()


UNCHANGED = FindingWeights()
"""Every finding weighs as its check says."""


def read_weights(data: Mapping[str, Any]) -> FindingWeights:
    """Return the weights of a rules file that has no problems."""
    given = data.get("findings", {})
    return FindingWeights(**{name: frozenset(given.get(name, ())) for name in _LISTS})


def weight_problems(data: Mapping[str, Any]) -> Iterator[str]:
    """Yield what is wrong with the table ``[findings]`` of a rules file, each with its mend."""
    given = data.get("findings", {})
    if not isinstance(given, dict):
        yield "findings: it must be a table; write [findings] with hold, note or ignore below it"
        return
    yield from unknown_keys(given, _LISTS, "findings")
    wrong = [name for name in _LISTS if not is_list_of_texts(given.get(name, []))]
    yield from (f"findings, {name}: it must be a list of texts" for name in wrong)
    if wrong:
        return
    for code, times in Counter(code for name in _LISTS for code in given.get(name, [])).items():
        if code not in WEIGHED:
            yield f"findings: {code!r} is no finding about the data; use one of {', '.join(sorted(WEIGHED))}"
        if times > 1:
            yield f"findings: {code!r} stands {times} times; name it once"
    yield from _unguarded(given)


def _unguarded(given: Mapping[str, Sequence[str]]) -> Iterator[str]:
    for name in ("note", "ignore"):
        for code in sorted(MUST_HOLD.intersection(given.get(name, []))):
            yield f"findings, {name}: {code!r} keeps a wrong result from passing and cannot be weighed less; remove it"
    for code in sorted(MUST_BE_TOLD.intersection(given.get("ignore", []))):
        yield f"findings, ignore: {code!r} is always told; list it under note if it shall not hold"


def weighed(findings: Sequence[Finding], weights: FindingWeights) -> tuple[Finding, ...]:
    """Return the *findings* as the rules weigh them, and one more that says what the rules changed."""
    word = {**dict.fromkeys(weights.hold, Severity.HOLD), **dict.fromkeys(weights.note, Severity.NOTE)}
    kept = [finding for finding in findings if finding.code not in weights.ignore]
    changed = [replace(finding, severity=word.get(finding.code, finding.severity)) for finding in kept]
    said = _changes(findings, word, weights)
    return (*changed, said) if said else tuple(changed)


def _changes(findings: Sequence[Finding], word: Mapping[str, Severity], weights: FindingWeights) -> Finding | None:
    changes = Counter(
        f"{finding.code} {'left out' if finding.code in weights.ignore else f'weighs as {word[finding.code]}'}"
        for finding in findings
        if finding.code in weights.ignore or word.get(finding.code, finding.severity) != finding.severity
    )
    if not changes:
        return None
    listed = "; ".join(f"{what} ({times} finding(s))" for what, times in sorted(changes.items()))
    return Finding(code=WEIGHT_CHANGED, severity=Severity.NOTE, message=f"the release rules say: {listed}")
