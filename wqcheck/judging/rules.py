"""Turns the judging-rules file into the rule by which results are set beside each limit table, and into its sentence.

``limits/judging_rules.toml`` explains every key.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from pathlib import Path
from typing import Any

from wqcheck.errors import WqcheckError
from wqcheck.judging.uncertainty import SHEET, permitted_tables
from wqcheck.judging.verdicts import DecisionRule
from wqcheck.parameters import catalogue
from wqcheck.plant_files import is_list_of_texts, is_text, read_plant_file, refuse_problems, unknown_keys
from wqcheck.shipped_files import shipped_folder
from wqcheck.statistics.rounding import Method, Tie


class Unknown(StrEnum):
    """What a guard band does with a measured value whose uncertainty is not known."""

    UNDETERMINED = "undetermined"
    VALUE_ALONE = "value alone"


class CountAs(StrEnum):
    """What a non-detect counts in a sum: nothing, half its limit of quantification, or all of it."""

    ZERO = "zero"
    HALF = "half"
    LIMIT = "limit"


SHARES = {CountAs.ZERO: 0.0, CountAs.HALF: 0.5, CountAs.LIMIT: 1.0}


class JudgingRuleError(WqcheckError, ValueError):
    """A decision rule or guard multiple of the command line is not usable; the text says what is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Convention:
    """What a table's own text prescribes for the non-detects of one sum; ``evidence`` as in limit tables."""

    parameter: str
    count_as: CountAs
    clause: str
    evidence: str

    @property
    def decides(self) -> bool:
        """Whether its text was read, so that it may decide."""
        return not self.evidence.startswith("memory")


@dataclass(frozen=True, slots=True, kw_only=True)
class TableRule:
    """How results are set beside the limits of one table.

    Attributes
    ----------
    decision : DecisionRule
    guard_multiple : float
        ``r`` of the guard band ``w = r U``, dimensionless, at least 0 (ILAC-G8:09/2019, 4.2 and Table 1).
    coverage_factor : float
        ``k`` of a stated expanded uncertainty.
    unknown : Unknown
        What a guard band does without an uncertainty.
    comparison, tie : Method, Tie
        Absolute or rounding method of ASTM E29, and what the latter does with a digit in the middle.
    sources : tuple of str
        Where the uncertainty is looked for, in order: ``sheet``, or a name of ``measurement_uncertainty.csv``.
    loq_max_percent : float or None
        Largest limit of quantification that is fit for purpose, in percent of the limit; ``loq_clause`` says by what.
    conventions : tuple of Convention
    comparison_note : str
        What the table's text or its authority says about rounding, for print.
    """

    decision: DecisionRule = DecisionRule.SIMPLE
    guard_multiple: float = 1.0
    coverage_factor: float = 2.0
    unknown: Unknown = Unknown.UNDETERMINED
    comparison: Method = Method.ABSOLUTE
    tie: Tie = Tie.EVEN
    sources: tuple[str, ...] = (SHEET,)
    loq_max_percent: float | None = None
    loq_clause: str = ""
    conventions: tuple[Convention, ...] = ()
    comparison_note: str = ""

    def convention_for(self, parameter: str) -> Convention | None:
        """Return what is prescribed for the non-detects of that sum, if anything is."""
        return next((entry for entry in self.conventions if entry.parameter == parameter), None)

    @property
    def guards(self) -> bool:
        """Whether an uncertainty can change a verdict."""
        return self.decision != DecisionRule.SIMPLE and self.guard_multiple > 0

    def sentence(self) -> str:
        """Say the rule with its numbers, as reports print it."""
        parts = [str(self.decision)]
        if self.decision != DecisionRule.SIMPLE:
            parts.append(
                f"guard band w = {self.guard_multiple:g} U; a measured value without an uncertainty: {self.unknown}"
            )
        wanted = ", then ".join(
            source if source == SHEET else f"maximum permitted ({source})" for source in self.sources
        )
        rounded = f", to the last digit of the limit, {self.tie}" if self.comparison == Method.ROUNDING else ""
        told = f" ({self.comparison_note})" if self.comparison_note else ""
        parts += [
            f"{self.comparison} comparison (ASTM E29){rounded}{told}",
            f"expanded uncertainty from {wanted or 'nowhere'}, k = {self.coverage_factor:g}",
        ]
        if self.loq_max_percent is not None:
            parts.append(f"reporting limit at most {self.loq_max_percent:g} % of the limit ({self.loq_clause})")
        parts += [_said(entry) for entry in self.conventions]
        return "; ".join(parts)


