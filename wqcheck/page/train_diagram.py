"""Turns a train and what is known of its stages into a diagram that scrolls and grows, and into the same in words."""

from __future__ import annotations

import base64
import re
from collections.abc import Mapping
from html import escape

import pandas as pd
import streamlit as st

from wqcheck.page.shown import figures_in
from wqcheck.page.spoken import later, say, spoken
from wqcheck.page.words import plain, titled
from wqcheck.train.commissioning import CommissioningReport
from wqcheck.train.diagram import StageNote, describe, notes_for, train_svg, with_flows, worst_notes
from wqcheck.train.equipment import stage_flows

SHOWN_KEY = "train diagram shows"
SIZE_KEY = "train diagram size"
SIZES = (60, 80, 100, 150, 200)
PER_ROW = 4
"""Boxes in a row, so that a laptop shows a row without scrolling."""
GRAVEST = ""

VERDICT_WORDS = {
    "as expected": later("as expected"), "weak": later("weak"), "not shown": later("not shown"),
    "worse than inlet": later("worse than inlet"), "change not explained": later("change not explained"),
}  # fmt: skip


def draw_diagram(report: CommissioningReport, *, us_units: bool) -> None:
    """Draw the diagram with what is chosen below each stage, and the same as a table."""
    codes = sorted(report.stages["parameter"].unique(), key=lambda code: titled(code).casefold())
    choice, zoom = st.columns([3, 2], vertical_alignment="bottom")
    code = choice.selectbox(say("Below each stage"), [GRAVEST, *codes], format_func=_shown_words, key=SHOWN_KEY)
    size = zoom.select_slider(say("Size of the diagram, %"), SIZES, value=100, key=SIZE_KEY)
    notes = notes_for(report.stages, code, spoken()) if code else worst_notes(report.stages, spoken())
    notes = with_flows(notes, stage_flows(report.train, report.plant), us_units=us_units, say=spoken())
    st.html(diagram_html(report, notes, about=_shown_words(code), size=size))
    st.caption(
        say(
            "A pattern stands for a verdict that is also written below the box: slanted lines weak, crosses worse than "
            "inlet, dots not shown, upright bars change not explained. “Not shown”: what the stage removes cannot be "
            "told, mostly since results lie below the reporting limit. The diagram scrolls sideways."
        )
    )
    st.markdown("##### " + say("Each stage in words"))
    st.table(stage_list(report, notes, code).map(plain), hide_index=True)


def _shown_words(code: str) -> str:
    if code:
        return say("removal of {parameter}", parameter=titled(code))
    return say("gravest verdict of each stage")


def diagram_html(report: CommissioningReport, notes: Mapping[str, StageNote], *, about: str, size: int) -> str:
    """Return the diagram as a picture with its words as alternative text, in a box that scrolls by mouse and keys.

    ``size`` is the width in percent of that at which its smallest text has 11 px.
    """
    svg = train_svg(report.train, notes, about=about, per_row=PER_ROW, say=spoken())
    found = re.search(r'width="([\d.]+)"', svg)
    width = round(float(found[1]) * size / 100) if found else 900
    content = base64.b64encode(svg.encode("utf-8")).decode("ascii")
    words = escape(describe(report.train, notes, spoken()))
    return (
        f'<div style="overflow-x: auto; border: 1px solid #c9d3d8; border-radius: 0.4rem" tabindex="0" role="region" '
        f'aria-label="{escape(say("Diagram of the train"))}"><img alt="{words}" '
        f'style="width: {width}px; max-width: none; display: block" src="data:image/svg+xml;base64,{content}"></div>'
    )


def stage_list(report: CommissioningReport, notes: Mapping[str, StageNote], code: str) -> pd.DataFrame:
    """Make the table of stages in the order of flow: of one parameter what went in and came out, else all verdicts."""
    stages = report.train.stages
    blank = StageNote()
    told = {
        say("Stage"): [f"{stage.name} ({stage.inlet or '–'} → {stage.outlet})" for stage in stages],
        say("Flow"): [figures_in(notes.get(stage.name, blank).flow) or say("not known") for stage in stages],
    }
    names = [stage.name for stage in stages]
    more = _of_parameter(report, names, code) if code else _all_verdicts(report, names)
    return pd.DataFrame(told | more)


def _all_verdicts(report: CommissioningReport, names: list[str]) -> dict[str, list[str]]:
    """Return the gravest verdict of each stage, and how many parameters got which."""
    gravest = worst_notes(report.stages)
    every = {
        str(stage): "; ".join(f"{number} {say(VERDICT_WORDS[str(word)])}" for word, number in words.items())
        for stage, words in ((name, rows.value_counts()) for name, rows in report.stages.groupby("stage")["verdict"])
    }
    none = say("no removal to look at")
    return {
        say("Verdict"): [say(VERDICT_WORDS[gravest[name].verdict]) if name in gravest else none for name in names],
        say("Parameters"): [every.get(name, "–") for name in names],
    }


def _of_parameter(report: CommissioningReport, names: list[str], code: str) -> dict[str, list[str]]:
    rows = report.stages[report.stages["parameter"].eq(code)].drop_duplicates("stage").set_index("stage")
    unit = rows["unit"].fillna("")
    removal = notes_for(report.stages, code, spoken())
    columns = {
        say("Before → after"): rows["inlet"] + " → " + rows["outlet"] + " " + unit,
        say("Removal"): pd.Series({name: note.figure for name, note in removal.items()}, dtype="str"),
        say("Verdict"): rows["verdict"].map(say, na_action="ignore").fillna(say("no usual value known")),
        say("Usual (source)"): rows["expected"].fillna("–") + " (" + rows["expected_source"].fillna("–") + ")",
    }
    return {heading: [figures_in(str(column.get(name, "–"))) for name in names] for heading, column in columns.items()}
