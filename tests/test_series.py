"""Series of readings become one row each, in one unit, with figures only where results carry them."""

from __future__ import annotations

import csv
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner, Result

from tests.table_rows import readings_of
from wqcheck.cli import app, main
from wqcheck.statistics.series import SeriesStatistics, statistics_by_point
from wqcheck.statistics.series_rules import NonDetects
from wqcheck.statistics.series_units import results_of

HISTORY = Path(__file__).resolve().parent.parent / "sample_results" / "history_2025_2026_wide.csv"
DAYS = pd.date_range("2025-07-01", periods=60, freq="7D")


def lead(texts: str, **columns: Any) -> list[dict[str, Any]]:
    """Return readings of lead in µg/L, a week apart, from words like ``<0.2 0.5 >9``."""
    return [
        {
            "parameter": "lead",
            "parameter_text": "Lead",
            "point": "FP",
            "sign": word[0] if word[0] in "<>" else "=",
            "value": float(word.lstrip("<>")),
            "unit": "µg/L",
            "sampled_at": day,
        }
        | columns
        for word, day in zip(texts.split(), DAYS, strict=False)
    ]


def only(rows: Sequence[dict[str, Any]], non_detects: NonDetects = NonDetects.ZERO) -> pd.Series:
    table = statistics_by_point(readings_of(rows), non_detects)
    assert len(table) == 1
    return table.iloc[0]


def test_a_series_without_non_detects_has_the_ordinary_figures() -> None:
    values = [0.3, 0.5, 0.4, 0.9, 0.7, 0.6]
    row = only(lead("0.3 0.5 0.4 0.9 0.7 0.6"))
    assert (row["n"], row["detects"], row["non_detects"], row["unit"]) == (6, 6, 0, "µg/L")
    assert row["mean"] == pytest.approx(np.mean(values))
    assert row["mean_error"] == pytest.approx(np.std(values, ddof=1) / np.sqrt(6))
    assert row["median"] == pytest.approx(np.median(values))
    assert row["mean_low"] == row["mean_high"] == row["mean"]
    assert (row["least"], row["greatest"], row["percentile_95"]) == ("0.3", "0.9", 0.9)
    assert (row["first"], row["last"]) == (DAYS[0], DAYS[5])
    assert (row["running_annual_average"], row["quarters"]) == (pytest.approx(np.mean(values)), 1)
    assert row["reason"] == ""


def test_arsenic_set_through_the_table() -> None:
    """Helsel (2005), ch. 6: Kaplan-Meier mean 0.949 and median 0.70 (from memory); bounds by hand."""
    texts = "<1 <1 1.7 <1 <1 <2 3.2 <2 <2 2.8 <2 <2 <2 <2 <2 0.7 0.9 0.5 0.5 <0.9 0.5 0.7 0.6 1.5"
    row = only(lead(texts))
    assert row["mean"] == pytest.approx(0.949, abs=5e-4)
    assert row["median"] == 0.7
    assert row["mean_low"] == pytest.approx((1.7 + 3.2 + 2.8 + 0.7 * 2 + 0.9 + 0.5 * 3 + 0.6 + 1.5) / 24)
    assert row["mean_high"] == pytest.approx(row["mean_low"] + (4 * 1 + 8 * 2 + 0.9) / 24)
    assert (row["detects"], row["non_detects"], row["least"], row["greatest"]) == (11, 13, "0.5", "3.2")


@pytest.mark.parametrize(
    ("texts", "why", "greatest"),
    [
        ("<0.2 <0.2 <0.5 <0.2", "all 4 results are non-detects, the highest below 0.5", "<0.5"),
        ("<0.2 0.3 <0.2 <0.2 0.4", "only 2 of 5 results are detections, and 3 are needed", "0.4"),
        ("0.2 0.3 0.4 0.5 >9", "1 result(s) are known only from below or as a range", ">9"),
    ],
)
def test_a_series_that_carries_no_estimate_has_bounds_and_a_reason(texts: str, why: str, greatest: str) -> None:
    row = only(lead(texts))
    assert np.isnan([row["mean"], row["median"], row["percentile_95"], row["mean_error"]]).all()
    assert row["mean_low"] < row["mean_high"]
    assert row["reason"].startswith(why)
    assert row["greatest"] == greatest


def test_a_result_above_the_working_range_leaves_the_mean_open_and_gives_no_rule_figure() -> None:
    row = only(lead("0.2 0.3 0.4 0.5 >9"))
    assert row["mean_high"] == np.inf
    assert row["partly_known"] == 1
    assert row["median_low"] == row["median_high"] == 0.4
    assert np.isnan([row["percentile_90"], row["running_annual_average"]]).all()


