"""A batch is released only on results that were compared, and nothing that is bad or unknown ever helps it."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from itertools import product
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.table_rows import judged_of, readings_of
from wqcheck.errors import PlantFileError
from wqcheck.findings import Finding, Severity
from wqcheck.judging.judge import judge
from wqcheck.limit_comparison.overrides import RELAXED
from wqcheck.limit_tables.loading import load_limits
from wqcheck.release.decision import (
    CAUTION,
    BatchDetails,
    Disposition,
    ReleaseDecision,
    ReleaseRules,
    batch_details,
    decide_release,
    load_release_rules,
)
from wqcheck.tables import LimitClass, Product, Sign, Verdict

SHIPPED = Path(__file__).parent.parent / "limits" / "release_rules.toml"
RULES = ReleaseRules(
    title="Test rules",
    required={"packaged": (("escherichia_coli",), ("lead",), ("free_chlorine", "total_chlorine"), ("ph",))},
    reported_only=frozenset({"ph"}),
    note_classes=frozenset({"operational"}),
)
MICROBES = {"parameter": "escherichia_coli", "class": "microbiological", "sign": "absent", "reported": "absent"}
LEAD = {"parameter": "lead", "class": "health", "reported": "2", "unit": "µg/L"}
CHLORINE = {"parameter": "total_chlorine", "class": "health", "reported": "0.4", "unit": "mg/L"}
ACIDITY = {"parameter": "ph", "verdict": "no limit", "reported": "6.5", "unit": "pH"}
GOOD: tuple[dict[str, Any], ...] = (
    {**MICROBES, "verdict": "pass"}, {**LEAD, "verdict": "pass"}, {**CHLORINE, "verdict": "pass"}, ACIDITY,
)  # fmt: skip
PSEUDOMONAS = {
    "parameter": "pseudomonas_aeruginosa", "verdict": "no limit", "reported": "absent",
    "unit": "CFU", "volume_ml": 250.0,
}  # fmt: skip
IRON = {"parameter": "iron", "class": "acceptability", "reported": "0.5", "unit": "mg/L"}


def decided(
    *rows: dict[str, Any], findings: Sequence[Finding] = (), rules: ReleaseRules = RULES, not_tested: Sequence[str] = ()
) -> ReleaseDecision:
    return decide_release("B1", judged_of(rows), findings, rules, product="packaged", not_tested=not_tested)


def only_reason(decision: ReleaseDecision) -> str:
    """Return the message of the one reason that holds or rejects."""
    (reason,) = (reason for reason in decision.reasons if reason.disposition != Disposition.RELEASE)
    return reason.message


def test_a_batch_with_every_required_result_within_its_limit_is_released() -> None:
    decision = decided(*GOOD)
    assert decision.disposition == Disposition.RELEASE
    assert (decision.batch, decision.missing) == ("B1", ())
    assert decision.required == ("escherichia_coli", "lead", "free_chlorine", "total_chlorine", "ph")
    assert "none of the 3 comparisons" in decision.reasons[0].message


@pytest.mark.parametrize("verdict", ["fail", "conditional fail"])
@pytest.mark.parametrize("limit_class", list(LimitClass))
def test_failures_weigh_what_the_class_of_their_limit_weighs(verdict: str, limit_class: str) -> None:
    decision = decided(*GOOD, {**IRON, "class": limit_class, "verdict": verdict})
    rejecting = {"health", "microbiological", "radiological"}
    expected = "reject" if limit_class in rejecting else "release" if limit_class == "operational" else "hold"
    assert decision.disposition == expected
    assert any(reason.code == verdict and reason.parameter == "iron" for reason in decision.reasons)


@pytest.mark.parametrize("status", ["screening level", "guidance level", "screening"])
def test_a_screening_or_guidance_level_that_is_exceeded_asks_to_look_further_and_holds(status: str) -> None:
    row = {**IRON, "class": "radiological", "verdict": "fail"}
    assert decided(*GOOD, {**row, "status": status}).disposition == Disposition.HOLD
    assert decided(*GOOD, {**row, "status": "provisional"}).disposition == Disposition.REJECT


def test_a_failure_of_a_required_parameter_holds_even_where_its_class_only_informs() -> None:
    assert decided(*GOOD, {**ACIDITY, "class": "operational", "verdict": "fail"}).disposition == Disposition.HOLD


def test_a_failure_of_an_unknown_class_is_never_let_through() -> None:
    assert decided(*GOOD, {**IRON, "class": None, "verdict": "fail"}).disposition == Disposition.HOLD


@pytest.mark.parametrize("row", range(4))
def test_a_required_parameter_without_a_result_holds(row: int) -> None:
    decision = decided(*GOOD[:row], *GOOD[row + 1 :])
    assert decision.disposition == Disposition.HOLD
    assert "is required and has no result" in only_reason(decision)
    assert decision.missing == (("escherichia_coli", "lead", "free_chlorine", "ph")[row],)


def test_one_of_two_alternatives_is_enough_and_both_are_named_when_neither_is_there() -> None:
    assert decided(*GOOD[:2], {**CHLORINE, "parameter": "free_chlorine", "verdict": "pass"}, ACIDITY).missing == ()
    assert "free chlorine or total chlorine" in only_reason(decided(*GOOD[:2], ACIDITY))


@pytest.mark.parametrize("sign", [Sign.NOT_DONE, Sign.UNREADABLE])
def test_a_result_that_is_none_does_not_answer_for_a_required_parameter(sign: str) -> None:
    decision = decided(*GOOD[1:], {**MICROBES, "sign": str(sign), "verdict": "undetermined"})
    assert decision.disposition == Disposition.HOLD
    assert decision.missing == ("escherichia_coli",)
    reported = decided(*GOOD[:3], {**ACIDITY, "sign": str(sign)})
    assert (reported.disposition, reported.missing) == (Disposition.HOLD, ("ph",))


def test_a_required_result_without_a_limit_holds_unless_the_rules_ask_only_for_the_result() -> None:
    rows = [GOOD[0], {**LEAD, "verdict": "no limit"}, GOOD[2], ACIDITY]
    decision = decided(*rows)
    assert decision.disposition == Disposition.HOLD
    assert "no limit to compare with" in only_reason(decision)
    assert decision.missing == ()
    eased = replace(RULES, reported_only=frozenset({"ph", "lead"}))
    assert decided(*rows, rules=eased).disposition == Disposition.RELEASE


@pytest.mark.parametrize(
    ("sign", "value", "expected"),
    [
        ("absent", None, "release"), ("=", 0.0, "release"), ("<", 1.0, "release"), ("not done", None, "release"),
        ("=", 1.0, "hold"), ("<", 10.0, "hold"), (">", None, "hold"), ("present", None, "hold"),
        ("unreadable", None, "hold"), ("=", None, "hold"),
    ],
)  # fmt: skip
def test_an_organism_that_no_limit_binds_holds_when_it_is_or_may_be_found(
    sign: str, value: float | None, expected: str
) -> None:
    row = {**PSEUDOMONAS, "sign": sign, "value": value}
    rules = replace(RULES, hold_if_found=frozenset({"pseudomonas_aeruginosa"}))
    assert decided(*GOOD, row).disposition == Disposition.RELEASE
    decision = decided(*GOOD, row, rules=rules)
    assert decision.disposition == expected
    assert [reason.where for reason in decision.reasons if reason.code == "found"] == (
        ["book.xlsx|Results!B6"] if expected == "hold" else []
    )


@pytest.mark.parametrize(
    "said",
    [{"volume_ml": 1.0}, {"volume_ml": None}, {"unit": None}, {"unit": "mg/L"}, {"unit": "MPN", "volume_ml": 50.0}],
)
def test_an_organism_is_not_found_only_as_a_count_in_enough_water(said: dict[str, Any]) -> None:
    rules = replace(RULES, hold_if_found=frozenset({"pseudomonas_aeruginosa"}))
    row = {**PSEUDOMONAS, "sign": "absent", "value": None}
    assert decided(*GOOD, row, rules=rules).disposition == Disposition.RELEASE
    assert decided(*GOOD, row | said, rules=rules).disposition == Disposition.HOLD


@pytest.mark.parametrize("said", [{"unit": "mg/L"}, {"unit": None}, {"sign": ">"}, {"sign": "unreadable"}])
def test_what_only_has_to_be_measured_is_measured_only_by_a_result_of_its_kind(said: dict[str, Any]) -> None:
    decision = decided(*GOOD[:3], ACIDITY | said)
    assert decision.disposition == Disposition.HOLD


def test_a_limit_that_was_relaxed_is_among_the_reasons_of_a_release() -> None:
    finding = Finding(code=RELAXED, severity=Severity.NOTE, message="chloride is judged by the own limit", where="f")
    decision = decided(*GOOD, findings=[finding])
    assert decision.disposition == Disposition.RELEASE
    assert any(reason.code == RELAXED for reason in decision.reasons)


def test_undetermined_results_hold_in_rejecting_classes_and_for_required_parameters_whatever_the_rules_say() -> None:
    eased = replace(RULES, undetermined=Severity.NOTE)
    for row in (LEAD, {**IRON, "class": "health"}, {**ACIDITY, "class": "operational"}):
        assert decided(*GOOD, {**row, "verdict": "undetermined"}, rules=eased).disposition == Disposition.HOLD


def test_no_undetermined_result_is_left_unmentioned() -> None:
    for severity, disposition in ((Severity.HOLD, "hold"), (Severity.NOTE, "release")):
        rules = replace(RULES, undetermined=severity)
        decision = decided(*GOOD, {**IRON, "verdict": "undetermined"}, rules=rules)
        assert decision.disposition == disposition
        assert [reason.parameter for reason in decision.reasons if reason.code == "undetermined"] == ["iron"]


def test_findings_that_hold_hold_and_notes_do_not() -> None:
    finding = Finding(
        code="unknown unit", severity=Severity.HOLD, message="the unit is not known", where="a.xlsx|S!B2", given="mgg"
    )
    decision = decided(*GOOD, findings=[finding])
    assert decision.disposition == Disposition.HOLD
    assert "the unit is not known (given: mgg)" in only_reason(decision)
    assert decision.reasons[0].where == "a.xlsx|S!B2"
    assert decided(*GOOD, findings=[replace(finding, severity=Severity.NOTE)]).disposition == Disposition.RELEASE


def test_a_batch_without_any_result_is_held() -> None:
    decision = decided()
    assert decision.disposition == Disposition.HOLD
    assert decision.reasons[0].code == "no results"
    assert decision.missing == ("escherichia_coli", "lead", "free_chlorine", "ph")


def test_a_kind_of_water_that_the_rules_do_not_name_is_held() -> None:
    decision = decide_release("B1", judged_of(GOOD), [], RULES, product="spring")
    assert decision.disposition == Disposition.HOLD
    assert "require nothing for spring water" in only_reason(decision)


def test_results_of_another_batch_answer_for_nothing_but_their_failures_count() -> None:
    rows = [{**row, "batch": " b1"} for row in GOOD]
    assert decided(*rows).disposition == Disposition.RELEASE
    other = decided(*rows[1:], {**rows[0], "batch": "B2"})
    assert other.missing == ("escherichia_coli",)
    assert any("other batches (B2)" in reason.message for reason in other.reasons)
    assert decided(*rows, {**LEAD, "batch": "B2", "verdict": "fail"}).disposition == Disposition.REJECT


@pytest.mark.parametrize(("severity", "expected"), [("note", "release"), ("hold", "hold")])
def test_what_only_informs_can_be_made_to_hold(severity: str, expected: str) -> None:
    word = Severity(severity)
    memory = {**IRON, "verdict": "pass", "evidence": "memory"}
    decision = decided(*GOOD, memory, rules=replace(RULES, memory_evidence=word))
    assert decision.disposition == expected
    assert any(reason.code == "memory limit" and "some_table" in reason.message for reason in decision.reasons)
    close = {**IRON, "verdict": "conditional pass"}
    assert decided(*GOOD, close, rules=replace(RULES, conditional_pass=word)).disposition == expected
    untested = decided(*GOOD, rules=replace(RULES, not_tested=word), not_tested=("nitrate",))
    assert (untested.disposition, untested.not_tested) == (expected, ("nitrate",))
    assert any("nitrate" in reason.message for reason in untested.reasons)


HEADER = (
    "parameter,rule,lower,upper,unit,basis,volume_ml,members,weights,product,class,status,valid_from,valid_to,source,"
    "clause,evidence,note\n"
)
LIMITS = HEADER + (
    "lead,max,,10,µg/L,,,,,packaged,health,,,,Test limits,Table 1,primary text: here,\n"
    "arsenic,max,,0.01,mg/L,,,,,packaged,health,,,,Test limits,Table 2,primary text: here,\n"
)


def test_a_reason_names_parameter_value_limit_clause_table_place_and_next_step(tmp_path: Path) -> None:
    path = tmp_path / "test_limits.csv"
    path.write_text(LIMITS, encoding="utf-8")
    readings = readings_of(
        [
            {"parameter": "lead", "reported": "12", "value": 12.0, "unit": "µg/L"},
            {"parameter": "arsenic", "reported": "<20", "sign": "<", "value": 20.0, "unit": "µg/L"},
        ]
    )
    judged = judge(readings, [load_limits(path)], product="packaged", on=date(2026, 1, 1))
    rules = replace(RULES, required={"packaged": (("lead",), ("arsenic",))})
    decision = decide_release("B1", judged, [], rules, product="packaged")
    assert decision.disposition == Disposition.REJECT
    failing = decision.reasons[0]
    for part in ("lead: ", "12", "at most 10 µg/L", "Table 1", "test_limits", "keep the batch apart"):
        assert part in failing.message
    assert (failing.where, failing.parameter) == ("book.xlsx|Results!B2", "lead")
    (open_one,) = (reason for reason in decision.reasons if reason.code == "undetermined")
    for part in ("arsenic: ", "<20", "0.01 mg/L", "Table 2", "ask the laboratory"):
        assert part in open_one.message


POOL_COLUMNS = ("parameter", "class", "verdict", "sign", "batch", "evidence")
POOL = judged_of(
    [
        *GOOD,
        *(
            dict(zip(POOL_COLUMNS, values, strict=True))
            for values in product(
                ["escherichia_coli", "lead", "free_chlorine", "ph", "iron", None],
                [*map(str, LimitClass), None],
                [*map(str, Verdict)],
                ["=", "not done", "unreadable"],
                ["B1", "B2", None],
                ["memory", None],
            )
        ),
    ]
)
WORSE = POOL.index[POOL["verdict"].isin(["fail", "conditional fail", "undetermined"])]
rules_in_use = st.builds(
    replace,
    st.just(RULES),
    required=st.sampled_from([RULES.required, {}, {"packaged": (("iron",),)}]),
    reported_only=st.sampled_from([frozenset(), frozenset({"ph", "lead"})]),
    note_classes=st.sampled_from([frozenset(), frozenset({"indicator", "acceptability", "operational"})]),
    undetermined=st.sampled_from(Severity),
    conditional_pass=st.sampled_from(Severity),
    memory_evidence=st.sampled_from(Severity),
)
SEVERITY_ORDER = ["release", "hold", "reject"]


@settings(max_examples=120, deadline=None)
@given(
    rows=st.lists(st.integers(0, len(POOL) - 1), max_size=5),
    with_good=st.booleans(),
    added=st.sampled_from(list(WORSE)),
    rules=rules_in_use,
)
def test_a_further_failing_or_undetermined_row_never_improves_the_decision(
    rows: list[int], with_good: bool, added: int, rules: ReleaseRules
) -> None:
    start = [*(range(len(GOOD)) if with_good else ()), *rows]
    before, after = (
        decide_release("B1", POOL.iloc[chosen], [], rules, product="packaged").disposition
        for chosen in (start, [*start, added])
    )
    assert SEVERITY_ORDER.index(after) >= SEVERITY_ORDER.index(before)


def test_deciding_twice_gives_the_same_and_leaves_the_table_alone() -> None:
    judged = judged_of([*GOOD, {**IRON, "verdict": "fail"}])
    kept = judged.copy()
    first, second = (decide_release("B1", judged, [], RULES, product="packaged") for _ in range(2))
    assert first == second
    pd.testing.assert_frame_equal(judged, kept)


def test_the_caution_defers_and_nothing_says_that_water_is_safe() -> None:
    assert "local regulator" in CAUTION
    assert "prevails" in CAUTION
    assert "authorised person" in CAUTION
    assert "not tested" in CAUTION
    package = Path(__file__).parent.parent / "wqcheck"
    for text in (
        CAUTION,
        SHIPPED.read_text("utf-8"),
        *(file.read_text("utf-8") for file in package.glob("release/*.py")),
    ):
        assert "safe" not in text.lower()


def test_the_shipped_rules_ask_something_of_every_kind_of_water() -> None:
    rules = load_release_rules(SHIPPED)
    assert set(rules.required) == set(Product)
    assert rules.digest == hashlib.sha256(SHIPPED.read_bytes()).hexdigest()
    assert rules.undetermined == Severity.HOLD
    for entries in rules.required.values():
        assert ("escherichia_coli",) in entries
        assert ("total_coliforms",) in entries


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('undetermined = "hold"', 'undetermined = "pass"', "undetermined: it must be"),
        ('memory_evidence = "note"', "", "memory_evidence: it must be"),
        ('reject_classes = ["health", ', "reject_classes = [", "'health' is missing"),
        ('"indicator", "acceptability"', '"acceptability"', "'indicator' stands in 0 of"),
        ('note_classes = []', 'note_classes = ["indicator"]', "'indicator' stands in 2 of"),
        ('note_classes = []', 'note_classes = ["smell"]', "'smell' is not known"),
        ('note_classes = []', 'note_classes = "none"', "note_classes: it must be a list"),
        ("tap = [", 'sparkling = []\ntap = [', "required, sparkling: this kind of water is not known"),
        ("tap = [", 'tap = [\n    "turbidity",', "required, tap: 'turbidity' stands 2 times"),
        ("tap = [", 'tap = [\n    "e_coli",', "required, tap: the parameter 'e_coli' is not in the catalogue"),
        ("hold_if_found = [", 'hold_if_found = ["lustre", ', "hold_if_found: the parameter 'lustre'"),
        ("reported_only = [", 'reported_only = ["lustre", ', "reported_only: the parameter 'lustre'"),
        ("[required]", "[needed]", "required: it is missing"),
        ("title =", "titel =", "'titel' is not known"),
    ],
)  # fmt: skip
def test_a_bad_rules_file_is_refused_with_each_problem_named(tmp_path: Path, old: str, new: str, told: str) -> None:
    good = SHIPPED.read_text("utf-8")
    assert old in good
    path = tmp_path / "rules.toml"
    path.write_text(good.replace(old, new), encoding="utf-8")
    with pytest.raises(PlantFileError, match=r"rules\.toml") as caught:
        load_release_rules(path)
    assert told in str(caught.value)


def test_batch_details_take_known_keys_only_and_name_all_that_is_wrong() -> None:
    details = batch_details({"batch": "B1", "product": "purified", "volume": 27360, "tank": None})
    assert details == BatchDetails(batch="B1", product="purified", volume="27360")
    with pytest.raises(PlantFileError) as caught:
        batch_details({"product": "soup", "colour": "blue"})
    for part in ("'colour' is not known", "batch is missing", "'soup'"):
        assert part in str(caught.value)
