"""Turns solids, conductivity, hardness and alkalinity beside the ions of each sample into findings where they disagree.

All of these only warn: sound waters leave the published bands, and none of the figures decides a release by itself.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from wqcheck.findings import Finding, Severity
from wqcheck.judging.ranges import Bools, Floats
from wqcheck.quality.ion_balance import ALKALINITY, ANIONS, BEYOND_ANY, CATIONS, Balance, Ions
from wqcheck.quality.sample_amounts import Amount, Samples, first_known

SOLIDS_PARTS = {
    "sodium": 1.0, "potassium": 1.0, "calcium": 1.0, "magnesium": 1.0, "chloride": 1.0, "sulfate": 1.0,
    "nitrate": 1.0, "fluoride": 1.0, "silica": 1.0, "ammonium": 1.0,
}  # fmt: skip
PER_MEQ_ALKALINITY = 0.6 * 50.043
"""0.6 of the alkalinity as CaCO3 stays in the residue (1030 E); a milliequivalent is 50.043 mg of CaCO3."""

SOLIDS_BAND = (1.0, 1.2)
SOLIDS_SLACK = 10.0
"""mg/L by which a residue may be off beside its stated uncertainty: 1 mg in 100 mL (common practice, no source)."""

LAMBDA = {
    "calcium": 59.5, "magnesium": 53.1, "sodium": 50.1, "potassium": 73.5, "ammonium": 73.5, "strontium": 59.4,
    "lithium": 38.7, "barium": 63.6, "chloride": 76.4, "sulfate": 80.0, "nitrate": 71.4, "nitrite": 71.8,
    "fluoride": 54.4, "bromide": 78.1, ALKALINITY: 44.5,
}  # fmt: skip
"""Limiting equivalent conductivity at 25 °C, S·cm²/eq (APHA 2510 A and CRC Handbook; from memory)."""

DIVALENT = frozenset({"calcium", "magnesium", "strontium", "barium", "sulfate"})
ION_EC_BAND = (0.9, 1.1)
RATIO_BAND = (0.55, 0.70)
DILUTE_EC, DILUTE_RATIO_BAND = 100.0, (0.45, 0.96)
"""Below 100 µS/cm permeates are mostly sodium chloride: 58.44/(50.1 + 76.4) = 0.46 mg/L per µS/cm; the upper end is
the widest of natural waters (Hem 1985, USGS Water-Supply Paper 2254; from memory)."""

HARDNESS_SHARE, HARDNESS_SLACK = 0.10, 1.0
"""Accepted share and mg/L as CaCO3 (common practice, no source)."""


def mineral_findings(samples: Samples, ions: Ions, balance: Balance) -> Iterator[Finding]:
    """Yield what disagrees between the ions of a sample and its solids, conductivity, hardness and alkalinity."""
    solids = first_known(samples.amount("total_dissolved_solids"), samples.amount("dry_residue_180c"))
    conductivity = samples.amount_in("electrical_conductivity", "µS/cm", "25 °C")
    yield from _solids(samples, ions, solids)
    yield from _conductivity(samples, ions, balance, conductivity)
    yield from _solids_by_conductivity(samples, solids, conductivity)
    yield from _hardness(samples)
    yield from _alkalinity_forms(samples)


def calculated_solids(samples: Samples, ions: Ions) -> tuple[Floats, Floats]:
    """Return the least and greatest dissolved solids that the ions give, mg/L; NaN where a required ion is missing."""
    ends = []
    for end in ("low", "high"):
        masses = [getattr(samples.amount(code).filled(), end) * factor for code, factor in SOLIDS_PARTS.items()]
        alkalinity = getattr(ions.amounts[ALKALINITY].filled(), end) * PER_MEQ_ALKALINITY
        ends.append(np.where(ions.complete(), sum(masses, alkalinity), np.nan))
    return ends[0], ends[1]


def calculated_conductivity(ions: Ions) -> tuple[Floats, Floats]:
    """Return the least and greatest conductivity at 25 °C that the ions give, µS/cm.

    κ0 = Σ λ0·meq is lowered by y = 10^(−0.5 (√I/(1 + √I) − 0.3 I)), I = Σ z·meq/2000 in mol/L: to κ0 y² as in APHA
    2510 A, which suits hard waters, and to κ0 y, near which solutions of sodium and potassium chloride lie.
    """
    low, high = (_ideal_conductivity(ions, end) for end in ("low", "high"))
    return low[0] * low[1] ** 2, high[0] * high[1]


def _ideal_conductivity(ions: Ions, end: str) -> tuple[Floats, Floats]:
    amounts = {code: np.minimum(getattr(ions.amounts[code].filled(), end), BEYOND_ANY) for code in LAMBDA}
    ideal = sum((amounts[code] * LAMBDA[code] for code in LAMBDA), np.zeros(1))
    charge = sum((amounts[code] * (2 if code in DIVALENT else 1) for code in LAMBDA), np.zeros(1))
    strength = np.minimum(charge / 2000, 1.0)
    root = np.sqrt(strength)
    return np.where(ions.complete(), ideal, np.nan), 10.0 ** (-0.5 * (root / (1 + root) - 0.3 * strength))


def _solids(samples: Samples, ions: Ions, solids: Amount) -> Iterator[Finding]:
    low, high = calculated_solids(samples, ions)
    less = solids.high + solids.slack < SOLIDS_BAND[0] * low - SOLIDS_SLACK
    more = solids.low - solids.slack > SOLIDS_BAND[1] * high + SOLIDS_SLACK
    for at in np.flatnonzero(less | more).tolist():
        measured = solids.low[at]
        message = (
            f"measured dissolved solids {measured:.4g} mg/L are {measured / low[at]:.2f} of those calculated from the "
            f"ions, 0.6 alkalinity (as CaCO3) + ions + SiO2 = {low[at]:.4g} mg/L; {SOLIDS_BAND[0]} to {SOLIDS_BAND[1]} "
            f"is usual (APHA Standard Methods 1030 E, ± {SOLIDS_SLACK:g} mg/L); have the residue and the ions checked"
        )
        yield from samples.findings(_rows(solids, ions, at), "dissolved solids", Severity.NOTE, message)


def _conductivity(samples: Samples, ions: Ions, balance: Balance, measured: Amount) -> Iterator[Finding]:
    """Yield where both ion sums leave the band of 1030 E and the ions' own conductivities do not explain it."""
    low, high = calculated_conductivity(ions)
    apart = _beyond(measured, low, high, ION_EC_BAND)
    cations = _beyond(measured, 100 * balance.cations_low, 100 * balance.cations_high, ION_EC_BAND)
    anions = _beyond(measured, 100 * balance.anions_low, 100 * balance.anions_high, ION_EC_BAND)
    for at in np.flatnonzero(apart & cations & anions).tolist():
        value = max(measured.low[at], 1e-9)
        message = (
            f"conductivity {value:.4g} µS/cm at 25 °C does not fit the ions: 100 × cations/conductivity = "
            f"{100 * balance.cations_low[at] / value:.2f}, 100 × anions/conductivity = "
            f"{100 * balance.anions_low[at] / value:.2f} (0.9 to 1.1, APHA Standard Methods 1030 E), and their own "
            f"conductivities give {low[at]:.4g} to {high[at]:.4g} µS/cm (2510 A); check unit, temperature and "
            "ions"
        )
        yield from samples.findings(_rows(measured, ions, at), "conductivity and ions", Severity.NOTE, message)


