"""The judging rules say how a result is set beside a limit, and reports say which rule it was.

Limits written here are invented unless a test names its source.
"""

from __future__ import annotations

import csv
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pandera.typing import DataFrame
from scipy import stats

from tests.limit_rows import table_of
from tests.table_rows import readings_of
from wqcheck.batch import check_workbook
from wqcheck.errors import PlantFileError
from wqcheck.judging.fitness import reporting_limit_findings
from wqcheck.judging.judge import judge
from wqcheck.judging.rules import (
    JudgingRuleError,
    JudgingRules,
    TableRule,
    Unknown,
    load_judging_rules,
    shipped_judging_rules,
)
from wqcheck.judging.uncertainty import permitted, uncertainty_file
from wqcheck.judging.verdicts import DecisionRule
from wqcheck.limit_tables.loading import LimitTable, load_limits, shipped_tables
from wqcheck.release.decision import BatchDetails
from wqcheck.statistics.rounding import Method, Tie, within_upper
from wqcheck.tables import Judged, Sign, Verdict

DAY = date(2026, 5, 6)
SAMPLES = Path(__file__).resolve().parent.parent / "sample_results"
SODIUM = {"parameter": "sodium", "rule": "max", "upper": "10", "unit": "mg/L"}
RANK = (
    *(Verdict.PASS, Verdict.CONDITIONAL_PASS, Verdict.UNDETERMINED),
    *(Verdict.CONDITIONAL_FAIL, Verdict.FAIL),
)


def ruled(**given: Any) -> JudgingRules:
    """Return rules that hold for every table."""
    return JudgingRules(default=TableRule(**given))


def judged_of(
    rows: list[dict[str, Any]], table: LimitTable, rules: JudgingRules, product: str = "packaged"
) -> DataFrame[Judged]:
    return Judged.validate(judge(readings_of(rows), [table], product=product, on=DAY, rules=rules))


def verdicts(judged: DataFrame[Judged]) -> list[str]:
    return judged[Judged.verdict].to_list()


# ------------------------------------------------------------------------------------------------ the file


def test_the_shipped_file_names_every_shipped_table_and_keeps_simple_acceptance() -> None:
    rules = shipped_judging_rules()
    assert set(rules.tables) == set(shipped_tables())
    for rule in (rules.default, *rules.tables.values()):
        assert (rule.decision, rule.comparison) == (DecisionRule.SIMPLE, Method.ABSOLUTE)


@pytest.mark.parametrize("book", ["run_B2107_clean.xlsx", "run_B2108_trouble.xlsx"])
def test_the_shipped_rules_change_no_verdict_of_the_samples(book: str) -> None:
    found = [
        check_workbook(
            [SAMPLES / book], details=BatchDetails(batch="", product="purified"), limits=shipped_tables(),
            train=SAMPLES / "train.toml", rules=None, on=DAY, product="purified", judging=judging,
        ).judged
        for judging in (JudgingRules(), shipped_judging_rules())
    ]  # fmt: skip
    assert len(found[0]) > 100
    assert verdicts(found[0]) == verdicts(found[1])


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('decision_rule = "lenient"', "decision_rule: it must be one of simple acceptance, guard band"),
        ("guard_multiple = -1", "guard_multiple: it must be a number from 0 to 10"),
        ("guard_multiple = true", "guard_multiple: it must be a number"),
        ("guard_multiple = nan", "guard_multiple: it must be a number"),
        ("coverage_factor = 0", "coverage_factor: it must be a number from 1 to 10"),
        ('uncertainty_from = ["somewhere"]', "uncertainty_from: it must be a list of eu_2020_2184, sheet"),
        ("loq_max_percent = 30", "loq_clause: it is missing"),
        ('colour = "blue"', "the key 'colour' is not known"),
        ('[[default.non_detects]]\nparameter = "tea"', "'tea' is not in the catalogue"),
        ('[[default.non_detects]]\nparameter = "pfas_20"\ncount_as = "tenth"', "count_as: it must be one of zero"),
        ('[[default.non_detects]]\nparameter = "pfas_20"', "evidence: it is missing"),
    ],
)
def test_a_bad_file_is_refused_with_every_problem(tmp_path: Path, text: str, told: str) -> None:
    path = tmp_path / "rules.toml"
    path.write_text(f"[default]\n{text}\n", encoding="utf-8")
    with pytest.raises(PlantFileError, match="title: it is missing") as caught:
        load_judging_rules(path)
    assert told in str(caught.value)


