"""Turns readings over time into statistics of every series, and into verdicts on series and lots, in words."""

from __future__ import annotations

from datetime import date
from math import inf, isnan

import pandas as pd
import streamlit as st
from pandera.typing import DataFrame

from wqcheck.certificate_files.flag_list import csv_bytes
from wqcheck.errors import LimitTableError
from wqcheck.page.history_readings import draw_readings, tables_chosen, train_chosen
from wqcheck.page.office import Office
from wqcheck.page.settings import Settings
from wqcheck.page.shown import number, shown_table
from wqcheck.page.spoken import later, say
from wqcheck.page.words import message_text, parameter_words, titled
from wqcheck.statistics.series import statistics_by_point
from wqcheck.statistics.series_judging import Statistic, judge_series
from wqcheck.statistics.series_rules import NonDetects
from wqcheck.statistics.series_units import series_names
from wqcheck.tables import Readings, Verdict
from wqcheck.train.description import Train, assign_stages, at_product_point

POINT_KEY = "point of the statistics"
PARAMETERS_KEY = "parameters of the statistics"
COUNTED_KEY = "non-detects of the statistics"
PASSES_KEY = "series that pass"
ALL_POINTS = later("all points")
BOTH = later("nothing and their limit, both")
COUNTED = {
    BOTH: None, later("nothing"): NonDetects.ZERO, later("half their limit"): NonDetects.HALF,
    later("their limit"): NonDetects.LIMIT,
}  # fmt: skip
_ORDER = {str(Verdict.FAIL): 0, str(Verdict.UNDETERMINED): 1, str(Verdict.PASS): 2}
_HEADINGS = {
    "parameter": later("Parameter"), "point": later("Point"), "fraction": later("Fraction"), "unit": later("Unit"),
    "n": later("Results"), "detects": later("Detected"), "non_detects": later("Not detected"),
    "unusable": later("Unusable"), "mean": later("Mean"), "median": later("Median"),
    "percentile_95": later("95th percentile"), "percentile_90": later("90th percentile"),
    "running_annual_average": later("Running annual average"), "quarters": later("Quarters of it"),
    "least": later("Least"), "greatest": later("Greatest"), "first": later("First"), "last": later("Last"),
    "reason": later("Beware"),
}  # fmt: skip
_JUDGED = {
    "verdict": later("Verdict"), "parameter": later("Parameter"), "point": later("Point"), "period": later("Period"),
    "statistic": later("What is judged"), "figure": later("Figure"), "limit": later("Limit"),
    "table": later("Limit table"), "clause": later("Clause"), "n": later("Results"),
    "non_detects": later("Not detected"), "unknown": later("Unknown"), "reason": later("Why"),
}  # fmt: skip
_BOUNDED = ("mean", "median", "percentile_95")


def draw_statistics(office: Office, settings: Settings, today: date) -> None:
    """Draw the statistics of every series, then the verdicts on series by the tables of the side panel.

    Raises
    ------
    wqcheck.errors.WqcheckError
        The records cannot be read, or the train is not usable.
    """
    found = draw_readings(office, today)
    if found is None:
        return
    readings = _picked(found.readings)
    counted = COUNTED[st.segmented_control(
        say("Non-detects count as"), list(COUNTED), default=BOTH, required=True, format_func=say, key=COUNTED_KEY,
        persist_state="session",
    ) or BOTH]  # fmt: skip
    st.markdown("##### " + say("Statistics of every series"))
    table = statistics_by_point(readings, counted or NonDetects.ZERO)
    st.dataframe(statistics_words(table), hide_index=True, height=min(420, 75 + 35 * len(table)),
                 alt=say("Statistics of every series"))  # fmt: skip
    st.caption(say(
        "Mean, median and 95th percentile are Kaplan-Meier estimates, in brackets with every non-detect as nothing and "
        "as its limit. Running annual average and 90th percentile (counted as 40 CFR 141.80(c)(3) does) take "
        "non-detects as chosen, as nothing where both are. Fewer than four quarters make no year."
    ))  # fmt: skip
    draw_csv(table, "statistics.csv", say("Download the statistics as CSV"))
    st.markdown("##### " + say("Verdicts on series and lots"))
    _draw_verdicts(readings, settings, counted, today)


def _picked(readings: DataFrame[Readings]) -> DataFrame[Readings]:
    """Draw the choice of point and parameters, and give the readings that it leaves."""
    left, right = st.columns([2, 3], gap="medium")
    points = sorted(map(str, readings[Readings.point].dropna().unique()))
    point = left.selectbox(say("Sampling point"), [ALL_POINTS, *points], key=POINT_KEY, persist_state="session",
                           format_func=lambda name: say(name) if name == ALL_POINTS else name)  # fmt: skip
    names = pd.Series(series_names(readings), index=readings.index)
    codes = right.multiselect(
        say("Parameters"), sorted(map(str, names.unique())), key=PARAMETERS_KEY, persist_state="session",
        format_func=parameter_words, placeholder=say("all"),
    )  # fmt: skip
    kept = names.isin(codes) if codes else pd.Series(True, index=readings.index)
    if point != ALL_POINTS:
        kept &= readings[Readings.point].eq(point)
    return Readings.validate(readings[kept].reset_index(drop=True))