def _beyond(measured: Amount, low: Floats, high: Floats, band: tuple[float, float]) -> Bools:
    """Return where no calculated value between *low* and *high* is within *band* of the measured one."""
    most, least = measured.high + measured.slack, measured.low - measured.slack
    return np.asarray((high < band[0] * least) | (low > band[1] * most))


def _solids_by_conductivity(samples: Samples, solids: Amount, measured: Amount) -> Iterator[Finding]:
    dilute = measured.high < DILUTE_EC
    lower = np.where(dilute, DILUTE_RATIO_BAND[0], RATIO_BAND[0])
    upper = np.where(dilute, DILUTE_RATIO_BAND[1], RATIO_BAND[1])
    less = solids.high + solids.slack < lower * (measured.low - measured.slack)
    more = solids.low - solids.slack > upper * (measured.high + measured.slack)
    for at in np.flatnonzero(less | more).tolist():
        ratio = solids.low[at] / measured.low[at] if measured.low[at] else np.inf
        message = (
            f"dissolved solids {solids.low[at]:.4g} mg/L are {ratio:.2f} of the conductivity {measured.low[at]:.4g} "
            f"µS/cm at 25 °C; {lower[at]:.2f} to {upper[at]:.2f} is usual (APHA Standard Methods 1030 E: 0.55 to 0.7; "
            "wider below 100 µS/cm); check the units of both"
        )
        rows = [int(solids.row[at]), int(measured.row[at])]
        yield from samples.findings(rows, "solids and conductivity", Severity.NOTE, message)


