"""Turns readings of membranes, pretreatment and disinfection into figures with their formula, source and verdict."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields

import numpy as np

from wqcheck.plant import disinfection, membranes, pretreatment
from wqcheck.plant.membranes import MembraneDay
from wqcheck.plant.pretreatment import State
from wqcheck.plant.readings import PlantReadings

CAUTION = (
    "The maker's own limits and licensed practice prevail; pressure, chemicals, electricity and UV can hurt. "
    "These figures are working figures of the plant and say nothing of the fitness of the water."
)
D4516 = "ASTM D4516"
PRACTICE = "common practice, no source"
DEFINITION = "definition"


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure: its value in the formulas' unit of ``kind``, what it was computed by, and what it says.

    ``verdict`` is a word of :class:`~wqcheck.plant.pretreatment.State` or ``""`` where nothing is compared.
    """

    name: str
    value: float
    kind: str
    formula: str
    source: str
    verdict: str = ""
    note: str = ""


def membrane_figures(readings: PlantReadings) -> tuple[Figure, ...]:
    """Return the figures of the reverse-osmosis unit today, and its change since the baseline where one is given."""
    table = readings.table("membrane")
    today = _day(table)
    figures = [*_separation(today), *_closures(today, table["concentrate_flow"], table["concentrate_tds"])]
    figures += _pressures(today)
    if "membrane.baseline" in readings.tables:
        figures += _since(today, _day(readings.table("membrane.baseline")), readings)
    return tuple(figures)


def _day(table: Mapping[str, float]) -> MembraneDay:
    return MembraneDay(**{field.name: table[field.name] for field in fields(MembraneDay)})


def _separation(day: MembraneDay) -> Iterator[Figure]:
    recovered = membranes.recovery(day.permeate_flow, day.feed_flow)
    passage = membranes.salt_passage(day.permeate_tds, day.feed_tds)
    found = membranes.rejections(day.feed_tds, day.permeate_tds, recovered)
    yield Figure("recovery", float(recovered), "fraction", "Y = permeate/feed flow", DEFINITION)
    yield Figure("salt passage", float(passage), "fraction", "SP = permeate/feed concentration", DEFINITION)
    factor = float(membranes.concentration_factor(recovered, passage))
    yield Figure("concentration factor", factor, "number", "(1 − Y·SP)/(1 − Y)", "ASTM D4582, D3739")
    names = ("against the feed", "against the log mean of the feed channel", "against the mean of feed and concentrate")
    forms = ("1 − Cp/Cf", "1 − Cp/(Cf·ln(1/(1−Y))/Y)", "1 − 2Cp/(Cf + Cc)")
    for name, form, value in zip(names, forms, found, strict=True):
        yield Figure(f"rejection {name}", float(value), "fraction", form, "ASTM D4194, D4516")


def _closures(day: MembraneDay, concentrate_flow: float, concentrate_tds: float) -> Iterator[Figure]:
    flow = membranes.flow_closure(day.feed_flow, day.permeate_flow, concentrate_flow)
    flows = (day.feed_flow, day.permeate_flow, concentrate_flow)
    mass = membranes.mass_closure(flows, (day.feed_tds, day.permeate_tds, concentrate_tds))
    for name, found in (("flow", flow), ("salt", mass)):
        share = float(found.fraction)
        yield Figure(
            f"{name} balance", share, "fraction", "(permeate + concentrate − feed)/feed", DEFINITION,
            _balance_word(share), "" if math.isfinite(share) else "needs the concentrate's flow and dissolved solids",
        )  # fmt: skip


def _balance_word(share: float) -> str:
    """Return within 5 % fine, within 10 % watch, beyond that due for a check of the meters (common practice)."""
    if not math.isfinite(share):
        return State.UNKNOWN
    return State.FINE if abs(share) <= 0.05 else State.WATCH if abs(share) <= 0.10 else State.DUE


