"""Turns the judging rules of each limit table into one value per limit row, which whole columns are judged with."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from decimal import Decimal
from typing import Any

import numpy as np

from wqcheck.judging.binding import LimitRows
from wqcheck.judging.ranges import Bools, Floats, Ints
from wqcheck.judging.rules import SHARES, JudgingRules, TableRule, Unknown
from wqcheck.judging.uncertainty import SHEET, Expanded, has_characteristics, level_share, permitted_for
from wqcheck.judging.verdicts import DecisionRule, Words
from wqcheck.limit_tables.checks import COMBINED_RULES
from wqcheck.limit_tables.loading import LimitTable
from wqcheck.statistics.rounding import Method, Tie
from wqcheck.tables import Judged, Limits, Rule

_UNKNOWN, _STATED, _FIRST_PERMITTED = 0, 1, 2


@dataclass(frozen=True, slots=True, eq=False)
class Uncertain:
    """Expanded uncertainties of n results in the unit of their limits, NaN where unknown; arrays of shape (n,).

    ``source`` holds places in :attr:`RowRules.sources`, ``coverage`` the factor k.
    """

    expanded: Floats
    coverage: Floats
    source: Ints

    @property
    def standard(self) -> Floats:
        """The standard uncertainty ``u = U / k``."""
        return self.expanded / self.coverage


@dataclass(frozen=True, slots=True, eq=False)
class RowRules:
    """The judging rule of each limit row; arrays of shape (rows,).

    Attributes
    ----------
    label : array of str
        The decision rule in short, as the column ``decision_rule`` says it.
    multiple : array of float
        ``r`` of the guard band, 0 for simple acceptance.
    binary, strict : array of bool
        Guarded acceptance; a measured value without an uncertainty stays undetermined.
    coverage : array of float
        ``k`` of a stated uncertainty.
    stated_first, stated_used : array of bool
        Whether what the sheet states goes before what a text permits, and whether it counts at all.
    permitted, permitted_coverage : array of float
        Permitted expanded uncertainty in the limit's unit (NaN for none), and its ``k``.
    sources : list of str
        Words for how an uncertainty was obtained: none, the sheet, then one per row.
    step : array of float
        Place to round to, NaN for the absolute comparison.
    half_up : array of bool
    loq_percent : array of float
        Largest reporting limit in percent of the limit, NaN where nothing is asked.
    loq_note : array of str
    share : array of float
        What a non-detect counts in a sum, NaN where no text prescribes it.
    convention : array of str
        What the text prescribes, in words.
    """

    label: Words
    multiple: Floats
    binary: Bools
    strict: Bools
    coverage: Floats
    stated_first: Bools
    stated_used: Bools
    permitted: Floats
    permitted_coverage: Floats
    sources: list[str]
    step: Floats
    half_up: Bools
    loq_percent: Floats
    loq_note: Words
    share: Floats
    convention: Words

    def take(self, places: Ints) -> RowRules:
        """Return the rules of the rows at *places*."""
        taken = {field.name: getattr(self, field.name) for field in fields(self) if field.name != "sources"}
        sources = [*self.sources[:_FIRST_PERMITTED], *(self.sources[place + _FIRST_PERMITTED] for place in places)]
        return RowRules(sources=sources, **{name: values[places] for name, values in taken.items()})

    def by_value_alone(self) -> RowRules:
        """Return the rules without guard bands, for results that can only prove a failure."""
        no = np.zeros(len(self.binary), dtype=np.bool_)
        label = _words([str(DecisionRule.SIMPLE)] * len(no))
        return replace(self, label=label, multiple=np.zeros(len(no)), binary=no, strict=no)

    def uncertain(self, stated: Floats, target: Ints) -> Uncertain:
        """Return the uncertainty of each of n results, from what is *stated* (limit's unit) and their rows *target*."""
        permitted = self.permitted[target]
        usable = (stated > 0) & self.stated_used[target]
        take_stated = usable & (self.stated_first[target] | np.isnan(permitted))
        take_permitted = (permitted > 0) & (take_stated == np.False_)
        cases = [take_stated, take_permitted]
        return Uncertain(
            expanded=np.select(cases, [stated, permitted], np.nan),
            coverage=np.select(cases, [self.coverage[target], self.permitted_coverage[target]], np.nan),
            source=np.select(cases, [np.full(len(target), _STATED), target + _FIRST_PERMITTED], _UNKNOWN),
        )


def row_rules(limits: LimitRows, tables: Sequence[LimitTable], rules: JudgingRules) -> RowRules:
    """Return the rule of each row of *limits*, which come from *tables*."""
    rows = [{str(name): cell for name, cell in row.items()} for row in limits.rows.to_dict("records")]
    own = [rules.of(str(row[Judged.table])) for row in rows]
    permitted = [_permitted(row, rule) for row, rule in zip(rows, own, strict=True)]
    told = [_convention(row, rule) for row, rule in zip(rows, own, strict=True)]
    written = {table.name: table.written for table in tables}
    loq = [_loq(row, rule) for row, rule in zip(rows, own, strict=True)]
    return RowRules(
        label=_words([_label(rule) for rule in own]),
        multiple=np.array([rule.guard_multiple if rule.guards else 0.0 for rule in own], dtype=np.float64),
        binary=np.array([rule.decision == DecisionRule.GUARDED_ACCEPTANCE for rule in own], dtype=np.bool_),
        strict=np.array([rule.guards and rule.unknown == Unknown.UNDETERMINED for rule in own], dtype=np.bool_),
        coverage=np.array([rule.coverage_factor for rule in own], dtype=np.float64),
        stated_first=np.array([rule.sources[:1] == (SHEET,) for rule in own], dtype=np.bool_),
        stated_used=np.array([SHEET in rule.sources for rule in own], dtype=np.bool_),
        permitted=np.array([entry.value if entry else np.nan for entry in permitted], dtype=np.float64),
        permitted_coverage=np.array([entry.coverage_factor if entry else np.nan for entry in permitted]),
        sources=["", "as the sheet states it", *(entry.words if entry else "" for entry in permitted)],
        step=np.array(
            [_step(row, rule, written.get(str(row[Judged.table]), {})) for row, rule in zip(rows, own, strict=True)],
            dtype=np.float64,
        ),
        half_up=np.array([rule.tie == Tie.UP for rule in own], dtype=np.bool_),
        loq_percent=np.array([percent for percent, _ in loq], dtype=np.float64),
        loq_note=_words([note for _, note in loq]),
        share=np.array([share for share, _ in told], dtype=np.float64),
        convention=_words([words for _, words in told]),
    )


def _words(texts: list[str]) -> Words:
    return np.array(texts, dtype=np.object_)


def _label(rule: TableRule) -> str:
    return f"{rule.decision}, w = {rule.guard_multiple:g} U" if rule.guards else str(DecisionRule.SIMPLE)


def _permitted(row: Mapping[str, Any], rule: TableRule) -> Expanded | None:
    return permitted_for(row, [source for source in rule.sources if source != SHEET])


def _loq(row: Mapping[str, Any], rule: TableRule) -> tuple[float, str]:
    """Return the largest reporting limit in percent of the limit that the row's text allows, and the note if above."""
    parameter, table = str(row[Limits.parameter]), str(row[Judged.table])
    asked = row[Limits.rule] in (Rule.MAX, *COMBINED_RULES) and row[Limits.rule] != Rule.RATIO_SUM_MAX
    if rule.loq_max_percent is None or not asked or not has_characteristics(parameter, table):
        return np.nan, ""
    share = level_share(parameter, table)
    level = "the limit" if share == 1 else f"{share:.0%} of the limit"
    return rule.loq_max_percent * share, f"above {rule.loq_max_percent:g} % of {level} ({rule.loq_clause})"


def _convention(row: Mapping[str, Any], rule: TableRule) -> tuple[float, str]:
    found = rule.convention_for(str(row[Limits.parameter])) if row[Limits.rule] in COMBINED_RULES else None
    if found is None:
        return np.nan, ""
    if found.decides:
        return SHARES[found.count_as], f"non-detects count as {found.count_as} ({found.clause})"
    said = f"{found.clause}, from memory, would count non-detects as {found.count_as} and does not decide"
    return np.nan, said


def _step(row: Mapping[str, Any], rule: TableRule, written: Mapping[int, tuple[str, str]]) -> float:
    """Return the place of the last digit of the limit as it is written, NaN where it is not to be rounded to."""
    texts = [text for text in written.get(int(row[Limits.line]), ()) if text]
    if rule.comparison != Method.ROUNDING or not texts:
        return np.nan
    exponents = [Decimal(text).as_tuple().exponent for text in texts]
    return float(Decimal(1).scaleb(min(exponent for exponent in exponents if isinstance(exponent, int))))
