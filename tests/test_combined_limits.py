"""Sums and sums of ratios are judged per sample, from what every member can be."""

from __future__ import annotations

from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pandera.typing import DataFrame

from tests.table_rows import readings_of
from wqcheck.judging.judge import judge
from wqcheck.limit_tables.checks import COLUMNS
from wqcheck.limit_tables.loading import LimitTable, load_limits
from wqcheck.tables import Judged, Rule, Sign, Verdict

DAY = date(2024, 5, 6)
EU = "eu_2020_2184"
WHO = "who_gdwq_2022"
SOLVENTS = "tetrachloroethene_plus_trichloroethene"
THM = ("chloroform", "bromoform", "dibromochloromethane", "bromodichloromethane")


def write_table(path: Path, *rows: dict[str, str]) -> LimitTable:
    fixed = {"product": "any", "class": "health", "source": "Invented table for tests", "clause": "no. 1"}
    frame = pd.DataFrame([{**fixed, "evidence": "memory", **row} for row in rows]).reindex(columns=list(COLUMNS))
    frame.to_csv(path, index=False)
    return load_limits(path)


@cache
def shipped(name: str) -> LimitTable:
    return load_limits(name)


def combined(rows: list[dict[str, Any]], table: str | LimitTable, product: str = "packaged") -> DataFrame[Judged]:
    """Judge *rows* (results in µg/L unless they say otherwise) and return what came of sums and ratios."""
    limits = shipped(table) if isinstance(table, str) else table
    readings = readings_of([{"unit": "µg/L", **row} for row in rows])
    judged = Judged.validate(judge(readings, [limits], product=product, on=DAY))
    return judged[judged[Judged.rule].isin([Rule.SUM_MAX, Rule.RATIO_SUM_MAX])].reset_index(drop=True)


def nitrogen(nitrate: float, nitrite: float, **more: Any) -> list[dict[str, Any]]:
    return [
        {"parameter": "nitrate", "unit": "mg/L", "basis": "NO3", "value": nitrate, **more},
        {"parameter": "nitrite", "unit": "mg/L", "basis": "NO2", "value": nitrite, **more},
    ]


@pytest.mark.parametrize("table", [WHO, EU])
@pytest.mark.parametrize(
    ("nitrate", "nitrite", "ratio", "verdict"),
    [
        (25.0, 1.5, 1.0, "pass"),  # 25/50 + 1.5/3 = 1 exactly: allowed
        (40.0, 0.5, 0.966666666667, "pass"),  # 0.8 + 0.1667, by hand
        (45.0, 0.4, 1.03333333333, "fail"),  # 0.9 + 0.1333, by hand: each within its own value, together not
        (50.0, 0.0, 1.0, "pass"),
    ],
)
def test_nitrate_over_50_plus_nitrite_over_3_is_at_most_1(
    table: str, nitrate: float, nitrite: float, ratio: float, verdict: str
) -> None:
    """WHO Guidelines (4th ed. with addenda, 2022), nitrate and nitrite; Directive (EU) 2020/2184, Annex I Part B."""
    judged = combined(nitrogen(nitrate, nitrite), table)
    assert judged[Judged.parameter].to_list() == ["nitrate_nitrite_ratio"]
    assert judged[Judged.verdict].to_list() == [verdict]
    assert judged[Judged.compared_value].to_list() == pytest.approx([ratio], rel=1e-11)
    assert judged[Judged.limit_unit].to_list() == ["1"]


def test_the_ratio_takes_results_on_any_basis() -> None:
    """10 mg/L as N is 44.266 mg/L as NO3 and 0.1 mg/L as N is 0.32846 as NO2 (CIAAW abridged weights 2021), by hand."""
    rows = [
        {"parameter": "nitrate", "unit": "mg/L", "basis": "N", "value": 10.0},
        {"parameter": "nitrite", "unit": "µg/L", "basis": "N", "value": 100.0},
    ]
    judged = combined(rows, WHO)
    assert judged[Judged.compared_value].iloc[0] == pytest.approx(44.266 / 50 + 0.32846 / 3, rel=1e-4)
    assert judged[Judged.verdict].iloc[0] == Verdict.PASS


@pytest.mark.parametrize(
    ("bromodichloromethane", "verdict"),
    [(13.0, "pass"), (13.1, "fail")],
)
def test_trihalomethanes_over_their_guideline_values_add_up_to_at_most_1(
    bromodichloromethane: float, verdict: str
) -> None:
    """WHO Guidelines (2022): 300, 100, 100 and 60 µg/L; 100/300 + 20/100 + 25/100 + 13/60 = 1, by hand."""
    values = dict(zip(THM, (100.0, 20.0, 25.0, bromodichloromethane), strict=True))
    judged = combined([{"parameter": code, "value": value} for code, value in values.items()], WHO)
    assert judged[Judged.verdict].to_list() == [verdict]


