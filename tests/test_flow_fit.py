"""The hourly balance of a production day keeps every litre and finds the tank and the stage that fail."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wqcheck.plant import flow_fit
from wqcheck.plant.flow_fit import ProductionDay, RatedStage, Tank
from wqcheck.quantities import read_quantity

STEADY = ProductionDay(
    raw_tank=Tank(20.0, 10.0), product_tank=Tank(10.0, 5.0), recovered=0.75, supply=np.full(8, 8.0),
    feed=np.full(8, 8.0), backwash=np.zeros(8), filler=np.full(8, 6.0), rinse=np.zeros(8),
)  # fmt: skip
STAGES = (
    RatedStage("media filter", 9.0, "raw"),
    RatedStage("reverse osmosis", 6.0, "permeate"),
    RatedStage("delivery pump", 7.0, "delivery"),
)


def test_a_steady_day_leaves_the_tanks_as_they_were() -> None:
    """Feed 8, recovery 75 %: permeate 6, concentrate 2, and two parts of waste to six of product."""
    balance = flow_fit.hourly_balance(STEADY)
    totals = flow_fit.day_totals(balance)
    assert (balance["raw_level"] == 10).all()
    assert (balance["product_level"] == 5).all()
    assert totals.filled == pytest.approx(48)
    assert totals.waste_to_product == pytest.approx(2 / 6)
    assert flow_fit.tank_events(balance).empty


def test_waste_to_product_of_a_quarter_recovery() -> None:
    """Three litres of concentrate to one of permeate at 25 % recovery (definition)."""
    quarter = replace(STEADY, recovered=0.25, filler=np.full(8, 2.0))
    assert flow_fit.day_totals(flow_fit.hourly_balance(quarter)).waste_to_product == pytest.approx(3.0)


def test_a_filler_that_asks_too_much_runs_the_product_tank_dry() -> None:
    """5 m³ in store and 6 m³/h coming against 8 m³/h: short after two and a half hours."""
    balance = flow_fit.hourly_balance(replace(STEADY, filler=np.full(8, 8.0)))
    events = flow_fit.tank_events(balance)
    assert set(events["tank"] + " " + events["event"]) == {"product tank runs dry"}
    assert events["hour"].min() == 2
    assert events["volume"].sum() == pytest.approx(8 * 2 - 5)
    assert flow_fit.day_totals(balance).short == pytest.approx(11)


def test_a_filler_that_stands_still_makes_the_product_tank_spill() -> None:
    balance = flow_fit.hourly_balance(replace(STEADY, filler=np.zeros(8)))
    events = flow_fit.tank_events(balance)
    assert set(events["tank"] + " " + events["event"]) == {"product tank spills"}
    assert events["hour"].min() == 0
    assert events["volume"].sum() == pytest.approx(48 - 5)
    assert np.isnan(flow_fit.day_totals(balance).waste_to_product)


def test_a_supply_that_fails_starves_the_feed() -> None:
    balance = flow_fit.hourly_balance(replace(STEADY, supply=np.zeros(8)))
    assert balance["feed"].sum() == pytest.approx(10)
    assert "raw tank" in set(flow_fit.tank_events(balance)["tank"])


def test_backwash_goes_before_feed() -> None:
    day = replace(STEADY, supply=np.zeros(8), backwash=np.array([6.0] + [0.0] * 7))
    first = flow_fit.hourly_balance(day).iloc[0]
    assert first["backwash"] == 6
    assert first["feed"] == 4


def test_stages_rated_below_their_flow() -> None:
    day = replace(STEADY, backwash=np.array([0, 0, 0, 4.0, 0, 0, 0, 0]))
    rated = flow_fit.rated_against_flow(STAGES, day).set_index("stage")
    assert not rated.loc["media filter", "enough"]
    assert rated.loc["media filter", "peak"] == 12
    assert rated.loc["reverse osmosis", "enough"]
    assert rated.loc["reverse osmosis", "use"] == pytest.approx(1.0)
    assert flow_fit.bottleneck(rated.reset_index()) == "reverse osmosis"


def test_a_stage_of_unknown_rating_is_not_enough() -> None:
    rated = flow_fit.rated_against_flow((RatedStage("valve", float("nan"), "feed"),), STEADY)
    assert not rated["enough"].any()
    assert flow_fit.bottleneck(rated) == ""


def test_the_weakest_stage_is_the_same_in_either_system() -> None:
    us = tuple(
        RatedStage(stage.name, read_quantity(f"{stage.rated / 0.22712470704} gpm", "flow"), stage.carries)
        for stage in STAGES
    )
    verdicts = [list(flow_fit.rated_against_flow(stages, STEADY)["enough"]) for stages in (STAGES, us)]
    assert verdicts[0] == verdicts[1]


def test_storage_that_evens_out_a_textbook_day() -> None:
    """Metcalf & Eddy, flow equalisation (hourly flows in m³/s, recalled): mean 0.307 m³/s, 4,110 m³ of storage."""
    flows = [
        0.275, 0.220, 0.165, 0.130, 0.105, 0.100, 0.120, 0.205, 0.355, 0.410, 0.425, 0.430,
        0.425, 0.405, 0.385, 0.350, 0.325, 0.325, 0.330, 0.365, 0.400, 0.400, 0.380, 0.345,
    ]  # fmt: skip
    hourly = 3600 * np.array(flows)
    assert hourly.mean() / 3600 == pytest.approx(0.307, abs=5e-4)
    assert flow_fit.storage_needed(hourly, np.full(24, hourly.mean())) == pytest.approx(4110, rel=0.005)


def test_the_storage_needed_is_just_enough() -> None:
    """A tank of the size the mass diagram gives neither spills nor runs dry; one 1 % smaller does."""
    filler = np.array([0.0, 0, 12, 12, 12, 12, 0, 0])
    needed = flow_fit.storage_needed(STEADY.feed * 0.75, filler)
    for size, events in ((needed, 0), (0.99 * needed, 1)):
        start = -float(np.minimum(0, np.cumsum(STEADY.feed * 0.75 - filler)).min())
        day = replace(STEADY, filler=filler, product_tank=Tank(size, min(start, size)))
        assert min(1, len(flow_fit.tank_events(flow_fit.hourly_balance(day)))) == events


HOURS = st.lists(st.floats(0, 30), min_size=6, max_size=6).map(np.array)


@settings(max_examples=60, deadline=None)
@given(HOURS, HOURS, HOURS, HOURS, HOURS, st.floats(0, 0.95))
def test_no_litre_is_lost(
    supply: np.ndarray, feed: np.ndarray, backwash: np.ndarray, filler: np.ndarray, rinse: np.ndarray, recovered: float
) -> None:
    day = ProductionDay(
        raw_tank=Tank(20.0, 10.0), product_tank=Tank(10.0, 5.0), recovered=recovered, supply=supply, feed=feed,
        backwash=backwash, filler=filler, rinse=rinse,
    )  # fmt: skip
    balance = flow_fit.hourly_balance(day)
    assert flow_fit.water_closure(day, balance) == pytest.approx(0, abs=1e-8)
    assert (balance.drop(columns="hour") > -1e-9).all(axis=None)
    assert (balance["product_level"] <= 10 + 1e-9).all()
    assert (balance["filler"] + balance["filler_short"]).to_numpy() == pytest.approx(filler)
