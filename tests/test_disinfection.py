"""Credits of UV and of contact time follow the United States tables, on the safe side and capped."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wqcheck.plant import disinfection
from wqcheck.quantities import read_quantity

TARGETS = st.sampled_from(sorted(disinfection.UV_DOSES))


@pytest.mark.parametrize(
    ("target", "doses"),
    [
        ("cryptosporidium", [1.6, 2.5, 3.9, 5.8, 8.5, 12, 15, 22]),
        ("giardia", [1.5, 2.1, 3.0, 5.2, 7.7, 11, 15, 22]),
        ("virus", [39, 58, 79, 100, 121, 143, 163, 186]),
    ],
)
def test_ultraviolet_table(target: str, doses: list[float]) -> None:
    """40 CFR 141.720(d)(1); EPA UV Disinfection Guidance Manual (2006), table 1.4."""
    credits = [0.5, 1, 1.5, 2, 2.5, 3, 3.5, 4]
    assert disinfection.uv_credit(doses, target) == pytest.approx(credits)
    assert disinfection.uv_credit(np.array(doses) - 0.01, target) == pytest.approx([0, *credits[:-1]])
    assert disinfection.required_uv_dose(credits, target) == pytest.approx(doses)


def test_forty_millijoules_are_no_credit_of_three_logs_against_viruses() -> None:
    """The usual 40 mJ/cm² lamp: 4 log of protozoa, half a log of viruses (same table)."""
    assert disinfection.uv_credit(40, "cryptosporidium") == 4
    assert disinfection.uv_credit(40, "virus") == 0.5


def test_ultraviolet_credit_is_capped_and_not_invented() -> None:
    assert disinfection.uv_credit([1e6, 0.0, np.nan], "giardia") == pytest.approx([4, 0, np.nan], nan_ok=True)
    assert disinfection.required_uv_dose([0, 0.6, 4.1, -1, np.nan], "giardia") == pytest.approx(
        [0, 2.1, np.nan, np.nan, np.nan], nan_ok=True
    )


def test_dose_is_intensity_times_time() -> None:
    """4 mW/cm² for 10 s: 40 mJ/cm², 40,000 µW·s/cm², 400 J/m² (EPA UV Disinfection Guidance Manual)."""
    assert disinfection.uv_dose(4.0, 10.0) == 40.0
    assert read_quantity("40000 uW s/cm2", "dose") == read_quantity("400 J/m2", "dose") == 40.0


def test_giardia_regression() -> None:
    """Smith, Clark, Pierce & Regli (1995), both branches, recomputed."""
    found = disinfection.giardia_ct_free_chlorine(3, [1.2, 1.0], [15, 10], [7.5, 7.0])
    assert found == pytest.approx([100.62, 115.78], rel=1e-4)


@pytest.mark.parametrize(
    ("log", "residual", "warmth", "ph", "table"),
    [
        (3, 1.2, 15, 7.5, 92), (2, 1.0, 15, 7.5, 60), (1.5, 1.0, 0.5, 8.0, 152), (3, 0.4, 0.5, 6.0, 137),
        (3, 1.0, 0.5, 6.0, 148), (3, 2.0, 0.5, 6.0, 165), (1, 0.4, 0.5, 7.0, 65), (1, 0.4, 0.5, 8.0, 92),
    ],
)  # fmt: skip
def test_regression_stays_near_the_table(log: float, residual: float, warmth: float, ph: float, table: float) -> None:
    """Cells of EPA's tables C-1 and C-4 (Disinfection Profiling and Benchmarking), within 10 % and none far below."""
    found = float(disinfection.giardia_ct_free_chlorine(log, residual, warmth, ph))
    assert found == pytest.approx(table, rel=0.10)
    assert found > 0.99 * table


