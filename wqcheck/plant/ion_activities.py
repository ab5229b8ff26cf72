"""Turns the ions of a water into the activities of free ions: ionic strength, activity coefficients and ion pairs.

Constants at 25 °C and their enthalpies are those compiled by Nordstrom et al. (1990, ACS Symposium Series 416, ch. 31)
and Plummer & Busenberg (1982, Geochim. Cosmochim. Acta 46); ion sizes are Truesdell & Jones's (1974, J. Res. USGS 2).
Good to an ionic strength of about 1 mol/kg and 0 to 50 °C; beyond :data:`STRONGEST` every activity is NaN.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cache
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from wqcheck.parameters import find_parameter

Floats = npt.NDArray[np.float64]

ZERO_CELSIUS = 273.15
STRONGEST = 1.0  # mol/kg, above it Davies and Truesdell-Jones coefficients are not used
_KCAL = 4.184  # kJ
_GAS = 8.314462618e-3  # kJ/(mol·K)
_ROUNDS = 80
_CLOSE = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class IonWater:
    """A water analysis: numbers or arrays of one shape.

    ``temperature`` in °C, ``ph`` in pH units, ``alkalinity`` in mg/L as CaCO₃, ``silica`` in mg/L as SiO₂, ions in mg/L
    as themselves. NaN means not measured: potassium, nitrate, strontium, barium, fluoride, silica may be; they then
    count nothing in the ionic strength, and their own salts are not evaluated.
    """

    temperature: float | Floats
    ph: float | Floats
    calcium: float | Floats
    magnesium: float | Floats
    sodium: float | Floats
    alkalinity: float | Floats
    sulfate: float | Floats
    chloride: float | Floats
    potassium: float | Floats = np.nan
    nitrate: float | Floats = np.nan
    strontium: float | Floats = np.nan
    barium: float | Floats = np.nan
    fluoride: float | Floats = np.nan
    silica: float | Floats = np.nan


CHARGES = {
    "calcium": 2, "magnesium": 2, "sodium": 1, "potassium": 1, "strontium": 2, "barium": 2,
    "chloride": -1, "sulfate": -2, "fluoride": -1, "nitrate": -1,
}  # fmt: skip
OPTIONAL = ("potassium", "nitrate", "strontium", "barium", "fluoride")

_SIZES = {
    "calcium": (5.0, 0.165), "magnesium": (5.5, 0.20), "sodium": (4.0, 0.075), "potassium": (3.5, 0.015),
    "strontium": (5.26, 0.121), "barium": (5.0, 0.0), "chloride": (3.5, 0.015), "sulfate": (5.0, -0.04),
    "fluoride": (3.5, 0.0), "nitrate": (3.0, 0.0), "bicarbonate": (5.4, 0.0), "carbonate": (5.4, 0.0),
}  # fmt: skip
"""Ion size a in ångström and b in kg/mol of Truesdell & Jones (1974)."""

_PAIRS = (
    ("calcium", "sulfate", 2.30, 1.650), ("magnesium", "sulfate", 2.37, 4.550), ("sodium", "sulfate", 0.70, 1.120),
    ("potassium", "sulfate", 0.85, 2.250), ("strontium", "sulfate", 2.29, 2.080), ("barium", "sulfate", 2.70, 0.0),
    ("calcium", "bicarbonate", 1.106, 2.690), ("magnesium", "bicarbonate", 1.07, 0.790),
    ("strontium", "bicarbonate", 1.18, 6.050), ("sodium", "bicarbonate", -0.25, 0.0),
    ("calcium", "carbonate", 3.224, 3.545), ("magnesium", "carbonate", 2.98, 2.713),
    ("sodium", "carbonate", 1.27, 8.910), ("calcium", "fluoride", 0.94, 4.120), ("magnesium", "fluoride", 1.82, 3.200),
)  # fmt: skip
"""Cation, anion, log10 of the association constant at 25 °C, enthalpy in kcal/mol."""


class Activities(NamedTuple):
    """Activities of free ions (name → array, dimensionless) and the ionic strength in mol/kg, of one shape."""

    of: dict[str, Floats]
    ionic_strength: Floats


def molality(water: IonWater) -> dict[str, Floats]:
    """Return total molality of each ion in mol/kg of water, and ``alkalinity`` in eq/kg; a litre is taken as 1 kg."""
    known = [_array(getattr(water, name)) for name in CHARGES]
    dissolved = sum((np.nan_to_num(value) for value in known), np.zeros(()))
    kilograms = 1 - 1e-6 * (dissolved + 1.2 * _array(water.alkalinity))
    totals = {name: value / 1000 / _masses()[name] / kilograms for name, value in zip(CHARGES, known, strict=True)}
    totals["alkalinity"] = _array(water.alkalinity) / 1000 / _masses()["alkalinity"] / kilograms
    return totals


def ionic_strength(water: IonWater) -> Floats:
    """Return the ionic strength in mol/kg without ion pairs, alkalinity counted as bicarbonate: ½ Σ m z²."""
    totals = {name: _counted(name, value) for name, value in molality(water).items()}
    shares = (totals[name] * charge**2 for name, charge in CHARGES.items())
    return _array(0.5 * (sum(shares, np.zeros(())) + totals["alkalinity"]))


def charge_balance(water: IonWater) -> Floats:
    """Return (cations − anions)/(cations + anions) of charges as a fraction, Standard Methods 1030 E (CO₃ as HCO₃)."""
    totals = {name: _counted(name, value) for name, value in molality(water).items()}
    signed = [totals[name] * charge for name, charge in CHARGES.items()]
    net = sum(signed, -totals["alkalinity"])
    whole = sum(map(np.abs, signed), totals["alkalinity"])
    return _array(net / np.where(whole > 0, whole, np.nan))


def debye_hueckel_constants(temperature: npt.ArrayLike) -> tuple[Floats, Floats]:
    """Return A (kg½/mol½, base 10) and B (kg½/mol½/Å) of the Debye-Hückel law at °C.

    A = 1.82e6 (εT)^−1.5 and ε = 60954/(T + 116) − 68.937 as in Standard Methods 2330 B; B = 50.3/√(εT).
    """
    kelvin = _array(temperature) + ZERO_CELSIUS
    warm = (60954 / (kelvin + 116) - 68.937) * kelvin
    return _array(1.82e6 * warm**-1.5), _array(50.3 / np.sqrt(warm))


def davies(charge: int, strength: npt.ArrayLike, a: npt.ArrayLike) -> Floats:
    """Return log10 of the activity coefficient, −A z²(√I/(1 + √I) − 0.3 I); good to 0.5 mol/kg, Davies (1962)."""
    root = np.sqrt(_array(strength))
    return _array(-_array(a) * charge**2 * (root / (1 + root) - 0.3 * root**2))


def truesdell_jones(name: str, strength: npt.ArrayLike, a: npt.ArrayLike, b: npt.ArrayLike) -> Floats:
    """Return log10 of an ion's activity coefficient, −A z² √I/(1 + B å √I) + b I; good to about 1 mol/kg."""
    root = np.sqrt(_array(strength))
    size, linear = _SIZES[name]
    return _array(-_array(a) * _charge(name) ** 2 * root / (1 + _array(b) * size * root) + linear * root**2)


