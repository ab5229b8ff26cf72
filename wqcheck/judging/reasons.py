"""Turns a verdict and what led to it into one plain sentence that names the numbers, the limit and its clause."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from wqcheck.judging.ranges import Bools, Floats, Ints, Ranges, Trouble
from wqcheck.judging.verdicts import VERDICTS, Words
from wqcheck.limit_tables.checks import split_list
from wqcheck.tables import Rule, Verdict

NOT_DECIDED = " is not decided"
MISSING_MEMBER = "no result for"
"""Beginning of the note on a sum of which a member has no result."""

USUAL_BAND = "usual band"
"""Status of a row that is no limit, but what the release rules call usual."""

VERDICT_PHRASES: Mapping[str, tuple[str, str]] = {
    Verdict.PASS: (" meets ", ""),
    Verdict.CONDITIONAL_PASS: (" meets, by less than the guard band, ", ""),
    Verdict.CONDITIONAL_FAIL: (" does not meet, by less than the guard band, ", ""),
    Verdict.FAIL: (" does not meet ", ""),
    Verdict.UNDETERMINED: (" may lie on either side of ", ""),
    Verdict.NO_LIMIT: (": no limit was found in ", ""),
}
TROUBLE_PHRASES: Mapping[Trouble, tuple[str, str]] = {
    Trouble.NOT_DONE: (": the test was not done, so ", NOT_DECIDED),
    Trouble.UNREADABLE: (": the text cannot be read as a result, so ", NOT_DECIDED),
    Trouble.NO_VALUE: (": no value is given, so ", NOT_DECIDED),
    Trouble.NO_REPORTING_LIMIT: (": the reporting limit is not stated, so ", NOT_DECIDED),
    Trouble.IMPOSSIBLE: (": a result below the least possible value says nothing, so ", NOT_DECIDED),
    Trouble.NO_CONVERSION: (": the unit or basis does not allow a comparison, so ", NOT_DECIDED),
    Trouble.NO_VOLUME: (": the volume examined is not stated, so ", NOT_DECIDED),
}
GUARDED_PHRASES = tuple(
    (VERDICT_PHRASES[word][0], ", and guarded acceptance needs more than that")
    for word in (Verdict.CONDITIONAL_PASS, Verdict.CONDITIONAL_FAIL)
)
NO_UNCERTAINTY_PHRASE = (
    " meets ",
    " by its value alone, but its uncertainty, which the decision rule needs, is not known",
)
SERIES_PHRASE = (": one result alone says nothing about ", ", which needs a series of results: use `wqcheck series`")
SMALL_VOLUME_PHRASE = (", less than the limit asks for, does not prove ", "")

_NOTHING, _EXACT, _BELOW, _ABOVE, _BETWEEN, _UNCOUNTED, _VOLUME = range(7)
_FORMS = (
    *(("", "", ""), (" is ", "", " and"), (" is below ", "", " and"), (" is above ", "", " and")),
    *((" lies between ", " and ", " and"), (" is too numerous to count and", "", ""), (" in ", " mL", "")),
)


@dataclass(frozen=True, slots=True, eq=False)
class Setting:
    """What the sentences need beside ranges and verdicts; arrays of shape (n,).

    Attributes
    ----------
    target : array of int
        Place of each result's limit in ``phrase`` and ``unit``.
    phrase, unit : array of str, shape (limits,)
        From :func:`limit_phrase` and :func:`unit_in_volume`.
    examined : array of float
        Volume examined in mL where the question is whether none was found in a volume, else NaN.
    absence, series, uncounted : array of bool
        The limit allows none in a volume; it needs a series; the result is *too numerous to count*.
    guarded, blind : array of bool
        A conditional verdict that guarded acceptance made a failure; a decision rule that lacks an uncertainty.
    """

    target: Ints
    phrase: Words
    unit: Words
    examined: Floats
    absence: Bools
    series: Bools
    uncounted: Bools
    guarded: Bools
    blind: Bools


@dataclass(frozen=True, slots=True, eq=False)
class UncertaintyTold:
    """Uncertainties, guard bands and probabilities of conformity of n results, NaN or 0 where there is none.

    Arrays of shape (n,) in the unit of the limit, but ``unit`` has the shape (limits,); ``source`` is a place in
    ``sources``, ``coverage`` the factor k, ``conformity`` from 0 to 1.
    """

    target: Ints
    unit: Words
    expanded: Floats
    coverage: Floats
    source: Ints
    sources: list[str]
    guard: Floats
    conformity: Floats


def limit_phrase(row: Mapping[str, Any]) -> str:
    """Return what one limit *row* (cells by column name) asks, with its number, unit and clause."""
    lower, upper, volume = (_number(row[name]) for name in ("lower", "upper", "volume_ml"))
    unit, rule = spaced(unit_in_volume(row)), str(row["rule"])
    members = ", ".join(split_list(str(row["members"]))) if isinstance(row["members"], str) else ""
    if rule == Rule.ABSENT:
        text = f"the limit of none in {volume} mL"
    elif rule == Rule.RANGE:
        text = f"the limits {lower} to {upper}{unit}"
    elif rule == Rule.MIN:
        text = f"the limit of at least {lower}{unit}"
    elif rule == Rule.RATIO_SUM_MAX:
        text = f"the limit of at most {upper} for the sum of the ratios of {members} to their own values"
    elif rule == Rule.SUM_MAX:
        text = f"the limit of at most {upper}{unit} for the sum of {members}"
    else:
        text = f"the limit of at most {upper}{unit}" if upper else f"the {rule.replace('_', ' ')}"
    if row["status"] == USUAL_BAND:
        text = re.sub("^the limits?", "the usual band", text)
    return f"{text.strip()} ({row['clause']})"


def unit_in_volume(row: Mapping[str, Any]) -> str:
    """Return the unit in which results are compared with *row*: for counts with the volume, for ratios ``1``."""
    if row["rule"] == Rule.RATIO_SUM_MAX:
        return "1"
    unit = row["unit"] if isinstance(row["unit"], str) else ""
    volume = _number(row["volume_ml"])
    return f"{unit}/{'' if volume == '1' else volume + ' '}mL" if volume else unit


def spaced(unit: str) -> str:
    """Return *unit* as it follows a number: nothing after a ratio or a pH."""
    return "" if unit in {"", "1", "pH"} else f" {unit}"


def _number(value: float) -> str:
    return "" if np.isnan(value) else f"{value:.12g}"


def sentences(
    reported: pd.Series, setting: Setting, ranges: Ranges, verdict: Ints, known: UncertaintyTold
) -> pd.Series:
    """Return the reason of each result: as reported, as compared, the verdict in words, the limit and any note.

    What is known of its uncertainty follows as a sentence of its own.
    """
    form = _forms(setting, ranges)
    verb, tail = _phrases(setting, ranges, verdict)
    first = np.select(
        [np.isin(form, (_EXACT, _ABOVE, _BETWEEN)), form == _BELOW, form == _VOLUME],
        [ranges.low, ranges.high, setting.examined],
        np.nan,
    )
    before, between, after = (_take([words[place] for words in _FORMS], form) for place in range(3))
    numeric = np.isin(form, (_EXACT, _BELOW, _ABOVE, _BETWEEN))
    second = np.where(form == _BETWEEN, ranges.high, np.nan)
    unit = _take(["", *(spaced(unit) for unit in setting.unit)], np.where(numeric, setting.target + 1, 0))
    limit = _take(list(setting.phrase), setting.target)
    cause, notes = _cause_first(ranges, verdict)
    parts = [cause, "reported ", _texts(reported), before, _numbers(first), between, _numbers(second), unit, after]
    parts += [verb, limit, tail, notes, ".", uncertainty_tail(known)]
    return pd.Series(_joined(parts), dtype="str")


def _cause_first(ranges: Ranges, verdict: Ints) -> tuple[Any, Any]:
    """Return what stands before a sentence and what behind it: a missing member is why a sum is not decided."""
    if not (ranges.note != "").any():
        return "", ""
    codes, words = pd.factorize(ranges.note)
    missing = np.array([str(word).startswith(MISSING_MEMBER) for word in words], dtype=np.bool_)[codes]
    before = missing & (verdict == VERDICTS.index(Verdict.UNDETERMINED))
    place = np.where(before, codes, len(words))
    causes = _take([*(f"{word}; " if word else "" for word in words), ""], place.astype(np.int64))
    place = np.where(before, len(words), codes)
    return causes, _take([*(f"; {word}" if word else "" for word in words), ""], place.astype(np.int64))


def _forms(setting: Setting, ranges: Ranges) -> Ints:
    """Choose how the numbers are told."""
    finite_low, finite_high = np.isfinite(ranges.low), np.isfinite(ranges.high)
    from_nothing = (ranges.low == 0) | np.isneginf(ranges.low)
    cases = [
        (_NOTHING, setting.series | (ranges.trouble > Trouble.NONE)),
        (_UNCOUNTED, setting.uncounted),
        (_VOLUME, setting.absence & np.isfinite(setting.examined)),
        (_NOTHING, setting.absence),
        (_EXACT, ranges.low == ranges.high),
        (_BELOW, from_nothing & finite_high),
        (_BETWEEN, finite_low & finite_high),
        (_ABOVE, finite_low & (ranges.low > 0)),
    ]
    return np.select([when for _, when in cases], [form for form, _ in cases], _NOTHING).astype(np.int64)


def _phrases(setting: Setting, ranges: Ranges, verdict: Ints) -> tuple[Any, Any]:
    """Choose the words of the verdict, or of what stands in its way."""
    phrases = [
        *(VERDICT_PHRASES[word] for word in VERDICTS),
        *TROUBLE_PHRASES.values(),
        *GUARDED_PHRASES,
        NO_UNCERTAINTY_PHRASE,
        SMALL_VOLUME_PHRASE,
        SERIES_PHRASE,
    ]
    undetermined = verdict == VERDICTS.index(Verdict.UNDETERMINED)
    unproven = undetermined & setting.absence & (ranges.low == 0) & np.isinf(ranges.high)
    place = np.where(unproven, len(phrases) - 2, verdict)
    trouble = np.where(unproven & np.isnan(setting.examined), Trouble.NO_VOLUME, ranges.trouble)
    place = np.where(trouble == Trouble.NONE, place, len(VERDICTS) + trouble - 1)
    passed_over = verdict == VERDICTS.index(Verdict.CONDITIONAL_FAIL)
    place = np.where(setting.guarded, np.where(passed_over, len(phrases) - 4, len(phrases) - 5), place)
    place = np.where(setting.blind, len(phrases) - 3, place)
    place = np.where(setting.series, len(phrases) - 1, place).astype(np.int64)
    return _take([verb for verb, _ in phrases], place), _take([tail for _, tail in phrases], place)


def _take(words: list[str], places: Ints) -> Any:
    return pa.array(words, type=pa.large_string()).take(pa.array(places))


def _texts(words: Any) -> Any:
    values = pa.array(words.array if isinstance(words, pd.Series) else words)
    return pc.fill_null(pc.cast(values, pa.large_string()), "")


def _numbers(values: Floats) -> Any:
    """Write numbers with up to 8 significant digits; comparisons were made with 12."""
    usable = np.isfinite(values) & (values != 0)
    exponent = np.floor(np.log10(np.abs(values), out=np.zeros(len(values)), where=usable))
    scale = np.power(10.0, 7 - exponent)
    shown = np.divide(np.rint(values * scale), scale, out=values.copy(), where=usable)
    known = pa.array(shown, mask=np.isnan(values))
    return pc.fill_null(pc.cast(known, pa.large_string()), "")


def number_words(values: Floats, unknown: str) -> list[str]:
    """Write numbers (shape (n,)) as reasons do, *unknown* where one is not finite."""
    words: list[str] = _numbers(np.where(np.isfinite(values), values, np.nan)).to_pylist()
    return [word or unknown for word in words]


def percent_told(probability: Floats) -> Floats:
    """Return probabilities (0 to 1) in percent as they are told: rounded down to one decimal, and never 100."""
    return np.minimum(np.floor(probability * 1000) / 10, 99.9)


def uncertainty_tail(known: UncertaintyTold) -> Any:
    """Return what follows each reason: the uncertainty and the probability of conformity, nothing where unknown."""
    told = np.isfinite(known.expanded)
    where = np.flatnonzero(told)
    if not len(where):
        return ""
    kinds, code = np.unique(known.target[where] * len(known.sources) + known.source[where], return_inverse=True)
    factor = np.zeros(len(kinds))
    factor[code] = known.coverage[where]
    words = [
        f"{spaced(known.unit[kind // len(known.sources)])} ({known.sources[kind % len(known.sources)]}, k = {k:g})"
        for kind, k in zip(kinds.tolist(), factor.tolist(), strict=True)
    ]
    percent = percent_told(known.conformity[where])
    place = np.where(np.isfinite(percent), np.rint(percent * 10) + 1, 0).astype(np.int64)
    chances = ["", *(f", probability of conformity {tenths / 10:g} %" for tenths in range(1000))]
    parts = [" U = ", _numbers(known.expanded[where]), _take(words, code), _take(chances, place)]
    banded = known.guard[where] > 0
    if banded.any():
        unit = _take([spaced(unit) for unit in known.unit], known.target[where])
        band = _numbers(np.where(banded, known.guard[where], np.nan))
        parts += [
            _take(["", ", guard band w = "], banded.astype(np.int64)),
            band,
            pc.if_else(pa.array(banded), unit, ""),
        ]
    nothing = pa.repeat(pa.scalar("", pa.large_string()), len(told))
    return pc.replace_with_mask(nothing, pa.array(told), _joined([*parts, "."]))


def _joined(parts: list[Any]) -> Any:
    same = [pa.scalar(part, pa.large_string()) if isinstance(part, str) else part for part in (*parts, "")]
    return pc.binary_join_element_wise(*same)
