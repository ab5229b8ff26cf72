"""Turns flows, pressures and concentrations of a reverse-osmosis unit into its working figures, and compares two days.

All functions take arrays of one shape (or numbers), SI units or those accepted with SI, and return the same shape.
The membrane maker's own limits and factors prevail over any general constant here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

GAS_CONSTANT = 8.314462618  # kPa·L/(mol·K), CODATA 2018
ZERO_CELSIUS = 273.15
REFERENCE_TEMPERATURE = 25.0  # °C
TEMPERATURE_CONSTANT = (
    2640.0  # K, thin-film polyamide above and below 25 °C (common practice; the maker's own prevails)
)
KPA_PER_MG_L = 0.0689476  # 1 psi per 100 mg/L, rule of thumb (common practice, no source)
PRESSURE_DROP_EXPONENT = 1.5  # differential pressure against mean flow; makers use 1.4 to 1.6


class Rejections(NamedTuple):
    """The three rejections that data sheets call by one name, as fractions.

    ``nominal`` is against the feed, ``log_mean`` against the log-mean of the feed-brine channel, ``arithmetic`` against
    the mean of feed and concentrate.
    """

    nominal: Floats
    log_mean: Floats
    arithmetic: Floats


class Closure(NamedTuple):
    """What permeate and concentrate together lack (−) or exceed (+) of the feed: amounts, and as a fraction of feed."""

    difference: Floats
    fraction: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class MembraneDay:
    """Readings of one reverse-osmosis unit at one time, SI.

    ``feed_flow`` and ``permeate_flow`` in m³/h; ``feed_pressure``, ``differential`` (feed to concentrate) and
    ``permeate_pressure`` in kPa gauge; ``temperature`` in °C; ``feed_tds`` and ``permeate_tds`` in mg/L.
    """

    feed_flow: float
    permeate_flow: float
    feed_pressure: float
    differential: float
    permeate_pressure: float
    temperature: float
    feed_tds: float
    permeate_tds: float


def _array(values: npt.ArrayLike) -> Floats:
    return np.asarray(values, dtype=np.float64)


def _share(part: npt.ArrayLike, whole: npt.ArrayLike) -> Floats:
    """Return part over whole, NaN where the whole is not above zero."""
    bottom = _array(whole)
    return _array(_array(part) / np.where(bottom > 0, bottom, np.nan))


def recovery(permeate_flow: npt.ArrayLike, feed_flow: npt.ArrayLike) -> Floats:
    """Return the share of the feed that leaves as permeate (both flows in one unit); NaN where there is no feed."""
    return _share(permeate_flow, feed_flow)


def concentration_factor(recovered: npt.ArrayLike, salt_passage: npt.ArrayLike = 0.0) -> Floats:
    """Return how many times stronger than the feed the concentrate is.

    Parameters
    ----------
    recovered : array_like
        Recovery Y as a fraction, 0 up to but not including 1.
    salt_passage : array_like
        Permeate over feed concentration as a fraction, 0 to 1.

    Returns
    -------
    Floats
        (1 − Y·SP)/(1 − Y), dimensionless; NaN outside those ranges. ASTM D4582 and D3739, 7.1 and 7.2.
    """
    y, passage = _array(recovered), _array(salt_passage)
    usable = (y >= 0) & (y < 1) & (passage >= 0) & (passage <= 1)
    return np.where(usable, (1 - y * passage) / np.where(usable, 1 - y, 1.0), np.nan)


def log_mean_factor(recovered: npt.ArrayLike) -> Floats:
    """Return mean feed-brine over feed concentration, ln(1/(1 − Y))/Y; 1 at no recovery. ASTM D4516."""
    y = _array(recovered)
    usable = (y >= 0) & (y < 1)
    inner = np.where(usable & (y > 0), y, 0.5)
    return np.where(usable, np.where(y > 0, -np.log1p(-inner) / inner, 1.0), np.nan)


def salt_passage(permeate: npt.ArrayLike, feed: npt.ArrayLike) -> Floats:
    """Return permeate over feed concentration (one unit), the nominal salt passage as a fraction."""
    return _share(permeate, feed)


def rejections(feed: npt.ArrayLike, permeate: npt.ArrayLike, recovered: npt.ArrayLike) -> Rejections:
    """Return the three rejections of one pair of concentrations (one unit) at recovery Y (fraction).

    The concentrate is taken from the balance, so that the nominal figure is the lowest; negative figures stay.
    """
    passage = salt_passage(permeate, feed)
    strong = concentration_factor(recovered, np.clip(passage, 0, 1))
    return Rejections(1 - passage, 1 - passage / log_mean_factor(recovered), 1 - 2 * passage / (1 + strong))


def osmotic_pressure_of_ions(molar: npt.ArrayLike, temperature: npt.ArrayLike, osmotic: float = 1.0) -> Floats:
    """Return osmotic pressure in kPa by van 't Hoff, counting ions.

    Parameters
    ----------
    molar : array_like
        Sum over all dissolved species in mol/L; one mole of NaCl counts 2, of CaCl₂ 3.
    temperature : array_like
        °C.
    osmotic : float
        Osmotic coefficient; 1 is ideal and about 5 to 10 % too high for brackish salt water.
    """
    kelvin = _array(temperature) + ZERO_CELSIUS
    return osmotic * _array(molar) * GAS_CONSTANT * kelvin


def osmotic_pressure_as_nacl(concentration: npt.ArrayLike, temperature: npt.ArrayLike) -> Floats:
    """Return osmotic pressure in kPa of mg/L taken as sodium chloride at °C: 0.2654 C T/(1000 − C/1000), ASTM D4516."""
    strength = _array(concentration)
    return 0.2654 * strength * (_array(temperature) + ZERO_CELSIUS) / (1000 - strength / 1000)


def osmotic_pressure_by_rule(concentration: npt.ArrayLike) -> Floats:
    """Return osmotic pressure in kPa as 1 psi per 100 mg/L (rule of thumb, common practice, no source)."""
    return KPA_PER_MG_L * _array(concentration)


def net_driving_pressure(day: MembraneDay) -> Floats:
    """Return the mean pressure that drives water through, in kPa: Pf − ΔP/2 − Pp − πfb + πp, ASTM D4516.

    Osmotic pressures are taken as sodium chloride, the feed-brine one at the log-mean concentration. It may be zero or
    negative: then no permeate can be explained by the readings.
    """
    mean = np.multiply(day.feed_tds, log_mean_factor(recovery(day.permeate_flow, day.feed_flow)))
    brine = osmotic_pressure_as_nacl(mean, day.temperature)
    permeate = osmotic_pressure_as_nacl(day.permeate_tds, day.temperature)
    return np.asarray(day.feed_pressure - day.differential / 2 - day.permeate_pressure - brine + permeate)


def temperature_flow_factor(temperature: npt.ArrayLike, constant: float = TEMPERATURE_CONSTANT) -> Floats:
    """Return permeate flow at °C over that at 25 °C, exp(K(1/298.15 − 1/T)): above 1 in warm water, K in kelvin."""
    kelvin = _array(temperature) + ZERO_CELSIUS
    return np.exp(constant * (1 / (REFERENCE_TEMPERATURE + ZERO_CELSIUS) - 1 / kelvin))


def temperature_correction(temperature: npt.ArrayLike, constant: float = TEMPERATURE_CONSTANT) -> Floats:
    """Return the reciprocal form: the factor that takes a flow measured at °C to 25 °C, below 1 in warm water."""
    return 1 / temperature_flow_factor(temperature, constant)


def normalised_permeate_flow(
    actual: MembraneDay, standard: MembraneDay, constant: float = TEMPERATURE_CONSTANT
) -> Floats:
    """Return the permeate flow in m³/h that *actual* would give at the conditions of *standard*, ASTM D4516.

    Flow × (net driving pressure standard/actual) × (temperature flow factor standard/actual). NaN where the actual net
    driving pressure is not above zero.
    """
    drive = net_driving_pressure(actual)
    ratio = net_driving_pressure(standard) / np.where(drive > 0, drive, np.nan)
    warmth = temperature_flow_factor(standard.temperature, constant) / temperature_flow_factor(
        actual.temperature, constant
    )
    return np.asarray(actual.permeate_flow * ratio * warmth)


def standardised_salt_passage(
    actual: MembraneDay, standard: MembraneDay, constant: float = TEMPERATURE_CONSTANT
) -> Floats:
    """Return the salt passage (fraction) that *actual* would have at *standard* conditions, ASTM D4516 6.3.

    SPa (EPFa/EPFs)(STCFs/STCFa)(Cfbs/Cfba)(Cfa/Cfs) with the element permeate flow taken as the unit's, and the salt
    temperature factor as the water one unless another *constant* (K) is given.
    """
    flows = actual.permeate_flow / standard.permeate_flow
    warmth = temperature_flow_factor(standard.temperature, constant) / temperature_flow_factor(
        actual.temperature, constant
    )
    means = [log_mean_factor(recovery(day.permeate_flow, day.feed_flow)) for day in (standard, actual)]
    return salt_passage(actual.permeate_tds, actual.feed_tds) * flows * warmth * means[0] / means[1]


def normalised_differential(
    actual: MembraneDay, standard: MembraneDay, exponent: float = PRESSURE_DROP_EXPONENT
) -> Floats:
    """Return the differential pressure in kPa that *actual* would show at the mean feed-brine flow of *standard*.

    ΔP × (mean flow standard/actual)^exponent, mean of feed and concentrate flow (common practice; ASTM D4516 has none).
    """
    means = [day.feed_flow - day.permeate_flow / 2 for day in (standard, actual)]
    return np.asarray(actual.differential * np.power(means[0] / means[1], exponent))


def change_since(actual: npt.ArrayLike, standard: npt.ArrayLike) -> Floats:
    """Return the change of a figure as a fraction of what it was; NaN where it was zero."""
    return _share(actual, standard) - 1


def flow_closure(feed: npt.ArrayLike, permeate: npt.ArrayLike, concentrate: npt.ArrayLike) -> Closure:
    """Return how permeate and concentrate flow meet the feed flow (one unit); settle this before any salt balance."""
    difference = _array(permeate) + _array(concentrate) - _array(feed)
    return Closure(difference, _share(difference, feed))


def mass_closure(
    flows: tuple[npt.ArrayLike, npt.ArrayLike, npt.ArrayLike],
    strengths: tuple[npt.ArrayLike, npt.ArrayLike, npt.ArrayLike],
) -> Closure:
    """Return how the mass in permeate and concentrate meets that in the feed.

    Parameters
    ----------
    flows, strengths : tuple of array_like
        Feed, permeate, concentrate: flows in one unit, concentrations in one unit.
    """
    feed, permeate, concentrate = (np.multiply(flow, strength) for flow, strength in zip(flows, strengths, strict=True))
    return flow_closure(feed, permeate, concentrate)