def _said(entry: Convention) -> str:
    told = "" if entry.decides else ", from memory, does not decide"
    return f"non-detects in {entry.parameter} count as {entry.count_as} ({entry.clause}{told})"


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleStatement:
    """The rule that was used for one limit table, for print."""

    table: str
    rule: str


@dataclass(frozen=True, slots=True, kw_only=True)
class JudgingRules:
    """The rule of each limit table; ``digest`` and ``path`` are those of the file, blank where there is none."""

    title: str = "simple acceptance"
    default: TableRule = field(default_factory=TableRule)
    tables: Mapping[str, TableRule] = field(default_factory=dict)
    digest: str = ""
    path: str = ""

    def of(self, table: str) -> TableRule:
        """Return the rule of the limit table of that name."""
        return self.tables.get(table, self.default)

    def statements(self, tables: Iterable[str]) -> tuple[RuleStatement, ...]:
        """Return the rule of each of those limit tables in words, for reports."""
        return tuple(RuleStatement(table=table, rule=self.of(table).sentence()) for table in tables)

    def overridden(self, decision: str = "", guard_multiple: float | None = None) -> JudgingRules:
        """Return the same rules with one decision rule or guard multiple for every table.

        Raises
        ------
        JudgingRuleError
            *decision* is no word of :class:`~wqcheck.judging.verdicts.DecisionRule`, or the multiple is below 0.
        """
        if decision and decision not in list(DecisionRule):
            raise JudgingRuleError(f"the decision rule must be one of {', '.join(DecisionRule)} (given: {decision!r})")
        if guard_multiple is not None and not 0 <= guard_multiple <= _MOST_MULTIPLE:
            raise JudgingRuleError(
                f"the guard multiple must be a number from 0 to {_MOST_MULTIPLE:g} (given: {guard_multiple:g})"
            )
        changed: dict[str, Any] = {"decision": DecisionRule(decision)} if decision else {}
        changed |= {} if guard_multiple is None else {"guard_multiple": float(guard_multiple)}
        tables = {name: replace(rule, **changed) for name, rule in self.tables.items()}
        return replace(self, default=replace(self.default, **changed), tables=tables)


SHIPPED_RULES = "judging_rules.toml"

_MOST_MULTIPLE = 10.0
_SECTIONS = frozenset({"title", "default", "tables"})
_WORDS: Mapping[str, tuple[str, type[StrEnum]]] = {
    "decision_rule": ("decision", DecisionRule),
    "without_uncertainty": ("unknown", Unknown),
    "comparison": ("comparison", Method),
    "rounding": ("tie", Tie),
}
_NUMBERS = {"guard_multiple": (0.0, _MOST_MULTIPLE), "coverage_factor": (1.0, 10.0), "loq_max_percent": (0.0, 100.0)}
_TEXTS = ("loq_clause", "loq_evidence", "comparison_note", "comparison_evidence")
_KEYS = frozenset({*_WORDS, *_NUMBERS, *_TEXTS, "uncertainty_from", "non_detects"})
_CONVENTION_KEYS = ("parameter", "count_as", "clause", "evidence")


def load_judging_rules(path: Path | str) -> JudgingRules:
    """Read a judging-rules file.

    Parameters
    ----------
    path : Path or str
        A TOML file; ``limits/judging_rules.toml`` explains every key.

    Raises
    ------
    PlantFileError
        The text lists every problem of the file with its mend; nothing of it is used.
    """
    data, digest = read_plant_file(path)
    refuse_problems(path, list(_problems(data, permitted_tables() | {SHEET})))
    default = _rule(TableRule(), data.get("default", {}))
    tables = {name: _rule(default, entry) for name, entry in data.get("tables", {}).items()}
    return JudgingRules(title=str(data["title"]), default=default, tables=tables, digest=digest, path=str(path))