def test_the_rule_of_the_command_line_holds_for_every_table() -> None:
    rules = shipped_judging_rules().overridden("guarded acceptance", 0.83)
    for name in ("eu_2020_2184", "anything else"):
        assert rules.of(name).decision == DecisionRule.GUARDED_ACCEPTANCE
        assert "guard band w = 0.83 U" in rules.of(name).sentence()
    with pytest.raises(JudgingRuleError, match="simple acceptance, guard band, guarded acceptance"):
        rules.overridden("lenient")
    for multiple in (-1.0, float("nan"), float("inf")):
        with pytest.raises(JudgingRuleError, match="from 0 to 10"):
            rules.overridden("", multiple)


# ------------------------------------------------------------------------------------------------ uncertainty

TABLE_1 = """
aluminium 25 ammonium 40 acrylamide 30 antimony 40 arsenic 30 benzo_a_pyrene 50 benzene 40 bisphenol_a 50 boron 25
bromate 40 cadmium 25 chloride 15 chlorate 40 chlorite 40 chromium 30 copper 25 cyanide 30 1_2_dichloroethane 40
epichlorohydrin 30 fluoride 20 haloacetic_acids_5 50 iron 30 lead 30 manganese 30 mercury 30 microcystin_lr 30
nickel 25 nitrate 15 nitrite 20 oxidisability 50 pesticide_single 30 pfas_20 50 pahs_4 40 selenium 40 sodium 15
sulfate 15 tetrachloroethene_plus_trichloroethene 40 trihalomethanes_total 40 total_organic_carbon 30 turbidity 30
uranium 30 vinyl_chloride 50
"""
"""Directive (EU) 2020/2184, Annex III Part B, Table 1, in its order, typed again; pH (0,2) stands apart."""


def test_the_permitted_uncertainties_are_those_of_the_directive() -> None:
    words = TABLE_1.split()
    typed = dict(zip(words[::2], map(float, words[1::2]), strict=True))
    shipped = {code: entry for (_, code), entry in permitted().items()}
    assert {code: entry.percent for code, entry in shipped.items() if code not in {"ph", "pfas_total"}} == typed
    assert (shipped["ph"].absolute, shipped["ph"].unit) == (0.2, "pH")
    assert shipped["pfas_total"].percent == shipped["pfas_20"].percent
    assert {entry.coverage_factor for entry in shipped.values()} == {2.0}  # note 1: k = 2
    shares = {code: entry.share_percent for code, entry in shipped.items() if entry.share_percent > 0}
    solvents = "tetrachloroethene_plus_trichloroethene"
    assert shares == {"pahs_4": 25.0, "trihalomethanes_total": 25.0, solvents: 50.0}  # notes 7 and 8


def test_every_permitted_uncertainty_says_where_it_was_read() -> None:
    with uncertainty_file().open(encoding="utf-8", newline="") as stream:
        for row in csv.DictReader(stream):
            assert row["clause"].startswith("Annex III Part B Table 1")
            assert row["evidence"].startswith("primary text: ")
            assert bool(row["percent"]) != bool(row["absolute"])


@pytest.mark.parametrize(
    ("reading", "expanded"),
    [
        ({"parameter": "nitrate", "value": 20.0, "unit": "mg/L", "basis": "NO3"}, 7.5),  # 15 % of 50 mg/L
        ({"parameter": "lead", "value": 2.0, "unit": "µg/L"}, 3.0),  # 30 % of 10 µg/L
        ({"parameter": "ph", "value": 7.0, "unit": "pH"}, 0.2),
        ({"parameter": "atrazine", "value": 0.05, "unit": "µg/L"}, 0.03),  # 30 % of 0.10 µg/L
        # note 7: 40 % of 25 % of 100 µg/L for each of four, added in quadrature: 10 × √4
        ({"parameter": "trihalomethanes_total", "value": 50.0, "unit": "µg/L"}, 20.0),
        ({"parameter": "lead", "value": 2.0, "unit": "µg/L", "uncertainty": 0.4}, 0.4),  # the sheet goes first
        ({"parameter": "escherichia_coli", "value": 0.0, "unit": "CFU", "volume_ml": 250.0}, None),
        ({"parameter": "lead", "value": 2.0, "unit": "µg/L", "sign": "<"}, None),
    ],
)
def test_where_the_sheet_states_no_uncertainty_the_directive_permits_one(
    reading: dict[str, Any], expanded: float | None
) -> None:
    """Directive (EU) 2020/2184, Annex III Part B, Table 1 with its notes, and Annex I for the values."""
    row = judged_of([reading], load_limits("eu_2020_2184"), shipped_judging_rules()).iloc[0]
    if expanded is None:
        assert row.isna()[[Judged.expanded_uncertainty, Judged.uncertainty_source, Judged.conformity]].all()
    else:
        assert row[Judged.expanded_uncertainty] == pytest.approx(expanded)
        stated = "uncertainty" in reading
        assert ("Annex III Part B Table 1" in row[Judged.uncertainty_source]) is not stated
        assert 0 < row[Judged.conformity] <= 1