@pytest.mark.parametrize(
    ("tetra", "tri", "verdict"),
    [
        (("=", 6.0), ("=", 4.0), "pass"),
        (("=", 6.0), ("=", 4.1), "fail"),
        (("<", 0.5), ("<", 0.5), "pass"),
        (("<", 6.0), ("<", 5.0), "undetermined"),
        (("=", 9.9), ("<", 0.2), "undetermined"),
        (("=", 10.1), ("<", 0.2), "fail"),
        ((">", 10.0), ("<", 0.2), "fail"),
        (("absent", None), ("=", 1.0), "undetermined"),
        (("not done", None), ("=", 1.0), "undetermined"),
        (("not done", None), ("=", 10.1), "fail"),
        (("unreadable", None), ("=", 1.0), "undetermined"),
    ],
)
def test_tetrachloroethene_and_trichloroethene_together_are_at_most_10_ug_per_litre(
    tetra: tuple[str, float | None], tri: tuple[str, float | None], verdict: str
) -> None:
    """Directive (EU) 2020/2184, Annex I Part B: sum of the two, 10 µg/L."""
    results = {"tetrachloroethene": tetra, "trichloroethene": tri}
    rows = [{"parameter": code, "sign": sign, "value": value} for code, (sign, value) in results.items()]
    judged = combined(rows, EU)
    assert judged[Judged.parameter].to_list() == [SOLVENTS]
    assert judged[Judged.verdict].to_list() == [verdict]


def test_a_missing_member_leaves_the_sum_open_unless_it_already_fails() -> None:
    low, high = (
        combined([{"parameter": "tetrachloroethene", "value": 4.0}], EU),
        combined([{"parameter": "tetrachloroethene", "value": 10.5}], EU),
    )
    assert low[Judged.verdict].to_list() == [Verdict.UNDETERMINED]
    assert "no result for trichloroethene" in low[Judged.reason].iloc[0]
    assert (low[Judged.compared_low].iloc[0], low[Judged.compared_high].iloc[0]) == (4.0, np.inf)
    assert high[Judged.verdict].to_list() == [Verdict.FAIL]
    assert "no result for trichloroethene" in high[Judged.reason].iloc[0]


def test_a_sample_without_any_member_has_no_row_for_the_sum() -> None:
    assert combined([{"parameter": "lead", "value": 1.0}], EU).empty


def test_an_unusable_member_is_named() -> None:
    rows = [
        {"parameter": "tetrachloroethene", "value": 1.0, "unit": "NTU"},
        {"parameter": "trichloroethene", "value": 1.0},
    ]
    judged = combined(rows, EU)
    assert judged[Judged.verdict].to_list() == [Verdict.UNDETERMINED]
    assert "no usable result for tetrachloroethene" in judged[Judged.reason].iloc[0]


def test_of_several_results_of_one_member_the_largest_counts() -> None:
    rows = [
        {"parameter": "tetrachloroethene", "value": 1.0},
        {"parameter": "tetrachloroethene", "value": 7.0},
        {"parameter": "tetrachloroethene", "sign": "<", "value": 2.0},
        {"parameter": "trichloroethene", "value": 4.0},
    ]
    judged = combined(rows, EU)
    assert judged[Judged.compared_value].to_list() == [11.0]
    assert judged[Judged.verdict].to_list() == [Verdict.FAIL]
    assert "the largest counts, for tetrachloroethene" in judged[Judged.reason].iloc[0]
    unreadable = combined([*rows[:1], {"parameter": "tetrachloroethene", "sign": "unreadable"}, rows[3]], EU)
    assert unreadable[Judged.verdict].to_list() == [Verdict.UNDETERMINED]


