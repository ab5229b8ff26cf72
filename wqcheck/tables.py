"""Turns loose data frames into checked tables: the one spelling of every column name, its type and its allowed words.

Write ``readings[Readings.value]``: the attribute *is* the column name, so a rename is one line here.
"""

from __future__ import annotations

from enum import StrEnum

import pandas as pd
import pandera.pandas as pa
from pandera.typing import Series


class Sign(StrEnum):
    """What stands before a reported value, or in its place."""

    EQUAL = "="
    LESS = "<"
    GREATER = ">"
    ABSENT = "absent"
    PRESENT = "present"
    NOT_DONE = "not done"
    UNREADABLE = "unreadable"


class Verdict(StrEnum):
    """What comparing one result with one limit gives (words of ILAC-G8:09/2019 where they exist)."""

    PASS = "pass"
    CONDITIONAL_PASS = "conditional pass"
    CONDITIONAL_FAIL = "conditional fail"
    FAIL = "fail"
    UNDETERMINED = "undetermined"
    NO_LIMIT = "no limit"


class Rule(StrEnum):
    """How a limit row is compared; ``limits/README.md`` explains each to the person who edits the table."""

    MAX = "max"
    MIN = "min"
    RANGE = "range"
    ABSENT = "absent"
    SUM_MAX = "sum_max"
    RATIO_SUM_MAX = "ratio_sum_max"
    PERCENTILE_MAX = "percentile_max"
    MEAN_MAX = "mean_max"
    ATTRIBUTE_PLAN = "attribute_plan"
    GUIDANCE = "guidance"


class LimitClass(StrEnum):
    """What kind of harm or nuisance a limit row guards against; the first three can reject a batch."""

    HEALTH = "health"
    MICROBIOLOGICAL = "microbiological"
    RADIOLOGICAL = "radiological"
    INDICATOR = "indicator"
    ACCEPTABILITY = "acceptability"
    OPERATIONAL = "operational"


class Product(StrEnum):
    """The kinds of water that a limit row can bind; a row names one or more of them, or ``any``."""

    TAP = "tap"
    PACKAGED = "packaged"
    SPRING = "spring"
    NATURAL_MINERAL = "natural mineral"
    PURIFIED = "purified"


class Bound(StrEnum):
    """How exactly a removal figure is known when a result is a non-detect."""

    EXACT = "exact"
    AT_LEAST = "at least"
    AT_MOST = "at most"
    UNKNOWN = "unknown"


class Measure(StrEnum):
    """What a row of the expectation table is about; ``limits/README.md`` explains each to the person who edits it."""

    PERCENT = "percent"
    LOG = "log"
    OUTLET = "outlet"
    NONE = "none"
    CARRIED = "carried"
    INLET = "inlet"


class StageVerdict(StrEnum):
    """Whether a stage does what such a stage usually does."""

    AS_EXPECTED = "as expected"
    WEAK = "weak"
    NOT_SHOWN = "not shown"
    WORSE = "worse than inlet"
    UNEXPLAINED = "change not explained"


class Readings(pa.DataFrameModel):
    """One row per reported result. Text columns may be blank (NA); ``reported`` never is.

    ``value`` is in ``unit`` on ``basis`` (a formula such as ``NO3``, ``N`` or ``CaCO3``; blank means that the sheet
    did not say). Counts carry ``unit`` ``CFU``, ``MPN`` … and ``volume_ml`` (mL examined). ``value_high`` is the upper
    end of a reported range. Times are local to the sheet. ``parameter`` is a catalogue code, blank when not recognised.
    """

    sample: Series[str] = pa.Field(nullable=True)
    batch: Series[str] = pa.Field(nullable=True)
    point: Series[str] = pa.Field(nullable=True)
    stage: Series[str] = pa.Field(nullable=True)
    sampled_at: Series[pd.Timestamp] = pa.Field(nullable=True)
    received_at: Series[pd.Timestamp] = pa.Field(nullable=True)
    analysed_at: Series[pd.Timestamp] = pa.Field(nullable=True)
    parameter: Series[str] = pa.Field(nullable=True)
    parameter_text: Series[str] = pa.Field(nullable=True)
    fraction: Series[str] = pa.Field(nullable=True, isin=["total", "dissolved"])
    reported: Series[str]
    sign: Series[str] = pa.Field(isin=list(Sign))
    value: Series[float] = pa.Field(nullable=True)
    value_high: Series[float] = pa.Field(nullable=True)
    unit: Series[str] = pa.Field(nullable=True)
    unit_text: Series[str] = pa.Field(nullable=True)
    basis: Series[str] = pa.Field(nullable=True)
    volume_ml: Series[float] = pa.Field(nullable=True)
    reporting_limit: Series[float] = pa.Field(nullable=True)
    uncertainty: Series[float] = pa.Field(nullable=True)
    qualifier: Series[str] = pa.Field(nullable=True)
    method: Series[str] = pa.Field(nullable=True)
    lab: Series[str] = pa.Field(nullable=True)
    replicate: Series[str] = pa.Field(nullable=True)
    workbook: Series[str]
    sheet: Series[str] = pa.Field(nullable=True)
    cell: Series[str]

    class Config:
        """Exactly these columns, in this order, with these types."""

        strict = True
        ordered = True


