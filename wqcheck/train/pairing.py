"""Turns measured results at points into the two sides of each stage: before and after, of one run or one occasion."""

from __future__ import annotations

import pandas as pd

from wqcheck.train.description import Train
from wqcheck.train.kinds import SOURCE, WHOLE_TRAIN

PAIR = ["pair", "parameter", "fraction"]
INLET, OUTLET = "inlet", "outlet"


def pairs_of(train: Train) -> pd.DataFrame:
    """Return which points are compared.

    Returns
    -------
    DataFrame
        One row per comparison, numbered in ``pair``: ``stage``, ``kind``, ``inlet``, ``outlet``. First the stages that
        have an inlet, then the whole train to each product point; then the same rows once more from the first inlet
        of the train, where ``of`` is the pair that the row is the cumulative one of (-1 otherwise).
    """
    treating = [stage for stage in train.stages if stage.kind != SOURCE]
    rows: list[tuple[str, str | None, str, str, int]]
    rows = [(stage.name, stage.kind, stage.inlet, stage.outlet, -1) for stage in treating]
    ends = train.product_points or tuple(stage.outlet for stage in treating[-1:])
    rows += [(WHOLE_TRAIN, None, treating[0].inlet, end, -1) for end in ends if treating]
    rows += [(name, kind, treating[0].inlet, end, number) for number, (name, kind, _, end, _) in enumerate(rows)]
    table = pd.DataFrame(rows, columns=["stage", "kind", INLET, OUTLET, "of"])
    texts = dict.fromkeys(["stage", "kind", INLET, OUTLET], "str")
    return table.astype(texts).assign(pair=range(len(table)))


def sides(measured: pd.DataFrame, pairs: pd.DataFrame) -> pd.DataFrame:
    """Return each measured row once for every pair it is the inlet or outlet of, where both sides have results."""
    ends = pairs[pairs[INLET].ne(pairs[OUTLET])].melt(
        id_vars="pair", value_vars=[INLET, OUTLET], var_name="side", value_name="point"
    )
    rows = measured.merge(ends, on="point")
    return rows[rows.groupby(PAIR)["side"].transform("nunique").eq(2)].reset_index(drop=True)


def on_one_occasion(rows: pd.DataFrame, tolerance: float) -> pd.DataFrame:
    """Keep of each pair the results of its latest common occasion.

    Parameters
    ----------
    rows : DataFrame
        As :func:`sides` gives them, not empty.
    tolerance : float
        Hours that the samples of both sides may lie apart.

    Returns
    -------
    DataFrame
        Rows kept, with ``apart`` (no occasion is common; then the latest results of each side are kept), ``mixed`` and
        ``one_dated`` (the results are of several runs, or only one side is dated); none of the three gives a figure.

    Notes
    -----
    Where both sides name the same run (batch), only results of one run are paired. The occasion is the latest result
    after the stage that has one before it within the tolerance; all results of either side within the tolerance of it
    belong to it. Where a group has a date without time of day, days are compared. Without a date on every result, all
    results of the (latest named) run are taken.
    """
    rows = _of_common_runs(rows)
    group = rows.groupby([*PAIR, "run_kept"], sort=False).ngroup()
    dated_only = rows["at"].eq(rows["at"].dt.normalize()).groupby(group).transform("any")
    rows = rows.assign(group=group, time=rows["at"].mask(dated_only, rows["at"].dt.normalize()))
    undated = rows["time"].isna().groupby([rows[key] for key in PAIR]).transform("any")
    anchors = _anchors(rows[~undated], pd.Timedelta(hours=tolerance))
    rows = rows.merge(anchors, on=PAIR, how="left")
    undated = rows["time"].isna().groupby([rows[key] for key in PAIR]).transform("any")
    within = (rows["time"] - rows["anchor"]).abs().le(pd.Timedelta(hours=tolerance)) & rows["group"].eq(rows["best"])
    apart = rows["anchor"].isna() & ~undated
    own_last = rows.groupby([*PAIR, "side"])["time"].transform("max")
    last_run = rows.groupby(PAIR)["group"].transform("max")
    keep = within | (apart & rows["time"].eq(own_last)) | (undated & rows["group"].eq(last_run))
    return _with_doubts(rows.assign(apart=apart)[keep])


def _with_doubts(rows: pd.DataFrame) -> pd.DataFrame:
    """Add whether the results of a pair are ``mixed`` (of several runs), or only one side is dated (``one_dated``).

    Neither shows what the stage did, unless both sides name the same run.
    """
    pair = [rows[key] for key in PAIR]
    runs = rows["run"].where(rows["run"].ne("")).groupby(pair).transform("nunique")
    dated = rows["at"].notna()
    inlet, outlet = (dated.where(rows["side"].eq(side)).groupby(pair).transform("any") for side in (INLET, OUTLET))
    return rows.assign(mixed=runs.gt(1), one_dated=inlet.ne(outlet) & rows["run_kept"].eq(""))


def _of_common_runs(rows: pd.DataFrame) -> pd.DataFrame:
    """Leave out results of runs that only one side has, where the sides have a run in common; name it ``run_kept``."""
    both = rows.groupby([*PAIR, "run"])["side"].transform("nunique").eq(2) & rows["run"].ne("")
    any_common = both.groupby([rows[key] for key in PAIR]).transform("any")
    return rows.assign(run_kept=rows["run"].where(any_common, ""))[both | ~any_common]


def _anchors(rows: pd.DataFrame, tolerance: pd.Timedelta) -> pd.DataFrame:
    """Return for each pair the latest outlet time with an inlet within the tolerance (``anchor``) and its ``best``."""
    times = rows[[*PAIR, "group", "side", "time"]].drop_duplicates().sort_values("time")
    before = times[times["side"].eq(INLET)][["group", "time"]].assign(found=True)
    after = times[times["side"].eq(OUTLET)]
    matched = pd.merge_asof(after, before, on="time", by="group", tolerance=tolerance, direction="nearest")
    matched = matched[matched["found"].eq(True)].drop_duplicates(PAIR, keep="last")
    return matched[[*PAIR, "time", "group"]].rename(columns={"time": "anchor", "group": "best"})