def test_regression_agrees_with_the_older_one() -> None:
    """0.2828 pH^2.69 Cl^0.15 0.933^(T−5) L, the approximation published with the rule of 1989, within 15 %."""
    ph, chlorine, warmth = (grid.ravel() for grid in np.meshgrid([6.5, 7.5, 8.5], [0.6, 1.2, 2.0], [5.0, 10.0, 20.0]))
    older = 0.2828 * ph**2.69 * chlorine**0.15 * 0.933 ** (warmth - 5) * 3
    assert disinfection.giardia_ct_free_chlorine(3, chlorine, warmth, ph) == pytest.approx(older, rel=0.15)


@pytest.mark.parametrize(
    ("target", "agent", "warmth", "published"),
    [
        ("giardia", "chlorine dioxide", 15.0, 19), ("giardia", "ozone", 25.0, 6 * 0.08),
        ("virus", "chlorine dioxide", 5.0, 33.5), ("virus", "chlorine dioxide", 15.0, 16.8),
    ],
)  # fmt: skip
def test_cells_of_the_other_tables(target: str, agent: str, warmth: float, published: float) -> None:
    """EPA table C-8; 0.5 log by ozone at 25 °C is 0.08; viruses as quoted in Appl. Environ. Microbiol. 71 (2005)."""
    assert disinfection.required_ct(target, agent, warmth) == pytest.approx(published, rel=0.01)


@pytest.mark.parametrize("key", disinfection.CT_TABLES)
def test_every_table_falls_as_the_water_warms(key: tuple[str, str]) -> None:
    log, values = disinfection.CT_TABLES[key]
    assert log == disinfection.MOST_CREDIT[key[0]]
    assert len(values) == len(disinfection.CT_TEMPERATURES)
    assert (np.diff(values) < 0).all()


def test_a_temperature_between_columns_takes_the_colder_one() -> None:
    """EPA's instruction: equal to or just below the water's temperature."""
    found = disinfection.required_ct("virus", "free chlorine", [0.1, 4.9, 5.0, 14.9, 40.0, math.nan])
    assert found == pytest.approx([12, 12, 8, 6, 2, math.nan], nan_ok=True)


def test_inactivation_over_segments() -> None:
    """40 CFR 141.534: 30/92 and 70/92 are 1.087, 3.26 log; 100 over a virus CT of 4 is credited 4 log, not 100."""
    giardia = disinfection.inactivation([30, 70], [92, 92], "giardia")
    assert giardia.ratio == pytest.approx(1.08696, abs=1e-4)
    assert giardia.log == pytest.approx(3.26087, abs=1e-4)
    assert giardia.credit == 3.0
    virus = disinfection.inactivation([30, 70], [4, 4], "virus")
    assert virus.log == pytest.approx(100)
    assert virus.credit == 4.0


def test_contact_time_of_a_tank() -> None:
    """EPA's manual: T10 = volume/peak flow × baffling; 30,000 gal at 500 gal/min, poor (0.3), are 18 minutes."""
    volume, flow = read_quantity("30000 gal", "volume"), read_quantity("500 gpm", "flow")
    assert disinfection.contact_time(volume, flow, disinfection.BAFFLING["poor"]) == pytest.approx(18.0)
    assert math.isnan(disinfection.contact_time(volume, 0.0, 0.3))


def test_conditions_that_the_regression_does_not_cover_give_nothing() -> None:
    found = disinfection.giardia_ct_free_chlorine(3, [1.0, 4.1, np.nan, 1.0], [10, 10, 10, 10], [9.1, 7, 7, np.nan])
    assert np.isnan(found).all()
    assert math.isnan(disinfection.inactivation([30, 70], [92, math.nan], "giardia").credit)


@given(st.floats(0, 300), st.floats(0, 300), TARGETS)
def test_more_dose_never_earns_less(one: float, other: float, target: str) -> None:
    low, high = disinfection.uv_credit(sorted([one, other]), target)
    assert low <= high


@given(st.floats(0, 4), TARGETS)
def test_the_dose_asked_for_a_credit_earns_it(credit: float, target: str) -> None:
    assert disinfection.uv_credit(disinfection.required_uv_dose(credit, target), target) >= credit
