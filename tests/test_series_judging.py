"""Verdicts on series follow the regulations' own counting, and nothing bad or unknown ever helps a series."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from tests.limit_rows import table_of
from tests.table_rows import readings_of
from wqcheck.cli import app
from wqcheck.limit_tables.loading import LimitTable, load_limits
from wqcheck.statistics.censored import LeftCensored, NoStatistic, kaplan_meier
from wqcheck.statistics.series_judging import JudgedSeries, Statistic, judge_series
from wqcheck.statistics.series_rules import NonDetects
from wqcheck.tables import Verdict

TAPS = table_of(
    "taps",
    {"parameter": "lead", "rule": "percentile_max", "upper": "0.015", "unit": "mg/L", "clause": "141.80(c)(1)"},
)
AVERAGE = table_of("average", {"parameter": "bromate", "rule": "mean_max", "upper": "80", "unit": "µg/L"})
DAY = date(2026, 1, 1)
ORDER = [Verdict.FAIL, Verdict.UNDETERMINED, Verdict.PASS]
HISTORY = Path(__file__).parent.parent / "sample_results" / "history_2025_2026_wide.csv"


def results(
    parameter: str, texts: str, unit: str, days: Sequence[str | None] = ("2025-02-01",), **others: Any
) -> list[dict[str, Any]]:
    """Return one reading per word of *texts*; the last day stands for the rest."""
    rows = []
    for place, text in enumerate(texts.split()):
        day = days[min(place, len(days) - 1)]
        row = {"parameter": parameter, "reported": text, "unit": unit, "sampled_at": pd.Timestamp(day) if day else None}
        sign = text[0] if text[0] in "<>" else "unreadable" if text == "?" else "="
        rows.append({**row, "sign": sign, "value": None if text == "?" else float(text.lstrip("<>")), **others})
    return rows


def judged(rows: Sequence[dict[str, Any]], *tables: LimitTable, product: str = "tap", **others: Any) -> pd.DataFrame:
    return judge_series(readings_of(rows), tables, product=product, on=DAY, **others)


def only(table: pd.DataFrame) -> dict[str, Any]:
    assert len(table) == 1
    return {str(name): value for name, value in table.iloc[0].items()}


@pytest.mark.parametrize(
    ("texts", "figure", "verdict"),
    [
        ("0.02 0.01 0.006 0.005 0.0 0.015 0.006 0.005 0.002 0.0", 0.015, "pass"),
        ("0.001 0.002 0.003 0.018 0.012", 0.015, "pass"),
        ("0.001 0.002 0.003 0.019 0.012", 0.0155, "fail"),
        ("0.001 0.016", 0.016, "fail"),
    ],
)
def test_ninetieth_percentile_of_taps(texts: str, figure: float, verdict: str) -> None:
    """40 CFR 141.80(c)(3)(i) to (v): number 0.9 n of ten; of five the mean of the two highest; of two the highest.

    The ten results are those of a state's handout, whose later steps copy 0.015 as 0.012.
    """
    row = only(judged(results("lead", texts, "mg/L"), TAPS))
    assert (row["low"], row["high"]) == pytest.approx((figure, figure))
    assert (row["verdict"], row["period"]) == (verdict, "2025-01 to 2025-06")


def test_taps_of_all_points_are_one_series_and_half_years_are_periods_of_their_own() -> None:
    days = ["2025-03-01", "2025-03-02", "2025-09-01"]
    rows = results("lead", "0.001 0.020 0.002", "mg/L", days)
    rows[0]["point"], rows[1]["point"], rows[2]["point"] = "tap 1", "tap 2", "tap 1"
    table = judged(rows, TAPS)
    assert table[["period", "n", "verdict"]].to_numpy().tolist() == [
        ["2025-01 to 2025-06", 2, "fail"],
        ["2025-07 to 2025-12", 1, "pass"],
    ]


@pytest.mark.parametrize(
    ("texts", "low", "high", "verdict"),
    [
        ("<0.015 <0.015", 0, 0.015, "pass"),
        ("<0.020 <0.001", 0, 0.020, "undetermined"),
        ("0.001 ?", 0.001, float("inf"), "undetermined"),
        ("0.016 ?", 0.016, float("inf"), "fail"),
        (">0.016 0.001", 0.016, float("inf"), "fail"),
    ],
)
def test_what_is_not_known_is_counted_at_both_ends(texts: str, low: float, high: float, verdict: str) -> None:
    row = only(judged(results("lead", texts, "mg/L"), TAPS))
    assert (row["low"], row["high"], row["verdict"]) == (low, high, verdict)


def test_a_convention_about_non_detects_can_be_asked_for() -> None:
    rows = results("lead", "<0.020 <0.001", "mg/L")
    for convention, verdict in ((NonDetects.ZERO, "pass"), (NonDetects.HALF, "pass"), (NonDetects.LIMIT, "fail")):
        assert only(judged(rows, TAPS, non_detects=convention))["verdict"] == verdict


def test_running_annual_average_of_quarters() -> None:
    """New York State Department of Health, Annual Water Quality Report guidance, Appendix B: 73, 74, 73, 74 µg/L.

    Unrounded 72.5, 73.75, 72.5 and 73.75, against its level of 80 (40 CFR 141.133(b)(1)(i)).
    """
    days = ["1998-05-01", "1998-08-01", "1998-11-01", "1999-02-01", "1999-05-01", "1999-08-01", "1999-11-01"]
    table = judged(results("bromate", "55 125 65 45 60 120 70", "µg/L", days), AVERAGE)
    assert table["high"].iloc[3:].to_list() == [72.5, 73.75, 72.5, 73.75]
    assert table["verdict"].to_list() == ["undetermined"] * 3 + ["pass"] * 4
    assert table["period"].iloc[-1] == "four quarters to 1999 Q4"


def test_fewer_than_four_quarters_can_exceed_but_not_meet() -> None:
    """40 CFR 141.133(a)(3): exceeded as soon as the year's average would be, were the other quarters nothing."""
    days = ["2025-02-01", "2025-05-01"]
    assert judged(results("bromate", "100 221", "µg/L", days), AVERAGE)["verdict"].to_list() == ["undetermined", "fail"]
    assert judged(results("bromate", "1 1", "µg/L", days), AVERAGE)["verdict"].unique().tolist() == ["undetermined"]


