"""Turns computed removals into words: results with their sign, units with their basis, and why a figure is as it is."""

from __future__ import annotations

import numpy as np
import pandas as pd

from wqcheck.languages.catalogues import ENGLISH, Catalogue
from wqcheck.tables import Bound
from wqcheck.units import COUNT_UNITS


def removal_words(percent: float, log_removal: float, bound: str, say: Catalogue = ENGLISH) -> str:
    """Return one removal as text with enough digits that it never reads as everything: ``at least 99.9967 %``."""
    if bound == Bound.UNKNOWN or np.isnan(percent):
        return say("not determinable")
    decimals = max(1, int(np.ceil(log_removal)) - 1)
    text = f"{percent:.{decimals}f} % ({round(log_removal, 2) + 0.0:.2f} log)"
    return text if bound == Bound.EXACT else f"{say(bound)} {text}"


def interval_text(low: pd.Series[float], high: pd.Series[float]) -> pd.Series[str]:
    """Return results known as ``low`` to ``high`` (same unit) as text: ``0.35``, ``<0.1``, ``>1600``, ``2–5``."""
    lower, upper = (end.map("{:.6g}".format).astype("str") for end in (low, high))
    text = lower + "–" + upper
    text = text.mask(np.isposinf(high), ">" + lower).mask(low.eq(0), "<" + upper).mask(low.eq(high), lower)
    return text.mask(low.isna() | high.isna(), "not known").astype("str")


def unit_text(unit: pd.Series[str], basis: pd.Series[str], volume_ml: pd.Series[float]) -> pd.Series[str]:
    """Return ``mg/L as N``, ``µS/cm at 25 °C`` or ``CFU/100 mL``; NA where the unit is blank. ``volume_ml`` in mL."""
    at_temperature = basis.str.endswith("°C")
    text = unit.mask(basis.ne("") & ~at_temperature, unit + " as " + basis).mask(at_temperature, unit + " at " + basis)
    counted = unit + "/" + volume_ml.map("{:g}".format).astype("str") + " mL"
    return text.mask(unit.isin(COUNT_UNITS), counted).mask(unit.eq("")).astype("str")


def removal_reasons(table: pd.DataFrame) -> pd.Series[str]:
    """Return one sentence per removal.

    Parameters
    ----------
    table : DataFrame
        Columns ``low_in``, ``high_in``, ``low_out``, ``high_out`` (result ends in one unit), ``number_in``,
        ``number_out`` (results averaged), ``percent``, ``least``, ``most``, ``spread_known``, ``bound``,
        ``apart``, ``mixed``, ``one_dated``,
        ``undated``, ``first_day``, ``last_day``, ``tolerance`` (h), ``counted``, ``fraction`` and ``note``.
    """
    why = _why_bound(table).mask(table["bound"].eq(Bound.UNKNOWN), _why_unknown(table))
    fraction = (table["fraction"] + " fraction: ").mask(table["fraction"].eq("total"), "")
    note = ("; " + table["note"]).mask(table["note"].eq(""), "")
    sentence: pd.Series[str] = (fraction + why + _which_results(table) + _uncertainty(table) + note).astype("str")
    return sentence


def _why_unknown(table: pd.DataFrame) -> pd.Series[str]:
    low_in, low_out = table["low_in"], table["low_out"]
    ends = table[["low_in", "high_in", "low_out", "high_out"]]
    cases = {
        f"the two points were never sampled within {table['tolerance'].max():g} h of each other": table["apart"],
        "the results are of different runs": table["mixed"].astype(bool),
        "only one side says when it was sampled, and no run is named on both": table["one_dated"].astype(bool),
        "a result is not known": ends.isna().any(axis=1),
        "nothing to remove: the inlet result is 0": table["high_in"].eq(0),
        "nothing to remove: not detected before the stage nor after it": low_in.eq(0) & low_out.eq(0),
        "not detected before the stage, and not higher than that limit after it": low_in.eq(0),
        "a result of 0 after the stage shows no figure without its reporting limit": table["high_out"].eq(0),
    }
    return _first_true(cases, "the results leave it open")


def _why_bound(table: pd.DataFrame) -> pd.Series[str]:
    percent, bound = table["percent"], table["bound"]
    least = bound.eq(Bound.AT_LEAST)
    higher, counted = ~least & percent.lt(0), table["counted"].astype(bool)
    cases = {
        "no change": bound.eq(Bound.EXACT) & percent.eq(0),
        "higher after the stage (negative removal: growth after the stage or on its media)": higher & counted,
        "higher after the stage (negative removal: release from the media, dosing or contamination)": higher,
        "measured before and after the stage": bound.eq(Bound.EXACT),
        "not detected after the stage, but its reporting limit is too high to show a removal": least
        & percent.le(0)
        & table["low_out"].eq(0),
        "not detected after the stage, so at least this": least & table["low_out"].eq(0),
        "above the working range before the stage, so at least this": least & np.isposinf(table["high_in"]),
        "the results leave a range, of which this is the lower end": least,
    }
    return _first_true(cases, "above the working range after the stage, so at most this")


def _which_results(table: pd.DataFrame) -> pd.Series[str]:
    """Return the day of sampling and how many results were averaged, in brackets."""
    first, last = (table[name].dt.strftime("%Y-%m-%d").astype("str") for name in ("first_day", "last_day"))
    day = "sampled " + first.where(first.eq(last), first + " to " + last)
    day = day.mask(table["undated"].astype(bool), "sampling date missing").mask(table["apart"], "latest day of each")
    many = table["number_in"].gt(1) | table["number_out"].gt(1)
    numbers = table["number_in"].astype("str") + " before and " + table["number_out"].astype("str") + " after"
    means = ("; means of " + numbers).mask(table["counted"].astype(bool), "; geometric means of " + numbers)
    brackets: pd.Series[str] = (" (" + day + means.where(many, "") + ")").astype("str")
    return brackets


def _uncertainty(table: pd.DataFrame) -> pd.Series[str]:
    """Return between which percentages the removal lies with the uncertainty of both results, where it is known."""
    ends = [table[name].map("{:.4g}".format).astype("str") for name in ("least", "most")]
    words: pd.Series[str] = ("; with the uncertainty of both, " + ends[0] + " to " + ends[1] + " % (k = 2)").astype(
        "str"
    )
    return words.where(table["spread_known"].astype(bool), "")


def _first_true(cases: dict[str, pd.Series[bool]], otherwise: str) -> pd.Series[str]:
    masks = [case.to_numpy(dtype=np.bool_) for case in cases.values()]
    index = next(iter(cases.values())).index
    return pd.Series(np.select(masks, list(cases), otherwise), index=index, dtype="str")
