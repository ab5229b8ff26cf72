"""Turns the plan of a production day into suspicions: stages rated below their flow, tanks that run dry or spill."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import pandas as pd

from wqcheck.plant.flow_fit import bottleneck, hourly_balance, rated_against_flow, tank_events
from wqcheck.quantities import in_both_systems
from wqcheck.train.equipment import rated_stages
from wqcheck.train.kinds import MEMBRANE, SOURCE, TANK, cautions
from wqcheck.train.suspects import Case, Evidence, Grade, Suspect

_UNNAMED = "feed pump"
"""Kind whose cautions stand for a part that the train file does not name: pressure and electricity."""

_DRY = (
    "What is asked of it in these hours cannot be given: pumps may draw air, and the line behind it stands still.",
    "Begin with a fuller tank, spread the demand over more hours, or raise the flow that fills it.",
)
_SPILL = (
    "More flows in than is drawn, and treated water is lost.",
    "Stop what fills it at the high level, shift the demand forward, or begin with an emptier tank.",
)


def narrow_stages(case: Case) -> Iterator[Suspect]:
    """Yield the stages whose rating is below the highest flow that the plan asks of them; the narrowest weighs most."""
    if case.plant is None or case.plant.production_day is None:
        return
    rated = rated_against_flow(case.plant.stages or rated_stages(case.train), case.plant.production_day)
    narrowest = bottleneck(rated)
    for row in rated[rated["use"].gt(1) & rated["enough"].eq(False)].to_dict("records"):
        name, peak, most = str(row["stage"]), *(in_both_systems(row[key], "flow") for key in ("peak", "rated"))
        limits = " It is the bottleneck of the product." if name == narrowest else ""
        yield _fit_suspect(
            case, "rated below its flow", name, weight=float(row["use"]),
            title=f"{name} is rated below the flow that is planned for it",
            why=f"Beyond its rating a stage treats worse, wears sooner or trips.{limits}",
            evidence=(Evidence(f"planned peak {peak} ({row['carries']} flow), rated {most}: {row['use']:.0%}",
                               f"{case.plant.path} [flow.hourly]"),),
            check="Compare the rating with its plate and the maker's data; lower the peak, shift what coincides "
            "(backwash and feed), or add a unit.",
        )  # fmt: skip


def failing_tanks(case: Case) -> Iterator[Suspect]:
    """Yield the tanks that run dry or spill in some hour of the plan, with these hours and the volume."""
    if case.plant is None or case.plant.production_day is None:
        return
    day = case.plant.production_day
    capacities = {"raw tank": day.raw_tank.capacity, "product tank": day.product_tank.capacity}
    for (tank, event), rows in tank_events(hourly_balance(day)).groupby(["tank", "event"]):
        volume, (why, check) = float(rows["volume"].sum()), _DRY if event == "runs dry" else _SPILL
        yield _fit_suspect(
            case, f"tank {event}", _tank_stage(case, str(tank)), weight=volume / capacities[str(tank)],
            title=f"The {tank} {event} on the planned day",
            why=why, evidence=(_event_evidence(rows, volume, case.plant.path),), check=check,
        )  # fmt: skip


def _event_evidence(rows: pd.DataFrame, volume: float, path: str) -> Evidence:
    hours = ", ".join(str(hour) for hour in rows["hour"])
    return Evidence(f"{in_both_systems(volume, 'volume')} in hour {hours} (from 0)", f"{path} [flow.hourly]")


def _tank_stage(case: Case, tank: str) -> str:
    """Return the stage that a tank of the balance is: before the membranes, or the first tank behind them."""
    kinds = [stage.kind for stage in case.train.stages]
    turn = kinds.index(MEMBRANE) if MEMBRANE in kinds else len(kinds)
    before, behind = case.train.stages[:turn], case.train.stages[turn:]
    found = [stage.name for stage in behind if stage.kind == TANK]
    if tank == "raw tank":
        found = [stage.name for stage in before if stage.kind == TANK]
        found += [stage.name for stage in before if stage.kind == SOURCE]
    return found[0] if found else tank


def _fit_suspect(case: Case, code: str, name: str, **said: Any) -> Suspect:
    kinds: Mapping[str, str] = {stage.name: stage.kind for stage in case.train.stages}
    return Suspect(code=code, stage=name, grade=Grade.FIT, caution=cautions(kinds.get(name, _UNNAMED)), **said)