def test_other_tables_take_no_uncertainty_from_the_directive() -> None:
    lead = {"parameter": "lead", "value": 2.0, "unit": "µg/L"}
    row = judged_of([lead], load_limits("who_gdwq_2022"), shipped_judging_rules()).iloc[0]
    assert row.isna()[[Judged.expanded_uncertainty, Judged.conformity]].all()


def test_the_uncertainty_of_a_count_is_scaled_to_the_volume_of_the_limit() -> None:
    plate = {"parameter": "heterotrophic_plate_count", "rule": "max", "upper": "100", "unit": "CFU", "volume_ml": "1"}
    count = {"parameter": "heterotrophic_plate_count", "unit": "CFU", "value": 400.0, "volume_ml": 10.0}
    row = judged_of([{**count, "uncertainty": 50.0}], table_of("t", plate), JudgingRules()).iloc[0]
    assert (row[Judged.compared_value], row[Judged.expanded_uncertainty]) == (40.0, 5.0)


# ------------------------------------------------------------------------------------------------ conformity


def conformity(value: float, uncertainty: float, *, k: float = 2.0, limit: dict[str, str] | None = None) -> float:
    row = {"parameter": "sodium", "unit": "mg/L", "value": value, "uncertainty": uncertainty}
    found = judged_of([row], table_of("t", limit or SODIUM), ruled(coverage_factor=k))
    return float(found[Judged.conformity].iloc[0])


def test_the_probability_of_conformity_of_a_motor_oil() -> None:
    """JCGM 106:2012, 7.6: y = 13.6 mm²/s, u = 1.8 mm²/s, 12.5 to 16.3 mm²/s; published as 0.66."""
    span = {"parameter": "sodium", "rule": "range", "lower": "12.5", "upper": "16.3", "unit": "mg/L"}
    assert conformity(13.6, 3.6, limit=span) == pytest.approx(0.66263, abs=1e-5)


@pytest.mark.parametrize(("k", "probability"), [(1.645, 0.950015), (1.96, 0.975002), (2.0, 0.97725), (3.0, 0.99865)])
def test_the_probability_at_the_limit_and_one_expanded_uncertainty_below(k: float, probability: float) -> None:
    """JCGM 106:2012, 7.2 to 7.4: one half at the limit, Φ(k) at the limit less U."""
    assert conformity(10.0, 1.0, k=k) == pytest.approx(0.5)
    assert conformity(9.0, 1.0, k=k) == pytest.approx(probability, abs=1e-6)


def test_the_probability_stands_in_the_reason_and_is_rounded_down() -> None:
    row = {"parameter": "sodium", "unit": "mg/L", "value": 9.0, "uncertainty": 1.0}
    found = judged_of([row, {**row, "value": 1.0}], table_of("t", SODIUM), JudgingRules())
    said = "U = 1 mg/L (as the sheet states it, k = 2), probability of conformity"
    assert found[Judged.reason].iloc[0].endswith(f"(no. 1). {said} 97.7 %.")
    assert found[Judged.conformity].iloc[1] == 1.0
    assert found[Judged.reason].iloc[1].endswith(f"{said} 99.9 %.")


# ------------------------------------------------------------------------------------------------ guard bands