def shipped_judging_rules() -> JudgingRules:
    """Return the rules that come with the package."""
    return load_judging_rules(shipped_folder("limits") / SHIPPED_RULES)


def _rule(base: TableRule, entry: Mapping[str, Any]) -> TableRule:
    given: dict[str, Any] = {field: kind(entry[key]) for key, (field, kind) in _WORDS.items() if key in entry}
    given |= {key: float(entry[key]) for key in _NUMBERS if key in entry}
    given |= {key: entry[key] for key in ("loq_clause", "comparison_note") if key in entry}
    given |= {"sources": tuple(entry["uncertainty_from"])} if "uncertainty_from" in entry else {}
    if "non_detects" in entry:
        given["conventions"] = tuple(
            Convention(**{**row, "count_as": CountAs(row["count_as"])}) for row in entry["non_detects"]
        )
    return replace(base, **given)


def _problems(data: Mapping[str, Any], sources: frozenset[str]) -> Iterator[str]:
    yield from unknown_keys(data, _SECTIONS, "the file")
    if not is_text(data.get("title")):
        yield 'title: it is missing; write title = "..."'
    tables = data.get("tables", {})
    if not isinstance(data.get("default", {}), dict) or not isinstance(tables, dict):
        yield "default, tables: write them as [default] and [tables.NAME]"
        return
    for where, entry in {"default": data.get("default", {}), **{f"tables.{k}": v for k, v in tables.items()}}.items():
        if isinstance(entry, dict):
            yield from _entry_problems(where, entry, sources)
        else:
            yield f"{where}: write it as a section of its own, [{where}]"


def _entry_problems(where: str, entry: Mapping[str, Any], sources: frozenset[str]) -> Iterator[str]:
    yield from unknown_keys(entry, _KEYS, where)
    for key, (_, kind) in _WORDS.items():
        if key in entry and entry[key] not in list(kind):
            yield f"{where}, {key}: it must be one of {', '.join(kind)} (given: {entry[key]!r})"
    for key, (least, most) in _NUMBERS.items():
        if key in entry and not _within(entry[key], least, most):
            yield f"{where}, {key}: it must be a number from {least:g} to {most:g} (given: {entry[key]!r})"
    yield from (
        f"{where}, {key}: it must be text that is not blank" for key in _TEXTS if not is_text(entry.get(key, "-"))
    )
    if "loq_max_percent" in entry and "loq_clause" not in entry:
        yield f"{where}, loq_clause: it is missing; say which text asks for the share"
    given = entry.get("uncertainty_from", [])
    if not is_list_of_texts(given) or not set(given) <= sources:
        yield f"{where}, uncertainty_from: it must be a list of {', '.join(sorted(sources))} (given: {given!r})"
    yield from _convention_problems(where, entry.get("non_detects", []))


def _within(value: object, least: float, most: float) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and least <= value <= most


def _convention_problems(where: str, entries: object) -> Iterator[str]:
    if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
        yield f"{where}, non_detects: write each as [[{where}.non_detects]]"
        return
    for number, entry in enumerate(entries, start=1):
        here = f"{where}, non_detects no. {number}"
        yield from unknown_keys(entry, _CONVENTION_KEYS, here)
        yield from (f"{here}, {key}: it is missing" for key in _CONVENTION_KEYS if not is_text(entry.get(key)))
        if is_text(entry.get("count_as")) and entry["count_as"] not in list(CountAs):
            yield f"{here}, count_as: it must be one of {', '.join(CountAs)} (given: {entry['count_as']!r})"
        if is_text(entry.get("parameter")) and entry["parameter"] not in catalogue():
            yield f"{here}, parameter: {entry['parameter']!r} is not in the catalogue; see parameters.csv"
