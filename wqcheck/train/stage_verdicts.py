"""Turns removals and the table of expectations into a verdict for each: whether the stage does what is usual."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.errors import UnknownUnitError
from wqcheck.tables import Bound, Expectations, Measure, Readings, Stages, StageVerdict, StageVerdicts
from wqcheck.train.description import Train
from wqcheck.train.kinds import TANK
from wqcheck.train.measured import measured
from wqcheck.train.ratings import ratings_table
from wqcheck.train.removal_words import interval_text, unit_text
from wqcheck.units import conversion, recognise_unit

Mask = npt.NDArray[np.bool_]

MORE_THAN_DOUBLED = -100.0
"""Percent below which a rise is told even where the level after the stage is low (common practice, no source)."""

PASSING = (TANK, "filler")
"""Kinds that are not blamed for organisms that were there before them."""

_BEST_FIRST = (
    StageVerdict.AS_EXPECTED, StageVerdict.WORSE, StageVerdict.UNEXPLAINED, StageVerdict.WEAK, StageVerdict.NOT_SHOWN,
)  # fmt: skip


def judge_stages(
    stages: DataFrame[Stages], expectations: DataFrame[Expectations], train: Train | None = None
) -> DataFrame[StageVerdicts]:
    """Return the removals with a verdict each.

    Parameters
    ----------
    stages : DataFrame[Stages]
        As :func:`wqcheck.train.removal.removal_by_stage` gives them.
    expectations : DataFrame[Expectations]
        What each kind of stage usually does; rows of the measure ``inlet`` are left to :func:`feed_against_limits`.
    train : Train, optional
        What its stages are rated to remove takes the place of the usual removal of such stages.

    Returns
    -------
    DataFrame[StageVerdicts]
        Same rows. Where several rows of the table speak of one removal, one that is met is enough; otherwise the
        gravest counts. Without a row the verdict is blank.

    Notes
    -----
    *As expected*: the least that was shown reaches the lower end of what is usual (an exact figure by itself, a bound
    by its least). *Weak*: even the most that the results and their uncertainty leave open stays below it. *Worse than
    inlet*: even the most is below zero; a low level after the stage is no excuse for more than twice the inlet. *Not
    shown*: everything between, and what is not known. *Change not explained*: what a stage lets pass changed, surely,
    by more than the upper end.
    """
    rows = expectations[expectations[Expectations.measure].ne(Measure.INLET)]
    keyed: pd.DataFrame = stages.reset_index(drop=True).reset_index(names="row")
    joined: pd.DataFrame = keyed.merge(
        rows.rename(columns={"unit": "unit_wanted"}).drop(columns=["note"]), on=["kind", "parameter"], how="inner"
    )
    if train is not None:
        joined = _rated_instead(joined, pd.DataFrame(keyed), train)
    if joined.empty:
        blank = pd.Series(pd.NA, index=stages.index, dtype="str")
        return _finished(stages, blank, blank, blank)
    verdict = _verdicts(joined)
    rank = pd.Series(verdict).map({word: place for place, word in enumerate(_BEST_FIRST)})
    said = _expected_text(joined)
    cited = joined["source"] + (" " + joined["clause"]).fillna("")
    table = pd.DataFrame({"row": joined["row"], "rank": rank, "verdict": verdict, "said": said, "cited": cited})
    best = table.sort_values(["row", "rank"]).drop_duplicates("row").set_index("row")["verdict"]
    texts = table.groupby("row").agg(
        said=("said", " or ".join), cited=("cited", lambda names: "; ".join(names.unique()))
    )
    places = pd.RangeIndex(len(stages))
    return _finished(stages, *(column.reindex(places) for column in (best, texts["said"], texts["cited"])))


def _rated_instead(joined: pd.DataFrame, keyed: pd.DataFrame, train: Train) -> pd.DataFrame:
    """Put the rating of a stage in the place of what percentage or log removal is usual of its kind."""
    rated = ratings_table([(stage.name, stage.rated_removal) for stage in train.stages])
    if rated.empty:
        return joined
    known = set(zip(rated["stage"], rated["parameter"], strict=True))
    usual = joined["measure"].isin([Measure.PERCENT, Measure.LOG])
    replaced = [pair in known for pair in zip(joined[Stages.stage], joined["parameter"], strict=True)]
    own = keyed.merge(rated, on=["stage", "parameter"], how="inner")
    kept = joined[~(usual & pd.Series(replaced, index=joined.index, dtype=bool))]
    return pd.concat([kept, own], ignore_index=True) if len(kept) else own


def _finished(
    stages: DataFrame[Stages], verdict: pd.Series[str], said: pd.Series[str], cited: pd.Series[str]
) -> DataFrame[StageVerdicts]:
    added = {StageVerdicts.verdict: verdict, StageVerdicts.expected: said, StageVerdicts.expected_source: cited}
    columns = {name: column.set_axis(stages.index).astype("str") for name, column in added.items()}
    return StageVerdicts.validate(stages.assign(**columns))


def _verdicts(joined: pd.DataFrame) -> npt.NDArray[np.str_]:
    """Return the verdict of each removal by each row that speaks of it."""
    measure = joined["measure"].to_numpy(dtype=np.str_)
    lower, upper = (joined[end].to_numpy(dtype=np.float64) for end in ("lower", "upper"))
    percent, least, most = (joined[name].to_numpy(dtype=np.float64) for name in
                            (Stages.removal_percent, Stages.removal_low, Stages.removal_high))  # fmt: skip
    by_log = measure == Measure.LOG
    wanted = np.where(by_log, 100 * (1 - 10 ** -np.where(by_log, lower, 0.0)), lower)
    bound = joined["bound"].to_numpy(dtype=np.str_)
    shown = np.where(np.isin(bound, [str(Bound.EXACT), str(Bound.AT_LEAST)]), percent, np.nan)
    removing = (measure == Measure.PERCENT) | by_log
    carried = measure == Measure.CARRIED
    met_level, passed_level = _level(joined, upper)
    met_level &= ~((measure == Measure.OUTLET) & (most < MORE_THAN_DOUBLED))
    met = (removing & (shown >= wanted)) | met_level | (carried & (np.abs(percent) <= upper))
    surely_more = carried & ((least > upper) | (most < -upper))
    worse = ~carried & (most < 0)
    weak = (removing & (most < wanted)) | passed_level
    words = [StageVerdict.AS_EXPECTED, StageVerdict.UNEXPLAINED, StageVerdict.WORSE, StageVerdict.WEAK]
    return np.select([met, surely_more, worse, weak], words, StageVerdict.NOT_SHOWN).astype(np.str_)


def _level(joined: pd.DataFrame, upper: npt.NDArray[np.float64]) -> tuple[Mask, Mask]:
    """Return whether the outlet surely keeps to the level that a row asks for, and whether it surely passes it."""
    measure = joined["measure"].to_numpy(dtype=np.str_)
    level, none = measure == Measure.OUTLET, measure == Measure.NONE
    factors = _factors(joined["parameter"], joined["unit"], joined["unit_wanted"])
    low, high = (joined[end].to_numpy(dtype=np.float64) * factors for end in (Stages.outlet_low, Stages.outlet_high))
    inherited = joined["kind"].isin(PASSING).to_numpy() & (joined[Stages.inlet_low].to_numpy() > 0)
    met = (level & (high <= upper)) | (none & (low == 0) & (high <= 1))
    return met, (level & (low > upper)) | (none & (low > 0) & ~inherited)


def _factors(parameter: pd.Series[str], unit: pd.Series[str], wanted: pd.Series[str]) -> npt.NDArray[np.float64]:
    """Return what a number in each *unit* is multiplied with to be in the *wanted* one; NaN where that cannot be."""
    keys = pd.DataFrame({"code": parameter, "unit": unit.fillna(""), "wanted": wanted.fillna("")})
    distinct = keys.drop_duplicates()
    known = {row: _factor(*row) for row in distinct.itertuples(index=False, name=None)}
    return np.array([known[row] for row in keys.itertuples(index=False, name=None)], dtype=np.float64)


def _factor(code: str, unit: str, wanted: str) -> float:
    if unit == wanted:
        return 1.0
    try:
        given, asked = recognise_unit(unit), recognise_unit(wanted)
    except UnknownUnitError:
        return np.nan
    found = conversion(code, given.label, given.basis, asked.label, asked.basis)
    volumes = (asked.volume_ml or 1.0) / (given.volume_ml or 1.0)
    return found.high * volumes if found.low == found.high else np.nan


def _expected_text(joined: pd.DataFrame) -> pd.Series[str]:
    """Return in words what each row expects."""
    lower, upper = (joined[end].map("{:g}".format).astype("str") for end in ("lower", "upper"))
    unit = (" " + joined["unit_wanted"]).fillna("").astype("str")
    span = lower.mask(joined["upper"].notna(), lower + " to " + upper)
    measure = joined["measure"]
    text = (span + unit).mask(measure.eq(Measure.PERCENT), span + " %")
    growth = "a rise of at most " + joined["lower"].abs().map("{:g}".format).astype("str") + " log"
    text = text.mask(measure.eq(Measure.LOG), (span + " log").mask(joined["lower"].lt(0), growth)).mask(
        measure.eq(Measure.NONE), "none found in" + unit.str.replace("CFU/", "")
    )
    text = text.mask(measure.eq(Measure.OUTLET), "at most " + upper + unit + " after it")
    return text.mask(measure.eq(Measure.CARRIED), "passes, within " + upper + " %").astype("str")


def feed_against_limits(
    readings: DataFrame[Readings], train: Train, expectations: DataFrame[Expectations]
) -> pd.DataFrame:
    """Return what flows into stages beside what such stages can bear.

    Returns
    -------
    DataFrame
        One row per stage × ``inlet`` row with a result at the stage's inlet on the latest day there: ``stage``,
        ``kind``, ``point``, ``parameter``, ``value`` (text), ``unit``, ``lower``, ``upper``, ``unit_wanted``,
        ``source``, ``note``, ``cell``, ``passed`` (surely beyond) and ``excess`` (times the limit, at least).
    """
    inlets = pd.DataFrame(
        [(stage.name, stage.kind, stage.inlet) for stage in train.stages if stage.inlet],
        columns=["stage", "kind", "point"],
        dtype="str",
    )
    rows = expectations[expectations[Expectations.measure].eq(Measure.INLET)]
    wanted = inlets.merge(rows.rename(columns={"unit": "unit_wanted"}), on="kind")
    found = measured(readings, train, every=True).drop(columns=["note"]).merge(wanted, on=["point", "parameter"])
    day = found["at"].dt.normalize()
    latest = day.groupby([found["stage"], found["parameter"]]).transform("max")
    found = found[day.eq(latest) | latest.isna()].reset_index(drop=True)
    text = unit_text(found["unit"], found["basis"], found["volume"])
    factors = _factors(found["parameter"], text, found["unit_wanted"].fillna(text))
    low, high = found["low"] * factors, found["high"] * factors
    over, under = low / found["upper"], found["lower"] / high
    excess = pd.concat([over, under], axis=1).max(axis=1)
    value = interval_text(found["low"], found["high"])
    table: pd.DataFrame = found.assign(value=value, unit=text, excess=excess, passed=excess.gt(1))
    return table