@pytest.mark.parametrize(("multiple", "most"), [(3.0, 1e-6), (1.5, 0.0016), (1.0, 0.025), (0.83, 0.05), (0.0, 0.5)])
def test_the_acceptance_limit_lies_r_uncertainties_below_the_limit(multiple: float, most: float) -> None:
    """ILAC-G8:09/2019, Table 1: w = r U, and the risk of a false acceptance at the acceptance limit."""
    rules = ruled(decision=DecisionRule.GUARDED_ACCEPTANCE, guard_multiple=multiple)
    row = {"parameter": "sodium", "unit": "mg/L", "uncertainty": 2.0}
    edge = 10.0 - 2.0 * multiple
    found = judged_of([{**row, "value": edge}, {**row, "value": edge + 0.001}], table_of("t", SODIUM), rules)
    assert verdicts(found) == [Verdict.PASS, Verdict.FAIL]
    assert 1 - found[Judged.conformity].iloc[0] <= most
    assert 1 - found[Judged.conformity].iloc[0] == pytest.approx(stats.norm.sf(2 * multiple))


def test_each_table_keeps_its_own_rule() -> None:
    tables = [table_of(name, SODIUM) for name in ("strict", "other")]
    rules = JudgingRules(tables={"strict": TableRule(decision=DecisionRule.GUARD_BAND)})
    row = {"parameter": "sodium", "unit": "mg/L", "value": 9.5, "uncertainty": 1.0}
    found = judge(readings_of([row]), tables, product="tap", on=DAY, rules=rules)
    assert verdicts(found) == [Verdict.CONDITIONAL_PASS, Verdict.PASS]
    assert found[Judged.decision_rule].to_list() == ["guard band, w = 1 U", "simple acceptance"]
    assert found[Judged.guard_band].to_list()[0] == 1.0


def test_without_an_uncertainty_a_guard_band_passes_nothing_that_was_measured() -> None:
    lead = {"parameter": "lead", "rule": "max", "upper": "10", "unit": "µg/L"}
    absent = {"parameter": "escherichia_coli", "rule": "absent", "unit": "CFU", "volume_ml": "250"}
    rows: list[dict[str, Any]] = [
        {"parameter": "lead", "unit": "µg/L", "value": 1.0},
        {"parameter": "lead", "unit": "µg/L", "value": 11.0},
        {"parameter": "lead", "unit": "µg/L", "value": 1.0, "sign": "<"},
        {"parameter": "escherichia_coli", "unit": "CFU", "value": 0.0, "volume_ml": 250.0},
    ]
    for decision in (DecisionRule.GUARD_BAND, DecisionRule.GUARDED_ACCEPTANCE):
        found = judged_of(rows, table_of("t", lead, absent), ruled(decision=decision))
        assert verdicts(found) == [Verdict.UNDETERMINED, Verdict.FAIL, Verdict.PASS, Verdict.PASS]
        alone = judged_of(rows, table_of("t", lead, absent), ruled(decision=decision, unknown=Unknown.VALUE_ALONE))
        assert verdicts(alone) == [Verdict.PASS, Verdict.FAIL, Verdict.PASS, Verdict.PASS]


# ------------------------------------------------------------------------------------------------ rounding


@pytest.mark.parametrize(
    ("value", "limit", "tie", "absolute", "rounding"),
    [
        (0.54, "0.5", Tie.EVEN, "fail", "pass"),  # ASTM E29, sections 5 and 6
        (0.56, "0.5", Tie.EVEN, "fail", "fail"),
        (0.0149, "0.010", Tie.EVEN, "fail", "fail"),  # the last digit is the one that is written
        (0.0149, "0.01", Tie.EVEN, "fail", "pass"),
        (10.4, "10", Tie.EVEN, "fail", "pass"),
        (4.04, "4.0", Tie.UP, "fail", "pass"),  # US EPA (2024), PFAS: Significant Figures and Rounding Requirements
        (4.05, "4.0", Tie.UP, "fail", "fail"),
        (12.25, "12.2", Tie.EVEN, "fail", "pass"),  # ISO 80000-1:2009, Annex B, rule A (from memory)
        (12.25, "12.2", Tie.UP, "fail", "fail"),
    ],
)
def test_absolute_and_rounding_method(value: float, limit: str, tie: Tie, absolute: str, rounding: str) -> None:
    row = {"parameter": "sodium", "unit": "mg/L", "value": value, "reported": str(value)}
    table = table_of("t", {**SODIUM, "upper": limit})
    assert verdicts(judged_of([row], table, ruled(tie=tie))) == [absolute]
    found = judged_of([row], table, ruled(comparison=Method.ROUNDING, tie=tie))
    assert verdicts(found) == [rounding]
    assert "rounded to" in found[Judged.reason].iloc[0]


