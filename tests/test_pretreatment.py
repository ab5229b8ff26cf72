"""Filters, carbon, cartridges and cleaning triggers follow their standards and the rules of the trade."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wqcheck.plant import pretreatment
from wqcheck.plant.pretreatment import State
from wqcheck.quantities import read_quantity


def test_silt_density_index_of_the_standard() -> None:
    """ASTM D4189-07(2014), sections 8 and 9: (1 − ti/tf)·100/T for four runs."""
    found = pretreatment.silt_density([27, 30, 300, 20], [45, 120, 600, 50], [15, 15, 15, 5])
    assert found.plugging == pytest.approx([40, 75, 50, 60])
    assert found.sdi == pytest.approx([2.6667, 5.0, 3.3333, 12.0], abs=1e-3)
    assert found.reportable.all()


@given(st.floats(0.1, 1e4), st.floats(0.1, 1e6))
def test_a_fifteen_minute_index_never_passes_6_67(first: float, last: float) -> None:
    """ASTM D4189: all plugged is 100 % over 15 minutes; a run plugged above 75 % (5.0) may not be reported."""
    found = pretreatment.silt_density(first, last)
    if last < first:
        assert math.isnan(found.sdi)
        assert not found.reportable
    else:
        assert found.sdi <= 100 / 15
        assert bool(found.reportable) == bool(found.sdi <= 5.0 + 1e-12) or found.plugging == pytest.approx(75)


def test_a_run_plugged_above_three_quarters_is_not_reported() -> None:
    """ASTM D4189: 27 s to 150 s is 82 % plugged; its 5.5 stands, but the run has to be repeated shorter."""
    found = pretreatment.silt_density([27, 27], [150, 108])
    assert found.sdi == pytest.approx([5.4667, 5.0], abs=1e-3)
    assert list(found.reportable) == [False, True]


@pytest.mark.parametrize(("first", "last"), [(0, 45), (-1, 45), (45, 27), (math.nan, 45), (27, math.nan)])
def test_times_that_cannot_be_have_no_index(first: float, last: float) -> None:
    found = pretreatment.silt_density(first, last)
    assert math.isnan(found.sdi)
    assert not found.reportable


def test_contact_time_in_both_systems() -> None:
    """A cubic foot holds 7.48 gal, so 10 ft³ at 7.48 gal/min are 10 minutes (handbook rule EBCT = 7.48 V/Q)."""
    metric = pretreatment.empty_bed_contact_time(2.0, 12.0)
    assert metric == pytest.approx(10.0)
    us = pretreatment.empty_bed_contact_time(read_quantity("10 ft3", "volume"), read_quantity("7.48052 gpm", "flow"))
    assert us == pytest.approx(10.0, rel=1e-5)


def test_filter_loading_in_both_systems() -> None:
    """2 gal/min/ft² is 4.9 m/h (Recommended Standards for Water Works state filter rates so)."""
    assert pretreatment.loading_rate(8.6, 2.0) == pytest.approx(4.3)
    us = pretreatment.loading_rate(read_quantity("20 gpm", "flow"), read_quantity("10 ft2", "area"))
    assert us == pytest.approx(4.9, abs=0.02)
    assert us == pytest.approx(read_quantity("2 gpm/ft2", "speed"))
    assert np.isnan(pretreatment.loading_rate(8.6, [0.0, -1.0, np.nan])).all()


def test_cartridges_by_pressure_drop() -> None:
    """8 to 10 psi over a cartridge filter (common practice, no source); both systems say the same."""
    psi = [7.9, 8.0, 9.9, 10.0, 30.0]
    expected = [State.FINE, State.WATCH, State.WATCH, State.DUE, State.DUE]
    assert list(pretreatment.change_out_state([read_quantity(f"{drop} psi", "pressure") for drop in psi])) == expected
    bars = [read_quantity(f"{drop * 0.0689476} bar", "pressure") for drop in (7.9, 9.9, 10.001)]
    assert list(pretreatment.change_out_state(bars)) == [State.FINE, State.WATCH, State.DUE]


@pytest.mark.parametrize("drop", [math.nan, -1.0])
def test_a_drop_that_is_not_known_is_never_within(drop: float) -> None:
    assert pretreatment.change_out_state(drop) == State.UNKNOWN


def test_days_to_change_out_on_a_line() -> None:
    """20 kPa and 2 kPa a day: 60 kPa ten days after the last reading; a lost reading changes nothing."""
    days, drops = [0.0, 2.0, 5.0, 10.0], [20.0, 24.0, np.nan, 40.0]
    trend = pretreatment.days_to_change_out(days, drops, 60.0)
    assert trend.slope == pytest.approx(2.0)
    assert trend.days == pytest.approx(10.0)


@pytest.mark.parametrize(
    ("days", "drops", "left"),
    [
        ([0, 7, 14], [30, 30, 30], math.inf), ([0, 7, 14], [30, 28, 26], math.inf), ([0, 7], [30, 80], 0.0),
        ([3, 3], [30, 40], math.nan), ([], [], math.nan), ([0], [30], math.nan),
    ],
)  # fmt: skip
def test_days_to_change_out_where_there_is_no_line(days: list[float], drops: list[float], left: float) -> None:
    assert pretreatment.days_to_change_out(days, drops, 69.0).days == pytest.approx(left, nan_ok=True)


def test_cleaning_triggers() -> None:
    """−10 % flow, +5 to 10 % salt passage, +15 % differential pressure (common practice, no source)."""
    states = pretreatment.cleaning_states([-0.099, -0.10, 0.05], [0.049, 0.05, 0.10], [0.149, 0.15, np.nan])
    assert list(states["flow"]) == [State.FINE, State.DUE, State.FINE]
    assert list(states["passage"]) == [State.FINE, State.WATCH, State.DUE]
    assert list(states["differential"]) == [State.FINE, State.DUE, State.UNKNOWN]
    own = pretreatment.cleaning_states(-0.10, 0.0, 0.0, {"flow": -0.15})
    assert own["flow"] == State.FINE
