"""Removal is what the results show, bounded where a result is censored, and never everything."""

from __future__ import annotations

from datetime import datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.table_rows import readings_of
from wqcheck.tables import Bound
from wqcheck.train.description import Point, Stage, Train, load_train
from wqcheck.train.removal import removal_between, removal_by_stage
from wqcheck.train.removal_words import removal_words

INF = np.inf
SAMPLE = load_train(Path(__file__).parent.parent / "sample_results" / "train.toml")
TURBIDITY = {"parameter": "turbidity", "unit": "NTU"}
PLATE_COUNT = {"parameter": "heterotrophic_plate_count", "unit": "CFU", "volume_ml": 1.0}


def stages_of(*rows: dict[str, Any]) -> pd.DataFrame:
    return removal_by_stage(readings_of(rows), SAMPLE)


def only(*rows: dict[str, Any]) -> Any:
    """Return the one row that these results give."""
    table = stages_of(*rows)
    assert len(table) == 1
    return table.iloc[0]


def censored(text: str) -> dict[str, Any]:
    sign = text[0] if text[0] in "<>" else "="
    return {"reported": text, "sign": sign, "value": float(text.lstrip("<>"))}


# Percent for each log removal, LRV = log10(inlet/outlet): US EPA (2005), Membrane Filtration Guidance Manual,
# EPA 815-R-06-009, and WHO Guidelines for Drinking-water Quality: 1 log is 90 %, 2 log 99 %, 3 log 99.9 % and so on.
LOG_AND_PERCENT = [
    (0.5, 68.377223), (1, 90.0), (1.5, 96.837722), (2, 99.0), (2.5, 99.683772), (3, 99.9), (4, 99.99), (5, 99.999),
    (6, 99.9999),
]  # fmt: skip


def test_percent_and_log_removal_agree_with_the_published_table() -> None:
    logs, percents = np.array(LOG_AND_PERCENT).T
    outlet = 10.0 ** (6 - logs)
    removal = removal_between(1e6, 1e6, outlet, outlet)
    np.testing.assert_allclose(removal.percent, percents, atol=1e-6)
    np.testing.assert_allclose(removal.log_removal, logs, atol=1e-9)
    assert set(removal.bound) == {Bound.EXACT}


# Challenge test: 40 CFR 141.719(a)(7) and (b)(2)(v): LRV = log10(Cf) - log10(Cp), and where nothing is detected in the
# filtrate Cp is the detection limit, so the figure is a lower bound. Feed 1e6 per litre.
@pytest.mark.parametrize(
    ("low", "high", "log", "bound"), [(12, 12, 4.92082, "exact"), (0, 1, 6, "at least"), (0, 10, 5, "at least")]
)
def test_challenge_test_with_and_without_a_detection_in_the_filtrate(
    low: float, high: float, log: float, bound: str
) -> None:
    removal = removal_between(1e6, 1e6, low, high)
    assert removal.log_removal == pytest.approx(log, abs=1e-5)
    assert str(removal.bound) == bound


# 40 CFR 141.719(a)(4) and (b)(2)(iii): the largest feed of a challenge test is 1e4 (bag, cartridge) or 3.16e6
# (membrane) times the detection limit, which caps what can be shown at 4 and 6.5 log.
@pytest.mark.parametrize(("factor", "log"), [(1e4, 4.0), (3.16e6, 6.5)])
def test_the_largest_feed_of_a_challenge_test_caps_the_log_removal(factor: float, log: float) -> None:
    limit = 3.0
    assert removal_between(factor * limit, factor * limit, 0, limit).log_removal == pytest.approx(log, abs=5e-4)