def _hardness(samples: Samples) -> Iterator[Finding]:
    """Yield where hardness is not 2.497 Ca + 4.118 Mg, all in mg/L (APHA Standard Methods 2340 B)."""
    hardness = samples.amount_in("hardness", "mg/L", "CaCO3")
    calcium, magnesium = samples.amount("calcium"), samples.amount("magnesium")
    low = 2.497 * calcium.low + 4.118 * magnesium.low
    high = 2.497 * calcium.high + 4.118 * magnesium.high
    slack = HARDNESS_SLACK + np.hypot(hardness.slack, np.hypot(2.497 * calcium.slack, 4.118 * magnesium.slack))
    less = hardness.high + slack < (1 - HARDNESS_SHARE) * low
    more = hardness.low - slack > (1 + HARDNESS_SHARE) * high
    for at in np.flatnonzero(less | more).tolist():
        message = (
            f"hardness {hardness.low[at]:.4g} mg/L as CaCO3 is not 2.497 Ca + 4.118 Mg = {low[at]:.4g} (APHA Standard "
            "Methods 2340 B, accepted 10 %, common practice); check whether calcium is given as CaCO3, and the units"
        )
        rows = [int(amount.row[at]) for amount in (hardness, calcium, magnesium)]
        yield from samples.findings(rows, "hardness", Severity.NOTE, message)


PH_OF_CARBONATE, PH_OF_NO_ALKALINITY, PH_SLACK = 8.3, 4.3, 0.2
"""End points of the titration (APHA Standard Methods 2320 B); the slack of pH is common practice, no source."""

CARBONATE_SHARE = 0.02
"""Carbonate that speciation gives at pH 8.3 − 0.1 is 1.5 % of the alkalinity (pK2 10.33 at 25 °C)."""


def _alkalinity_forms(samples: Samples) -> Iterator[Finding]:
    """Yield carbonate at a pH below 8.3, and alkalinity at a pH below its end point."""
    ph = samples.amount("ph")
    total = samples.amount_in(ALKALINITY, "meq/L", "")
    bicarbonate = samples.amount_in("bicarbonate", "meq/L", "").filled()
    least = CARBONATE_SHARE * np.fmax(np.nan_to_num(total.low), bicarbonate.low)
    cases = [
        (code, samples.amount_in(code, "meq/L", ""), PH_OF_CARBONATE, least)
        for code in ("carbonate", "phenolphthalein_alkalinity", "hydroxide")
    ]
    cases.append((ALKALINITY, total, PH_OF_NO_ALKALINITY, np.full(len(least), 0.02)))
    for code, form, end_point, floor in cases:
        for at in np.flatnonzero((form.low > floor) & (ph.high + PH_SLACK < end_point)).tolist():
            message = (
                f"{code.replace('_', ' ')} of {form.low[at]:.3g} meq/L cannot stand beside pH {ph.high[at]:g}: there "
                f"is none below about pH {end_point} (APHA Standard Methods 2320 B); check both results"
            )
            yield from samples.findings(
                [int(form.row[at]), int(ph.row[at])], "alkalinity forms", Severity.NOTE, message
            )


def _rows(first: Amount, ions: Ions, at: int) -> list[int]:
    rows = [first.row[at], *(ions.amounts[code].row[at] for code in (*CATIONS, *ANIONS, ALKALINITY))]
    return [int(row) for row in rows if row >= 0]
