"""Turns the records over all batches into series with limits, control charts and trends, and a period's summary."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta

import pandas as pd
import streamlit as st

from wqcheck.certificate.figures import unit_text
from wqcheck.history_files.data import CAUTIONS
from wqcheck.history_files.drawing import value_range
from wqcheck.history_files.phrases import (
    chart_words,
    figure,
    forecast_words,
    limit_of,
    trend_words,
    unit_of,
)
from wqcheck.judging.judge import WORST_FIRST
from wqcheck.page.drifts import WORDS, draw_drifts, drifts_now
from wqcheck.page.history_charts import Shown, series_chart
from wqcheck.page.history_readings import train_chosen
from wqcheck.page.history_records import draw_records
from wqcheck.page.history_statistics import draw_statistics
from wqcheck.page.history_summary import draw_summary
from wqcheck.page.history_words import batches_at, chart_signals, legend
from wqcheck.page.language_note import draw_language_note
from wqcheck.page.office import Office
from wqcheck.page.settings import Settings
from wqcheck.page.shown import figures_in, moment
from wqcheck.page.spoken import later, say, spoken
from wqcheck.page.words import plain, sentence, series_words, titled
from wqcheck.records.batches import batches
from wqcheck.records.history import history, series_names
from wqcheck.records.period import SAME, results_of, state_of_checks, verdicts_of
from wqcheck.records.store import Store
from wqcheck.statistics.control_chart import FEWEST
from wqcheck.statistics.drift import HORIZON_DAYS, Drift, flags_of, histories_of
from wqcheck.statistics.series_lines import SeriesLines, series_lines, share_used, unlimited_histories
from wqcheck.tables import Judged, Readings, Verdict

PART_KEY = "part of the history"
POINT_KEY = "history point"
PARAMETER_KEY = "history parameters"
SPAN_KEY = "history span"
DAYS_KEY = "history days"
SHOWN_KEY = "history lines shown"
LIMIT_KEY = "history limit"
MOST_SERIES = 6
"""Series drawn at once: more are picked one after the other."""

NO_POINT = ""
SPANS: dict[str, int | None] = {
    later("last year"): 365,
    later("last three years"): 3 * 365,
    later("everything"): None,
    later("chosen days"): 0,
}
"""Period → days back from the last result; None is everything, 0 asks for the days."""

LINES = (later("control chart"), later("trend and forecast"), later("running annual average"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Picked:
    """What is to be drawn: a point, parameters, first and last day (None: everything), and lines."""

    point: str
    codes: tuple[str, ...]
    since: date | None
    until: date | None
    shown: Shown


def draw_history(office: Office, settings: Settings) -> None:
    """Draw one part of the history: series over time, statistics, or the records themselves.

    Raises
    ------
    wqcheck.errors.WqcheckError
        The store cannot be read, or a chosen file is not usable.
    """
    st.markdown(f"##### {say('History over all batches')}")
    part = st.segmented_control(
        say("What to look at"), list(_PARTS), default=OVER_TIME, required=True, format_func=say, key=PART_KEY,
        persist_state="session", label_visibility="collapsed",
    )  # fmt: skip
    _PARTS[part or OVER_TIME](office, settings, date.today())


def draw_over_time(office: Office, settings: Settings, today: date) -> None:
    """Draw what drifts, the series that are picked, and the summary of a period."""
    if not office.exists:
        st.info(
            say("No batch was recorded here yet. What was measured can be seen over time once batches are recorded.")
        )
        return
    store = office.store()
    names = _names(store, office.place, state_of_checks(store))
    if names.empty:
        st.info(say("The records hold no results yet. Take in and record a batch first."))
        return
    draw_drifts(office, today)
    train = train_chosen(settings)
    called = {point.code: point.name for point in train.points} if train else {}
    flags = drifts_now(office, today)
    if len(flags):
        st.caption(
            say("The table above looks at the last three years; chart and words below at the period chosen there.")
        )
    picked = _draw_pick(names, flags, called)
    states = _states(store, office.place, state_of_checks(store))
    for code in picked.codes[:MOST_SERIES]:
        _draw_series(store, code, picked, states)
    if len(picked.codes) > MOST_SERIES:
        st.caption(say("The first {number} are drawn.", number=MOST_SERIES))
    st.caption(plain(" ".join(CAUTIONS[1:])))
    draw_summary(office, str(names["last"].max()), today, [(code, picked.point) for code in picked.codes])
    draw_language_note()


def point_words(code: str, called: Mapping[str, str]) -> str:
    """Name a sampling point as the train of the plant calls it, its code behind."""
    return f"{sentence(called[code])} ({code})" if code in called else code or say("no point stated")


def _draw_pick(names: pd.DataFrame, drifts: pd.DataFrame, called: Mapping[str, str]) -> Picked:
    """Ask for point, parameters, period and lines; what drifts most is picked first, else the longest series."""
    first = drifts.iloc[0] if len(drifts) else names.sort_values("results").iloc[-1]
    points = list(dict.fromkeys(names["point"].fillna(NO_POINT)))
    left, right = st.columns([1, 3], gap="medium")
    begin = NO_POINT if pd.isna(first["point"]) else str(first["point"])
    point = left.selectbox(
        say("Sampling point"), points, index=points.index(begin) if begin in points else 0, key=POINT_KEY,
        format_func=lambda name: point_words(name, called), persist_state="session",
    )  # fmt: skip
    there = names[names["point"].fillna(NO_POINT).eq(point)].sort_values("results", ascending=False, kind="stable")
    listed = list(there["parameter"])
    chosen = [first["parameter"]] if first["parameter"] in listed else listed[:1]
    codes = right.multiselect(
        say("Parameters"), listed, default=chosen, key=f"{PARAMETER_KEY} {point}", format_func=titled,
        persist_state="session", help=say("What was measured most often comes first."),
    )  # fmt: skip
    since, until = _draw_span(str(there["last"].max()))
    lines = st.pills(
        say("Drawn beside results and limits"), LINES, selection_mode="multi", default=LINES[:2], key=SHOWN_KEY,
        format_func=say, persist_state="session",
    )  # fmt: skip
    shown = Shown(control=LINES[0] in lines, trend=LINES[1] in lines, averages=LINES[2] in lines)
    return Picked(point=point, codes=tuple(codes), since=since, until=until, shown=shown)


def _draw_span(last: str) -> tuple[date | None, date | None]:
    """Ask for the period; it ends with the last result at the point."""
    span = st.segmented_control(say("Period"), list(SPANS), default=list(SPANS)[1], key=SPAN_KEY, format_func=say,
                                persist_state="session")  # fmt: skip
    back = SPANS.get(span or "")
    end = date.fromisoformat(last) if last[:1].isdigit() else date.today()
    if back == 0:
        days = st.date_input(say("First and last day"), (end - timedelta(days=365), end), key=DAYS_KEY, width=320)
        if isinstance(days, tuple) and len(days) == 2:
            return days[0], days[1]
        st.info(say("Choose the last day too."))
    return (None, None) if not back else (end - timedelta(days=back), end)


def _draw_series(store: Store, code: str, picked: Picked, states: Mapping[str, str]) -> None:
    """Draw one series: what it is, its chart, what was computed of it, and its figures."""
    title = series_words(code, picked.point)
    st.markdown(f"**{plain(title)}**")
    ends = (picked.since or date.min, picked.until or date(9998, 12, 31))
    verdicts = verdicts_of(store, *ends, None, (code, picked.point))
    readings = _readings(store, code, picked)
    found = [one for one in histories_of(verdicts) if len(one.days)]
    found = found or [one for one in unlimited_histories(Readings.validate(readings)) if len(one.days)]
    if not found:
        st.info(say("No result with a day and a figure lies in this period."))
    else:
        lines = _draw_limit([series_lines(one) for one in found], title)
        batches = batches_at(verdicts if len(verdicts) else readings, states)
        drawn = series_chart(lines, picked.shown, batches)
        st.altair_chart(drawn, width="stretch", alt=f"{title}: {chart_words(lines, spoken())}")
        st.caption(legend(lines, picked.shown))
        _draw_computed(lines, picked.shown, batches)
    if len(readings):
        with st.expander(say("Figures of {series}", series=plain(title))):
            st.dataframe(_figures(readings, verdicts), hide_index=True, height=260, alt=title)


def _readings(store: Store, code: str, picked: Picked) -> pd.DataFrame:
    """Give the results of one series; those without a day stand at the end where no period is asked for."""
    if picked.point:
        return history(store, picked.point, code, picked.since, picked.until)
    found = results_of(store, code, picked.since or date.min, picked.until or date(9998, 12, 31), ())
    return found[found[Readings.point].isna()].reset_index(drop=True)


def _draw_limit(drawn: list[SeriesLines], title: str) -> SeriesLines:
    """Ask beside which of several limits the series is drawn; the one whose share is used up most comes first."""
    ordered = sorted(drawn, key=lambda lines: -share_used(lines.history))
    if len(ordered) == 1:
        return ordered[0]

    def told(place: int) -> str:
        limit = ordered[place].history.limit
        return f"{limit_of(ordered[place])} ({limit[Judged.table]}, {limit[Judged.clause]})"

    place = st.selectbox(
        say("Beside which limit"), range(len(ordered)), format_func=told, key=f"{LIMIT_KEY} {title}"
    )  # fmt: skip
    return ordered[place]


def _draw_computed(lines: SeriesLines, shown: Shown, batches: pd.DataFrame) -> None:
    """Say trend, forecast, drift and broken rules of a series in words."""
    row = flags_of([lines.history], None, HORIZON_DAYS).iloc[0].to_dict() | {"basis": None, "unit": unit_of(lines)}
    said = {say("Limit"): limit_of(lines) or say("no limit in the tables that were used")}
    beyond = _beyond(lines)
    if beyond:
        said[say("Not drawn")] = beyond
    if row["drift"] in WORDS:
        said[say("What it does")] = say(WORDS[Drift(row["drift"])])
    if shown.trend:
        said |= {
            say("Trend (Mann-Kendall, Sen)"): trend_words(row, spoken()),
            say("Meets the limit"): forecast_words(row, spoken()),
        }
    if shown.control:
        few = say("no chart: it takes {number} results", number=FEWEST)
        said[say("Control chart")] = chart_signals(lines, batches) if lines.chart else few
    if shown.averages and lines.averages.empty:
        said[say("Running annual average")] = say("none: four quarters with results are needed, and pH is not averaged")
    told = [plain(figures_in(words)) for words in said.values()]
    st.table(pd.DataFrame({say("What"): said.keys(), say("Says"): told}), hide_index=True)


def _beyond(lines: SeriesLines) -> str:
    """Name the limit that lies beyond the drawing."""
    low, high = value_range(lines)
    ends = [float(lines.history.limit[name]) for name in (Judged.lower, Judged.upper)]
    outside = [figure(end, 6) for end in ends if end < low or end > high]
    return say("limit {figure}: it lies beyond the drawing", figure=" / ".join(outside)) if outside else ""


def _figures(readings: pd.DataFrame, verdicts: pd.DataFrame) -> pd.DataFrame:
    """Give the results as a table with units, each with its worst verdict."""
    rank = {str(word): place for place, word in enumerate(WORST_FIRST)}
    worst = verdicts.assign(rank=verdicts[Judged.verdict].map(rank)).sort_values("rank", kind="stable")
    worst = worst.drop_duplicates(list(SAME))[[*SAME, Judged.verdict]]
    rows = readings.merge(worst, on=list(SAME), how="left")
    units = zip(rows["unit"].fillna(""), rows["basis"].fillna(""), rows["volume_ml"], strict=True)
    shown = {
        say("Sampled"): rows["sampled_at"].map(moment).replace("", say("no day")),
        say("Batch"): rows["batch"], say("Sample"): rows["sample"], say("Result"): rows["reported"],
        say("Unit"): [unit_text(unit, basis, None if pd.isna(volume) else volume) for unit, basis, volume in units],
        say("Verdict"): rows["verdict"].fillna(str(Verdict.NO_LIMIT)).map(say), say("Method"): rows["method"],
        say("Laboratory"): rows["lab"], say("Read from"): rows["workbook"] + " " + rows["cell"],
    }  # fmt: skip
    return pd.DataFrame(shown).fillna("")


@st.cache_data(max_entries=8, show_spinner=False)
def _states(_store: Store, place: str, state: int) -> dict[str, str]:
    """Return the state of each batch."""
    listed = batches(_store)
    return dict(zip(listed["batch"].astype("str"), listed["state"].astype("str"), strict=True))


@st.cache_data(max_entries=8, show_spinner=False)
def _names(_store: Store, place: str, state: int) -> pd.DataFrame:
    """List the series; ``place`` and ``state`` tell one state of the records from another."""
    return series_names(_store)


OVER_TIME, STATISTICS, RECORDS = later("Over time"), later("Statistics"), later("The records")
_PARTS: dict[str, Callable[[Office, Settings, date], None]] = {
    OVER_TIME: draw_over_time, STATISTICS: draw_statistics, RECORDS: draw_records,
}  # fmt: skip