# Interval arithmetic on the definition, worked by hand; no other source.
@pytest.mark.parametrize(
    ("ends", "percent", "bound"),
    [
        ((10, 10, 10, 10), 0, "exact"),
        ((10, 10, 25, 25), -150, "exact"),
        ((10, 10, 0, 2), 80, "at least"),
        ((10, 10, 0, 20), -100, "at least"),
        ((10, INF, 2, 2), 80, "at least"),
        ((10, INF, 0, 2), 80, "at least"),
        ((10, 10, 20, INF), -100, "at most"),
        ((10, 10, 5, INF), 50, "at most"),
        ((0, 10, 20, 20), -100, "at most"),
        ((0, 10, 20, INF), -100, "at most"),
        ((8, 10, 1, 2), 75, "at least"),
        ((8, 10, 20, 30), -100, "at most"),
        ((0, 10, 10, 10), None, "unknown"),
        ((0, 10, 5, 5), None, "unknown"),
        ((0, 10, 0, 2), None, "unknown"),
        ((0, 0, 5, 5), None, "unknown"),
        ((10, INF, 5, INF), None, "unknown"),
        ((10, 10, 0, 0), None, "unknown"),
        ((np.nan, 10, 1, 1), None, "unknown"),
        ((10, 10, np.nan, np.nan), None, "unknown"),
        ((-1, -1, 1, 1), None, "unknown"),
    ],
)
def test_censored_results_give_bounds_or_nothing(ends: tuple[float, ...], percent: float | None, bound: str) -> None:
    removal = removal_between(*ends)
    assert str(removal.bound) == bound
    if percent is None:
        assert np.isnan(removal.percent)
        assert np.isnan(removal.log_removal)
    else:
        assert removal.percent == pytest.approx(percent)
        assert removal.log_removal == pytest.approx(-np.log10(1 - percent / 100))


amounts = st.floats(1e-6, 1e9)


@given(amounts, amounts, st.lists(amounts, min_size=4, max_size=4), st.booleans(), st.booleans())
def test_a_bound_holds_for_every_pair_of_values_it_stands_for(
    inlet: float, outlet: float, spread: list[float], inlet_open: bool, outlet_open: bool
) -> None:
    low_in, high_in = max(0.0, inlet - spread[0]), INF if inlet_open else inlet + spread[1]
    low_out, high_out = max(0.0, outlet - spread[2]), INF if outlet_open else outlet + spread[3]
    removal = removal_between(low_in, high_in, low_out, high_out)
    true = 100 * (1 - outlet / inlet)
    slack = 1e-9 * max(1, abs(true))
    if removal.bound == Bound.AT_LEAST:
        assert true >= removal.percent - slack
    if removal.bound == Bound.AT_MOST:
        assert true <= removal.percent + slack
    assert (removal.bound == Bound.UNKNOWN) == np.isnan(removal.percent)
    assert np.isnan(removal.percent) or removal.percent < 100


def test_whole_columns_are_computed_at_once_and_left_alone() -> None:
    inlet = np.array([[10.0, 20.0], [30.0, 40.0]])
    kept = inlet.copy()
    assert removal_between(inlet, inlet, 1.0, 1.0).percent.shape == (2, 2)
    np.testing.assert_array_equal(inlet, kept)


# A train with censored results, worked by hand from the definition (a non-detect outlet gives a lower bound, a
# non-detect inlet nothing, and growth on carbon stays negative); no other source.
POINTS = ["raw", "media", "carbon", "cartridge", "permeate", "post-carbon", "uv", "filler"]
CENSORED_TRAIN = Train(
    name="A train",
    stages=tuple(Stage(f"to {outlet}", "other", inlet, outlet) for inlet, outlet in pairwise(POINTS)),
    points=tuple(Point(code, f"point {code}") for code in POINTS),
    product_points=("filler",),
)
NOTHING = (None, "unknown")
ALONG_THE_TRAIN = [
    ("turbidity", "NTU", None, ["4.2", "0.38", "0.35", "0.31", "<0.10", "<0.10", "0.11", "<0.10"],
     [(90.95, "exact"), (7.89, "exact"), (11.43, "exact"), (67.74, "at least"), NOTHING, (-10.0, "at most"),
      (9.09, "at least"), (97.62, "at least")]),
    ("iron", "mg/L", None, ["0.42", *["<0.02"] * 7],
     [(95.24, "at least"), *[NOTHING] * 6, (95.24, "at least")]),
    ("free_chlorine", "mg/L", None, ["0.9", "0.8", *["<0.02"] * 6],
     [(11.11, "exact"), (97.5, "at least"), *[NOTHING] * 5, (97.78, "at least")]),
    ("heterotrophic_plate_count", "CFU", 1.0, ["120", "300", "900", "850", "<1", "40", "<1", "2"],
     [(-150.0, "exact"), (-200.0, "exact"), (5.56, "exact"), (99.88, "at least"), (-3900.0, "at most"),
      (97.5, "at least"), (-100.0, "at most"), (98.33, "exact")]),
]  # fmt: skip


