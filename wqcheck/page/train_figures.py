"""Turns the working figures of a plant into tables by chapter, and its planned day into an hourly balance."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import altair as alt
import pandas as pd
import streamlit as st

from wqcheck.page.shown import figures_in, number, shown_table
from wqcheck.page.spoken import later, say
from wqcheck.page.words import plain, sentence, titled
from wqcheck.plant.flow_fit import ProductionDay, hourly_balance
from wqcheck.plant.pretreatment import State
from wqcheck.quantities import KINDS, to_us
from wqcheck.train.commissioning import REJECTION

FLOWS = ("supply", "backwash", "feed", "permeate", "concentrate", "rinse", "filler")
SHORTFALLS = ("backwash_short", "feed_short", "rinse_short", "filler_short")
VOLUMES = ("raw_level", "raw_spill", "product_level", "product_spill")
HEADINGS = {
    "hour": later("Hour"), "supply": later("Supply"), "backwash": later("Backwash"), "feed": later("Feed"),
    "permeate": later("Permeate"), "concentrate": later("Concentrate"), "rinse": later("Rinse"),
    "filler": later("Filler"), "short": later("Not delivered"), "raw_level": later("Raw tank at the end"),
    "raw_spill": later("Raw tank spills"), "product_level": later("Product tank at the end"),
    "product_spill": later("Product tank spills"),
}  # fmt: skip


def figure_table(chapter: Sequence[Mapping[str, Any]]) -> pd.DataFrame:
    """Make the table of one chapter of working figures (entries of the report's data)."""
    return pd.DataFrame(
        {
            say("Figure"): [sentence(str(one["name"])) for one in chapter],
            say("Value"): [figures_in(str(one["shown"])) for one in chapter],
            say("Says"): [
                "; ".join(filter(None, (say(one["verdict"]) if one["verdict"] else "", one["note"]))) for one in chapter
            ],
            say("Formula (source)"): [f"{one['formula']} ({one['source']})" for one in chapter],
        }
    )


def draw_figures(data: Mapping[str, Any], day: ProductionDay | None, *, us_units: bool) -> None:
    """Draw what asks for a person first, then every figure by chapter, and what could not be computed.

    Parameters
    ----------
    data : mapping
        From :func:`wqcheck.train_files.data.report_data`, in the units that are wanted.
    day : ProductionDay or None
        The planned day.
    us_units : bool
        Whether the hourly balance is shown in United States units.
    """
    _draw_asking(data["figures"])
    for name, chapter in data["figures"].items():
        with st.expander(say("{chapter}: {number} figures", chapter=plain(say(name)), number=len(chapter))):
            st.table(figure_table(chapter).map(plain), hide_index=True)
            if name == "Membranes":
                st.caption(plain(REJECTION))
            if name == "Fit in flow" and day is not None:
                draw_hours(day, us_units=us_units)
    if data["balance"]:
        with st.expander(say("Balance of each parameter around the membranes")):
            st.dataframe(balance_table(data["balance"]), hide_index=True, alt=say("Balance around the membranes"))
    if data["remarks"]:
        st.markdown("##### " + say("Not computed, and why"))
        st.markdown("\n".join(f"- {plain(remark)}" for remark in data["remarks"]))


def _draw_asking(figures: Mapping[str, Sequence[Mapping[str, Any]]]) -> None:
    """Draw which figures ask for a person, those to act on first."""
    for word in (State.DUE, State.WATCH):
        found = [
            f"- {plain(one['name'])}: **{plain(figures_in(str(one['shown'])))}** {plain(one['note'])}"
            for chapter in figures.values()
            for one in chapter
            if one["verdict"] == word
        ]
        if found:
            lead = say("Act on these:") if word == State.DUE else say("Plan for these:")
            st.warning("\n".join([f"**{lead}**", "", *found]))


def balance_table(rows: Sequence[Mapping[str, Any]]) -> pd.DataFrame:
    """Make the table of strengths around the membranes, blanks where a figure is not known."""
    return pd.DataFrame(
        {
            say("Stage"): [row["stage"] for row in rows],
            say("Parameter"): [titled(row["parameter"], row["name"]) for row in rows],
            say("Feed"): [_cell(row["feed"]) for row in rows],
            say("Permeate"): [_cell(row["permeate"]) for row in rows],
            say("Concentrate"): [_cell(row["concentrate"]) for row in rows],
            say("Left over, share of the feed"): [_cell(row["closure"]) for row in rows],
            say("Recovery that closes it"): [_cell(row["recovery_implied"]) for row in rows],
            say("Concentrate that closes it"): [_cell(row["expected"]) for row in rows],
        }
    )


def _cell(value: object) -> str:
    """Write a figure of the balance, a number or a text, as the settings ask for; blank for none."""
    return number(value, 4) if isinstance(value, float) else figures_in(str(value)) if value is not None else ""


def hour_table(day: ProductionDay, *, us_units: bool) -> pd.DataFrame:
    """Make the balance of each hour, its flows and volumes in the units that are wanted (codes as columns)."""
    balance = hourly_balance(day)
    table = balance[["hour", *FLOWS, *VOLUMES]].assign(short=balance[list(SHORTFALLS)].sum(axis=1))
    if us_units:
        kinds = dict.fromkeys((*FLOWS, "short"), "flow") | dict.fromkeys(VOLUMES, "volume")
        table = table.assign(**{name: table[name].map(lambda v, k=kind: to_us(v, k)) for name, kind in kinds.items()})
    return table[list(HEADINGS)].round(3)


def draw_hours(day: ProductionDay, *, us_units: bool) -> None:
    """Draw the levels of both tanks over the day, and the balance of each hour."""
    system = "us" if us_units else "si"
    flow, volume = (getattr(KINDS[kind], system) for kind in ("flow", "volume"))
    table = hour_table(day, us_units=us_units)
    st.altair_chart(level_chart(table, volume), width="stretch", alt=say("Level of both tanks hour by hour"))
    st.caption(
        say(
            "Balance of each hour: flows in {flow}, levels and spills in {volume}. “Not delivered” is what was asked "
            "beyond what the tanks could give.",
            flow=flow, volume=volume,
        )
    )  # fmt: skip
    st.dataframe(
        shown_table(table, {name: say(word) for name, word in HEADINGS.items()}), hide_index=True,
        alt=say("Balance of each hour"),
    )  # fmt: skip


def level_chart(table: pd.DataFrame, unit: str) -> alt.LayerChart | alt.FacetChart:
    """Draw the levels at the end of each hour; the tanks differ by dash and by shape."""
    tanks = {"raw_level": say("raw tank"), "product_level": say("product tank")}
    long = table.melt("hour", list(tanks), "tank", "level").replace({"tank": tanks})
    axis = alt.Axis(labelFontSize=12, titleFontSize=13, labelAngle=0)
    legend = alt.Legend(title=None, orient="bottom", labelFontSize=12, symbolSize=80)
    base = alt.Chart(long).encode(
        x=alt.X("hour:O", title=say("hour of the planned day, from 0"), axis=axis),
        y=alt.Y("level:Q", title=say("level, {unit}", unit=unit), axis=axis),
        tooltip=[
            alt.Tooltip("tank:N", title=say("Tank")),
            alt.Tooltip("hour:O", title=say("Hour")),
            alt.Tooltip("level:Q", title=say("level, {unit}", unit=unit)),
        ],
    )
    line = base.mark_line(color="#1d2b33").encode(
        strokeDash=alt.StrokeDash("tank:N", legend=legend, sort=list(tanks.values()))
    )
    points = base.mark_point(color="#1d2b33", filled=True, size=60, opacity=1.0).encode(
        shape=alt.Shape("tank:N", legend=legend, sort=list(tanks.values()))
    )
    return alt.layer(line, points).properties(height=320)
