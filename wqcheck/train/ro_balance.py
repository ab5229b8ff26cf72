"""Turns samples of feed, permeate and concentrate into the balance of each parameter around the membranes."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.plant.membranes import Floats, mass_closure
from wqcheck.tables import Readings
from wqcheck.train.averaging import averaged, in_one_unit
from wqcheck.train.description import Stage, Train
from wqcheck.train.kinds import MEMBRANE
from wqcheck.train.measured import measured
from wqcheck.train.pairing import INLET, OUTLET, on_one_occasion, sides

COLUMNS = [
    "stage",
    "parameter",
    "feed",
    "permeate",
    "concentrate",
    "recovery",
    "closure",
    "recovery_implied",
    "expected",
]
WITHIN = 0.10
"""Closure, as a share of the feed, up to which a balance counts as closed (common practice, no source)."""


def concentrate_balance(readings: DataFrame[Readings], train: Train, recovered: float = math.nan) -> pd.DataFrame:
    """Return the balance around each membrane stage.

    Parameters
    ----------
    readings : DataFrame[Readings]
        Results; paired and averaged as for the removal.
    train : Train
        Its membrane stages may name a point of their concentrate.
    recovered : float
        Permeate over feed flow as a fraction, from the plant's meters; NaN if not known.

    Returns
    -------
    DataFrame
        One row per parameter known exactly in feed and permeate: the three strengths in the feed's unit
        (``concentrate`` NaN where it was not sampled), ``closure`` = (Y·Cp + (1 − Y)·Cc − Cf)/Cf (NaN without
        concentrate or recovery), ``recovery_implied`` = (Cc − Cf)/(Cc − Cp), the recovery that closes the balance, and
        ``expected``, the strength of the concentrate that does at the metered recovery, (Cf − Y·Cp)/(1 − Y).
    """
    tables = [_of_stage(readings, train, stage) for stage in train.stages if stage.kind == MEMBRANE]
    table = pd.concat([pd.DataFrame(columns=COLUMNS[:5]), *(one for one in tables if len(one))], ignore_index=True)
    numbers = ["feed", "permeate", "concentrate"]
    feed, permeate, strong = (table[name].to_numpy(dtype=np.float64) for name in numbers)
    flows: tuple[float, Floats, Floats] = (1.0, np.full(len(table), recovered), np.full(len(table), 1 - recovered))
    span = np.where(strong > permeate, strong - permeate, np.nan)
    return table.astype(dict.fromkeys(numbers, "float64")).assign(
        recovery=recovered,
        closure=mass_closure(flows, (feed, permeate, strong)).fraction,
        recovery_implied=(strong - feed) / span,
        expected=(feed - recovered * permeate) / (1 - recovered),
    )[COLUMNS]


def _of_stage(readings: DataFrame[Readings], train: Train, stage: Stage) -> pd.DataFrame:
    """Return feed, permeate and concentrate of one stage, where they are known exactly."""
    ends = [(stage.inlet, stage.outlet), *([(stage.inlet, stage.concentrate)] if stage.concentrate else [])]
    pairs = pd.DataFrame(ends, columns=[INLET, OUTLET], dtype="str").assign(pair=range(len(ends)))
    rows = sides(measured(readings, train), pairs)
    rows = rows[~rows["counted"] & rows["fraction"].eq("total")]
    if rows.empty:
        return pd.DataFrame(columns=COLUMNS[:5])
    table = averaged(in_one_unit(on_one_occasion(rows, train.pairing)))
    exact = table["low_in"].eq(table["high_in"]) & table["low_out"].eq(table["high_out"]) & ~table["apart"]
    table = table[exact & table["low_in"].gt(0)]
    clean = table[table["pair"].eq(0)].set_index("parameter")
    strong = table[table["pair"].eq(1)].set_index("parameter")["low_out"]
    return pd.DataFrame(
        {
            "stage": stage.name,
            "parameter": clean.index,
            "feed": clean["low_in"].to_numpy(),
            "permeate": clean["low_out"].to_numpy(),
            "concentrate": strong.reindex(clean.index).to_numpy(dtype=np.float64),
        }
    )