@pytest.mark.parametrize(("parameter", "unit", "volume", "texts", "expected"), ALONG_THE_TRAIN)
def test_removal_along_a_train_with_censored_results(
    parameter: str, unit: str, volume: float | None, texts: list[str], expected: list[tuple[float | None, str]]
) -> None:
    common = {"parameter": parameter, "unit": unit, "volume_ml": volume}
    rows = [{"point": point, **common, **censored(text)} for point, text in zip(POINTS, texts, strict=True)]
    table = removal_by_stage(readings_of(rows), CENSORED_TRAIN)
    assert table["stage"].tolist() == [*(stage.name for stage in CENSORED_TRAIN.stages), "whole train"]
    assert table["bound"].tolist() == [bound for _, bound in expected]
    percents = [np.nan if percent is None else percent for percent, _ in expected]
    np.testing.assert_allclose(table["removal_percent"], percents, atol=0.005)


def test_log_removals_of_the_plate_count_are_those_of_the_ratio() -> None:
    rows = [{"point": p, **PLATE_COUNT, **censored(t)} for p, t in zip(POINTS, ALONG_THE_TRAIN[3][3], strict=True)]
    logs = removal_by_stage(readings_of(rows), CENSORED_TRAIN)["log_removal"]
    np.testing.assert_allclose(logs.iloc[[0, 1, 2, 3, 5, 7]], [-0.398, -0.477, 0.025, 2.929, 1.602, 1.778], atol=5e-4)


def test_stages_in_series_multiply_what_is_left() -> None:
    """40, 25, 10 and 98 % in series leave 0.81 %, so 99.19 % and 2.0915 log are removed (by definition, by hand)."""
    left = [1000.0, 600.0, 450.0, 405.0, 8.1]
    places = ["SP1", "SP2", "SP3", "SP4", "SP5"]
    table = stages_of(
        *({"point": place, **TURBIDITY, "value": value} for place, value in zip(places, left, strict=True)),
        {"point": "FP", **TURBIDITY, "value": left[-1]},
    ).set_index("stage")
    single = table["log_removal"].drop("whole train")
    assert table.loc["whole train", "removal_percent"] == pytest.approx(99.19)
    assert table.loc["whole train", "log_removal"] == pytest.approx(2.09151, abs=1e-5)
    assert single.sum() == pytest.approx(2.09151, abs=1e-5)


def test_none_found_counts_as_fewer_than_one_in_the_volume_examined() -> None:
    """850 CFU/mL before and none in 100 mL after: at least log10(850 / 0.01) (40 CFR 141.719(a)(7) for non-detects)."""
    for outlet in ({"sign": "=", "value": 0.0}, {"sign": "absent"}):
        row = only(
            {"point": "SP5", **PLATE_COUNT, "value": 850.0},
            {"point": "SP6", **PLATE_COUNT, "volume_ml": 100.0, **outlet},
        )
        assert row["bound"] == Bound.AT_LEAST
        assert row["log_removal"] == pytest.approx(np.log10(85000))
        assert (row["inlet"], row["outlet"], row["unit"]) == ("850", "<0.01", "CFU/1 mL")
        assert "none found in 100 mL" in row["reason"]


def test_present_counts_as_at_least_one_in_the_volume_examined() -> None:
    rows = (
        {"point": "SP5", **PLATE_COUNT, "value": None, "sign": "present"},
        {"point": "SP6", **PLATE_COUNT, "value": 0.0},
    )
    row = only({**rows[0], "volume_ml": 1.0}, {**rows[1], "volume_ml": 100.0})
    assert (row["bound"], row["removal_percent"], row["inlet"]) == (Bound.AT_LEAST, 99, ">1")
    assert "present in 1 mL counts as at least 1" in row["reason"]


def test_counts_in_different_volumes_are_compared_per_volume() -> None:
    row = only(
        {"point": "SP5", **PLATE_COUNT, "volume_ml": 100.0, "value": 500.0},
        {"point": "SP6", **PLATE_COUNT, "volume_ml": 250.0, "value": 5.0},
    )
    assert row["removal_percent"] == pytest.approx(99.6)
    assert (row["outlet"], row["unit"]) == ("2", "CFU/100 mL")