def activities(water: IonWater) -> Activities:
    """Return the activities of the free ions of a water, ion pairs taken off.

    The free molalities are found by repeating mass balances (damped) until none moves; NaN where that fails or the
    ionic strength passes :data:`STRONGEST`.
    """
    totals = molality(water)
    counted = np.broadcast_arrays(*(_counted(name, value) for name, value in totals.items()), _array(water.ph))
    *amounts, ph = (np.array(value, dtype=np.float64) for value in counted)
    total = dict(zip(totals, amounts, strict=True))
    frame = _frame(np.broadcast_to(_array(water.temperature), ph.shape), ph)
    free = {name: total[name].copy() for name in CHARGES} | {"bicarbonate": total["alkalinity"].copy()}
    moved = np.full(ph.shape, np.inf)
    for _ in range(_ROUNDS):
        new = _balanced(total, free, frame)
        moved = np.max([np.abs(new[name] - free[name]) / (new[name] + 1e-30) for name in new], axis=0)
        free = {name: (free[name] + new[name]) / 2 for name in new}
        if np.all((moved < _CLOSE) | np.isnan(moved)):
            break
    strength = _free_strength(free, frame)
    sound = (moved < 1e3 * _CLOSE) & (strength <= STRONGEST)
    found = _free_activities(free, _coefficients(strength, frame), frame)
    given = {name: sound & np.isfinite(np.broadcast_to(totals.get(name, 0.0), ph.shape)) for name in found}
    return Activities({name: np.where(given[name], value, np.nan) for name, value in found.items()}, strength)


