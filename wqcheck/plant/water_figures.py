"""Turns the feed analysis and the flows of a plant into figures of scaling and of the fit of its stages."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np
import pandas as pd

from wqcheck.errors import PlantFileError
from wqcheck.plant import flow_fit, membranes, scaling
from wqcheck.plant.figures import DEFINITION, Figure
from wqcheck.plant.ion_activities import CHARGES, IonWater, charge_balance, ion_names, ionic_strength, molality
from wqcheck.plant.pretreatment import State
from wqcheck.plant.readings import PlantReadings

_FORMULAS = {"calcite": "log10 IAP/Ksp", "silica": "SiO₂/solubility at its pH"}
_SOURCES = {
    "gypsum": "Nordstrom et al. (1990); cf. ASTM D4692",
    "barite": "Nordstrom et al. (1990); cf. ASTM D4692",
    "celestite": "Nordstrom et al. (1990); cf. ASTM D4692",
    "fluorite": "Nordstrom et al. (1990)",
    "silica": "Rimstidt & Barnes (1980); cf. ASTM D4993",
    "calcite": "Plummer & Busenberg (1982)",
}


def scaling_figures(readings: PlantReadings) -> tuple[Figure, ...]:
    """Return the indices of the concentrate at the plant's recovery, and the highest recovery without antiscalant."""
    table = readings.table("feed_water")
    feed = IonWater(**{name: table[name] for name in ion_names()})
    passages = _known(readings.tables.get("feed_water.salt_passage", {}))
    limits = dict(scaling.SATURATION_LIMITS) | _known(readings.tables.get("feed_water.limits", {}))
    strong = scaling.concentrate_water(feed, table["recovery"], passages)
    figures = [*_concentrate(feed, strong, table["recovery"]), *_carbonate(strong, limits["calcite"])]
    for salt, value in scaling.indices(strong).items():
        figures.append(_saturation(salt, float(value), limits[salt]))
    safe = scaling.highest_safe_recovery(feed, limits, passages)
    for salt, highest in safe.per_salt.items():
        figures.append(_recovery_figure(f"recovery up to which {salt} keeps to its limit", highest, table["recovery"]))
    unknown = [salt for salt, highest in safe.per_salt.items() if math.isnan(highest)]
    note = f"limited by {safe.limiting}" if safe.limiting else "nothing limits within the range looked at"
    note += f"; not evaluated: {', '.join(unknown)}" if unknown else ""
    whole = _recovery_figure("highest recovery within the limits", safe.highest, table["recovery"], note)
    if unknown and whole.verdict == State.FINE:
        whole = replace(whole, verdict=State.UNKNOWN)
    figures.append(whole)
    return tuple(figures)


def _recovery_figure(name: str, highest: float, recovered: float, note: str = "") -> Figure:
    form = "last before the index passes its limit or cannot be told"
    return Figure(name, highest, "fraction", form, "the indices above", _word(recovered, highest), note)


def _concentrate(feed: IonWater, strong: IonWater, recovered: float) -> Iterator[Figure]:
    balance = float(charge_balance(feed))
    word = State.UNKNOWN if math.isnan(balance) else State.FINE if abs(balance) <= 0.05 else State.DUE
    note = "" if word == State.FINE else "check the analysis before using the indices"
    yield Figure("charge balance of the feed", balance, "fraction", "(Σ+ − Σ−)/(Σ+ + Σ−)", "Standard Methods 1030 E",
                 word, note)  # fmt: skip
    yield Figure("concentration factor, nothing passing", float(membranes.concentration_factor(recovered)), "number",
                 "1/(1 − Y)", "ASTM D4582, D3739")  # fmt: skip
    yield Figure(
        "pH of the concentrate", float(strong.ph), "number", "pH + log CF of alkalinity", "ASTM D3739, CO₂ kept"
    )
    yield Figure("ionic strength of the concentrate, mol/kg", float(ionic_strength(strong)), "number", "½ Σ m z²",
                 DEFINITION)  # fmt: skip
    osmotic = membranes.osmotic_pressure_of_ions(_particles(strong), strong.temperature)
    yield Figure(
        "osmotic pressure of the concentrate", float(osmotic), "pressure", "Σ c R T over ions", "van 't Hoff, ideal"
    )


def _particles(water: IonWater) -> float:
    """Return mol of ions per litre, those not measured left out."""
    totals = molality(water)
    return float(sum(np.nan_to_num(totals[name]) for name in (*CHARGES, "alkalinity")))


