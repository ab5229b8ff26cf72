"""Judging compares what a result can be with what a limit allows, and decides only what follows from that.

Limits written here are invented unless a test names its source; the shipped tables are read where it does.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import periodictable
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pandera.typing import DataFrame

from tests.table_rows import readings_of
from wqcheck.judging.judge import judge, strictest
from wqcheck.judging.rules import JudgingRules
from wqcheck.judging.verdicts import DecisionRule
from wqcheck.limit_tables.checks import COLUMNS
from wqcheck.limit_tables.loading import LimitTable, UnknownProductError, load_limits
from wqcheck.parameters import catalogue
from wqcheck.quality.part_whole import wholes
from wqcheck.tables import Judged, Readings, Sign, Verdict

DAY = date(2024, 5, 6)
INVENTED = {
    "product": "any",
    "class": "health",
    "source": "Invented table for tests",
    "clause": "no. 1",
    "evidence": "memory",
}
LEAD = {"parameter": "lead", "rule": "max", "upper": "0.01", "unit": "mg/L"}
ABSENT = {"parameter": "escherichia_coli", "rule": "absent", "unit": "CFU", "volume_ml": "250"}
PLATE_COUNT = {"parameter": "heterotrophic_plate_count", "rule": "max", "upper": "100", "unit": "CFU", "volume_ml": "1"}
PH = {"parameter": "ph", "rule": "range", "lower": "6.5", "upper": "9.5", "unit": "pH"}
CHLORINE = {"parameter": "free_chlorine", "rule": "min", "lower": "0.2", "unit": "mg/L"}
SODIUM = {"parameter": "sodium", "rule": "max", "upper": "200", "unit": "mg/L"}

Table = Callable[..., LimitTable]


def write_table(path: Path, rows: Sequence[dict[str, str]]) -> LimitTable:
    frame = pd.DataFrame([{**INVENTED, **row} for row in rows]).reindex(columns=list(COLUMNS))
    frame.to_csv(path, index=False)
    return load_limits(path)


@pytest.fixture
def table(tmp_path: Path) -> Table:
    return lambda *rows, name="invented": write_table(tmp_path / f"{name}.csv", rows)


@pytest.fixture(scope="module")
def every_rule(tmp_path_factory: pytest.TempPathFactory) -> LimitTable:
    series = {"parameter": "total_coliforms", "rule": "mean_max", "upper": "1", "unit": "CFU", "volume_ml": "100"}
    plan = {"parameter": "enterococci", "rule": "attribute_plan", "unit": "CFU", "volume_ml": "250"}
    share = {"parameter": "copper", "rule": "percentile_max", "upper": "1.3", "unit": "mg/L"}
    ratio = {"parameter": "nitrate_nitrite_ratio", "rule": "ratio_sum_max", "upper": "1", "unit": "mg/L"}
    ratio |= {"basis": "NO3;NO2", "members": "nitrate;nitrite", "weights": "50;3"}
    rows = [LEAD, ABSENT, PLATE_COUNT, PH, CHLORINE, SODIUM, series, plan, share, ratio]
    return write_table(tmp_path_factory.mktemp("rules") / "every_rule.csv", rows)


def verdicts(judged: DataFrame[Judged]) -> list[str]:
    return judged[Judged.verdict].to_list()


def verdict_of(limits: LimitTable, *, product: str = "purified", **reading: Any) -> str:
    """Return the verdict of one reading that meets one row of *limits*, its table checked on the way."""
    judged = judge(readings_of([reading]), [limits], product=product, on=DAY)
    Judged.validate(judged)
    assert len(judged) == 1
    return str(judged[Judged.verdict].iloc[0])


@pytest.mark.parametrize(("limit_unit", "result_unit"), [("mg/L", "µg/L"), ("µg/L", "mg/L")])
def test_a_result_exactly_at_its_limit_passes_and_the_next_whole_number_fails(
    tmp_path: Path, limit_unit: str, result_unit: str
) -> None:
    """All whole µg/L from 1 to 9,999, in both directions; "shall not exceed" allows the limit itself."""
    sums = {entry.code for entry in wholes()}
    codes = [code for code, entry in catalogue().items() if entry.unit in {"mg/L", "µg/L"} and not entry.bases]
    codes = [code for code in codes if code not in sums]
    numbers = range(1, 10_000)
    own = [codes[number % len(codes)] for number in numbers]
    days = [DAY + timedelta(days=number // len(codes)) for number in numbers]
    limits = write_table(
        tmp_path / "whole.csv",
        [
            {**LEAD, "parameter": code, "unit": limit_unit, "upper": in_unit(number, limit_unit)}
            | {"valid_from": str(day), "valid_to": str(day)}
            for number, code, day in zip(numbers, own, days, strict=True)
        ],
    )
    row = readings_of([{"unit": result_unit, "value": 0.0}])
    sampled = pd.Series(days).astype("datetime64[ns]")
    for step, verdict in ((0, Verdict.PASS), (1, Verdict.FAIL)):
        values = [float(in_unit(number + step, result_unit)) for number in numbers]
        readings = row.loc[[0] * len(values)].reset_index(drop=True)
        readings = readings.assign(parameter=own, value=values, sampled_at=sampled)
        judged = judge(readings, [limits], product="tap", on=DAY)
        assert len(judged) == len(values)
        assert set(verdicts(judged)) == {verdict}


def in_unit(number: int, unit: str) -> str:
    """Write a whole number of µg/L as the decimal text of *unit*."""
    return str(number) if unit == "µg/L" else f"{number // 1000}.{number % 1000:03d}"


RESULTS = st.just(0.0) | st.floats(1e-9, 1.0) | st.floats(1.0, 1e6) | st.integers(0, 300).map(float)
ORDER = [Verdict.PASS, Verdict.UNDETERMINED, Verdict.FAIL]


def ranks_of(rows: list[dict[str, Any]], limits: LimitTable) -> list[int]:
    judged = judge(readings_of(rows), [limits], product="tap", on=DAY)
    return [ORDER.index(Verdict(word)) for word in verdicts(judged)]


@settings(max_examples=60, deadline=None)
@given(
    values=st.lists(RESULTS, min_size=2, max_size=30).map(sorted),
    sign=st.sampled_from([Sign.EQUAL, Sign.LESS, Sign.GREATER]),
    case=st.sampled_from(
        [
            ("lead", "µg/L", None),
            ("sodium", "mg/L", None),
            ("sodium", "meq/L", None),
            ("escherichia_coli", "CFU", 250.0),
        ]
        + [("escherichia_coli", "CFU", 100.0)]
        + [("heterotrophic_plate_count", "CFU", volume) for volume in (0.01, 1.0, 50.0, None)]
    ),
)
def test_a_larger_value_never_gets_a_better_verdict(
    every_rule: LimitTable, values: list[float], sign: Sign, case: tuple[str, str, float | None]
) -> None:
    parameter, unit, volume = case
    rows = [
        {"parameter": parameter, "unit": unit, "volume_ml": volume, "sign": sign, "value": value} for value in values
    ]
    ranks = [
        ORDER.index(Verdict(word)) for word in verdicts(judge(readings_of(rows), [every_rule], product="tap", on=DAY))
    ]
    below_zero = [value == 0 and sign == Sign.LESS for value in values]
    assert [rank for rank, odd in zip(ranks, below_zero, strict=True) if not odd] == sorted(
        rank for rank, odd in zip(ranks, below_zero, strict=True) if not odd
    )


@settings(max_examples=40, deadline=None)
@given(
    values=st.lists(RESULTS, min_size=2, max_size=30).map(sorted),
    sign=st.sampled_from([Sign.EQUAL, Sign.LESS, Sign.GREATER]),
)
def test_a_larger_value_never_gets_a_worse_verdict_under_a_minimum(
    every_rule: LimitTable, values: list[float], sign: Sign
) -> None:
    values = [value for value in values if value > 0 or sign != Sign.LESS]
    rows = [{"parameter": "free_chlorine", "unit": "mg/L", "sign": sign, "value": value} for value in values]
    ranks = [
        ORDER.index(Verdict(word)) for word in verdicts(judge(readings_of(rows), [every_rule], product="tap", on=DAY))
    ]
    assert ranks == sorted(ranks, reverse=True)


@pytest.mark.parametrize(
    "parameter",
    [
        *("lead", "escherichia_coli", "heterotrophic_plate_count", "ph", "free_chlorine", "sodium"),
        *("total_coliforms", "enterococci", "copper", "nitrate"),
    ],
)
@pytest.mark.parametrize(
    ("sign", "value", "unit"),
    [
        *((Sign.EQUAL, None, "usual"), (Sign.LESS, None, "usual"), (Sign.NOT_DONE, None, "usual")),
        *((Sign.UNREADABLE, None, "usual"), (Sign.UNREADABLE, 0.0, "usual"), (Sign.NOT_DONE, 0.0, "usual")),
        *((Sign.EQUAL, 0.3, None), (Sign.EQUAL, -1.0, "usual"), (Sign.EQUAL, 0.3, "bar")),
    ],
)
def test_unknown_blank_unreadable_or_unconvertible_never_passes(
    every_rule: LimitTable, parameter: str, sign: Sign, value: float | None, unit: str | None
) -> None:
    usual = {"escherichia_coli": "CFU", "heterotrophic_plate_count": "CFU", "ph": "pH", "total_coliforms": "CFU"}
    unit = usual.get(parameter, "CFU" if parameter == "enterococci" else "mg/L") if unit == "usual" else unit
    row = {"parameter": parameter, "sign": sign, "value": value, "unit": unit, "volume_ml": 1000.0}
    judged = judge(readings_of([row]), [every_rule], product="purified", on=DAY)
    assert set(verdicts(judged)) <= {Verdict.UNDETERMINED, Verdict.NO_LIMIT}
    assert Verdict.UNDETERMINED in verdicts(judged)


@pytest.mark.parametrize(
    ("sign", "value", "volume", "verdict", "word"),
    [
        ("=", 0, 250, "pass", "in 250 mL meets the limit of none in 250 mL"),
        ("absent", None, 250, "pass", "meets"),
        ("<", 1, 250, "pass", "meets"),
        ("absent", None, 500, "pass", "in 500 mL meets"),
        # 0 in 100 mL does not prove 0 in 250 mL: plain logic of volumes, no source needed
        ("=", 0, 100, "undetermined", "in 100 mL, less than the limit asks for"),
        ("absent", None, 100, "undetermined", "does not prove"),
        ("<", 1, 100, "undetermined", "does not prove"),
        ("absent", None, None, "undetermined", "the volume examined is not stated"),
        # all tubes negative is reported as <1.8 MPN (Standard Methods 9221 C, table for 10-1-0.1 mL), not as none
        ("<", 1.8, 250, "undetermined", "either side"),
        ("=", 1, 250, "fail", "does not meet"),
        ("=", 3, 100, "fail", "does not meet"),
        ("present", None, None, "fail", "does not meet"),
        ("present", None, 100, "fail", "does not meet"),
        (">", None, 100, "fail", "too numerous to count"),
        (">", 200, 250, "fail", "does not meet"),
    ],
)
def test_absence_is_proven_only_in_a_volume_as_large_as_asked_and_presence_in_any(
    table: Table, sign: str, value: float | None, volume: float | None, verdict: str, word: str
) -> None:
    row = {"parameter": "escherichia_coli", "unit": "CFU", "sign": sign, "value": value, "volume_ml": volume}
    judged = judge(readings_of([row]), [table(ABSENT)], product="packaged", on=DAY)
    assert verdicts(judged) == [verdict]
    assert word in judged[Judged.reason].iloc[0]


@pytest.mark.parametrize("sign", ["absent", "present", ">"])
def test_a_worded_count_needs_no_unit(table: Table, sign: str) -> None:
    row: dict[str, Any] = {"parameter": "escherichia_coli", "sign": sign, "volume_ml": 250.0}
    assert verdict_of(table(ABSENT), **row) == (Verdict.PASS if sign == "absent" else Verdict.FAIL)


def test_a_maximum_of_zero_organisms_is_read_as_absence(table: Table) -> None:
    zero = table({**ABSENT, "rule": "max", "upper": "0"})
    row: dict[str, Any] = {"parameter": "escherichia_coli", "unit": "MPN", "value": 0.0}
    assert verdict_of(zero, **row, volume_ml=250.0) == Verdict.PASS
    assert verdict_of(zero, **row, volume_ml=100.0) == Verdict.UNDETERMINED


@pytest.mark.parametrize(
    ("sign", "value", "volume", "verdict", "compared"),
    [
        ("=", 100, 1, "pass", 100.0),
        ("=", 10, 0.1, "pass", 100.0),
        ("=", 11, 0.1, "fail", 110.0),
        ("=", 5000, 50, "pass", 100.0),
        ("=", 0, 0.1, "pass", 10.0),  # less than one in 0.1 mL is less than 10 in 1 mL
        ("=", 0, 0.001, "undetermined", 1000.0),
        ("=", 5, None, "undetermined", None),
        ("=", 5, 0, "undetermined", None),
        (">", 300, 1, "fail", 300.0),
        (">", None, 1, "undetermined", None),
        (">", 50, 1, "undetermined", None),
    ],
)
def test_counts_are_scaled_to_the_volume_of_the_limit(
    table: Table, sign: str, value: float | None, volume: float | None, verdict: str, compared: float | None
) -> None:
    row = {"parameter": "heterotrophic_plate_count", "unit": "CFU", "sign": sign, "value": value, "volume_ml": volume}
    judged = judge(readings_of([row]), [table(PLATE_COUNT)], product="tap", on=DAY)
    assert verdicts(judged) == [verdict]
    found = judged[Judged.compared_value].iloc[0]
    assert (found == compared) or (compared is None and np.isnan(found))


@pytest.mark.parametrize(
    ("row", "sign", "value", "verdict"),
    [
        (LEAD, "<", 0.01, "pass"),
        (LEAD, "<", 0.011, "undetermined"),
        (LEAD, ">", 0.01, "fail"),  # above 0.01 is more than 0.01
        (LEAD, ">", 0.009, "undetermined"),
        (CHLORINE, "=", 0.2, "pass"),
        (CHLORINE, "=", 0.19, "fail"),
        (CHLORINE, "<", 0.2, "fail"),
        (CHLORINE, "<", 0.3, "undetermined"),
        (CHLORINE, ">", 0.2, "pass"),
        (PH, "=", 6.5, "pass"),
        (PH, "=", 9.5, "pass"),
        (PH, "=", 9.51, "fail"),
        (PH, "=", 6.49, "fail"),
        (PH, "<", 6.5, "fail"),
        (PH, "<", 7, "undetermined"),
        (PH, ">", 9.5, "fail"),
        (PH, ">", 8, "undetermined"),
    ],
)
def test_signs_at_and_beside_the_limit(
    table: Table, row: dict[str, str], sign: str, value: float, verdict: str
) -> None:
    assert verdict_of(table(row), parameter=row["parameter"], unit=row["unit"], sign=sign, value=value) == verdict


def test_a_reported_range_passes_only_as_a_whole(table: Table) -> None:
    row: dict[str, Any] = {"parameter": "lead", "unit": "µg/L"}
    ends = {(8.0, 10.0): "pass", (8.0, 10.1): "undetermined", (10.1, 12.0): "fail"}
    for (low, high), verdict in ends.items():
        assert verdict_of(table(LEAD), **row, value=low, value_high=high) == verdict


def test_not_detected_counts_up_to_the_reporting_limit(table: Table) -> None:
    row: dict[str, Any] = {"parameter": "lead", "unit": "µg/L", "sign": "absent"}
    assert verdict_of(table(LEAD), **row, reporting_limit=10.0) == Verdict.PASS
    assert verdict_of(table(LEAD), **row, reporting_limit=20.0) == Verdict.UNDETERMINED
    assert verdict_of(table(LEAD), **row) == Verdict.UNDETERMINED
    assert verdict_of(table(LEAD), parameter="lead", unit="µg/L", sign="<", reporting_limit=5.0) == Verdict.PASS


def test_a_temperature_below_a_stated_value_may_be_below_zero(table: Table) -> None:
    cold = table({"parameter": "temperature", "rule": "min", "lower": "0", "unit": "°C", "class": "operational"})
    assert verdict_of(cold, parameter="temperature", unit="°C", sign="<", value=5.0) == Verdict.UNDETERMINED
    assert verdict_of(cold, parameter="temperature", unit="°C", value=-1.0) == Verdict.FAIL


def test_nitrate_of_unstated_basis_passes_only_on_every_basis(table: Table) -> None:
    """50 mg/L as NO3 is 11.295 mg/L as N (CIAAW abridged standard atomic weights 2021: N 14.007, O 15.999)."""
    nitrate = table({"parameter": "nitrate", "rule": "max", "upper": "50", "unit": "mg/L", "basis": "NO3"})
    as_n = {"parameter": "nitrate", "unit": "mg/L", "basis": "N"}
    assert verdict_of(nitrate, **as_n, value=11.295) == Verdict.PASS
    assert verdict_of(nitrate, **as_n, value=11.296) == Verdict.FAIL
    unstated = {"parameter": "nitrate", "unit": "mg/L"}
    assert verdict_of(nitrate, **unstated, value=11.295) == Verdict.PASS
    assert verdict_of(nitrate, **unstated, value=11.296) == Verdict.UNDETERMINED
    assert verdict_of(nitrate, **unstated, value=50.1) == Verdict.FAIL
    judged = judge(readings_of([{**unstated, "value": 20.0}]), [nitrate], product="tap", on=DAY)
    assert "the basis is not stated" in judged[Judged.reason].iloc[0]


@pytest.mark.parametrize(
    ("parameter", "basis", "limit_basis", "number"),
    [
        ("nitrate", "N", "NO3", 1.0),
        ("nitrite", "N", "NO2", 1.0),
        ("ammonium", "N", "NH4", 1.0),
        ("phosphate", "P", "PO4", 1.0),
        ("silica", "Si", "SiO2", 1.0),
        ("hardness", "Ca", "CaCO3", 1.0),
        ("alkalinity", "HCO3", "CaCO3", 0.5),  # two HCO3 for each CaCO3
    ],
)
def test_bases_convert_by_molar_mass(table: Table, parameter: str, basis: str, limit_basis: str, number: float) -> None:
    """Masses from the periodictable library, whose weights are those of CIAAW; abridged weights agree to 0.02 %."""
    row = {"parameter": parameter, "rule": "max", "upper": "1000", "unit": "mg/L", "basis": limit_basis}
    told = readings_of([{"parameter": parameter, "unit": "mg/L", "basis": basis, "value": 10.0}])
    judged = judge(told, [table(row)], product="tap", on=DAY)
    factor = number * periodictable.formula(limit_basis).mass / periodictable.formula(basis).mass
    assert judged[Judged.compared_value].iloc[0] == pytest.approx(10 * factor, rel=2e-4)
    assert judged[Judged.compared_low].iloc[0] == judged[Judged.compared_high].iloc[0]


def test_milliequivalents_and_millimoles_convert_by_mass_and_charge(table: Table) -> None:
    """Masses from the periodictable library: 1 mmol/L of calcium is 40.078 mg/L, 1 meq/L half of it."""
    limits = table({"parameter": "calcium", "rule": "max", "upper": "100", "unit": "mg/L"})
    rows = [{"parameter": "calcium", "unit": unit, "value": 2.0} for unit in ("mmol/L", "meq/L")]
    compared = judge(readings_of(rows), [limits], product="tap", on=DAY)[Judged.compared_value]
    mass = periodictable.formula("Ca").mass
    assert compared.to_list() == pytest.approx([2 * mass, mass], rel=2e-4)


def test_the_non_binary_statement_with_a_guard_band(table: Table) -> None:
    """ILAC-G8:09/2019, clause 4.2.3 and figure 5, limit 10, U = 1; the limit itself is allowed ("shall not exceed")."""
    limits = table({**SODIUM, "upper": "10"})
    values = [8.9, 9.0, 9.5, 10.0, 10.5, 11.0, 11.2]
    rows = [{"parameter": "sodium", "unit": "mg/L", "value": value, "uncertainty": 1.0} for value in values]
    guarded = judge(
        readings_of(rows), [limits], product="tap", on=DAY, rules=JudgingRules().overridden(DecisionRule.GUARD_BAND)
    )
    expected = ["pass", "pass", "conditional pass", "conditional pass", "conditional fail", "conditional fail", "fail"]
    assert verdicts(guarded) == expected
    simple = judge(readings_of(rows), [limits], product="tap", on=DAY)
    assert verdicts(simple) == ["pass"] * 4 + ["fail"] * 3


def test_the_binary_statement_with_a_guard_band(table: Table) -> None:
    """ILAC-G8:09/2019, clause 4.2.2, limit 10, U = 1: only a result with the guard band to spare is accepted."""
    limits = table({**SODIUM, "upper": "10"})
    rows = [{"parameter": "sodium", "unit": "mg/L", "value": value, "uncertainty": 1.0} for value in (9.0, 9.5, 10.5)]
    rows += [
        {"parameter": "sodium", "unit": "mg/L", "value": 9.5},
        {"parameter": "sodium", "unit": "mg/L", "value": 11.2},
    ]
    found = judge(
        readings_of(rows),
        [limits],
        product="tap",
        on=DAY,
        rules=JudgingRules().overridden(DecisionRule.GUARDED_ACCEPTANCE),
    )
    assert verdicts(found) == ["pass", "fail", "fail", "undetermined", "fail"]
    added = found[Judged.reason].str.contains(", and guarded acceptance needs more than that. U = 1 mg/L")
    assert added.to_list() == [False, True, True, False, False]
    assert "meets, by less than the guard band, the limit" in found[Judged.reason].iloc[1]
    assert "its uncertainty, which the decision rule needs, is not known" in found[Judged.reason].iloc[3]


def test_the_guard_band_follows_the_unit_of_the_limit_and_both_ends_of_a_range(table: Table) -> None:
    """Same rule as above (ILAC-G8:09/2019, clause 4.2.3), applied to each end."""
    limits = table(LEAD, PH)
    lead = {"parameter": "lead", "unit": "µg/L", "uncertainty": 1.0}
    ph = {"parameter": "ph", "unit": "pH", "uncertainty": 0.2}
    rows = [{**lead, "value": 9.0}, {**lead, "value": 9.1}, {**lead, "value": 11.1}]
    rows += [{**ph, "value": value} for value in (6.2, 6.4, 6.6, 6.7, 8.0, 9.4, 9.6)]
    found = judge(
        readings_of(rows), [limits], product="tap", on=DAY, rules=JudgingRules().overridden(DecisionRule.GUARD_BAND)
    )
    near_ph = ["fail", "conditional fail", "conditional pass", "pass", "pass", "conditional pass", "conditional fail"]
    assert verdicts(found) == ["pass", "conditional pass", "fail", *near_ph]


def test_results_are_compared_without_rounding(table: Table) -> None:
    """ASTM E29, absolute method: 0.54 does not meet a maximum of 0.5, though it rounds to it."""
    assert verdict_of(table({**SODIUM, "upper": "0.5"}), parameter="sodium", unit="mg/L", value=0.54) == Verdict.FAIL


def test_rules_on_a_series_are_left_open_for_one_result(every_rule: LimitTable) -> None:
    rows = [
        {"parameter": "total_coliforms", "unit": "CFU", "value": 0.0, "volume_ml": 100.0},
        {"parameter": "enterococci", "unit": "CFU", "value": 0.0, "volume_ml": 250.0},
        {"parameter": "copper", "unit": "mg/L", "value": 0.1},
    ]
    judged = judge(readings_of(rows), [every_rule], product="tap", on=DAY)
    assert set(verdicts(judged)) == {Verdict.UNDETERMINED}
    assert judged[Judged.reason].str.contains("needs a series of results").all()


def test_a_reading_without_a_limit_stands_once_and_says_why(table: Table) -> None:
    guidance = {"parameter": "sodium", "rule": "guidance", "note": "taste"}
    ended = {**LEAD, "parameter": "zinc", "valid_to": "2001-01-01"}
    tap_only = {**LEAD, "parameter": "chloride", "product": "tap"}
    summed = {"parameter": "tetrachloroethene_plus_trichloroethene", "rule": "sum_max", "upper": "10", "unit": "µg/L"}
    summed |= {"members": "tetrachloroethene;trichloroethene"}
    limits = table(LEAD, guidance, ended, tap_only, summed)
    codes = ["sodium", "zinc", "chloride", "iron", None, "trichloroethene"]
    readings = readings_of([{"parameter": code, "unit": "mg/L", "value": 1.0} for code in codes])
    judged = judge(readings, [limits], product="spring", on=DAY)
    alone = judged[judged[Judged.verdict] == Verdict.NO_LIMIT]
    assert alone[Judged.cell].to_list() == readings[Readings.cell].to_list()
    expected = ["guidance on sodium", "zinc was in force", "bound for tap, not for spring", "no limit for iron"]
    expected += ["not recognised", "part of tetrachloroethene_plus_trichloroethene"]
    for reason, words in zip(alone[Judged.reason], expected, strict=True):
        assert words in reason


def test_every_table_is_judged_on_its_own_and_no_reading_is_dropped(table: Table) -> None:
    strict, lax = table({**LEAD, "upper": "0.005"}, name="strict"), table(LEAD, SODIUM, name="lax")
    rows = [{"parameter": code, "unit": "mg/L", "value": 0.006} for code in ("lead", "sodium", "iron", "lead")]
    readings = readings_of(rows)
    judged = Judged.validate(judge(readings, [strict, lax], product="tap", on=DAY))
    assert judged[Judged.table].fillna("-").to_list() == ["strict", "lax", "lax", "-", "strict", "lax"]
    assert verdicts(judged) == ["fail", "pass", "pass", "no limit", "fail", "pass"]
    assert verdicts(judge(readings, [], product="tap", on=DAY)) == ["no limit"] * 4
    worst = Judged.validate(strictest(judged))
    assert verdicts(worst) == ["fail", "pass", "no limit", "fail"]
    assert worst[Judged.cell].to_list() == readings[Readings.cell].to_list()


def test_of_equal_verdicts_the_strictest_has_the_smallest_margin(table: Table) -> None:
    tables = [table({**LEAD, "upper": upper}, name=f"t{place}") for place, upper in enumerate(("0.02", "0.01", "0.05"))]
    judged = judge(readings_of([{"parameter": "lead", "unit": "µg/L", "value": 5.0}]), tables, product="tap", on=DAY)
    assert judged[Judged.margin].to_list() == [0.75, 0.5, 0.9]
    assert strictest(judged)[Judged.table].to_list() == ["t1"]


def test_the_sampling_day_selects_the_row_in_force_and_the_given_day_stands_in() -> None:
    """Lead: 10 µg/L, and 5 µg/L to be met by 12 January 2036 (Directive (EU) 2020/2184, Annex I Part B, note)."""
    limits = load_limits("eu_2020_2184")
    lead = {"parameter": "lead", "unit": "µg/L", "value": 7.0}
    times = [pd.Timestamp("2036-01-11 23:59"), pd.Timestamp("2036-01-12 00:01"), None]
    readings = readings_of([{**lead, "sampled_at": time} for time in times])
    assert verdicts(judge(readings, [limits], product="packaged", on=DAY)) == ["pass", "fail", "pass"]
    later = judge(readings, [limits], product="packaged", on=date(2040, 1, 1))
    assert verdicts(later) == ["pass", "fail", "fail"]


def test_conductivity_is_compared_at_the_limits_reference_temperature() -> None:
    """2,500 µS/cm at 20 °C (Directive (EU) 2020/2184, Annex I Part C) is 2,790 at 25 °C.

    The factor 1.116 for natural water from 20 to 25 °C is that of ISO 7888:1985 (recalled from memory).
    """
    limits = load_limits("eu_2020_2184")
    row = {"parameter": "electrical_conductivity", "unit": "µS/cm"}
    at_25 = {2789.0: "pass", 2791.0: "fail"}
    for value, verdict in at_25.items():
        assert verdict_of(limits, **row, basis="25 °C", value=value) == verdict
    assert verdict_of(limits, **row, basis="20 °C", value=2501.0) == Verdict.FAIL
    assert verdict_of(limits, **row, value=2600.0) == Verdict.UNDETERMINED


def test_bottled_water_is_judged_in_250_ml_and_tap_water_in_100_ml() -> None:
    """E. coli: 0 in 100 mL from the tap, 0 in 250 mL in bottles (Directive (EU) 2020/2184, Annex I Part A)."""
    limits = load_limits("eu_2020_2184")
    row = {"parameter": "escherichia_coli", "unit": "CFU", "value": 0.0, "volume_ml": 100.0}
    assert verdict_of(limits, product="tap", **row) == Verdict.PASS
    assert verdict_of(limits, product="packaged", **row) == Verdict.UNDETERMINED


def test_an_unknown_product_is_refused(every_rule: LimitTable) -> None:
    with pytest.raises(UnknownProductError, match="natural mineral"):
        judge(readings_of([]), [every_rule], product="beer", on=DAY)


def test_judging_leaves_its_input_alone_and_takes_an_empty_table(every_rule: LimitTable) -> None:
    rows = [{"parameter": code, "unit": "mg/L", "value": 1.0} for code in ("lead", "nitrate", "nitrite", "iron")]
    readings = readings_of(rows)
    before, limits_before = readings.copy(deep=True), every_rule.rows.copy(deep=True)
    judged = judge(readings, [every_rule], product="tap", on=DAY)
    strictest(judged)
    pd.testing.assert_frame_equal(readings, before)
    pd.testing.assert_frame_equal(every_rule.rows, limits_before)
    assert Judged.validate(judge(readings_of([]), [every_rule], product="tap", on=DAY)).empty


def test_a_reason_names_numbers_limit_unit_and_clause(table: Table) -> None:
    judged = judge(
        readings_of([{"parameter": "lead", "unit": "µg/L", "value": 12.0, "reported": "12"}]),
        [table(LEAD)],
        product="tap",
        on=DAY,
    )
    assert judged[Judged.reason].iloc[0] == (
        "reported 12 is 0.012 mg/L and does not meet the limit of at most 0.01 mg/L (no. 1)."
    )
    assert judged[Judged.margin].iloc[0] == -0.2


def test_any_single_pesticide_that_a_table_does_not_name_meets_its_row_for_each_pesticide() -> None:
    """Directive (EU) 2020/2184, Annex I Part B: 0.10 µg/L for each pesticide, 0.030 µg/L for aldrin and dieldrin."""
    rows = [
        {"parameter": "atrazine", "value": 0.11, "unit": "µg/L"},
        {"parameter": "atrazine", "value": 0.10, "unit": "µg/L"},
        {"parameter": "dieldrin", "value": 0.04, "unit": "µg/L"},
        {"parameter": "caffeine", "value": 9.0, "unit": "µg/L"},
    ]
    judged = judge(readings_of(rows), [load_limits("eu_2020_2184")], product="packaged", on=DAY)
    assert verdicts(judged) == ["fail", "pass", "fail", "no limit"]
    assert judged[Judged.upper].to_list()[:3] == [0.10, 0.10, 0.03]
