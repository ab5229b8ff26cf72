"""Turns plant readings beside the train's equipment into suspicions: dosing, vessels, cartridges, cleaning, age."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import date

import numpy as np
import pandas as pd

from wqcheck.plant import membranes, scaling
from wqcheck.plant.figures import DEFINITION, Figure, membrane_figures
from wqcheck.plant.pretreatment import CHANGE_OUT, State, change_out_state
from wqcheck.quantities import in_both_systems
from wqcheck.tables import Sign
from wqcheck.train.description import Stage
from wqcheck.train.kinds import ANTISCALANT, CARTRIDGE, LAMP, MEMBRANE
from wqcheck.train.measured import measured
from wqcheck.train.suspects import Case, Evidence, Grade, Suspect, suspect
from wqcheck.units import conversion

NEAR_SATURATION = 0.8
"""Share of silica's solubility in the concentrate from which dosing must not fail (common practice, no source)."""
LEAST_DOSE = 0.8
"""Share of its set point below which antiscalant counts as not dosed (common practice, no source)."""
VESSEL_JUMP = 1.5
"""Times the median of all vessels at which one stands out (common practice, no source)."""


def antiscalant_off(case: Case) -> Iterator[Suspect]:
    """Yield a dosing stage that doses too little while silica in the concentrate is near its solubility."""
    dose, wanted = (case.number("pretreatment", key) for key in ("antiscalant_dose", "antiscalant_set"))
    off = dose <= 0 or dose < LEAST_DOSE * wanted
    for stage in case.of_kind(ANTISCALANT):
        share, said = silica_share(case)
        if off and share >= NEAR_SATURATION:
            yield suspect(
                "antiscalant off", stage, Grade.BARRIER, weight=share,
                title=f"{stage.name} doses too little while silica is near saturation",
                why="Silica scale on membranes can hardly be removed again; without antiscalant it starts near its "
                "solubility, and carbonate and sulfate scale sooner.",
                evidence=(case.shown("pretreatment", "antiscalant_dose", "concentration", "antiscalant dose"), *said),
                check="Check day tank, pump stroke, suction valve and flow signal; lower the recovery until it doses.",
            )  # fmt: skip


def silica_share(case: Case) -> tuple[float, tuple[Evidence, ...]]:
    """Return silica in the concentrate as a share of its solubility, and the numbers it comes from; NaN if not known.

    Feed silica (laboratory, else the plant's feed water) times 1/(1 − recovery), over the solubility of amorphous
    silica at the temperature (:func:`wqcheck.plant.scaling.silica_solubility`).
    """
    feed, evidence = _silica(case)
    recovered = float(
        membranes.recovery(case.number("membrane", "permeate_flow"), case.number("membrane", "feed_flow"))
    )
    if math.isnan(recovered):
        recovered = case.number("feed_water", "recovery")
    warmth = case.number("membrane", "temperature")
    warmth = case.number("feed_water", "temperature") if math.isnan(warmth) else warmth
    strong = feed * float(membranes.concentration_factor(recovered))
    share = strong / float(scaling.silica_solubility(warmth))
    if math.isnan(share):
        return share, ()
    text = f"about {strong:.0f} mg/L in the concentrate at {recovered:.0%} recovery, {share:.0%} of the solubility"
    return share, (*evidence, Evidence(text, "computed"))


def _silica(case: Case) -> tuple[float, tuple[Evidence, ...]]:
    for stage in case.of_kind(MEMBRANE):
        rows = measured(case.readings, case.train)
        rows = rows[rows["point"].eq(stage.inlet) & rows["parameter"].eq("silica")].sort_values("at")
        for row in rows.tail(1).to_dict("records"):
            factor = conversion("silica", row["unit"], row["basis"], "mg/L", "SiO2").high
            value = float(row["high"]) * factor
            return value, (Evidence(f"silica at {stage.inlet}: {value:.3g} mg/L", str(row["cell"])),)
    value = case.number("feed_water", "silica")
    return value, (case.shown("feed_water", "silica", "concentration", "silica in the feed"),)


def odd_vessel(case: Case) -> Iterator[Suspect]:
    """Yield membranes of which one vessel's permeate stands far above the others: a leak in that vessel."""
    profile = np.array(case.plant.vessels if case.plant else (), dtype=np.float64)
    for stage in case.of_kind(MEMBRANE):
        if np.isfinite(profile).sum() < 3:
            return
        middle = float(np.nanmedian(profile))
        worst = int(np.nanargmax(profile))
        if profile[worst] >= VESSEL_JUMP * middle:
            shown = ", ".join(f"{value:.0f}" for value in profile)
            cell = case.plant.cells.get(f"vessel.{worst + 1}", "") if case.plant else ""
            yield suspect(
                "leak in a vessel", stage, Grade.BARRIER, weight=float(profile[worst] / middle),
                title=f"Vessel {worst + 1} of {stage.name} leaks",
                why="One vessel's permeate is far saltier than the others'; wear and scaling raise all of them.",
                evidence=(Evidence(f"vessel {worst + 1}: {profile[worst]:.0f} µS/cm; all: {shown} µS/cm", cell),),
                check="Probe that vessel's permeate tube from end to end; a step marks the O-ring or element to mend.",
            )  # fmt: skip


