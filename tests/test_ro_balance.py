"""What goes into the membranes comes out in permeate and concentrate, or the balance says how much is missing."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from tests.table_rows import readings_of
from wqcheck.batch import take_in
from wqcheck.train.description import load_train
from wqcheck.train.ro_balance import WITHIN, concentrate_balance

SAMPLES = Path(__file__).parent.parent / "sample_results"
TRAIN = load_train(SAMPLES / "train_equipped.toml")
POINTS = ("SP5", "SP6", "CON")


def balance(feed: float, permeate: float, strong: float, recovered: float) -> dict[str, float]:
    rows = [{"point": p, "parameter": "chloride", "unit": "mg/L", "value": v}
            for p, v in zip(POINTS, (feed, permeate, strong), strict=True)]  # fmt: skip
    table = concentrate_balance(readings_of(rows), TRAIN, recovered)
    assert len(table) == 1
    return {str(key): value for key, value in table.iloc[0].items()}


@pytest.mark.parametrize(("recovered", "factor"), [(0.5, 2.0), (0.667, 3.0), (0.75, 4.0), (0.8, 5.0), (0.9, 10.0)])
def test_concentrate_of_membranes_that_keep_everything(recovered: float, factor: float) -> None:
    """Recovery and concentration factor 1/(1 − Y) as every handbook tables them; ASTM D4582 and D3739, 7.1."""
    row = balance(1000.0, 1e-9, 1000 * factor, recovered)
    assert row["closure"] == pytest.approx(0, abs=2e-3)
    assert row["expected"] == pytest.approx(1000 * factor, rel=2e-3)
    assert row["recovery_implied"] == pytest.approx(recovered, abs=1e-3)


def test_a_balance_that_does_not_close_says_by_how_much() -> None:
    """0.7·16 + 0.3·2500 = 761.2 of 1080, so 29.5 % are missing (by hand)."""
    row = balance(1080.0, 16.0, 2500.0, 0.7)
    assert row["closure"] == pytest.approx((761.2 - 1080) / 1080)
    assert abs(row["closure"]) > WITHIN


def test_without_flows_the_recovery_is_implied_and_no_closure_given() -> None:
    row = balance(1000.0, 20.0, 3000.0, math.nan)
    assert np.isnan(row["closure"])
    assert row["recovery_implied"] == pytest.approx(2000 / 2980)


def test_the_sample_balance_closes_within_what_is_usual() -> None:
    readings = take_in([SAMPLES / "commissioning_clean.xlsx"]).readings
    table = concentrate_balance(readings, TRAIN, 0.7)
    sampled = table[table["concentrate"].notna()]
    assert len(sampled) >= 12
    assert sampled["closure"].abs().max() < WITHIN
    assert not {"ph", "heterotrophic_plate_count_22c"} & set(table["parameter"])
