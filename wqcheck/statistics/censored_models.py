"""Turns results with non-detects into statistics under a lognormal distribution, or by an expressly asked substitution.

Regression on order statistics (ROS) fills the non-detects in from a line through the detections; maximum likelihood
fits the distribution to both. Neither is given for a series that is nearly all non-detects.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize
from scipy.special import log_ndtr, ndtri

from wqcheck.statistics.censored import LEAST_DETECTS, Bools, Floats, LeftCensored, NoStatistic, too_few

MOST_NON_DETECTS = 0.8
"""Share of non-detects above which no lognormal statistic is given (Helsel 2012, ch. 6, recommendations)."""

SUBSTITUTION_WARNING = "substituted values, not statistics of the results: they follow the reporting limits"


@dataclass(frozen=True, slots=True, eq=False)
class FilledIn:
    """A series whose non-detects were replaced by numbers.

    Attributes
    ----------
    method : str
        How.
    value : array of float, shape (n,)
        Ascending, in the unit of the results.
    warning : str
        What to beware of, blank for nothing.
    """

    method: str
    value: Floats
    warning: str = ""

    @property
    def mean(self) -> float:
        """The arithmetic mean, in the unit of the results."""
        return float(self.value.mean())

    @property
    def standard_deviation(self) -> float:
        """The sample standard deviation (n - 1), in the unit of the results; NaN for one result."""
        return float(self.value.std(ddof=1)) if len(self.value) > 1 else float("nan")

    def percentile(self, share: float) -> float:
        """Return the percentile at *share* (0 to 1), between ranks by Hyndman and Fan (1996), definition 7."""
        return float(np.quantile(self.value, share))


def substitution(sample: LeftCensored, share: float) -> FilledIn | NoStatistic:
    """Return the series with each non-detect replaced by *share* of its reporting limit; only on express demand.

    A series of non-detects alone has no statistic here either. The result carries a warning (Helsel 2012, ch. 1).
    """
    refused = too_few(sample, least=1)
    if refused is not None:
        return refused
    warning = "" if sample.detected.all() else SUBSTITUTION_WARNING
    return FilledIn(f"non-detects as {share:g} of the limit", np.sort(sample.substituted(share)), warning)


def regression_on_order_statistics(sample: LeftCensored, offset: float = 0.0) -> FilledIn | NoStatistic:
    """Return the series with its non-detects filled in by robust regression on order statistics, lognormal.

    Parameters
    ----------
    sample : LeftCensored
        The results of one series, shape (n,).
    offset : float
        Constant ``a`` of the plotting positions ``(rank - a)/(number + 1 - 2 a)``: 0 for Weibull's (so Helsel 2012
        and US EPA 2009), 0.375 for Blom's.

    Notes
    -----
    Logarithms of the detections are regressed on the normal quantiles of their plotting positions; non-detects take
    the value of the line at theirs (Helsel and Cohn 1988, Water Resour. Res. 24:1997; Helsel 2012, 6.3).
    """
    refused = _not_lognormal(sample)
    if refused is not None:
        return refused
    order = np.lexsort((sample.detected, sample.value))
    value, detected = sample.value[order], sample.detected[order]
    quantile = ndtri(plotting_positions(LeftCensored(value, detected), offset))
    slope, intercept = np.polyfit(quantile[detected], np.log(value[detected]), 1)
    return FilledIn("robust ROS, lognormal", np.sort(np.where(detected, value, np.exp(intercept + slope * quantile))))


def plotting_positions(sample: LeftCensored, offset: float = 0.0) -> Floats:
    """Return the probability at which each result of an ascending *sample* is plotted, shape (n,).

    Notes
    -----
    Detections between two reporting limits share the probability between the limits' exceedance probabilities; the
    non-detects of a limit share what lies below it (Hirsch and Stedinger 1987, Water Resour. Res. 23:715; Helsel and
    Cohn 1988). A detection at a limit lies above it.
    """
    value, detected = sample.value, sample.detected
    limits = np.unique(np.append(value[~detected], 0.0))
    interval = np.searchsorted(limits, value, side="right") - 1
    exceeded = np.append(_exceedance(sample, limits, interval), 0.0)
    position = np.empty(len(value))
    for j in range(len(limits)):
        for members in (detected & (interval == j), ~detected & (interval == j)):
            number = int(members.sum())
            share = (np.arange(1, number + 1) - offset) / (number + 1 - 2 * offset)
            between = 1 - exceeded[j] + (exceeded[j] - exceeded[j + 1]) * share
            position[members] = np.where(detected[members], between, (1 - exceeded[j]) * share)
    return position


def _exceedance(sample: LeftCensored, limits: Floats, interval: npt.NDArray[np.intp]) -> Floats:
    """Return the probability of exceeding each of the ascending *limits*, worked downward from the highest."""
    value, detected = sample.value, sample.detected
    above = np.bincount(interval[detected], minlength=len(limits))
    below = np.searchsorted(np.sort(value[detected]), limits, side="left")
    below = below + np.searchsorted(np.sort(value[~detected]), limits, side="right")
    exceeded, higher = np.zeros(len(limits)), 0.0
    for j in range(len(limits) - 1, -1, -1):
        share = above[j] / (above[j] + below[j]) if above[j] else 0.0
        higher += share * (1 - higher)
        exceeded[j] = higher
    return exceeded


@dataclass(frozen=True, slots=True, eq=False)
class Lognormal:
    """A lognormal distribution fitted by maximum likelihood.

    Attributes
    ----------
    mu, sigma : float
        Mean and standard deviation of the natural logarithms.
    covariance : array of float, shape (2, 2)
        Of the estimates of ``mu`` and ``sigma``, from the observed information.
    """

    mu: float
    sigma: float
    covariance: Floats

    @property
    def mean(self) -> float:
        """The mean, ``exp(mu + sigma²/2)`` (Helsel 2012, 6.2)."""
        return float(np.exp(self.mu + self.sigma**2 / 2))

    @property
    def standard_deviation(self) -> float:
        """The standard deviation, the mean times the root of ``exp(sigma²) - 1``."""
        return float(self.mean * np.sqrt(np.expm1(self.sigma**2)))

    def percentile(self, share: float) -> float:
        """Return the percentile at *share* (0 to 1): ``exp(mu + z sigma)``; at 0.5 the median, no data value."""
        return float(np.exp(self.mu + ndtri(share) * self.sigma))

    def percentile_limits(self, share: float, confidence: float = 0.95) -> tuple[float, float]:
        """Return two-sided confidence limits of a percentile, large-sample (Meeker, Hahn and Escobar 2017, 14.3)."""
        return self._limits(self.mu + ndtri(share) * self.sigma, (1.0, float(ndtri(share))), confidence)

    def mean_limits(self, confidence: float = 0.95) -> tuple[float, float]:
        """Return two-sided confidence limits of the mean by Cox's method (Olsson 2005, J. Stat. Educ. 13, no. 1)."""
        return self._limits(self.mu + self.sigma**2 / 2, (1.0, self.sigma), confidence)

    def _limits(self, logarithm: float, slopes: tuple[float, float], confidence: float) -> tuple[float, float]:
        gradient = np.array(slopes)
        reach = ndtri((1 + confidence) / 2) * np.sqrt(gradient @ self.covariance @ gradient)
        return float(np.exp(logarithm - reach)), float(np.exp(logarithm + reach))