def spent_cartridges(case: Case) -> Iterator[Suspect]:
    """Yield cartridge filters whose pressure drop has reached the change-out, or the planning, limit."""
    if case.plant is None or not case.plant.cartridges:
        return
    drop = max(case.plant.cartridges)[1]
    for stage in case.of_kind(CARTRIDGE):
        limits = (
            _or(stage.equipment.plan_change_out, _or(case.number("pretreatment", "plan_change_out"), CHANGE_OUT[0])),
            _or(stage.equipment.change_out, _or(case.number("pretreatment", "change_out"), CHANGE_OUT[1])),
        )
        state = str(change_out_state(drop, limits))
        if state in {State.DUE, State.WATCH}:
            due = state == State.DUE
            yield suspect(
                "spent cartridges", stage, Grade.SERVICE, weight=drop / limits[1],
                title=f"{stage.name}: change the cartridges" + ("" if due else " soon"),
                why="The pressure drop has reached the limit at which cartridges start to let dirt through or burst.",
                evidence=(Evidence(_drop_words(drop, limits), case.plant.cells.get("cartridge.drop", "")),),
                check="Change them; if they last a few days only, look at the media filter and at carbon fines first.",
            )  # fmt: skip


def _drop_words(drop: float, limits: tuple[float, float]) -> str:
    shown, plan, due = (in_both_systems(value, "pressure") for value in (drop, *limits))
    return f"pressure drop {shown}; plan from {plan}, change at {due}"


def cleaning_due(case: Case) -> Iterator[Suspect]:
    """Yield membranes whose normalised figures have reached a cleaning trigger since the baseline."""
    if case.plant is None or "membrane.baseline" not in case.plant.tables:
        return
    for stage in case.of_kind(MEMBRANE):
        changes = [figure for figure in membrane_figures(case.plant) if figure.name.startswith("change of ")]
        due = [figure for figure in changes if figure.verdict == State.DUE]
        if due:
            yield suspect(
                "cleaning due", stage, Grade.SERVICE, weight=float(len(due)),
                title=f"{stage.name}: a cleaning trigger is reached",
                why="Normalised flow down means fouling or scaling, differential pressure up means dirt in the feed "
                "channel, salt passage up means wear, scaling or a leak.",
                evidence=tuple(Evidence(f"{figure.name} since the baseline {figure.value:+.1%}", case.plant.path)
                               for figure in due),
                check="Find out what fouls (element weight, autopsy, first and last stage) and clean as the membrane "
                "maker says; high pH for organics and film, low pH for scale.",
            )  # fmt: skip


def worn_out(case: Case, on: date | None) -> Iterator[Suspect]:
    """Yield lamps and beds that are past their life, by hours run or by the day they were changed."""
    for stage in case.train.stages:
        for what, used, life in ages(case, stage, on):
            if used > life:
                yield suspect(
                    f"{what} past its life", stage, Grade.SERVICE, weight=used / life,
                    title=f"{stage.name}: the {what} is past its life",
                    why=f"A {what} loses its strength with age, before it fails visibly.",
                    evidence=(Evidence(f"used {_span(used)}, life {_span(life)}", case.train.path),),
                    check=f"Change the {what} and write the day into the train file.",
                )  # fmt: skip


def ages(case: Case, stage: Stage, on: date | None) -> Iterator[tuple[str, float, float]]:
    """Yield what ages at a stage (``lamp`` or ``media``), minutes used and minutes of life; only what is known."""
    equipment = stage.equipment
    if stage.kind == LAMP:
        run = case.number("disinfection", "lamp_hours")
        run = _since(equipment.lamp_changed, on) if math.isnan(run) else run
        if math.isfinite(run) and math.isfinite(equipment.lamp_life):
            yield "lamp", run, equipment.lamp_life
    used = _since(equipment.media_changed, on)
    if math.isfinite(used) and math.isfinite(equipment.media_life):
        yield "media", used, equipment.media_life


def age_figures(case: Case, on: date | None) -> Iterator[Figure]:
    """Yield how much of its life each lamp and each bed has used, as a share; beyond its life it is due."""
    for stage in case.train.stages:
        for what, used, life in ages(case, stage, on):
            word = State.DUE if used > life else State.FINE
            yield Figure(f"{what} of {stage.name}, share of its life", used / life, "fraction", "used/life", DEFINITION,
                         word, f"used {_span(used)}, life {_span(life)}")  # fmt: skip


def sampled_on(case: Case) -> date | None:
    """Return the latest day of sampling, which counts as today."""
    done = case.readings[case.readings["sign"].ne(Sign.NOT_DONE)]["sampled_at"].max()
    return None if pd.isna(done) else done.date()


def _since(changed: date | None, on: date | None) -> float:
    return math.nan if changed is None or on is None else (on - changed).days * 1440.0


def _span(minutes: float) -> str:
    return f"{minutes / 60:,.0f} h ({minutes / 1440:,.0f} days)"


def _or(value: float, usual: float) -> float:
    return value if math.isfinite(value) else usual