def _pressures(day: MembraneDay) -> Iterator[Figure]:
    mean = day.feed_tds * membranes.log_mean_factor(membranes.recovery(day.permeate_flow, day.feed_flow))
    brine = float(membranes.osmotic_pressure_as_nacl(mean, day.temperature))
    yield Figure("osmotic pressure of the feed channel", brine, "pressure", "0.2654 C T/(1000 − C/1000) as NaCl", D4516)
    by_rule = float(membranes.osmotic_pressure_by_rule(mean))
    yield Figure("the same by rule of thumb", by_rule, "pressure", "1 psi per 100 mg/L", PRACTICE)
    drive = float(membranes.net_driving_pressure(day))
    word, note = ("", "") if drive > 0 else (State.UNKNOWN, "not above zero: check the pressure readings")
    yield Figure("net driving pressure", drive, "pressure", "Pf − ΔP/2 − Pp − πfb + πp", D4516, word, note)


def _since(today: MembraneDay, baseline: MembraneDay, readings: PlantReadings) -> Iterator[Figure]:
    settings = readings.tables.get("membrane.settings", {})
    constant = _or(settings.get("temperature_constant"), membranes.TEMPERATURE_CONSTANT)
    exponent = _or(settings.get("pressure_exponent"), membranes.PRESSURE_DROP_EXPONENT)
    warmth = float(membranes.temperature_flow_factor(today.temperature, constant))
    yield Figure("temperature flow factor", warmth, "number", f"exp({constant:g}(1/298.15 − 1/T))", "the maker's own")
    reciprocal = float(membranes.temperature_correction(today.temperature, constant))
    yield Figure("temperature correction to 25 °C", reciprocal, "number", "1/flow factor", "the maker's own")
    flow = float(membranes.normalised_permeate_flow(today, baseline, constant))
    passage = float(membranes.standardised_salt_passage(today, baseline, constant))
    drop = float(membranes.normalised_differential(today, baseline, exponent))
    was = membranes.salt_passage(baseline.permeate_tds, baseline.feed_tds)
    yield Figure("normalised permeate flow", flow, "flow", "Qp · NDPs/NDPa · TCFs/TCFa", D4516)
    yield Figure("standardised salt passage", passage, "fraction", "6.3 at the unit's flow", f"{D4516} 6.3")
    yield Figure("normalised differential pressure", drop, "pressure", f"ΔP(Qs/Qa)^{exponent:g}", PRACTICE)
    changes = {
        "flow": float(membranes.change_since(flow, baseline.permeate_flow)),
        "passage": float(membranes.change_since(passage, was)),
        "differential": float(membranes.change_since(drop, baseline.differential)),
    }
    states = pretreatment.cleaning_states(**changes, triggers=_triggers(settings))
    for name, change in changes.items():
        note = "cleaning trigger; see the maker's instructions first" if states[name] == State.DUE else ""
        yield Figure(
            f"change of {name}", change, "fraction", "now/baseline − 1", PRACTICE, str(states[name]), note
        )  # fmt: skip


def _triggers(settings: Mapping[str, float]) -> dict[str, float]:
    keys = {
        "flow": "clean_at_flow_change", "passage": "clean_at_passage_change",
        "passage_watch": "watch_at_passage_change", "differential": "clean_at_differential_change",
    }  # fmt: skip
    found = {name: settings.get(key, math.nan) for name, key in keys.items()}
    return {name: value for name, value in found.items() if math.isfinite(value)}