class Limits(pa.DataFrameModel):
    """One row per limit of one table. ``class`` and ``status`` are the file's words, ``line`` its line there."""

    parameter: Series[str]
    rule: Series[str] = pa.Field(isin=list(Rule))
    lower: Series[float] = pa.Field(nullable=True)
    upper: Series[float] = pa.Field(nullable=True)
    unit: Series[str] = pa.Field(nullable=True)
    basis: Series[str] = pa.Field(nullable=True)
    volume_ml: Series[float] = pa.Field(nullable=True)
    members: Series[str] = pa.Field(nullable=True)
    weights: Series[str] = pa.Field(nullable=True)
    product: Series[str]
    limit_class: Series[str] = pa.Field(alias="class", isin=list(LimitClass))
    status: Series[str] = pa.Field(nullable=True)
    valid_from: Series[pd.Timestamp] = pa.Field(nullable=True)
    valid_to: Series[pd.Timestamp] = pa.Field(nullable=True)
    source: Series[str]
    clause: Series[str]
    evidence: Series[str]
    note: Series[str] = pa.Field(nullable=True)
    line: Series[int]

    class Config:
        """Exactly these columns, in this order, with these types."""

        strict = True
        ordered = True


class Judged(Readings):
    """One row per reading × limit row that binds it; a reading that no row binds stands once with ``no limit``.

    A sum or ratio row is one row per sample: its ``reported`` and ``cell`` list the members. ``compared_low`` and
    ``compared_high`` are the ends of what the result can be in ``limit_unit``; they agree for an exact result.
    ``compared_value`` is that value, or the end that decides. ``margin`` is the share of the limit that is left
    (negative when exceeded), dimensionless.

    ``decision_rule`` is the rule that decided. ``expanded_uncertainty`` (with where it comes from) and ``guard_band``
    are in ``limit_unit``; ``conformity`` is the probability that the true value meets the limit; all blank where
    unknown. ``loq_percent`` is the reporting limit in percent of the limit. ``sum_lower``, ``sum_middle`` and
    ``sum_upper`` are a sum with its non-detects as zero, half and all of their limits.
    """

    table: Series[str] = pa.Field(nullable=True)
    rule: Series[str] = pa.Field(nullable=True)
    lower: Series[float] = pa.Field(nullable=True)
    upper: Series[float] = pa.Field(nullable=True)
    limit_unit: Series[str] = pa.Field(nullable=True)
    limit_basis: Series[str] = pa.Field(nullable=True)
    limit_class: Series[str] = pa.Field(alias="class", nullable=True)
    status: Series[str] = pa.Field(nullable=True)
    source: Series[str] = pa.Field(nullable=True)
    clause: Series[str] = pa.Field(nullable=True)
    evidence: Series[str] = pa.Field(nullable=True)
    limit_line: Series[float] = pa.Field(nullable=True)
    compared_value: Series[float] = pa.Field(nullable=True)
    compared_low: Series[float] = pa.Field(nullable=True)
    compared_high: Series[float] = pa.Field(nullable=True)
    verdict: Series[str] = pa.Field(isin=list(Verdict))
    margin: Series[float] = pa.Field(nullable=True)
    reason: Series[str]
    decision_rule: Series[str] = pa.Field(nullable=True)
    expanded_uncertainty: Series[float] = pa.Field(nullable=True)
    uncertainty_source: Series[str] = pa.Field(nullable=True)
    guard_band: Series[float] = pa.Field(nullable=True)
    conformity: Series[float] = pa.Field(nullable=True)
    loq_percent: Series[float] = pa.Field(nullable=True)
    sum_lower: Series[float] = pa.Field(nullable=True)
    sum_middle: Series[float] = pa.Field(nullable=True)
    sum_upper: Series[float] = pa.Field(nullable=True)