def statistics_words(table: pd.DataFrame) -> pd.DataFrame:
    """Return statistics as they are shown: names for codes, and bounds behind each figure that non-detects leave open.

    Parameters
    ----------
    table : DataFrame
        As :func:`wqcheck.statistics.series.statistics_by_point` gives it.
    """
    days = {name: table[name].dt.normalize() for name in ("first", "last")}
    shown = table.assign(parameter=table["parameter"].map(titled), **days)
    for name in _BOUNDED:
        ends = zip(table[name], table[f"{name}_low"], table[f"{name}_high"], strict=True)
        shown[name] = [_bounded(*figures) for figures in ends]
    blank = [name for name in ("fraction", "unusable", "reason") if table[name].fillna("").isin(["", 0]).all()]
    return shown_table(shown, {name: say(word) for name, word in _HEADINGS.items() if name not in blank})


def _bounded(value: float, low: float, high: float) -> str:
    """Return ``0.21 [0.05, 0.24]``, no brackets when the ends agree, and a dash where there is no estimate."""
    if isnan(low) or isnan(high):
        return ""
    estimate = number(value, 4) or "–"
    return estimate if low == high else f"{estimate} [{number(low, 4)}; {_end(high)}]"


def _end(value: float) -> str:
    return "∞" if value == inf else number(value, 4)


def _draw_verdicts(
    readings: DataFrame[Readings], settings: Settings, counted: NonDetects | None, today: date
) -> None:  # fmt: skip
    try:
        tables = tables_chosen(settings)
    except LimitTableError as error:
        st.error(message_text(error))
        return
    if not tables:
        st.info(say("Choose limit tables in the side panel: without them no series is judged."))
        return
    train = train_chosen(settings)
    judged = judge_series(_of_product(readings, train), tables, product=settings.product, on=settings.on or today,
                          non_detects=counted)  # fmt: skip
    if judged.empty:
        st.info(say("No limit of the chosen tables binds a series of these results."))
        return
    counts = judged["verdict"].value_counts()
    st.markdown(" · ".join(f"**{counts.get(verdict, 0)}** {say(verdict)}" for verdict in _ORDER))
    passes = st.checkbox(say("Show what passes too"), key=PASSES_KEY, persist_state="session")
    shown = judged if passes else judged[judged["verdict"].ne(str(Verdict.PASS))]
    if len(shown):
        st.dataframe(verdict_words(shown), hide_index=True, height=min(420, 75 + 35 * len(shown)),
                     alt=say("Verdicts on series and lots"))  # fmt: skip
    where = (
        say("Only results at the product points of {train}, or at places that it does not know, are judged.",
            train=train.name)
        if train else say("No train is chosen in the side panel, so results at every point are judged.")
    )  # fmt: skip
    st.caption(where + " " + say(
        "A verdict holds for non-detects as nothing and as their limit unless you chose otherwise. A share within the "
        "limit is the part of the results that are surely within it."
    ))  # fmt: skip
    draw_csv(judged, "series_verdicts.csv", say("Download the verdicts as CSV"))


def _of_product(readings: DataFrame[Readings], train: Train | None) -> DataFrame[Readings]:
    if train is None:
        return readings
    placed, _ = assign_stages(readings, train)
    return Readings.validate(placed[at_product_point(placed, train)].reset_index(drop=True))


def verdict_words(judged: pd.DataFrame) -> pd.DataFrame:
    """Return verdicts on series as they are shown, the worst first (rows of :class:`JudgedSeries`)."""
    ranked = judged.sort_values("verdict", key=lambda words: words.map(_ORDER), kind="stable")
    share = ranked["statistic"].eq(str(Statistic.SHARE))
    unit = ranked["unit"].fillna("").replace("1", "")
    ends = zip(ranked["low"], ranked["high"], unit.mask(share, ""), share, strict=True)
    limits = zip(ranked["upper"], unit, strict=True)
    shown = ranked.assign(
        parameter=ranked["parameter"].map(titled),
        figure=[_figure(*row) for row in ends],
        limit=["" if isnan(upper) else f"≤ {number(upper)} {unit}".strip() for upper, unit in limits],
    )
    headings = {name: say(word) for name, word in _JUDGED.items()}
    return shown_table(shown, headings, said=("verdict", "statistic"), named=("table",))


def _figure(low: float, high: float, unit: str, share: bool) -> str:
    """Return ``0.21 mg/L``, ``0.05–0.24 mg/L``, ``≥ 3 mg/L`` or a share in percent; blank where it is not known."""
    if isnan(low) or isnan(high):
        return ""
    if share:
        low, high, unit = 100 * low, 100 * high, "%"
    if low == high:
        return f"{number(low, 4)} {unit}".strip()
    return (f"≥ {number(low, 4)}" if high == inf else f"{number(low, 4)}–{number(high, 4)}") + f" {unit}".rstrip()


def draw_csv(table: pd.DataFrame, name: str, label: str) -> None:
    """Offer a table with all its columns as a CSV file, in which no text can act as a formula."""
    texts = table.astype(object).where(table.notna(), "").astype("str")
    st.download_button(
        label, csv_bytes(texts), file_name=name, mime="text/csv", key=f"download {name}",
        on_click="ignore",
    )  # fmt: skip
