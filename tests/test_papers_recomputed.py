"""Checks that verifying a paper recomputes its verdicts under every decision rule of ILAC-G8:09/2019, section 4.2.

The batches are the shipped samples, read and judged as a user would; a verdict changed by hand must be named.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from tests.plain_batches import SAMPLED, checked, rows_of
from tests.test_judging_rules import SAMPLES
from wqcheck.batch import check_workbook
from wqcheck.certificate.data import Certificate, issue_certificate, issue_notice, to_json
from wqcheck.judging.rules import shipped_judging_rules
from wqcheck.judging.verdicts import SERIES_RULES, DecisionRule
from wqcheck.limit_tables.loading import shipped_tables
from wqcheck.release.decision import BatchDetails, Disposition
from wqcheck.statistics.rounding import Method
from wqcheck.tables import Rule, Verdict
from wqcheck.verification.paper import verify_paper
from wqcheck.verification.recomputing import not_recomputable, verdict_problems

WHEN = datetime(2026, 3, 5, 6, 2, tzinfo=UTC)


def paper(decision: str, comparison: Method = Method.ABSOLUTE) -> Certificate:
    rules = shipped_judging_rules().overridden(decision)
    tables = {name: replace(rule, comparison=comparison) for name, rule in rules.tables.items()}
    judging = replace(rules, default=replace(rules.default, comparison=comparison), tables=tables)
    check = check_workbook(
        [SAMPLES / "run_B2108_trouble.xlsx"], details=BatchDetails(batch="B2108", product="purified"),
        limits=shipped_tables(), train=SAMPLES / "train.toml", rules=None, on=date(2026, 3, 31), product="purified",
        judging=judging,
    )  # fmt: skip
    return issue_notice(check, number="N-1", signed_by="Mara Quell (invented)", issued_at=WHEN)


@pytest.mark.parametrize("comparison", Method)
@pytest.mark.parametrize("decision", DecisionRule)
def test_the_verdicts_of_every_decision_rule_follow(decision: str, comparison: Method) -> None:
    made = paper(decision, comparison)
    assert len(made.results) > 50
    assert list(verdict_problems(made)) == []
    assert verify_paper(to_json(made).encode("utf-8")).sound


@pytest.mark.parametrize("decision", DecisionRule)
def test_a_verdict_made_better_is_named(decision: str) -> None:
    """Each result that is no pass is called one, one at a time; only rules on a series cannot be recomputed."""
    made = paper(decision)
    flagged = [n for n, line in enumerate(made.results) if line.verdict != Verdict.PASS]
    single = [n for n in flagged if made.results[n].rule not in SERIES_RULES]
    assert len(single) > 2
    for number in single:
        lines = list(made.results)
        lines[number] = replace(lines[number], verdict=str(Verdict.PASS))
        assert any("verdict is 'pass'" in problem for problem in verdict_problems(replace(made, results=tuple(lines))))


def test_a_guard_band_made_smaller_is_named() -> None:
    made = paper(DecisionRule.GUARD_BAND)
    banded = [line for line in made.results if line.guard_band]
    assert banded
    spoilt = tuple(replace(line, guard_band=0.0) if line.guard_band else line for line in made.results)
    problems = list(verdict_problems(replace(made, results=spoilt)))
    assert sum("guard band does not follow" in problem for problem in problems) == len(banded)


def lot(*counts: object, unit: str = "MPN/100 mL") -> Certificate:
    """Return the paper of a batch whose total coliforms were counted in one unit per figure of *counts*."""
    rows = [row for row in rows_of() if row[4] != "Total coliforms"]
    rows += [(f"U{n}", "B1", "FP", SAMPLED, "Total coliforms", count, unit) for n, count in enumerate(counts)]
    check = checked(rows)
    issue = issue_certificate if check.decision.disposition == Disposition.RELEASE else issue_notice
    return issue(check, number="N-2", signed_by="Mara Quell (invented)", issued_at=WHEN)


@pytest.mark.parametrize(
    ("counts", "unit", "verdict"),
    [
        (["<1.1"] * 9 + [2.6], "MPN/100 mL", Verdict.PASS),
        (["<1.1"] * 8 + [2.6, 2.6], "MPN/100 mL", Verdict.FAIL),
        (["<1.1"] * 9 + [9.2], "MPN/100 mL", Verdict.FAIL),
        (["<1.1"] * 3, "MPN/100 mL", Verdict.PASS),
        (["<1.1", 2.6], "MPN/100 mL", Verdict.UNDETERMINED),
        ([0] * 9 + [10], "CFU/100 mL", Verdict.PASS),
        ([0] * 9 + [11], "CFU/100 mL", Verdict.FAIL),
        ([0] * 9 + [10], "count/100 mL", Verdict.UNDETERMINED),
        (["absent"], "CFU/250 mL", Verdict.PASS),
    ],
)  # fmt: skip
def test_a_sampling_plan_is_recomputed(counts: list[object], unit: str, verdict: Verdict) -> None:
    """21 CFR 165.110(b)(2)(i)(A): of ten units at most one of 2.2 or more MPN per 100 mL, none of 9.2 or more; by
    membrane filter at most one of 4.0 or more, and a mean of at most 1.
    """  # noqa: D205 one sentence says it
    made = lot(*counts, unit=unit)
    rests = [line for line in made.results if line.rule == Rule.ATTRIBUTE_PLAN]
    assert verdict in {line.verdict for line in rests}
    assert not_recomputable(made) == 0
    assert list(verdict_problems(made)) == []
    assert verify_paper(to_json(made).encode("utf-8")).sound


def test_a_lot_made_better_is_named() -> None:
    """A failing lot whose verdicts, or one of whose counts, were changed by hand."""
    made = lot(*["<1.1"] * 8, 2.6, 2.6)
    better = [
        replace(line, verdict=str(Verdict.PASS)) if line.rule == Rule.ATTRIBUTE_PLAN else line for line in made.results
    ]
    assert (
        sum("numbers give fail" in problem for problem in verdict_problems(replace(made, results=tuple(better)))) == 10
    )
    fewer = [
        replace(line, compared_low=1.1, compared_high=1.1) if line.reported == "2.6" else line for line in made.results
    ]
    assert any("numbers give pass" in problem for problem in verdict_problems(replace(made, results=tuple(fewer))))


def test_rows_of_a_series_are_said_not_to_be_checked() -> None:
    made = paper(DecisionRule.SIMPLE)
    lines = tuple(replace(line, rule=Rule.ATTRIBUTE_PLAN, reason="as it was") for line in made.results)
    series = replace(made, results=lines)
    assert not_recomputable(series) == len(lines)
    said = Counter(check.what for check in verify_paper(to_json(series).encode("utf-8")).checks)
    assert said["verdicts of series"] == 1


@pytest.mark.parametrize("rule", [Rule.PERCENTILE_MAX, Rule.MEAN_MAX])
def test_one_result_cannot_pass_a_percentile_or_a_mean(rule: str) -> None:
    made = paper(DecisionRule.SIMPLE)
    number = next(n for n, line in enumerate(made.results) if line.verdict == Verdict.PASS)
    lines = list(made.results)
    lines[number] = replace(lines[number], rule=rule)
    told = list(verdict_problems(replace(made, results=tuple(lines))))
    assert any("the verdict is 'pass', but its numbers give undetermined" in problem for problem in told)