class Stages(pa.DataFrameModel):
    """One row per parameter × stage (the whole train is the stage ``whole train``).

    ``inlet`` and ``outlet`` are the results as text with sign, in ``unit``. ``removal_percent`` is in percent,
    ``log_removal`` in log10 units; ``bound`` says how exactly both are known. ``removal_low`` and ``removal_high`` are
    the least and the most percent that the results and their uncertainty (k = 2) leave open. The cumulative columns are
    counted from the first inlet of the train. ``inlet_low`` … ``outlet_high`` are the ends of both results in ``unit``,
    and the last two columns the cells (``sheet!cell``) that they were read from.
    """

    stage: Series[str]
    kind: Series[str] = pa.Field(nullable=True)
    parameter: Series[str]
    inlet_point: Series[str]
    outlet_point: Series[str]
    inlet: Series[str]
    outlet: Series[str]
    unit: Series[str] = pa.Field(nullable=True)
    removal_percent: Series[float] = pa.Field(nullable=True)
    log_removal: Series[float] = pa.Field(nullable=True)
    bound: Series[str] = pa.Field(isin=list(Bound))
    reason: Series[str]
    removal_low: Series[float] = pa.Field(nullable=True)
    removal_high: Series[float] = pa.Field(nullable=True)
    cumulative_percent: Series[float] = pa.Field(nullable=True)
    cumulative_log: Series[float] = pa.Field(nullable=True)
    cumulative_bound: Series[str] = pa.Field(isin=list(Bound), nullable=True)
    inlet_low: Series[float] = pa.Field(nullable=True)
    inlet_high: Series[float] = pa.Field(nullable=True)
    outlet_low: Series[float] = pa.Field(nullable=True)
    outlet_high: Series[float] = pa.Field(nullable=True)
    inlet_cells: Series[str] = pa.Field(nullable=True)
    outlet_cells: Series[str] = pa.Field(nullable=True)

    class Config:
        """Exactly these columns, in this order, with these types."""

        strict = True
        ordered = True


class StageVerdicts(Stages):
    """Removals with what was expected of them; ``verdict`` is blank where the expectation table has no row."""

    verdict: Series[str] = pa.Field(nullable=True, isin=list(StageVerdict))
    expected: Series[str] = pa.Field(nullable=True)
    expected_source: Series[str] = pa.Field(nullable=True)


class Expectations(pa.DataFrameModel):
    """One row per kind of stage × parameter × measure: what such a stage usually does, in ``unit``.

    ``line`` is the row's line in its file.
    """

    kind: Series[str]
    group: Series[str]
    parameter: Series[str]
    measure: Series[str] = pa.Field(isin=list(Measure))
    lower: Series[float] = pa.Field(nullable=True)
    upper: Series[float] = pa.Field(nullable=True)
    unit: Series[str] = pa.Field(nullable=True)
    source: Series[str] = pa.Field(str_length={"min_value": 1})
    clause: Series[str] = pa.Field(nullable=True)
    evidence: Series[str] = pa.Field(isin=["primary text", "secondary text", "memory", "common practice"])
    note: Series[str] = pa.Field(nullable=True)
    line: Series[int]

    class Config:
        """Exactly these columns, in this order, with these types."""

        strict = True
        ordered = True


class Ledger(pa.DataFrameModel):
    """One row per non-empty cell that is not itself a result: what part it plays and why."""

    workbook: Series[str]
    sheet: Series[str] = pa.Field(nullable=True)
    cell: Series[str]
    text: Series[str]
    role: Series[str]
    reason: Series[str]

    class Config:
        """Exactly these columns, in this order."""

        strict = True
        ordered = True
