"""Sums with non-detects have three bounds, and only a text that was read may choose one; a part can fail its whole."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pandera.typing import DataFrame

from tests.limit_rows import table_of
from tests.table_rows import readings_of
from wqcheck.judging.judge import judge
from wqcheck.judging.rules import Convention, CountAs, JudgingRules, TableRule, shipped_judging_rules
from wqcheck.limit_tables.loading import LimitTable, load_limits
from wqcheck.statistics.sum_bounds import sum_bounds
from wqcheck.tables import Judged, Verdict

DAY = date(2026, 5, 6)
THM = ("chloroform", "bromodichloromethane", "dibromochloromethane", "bromoform")
SUM = {
    "parameter": "trihalomethanes_total",
    "rule": "sum_max",
    "upper": "100",
    "unit": "µg/L",
    "members": ";".join(THM),
}
RATIO = {
    "parameter": "nitrate_nitrite_ratio", "rule": "ratio_sum_max", "upper": "1", "unit": "mg/L", "basis": "NO3;NO2",
    "members": "nitrate;nitrite", "weights": "50;3",
}  # fmt: skip


def reading(code: str, value: float, sign: str = "=", **more: Any) -> dict[str, Any]:
    return {"sample": "S", "parameter": code, "unit": "µg/L", "value": value, "sign": sign, **more}


def total_of(
    rows: list[dict[str, Any]], table: LimitTable | None = None, rules: JudgingRules | None = None
) -> dict[str, Any]:
    """Return the one judged row of the sum."""
    judged = judge(
        readings_of(rows), [table or table_of("t", SUM)], product="tap", on=DAY, rules=rules or JudgingRules()
    )
    sums = Judged.validate(judged)[judged[Judged.sum_lower].notna()]
    assert len(sums) == 1
    return {str(name): cell for name, cell in sums.iloc[0].items()}


def prescribing(count_as: CountAs, evidence: str = "primary text: invented") -> JudgingRules:
    entries = tuple(
        Convention(parameter=code, count_as=count_as, clause="no. 9", evidence=evidence)
        for code in ("trihalomethanes_total", "nitrate_nitrite_ratio")
    )
    return JudgingRules(default=TableRule(conventions=entries))


def bounds(row: dict[str, Any]) -> tuple[float, float, float]:
    return row[Judged.sum_lower], row[Judged.sum_middle], row[Judged.sum_upper]


FOUND = [reading("chloroform", 60.0), reading("bromoform", 20.0, "<"), reading("bromodichloromethane", 30.0, "<")]
COMPLETE = [*FOUND, reading("dibromochloromethane", 5.0)]


def test_all_three_bounds_are_computed_and_told() -> None:
    """Zero, half and all of the limit: Regulation (EU) 2017/644, Annex I (from memory)."""
    row = total_of(COMPLETE)
    assert bounds(row) == (65.0, 90.0, 115.0)
    assert row[Judged.verdict] == Verdict.UNDETERMINED
    assert "with non-detects as zero, half and all of their limits it is 65, 90 and 115 µg/L" in row[Judged.reason]


@pytest.mark.parametrize(("zero", "verdict"), [(95.0, "undetermined"), (50.0, "pass"), (101.0, "fail")])
def test_the_verdict_stays_open_only_where_the_bounds_disagree(zero: float, verdict: str) -> None:
    rows = [reading("chloroform", zero), *(reading(code, 10.0, "<") for code in THM[1:])]
    row = total_of(rows)
    assert (row[Judged.verdict], row[Judged.sum_lower], row[Judged.sum_upper]) == (verdict, zero, zero + 30)


@pytest.mark.parametrize(
    ("count_as", "compared", "verdict"),
    [(CountAs.ZERO, 65.0, "pass"), (CountAs.HALF, 90.0, "pass"), (CountAs.LIMIT, 115.0, "fail")],
)
def test_a_prescribed_convention_decides_and_the_other_bounds_are_still_told(
    count_as: CountAs, compared: float, verdict: str
) -> None:
    row = total_of(COMPLETE, rules=prescribing(count_as))
    assert (row[Judged.compared_low], row[Judged.compared_high], row[Judged.verdict]) == (compared, compared, verdict)
    assert bounds(row) == (65.0, 90.0, 115.0)
    assert f"non-detects count as {count_as} (no. 9)" in row[Judged.reason]
    assert "65, 90 and 115" in row[Judged.reason]


def test_a_convention_from_memory_is_told_and_does_not_decide() -> None:
    row = total_of(COMPLETE, rules=prescribing(CountAs.ZERO, evidence="memory"))
    assert row[Judged.verdict] == Verdict.UNDETERMINED
    assert "no. 9, from memory, would count non-detects as zero and does not decide" in row[Judged.reason]


def test_no_convention_stands_in_for_a_member_that_was_not_tested() -> None:
    row = total_of(FOUND, rules=prescribing(CountAs.ZERO))
    assert row[Judged.verdict] == Verdict.UNDETERMINED
    assert (row[Judged.sum_lower], np.isnan(row[Judged.sum_middle]), row[Judged.sum_upper]) == (60.0, True, np.inf)
    assert "no result for dibromochloromethane" in row[Judged.reason]
    assert "it is 60, not known and not known µg/L" in row[Judged.reason]


def test_a_sum_of_ratios_has_bounds_too() -> None:
    """WHO guideline value and Directive (EU) 2020/2184, Annex I Part B: nitrate/50 + nitrite/3 at most 1."""
    rows = [
        reading("nitrate", 45.0, unit="mg/L", basis="NO3"),
        reading("nitrite", 0.6, "<", unit="mg/L", basis="NO2"),
    ]
    row = total_of(rows, table_of("t", RATIO))
    assert bounds(row) == pytest.approx((0.9, 1.0, 1.1))
    assert row[Judged.verdict] == Verdict.UNDETERMINED
    assert total_of(rows, table_of("t", RATIO), prescribing(CountAs.HALF))[Judged.verdict] == Verdict.PASS


def test_the_canadian_objective_counts_non_detects_as_zero() -> None:
    """Health Canada, objective for 25 PFAS, 30 ng/L: a result of non-detect has the value zero."""
    table = load_limits("canada_gcdwq")
    members = table.rows.loc[table.rows["parameter"] == "pfas_25", "members"].iloc[0].split(";")
    assert len(members) == 25
    rows = [reading(members[0].strip(), 29.0, unit="ng/L")]
    rows += [reading(code.strip(), 2.0, "<", unit="ng/L") for code in members[1:]]
    judged = judge(readings_of(rows), [table], product="tap", on=DAY, rules=shipped_judging_rules())
    row = judged[judged[Judged.parameter] == "pfas_25"].iloc[0]
    assert (row[Judged.verdict], row[Judged.compared_value]) == (Verdict.PASS, 29.0)
    assert (row[Judged.sum_lower], row[Judged.sum_middle], row[Judged.sum_upper]) == (29.0, 53.0, 77.0)
    silent = judge(readings_of(rows), [table], product="tap", on=DAY)
    assert silent[silent[Judged.parameter] == "pfas_25"][Judged.verdict].to_list() == [Verdict.UNDETERMINED]


def test_the_united_states_convention_was_not_read_and_does_not_decide() -> None:
    rows = [reading("chloroform", 60.0), *(reading(code, 10.0, "<") for code in THM[1:])]
    row = total_of(rows, load_limits("us_40cfr141_143"), shipped_judging_rules())
    assert row[Judged.verdict] == Verdict.UNDETERMINED
    assert "141.131(b)(2)(iv), from memory" in row[Judged.reason]


AMOUNTS = st.tuples(st.floats(0.01, 60).map(lambda x: float(f"{x:.5g}")), st.sampled_from(["=", "<", "absent"]))
RANK = (Verdict.PASS, Verdict.UNDETERMINED, Verdict.FAIL)


def as_rows(amounts: list[tuple[float, str]]) -> list[dict[str, Any]]:
    return [
        reading(code, value, sign, **({"reporting_limit": value} if sign == "absent" else {}))
        for code, (value, sign) in zip(THM, amounts, strict=True)
    ]


@settings(max_examples=80, deadline=None)
@given(amounts=st.lists(AMOUNTS, min_size=4, max_size=4), count_as=st.sampled_from([None, *CountAs]))
def test_lower_middle_and_upper_bound_stand_in_order_and_agree_with_the_plain_formula(
    amounts: list[tuple[float, str]], count_as: CountAs | None
) -> None:
    row = total_of(as_rows(amounts), rules=prescribing(count_as) if count_as else None)
    low, middle, high = bounds(row)
    assert low <= middle <= high
    plain = sum_bounds([value for value, _ in amounts], [sign == "=" for _, sign in amounts])
    expected = [float(bound) for bound in plain]
    assert [low, middle, high] == pytest.approx(expected, rel=1e-10)
    assert low <= row[Judged.compared_low] <= row[Judged.compared_high] <= high


@settings(max_examples=60, deadline=None)
@given(
    amounts=st.lists(AMOUNTS, min_size=4, max_size=4), more=st.floats(1.0, 5.0),
    count_as=st.sampled_from([None, *CountAs]), place=st.integers(0, 3),
)  # fmt: skip
def test_a_larger_member_never_gets_the_sum_a_better_verdict(
    amounts: list[tuple[float, str]], more: float, count_as: CountAs | None, place: int
) -> None:
    rules = prescribing(count_as) if count_as else None
    value, sign = amounts[place]
    larger = [*amounts[:place], (value * more, sign), *amounts[place + 1 :]]
    before, after = (RANK.index(total_of(as_rows(rows), rules=rules)[Judged.verdict]) for rows in (amounts, larger))
    assert before <= after


# ------------------------------------------------------------------------------------------------ uncertainty of a sum


def test_stated_uncertainties_of_the_members_are_added_in_quadrature() -> None:
    """JCGM 100:2008, 5.1.2, independent quantities: √(3² + 4²) = 5."""
    rows = [reading("chloroform", 60.0, uncertainty=3.0), reading("bromoform", 30.0, uncertainty=4.0)]
    table = table_of("t", {**SUM, "members": "chloroform;bromoform"})
    row = total_of(rows, table, JudgingRules().overridden("guard band"))
    assert (row[Judged.expanded_uncertainty], row[Judged.verdict]) == (5.0, Verdict.PASS)
    near = [reading("chloroform", 68.0, uncertainty=3.0), reading("bromoform", 30.0, uncertainty=4.0)]
    assert total_of(near, table, JudgingRules().overridden("guard band"))[Judged.verdict] == Verdict.CONDITIONAL_PASS
    bounded = [near[0], reading("bromoform", 30.0, "<")]  # its upper bound lies within U of the limit
    assert total_of(bounded, table, JudgingRules().overridden("guarded acceptance"))[Judged.verdict] == Verdict.FAIL
    half_known = [near[0], reading("bromoform", 30.0)]
    row = total_of(half_known, table, JudgingRules().overridden("guard band"))
    assert row[Judged.verdict] == Verdict.UNDETERMINED


# ------------------------------------------------------------------------------------------------ parts of a whole

CHROMIUM = {"parameter": "chromium", "rule": "max", "upper": "50", "unit": "µg/L"}


def judged_of(rows: list[dict[str, Any]], *limits: dict[str, str]) -> DataFrame[Judged]:
    return Judged.validate(judge(readings_of(rows), [table_of("t", *limits)], product="tap", on=DAY))


def test_hexavalent_chromium_above_the_limit_on_chromium_fails_that_limit() -> None:
    found = judged_of([reading("hexavalent_chromium", 60.0)], CHROMIUM)
    assert found[Judged.verdict].to_list() == [Verdict.NO_LIMIT, Verdict.FAIL]
    row = found.iloc[1]
    assert (row[Judged.parameter], row[Judged.rule], row[Judged.upper]) == ("chromium", "max", 50.0)
    assert row[Judged.reported].startswith("hexavalent_chromium")
    assert row[Judged.reason].endswith("(no. 1) on chromium, of which it is a part.")


def test_a_part_below_the_limit_says_nothing_about_its_whole() -> None:
    for value, sign in ((50.0, "="), (40.0, "="), (60.0, "<")):
        found = judged_of([reading("hexavalent_chromium", value, sign)], CHROMIUM)
        assert found[Judged.verdict].to_list() == [Verdict.NO_LIMIT]


def test_a_whole_that_fails_itself_is_not_failed_twice_and_one_that_passes_is() -> None:
    part = reading("hexavalent_chromium", 60.0)
    assert judged_of([part, reading("chromium", 70.0)], CHROMIUM)[Judged.verdict].to_list().count("fail") == 1
    contradicted = judged_of([part, reading("chromium", 40.0)], CHROMIUM)
    assert contradicted[Judged.verdict].to_list() == [Verdict.NO_LIMIT, Verdict.PASS, Verdict.FAIL]
    elsewhere = judged_of([part, {**reading("chromium", 70.0), "sample": "T"}], CHROMIUM)
    assert elsewhere[Judged.verdict].to_list().count("fail") == 2


def test_the_general_rule_holds_for_organisms_and_for_several_parts() -> None:
    absent = {"parameter": "total_coliforms", "rule": "absent", "unit": "CFU", "volume_ml": "250"}
    found = judged_of([reading("escherichia_coli", 2.0, unit="CFU", volume_ml=100.0)], absent)
    assert found[Judged.verdict].to_list() == [Verdict.NO_LIMIT, Verdict.FAIL]
    assert (found[Judged.parameter].iloc[1], found[Judged.rule].iloc[1]) == ("total_coliforms", "absent")
    none = judged_of([reading("escherichia_coli", 0.0, unit="CFU", volume_ml=250.0)], absent)
    assert none[Judged.verdict].to_list() == [Verdict.NO_LIMIT]
    nitrogen = {"parameter": "total_nitrogen", "rule": "max", "upper": "15", "unit": "mg/L", "basis": "N"}
    parts = [reading(code, 8.0, unit="mg/L", basis="N") for code in ("nitrate", "ammonium")]
    both = judged_of(parts, nitrogen)
    assert both[Judged.verdict].to_list().count("fail") == 1
    assert both[Judged.compared_low].iloc[-1] == 16.0


def test_a_part_within_the_guard_band_proves_nothing() -> None:
    rows = [reading("hexavalent_chromium", 49.0, uncertainty=5.0)]
    for decision in ("guard band", "guarded acceptance"):
        rules = JudgingRules().overridden(decision)
        judged = judge(readings_of(rows), [table_of("t", CHROMIUM)], product="tap", on=DAY, rules=rules)
        assert judged[Judged.verdict].to_list() == [Verdict.NO_LIMIT]


def test_the_chromium_row_of_the_directive_is_failed_by_its_hexavalent_part() -> None:
    """Directive (EU) 2020/2184, Annex I Part B: chromium 50 µg/L until 12 January 2036."""
    rows = [reading("hexavalent_chromium", 0.051, unit="mg/L")]
    judged = judge(readings_of(rows), [load_limits("eu_2020_2184")], product="packaged", on=DAY)
    assert judged[Judged.verdict].to_list() == [Verdict.NO_LIMIT, Verdict.FAIL]
    assert judged[Judged.clause].iloc[1] == "Annex I Part B"