def test_a_count_without_its_volume_gives_no_figure() -> None:
    row = only(
        {"point": "SP5", **PLATE_COUNT, "volume_ml": None, "value": 500.0},
        {"point": "SP6", **PLATE_COUNT, "value": 5.0},
    )
    assert row["bound"] == Bound.UNKNOWN
    assert "the volume examined is not stated" in row["reason"]


def test_outlets_are_taken_into_the_unit_and_basis_of_the_inlet() -> None:
    """10 mg/L as N is 44.27 mg/L as NO3 (62.004 / 14.007 g/mol, CIAAW abridged standard atomic weights)."""
    lead = only(
        {"point": "SP5", "parameter": "lead", "unit": "µg/L", "value": 10.0},
        {"point": "SP6", "parameter": "lead", "unit": "mg/L", "value": 0.001},
    )
    assert lead["removal_percent"] == 90
    assert lead["outlet"] == "1"
    nitrate = only(
        {"point": "SP5", "parameter": "nitrate", "unit": "mg/L", "basis": "N", "value": 10.0},
        {"point": "SP6", "parameter": "nitrate", "unit": "mg/L", "basis": "NO3", "value": 4.427},
    )
    assert nitrate["removal_percent"] == pytest.approx(90, abs=0.01)
    assert nitrate["unit"] == "mg/L as N"


@pytest.mark.parametrize("unit", ["mg/L", None])
def test_units_that_cannot_be_related_give_no_figure(unit: str | None) -> None:
    row = only({"point": "SP1", **TURBIDITY, "value": 4.0}, {"point": "SP2", **TURBIDITY, "unit": unit, "value": 1.0})
    assert row["bound"] == Bound.UNKNOWN
    assert np.isnan(row["removal_percent"])
    assert "unit" in row["reason"] or "cannot be turned" in row["reason"]


@pytest.mark.parametrize(
    ("inlet", "outlet", "told"),
    [
        ({"value": 1.0}, {"value": 1.0}, "no change"),
        ({"value": 1.0}, {"value": 2.0}, "higher after the stage (negative removal: release"),
        ({"sign": "<", "value": 1.0}, {"value": 2.0}, "higher after the stage (negative removal: release"),
        ({"value": 0.0}, {"value": 1.0}, "nothing to remove: the inlet result is 0"),
        ({"sign": "<", "value": 1.0}, {"sign": "<", "value": 1.0}, "nothing to remove"),
        ({"sign": "<", "value": 1.0}, {"value": 1.0}, "not detected before the stage"),
        ({"value": 1.0}, {"value": 0.0}, "a result of 0 after the stage"),
        ({"value": 1.0}, {"sign": "<"}, "the reporting limit is not stated"),
        ({"value": 1.0}, {"sign": "unreadable"}, "a result cannot be read"),
        ({"sign": ">"}, {"value": 1.0}, "found, but not how much"),
        ({"value": 1.0}, {"sign": "<", "value": 5.0}, "too high to show a removal"),
        ({"sign": ">", "value": 9.0}, {"value": 1.0}, "above the working range before the stage"),
    ],
)
def test_every_figure_says_why_it_is_as_it_is(inlet: dict[str, Any], outlet: dict[str, Any], told: str) -> None:
    assert told in only({"point": "SP1", **TURBIDITY, **inlet}, {"point": "SP2", **TURBIDITY, **outlet})["reason"]


def test_a_non_detect_without_a_number_uses_its_reporting_limit() -> None:
    row = only(
        {"point": "SP1", **TURBIDITY, "value": 4.0}, {"point": "SP2", **TURBIDITY, "sign": "<", "reporting_limit": 0.1}
    )
    assert (row["bound"], row["removal_percent"]) == (Bound.AT_LEAST, 97.5)


def test_sides_are_paired_on_the_latest_day_that_both_have() -> None:
    first, second, third = datetime(2025, 5, 1, 8), datetime(2025, 5, 2, 9), datetime(2025, 5, 3, 9)
    row = only(
        {"point": "SP1", **TURBIDITY, "value": 9.0, "sampled_at": first},
        {"point": "SP1", **TURBIDITY, "value": 4.0, "sampled_at": second},
        {"point": "SP1", **TURBIDITY, "value": 6.0, "sampled_at": datetime(2025, 5, 2, 15)},
        {"point": "SP2", **TURBIDITY, "value": 9.0, "sampled_at": first},
        {"point": "SP2", **TURBIDITY, "value": 1.0, "sampled_at": second},
        {"point": "SP2", **TURBIDITY, "value": 8.0, "sampled_at": third},
    )
    assert row["removal_percent"] == pytest.approx(80)
    assert "sampled 2025-05-02; means of 2 before and 1 after" in row["reason"]