def test_units_and_bases_become_one_that_most_results_are_in() -> None:
    """1 mg/L nitrogen is 4.427 mg/L nitrate (molar masses 62.004 and 14.007 g/mol, CIAAW)."""
    nitrate = {"parameter": "nitrate", "point": "FP"}
    rows = [
        {**nitrate, "value": 4.0, "unit": "mg/L", "basis": "NO3"},
        {**nitrate, "value": 1.0, "unit": "mg/L", "basis": "N"},
        {**nitrate, "value": 5000.0, "unit": "µg/L", "basis": "NO3"},
        {**nitrate, "value": 6.0, "unit": "mg/L", "basis": "NO3"},
    ]
    row = only(rows)
    assert row["unit"] == "mg/L as NO3"
    assert row["mean"] == pytest.approx((4 + 4.42664 + 5 + 6) / 4, abs=1e-5)
    assert (row["undated"], row["quarters"]) == (4, 0)
    assert "4 undated, not in the running average" in row["reason"]


def test_a_basis_that_nobody_states_is_one_basis_but_may_not_be_mixed_with_a_stated_one() -> None:
    rows = [{"parameter": "nitrate", "value": value, "unit": "mg/L"} for value in (4.0, 5.0, 6.0)]
    assert only(rows)["mean"] == 5
    stated = [{**rows[0], "basis": "NO3"}] * 4
    row = only([*stated, *rows])
    assert row["partly_known"] == 3
    assert np.isnan(row["mean"])


def test_what_cannot_be_used_is_counted_and_named() -> None:
    rows = lead("0.2 0.3 0.4 0.5")
    rows += [{**rows[0], "unit": "furlong"}, {**rows[0], "sign": "not done", "value": None}]
    rows += [{**rows[0], "sign": "<", "value": None}]
    row = only(rows)
    assert (row["n"], row["unusable"], row["detects"]) == (7, 3, 4)
    assert "1 left out, not convertible into the unit of the others" in row["reason"]
    assert "1 left out, not done" in row["reason"]
    assert "1 left out, not detected without a reporting limit" in row["reason"]
    assert row["mean"] == pytest.approx(0.35)


def test_a_series_of_nothing_usable_still_stands_there() -> None:
    row = only([{"parameter": "lead", "sign": "not done", "value": None, "unit": "µg/L"}])
    assert (row["n"], row["unusable"], row["least"]) == (1, 1, "not known")
    assert np.isnan([row["mean_low"], row["percentile_90"]]).all()
    assert row["reason"].startswith("there are no results; 1 left out, not done")


def test_points_and_fractions_are_series_of_their_own_blank_ones_too() -> None:
    rows = lead("1 2 3") + lead("4 5 6", point=None) + lead("7 8 9", fraction="dissolved") + lead("2 3 4", point=None)
    table = statistics_by_point(readings_of(rows))
    assert table["n"].tolist() == [3, 6, 3]
    assert table["mean"].tolist() == [2, 4, 8]
    assert table["point"].isna().tolist() == [False, True, False]


def test_an_analyte_without_a_code_is_a_series_under_its_own_name() -> None:
    rows = [
        {"parameter_text": name, "value": value, "unit": "mg/L"}
        for name in ("Unobtainium", "Kryptonite")
        for value in (1.0, 2.0, 3.0)
    ]
    table = statistics_by_point(readings_of(rows))
    assert table["parameter"].tolist() == ["Unobtainium", "Kryptonite"]
    assert table["mean"].tolist() == [2, 2]


def test_ph_is_not_averaged() -> None:
    """A pH is a logarithm; its mean is no mean of anything measured (common practice, no source)."""
    row = only([{"parameter": "ph", "value": value, "unit": "pH", "sampled_at": DAYS[0]} for value in (6.0, 7.0, 8.0)])
    assert np.isnan([row["mean"], row["mean_low"], row["running_annual_average"]]).all()
    assert row["median"] == 7
    assert "pH is logarithmic and is not averaged" in row["reason"]


def test_organisms_of_which_none_was_found_are_the_number_zero() -> None:
    coliforms = {"parameter": "total_coliforms", "unit": "CFU", "volume_ml": 100.0}
    none = [{**coliforms, "sign": "absent", "value": None}] * 9
    assert "none was found in any of 9 results" in only(none)["reason"]
    assert np.isnan(only(none)["mean"])
    row = only([*none, {**coliforms, "value": 5.0}])
    assert (row["detects"], row["non_detects"], row["unit"]) == (1, 9, "CFU/100 mL")
    assert row["mean"] == row["mean_low"] == row["mean_high"] == 0.5
    assert row["percentile_95"] == 5


def test_rule_figures_follow_the_convention_for_non_detects() -> None:
    """By hand: nine <2 and one 5; the ninth of ten is a non-detect, and a quarter holds all."""
    texts = "<2 " * 9 + "5"
    for convention, ninth, average in (
        (NonDetects.ZERO, 0, 0.5),
        (NonDetects.HALF, 1, 1.4),
        (NonDetects.LIMIT, 2, 2.3),
    ):
        row = only(lead(texts, sampled_at=DAYS[0]), convention)
        assert row["percentile_90"] == ninth
        assert row["running_annual_average"] == pytest.approx(average)