def test_a_screening_row_whose_text_averages_a_year_is_judged_on_the_average() -> None:
    """40 CFR 141.61 and 141.64(a): bromate of 0.010 mg/L counts as the running annual average."""
    days = ["2025-02-01", "2025-05-01", "2025-08-01", "2025-11-01"]
    table = judged(results("bromate", "15 5 5 5", "µg/L", days), load_limits("us_40cfr141_143"))
    average = table[table["statistic"].eq(Statistic.RUNNING_AVERAGE)]
    assert average["high"].iloc[-1] == pytest.approx(0.0075)
    assert average["verdict"].iloc[-1] == "pass"
    share = table[table["statistic"].eq(Statistic.SHARE)]
    assert (share["low"].item(), share["verdict"].item()) == (0.75, "fail")


def test_another_percentile_is_named_by_the_row() -> None:
    row = {"parameter": "turbidity", "rule": "percentile_max", "upper": "0.3", "unit": "NTU", "class": "operational"}
    named, silent = table_of("named", {**row, "status": "percentile 95"}), table_of("silent", row)
    rows = results("turbidity", " ".join(["0.1"] * 19 + ["0.9"]), "NTU")
    assert only(judged(rows, named))["verdict"] == "pass"
    assert only(judged(results("turbidity", " ".join(["0.1"] * 18 + ["0.9"] * 2), "NTU"), named))["verdict"] == "fail"
    assert only(judged(rows, silent))["verdict"] == "undetermined"


