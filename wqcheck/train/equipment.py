"""Turns what stands at each stage into rated flows for the balance, and into loadings of beds and membranes."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

from wqcheck.plant.figures import DEFINITION, PRACTICE, Figure
from wqcheck.plant.flow_fit import ProductionDay, RatedStage, asked_flows, bottleneck, rated_against_flow
from wqcheck.plant.pretreatment import State, empty_bed_contact_time, loading_rate
from wqcheck.plant.readings import PlantReadings
from wqcheck.quantities import in_both_systems
from wqcheck.train.description import Stage, Train
from wqcheck.train.kinds import CARBONS, MEMBRANE, SOURCE, TANK

METERED, PLANNED = FLOW_KNOWN = ("metered", "planned peak")
"""How a flow through a stage is known."""


class StageFlow(NamedTuple):
    """Flow through a stage in m³/h, and whether it is metered or what the plan asks at its peak."""

    value: float
    known: str


def rated_stages(train: Train) -> tuple[RatedStage, ...]:
    """Return the stages that have a rated flow, with all units on duty, and which flow goes through each.

    Where the file does not say what a stage carries: the source the supply; what stands before the first carbon raw
    water, from there to the membranes their feed; the membranes permeate; what follows the tank behind them the
    delivery, and what stands between them and that tank permeate.
    """
    carried = _carried(train.stages)
    return tuple(
        RatedStage(stage.name, stage.equipment.rated_flow * stage.equipment.on_duty, flow)
        for stage, flow in zip(train.stages, carried, strict=True)
        if math.isfinite(stage.equipment.rated_flow)
    )


def _carried(stages: Sequence[Stage]) -> list[str]:
    flow, found = "raw", []
    for stage in stages:
        if stage.kind in CARBONS and flow == "raw":
            flow = "feed"
        if stage.kind == MEMBRANE:
            flow = "permeate"
        usual = "supply" if stage.kind == SOURCE else flow
        found.append(stage.equipment.carries or usual)
        if stage.kind == TANK and flow == "permeate":
            flow = "delivery"
    return found


def stage_flows(train: Train, plant: PlantReadings | None) -> dict[str, StageFlow]:
    """Return the flow through each stage in m³/h, as metered at the membranes or else as the plan asks at its peak.

    Raw water before the carbon is taken as the membranes' feed (backwash is not metered there). A stage of which
    neither is known is left out.
    """
    if plant is None:
        return {}
    table, day = plant.tables.get("membrane", {}), plant.production_day
    planned = {carries: float(flow.max()) for carries, flow in asked_flows(day).items()} if day else {}
    metered = dict.fromkeys(("raw", "feed"), table.get("feed_flow", math.nan))
    metered |= {"permeate": table.get("permeate_flow", math.nan)}
    found = {}
    for stage, carries in zip(train.stages, _carried(train.stages), strict=True):
        read, asked = metered.get(carries, math.nan), planned.get(carries, math.nan)
        flow = StageFlow(read, METERED) if math.isfinite(read) else StageFlow(asked, PLANNED)
        if math.isfinite(flow.value):
            found[stage.name] = flow
    return found


def fit_with_one_more(train: Train, day: ProductionDay) -> tuple[Figure, ...]:
    """Return which part limits the product, and what one more unit there would give and which part limits then.

    Nothing without rated flows. Product is what reaches the filler, in m³/h when the limiting stage runs all day
    (:func:`wqcheck.plant.flow_fit.rated_against_flow`).
    """
    rated = rated_stages(train)
    table = rated_against_flow(rated, day)
    name = bottleneck(table)
    if not name:
        return ()
    units = next(stage.equipment.on_duty for stage in train.stages if stage.name == name)
    grown = tuple(replace(one, rated=one.rated * (units + 1) / units) if one.name == name else one for one in rated)
    then = rated_against_flow(grown, day)
    now, later = (float(one["as_product"].min()) for one in (table, then))
    form = "least of rating/share of the product"
    return (
        Figure(f"product that {name} allows; it limits", now, "flow", form, DEFINITION),
        Figure(f"product with {units + 1} units of {name}", later, "flow", form, DEFINITION, "",
               f"then {bottleneck(then)} limits"),
    )  # fmt: skip


def equipment_figures(train: Train, readings: PlantReadings) -> tuple[Figure, ...]:
    """Return contact times, loadings, flux and pressure beside the ratings, at the flows of the membrane readings."""
    table = readings.tables.get("membrane", {})
    feed, permeate = (table.get(key, math.nan) for key in ("feed_flow", "permeate_flow"))
    pressure = table.get("feed_pressure", math.nan)
    found: list[Figure] = []
    for stage, carried in zip(train.stages, _carried(train.stages), strict=True):
        flow = feed if carried in {"raw", "feed"} else permeate
        found += [*_bed_figures(stage, flow), *_membrane_figures(stage, permeate, pressure)]
    return tuple(found)


def _bed_figures(stage: Stage, flow: float) -> Iterator[Figure]:
    equipment = stage.equipment
    each = flow / equipment.on_duty
    if math.isfinite(equipment.media_volume):
        minutes = float(empty_bed_contact_time(equipment.media_volume, each))
        yield Figure(f"empty-bed contact time of {stage.name}", minutes, "duration", "bed volume/flow", DEFINITION)
    if math.isfinite(equipment.media_area):
        speed = float(loading_rate(each, equipment.media_area))
        yield Figure(f"loading of {stage.name}", speed, "speed", "flow/area", DEFINITION)


def _membrane_figures(stage: Stage, permeate: float, pressure: float) -> Iterator[Figure]:
    equipment = stage.equipment
    if stage.kind != MEMBRANE:
        return
    area = equipment.membranes * equipment.membrane_area * equipment.on_duty
    if area > 0:
        flux = 1000 * permeate / area
        yield Figure(f"flux of {stage.name}, L/(m²·h)", flux, "number", "permeate/(elements · area)", DEFINITION, "",
                     "14 to 27 is usual for well water (common practice, no source)")  # fmt: skip
    if math.isfinite(equipment.rated_pressure):
        known = math.isfinite(pressure)
        word = (State.FINE if pressure <= equipment.rated_pressure else State.DUE) if known else State.UNKNOWN
        yield Figure(f"feed pressure of {stage.name}", pressure, "pressure", "against the rating", PRACTICE, word,
                     f"rated {in_both_systems(equipment.rated_pressure, 'pressure')}")  # fmt: skip