def maximum_likelihood(sample: LeftCensored) -> Lognormal | NoStatistic:
    """Return the lognormal distribution under which the results are most likely.

    Notes
    -----
    The log-likelihood sums ``log φ(z) - log sigma`` over detections and ``log Φ(z)`` over non-detects, with ``z`` the
    standardised logarithm of the result or limit (Cohen 1959, Technometrics 1:217; Helsel 2012, 6.2).
    """
    refused = _not_lognormal(sample)
    if refused is not None:
        return refused
    logs = np.log(sample.value)
    spread = float(np.std(logs[sample.detected]))
    start = np.array([float(logs.mean()), np.log(spread)])
    found = minimize(_loss, start, args=(logs, sample.detected), jac=True, method="BFGS", options={"gtol": 1e-9})
    mu, log_sigma = (float(part) for part in found.x)
    sigma = float(np.exp(log_sigma))
    return Lognormal(mu, sigma, _covariance(mu, sigma, logs, sample.detected))


def _not_lognormal(sample: LeftCensored) -> NoStatistic | None:
    """Return why no lognormal distribution can be fitted, None when it can."""
    refused = too_few(sample)
    if refused is not None:
        return refused
    hidden = 1 - float(sample.detected.mean())
    if hidden > MOST_NON_DETECTS:
        return NoStatistic(f"{hidden:.0%} of the results are non-detects, too many for a fit")
    if (sample.value <= 0).any():
        return NoStatistic("a result of 0 or less has no logarithm")
    if len(np.unique(sample.value[sample.detected])) < LEAST_DETECTS:
        return NoStatistic(f"fewer than {LEAST_DETECTS} different values were detected")
    return None


def _ratio(z: Floats) -> Floats:
    """Return ``φ(z)/Φ(z)`` without underflow."""
    ratio: Floats = np.exp(-(z**2) / 2 - np.log(2 * np.pi) / 2 - log_ndtr(z))
    return ratio


def _loss(place: Floats, logs: Floats, detected: Bools) -> tuple[float, Floats]:
    """Return the negative log-likelihood at (mu, log sigma), and its gradient."""
    mu, log_sigma = place
    z = (logs - mu) / np.exp(log_sigma)
    seen, hidden = z[detected], z[~detected]
    loss = float((seen**2 / 2 + log_sigma).sum() - log_ndtr(hidden).sum())
    ratio = _ratio(hidden)
    by_mu = (ratio.sum() - seen.sum()) / np.exp(log_sigma)
    return loss, np.array([by_mu, (1 - seen**2).sum() + (ratio * hidden).sum()])


def _covariance(mu: float, sigma: float, logs: Floats, detected: Bools) -> Floats:
    """Return the inverse of the observed information of (mu, sigma)."""
    z = (logs - mu) / sigma
    seen, hidden = z[detected], z[~detected]
    ratio = _ratio(hidden)
    curve = ratio * (hidden + ratio)
    both = (2 * seen).sum() + (hidden * curve - ratio).sum()
    of_sigma = (3 * seen**2 - 1).sum() + (hidden**2 * curve - 2 * hidden * ratio).sum()
    information = np.array([[len(seen) + curve.sum(), both], [both, of_sigma]]) / sigma**2
    return np.asarray(np.linalg.inv(information), dtype=np.float64)
