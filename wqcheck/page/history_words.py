"""Turns a drawn series into the words beside its chart: legend, signals, batches of its results."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from wqcheck.page.history_charts import Shown
from wqcheck.page.shown import moment
from wqcheck.page.spoken import later, say, spoken
from wqcheck.records.standing import State
from wqcheck.statistics.drift import limit_side, rule_words
from wqcheck.statistics.series_lines import SeriesLines
from wqcheck.tables import Judged

MARKS = later(
    "Dots: detected. Thick line: limit. Beside a point beyond the limit stands its batch; a cross marks results of a "
    "batch that was rejected or withdrawn."
)
RINGS = later("Open rings on a bar: not detected, drawn at the reporting limit; the result lies anywhere on the bar.")
CONTROL = later(
    "Dashed: centre of the control chart; dotted: its limits, made from all results of the period. Diamonds: a rule of "
    "the chart is broken."
)
SEN = later("Broken line with a band: Sen line with its 95 % interval, for the trend is significant.")
SQUARES = later("Squares: running annual average.")
_MARKED = (State.REJECTED, State.WITHDRAWN)


def chart_signals(lines: SeriesLines, batches: pd.DataFrame) -> str:
    """Say which rules of the control chart are broken toward a limit, with the last day and batch; then the others.

    Without a limit each side counts the same.
    """
    if lines.chart is None or not lines.chart.broken:
        return say("no rule broken")
    one, side = lines.history, limit_side(lines.history, lines.slope)
    limited = bool(one.limit[Judged.table])
    toward = [b for b in lines.chart.broken if b.side == side or not b.side or not limited]
    said = []
    for words in dict.fromkeys(rule_words(toward, spoken())):
        last = max(one.days[b.place] for b in toward if words.startswith(rule_words([b], spoken())[0]))
        batch = batches["batch"].get(pd.Timestamp(last), "")
        said.append(f"{words} ({say('last on {day}', day=moment(pd.Timestamp(last)))}{', ' if batch else ''}{batch})")
    other = len(lines.chart.broken) - len(toward)
    if other and not toward:
        said.append(say("no rule broken on the side of the limit"))
    return "; ".join([*said, *([say("{number} signals on the other side", number=other)] if other else [])])


def batches_at(rows: pd.DataFrame, states: Mapping[str, str]) -> pd.DataFrame:
    """Return by sampling time the batches with results of it: ``batch`` as text, ``gone`` if one does not stand.

    Parameters
    ----------
    rows : DataFrame
        Results with ``sampled_at`` and ``batch``.
    states : mapping
        Batch → its state.
    """
    dated = rows[rows["sampled_at"].notna() & rows["batch"].notna()]
    gone = dated["batch"].map(states).isin(_MARKED)
    told = dated["batch"].mask(
        gone, dated["batch"] + " (" + dated["batch"].map(states).map(say, na_action="ignore") + ")"
    )
    frame = pd.DataFrame({"at": dated["sampled_at"], "batch": told, "gone": gone})
    grouped = frame.groupby("at")
    return pd.DataFrame({"batch": grouped["batch"].agg(_together), "gone": grouped["gone"].any()})


def _together(names: pd.Series[str]) -> str:
    return ", ".join(dict.fromkeys(map(str, names)))


def legend(lines: SeriesLines, shown: Shown) -> str:
    """Say what the marks of a chart mean, those that are drawn."""
    told = [say(MARKS)]
    if (lines.history.low < lines.history.high).any():
        told.append(say(RINGS))
    if shown.control and lines.chart is not None:
        told.append(say(CONTROL))
    if shown.trend and not lines.band.empty:
        told.append(say(SEN))
    if shown.averages and len(lines.averages):
        told.append(say(SQUARES))
    return " ".join(told)
