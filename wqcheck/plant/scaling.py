"""Turns a feed analysis and a recovery into the scaling indices of the concentrate and the recovery at which they end.

No figure here counts on an antiscalant. Kinetics, concentration at the membrane wall (the bulk is taken) and metal
silicates are not modelled: an index above its limit says that scale can form, not when.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from wqcheck.plant.ion_activities import (
    ZERO_CELSIUS,
    IonWater,
    activities,
    debye_hueckel_constants,
    ion_names,
    ionic_strength,
    second_dissociation,
)
from wqcheck.plant.membranes import concentration_factor

Floats = npt.NDArray[np.float64]

CALCIUM_CARBONATE = 100.086  # g/mol
CALCIUM_MASS = 40.078
STRONG_CONCENTRATE = 10_000.0  # mg/L: Langelier (ASTM D3739) up to it, Stiff & Davis (ASTM D4582) above it
MOST_RECOVERY = 0.98
SATURATION_LIMITS = {"gypsum": 1.0, "barite": 1.0, "celestite": 1.0, "fluorite": 1.0, "silica": 1.0, "calcite": 0.0}
"""Saturation ratio (index for calcite) up to which no antiscalant is needed: equilibrium."""

_SALTS: Mapping[str, tuple[tuple[str, int], ...]] = {
    "gypsum": (("calcium", 1), ("sulfate", 1)),
    "barite": (("barium", 1), ("sulfate", 1)),
    "celestite": (("strontium", 1), ("sulfate", 1)),
    "fluorite": (("calcium", 1), ("fluoride", 2)),
}
_PRODUCTS: Mapping[str, tuple[float, float, float, float]] = {
    "gypsum": (68.2401, 0.0, -3221.51, -25.0627),
    "barite": (136.035, 0.0, -7680.41, -48.595),
    "celestite": (-14805.9622, -2.4660924, 756968.533, 5436.3588),
    "fluorite": (66.348, 0.0, -4298.2, -25.271),
}
"""log10 Ksp = a + bT + c/T + d log10 T (T in K) of Nordstrom et al. (1990); celestite has −40553604/T² besides."""
_CELESTITE_SQUARE = -40553604.0


class SafeRecovery(NamedTuple):
    """Highest recovery (fraction) up to which nothing passes its limit, and the salt that does so first.

    ``per_salt`` holds it for each salt; NaN where that salt could not be evaluated. ``limiting`` is ``""`` where none
    limits below the highest recovery asked.
    """

    highest: float
    limiting: str
    per_salt: dict[str, float]


def concentrate_water(
    feed: IonWater, recovered: npt.ArrayLike, passages: Mapping[str, float] | None = None
) -> IonWater:
    """Return the concentrate of a feed.

    Parameters
    ----------
    feed : IonWater
        Analysis of the feed after all dosing (acid, antiscalant), mg/L.
    recovered : array_like
        Recovery as a fraction; every field of the result takes its shape.
    passages : Mapping[str, float], optional
        Salt passage of each ion as a fraction; an ion that is not named passes nothing (the safe side).

    Returns
    -------
    IonWater
        Each ion times (1 − Y·SP)/(1 − Y). Carbon dioxide passes freely, so the pH rises by the log10 of what the
        alkalinity rises: ASTM D3739 without its chart, activity coefficients taken alike in feed and concentrate.
    """
    passages = passages or {}
    same = ("temperature", "ph")
    factors = {name: concentration_factor(recovered, passages.get(name, 0.0)) for name in ion_names()}
    strong = {name: np.asarray(getattr(feed, name)) * factors[name] for name in factors if name not in same}
    flat = np.zeros_like(factors["ph"])
    return replace(
        feed, **strong, temperature=flat + feed.temperature, ph=np.asarray(feed.ph) + np.log10(factors["alkalinity"])
    )


def solubility_product(salt: str, temperature: npt.ArrayLike) -> Floats:
    """Return log10 of the solubility product at °C (activities, molal): gypsum, barite, celestite or fluorite."""
    kelvin = np.asarray(temperature, dtype=np.float64) + ZERO_CELSIUS
    a, b, c, d = _PRODUCTS[salt]
    square = _CELESTITE_SQUARE if salt == "celestite" else 0.0
    return np.asarray(a + b * kelvin + c / kelvin + d * np.log10(kelvin) + square / kelvin**2)


def saturation_ratios(water: IonWater) -> dict[str, Floats]:
    """Return ion activity product over solubility product of each sparingly soluble salt, and of silica.

    Returns
    -------
    dict[str, Floats]
        1 is saturation, NaN where an ion was not measured or the water is too strong for the activity law (ionic
        strength above 1 mol/kg). Water activity is taken as 1.
    """
    found = indices(water)
    return {salt: ratio for salt, ratio in found.items() if salt != "calcite"}


def calcite_index(water: IonWater) -> Floats:
    """Return log10 of the activity product of calcium carbonate over its solubility product (calcite), with ion pairs.

    The thermodynamic form of the Langelier index; Plummer & Busenberg (1982).
    """
    return indices(water)["calcite"]


def calcite_product(temperature: npt.ArrayLike) -> Floats:
    """Return pKsp of calcite at °C, Plummer & Busenberg (1982), as in Standard Methods 2330 B."""
    kelvin = np.asarray(temperature, dtype=np.float64) + ZERO_CELSIUS
    return np.asarray(171.9065 + 0.077993 * kelvin - 2839.319 / kelvin - 71.595 * np.log10(kelvin))


def saturation_ph(
    calcium: npt.ArrayLike, alkalinity: npt.ArrayLike, tds: npt.ArrayLike, temperature: npt.ArrayLike
) -> Floats:
    """Return pH of calcium carbonate saturation by Standard Methods 2330 B: pK₂ − pKsc + pCa + pHCO₃ + 5 pfm.

    Parameters
    ----------
    calcium, alkalinity : array_like
        mg/L as Ca, and mg/L as CaCO₃ (taken as bicarbonate).
    tds, temperature : array_like
        Dissolved solids in mg/L (ionic strength taken as tds/40000; good to 0.5 mol/L) and °C.
    """
    strength = np.asarray(tds, dtype=np.float64) / 40_000
    root = np.sqrt(strength)
    pfm = debye_hueckel_constants(temperature)[0] * (root / (1 + root) - 0.3 * strength)
    ions = -_log_molar(calcium, CALCIUM_MASS) - _log_molar(alkalinity, CALCIUM_CARBONATE / 2)
    return np.asarray(second_dissociation(temperature) - calcite_product(temperature) + ions + 5 * pfm)


def simplified_saturation_ph(
    calcium: npt.ArrayLike, alkalinity: npt.ArrayLike, tds: npt.ArrayLike, temperature: npt.ArrayLike
) -> Floats:
    """Return pH of saturation by the four-factor form that stands for the chart of ASTM D3739; units as above.

    (9.3 + A + B) − (C + D) with A = (log10 tds − 1)/10, B = 34.55 − 13.12 log10(T), C = log10(Ca as CaCO₃) − 0.4,
    D = log10(alkalinity). For dissolved solids below 10,000 mg/L.
    """
    kelvin = np.asarray(temperature, dtype=np.float64) + 273
    hardness = 5 + _log_molar(calcium, CALCIUM_MASS) + np.log10(CALCIUM_CARBONATE / 100)  # log10 of mg/L as CaCO₃
    a, b = (2 + _log_molar(tds, 1.0)) / 10, 34.55 - 13.12 * np.log10(kelvin)
    return np.asarray(9.3 + a + b - (hardness - 0.4) - (3 + _log_molar(alkalinity, 1.0)))


def langelier_index(water: IonWater, tds: npt.ArrayLike, *, simplified: bool = False) -> Floats:
    """Return pH − pHs of a water with *tds* in mg/L; above zero calcium carbonate can form. ASTM D3739.

    *simplified* takes the four-factor form; the two differ by 0.2 to 0.3, so print which one was used.
    """
    form = simplified_saturation_ph if simplified else saturation_ph
    return np.asarray(water.ph - form(water.calcium, water.alkalinity, tds, water.temperature))


def stiff_davis_constant(strength: npt.ArrayLike, temperature: npt.ArrayLike) -> Floats:
    """Return K of the Stiff & Davis index at ionic strength (mol/L) and °C.

    A circulating fit to the chart of ASTM D4582, written from memory; its branches differ by 0.1 where they meet
    (1.2 mol/L). NaN outside 0 to 4 mol/L.
    """
    ions, warmth = np.asarray(strength, dtype=np.float64), np.asarray(temperature, dtype=np.float64)
    usable = (ions > 0) & (ions <= 4)
    shape = -0.0002 * warmth**2 + 0.00097 * warmth
    weak = 2.022 * np.exp((np.log(np.where(usable, ions, 1.0)) + 7.544) ** 2 / 102.6) + 0.262
    return np.where(usable, np.where(ions < 1.2, weak, 3.887 - 0.1 * ions) + shape, np.nan)


def stiff_davis_index(water: IonWater) -> Floats:
    """Return pH − pCa − pAlk − K of a concentrate above 10,000 mg/L dissolved solids, ASTM D4582."""
    ions = _log_molar(water.calcium, CALCIUM_MASS) + _log_molar(water.alkalinity, CALCIUM_CARBONATE / 2)
    return np.asarray(water.ph + ions - stiff_davis_constant(ionic_strength(water), water.temperature))


def silica_solubility(temperature: npt.ArrayLike, ph: npt.ArrayLike = 7.0) -> Floats:
    """Return the solubility of amorphous silica in mg/L SiO₂ at °C and pH.

    log10 m = 0.3380 − 7.8890e-4 T − 840.1/T (Rimstidt & Barnes 1980) times 1 + 10^(pH − pK₁), pK₁ of silicic acid
    9.83 at 25 °C with 25.6 kJ/mol (Nordstrom et al. 1990). The chart of ASTM D4993 lies some 10 % higher at 25 °C and
    rises below pH 7 too; this curve is the safer one. Good from 0 to 100 °C and to pH 9.5 (NaN above).
    """
    kelvin = np.asarray(temperature, dtype=np.float64) + ZERO_CELSIUS
    neutral = 60_083 * 10 ** (0.3380 - 7.8890e-4 * kelvin - 840.1 / kelvin)
    acid = 9.83 + 25_606 / 8.314462618 / np.log(10) * (1 / kelvin - 1 / 298.15)
    reaction = np.asarray(ph, dtype=np.float64)
    return np.asarray(neutral * np.where(reaction <= 9.5, 1 + 10 ** (reaction - acid), np.nan))


def indices(water: IonWater) -> dict[str, Floats]:
    """Return what is compared with :data:`SATURATION_LIMITS`: saturation ratios, and the index for calcite."""
    active = activities(water).of
    with np.errstate(divide="ignore"):
        logs = {ion: np.log10(value) for ion, value in active.items()}
    found = {
        salt: 10 ** (_product(logs, ions) - solubility_product(salt, water.temperature))
        for salt, ions in _SALTS.items()
    }
    found["silica"] = np.asarray(water.silica / silica_solubility(water.temperature, water.ph))
    found["calcite"] = np.asarray(logs["calcium"] + logs["carbonate"] + calcite_product(water.temperature))
    return found


def _product(logs: Mapping[str, Floats], ions: tuple[tuple[str, int], ...]) -> Floats:
    return np.asarray(sum((count * logs[ion] for ion, count in ions), np.zeros(())))


def highest_safe_recovery(
    feed: IonWater, limits: Mapping[str, float] = SATURATION_LIMITS, passages: Mapping[str, float] | None = None
) -> SafeRecovery:
    """Return the highest recovery, to 0.1 %, up to which no index of the concentrate passes its limit.

    Parameters
    ----------
    feed : IonWater
        One analysis (numbers).
    limits : Mapping[str, float]
        Salt → saturation ratio (index for calcite); an antiscalant's stated limits go here.
    passages : Mapping[str, float], optional
        As in :func:`concentrate_water`.
    """
    grid = np.arange(0, MOST_RECOVERY + 0.0005, 0.001)
    found = indices(concentrate_water(feed, grid, passages))
    per_salt = {salt: _last_within(grid, np.broadcast_to(found[salt], grid.shape), top) for salt, top in limits.items()}
    known = {salt: value for salt, value in per_salt.items() if np.isfinite(value)}
    if not known:
        return SafeRecovery(np.nan, "", per_salt)
    limiting = min(known, key=lambda salt: known[salt])
    return SafeRecovery(known[limiting], limiting if known[limiting] < grid[-1] else "", per_salt)


def _last_within(grid: Floats, index: Floats, limit: float) -> float:
    """Return the last recovery before the index first passes its limit or cannot be told; NaN if not even at none."""
    within = index <= limit
    if not np.isfinite(index[0]):
        return np.nan
    if within.all():
        return float(grid[-1])
    first = int(np.argmin(within))
    return float(grid[first - 1]) if first else 0.0


def _log_molar(strength: npt.ArrayLike, mass: float) -> Floats:
    """Return log10 of mg/L over g/mol in mol/L; minus infinity where there is nothing."""
    with np.errstate(divide="ignore"):
        return np.asarray(np.log10(np.asarray(strength, dtype=np.float64) / 1000 / mass))