def pretreatment_figures(readings: PlantReadings) -> tuple[Figure, ...]:
    """Return silt density index, filter loading, carbon contact time, and the days that the cartridges have left."""
    table = readings.table("pretreatment")
    minutes = _or(table["sdi_run"], 15.0)
    silt = pretreatment.silt_density(60 * table["sdi_first"], 60 * table["sdi_last"], minutes)
    limit = _or(table["sdi_limit"], pretreatment.HIGHEST_SDI)
    word, note = _silt_word(silt, limit)
    loading = float(pretreatment.loading_rate(table["filter_flow"], table["filter_area"]))
    contact = float(pretreatment.empty_bed_contact_time(table["carbon_volume"], table["carbon_flow"]))
    return (
        Figure(f"silt density index, {minutes:g} min", float(silt.sdi), "number",
               "(1 − ti/tf)·100/T", "ASTM D4189", word, note),
        Figure("filter loading", loading, "speed", "flow/area", DEFINITION),
        Figure("carbon empty-bed contact time", contact, "duration", "bed volume/flow", DEFINITION),
        *_cartridge_figures(readings, table["plan_change_out"], table["change_out"]),
    )  # fmt: skip


def _silt_word(silt: pretreatment.SiltDensity, limit: float) -> tuple[str, str]:
    index = float(silt.sdi)
    if math.isnan(index):
        return State.UNKNOWN, "needs the first and the last collecting time"
    if not bool(silt.reportable):
        return State.UNKNOWN, "plugging above 75 %: repeat over a shorter run"
    return (State.FINE if index <= limit else State.DUE), f"limit {limit:g}, {PRACTICE}"


def _cartridge_figures(readings: PlantReadings, plan: float, due: float) -> Iterator[Figure]:
    limits = (_or(plan, pretreatment.CHANGE_OUT[0]), _or(due, pretreatment.CHANGE_OUT[1]))
    days, drops = np.array(readings.cartridges or np.empty((0, 2))).T
    latest = float(drops[np.argmax(days)]) if days.size else math.nan
    word = str(pretreatment.change_out_state(latest, limits))
    yield Figure("cartridge pressure drop", latest, "pressure", "latest reading", PRACTICE, word)
    trend = pretreatment.days_to_change_out(days, drops, limits[1])
    note = "the drop does not rise" if math.isinf(trend.days) else "linear trend; clogging speeds up near its end"
    days_left = math.nan if math.isinf(trend.days) else trend.days
    yield Figure("days to cartridge change-out", days_left, "number", "(limit − line)/slope", PRACTICE, "", note)


def disinfection_figures(readings: PlantReadings) -> tuple[Figure, ...]:
    """Return the credits of UV and free chlorine by the United States tables; credited, not demonstrated."""
    table = readings.table("disinfection")
    note = "credited, not demonstrated"
    figures = [
        Figure(f"UV credit, {target}", float(disinfection.uv_credit(table["uv_validated_dose"], target)), "number",
               "highest row reached", "40 CFR 141.720(d)(1)", "", note)
        for target in disinfection.UV_DOSES
    ]  # fmt: skip
    baffling = disinfection.BAFFLING.get(readings.baffling, math.nan)
    minutes = float(disinfection.contact_time(table["contact_volume"], table["contact_flow"], baffling))
    given = table["chlorine"] * minutes
    giardia = disinfection.giardia_ct_free_chlorine(3.0, table["chlorine"], table["temperature"], table["ph"])
    virus = disinfection.required_ct("virus", "free chlorine", table["temperature"])
    virus = np.where(6.0 <= table["ph"] <= 9.0, virus, np.nan)
    figures.append(Figure("contact time T10", minutes, "duration", "volume/flow · T10/T", "EPA profiling manual"))
    figures.append(Figure("CT of free chlorine", given, "number", "residual · T10, mg·min/L", "40 CFR 141.534"))
    for target, required, source in (
        ("giardia", giardia, "Smith et al. (1995)"), ("virus", virus, "EPA manual 1991, App. E; from memory"),
    ):  # fmt: skip
        credit = float(disinfection.inactivation(given, required, target).credit)
        figures.append(
            Figure(
                f"free chlorine credit, {target}", credit, "number", "log · CT/CT required, capped", source, "", note
            )
        )
    return tuple(figures)


def _or(value: float | None, usual: float) -> float:
    return value if value is not None and math.isfinite(value) else usual