def _carbonate(strong: IonWater, limit: float) -> Iterator[Figure]:
    """Yield the index that the strength of the concentrate calls for: Langelier or Stiff & Davis."""
    ions = sum(float(np.nan_to_num(getattr(strong, name))) for name in (*CHARGES, "silica"))
    tds = ions + 0.6 * float(strong.alkalinity)
    yield Figure("dissolved solids of the concentrate", tds, "concentration", "Σ ions + 0.6 alkalinity",
                 "Standard Methods 1030 E")  # fmt: skip
    if tds > scaling.STRONG_CONCENTRATE:
        value, name = float(scaling.stiff_davis_index(strong)), "Stiff & Davis index"
        yield Figure(
            name, value, "number", "pH − pCa − pAlk − K", "ASTM D4582; K fitted, from memory", _word(value, 0.0)
        )
        return
    for simple, form in ((False, "pK₂ − pKsc + pCa + pHCO₃ + 5pfm"), (True, "four factors")):
        value = float(scaling.langelier_index(strong, tds, simplified=simple))
        source = "ASTM D3739; circulating four-factor form" if simple else "Standard Methods 2330 B; ASTM D3739"
        yield Figure(f"Langelier index, {'four-factor' if simple else 'full'} form", value, "number",
                     f"pH − pHs, {form}", source, _word(value, limit), f"limit {limit:g}")  # fmt: skip


def _saturation(salt: str, value: float, limit: float) -> Figure:
    kind = "index" if salt == "calcite" else "ratio"
    formula = _FORMULAS.get(salt, "IAP/Ksp, activities with ion pairs")
    note = "an ion was not measured, or the concentrate is too strong" if math.isnan(value) else f"limit {limit:g}"
    return Figure(f"{salt} saturation {kind}", value, "number", formula, _SOURCES[salt],
                  _word(value, limit), note)  # fmt: skip


def fit_figures(readings: PlantReadings) -> tuple[Figure, ...]:
    """Return the volumes of the production day, the tanks that fail, and the stages rated below their flow."""
    readings.table("flow")
    day = readings.production_day
    if day is None:
        raise PlantFileError(f"{readings.path}: the table [flow.hourly] is missing; add it")
    balance = flow_fit.hourly_balance(day)
    totals = flow_fit.day_totals(balance)
    figures = [
        Figure("water supplied", totals.supplied, "volume", "Σ hours", DEFINITION),
        Figure("permeate produced", totals.produced, "volume", "Σ feed · Y", DEFINITION),
        Figure("delivered to the filler", totals.filled, "volume", "Σ hours", DEFINITION),
        Figure("asked by the filler and not delivered", totals.short, "volume", "Σ hours", DEFINITION,
               State.FINE if totals.short < 1e-6 else State.DUE),
        Figure("waste and spills over product", totals.waste_to_product, "number",
               "(concentrate + backwash + rinse + spills)/filled", DEFINITION),
        Figure("balance left over", round(flow_fit.water_closure(day, balance), 9) + 0.0, "volume",
               "in − out − stored", DEFINITION),
    ]  # fmt: skip
    return (*figures, *_tank_figures(balance), *_stage_figures(readings, day))


def _tank_figures(balance: pd.DataFrame) -> Iterator[Figure]:
    events = flow_fit.tank_events(balance)
    for (tank, event), rows in events.groupby(["tank", "event"]):
        hours = ", ".join(str(hour) for hour in rows["hour"])
        yield Figure(f"{tank} {event}", float(rows["volume"].sum()), "volume", "hourly balance", DEFINITION, State.DUE,
                     f"in hour {hours} (from 0)")  # fmt: skip


def _stage_figures(readings: PlantReadings, day: flow_fit.ProductionDay) -> Iterator[Figure]:
    rated = flow_fit.rated_against_flow(readings.stages, day)
    narrow = flow_fit.bottleneck(rated)
    for row in rated.to_dict("records"):
        word = State.UNKNOWN if math.isnan(row["rated"]) else State.FINE if row["enough"] else State.DUE
        note = f"{row['use']:.0%} of its rating at the peak" + ("; the bottleneck" if row["stage"] == narrow else "")
        yield Figure(f"peak flow of {row['stage']}", row["peak"], "flow", f"{row['carries']} against the rating",
                     DEFINITION, word, note)  # fmt: skip


def _word(value: float, limit: float) -> str:
    """Return whether a value keeps to its limit; not known where either is not."""
    if math.isnan(value) or math.isnan(limit):
        return State.UNKNOWN
    return State.FINE if value <= limit else State.DUE


def _known(table: Mapping[str, float]) -> dict[str, float]:
    return {key: value for key, value in table.items() if math.isfinite(value)}
