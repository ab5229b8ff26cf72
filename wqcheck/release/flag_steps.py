"""Turns one flag into its working: numbered steps from what was given to why it is flagged."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import pandas as pd
from pandera.typing import DataFrame

from wqcheck.explanation import Step, explain
from wqcheck.release.asked import Asked, least_volume
from wqcheck.release.decision import BatchCheck
from wqcheck.release.flags import FlagKind, Flags
from wqcheck.release.reasons import Disposition
from wqcheck.tables import StageVerdicts
from wqcheck.train.removal_words import removal_words

_ASKS = {
    FlagKind.REQUIRED: "the release rules require it for this kind of water",
    FlagKind.RULE: "the release rules",
    FlagKind.NOT_TESTED: "a limit in a chosen table",
    FlagKind.FINDING: "a check of the data, beside the limits",
}
_LEADS = {
    Disposition.REJECT: "rejects the batch",
    Disposition.HOLD: "holds the batch",
    Disposition.RELEASE: "by the release rules it does not hold the batch; the licence may ask for it",
}

STEP_TITLES = (
    "limits", "order", "before", "after", "removal", "pairing", "usual", "where", "asked by", "found",
)  # fmt: skip
"""What the steps are about that :data:`wqcheck.explanation.STEP_TITLES` does not name."""


def flag_steps(
    check: BatchCheck,
    flag: Mapping[Any, Any],
    stages: DataFrame[StageVerdicts] | None = None,
    limits: DataFrame[Asked] | None = None,
) -> tuple[Step, ...]:
    """Return the working of one flag.

    Parameters
    ----------
    check : BatchCheck
        The batch that it is a flag of.
    flag : Mapping
        A row of ``DataFrame[Flags]`` made from it.
    stages : DataFrame[StageVerdicts], optional
        The removals that stage flags were made from.
    limits : DataFrame[Asked], optional
        What the limit tables ask for, told of a parameter without a result.

    Returns
    -------
    tuple of Step
        Of a result: as :func:`wqcheck.explanation.explain` gives them.
    """
    kind, row = FlagKind(flag[Flags.kind]), int(flag[Flags.row])
    if kind is FlagKind.STAGE and stages is not None:
        return tuple(step for step in _stage_steps(stages.iloc[row].to_dict()) if step.text)
    if row >= 0 and flag[Flags.table]:
        return explain(check.judged.iloc[[row]], check.decision_rules)[0].steps
    steps = [*_other_steps(kind, flag)]
    if limits is not None and kind in (FlagKind.REQUIRED, FlagKind.NOT_TESTED):
        steps[-1:-1] = _asked_steps(limits[limits[Asked.parameter].eq(flag[Flags.parameter])])
    return tuple(step for step in steps if step.text)


def _asked_steps(limits: pd.DataFrame) -> Iterator[Step]:
    """Yield what each table asks, and in which volume a test has to be ordered."""
    told = [f"{row[Asked.table]}: {row[Asked.limit]} ({row[Asked.limit_class]})" for row in limits.to_dict("records")]
    yield Step(title="limits", text="; ".join(dict.fromkeys(told)) or "no chosen table limits it")
    volume = least_volume(limits) if len(limits) else float("nan")
    if volume > 0:
        yield Step(title="order", text=f"a test that examines at least {volume:g} mL")


def _stage_steps(row: Mapping[Any, Any]) -> Iterator[Step]:
    unit = "" if pd.isna(row[StageVerdicts.unit]) else f" {row[StageVerdicts.unit]}"
    ends = (
        ("before", StageVerdicts.inlet_point, StageVerdicts.inlet, StageVerdicts.inlet_cells),
        ("after", StageVerdicts.outlet_point, StageVerdicts.outlet, StageVerdicts.outlet_cells),
    )
    for title, point, result, cells in ends:
        yield Step(title=title, text=f"{row[result]}{unit} at {row[point]} ({row[cells]})")
    figures = (row[name] for name in (StageVerdicts.removal_percent, StageVerdicts.log_removal, StageVerdicts.bound))
    yield Step(title="removal", text=removal_words(*figures))
    yield Step(title="pairing", text=str(row[StageVerdicts.reason]))
    yield Step(title="usual", text=f"{row[StageVerdicts.expected]} ({row[StageVerdicts.expected_source]})")
    yield Step(title="verdict", text=f"{str(row[StageVerdicts.verdict]).upper()}: {row[StageVerdicts.stage]}")


def _other_steps(kind: FlagKind, flag: Mapping[Any, Any]) -> Iterator[Step]:
    """Yield what is known of a flag that no result and no stage stands behind."""
    yield Step(title="as given", text=repr(flag[Flags.reported]) if flag[Flags.reported] else "")
    yield Step(title="where", text=str(flag[Flags.where]))
    yield Step(title="asked by", text=_ASKS.get(kind, ""))
    yield Step(title="found", text=str(flag[Flags.reason]))
    yield Step(
        title="verdict", text=f"{str(flag[Flags.code]).upper()}: {kind}; {_LEADS[Disposition(flag[Flags.leads_to])]}"
    )