def test_points_never_sampled_on_one_day_give_no_figure() -> None:
    row = only(
        {"point": "SP1", **TURBIDITY, "value": 4.0, "sampled_at": datetime(2025, 5, 1)},
        {"point": "SP2", **TURBIDITY, "value": 1.0, "sampled_at": datetime(2025, 5, 2)},
    )
    assert row["bound"] == Bound.UNKNOWN
    assert np.isnan(row["removal_percent"])
    assert "never sampled within 12 h of each other" in row["reason"]


def test_without_dates_all_results_are_averaged_and_it_is_said() -> None:
    row = only(
        {"point": "SP1", **TURBIDITY, "value": 4.0},
        {"point": "SP1", **TURBIDITY, "value": 6.0},
        {"point": "SP2", **TURBIDITY, "value": 1.0},
    )
    assert row["removal_percent"] == pytest.approx(80)
    assert "sampling date missing; means of 2 before and 1 after" in row["reason"]


def test_days_on_one_side_only_give_no_figure() -> None:
    row = only(
        {"point": "SP1", **TURBIDITY, "value": 4.0, "sampled_at": datetime(2025, 5, 1)},
        {"point": "SP2", **TURBIDITY, "value": 1.0},
    )
    assert row["bound"] == Bound.UNKNOWN
    assert np.isnan(row["removal_percent"])


def test_replicates_of_which_one_is_not_detected_give_a_lower_bound() -> None:
    """Outlets <1 and 3 average to between 1.5 and 2, so 10 before leaves at most 2: at least 80 % (by hand)."""
    row = only(
        {"point": "SP1", **TURBIDITY, "value": 10.0},
        {"point": "SP2", **TURBIDITY, "sign": "<", "value": 1.0},
        {"point": "SP2", **TURBIDITY, "value": 3.0},
    )
    assert (row["bound"], row["removal_percent"], row["outlet"]) == (Bound.AT_LEAST, 80, "1.5–2")


def test_total_and_dissolved_are_never_mixed() -> None:
    iron = {"parameter": "iron", "unit": "mg/L"}
    table = stages_of(
        {"point": "SP1", **iron, "value": 1.0},
        {"point": "SP2", **iron, "value": 0.5, "fraction": "total"},
        {"point": "SP1", **iron, "value": 0.4, "fraction": "dissolved"},
        {"point": "SP2", **iron, "value": 0.1, "fraction": "dissolved"},
    )
    assert sorted(table["removal_percent"]) == [50, 75]
    assert table["reason"].str.startswith("dissolved fraction").sum() == 1


def test_properties_without_a_removal_and_sides_without_a_result_get_no_row() -> None:
    table = stages_of(
        {"point": "SP1", "parameter": "ph", "unit": "pH", "value": 7.0},
        {"point": "SP2", "parameter": "ph", "unit": "pH", "value": 6.0},
        {"point": "SP1", "parameter": "temperature", "unit": "°C", "value": 20.0},
        {"point": "SP2", "parameter": "temperature", "unit": "°C", "value": 10.0},
        {"point": "SP1", **TURBIDITY, "value": 4.0},
        {"point": "SP3", **TURBIDITY, "value": 4.0},
        {"point": "SP2", **TURBIDITY, "sign": "not done"},
        {"point": "nowhere", **TURBIDITY, "value": 4.0},
    )
    assert table.empty
    assert list(table.columns)[:2] == ["stage", "kind"]


@pytest.mark.parametrize("log", [0.3, 1.0, 2.0, 3.0, 4.93, 6.5, 9.0])
def test_a_printed_removal_never_reads_as_everything(log: float) -> None:
    percent = 100 * (1 - 10**-log)
    text = removal_words(percent, log, "at least")
    assert text.startswith("at least ")
    assert float(text.split()[2]) < 100
    assert float(text.split()[2]) == pytest.approx(percent, abs=0.06)
    assert removal_words(np.nan, np.nan, "unknown") == "not determinable"
    assert removal_words(-50.0, -0.176, "exact") == "-50.0 % (-0.18 log)"
