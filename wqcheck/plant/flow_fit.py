"""Turns the flows of a train over a production day into an hourly balance: tanks, shortfalls, spills, weakest stage.

Water goes: supply → raw tank → treatment and membranes → product tank → filler. Backwash is drawn from the raw tank,
rinsing and cleaning water from the product tank. All flows in m³/h, volumes in m³, one step per hour.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

Floats = npt.NDArray[np.float64]

CARRIES = ("supply", "raw", "feed", "permeate", "delivery")
"""What a stage may carry: what fills the raw tank; raw water drawn (feed and backwash); membrane feed; permeate; what
leaves the product tank."""
_SLACK = 1e-9  # m³/h and m³: rounding of sums


@dataclass(frozen=True, slots=True)
class Tank:
    """A tank: usable volume and level at the start of the day, both in m³."""

    capacity: float
    start: float


@dataclass(frozen=True, slots=True)
class RatedStage:
    """A stage, the flow it is rated for in m³/h, and which of :data:`CARRIES` goes through it."""

    name: str
    rated: float
    carries: str


@dataclass(frozen=True, eq=False, kw_only=True)
class ProductionDay:
    """What is asked of a train, hour by hour.

    ``supply``, ``feed`` (membrane feed when it runs), ``backwash``, ``filler`` and ``rinse`` are arrays of shape (h,)
    in m³/h; ``recovered`` is the membranes' recovery as a fraction.
    """

    raw_tank: Tank
    product_tank: Tank
    recovered: float
    supply: Floats
    feed: Floats
    backwash: Floats
    filler: Floats
    rinse: Floats


class DayTotals(NamedTuple):
    """Volumes of the day in m³; ``waste_to_product`` is all that is not bottled or stored, over what the filler got."""

    supplied: float
    produced: float
    filled: float
    short: float
    wasted: float
    spilled: float
    waste_to_product: float


def hourly_balance(day: ProductionDay) -> pd.DataFrame:
    """Return the balance of each hour.

    Parameters
    ----------
    day : ProductionDay
        Hourly flows asked for.

    Returns
    -------
    pd.DataFrame
        One row per hour with ``hour`` (from 0), ``supply``, ``backwash``, ``feed``, ``permeate``, ``concentrate``,
        ``rinse``, ``filler`` (what was really given), ``backwash_short``, ``feed_short``, ``rinse_short``,
        ``filler_short`` (what was asked beyond that), ``raw_level`` and ``product_level`` (m³ at the end of the
        hour), ``raw_spill`` and ``product_spill``. In each hour a tank first takes in, then gives, then spills, so that
        a tank shown dry is dry on average over the hour. Backwash is served before feed, rinse before filler.
    """
    rows = []
    raw, product = day.raw_tank.start, day.product_tank.start
    for hour, asked in enumerate(zip(day.supply, day.backwash, day.feed, day.rinse, day.filler, strict=True)):
        supply, backwash, feed, rinse, filler = map(float, asked)
        (washed, fed), raw, raw_spill = _through(raw + supply, (backwash, feed), day.raw_tank.capacity)
        permeate = fed * day.recovered
        (rinsed, filled), product, spill = _through(product + permeate, (rinse, filler), day.product_tank.capacity)
        rows.append({
            "hour": hour, "supply": supply, "backwash": washed, "feed": fed, "permeate": permeate,
            "concentrate": fed - permeate, "rinse": rinsed, "filler": filled, "backwash_short": backwash - washed,
            "feed_short": feed - fed, "rinse_short": rinse - rinsed, "filler_short": filler - filled,
            "raw_level": raw, "product_level": product, "raw_spill": raw_spill, "product_spill": spill,
        })  # fmt: skip
    return pd.DataFrame(rows)


def day_totals(balance: pd.DataFrame) -> DayTotals:
    """Return the volumes of a day from its hourly balance; the ratio is NaN where nothing was filled."""
    sums = balance.drop(columns=["hour", "raw_level", "product_level"]).sum()
    spilled = float(sums["raw_spill"] + sums["product_spill"])
    wasted = float(sums["concentrate"] + sums["backwash"] + sums["rinse"])
    filled = float(sums["filler"])
    ratio = (wasted + spilled) / filled if filled > 0 else np.nan
    return DayTotals(
        supplied=float(sums["supply"]),
        produced=float(sums["permeate"]),
        filled=filled,
        short=float(sums["filler_short"]),
        wasted=wasted,
        spilled=spilled,
        waste_to_product=ratio,
    )


def water_closure(day: ProductionDay, balance: pd.DataFrame) -> float:
    """Return supply − (filled + wasted + spilled) − what the tanks gained, in m³; zero but for rounding."""
    totals = day_totals(balance)
    gained = balance["raw_level"].iloc[-1] + balance["product_level"].iloc[-1] - day.raw_tank.start
    gained -= day.product_tank.start
    return float(totals.supplied - totals.filled - totals.wasted - totals.spilled - gained)


def tank_events(balance: pd.DataFrame) -> pd.DataFrame:
    """Return the hours in which something goes wrong at a tank: ``hour``, ``tank``, ``event``, ``volume`` in m³.

    ``runs dry`` when what was asked of it could not be given, ``spills`` when it could not hold what came.
    """
    found = {
        ("raw tank", "runs dry"): balance["backwash_short"] + balance["feed_short"],
        ("raw tank", "spills"): balance["raw_spill"],
        ("product tank", "runs dry"): balance["rinse_short"] + balance["filler_short"],
        ("product tank", "spills"): balance["product_spill"],
    }
    parts = [
        pd.DataFrame({"hour": balance["hour"], "tank": tank, "event": event, "volume": volume})[volume > _SLACK]
        for (tank, event), volume in found.items()
    ]
    return pd.concat(parts, ignore_index=True).sort_values(["hour", "tank"], kind="stable", ignore_index=True)


def asked_flows(day: ProductionDay) -> dict[str, Floats]:
    """Return what the plan asks each stage to carry, by the words of :data:`CARRIES`, m³/h of shape (h,)."""
    return {
        "supply": day.supply,
        "raw": day.feed + day.backwash,
        "feed": day.feed,
        "permeate": day.feed * day.recovered,
        "delivery": day.filler + day.rinse,
    }


def rated_against_flow(stages: tuple[RatedStage, ...], day: ProductionDay) -> pd.DataFrame:
    """Return each stage's rating beside the highest flow that the plan asks of it.

    Returns
    -------
    pd.DataFrame
        ``stage``, ``carries``, ``rated`` and ``peak`` (m³/h), ``use`` (peak over rated), ``enough`` (bool; False also
        where the rating is not known), ``as_product``: the filled flow in m³/h that the rating allows when run all day
        at the day's own shares of backwash, recovery and rinse.
    """
    flows = asked_flows(day)
    sums = {carries: float(flow.sum()) for carries, flow in flows.items()}
    filled = float(day.filler.sum())
    shares = {carries: total / filled if filled > 0 else np.nan for carries, total in sums.items()}
    table = pd.DataFrame({
        "stage": [stage.name for stage in stages],
        "carries": [stage.carries for stage in stages],
        "rated": [stage.rated for stage in stages],
        "peak": [float(flows[stage.carries].max()) for stage in stages],
    })  # fmt: skip
    share = table["carries"].map(shares)
    return table.assign(
        use=table["peak"] / table["rated"].where(table["rated"] > 0),
        enough=table["peak"] <= table["rated"] + _SLACK,
        as_product=table["rated"] / share.where(share > 0),
    )


def bottleneck(rated: pd.DataFrame) -> str:
    """Return the stage whose rating allows the least product, ``""`` where none can be told."""
    known = rated.dropna(subset="as_product").sort_values("as_product", kind="stable")
    return str(known["stage"].iloc[0]) if len(known) else ""


def storage_needed(inflow: npt.ArrayLike, outflow: npt.ArrayLike) -> float:
    """Return the volume in m³ that evens out hourly inflow and outflow (m³/h, equal sums): the range of the difference.

    The mass-diagram method of the textbooks, the level counted from the start of the day.
    """
    level = np.cumsum(np.asarray(inflow, dtype=np.float64) - np.asarray(outflow, dtype=np.float64))
    return float(max(0.0, level.max()) - min(0.0, level.min()))


def _through(held: float, asked: tuple[float, float], capacity: float) -> tuple[tuple[float, float], float, float]:
    """Return what is given to each in turn, what stays in the tank, and what spills."""
    first = min(asked[0], held)
    second = min(asked[1], held - first)
    left = held - first - second
    return (first, second), min(left, capacity), max(0.0, left - capacity)
