"""Samples before and after a stage are paired by run and time, averaged properly, and keep their uncertainty."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from tests.table_rows import readings_of
from wqcheck.tables import Bound
from wqcheck.train.description import Point, Stage, Train
from wqcheck.train.removal import removal_by_stage

TRAIN = Train(
    name="A train",
    stages=(Stage("filter", "other", "A", "B"),),
    points=(Point("A", "before"), Point("B", "after")),
    product_points=("B",),
)
LEAD = {"parameter": "lead", "unit": "µg/L"}
COUNT = {"parameter": "heterotrophic_plate_count", "unit": "CFU", "volume_ml": 1.0}


def filter_row(*rows: dict[str, Any], train: Train = TRAIN) -> Any:
    """Return the one row of the stage."""
    table = removal_by_stage(readings_of(rows), train)
    return table[table["stage"].eq("filter")].iloc[0]


def test_uncertainty_of_a_quotient_is_that_of_the_published_example() -> None:
    """EURACHEM/CITAC Guide CG 4 (QUAM:2012), 8.2.6, rule 2, from memory: (2.46·4.32)/(6.38·2.99) = 0.56, u = 0.024.

    Outlet 2.46·4.32 and inlet 6.38·2.99 carry the relative uncertainties of their factors, expanded with k = 2.
    """
    outlet, inlet = 2.46 * 4.32, 6.38 * 2.99
    parts = {"o": 0.02 / 2.46, "p": 0.13 / 4.32, "q": 0.11 / 6.38, "r": 0.07 / 2.99}
    row = filter_row(
        {"point": "A", **LEAD, "value": inlet, "uncertainty": 2 * inlet * np.hypot(parts["q"], parts["r"])},
        {"point": "B", **LEAD, "value": outlet, "uncertainty": 2 * outlet * np.hypot(parts["o"], parts["p"])},
    )
    assert 1 - row["removal_percent"] / 100 == pytest.approx(0.56, abs=0.005)
    half = (row["removal_high"] - row["removal_low"]) / 2 / 100
    assert half / 2 == pytest.approx(0.024, abs=0.0005)
    assert (
        f"with the uncertainty of both, {row['removal_low']:.4g} to {row['removal_high']:.4g} % (k = 2)"
        in row["reason"]
    )


def test_uncertainty_of_a_mean_is_that_of_the_published_sum() -> None:
    """EURACHEM/CITAC Guide CG 4 (QUAM:2012), 8.2.6, rule 1, from memory: 0.13, 0.05 and 0.22 combine to 0.26.

    Three results after the stage with these expanded uncertainties, so 0.26/3 for their mean; the inlet has none.
    """
    rows = [{"point": "B", **LEAD, "sample": str(u), "value": 1.0, "uncertainty": u} for u in (0.13, 0.05, 0.22)]
    row = filter_row({"point": "A", **LEAD, "value": 10.0, "uncertainty": 0.0}, *rows)
    half = (row["removal_high"] - row["removal_low"]) / 2 / 100 * 10
    assert half == pytest.approx(0.26 / 3, abs=0.0005)


def test_counts_are_averaged_geometrically_and_concentrations_arithmetically() -> None:
    """Against scipy.stats.gmean; 10, 100 and 1000 have the geometric mean 100 (by definition)."""
    counts = [10.0, 100.0, 1000.0]
    values = [{"point": "A", "value": value, "sample": str(value)} for value in counts]
    counted = filter_row(*(row | COUNT for row in values), {"point": "B", **COUNT, "value": 10.0})
    assert counted["inlet_low"] == pytest.approx(stats.gmean(counts)) == pytest.approx(100)
    assert counted["log_removal"] == pytest.approx(1)
    assert "geometric means of 3 before and 1 after" in counted["reason"]
    weighed = filter_row(*(row | LEAD for row in values), {"point": "B", **LEAD, "value": 37.0})
    assert weighed["inlet_low"] == 370
    assert weighed["removal_percent"] == 90


def test_a_count_not_found_keeps_both_ends_of_the_geometric_mean() -> None:
    """None in 1 mL is 0 to 1: with 100 the mean is 0 to √(1·100) = 10 (by hand)."""
    row = filter_row(
        {"point": "A", **COUNT, "value": 1000.0},
        {"point": "B", **COUNT, "value": 0.0, "sample": "1"},
        {"point": "B", **COUNT, "value": 100.0, "sample": "2"},
    )
    assert (row["outlet_low"], row["outlet_high"]) == (0, pytest.approx(10))
    assert (row["bound"], row["log_removal"]) == (Bound.AT_LEAST, pytest.approx(2))


def test_a_sample_examined_twice_does_not_count_twice() -> None:
    row = filter_row(
        {"point": "A", **LEAD, "sample": "1", "replicate": "a", "value": 10.0},
        {"point": "A", **LEAD, "sample": "1", "replicate": "b", "value": 10.0},
        {"point": "A", **LEAD, "sample": "2", "value": 40.0},
        {"point": "B", **LEAD, "value": 5.0},
    )
    assert row["inlet_low"] == 25
    assert "means of 3 before and 1 after" in row["reason"]


@pytest.mark.parametrize(("hours", "paired"), [(12.0, False), (13.0, True), (24.0, True)])
def test_the_tolerance_decides_what_is_one_occasion(hours: float, paired: bool) -> None:
    rows = (
        {"point": "A", **LEAD, "value": 10.0, "sampled_at": datetime(2025, 5, 1, 20)},
        {"point": "B", **LEAD, "value": 1.0, "sampled_at": datetime(2025, 5, 2, 9)},
    )
    row = filter_row(*rows, train=replace(TRAIN, pairing=hours))
    assert (row["bound"] == Bound.EXACT) == paired
    told = "sampled 2025-05-01 to 2025-05-02" if paired else f"never sampled within {hours:g} h"
    assert told in row["reason"]


def test_a_date_without_time_is_paired_with_any_time_of_that_day() -> None:
    row = filter_row(
        {"point": "A", **LEAD, "value": 10.0, "sampled_at": datetime(2025, 5, 2)},
        {"point": "B", **LEAD, "value": 1.0, "sampled_at": datetime(2025, 5, 2, 17, 30)},
    )
    assert row["removal_percent"] == 90


def test_results_of_one_run_are_paired_before_those_of_another() -> None:
    """Run 2 before the stage is nearer in time, but the outlet is of run 1."""
    row = filter_row(
        {"point": "A", **LEAD, "batch": "R1", "value": 10.0, "sampled_at": datetime(2025, 5, 2, 6)},
        {"point": "A", **LEAD, "batch": "R2", "value": 90.0, "sampled_at": datetime(2025, 5, 2, 9)},
        {"point": "B", **LEAD, "batch": "r1 ", "value": 1.0, "sampled_at": datetime(2025, 5, 2, 9)},
    )
    assert (row["inlet_low"], row["removal_percent"]) == (10, 90)


def test_cumulative_figures_count_from_the_first_inlet() -> None:
    """A tenth is left by each of three stages, so 90, 99 and 99.9 % are removed (by definition)."""
    codes = ["A", "B", "C", "D"]
    train = Train(
        name="Three",
        stages=tuple(Stage(f"to {b}", "other", a, b) for a, b in pairwise(codes)),
        points=tuple(Point(code, f"point {code}") for code in codes),
        product_points=("D",),
    )
    rows = [{"point": code, **LEAD, "value": 1000.0 / 10**place} for place, code in enumerate(codes)]
    table = removal_by_stage(readings_of(rows), train)
    np.testing.assert_allclose(table["cumulative_percent"], [90, 99, 99.9, 99.9])
    np.testing.assert_allclose(table["cumulative_log"], [1, 2, 3, 3])
    assert set(table["cumulative_bound"]) == {Bound.EXACT}
    assert table["outlet_cells"].tolist() == ["Results!B3", "Results!B4", "Results!B5", "Results!B5"]


@pytest.mark.parametrize(("parameter", "word"), [("lead", "release"), ("heterotrophic_plate_count", "growth")])
def test_negative_removal_is_kept_and_named(parameter: str, word: str) -> None:
    common = COUNT if parameter != "lead" else LEAD
    row = filter_row({"point": "A", **common, "value": 10.0}, {"point": "B", **common, "value": 50.0})
    assert row["removal_percent"] == -400
    assert word in row["reason"]


@settings(deadline=None, max_examples=50)
@given(
    st.floats(0.1, 1e4), st.floats(0.1, 1e4), st.floats(0, 0.3), st.floats(0, 0.3), st.floats(-1, 1), st.floats(-1, 1)
)
def test_the_interval_holds_what_the_uncertainties_allow_to_first_order(
    inlet: float, outlet: float, u_in: float, u_out: float, shift_in: float, shift_out: float
) -> None:
    """Moving both results inside their joint uncertainty (an ellipse) stays inside, up to second order."""
    row = filter_row(
        {"point": "A", **LEAD, "value": inlet, "uncertainty": u_in * inlet},
        {"point": "B", **LEAD, "value": outlet, "uncertainty": u_out * outlet},
    )
    length = max(1.0, float(np.hypot(shift_in, shift_out)))
    a, b = shift_in / length * u_in, shift_out / length * u_out
    removal = 100 * (1 - outlet / inlet * (1 + b - a))
    slack = 1e-6 * max(1.0, abs(removal), outlet / inlet * 100)
    assert row["removal_low"] - slack <= removal <= row["removal_high"] + slack or row["removal_high"] > 99.99


def test_results_of_different_runs_show_no_removal() -> None:
    day = {"sampled_at": datetime(2025, 5, 2, 8)}
    inlet = {"point": "A", **LEAD, "value": 10.0, **day}
    rows = [{"point": "B", **LEAD, "value": value, "batch": run, **day} for value, run in ((1.0, "B1"), (9.0, "B2"))]
    for results in ((inlet | {"batch": "B2"}, rows[0]), (inlet, *rows)):
        row = filter_row(*results)
        assert row["bound"] == Bound.UNKNOWN
        assert np.isnan(row["removal_percent"])
        assert np.isnan(row["removal_high"])
        assert "the results are of different runs" in row["reason"]
    assert filter_row(inlet | {"batch": "B1"}, *rows)["removal_percent"] == 90


@pytest.mark.parametrize("undated", ["A", "B"])
def test_a_result_without_a_day_is_paired_with_a_dated_one_only_by_its_run(undated: str) -> None:
    day = {"sampled_at": datetime(2025, 5, 2, 8)}
    rows = [
        {"point": point, **LEAD, "value": value, **({} if point == undated else day)}
        for point, value in (("A", 10.0), ("B", 1.0))
    ]
    row = filter_row(*rows)
    assert (row["bound"], row["removal_percent"]) == (Bound.UNKNOWN, pytest.approx(np.nan, nan_ok=True))
    assert "only one side says when it was sampled" in row["reason"]
    assert filter_row(*(row | {"batch": "B1"} for row in rows))["removal_percent"] == 90


@pytest.mark.parametrize("stated", ["A", "B"])
def test_a_basis_stated_on_one_side_only_shows_no_removal(stated: str) -> None:
    """10 mg/L of nitrate is 2.26 to 10 mg/L as N, so that 2 mg/L after it may be 11 % or 80 % less (by hand)."""
    nitrate = {"parameter": "nitrate", "unit": "mg/L"}
    rows = [
        {"point": point, **nitrate, "value": value, **({"basis": "N"} if point == stated else {})}
        for point, value in (("A", 10.0), ("B", 2.0))
    ]
    row = filter_row(*rows)
    assert row["bound"] == Bound.UNKNOWN
    assert np.isnan(row["removal_percent"])
    assert "only one side states its basis (N)" in row["reason"]