def second_dissociation(temperature: npt.ArrayLike) -> Floats:
    """Return pK₂ of carbonic acid at °C, Plummer & Busenberg (1982), as in Standard Methods 2330 B."""
    kelvin = _array(temperature) + ZERO_CELSIUS
    warm = 0.03252849 * kelvin - 5151.79 / kelvin + 563713.9 / kelvin**2
    return _array(107.8871 + warm - 38.92561 * np.log10(kelvin))


class _Frame(NamedTuple):
    """What stays while the balances are repeated: Debye-Hückel A and B, association constants, CO₃ over HCO₃."""

    a: Floats
    b: Floats
    constants: tuple[Floats, ...]
    carbonate: Floats


def _frame(warmth: Floats, ph: Floats) -> _Frame:
    a, b = debye_hueckel_constants(warmth)
    constants = tuple(10 ** van_t_hoff(log, enthalpy, warmth) for _, _, log, enthalpy in _PAIRS)
    return _Frame(a, b, constants, _array(10 ** (ph - second_dissociation(warmth))))


def _coefficients(strength: Floats, frame: _Frame) -> dict[str, Floats]:
    """Return the activity coefficient of each ion at an ionic strength."""
    return {name: 10 ** truesdell_jones(name, strength, frame.a, frame.b) for name in _SIZES}


def _free_activities(free: dict[str, Floats], gamma: dict[str, Floats], frame: _Frame) -> dict[str, Floats]:
    """Return activities of the free ions, carbonate from bicarbonate and pH."""
    found = {name: value * gamma[name] for name, value in free.items()}
    return found | {"carbonate": found["bicarbonate"] * frame.carbonate}


def _free_strength(free: dict[str, Floats], frame: _Frame) -> Floats:
    """Return ½ Σ m z² of the free ions; carbonate by pK₂ alone, its coefficient adds little."""
    shares = (value * _charge(name) ** 2 for name, value in free.items())
    return _array(0.5 * sum(shares, 4 * free["bicarbonate"] * frame.carbonate))


def _balanced(total: dict[str, Floats], free: dict[str, Floats], frame: _Frame) -> dict[str, Floats]:
    """Return the free molalities that the mass balances give with the partners of *free*."""
    strength = _free_strength(free, frame)
    gamma = _coefficients(strength, frame)
    active = _free_activities(free, gamma, frame)
    single = 10 ** -davies(1, strength, frame.a)  # 1/γ of a pair with one charge
    bound = {name: np.ones_like(strength) for name in free}
    on_carbonate = np.zeros_like(strength)
    for (cation, anion, _, _), constant in zip(_PAIRS, frame.constants, strict=True):
        pair = constant * single ** (_charge(cation) + _charge(anion)) ** 2
        bound[cation] += pair * gamma[cation] * active[anion]
        if anion == "carbonate":
            on_carbonate += pair * active[cation]
        else:
            bound[anion] += pair * gamma[anion] * active[cation]
    ratio = frame.carbonate * gamma["bicarbonate"]
    bound["bicarbonate"] += 2 * ratio * (1 / gamma["carbonate"] + on_carbonate)
    return {name: total.get(name, total["alkalinity"]) / bound[name] for name in free}


def _charge(name: str) -> int:
    return CHARGES.get(name, -2 if name == "carbonate" else -1)


def van_t_hoff(log_constant: float, enthalpy: float, temperature: npt.ArrayLike) -> Floats:
    """Return log10 K at °C of a constant known at 25 °C with its enthalpy in kcal/mol."""
    kelvin = _array(temperature) + ZERO_CELSIUS
    return _array(log_constant + enthalpy * _KCAL / _GAS / np.log(10) * (1 / (25 + ZERO_CELSIUS) - 1 / kelvin))


@cache
def _masses() -> dict[str, float]:
    """Return grams per mole of each ion (per equivalent for alkalinity) from the catalogue."""
    masses = {name: find_parameter(name).molar_mass or np.nan for name in CHARGES}
    return masses | {"alkalinity": find_parameter("alkalinity").bases["CaCO3"]}


def _counted(name: str, value: Floats) -> Floats:
    """Return an optional ion that was not measured as nothing; a needed one stays NaN."""
    return np.nan_to_num(value) if name in OPTIONAL else value


def _array(values: npt.ArrayLike) -> Floats:
    return np.asarray(values, dtype=np.float64)


def ion_names() -> tuple[str, ...]:
    """Return the names of all that an :class:`IonWater` holds."""
    return tuple(field.name for field in fields(IonWater))