def test_a_leftover_is_told() -> None:
    row = only(lead("<2 <2 <2 <2 <2 <2 3 4 5"))
    assert np.isnan(row["median"])
    assert (row["median_low"], row["median_high"], row["percentile_95"]) == (0, 2, 5)
    assert "the median lies among the non-detects" in row["reason"]
    assert "the lowest 67% count as 2 in the mean" in row["reason"]


RESULTS = st.lists(
    st.tuples(
        st.sampled_from(["=", "=", "<", ">", "absent", "not done"]), st.integers(0, 500), st.sampled_from([1, 1000])
    ),
    min_size=1,
    max_size=25,
)


@settings(max_examples=20, deadline=None)
@given(RESULTS)
def test_every_result_is_counted_once_and_estimates_lie_between_their_bounds(
    results: list[tuple[str, int, int]],
) -> None:
    rows = [
        {"parameter": "lead", "sign": sign, "value": value / 10 * scale, "unit": "mg/L" if scale == 1 else "µg/L"}
        for sign, value, scale in results
    ]
    readings = readings_of(rows)
    before = readings.copy()
    table = SeriesStatistics.validate(statistics_by_point(readings))
    pd.testing.assert_frame_equal(readings, before)
    row = table.iloc[0]
    assert row["n"] == len(rows) == row[["detects", "non_detects", "partly_known", "unusable"]].sum()
    for name in ("mean", "median", "percentile_95"):
        low, value, high = (row[column] for column in (f"{name}_low", name, f"{name}_high"))
        assert np.isnan(low) or low <= high
        assert np.isnan(value) or low - 1e-9 <= value <= high + 1e-9
    if np.isnan(row["mean"]):
        assert row["reason"]


def test_no_readings_give_no_rows() -> None:
    assert statistics_by_point(results_of(readings_of(lead("1 2 3")), "nickel")).empty


def test_readings_are_chosen_by_code_by_name_and_by_point() -> None:
    rows = [*lead("1 2"), {"parameter_text": "Unobtainium", "value": 1.0, "point": "Raw"}]
    readings = readings_of(rows)
    for parameter, point, expected in (
        *(("lead", "", 2), ("Lead (total)", "", 2), ("Blei", "", 2), ("Unobtainium", "", 1), ("zinc", "", 0)),
        *(("", " fp ", 2), ("", "raw", 1), ("lead", "raw", 0), ("", "", 3)),
    ):
        assert len(results_of(readings, parameter, point)) == expected, (parameter, point)


def run(*arguments: object) -> Result:
    return CliRunner().invoke(app, ["series", *(str(argument) for argument in arguments)], catch_exceptions=False)


def column(heading: str) -> list[tuple[float, bool]]:
    with HISTORY.open(encoding="utf-8", newline="") as file:
        cells = [row[heading] for row in csv.DictReader(file)]
    return [(float(cell.lstrip("<")), cell.startswith("<")) for cell in cells]


def test_json_of_the_command_agrees_with_the_file_read_by_hand() -> None:
    """Counts, bounds, days and running average of a year of turbidity, recomputed from the CSV file itself."""
    found = {row["parameter"]: row for row in json.loads(run(HISTORY, "--json").stdout)}
    results = column("Turbidity (NTU)")
    row = found["turbidity"]
    assert (row["n"], row["non_detects"]) == (len(results), sum(below for _, below in results))
    assert row["mean_low"] == pytest.approx(np.mean([0 if below else value for value, below in results]))
    assert row["mean_high"] == pytest.approx(np.mean([value for value, _ in results]))
    assert row["first"].startswith("2025-06-24")
    assert row["last"].startswith("2026-06-16")
    assert row["quarters"] == 4
    days = pd.to_datetime(pd.read_csv(HISTORY)["Sampled"]).dt.to_period("Q")
    quarterly = pd.Series([0 if below else value for value, below in results]).groupby(days).mean()
    assert row["running_annual_average"] == pytest.approx(quarterly.iloc[-4:].mean())
    assert found["escherichia_coli"]["mean"] is None
    assert found["nitrate"]["unit"] == "mg/L as NO3"
    assert found["ph"]["mean"] is None


def test_table_of_the_command_shows_bounds_and_reasons(tmp_path: Path) -> None:
    out = tmp_path / "series.csv"
    result = run(HISTORY, "--parameter", "Lead", "--point", "fp", "--out", out)
    assert result.exit_code == 0
    assert "0.2 [0.02692, 0.2]" in result.stdout
    assert "lead at FP: the median lies among the non-detects" in result.stdout
    assert list(pd.read_csv(out)) == list(SeriesStatistics.to_schema().columns)


def test_the_command_says_when_there_is_nothing() -> None:
    result = run(HISTORY, "--parameter", "nickel")
    assert result.exit_code == 2
    assert "no result is of that parameter and point" in result.stderr


def test_a_word_that_is_no_convention_ends_with_one_sentence(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("sys.argv", ["wqcheck", "series", str(HISTORY), "--non-detects", "none"])
    with pytest.raises(SystemExit) as stop:
        main()
    assert stop.value.code == 2
    assert capsys.readouterr().err.strip() == ("wqcheck: --non-detects takes one of zero, half, limit (given: 'none')")
