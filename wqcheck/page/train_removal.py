"""Turns the stage table into a chart of what each stage removed, its bounds written out, and the table itself."""

from __future__ import annotations

from collections.abc import Sequence

import altair as alt
import pandas as pd
import streamlit as st

from wqcheck.page.shown import figures_in
from wqcheck.page.spoken import say, spoken
from wqcheck.page.words import plain, titled
from wqcheck.tables import Bound, Stages
from wqcheck.train.kinds import WHOLE_TRAIN
from wqcheck.train.removal_words import removal_words

_WIDEST_PERCENT, _WIDEST_LOG = 100.0, 6.0
SHOWN_FIRST = ("electrical_conductivity", "total_dissolved_solids", "turbidity")
_BAR_HEIGHT = 34


def stage_rows(stages: pd.DataFrame, code: str) -> pd.DataFrame:
    """Give the rows of one parameter with the removal in words, in the order of flow and the whole train last."""
    rows = stages[stages[Stages.parameter].eq(code)]
    whole = rows[Stages.stage].eq(WHOLE_TRAIN)
    rows = pd.concat([rows[~whole], rows[whole]])
    columns = [rows[name] for name in (Stages.removal_percent, Stages.log_removal, Stages.bound)]
    return rows.assign(
        words=[removal_words(percent, log, bound, spoken()) for percent, log, bound in zip(*columns, strict=True)],
        stage=rows[Stages.stage].replace(WHOLE_TRAIN, say("whole train")),
    )


def removal_chart(rows: pd.DataFrame, *, log: bool) -> alt.LayerChart | alt.FacetChart:
    """Draw one bar per stage, with the figure and its bound beside it.

    Parameters
    ----------
    rows : DataFrame, shape (s, …)
        From :func:`stage_rows`.
    log : bool
        log10 units instead of percent.
    """
    log_title, percent_title = say("removal, log10"), say("removal, %")
    column, title = (Stages.log_removal, log_title) if log else (Stages.removal_percent, percent_title)
    widest = _WIDEST_LOG if log else _WIDEST_PERCENT
    ticks = list(range(-6, 7)) if log else list(range(-100, 101, 25))
    lowest = min(0.0, max(-widest, float(rows[column].min(skipna=True)))) if rows[column].notna().any() else 0.0
    drawn = rows.assign(
        shown=rows[column].clip(lowest, widest).fillna(0.0),
        words=rows["words"].mask(rows[column].lt(lowest), rows["words"] + say(" (bar cut off)")),
    )
    order = list(dict.fromkeys(rows[Stages.stage]))
    base = alt.Chart(drawn).encode(
        y=alt.Y(f"{Stages.stage}:N", sort=order, title=None, axis=alt.Axis(labelLimit=180, labelFontSize=13)),
    )
    bars = base.mark_bar(height=16).encode(
        x=alt.X(
            "shown:Q",
            title=title,
            scale=alt.Scale(domain=[lowest, widest * 1.6], nice=False),
            axis=alt.Axis(values=ticks),
        ),
        opacity=alt.when(alt.datum[Stages.bound] == str(Bound.EXACT)).then(alt.value(1.0)).otherwise(alt.value(0.4)),
        tooltip=[alt.Tooltip(f"{name}:N", title=title) for name, title in _tips().items()],
    )
    labels = base.transform_calculate(beside="max(datum.shown, 0)").mark_text(align="left", dx=6, fontSize=13)
    texts = labels.encode(x="beside:Q", text="words:N")
    return alt.layer(bars, texts).properties(height=_BAR_HEIGHT * max(len(order), 2))


def _tips() -> dict[str, str]:
    """Return what is told of a bar that is pointed at, each column with its heading."""
    return {Stages.stage: say("Stage"), Stages.inlet: say("Before"), Stages.outlet: say("After"),
            Stages.unit: say("Unit"), Stages.reason: say("Why")}  # fmt: skip


def stage_table(rows: pd.DataFrame) -> pd.DataFrame:
    """Make the table below the chart: results before and after, removal in words, and why it is known so."""
    return pd.DataFrame(
        {
            say("Stage"): rows[Stages.stage],
            say("From"): rows[Stages.inlet_point] + " → " + rows[Stages.outlet_point],
            say("Before"): rows[Stages.inlet].fillna("").map(figures_in),
            say("After"): rows[Stages.outlet].fillna("").map(figures_in),
            say("Unit"): rows[Stages.unit].fillna(""),
            say("Removal"): rows["words"].map(figures_in),
            say("Why"): rows[Stages.reason],
        }
    )


def usual_place(codes: Sequence[str]) -> int:
    """Return the place of the parameter to show first: one that tells most of a train."""
    return next((list(codes).index(usual) for usual in SHOWN_FIRST if usual in codes), 0)


def draw_removal(stages: pd.DataFrame, code: str, *, log: bool) -> None:
    """Draw what each stage removed of one parameter, as chart and table."""
    rows = stage_rows(stages, code)
    about = say("Removal of {parameter} by stage", parameter=titled(code))
    st.altair_chart(removal_chart(rows, log=log), width="stretch", alt=about)
    st.caption(
        say(
            "“At least” and “at most”: a result was below or above what the laboratory can measure, so only a bound "
            "of the removal is known. Pale bars are bounds. A negative removal means more after the stage than before "
            "it."
        )
    )
    st.table(_narrow(stage_table(rows)).map(plain), hide_index=True)


def _narrow(table: pd.DataFrame) -> pd.DataFrame:
    """Return a stage table with columns that belong together as one, so that it fits a narrow window."""
    stage, points, before, after, unit, removal, why = (table[column] for column in table.columns)
    results = before + " → " + after + " " + unit + " (" + points + ")"
    return pd.DataFrame({say("Stage"): stage, say("Before → after"): results,
                         say("Removal"): removal, say("Why"): why})  # fmt: skip


def draw_all_removals(stages: pd.DataFrame, codes: Sequence[str]) -> None:
    """Draw the removals of all parameters as one table."""
    everything = pd.concat([stage_rows(stages, each).assign(name=titled(each)) for each in codes])
    table = stage_table(everything)
    table.insert(0, say("Parameter"), everything["name"])
    st.dataframe(table, hide_index=True, alt=say("Removals of all parameters"))
