"""Turns the file of sampling plans into the attribute plans that limit rows with the rule ``attribute_plan`` name."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

import pandas as pd
import pandera.pandas as pa
from pandera.typing import DataFrame, Series

from wqcheck.limit_tables.data_files import load_data_file
from wqcheck.shipped_files import shipped_folder
from wqcheck.units import COUNT_UNITS

PLANS_FILE = "sampling_plans.csv"
PLAN = "plan "
"""How the status of a limit row begins that names its sampling plan."""


class Method(StrEnum):
    """How the organisms of a unit are counted; a plan of ``ANY`` holds for both."""

    MPN = "MPN"
    FILTER = "membrane filter"
    ANY = "any"


class Beyond(StrEnum):
    """Which unit counts as marginal or defective: one above the figure, or one at it as well ("2.2 or more")."""

    ABOVE = "above"
    AT_OR_ABOVE = "at or above"


class SamplingPlans(pa.DataFrameModel):
    """One row per plan and method: of ``n`` units at most ``c`` beyond ``m``, none beyond ``M``, a mean of at most
    ``mean``, all in ``unit`` per ``volume_ml`` (mL). A blank ``M`` is a two-class plan, a blank ``mean`` asks none.
    """  # noqa: D205 one sentence says it

    plan: Series[str]
    method: Series[str] = pa.Field(isin=list(Method))
    n: Series[int] = pa.Field(ge=1)
    c: Series[int] = pa.Field(ge=0)
    m: Series[float] = pa.Field(ge=0)
    M: Series[float] = pa.Field(nullable=True)
    mean: Series[float] = pa.Field(nullable=True, ge=0)
    beyond: Series[str] = pa.Field(isin=list(Beyond))
    unit: Series[str] = pa.Field(isin=sorted(COUNT_UNITS))
    volume_ml: Series[float] = pa.Field(gt=0)
    source: Series[str]
    clause: Series[str]
    evidence: Series[str] = pa.Field(str_matches=r"^(primary text: .+|secondary text: .+|memory.*)$")
    note: Series[str] = pa.Field(nullable=True)

    @pa.dataframe_check(name="c is below n, and M is not below m")
    def _ends(cls, rows: pd.DataFrame) -> pd.Series[bool]:
        return (rows["c"] < rows["n"]) & (rows["M"].isna() | (rows["M"] >= rows["m"]))

    @pa.dataframe_check(name="a plan has one row for each method, and no other where one row is for any")
    def _once(cls, rows: pd.DataFrame) -> pd.Series[bool]:
        several = rows.groupby("plan")["method"].transform("size") > 1
        return ~(rows.duplicated(["plan", "method"]) | (several & rows["method"].eq(Method.ANY)))

    class Config:
        """Exactly these columns, in this order, with these types."""

        strict = True
        ordered = True


@dataclass(frozen=True, slots=True, eq=False)
class PlanFile:
    """The plans of one file, and the SHA-256 of its bytes."""

    path: Path
    digest: str
    rows: DataFrame[SamplingPlans]


def load_plans(folder: Path | None = None) -> PlanFile:
    """Return the sampling plans that stand in *folder*; where it has no such file, the shipped ones.

    Raises
    ------
    LimitTableError
        ``problems`` lists every bad cell, and nothing is loaded.
    """
    own = None if folder is None else folder / PLANS_FILE
    path = own if own is not None and own.is_file() else shipped_folder("limits") / PLANS_FILE
    rows, digest = load_data_file(path, SamplingPlans)
    return PlanFile(path=path, digest=digest, rows=DataFrame[SamplingPlans](rows))


def plan_name(status: object) -> str:
    """Return the plan that a limit row's *status* names, blank when it names none."""
    text = status if isinstance(status, str) else ""
    return text.removeprefix(PLAN).strip() if text.startswith(PLAN) else ""