@settings(max_examples=80, deadline=None)
@given(
    value=st.decimals("0.0001", 100, places=4, allow_nan=False, allow_infinity=False),
    limit=st.sampled_from(["0.5", "0.50", "1", "10", "12.2", "0.010", "50"]),
    tie=st.sampled_from(list(Tie)),
)
def test_rounding_columns_agrees_with_rounding_decimals(value: Any, limit: str, tie: Tie) -> None:
    """The decimal arithmetic of ``statistics.rounding`` is the judge; the result is in another unit than the limit."""
    row = {"parameter": "sodium", "unit": "µg/L", "value": float(value * 1000)}
    found = judged_of([row], table_of("t", {**SODIUM, "upper": limit}), ruled(comparison=Method.ROUNDING, tie=tie))
    assert (verdicts(found) == [Verdict.PASS]) is within_upper(value, limit, Method.ROUNDING, tie)


@pytest.mark.parametrize(
    ("sign", "value", "verdict"),
    [("<", 0.54, "pass"), ("<", 0.55, "undetermined"), (">", 0.5, "undetermined"), (">", 0.56, "fail")],
)
def test_rounding_of_non_detects_claims_no_more_than_is_known(sign: str, value: float, verdict: str) -> None:
    row = {"parameter": "sodium", "unit": "mg/L", "value": value, "sign": sign}
    found = judged_of([row], table_of("t", {**SODIUM, "upper": "0.5"}), ruled(comparison=Method.ROUNDING))
    assert verdicts(found) == [verdict]


# ------------------------------------------------------------------------------------------------ reporting limits


def test_a_reporting_limit_above_30_percent_of_the_value_is_reported_and_changes_no_verdict() -> None:
    """Directive (EU) 2020/2184, Annex III Part B point 1; lead 10 µg/L, cadmium 5.0 µg/L."""
    rows = [
        {"parameter": "lead", "unit": "µg/L", "value": 3.0, "sign": "<"},
        {"parameter": "lead", "unit": "µg/L", "value": 3.1, "sign": "<"},
        {"parameter": "cadmium", "unit": "mg/L", "value": 0.002, "reporting_limit": 0.0016},
        {"parameter": "electrical_conductivity", "unit": "µS/cm", "basis": "20 °C", "value": 999.0, "sign": "<"},
    ]
    rules = shipped_judging_rules()
    found = judged_of(rows, load_limits("eu_2020_2184"), rules)
    assert verdicts(found) == [Verdict.PASS] * 4
    assert found[Judged.loq_percent].to_list()[:3] == pytest.approx([30.0, 31.0, 32.0])
    flagged = found[Judged.reason].str.contains("its reporting limit is above 30 % of the limit")
    assert flagged.to_list() == [False, True, True, False]  # conductivity does not stand in Table 1
    told = list(reporting_limit_findings(found, rules))
    assert [(finding.code, str(finding.severity)) for finding in told] == [("reporting limit too high", "note")] * 2
    assert "31 % of the limit of eu_2020_2184, more than 30 %" in told[0].message


def test_members_of_a_sum_are_looked_at_where_the_directive_says() -> None:
    """Annex III Part B, note 7: at 25 % of 100 µg/L, so that 7.5 µg/L is the largest limit of quantification."""
    members = ("chloroform", "bromoform", "dibromochloromethane", "bromodichloromethane")
    limits = (7.5, 7.6, 1.0, 1.0)
    rows = [
        {"sample": "S", "parameter": code, "unit": "µg/L", "value": value, "sign": "<"}
        for code, value in zip(members, limits, strict=True)
    ]
    rules = shipped_judging_rules()
    found = judged_of(rows, load_limits("eu_2020_2184"), rules)
    total = found[found[Judged.parameter] == "trihalomethanes_total"]
    assert verdicts(Judged.validate(total)) == [Verdict.PASS]
    assert "reporting limit too high of bromoform" in total[Judged.reason].iloc[0]
    assert "chloroform" not in total[Judged.reason].iloc[0].partition("too high of")[2].replace("dibromochloro", "")
    assert len(list(reporting_limit_findings(found, rules))) == 1


