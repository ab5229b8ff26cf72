"""Turns the ions of each sample into sums of charge, and sums that cannot both be right into findings.

Percent difference is 100 (Σ cations − Σ anions) / (Σ cations + Σ anions), sums in meq/L (APHA Standard Methods 1030 E;
not the definition that divides by half the sum). What is acceptable depends on the sum of the anions.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from wqcheck.findings import Finding, Severity
from wqcheck.judging.ranges import Bools, Floats, Ints
from wqcheck.parameters import find_parameter
from wqcheck.quality.sample_amounts import Amount, Samples, first_known

SOURCE = "APHA Standard Methods 1030 E"
CATIONS = ("calcium", "magnesium", "sodium", "potassium", "ammonium", "strontium", "lithium", "barium")
ANIONS = ("chloride", "sulfate", "nitrate", "nitrite", "fluoride", "bromide")
ALKALINITY = "alkalinity"
REQUIRED = ("calcium", "magnesium", "sodium", "chloride", "sulfate", ALKALINITY)
"""Without a result for each of these there is no balance (common practice, no source)."""

MAY_BE_MISSING = {"potassium": CATIONS, "nitrate": ANIONS}
"""Major ions that many sheets leave out; the sum is then only known from below."""

BANDS = ((3.0, 0.2), (10.0, 0.02), (np.inf, 0.05))
"""Up to which anion sum (meq/L) which difference is accepted: 0.2 meq/L, then shares of the sum of both."""

BEYOND_ANY = 1e6
"""meq/L that no water reaches; it stands for a sum without an upper end."""

GROSS_PERCENT = 100 / 3
"""One sum at least twice the other: a unit, a basis or a digit is wrong (common practice, no source)."""


@dataclass(frozen=True, slots=True, eq=False)
class Ions:
    """The ions of m samples in meq/L by code, ``alkalinity`` standing for bicarbonate, carbonate and hydroxide.

    ``lacking`` holds the codes of required ions without a usable result and where they lack; arrays of shape (m,).
    """

    amounts: Mapping[str, Amount]
    lacking: Mapping[str, Bools]

    def complete(self) -> Bools:
        """Return which samples have every required ion."""
        return np.asarray(np.logical_and.reduce([lacks == np.False_ for lacks in self.lacking.values()]))


@dataclass(frozen=True, slots=True, eq=False)
class Balance:
    """Sums of charge of m samples; arrays of shape (m,), in meq/L.

    Attributes
    ----------
    cations_low, cations_high, anions_low, anions_high : array of float
        What the sums can be; they agree where each ion is an exact result. NaN where a required ion is missing.
    percent : array of float
        Percent difference at the least sums, with its sign.
    excess : array of float
        The least difference that the sums leave open, as a multiple of the accepted one: above 1 they disagree.
    """

    cations_low: Floats
    cations_high: Floats
    anions_low: Floats
    anions_high: Floats
    percent: Floats
    excess: Floats


def ions_of(samples: Samples) -> Ions:
    """Return the ions of each sample in meq/L."""
    amounts = {code: samples.amount_in(code, "meq/L", "") for code in (*CATIONS, *ANIONS)}
    both = samples.amount_in("nitrate_plus_nitrite", "mg/L", "N")
    nitrogen = find_parameter("nitrate").bases["N"]
    amounts["nitrate"] = first_known(amounts["nitrate"], both.times(1 / nitrogen, 1 / nitrogen))
    amounts[ALKALINITY] = _alkalinity(samples)
    lacking = {code: amounts[code].known() == np.False_ for code in REQUIRED}
    return Ions(amounts, lacking)


def _alkalinity(samples: Samples) -> Amount:
    """Return titrated alkalinity, or else the sum of bicarbonate, carbonate and hydroxide."""
    titrated = samples.amount_in(ALKALINITY, "meq/L", "")
    forms = [samples.amount_in(code, "meq/L", "") for code in ("bicarbonate", "carbonate", "hydroxide")]
    others = [form.filled() for form in forms[1:]]
    summed = Amount(
        low=forms[0].low + others[0].low + others[1].low,
        high=forms[0].high + others[0].high + others[1].high,
        slack=forms[0].slack,
        volume_ml=forms[0].volume_ml,
        row=forms[0].row,
    )
    narrower = (summed.high - summed.low) < (titrated.high - titrated.low)
    return first_known(titrated, summed, unless=narrower & (titrated.high > titrated.low))


def balance_of(ions: Ions, ph: Amount) -> Balance:
    """Return the sums of charge of each sample; *ph* adds the hydrogen ion where it is reported."""
    hydrogen = np.nan_to_num(1000 * 10.0**-ph.low)
    cations = [ions.amounts[code].filled() for code in CATIONS]
    anions = [ions.amounts[code].filled() for code in (*ANIONS, ALKALINITY)]
    usable = np.where(ions.complete(), 0.0, np.nan)
    cations_low, cations_high = (
        sum((getattr(ion, end) for ion in cations), usable) + hydrogen for end in ("low", "high")
    )
    anions_low, anions_high = (sum((getattr(ion, end) for ion in anions), usable) for end in ("low", "high"))
    for code, side in MAY_BE_MISSING.items():
        open_end = np.where(ions.amounts[code].known(), 0.0, np.inf)
        cations_high = cations_high + (open_end if side is CATIONS else 0.0)
        anions_high = anions_high + (open_end if side is ANIONS else 0.0)
    total = cations_low + anions_low
    percent = np.divide(100 * (cations_low - anions_low), total, out=np.full(len(total), np.nan), where=total > 0)
    excess = _excess((cations_low, cations_high), (anions_low, anions_high))
    return Balance(cations_low, cations_high, anions_low, anions_high, percent, excess)


def accepted_difference(cations: Floats, anions: Floats) -> Floats:
    """Return the accepted difference of the two sums, all in meq/L; same shape."""
    shares = [np.full(np.shape(anions), BANDS[0][1]), *(share * (cations + anions) for _, share in BANDS[1:])]
    return np.select([anions <= upto for upto, _ in BANDS], shares, np.nan)


def _excess(cations: tuple[Floats, Floats], anions: tuple[Floats, Floats]) -> Floats:
    """Return the least multiple of the accepted difference over all sums that the two ranges leave open."""
    cations, anions = ((low, np.minimum(high, BEYOND_ANY)) for low, high in (cations, anions))
    overlap = (cations[0] <= anions[1]) & (anions[0] <= cations[1])
    least = np.where(np.isnan(anions[0]), np.nan, np.where(overlap, 0.0, np.inf))
    for sum_of_anions in (*anions, *(np.clip(upto, *anions) for upto, _ in BANDS[:-1])):
        nearest = np.clip(sum_of_anions, *cations)
        multiple = np.abs(nearest - sum_of_anions) / accepted_difference(nearest, sum_of_anions)
        least = np.minimum(least, multiple)
    return least


def balance_findings(samples: Samples, ions: Ions, balance: Balance) -> Iterator[Finding]:
    """Yield a finding for each sample whose sums disagree, and one for all whose sums cannot be compared."""
    for at in np.flatnonzero(balance.excess > 1).tolist():
        rows = _rows(ions, at)
        gross = abs(balance.percent[at]) >= GROSS_PERCENT
        yield from samples.findings(
            rows, "ion balance", Severity.HOLD if gross else Severity.NOTE, _sentence(samples, ions, balance, at)
        )
    yield from _not_evaluable(samples, ions, balance)


def _sentence(samples: Samples, ions: Ions, balance: Balance, at: int) -> str:
    absent = [code for code in MAY_BE_MISSING if ions.amounts[code].row[at] < 0]
    left_out = f" (no result for {' and '.join(absent)}, which cannot explain it)" if absent else ""
    unit, accepted = _accepted_words(balance.anions_low[at])
    return (
        f"the ions of {samples.label(int(samples.first[at]))} do not balance: cations {balance.cations_low[at]:.4g}, "
        f"anions {balance.anions_low[at]:.4g} meq/L, 100 (cations − anions)/(cations + anions) = "
        f"{balance.percent[at]:.1f} %, accepted {accepted}{unit}{left_out} ({SOURCE}); look for a unit, a basis "
        "(as N, as CaCO3), a digit or an ion that is wrong or missing"
    )


def _accepted_words(anions: float) -> tuple[str, str]:
    upto, share = next(band for band in BANDS if anions <= band[0])
    if upto == BANDS[0][0]:
        return " meq/L", f"± {share:g}"
    return " %", f"± {100 * share:g}"


def _not_evaluable(samples: Samples, ions: Ions, balance: Balance) -> Iterator[Finding]:
    """Yield one note for the samples that have most of the ions and yet no balance."""
    lacks = np.array(list(ions.lacking.values()))
    most = (lacks.sum(axis=0) > 0) & (lacks.sum(axis=0) <= len(REQUIRED) // 3)
    low, high = balance.anions_low, balance.anions_high
    seen = np.abs(balance.cations_low - low) > accepted_difference(balance.cations_low, low)
    ranged = (balance.cations_high > balance.cations_low) | (high > low)
    unclear = ions.complete() & ranged & seen & (balance.excess <= 1)
    at = np.flatnonzero(most | unclear)
    if not len(at):
        return
    codes = [code for code, where in ions.lacking.items() if where[at].any()]
    codes += [code for code in MAY_BE_MISSING if unclear.any() and ions.amounts[code].row[unclear].min() < 0]
    why = f"no usable result for {', '.join(codes)}" if codes else "ions below their reporting limits decide it"
    first = samples.label(int(samples.first[at[0]]))
    message = (
        f"the ion balance of {len(at)} sample(s) is not evaluable: {why} (first {first}); "
        f"add the missing ions to have the analysis checked ({SOURCE})"
    )
    rows = [int(samples.first[place]) for place in at]
    yield from samples.findings(rows[:1], "ion balance not evaluable", Severity.NOTE, message)


def _rows(ions: Ions, at: int) -> list[int]:
    rows: list[Ints] = [ions.amounts[code].row[at] for code in (*CATIONS, *ANIONS, ALKALINITY)]
    return [int(row) for row in rows if row >= 0]
