"""Turns laboratory results along a train into suspicions: mixed-up samples, breakthrough, leaks, growth, weak lamps."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import pandas as pd

from wqcheck.errors import UnknownParameterError
from wqcheck.parameters import find_parameter
from wqcheck.tables import StageVerdict
from wqcheck.train.description import Stage
from wqcheck.train.kinds import CARBONS, LAMP, MEMBRANE, TANK
from wqcheck.train.suspects import Case, Evidence, Grade, Suspect, feed_evidence, removal_evidence, suspect

CHLORINE = "free_chlorine"
MOST_CHLORINE = 0.1
"""mg/L at membranes where the table of expectations says nothing (common practice, no source)."""
SALTS = ("electrical_conductivity", "total_dissolved_solids", "chloride", "sodium", "sulfate", "hardness", "calcium")
DOUBLE_CHARGED = ("sulfate", "hardness", "calcium", "magnesium")


def mixed_up_samples(case: Case) -> Iterator[Suspect]:
    """Yield stages over which at least two salts change that the stage cannot change, and membranes that add salt."""
    changed: list[tuple[Stage, pd.DataFrame]] = []
    for stage in case.train.stages:
        rows = case.stages[case.stages["stage"].eq(stage.name) & case.stages["parameter"].isin(SALTS)]
        added = rows["verdict"].eq(StageVerdict.WORSE) & (stage.kind == MEMBRANE)
        odd = pd.DataFrame(rows[rows["verdict"].eq(StageVerdict.UNEXPLAINED) | added])
        if len(odd) >= 2:
            changed.append((stage, odd))
    if not changed:
        return
    stage, odd = changed[0]
    others = ", ".join(other.name for other, _ in changed[1:])
    also = f" The same is seen at {others}, so a sample between them may bear the wrong label." if others else ""
    yield suspect(
        "mixed-up samples", stage, Grade.RESULTS, weight=float(len(odd)),
        title=f"Samples {stage.inlet} and {stage.outlet} may be mixed up",
        why=f"{len(odd)} salts change over {stage.name}, which cannot change them so.{also} "
        "Such a pattern comes from swapped bottles or labels far sooner than from the stage.",
        evidence=removal_evidence(odd),
        check="Compare bottle labels, chain of custody and field conductivity; sample both points again first.",
    )  # fmt: skip


def chlorine_at_membranes(case: Case) -> Iterator[Suspect]:
    """Yield the carbon before membranes that get more free chlorine than they bear, by the laboratory or the plant."""
    for membrane in case.of_kind(MEMBRANE):
        found = case.feeds[case.feeds["stage"].eq(membrane.name) & case.feeds["parameter"].eq(CHLORINE)]
        passed = found[found["passed"]]
        limit = float(found["upper"].max()) if len(found) else math.nan
        metered = case.number("membrane", "feed_chlorine")
        over = metered > (MOST_CHLORINE if math.isnan(limit) else limit)
        carbon = case.before(membrane, CARBONS)
        after_carbon = case.bad_rows(carbon, (CHLORINE,)) if carbon and found.empty else passed.head(0)
        if passed.empty and after_carbon.empty and not over:
            continue
        stage = carbon or membrane
        evidence = feed_evidence(passed)
        evidence += (case.shown("membrane", "feed_chlorine", "concentration", "meter at the feed"),) if over else ()
        if carbon:
            evidence += removal_evidence(case.bad_rows(carbon, (CHLORINE, "total_chlorine", "combined_chlorine")))
        cause = f"{carbon.name} lets it through" if carbon else "no carbon stands before them"
        yield suspect(
            "chlorine at the membranes", stage, Grade.BARRIER,
            weight=float(np.nanmax([*passed["excess"], metered / MOST_CHLORINE if over else math.nan, 1.0])),
            title=f"Free chlorine reaches {membrane.name}: {stage.name} has broken through"
            if carbon else f"Free chlorine reaches {membrane.name}",
            why=f"Polyamide membranes are destroyed by free chlorine for good; {cause}. Spent carbon, a short contact "
            "time, channels after a backwash or a higher dose upstream are the usual reasons.",
            evidence=evidence,
            check="Stop the membranes or dose a reducing agent now, as the membrane maker says; measure free chlorine "
            "before and after the carbon in the field; look at the age of the carbon, its contact time and the dose.",
        )  # fmt: skip


def weak_lamp(case: Case) -> Iterator[Suspect]:
    """Yield UV stages that kill too little, with what shields the light and what comes from the tank before them."""
    for stage in case.of_kind(LAMP):
        rows = case.bad_rows(stage)
        rows = rows[rows["parameter"].map(_is_counted).astype(bool)]
        shielded = case.feeds[case.feeds["stage"].eq(stage.name) & case.feeds["passed"]]
        dose, wanted = case.number("disinfection", "uv_dose"), stage.equipment.lamp_dose
        light = case.number("disinfection", "uv_transmittance")
        low_dose, dim = dose < wanted, light < 0.75
        if rows.empty and shielded.empty and not low_dose and not dim:
            continue
        tank = case.before(stage, (TANK,))
        dirty = tank if tank is not None and len(case.bad_rows(tank)) else None
        yield suspect(
            "weak UV", stage, Grade.BARRIER if len(rows) or low_dose else Grade.REMOVAL,
            weight=_shortfall(rows) + (wanted / dose if low_dose and dose > 0 else 0.0),
            title=f"{stage.name} is weak" + (f" after a dirty {dirty.name}" if dirty else ""),
            why=_lamp_reason(shielded, dirty, low_dose=low_dose, dim=dim),
            evidence=(
                *removal_evidence(rows),
                *feed_evidence(shielded),
                *((case.shown("disinfection", "uv_dose", "dose", "dose now"),
                   Evidence(f"validated dose {wanted:g} mJ/cm²", case.train.path)) if low_dose else ()),
                *((case.shown("disinfection", "uv_transmittance", "fraction", "UV transmittance"),) if dim else ()),
            ),
            check="Hold the product; read the intensity sensor and lamp hours, clean the sleeve, measure the light; "
            + (f"clean and disinfect {dirty.name} first, or the lamp is overloaded again; " if dirty else "")
            + "sample before and after the lamp again.",
        )  # fmt: skip


def _lamp_reason(shielded: pd.DataFrame, dirty: Stage | None, *, low_dose: bool, dim: bool) -> str:
    reasons = []
    if len(shielded):
        names = ", ".join(find_parameter(code).name for code in shielded["parameter"].unique())
        reasons.append(f"what shields or clouds the light is high before it ({names})")
    if low_dose:
        reasons.append("its dose is below the validated one")
    if dim:
        reasons.append("the water lets less than 75 % of the light through")
    if dirty:
        reasons.append(f"{dirty.name} before it sheds bacteria and particles")
    said = "; ".join(reasons) or "no reason shows in the results: lamp, sleeve, flow and sensor are to be checked"
    return f"The lamp leaves more living bacteria than it should, or gives less light: {said}."


def growth_in_tanks(case: Case) -> Iterator[Suspect]:
    """Yield tanks after which bacteria are surely more than usual, or indicator bacteria are found."""
    for stage in case.of_kind(TANK):
        rows = case.bad_rows(stage)
        rows = rows[rows["parameter"].map(_is_counted).astype(bool)]
        if len(rows):
            yield suspect(
                "film in the tank", stage, Grade.CONTAMINATION, weight=_shortfall(rows),
                title=f"Bacteria grow in {stage.name}",
                why="Counts rise between inlet and outlet by more than standing alone explains: a film on walls or "
                "level gauge, an open vent or overflow, or a dead leg.",
                evidence=removal_evidence(rows),
                check="Look inside with a lamp, check vent filter, cover and overflow; drain, clean, disinfect and "
                "rinse by the plant's own procedure; sample after 24 h and 72 h.",
            )  # fmt: skip


def leaking_membranes(case: Case) -> Iterator[Suspect]:
    """Yield membranes that keep back less salt than is usual; double-charged ions tell a leak from wear."""
    for stage in case.of_kind(MEMBRANE):
        rows = case.bad_rows(stage, (*SALTS, "magnesium", "potassium", "nitrate", "silica", "alkalinity"))
        if (
            rows["parameter"].isin(["electrical_conductivity", "total_dissolved_solids", "chloride", "sodium"]).sum()
            < 1
        ):
            continue
        leaks = rows["parameter"].isin(DOUBLE_CHARGED).any()
        why = (
            "Double-charged ions pass as well, which intact membranes keep back almost whole: a leak (O-ring, seal, "
            "glue line) is likelier than wear."
            if leaks
            else "Single-charged ions pass, double-charged ones are kept: wear (oxidation, hydrolysis), a high "
            "recovery or low pressure is likelier than a leak."
        )
        yield suspect(
            "salt passage", stage, Grade.BARRIER if leaks else Grade.REMOVAL, weight=float(len(rows)),
            title=f"{stage.name} lets too much salt pass", why=why, evidence=removal_evidence(rows),
            check="Measure the conductivity of every pressure vessel's permeate and probe the worst one along its "
            "length; a step marks an O-ring, a slope worn membranes; check recovery, pressure and temperature first.",
        )  # fmt: skip


def spent_carbon(case: Case) -> Iterator[Suspect]:
    """Yield carbon that no longer holds organics, or lets chlorine pass where no membrane stands behind it."""
    for stage in case.of_kind(*CARBONS):
        rows = case.bad_rows(stage)
        rows = rows[~rows["parameter"].map(_is_counted).astype(bool)]
        only_chlorine = rows["parameter"].isin([CHLORINE, "total_chlorine", "combined_chlorine"]).all()
        protects = any(case.before(membrane, CARBONS) == stage for membrane in case.of_kind(MEMBRANE))
        told = protects and only_chlorine and any(s.stage == stage.name for s in chlorine_at_membranes(case))
        if len(rows) and not told:
            yield suspect(
                "spent carbon", stage, Grade.REMOVAL, weight=float(len(rows)),
                title=f"{stage.name} looks exhausted",
                why="Carbon fills up: what it holds least (chloroform, small organics) comes through first.",
                evidence=removal_evidence(rows),
                check="Compare bed volumes treated and age with the design; check contact time at today's flow and "
                "when the bed was last backwashed; plan the change of carbon.",
            )  # fmt: skip


def other_weak_stages(case: Case) -> Iterator[Suspect]:
    """Yield stages of other kinds that are weak or worse than their inlet, and membranes weak in anything but salt."""
    for stage in case.train.stages:
        rows = case.bad_rows(stage)
        if stage.kind in {TANK, LAMP, *CARBONS}:
            rows = rows[rows["parameter"].map(_is_counted).astype(bool)] if stage.kind in CARBONS else rows.head(0)
        if stage.kind == MEMBRANE and any(leaking_membranes(case)):
            rows = rows.head(0)
        if len(rows):
            growth = bool(rows["parameter"].map(_is_counted).astype(bool).any())
            yield suspect(
                "weak stage", stage, Grade.CONTAMINATION if growth else Grade.REMOVAL, weight=float(len(rows)),
                title=f"{stage.name} does less than such a stage usually does",
                why="The results after it are surely worse than is usual for its kind.",
                evidence=removal_evidence(rows),
                check="Check flow against its rating, backwash or change-out, bypass valves, and sample it again.",
            )  # fmt: skip


def _is_counted(code: str) -> bool:
    try:
        return find_parameter(code).kind == "microbiological"
    except UnknownParameterError:
        return False


def _shortfall(rows: pd.DataFrame) -> float:
    """Return by how many log units the worst of the removals is below no change, at least 1."""
    logs = -rows["log_removal"].to_numpy(dtype=np.float64)
    return float(max(1.0, np.nanmax(np.append(logs, 0.0)) + 1.0))