# ------------------------------------------------------------------------------------------------ order of verdicts

VALUES = st.lists(st.floats(0.001, 30.0).map(lambda x: float(f"{x:.6g}")), min_size=2, max_size=12).map(sorted)
RULES = st.builds(
    ruled, decision=st.sampled_from(list(DecisionRule)), guard_multiple=st.sampled_from([0.0, 0.83, 1.0, 3.0]),
    comparison=st.sampled_from(list(Method)), tie=st.sampled_from(list(Tie)),
)  # fmt: skip


def ranks(judged: DataFrame[Judged]) -> list[int]:
    return [RANK.index(Verdict(word)) for word in verdicts(judged)]


@settings(max_examples=60, deadline=None)
@given(values=VALUES, uncertainty=st.floats(0.01, 5.0), rules=RULES)
def test_a_larger_value_never_gets_a_better_verdict(
    values: list[float], uncertainty: float, rules: JudgingRules
) -> None:
    rows = [{"parameter": "sodium", "unit": "mg/L", "value": value, "uncertainty": uncertainty} for value in values]
    found = judged_of(rows, table_of("t", SODIUM), rules)
    assert ranks(found) == sorted(ranks(found))
    probabilities = found[Judged.conformity].to_list()
    assert probabilities == sorted(probabilities, reverse=True)


@settings(max_examples=60, deadline=None)
@given(value=st.floats(0.001, 30.0), uncertainties=VALUES, rules=RULES)
def test_a_larger_uncertainty_never_makes_a_verdict_firmer(
    value: float, uncertainties: list[float], rules: JudgingRules
) -> None:
    """A pass can only weaken, and what is no pass never becomes one; guarded acceptance only ever loses passes."""
    rows = [{"parameter": "sodium", "unit": "mg/L", "value": value, "uncertainty": each} for each in uncertainties]
    words = verdicts(judged_of(rows, table_of("t", SODIUM), rules))
    passes = [word == Verdict.PASS for word in words]
    assert passes == sorted(passes, reverse=True)
    if rules.default.decision == DecisionRule.GUARD_BAND:
        firm = [word in (Verdict.PASS, Verdict.FAIL) for word in words]
        assert firm == sorted(firm, reverse=True)
    if rules.default.decision == DecisionRule.GUARDED_ACCEPTANCE:
        assert set(words) <= {Verdict.PASS, Verdict.FAIL}
    unknown = judged_of([{k: v for k, v in rows[0].items() if k != "uncertainty"}], table_of("t", SODIUM), rules)
    assert verdicts(unknown)[0] != Verdict.PASS or passes[0] or not rules.default.guards


@settings(max_examples=60, deadline=None)
@given(limits=VALUES, rules=RULES, sign=st.sampled_from([Sign.LESS, Sign.ABSENT]))
def test_a_larger_reporting_limit_never_gets_a_better_verdict(
    limits: list[float], rules: JudgingRules, sign: Sign
) -> None:
    rows = [
        {"parameter": "sodium", "unit": "mg/L", "sign": sign, "value": None, "reporting_limit": limit}
        for limit in limits
    ]
    found = judged_of(rows, table_of("t", SODIUM), rules)
    assert ranks(found) == sorted(ranks(found))
    assert Verdict.FAIL not in verdicts(found)


def test_the_batch_says_by_which_rules_it_was_judged() -> None:
    check = check_workbook(
        [SAMPLES / "run_B2107_clean.xlsx"], details=BatchDetails(batch="", product="purified"),
        limits=["eu_2020_2184", "us_21cfr165_110b"], train=None, rules=None, on=DAY, product="purified",
        judging=replace(shipped_judging_rules().overridden("guard band", 0.5)),
    )  # fmt: skip
    assert [entry.table for entry in check.decision_rules] == ["eu_2020_2184", "us_21cfr165_110b"]
    assert all(entry.rule.startswith("guard band; guard band w = 0.5 U") for entry in check.decision_rules)
    assert "at most 30 % of the limit" in check.decision_rules[0].rule
    kinds = [stamp.kind for stamp in check.files]
    assert kinds[-2:] == ["judging rules", "permitted uncertainties"]
    assert check.files[-2].sha256 == shipped_judging_rules().digest
