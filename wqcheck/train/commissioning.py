"""Turns results, a train, plant readings and expectations into everything that a commissioning report says."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.findings import Finding
from wqcheck.plant.figures import (
    CAUTION,
    Figure,
    disinfection_figures,
    membrane_figures,
    pretreatment_figures,
)
from wqcheck.plant.membranes import recovery
from wqcheck.plant.readings import NEEDED, PlantReadings
from wqcheck.plant.service import service_figures
from wqcheck.plant.water_figures import fit_figures, scaling_figures
from wqcheck.quality.controls_apart import is_control
from wqcheck.tables import Readings, StageVerdicts
from wqcheck.train.description import Train, assign_stages
from wqcheck.train.equipment import equipment_figures, fit_with_one_more, rated_stages
from wqcheck.train.expectations import ExpectationTable
from wqcheck.train.kinds import CARTRIDGE, PREVAILS
from wqcheck.train.look_first import look_here_first
from wqcheck.train.removal import removal_by_stage
from wqcheck.train.ro_balance import concentrate_balance
from wqcheck.train.stage_verdicts import feed_against_limits, judge_stages
from wqcheck.train.suspects import Case, Suspect
from wqcheck.train.suspects_plant import age_figures, sampled_on

CAUTIONS = (
    "Work on a treatment train can hurt: pressure, chemicals, electricity, UV light. Each entry names the hazards of "
    f"its stage. {PREVAILS}",
    CAUTION,
    "What is usual comes from the table of expectations, most of it common practice; a verdict is no guarantee of the "
    "stage and says nothing of the fitness of the water for drinking.",
)
REJECTION = (
    "Percent removed of membranes is the nominal rejection, 100 (1 − permeate/feed), against the feed; against the "
    "mean of the feed channel it would be higher."
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CommissioningReport:
    """What was found out about a train.

    ``figures`` is chapter → figures; ``remarks`` says which chapters could not be computed and what they need;
    ``balance`` is the concentrate balance (:func:`wqcheck.train.ro_balance.concentrate_balance`).
    """

    train: Train
    stages: DataFrame[StageVerdicts]
    suspects: tuple[Suspect, ...]
    feeds: pd.DataFrame
    balance: pd.DataFrame
    figures: Mapping[str, tuple[Figure, ...]]
    remarks: tuple[str, ...]
    findings: tuple[Finding, ...]
    plant: PlantReadings | None
    expectations: ExpectationTable


def commission(
    readings: DataFrame[Readings],
    train: Train,
    expectations: ExpectationTable,
    *,
    plant: PlantReadings | None = None,
    findings: Sequence[Finding] = (),
) -> CommissioningReport:
    """Return everything that the report says.

    Parameters
    ----------
    readings : DataFrame[Readings]
        The laboratory's results, stages not yet assigned; blanks, spikes and standards are left out.
    train : Train
        The plant's train.
    expectations : ExpectationTable
        What each kind of stage usually does.
    plant : PlantReadings, optional
        Readings of the plant; without them only the laboratory's results are looked at.
    findings : sequence of Finding, optional
        What reading the workbooks found; carried on.
    """
    water = Readings.validate(readings[is_control(readings) == np.False_])
    placed, places = assign_stages(water, train)
    stages = judge_stages(removal_by_stage(placed, train), expectations.rows, train)
    feeds = feed_against_limits(placed, train, expectations.rows)
    case = Case(train=train, readings=placed, stages=stages, feeds=feeds, plant=plant)
    figures, remarks = plant_figures(train, plant)
    aged = tuple(age_figures(case, sampled_on(case)))
    if aged:
        figures["Service"] = (*figures.get("Service", ()), *aged)
    return CommissioningReport(
        train=train,
        stages=stages,
        suspects=look_here_first(case),
        feeds=feeds,
        balance=concentrate_balance(placed, train, _recovery(plant)),
        figures=figures,
        remarks=remarks,
        findings=(*findings, *places),
        plant=plant,
        expectations=expectations,
    )


def plant_figures(train: Train, plant: PlantReadings | None) -> tuple[dict[str, tuple[Figure, ...]], tuple[str, ...]]:
    """Return the working figures by chapter, and what each chapter that is missing needs."""
    if plant is None:
        return {}, ("Membranes, service and fit were not looked at: no plant readings were given.",)
    if not plant.stages:
        plant = replace(plant, stages=rated_stages(train))
    chapters = {
        "Membranes": (membrane_figures, _whole(plant, "membrane"), "membrane"),
        "Scaling of the concentrate": (scaling_figures, "feed_water" in plant.tables, "feed_water"),
        "Before the membranes": (pretreatment_figures, "pretreatment" in plant.tables, "pretreatment"),
        "Disinfection": (disinfection_figures, "disinfection" in plant.tables, "disinfection"),
        "Fit in flow": (fit_figures, plant.production_day is not None, "flow"),
    }
    found = {name: make(plant) for name, (make, there, _) in chapters.items() if there}
    remarks = [
        f"{name} was not computed: the plant readings have no complete table [{table}]."
        for name, (_, there, table) in chapters.items()
        if not there
    ]
    limits = [stage.equipment.change_out for stage in train.stages if stage.kind == CARTRIDGE]
    stated = [limit for limit in limits if math.isfinite(limit)]
    found["Service"] = service_figures(plant, *stated[:1])
    found["Equipment"] = equipment_figures(train, plant)
    if plant.production_day is not None:
        found["Fit in flow"] += fit_with_one_more(train, plant.production_day)
    known = {name: tuple(one for one in figures if _told(one)) for name, figures in found.items()}
    lacking = [one.name for figures in found.values() for one in figures if not _told(one)]
    remarks += [f"Not known for lack of readings: {'; '.join(lacking)}."] if lacking else []
    return {name: figures for name, figures in known.items() if figures}, (*remarks, *plant.notes)


def _told(figure: Figure) -> bool:
    """Return whether a figure has a number, or a note that says more than that a reading lacks."""
    return math.isfinite(figure.value) or figure.note == "the drop does not rise"


def _whole(plant: PlantReadings, table: str) -> bool:
    values = plant.tables.get(table, {})
    return all(math.isfinite(values.get(key, math.nan)) for key in NEEDED[table])


def _recovery(plant: PlantReadings | None) -> float:
    table = plant.tables.get("membrane", {}) if plant else {}
    return float(recovery(table.get("permeate_flow", math.nan), table.get("feed_flow", math.nan)))