def test_samples_are_kept_apart_by_batch_sample_point_and_day() -> None:
    apart: list[dict[str, Any]] = [
        {"sample": "S1", "batch": "B1", "point": "filler", "sampled_at": pd.Timestamp("2024-05-06 08:00")},
        {"sample": "S2", "batch": "B1", "point": "filler", "sampled_at": pd.Timestamp("2024-05-06 08:00")},
        {"sample": "S1", "batch": "B2", "point": "filler", "sampled_at": pd.Timestamp("2024-05-06 08:00")},
        {"sample": "S1", "batch": "B1", "point": "tank", "sampled_at": pd.Timestamp("2024-05-06 08:00")},
        {"sample": "S1", "batch": "B1", "point": "filler", "sampled_at": pd.Timestamp("2024-05-07 08:00")},
    ]
    rows = [row for place, sample in enumerate(apart) for row in nitrogen(10.0 * place, 0.3, **sample)]
    judged = combined(rows, EU)
    assert judged[Judged.compared_value].to_list() == pytest.approx([0.1, 0.3, 0.5, 0.7, 0.9])
    names = [Judged.sample, Judged.batch, Judged.point, Judged.sampled_at]
    expected = readings_of(apart)
    for name in names:
        assert judged[name].to_list() == expected[name].to_list()
    same_day = nitrogen(10.0, 0.3, **apart[0])
    same_day[1]["sampled_at"] = pd.Timestamp("2024-05-06 15:30")
    assert combined(same_day, EU)[Judged.compared_value].to_list() == pytest.approx([0.3])


def test_the_row_of_a_sum_lists_members_and_cells_and_what_is_known() -> None:
    rows = nitrogen(10.0, 0.5)
    rows[1] |= {"sign": "<", "sheet": "Page 2", "cell": "C9"}
    for row in rows:
        row["reported"] = ("<" if "sign" in row else "") + str(row["value"])
    judged = combined(rows, EU).iloc[0]
    assert judged[Judged.reported] == "nitrate 10.0 mg/L as NO3; nitrite <0.5 mg/L as NO2"
    assert judged[Judged.cell] == "B2; Page 2!C9"
    assert (judged[Judged.sign], judged[Judged.value]) == (Sign.EQUAL, 0.2)
    assert judged[Judged.value_high] == pytest.approx(0.2 + 0.5 / 3)
    assert pd.isna(judged[Judged.parameter_text])


def test_a_total_reported_as_such_is_judged_once_and_beside_the_sum(tmp_path: Path) -> None:
    """100 µg/L for the sum of four trihalomethanes: Directive (EU) 2020/2184, Annex I Part B."""
    total = {"parameter": "trihalomethanes_total", "value": 101.0}
    parts = [{"parameter": code, "value": 20.0} for code in THM]
    judged = combined([total, *parts], EU)
    assert judged[Judged.verdict].to_list() == [Verdict.FAIL, Verdict.PASS]
    assert "the total as reported" in judged[Judged.reason].iloc[0]
    limit = {"parameter": "trihalomethanes_total", "upper": "100", "unit": "µg/L"}
    both = write_table(
        tmp_path / "both.csv", {**limit, "rule": "max"}, {**limit, "rule": "sum_max", "members": ";".join(THM)}
    )
    everything = judge(readings_of([{"unit": "µg/L", **total}]), [both], product="tap", on=DAY)
    assert everything[Judged.rule].to_list() == [Rule.MAX]


def test_weights_multiply_the_members_of_a_sum(tmp_path: Path) -> None:
    """Hardness is 2.497 Ca + 4.118 Mg (Standard Methods 2340 B): 50 and 20 mg/L give 207.21, by hand."""
    row = {"parameter": "hardness", "rule": "sum_max", "upper": "207.21", "unit": "mg/L", "class": "acceptability"}
    table = write_table(tmp_path / "w.csv", {**row, "members": "calcium;magnesium", "weights": "2.497;4.118"})
    results = [{"parameter": "calcium", "value": 50.0}, {"parameter": "magnesium", "value": 20.0}]
    judged = combined([{**result, "unit": "mg/L"} for result in results], table, product="tap")
    assert judged[Judged.compared_value].to_list() == pytest.approx([2.497 * 50 + 4.118 * 20])
    assert judged[Judged.verdict].to_list() == [Verdict.PASS]


@settings(max_examples=30, deadline=None)
@given(
    members=st.lists(
        st.tuples(st.sampled_from([Sign.EQUAL, Sign.LESS, Sign.GREATER]), st.floats(0.001, 20)), min_size=2, max_size=2
    ),
    more=st.floats(0, 20),
)
def test_raising_one_member_never_improves_the_verdict_of_the_sum(
    members: list[tuple[Sign, float]], more: float
) -> None:
    codes = ("tetrachloroethene", "trichloroethene")
    order = [Verdict.PASS, Verdict.UNDETERMINED, Verdict.FAIL]
    rows = [{"parameter": code, "sign": s, "value": v} for code, (s, v) in zip(codes, members, strict=True)]
    raised = [rows[0], {**rows[1], "value": members[1][1] + more}]
    before, after = (order.index(Verdict(combined(told, EU)[Judged.verdict].iloc[0])) for told in (rows, raised))
    assert after >= before