@pytest.mark.parametrize(
    ("texts", "verdict"),
    [("<1.1 " * 9 + "5.1", "pass"), ("<1.1 " * 8 + "2.2 3.6", "fail"), ("<1.1", "pass"), ("2.2", "undetermined")],
)
def test_lots_are_judged_by_their_plan_with_its_operating_characteristic(texts: str, verdict: str) -> None:
    """21 CFR 165.110(b)(2)(i)(A)(1); the chances are binomial, as scipy computes them elsewhere."""
    rows = results("total_coliforms", texts, "MPN", volume_ml=100.0, batch="B1")
    row = only(judged(rows, load_limits("us_21cfr165_110b"), product="packaged"))
    assert (row["statistic"], row["period"], row["verdict"]) == (Statistic.PLAN, "batch B1", verdict)
    assert "by MPN the plan accepts 99.6% at 1%, 91.4% at 5%, 73.6% at 10%" in row["reason"]


def test_undated_results_fail_but_never_pass() -> None:
    rows = results("lead", "0.001 0.002", "mg/L", ["2025-02-01", None])
    assert judged(rows, TAPS)["verdict"].unique().tolist() == ["undetermined"]
    assert "fail" in judged(results("lead", "0.020", "mg/L", [None]), TAPS)["verdict"].to_list()
    assert judged(results("bromate", "1 1", "µg/L", [None]), AVERAGE)["verdict"].to_list() == ["undetermined"]


TEXT = st.sampled_from(["0", "0.004", "<0.004", "0.015", "<0.02", "0.016", ">0.01", ">0.02", "?"])
DAYS = st.sampled_from(["2025-02-01", "2025-05-01", "2025-08-01", "2025-11-01", None])
GREATER = {"0": "0.004", "0.004": "0.015", "<0.004": "<0.02", "0.015": "0.016", "<0.02": ">0.01", "0.016": ">0.02",
           ">0.01": ">0.02", ">0.02": ">0.02", "?": "?"}  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(TEXT, DAYS), min_size=1, max_size=8), st.integers(0, 7))
def test_a_larger_result_never_makes_a_series_better(drawn: list[tuple[str, str | None]], place: int) -> None:
    place %= len(drawn)
    greater = [(GREATER[text] if number == place else text, day) for number, (text, day) in enumerate(drawn)]
    mean = table_of("mean", {"parameter": "lead", "rule": "mean_max", "upper": "0.015", "unit": "mg/L"})
    ranks = []
    for rows in (drawn, greater):
        texts = " ".join(text for text, _ in rows)
        table = judged(results("lead", texts, "mg/L", [day for _, day in rows]), TAPS, mean)
        JudgedSeries.validate(table)
        ranks.append([ORDER.index(word) for word in table["verdict"]])
    assert all(second <= first for first, second in zip(*ranks, strict=True))


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(0.001, 1000), min_size=1, max_size=30))
def test_kaplan_meier_without_non_detects_is_the_ordinary_mean(values: list[float]) -> None:
    """Without censoring the product-limit estimate is the empirical distribution (plain algebra, no source)."""
    estimate = kaplan_meier(LeftCensored(np.array(values, dtype=np.float64), np.ones(len(values), dtype=np.bool_)))
    if not isinstance(estimate, NoStatistic):
        assert estimate.mean() == pytest.approx(sum(values) / len(values), rel=1e-9)


def test_the_command_judges_series_and_says_so_by_its_exit_code(tmp_path: Path) -> None:
    out = tmp_path / "judged.csv"
    arguments = ["series", str(HISTORY), "--limits", "us_40cfr141_143", "--product", "tap", "--parameter"]
    result = CliRunner().invoke(app, [*arguments, "lead", "--out", str(out)], catch_exceptions=False)
    assert result.exit_code == 0
    assert "90th percentile of all taps" in result.stdout
    assert list(pd.read_csv(out)) == list(JudgedSeries.to_schema().columns)
    result = CliRunner().invoke(app, [*arguments, "bromate", "--json"], catch_exceptions=False)
    assert result.exit_code == 1
    assert {row["verdict"] for row in json.loads(result.stdout)} == {"pass", "undetermined"}
    train = ["--train", str(HISTORY.parent / "train.toml")]
    assert CliRunner().invoke(app, [*arguments, "lead", *train], catch_exceptions=False).exit_code == 0
