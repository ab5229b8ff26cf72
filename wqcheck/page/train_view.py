"""Turns a commissioning report into the view of the train: diagram, profile, where to look first, figures, papers."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

import pandas as pd
import streamlit as st
from pandera.typing import DataFrame

from wqcheck.errors import WqcheckError
from wqcheck.page.train_input import TrainCase, draw_train_input
from wqcheck.page.train_profile import profile_chart, profile_rows, profiled
from wqcheck.page.words import counted, message_text, plain, sentence, titled
from wqcheck.release.decision import FileStamp
from wqcheck.tables import Readings
from wqcheck.train.commissioning import CAUTIONS, REJECTION, CommissioningReport
from wqcheck.train.diagram import notes_for, train_svg, worst_notes
from wqcheck.train.suspects import GRADES, Suspect
from wqcheck.train_files.data import report_data, to_json
from wqcheck.train_files.writing import pdf_bytes, workbook_bytes

SHOWN_KEY = "train diagram shows"
PROFILE_KEY = "train profile parameter"
LOG_KEY = "train profile log axis"
US_KEY = "train United States units"
NUMBER_KEY = "train report number"
PREPARE_KEY = "train report prepare"
GRAVEST = ""

NOTHING_FOUND = "No rule found anything. That is not to say that nothing is wrong."


def draw_train_view() -> None:
    """Draw the whole view: its files at the top, and what comes of them below."""
    st.markdown("### Treatment train")
    try:
        case = draw_train_input()
    except WqcheckError as error:
        st.error(message_text(error))
        return
    if case is None:
        st.info("Give the laboratory's sheets and the train file above, or use the sample plant.")
    else:
        draw_train(case)
    st.caption(plain(" ".join(CAUTIONS)))


def draw_train(case: TrainCase) -> None:
    """Draw a finished report."""
    report = case.report
    first, along, figures, papers = st.tabs(
        [f"Look here first ({len(report.suspects)})", "Along the train", "Working figures", "Report"], key="train parts"
    )
    with first:
        draw_diagram(report)
        draw_suspects(report.suspects)
    with along:
        draw_profile(case.readings, report)
    with figures:
        draw_figures(report)
    with papers:
        draw_report(report, case.files)


def draw_diagram(report: CommissioningReport) -> None:
    """Draw the diagram with what is chosen below each stage, and the same in words."""
    codes = sorted(report.stages["parameter"].unique(), key=lambda code: titled(code).casefold())
    shown = st.selectbox("Below each stage", [GRAVEST, *codes], format_func=_shown_words, key=SHOWN_KEY)
    notes = notes_for(report.stages, shown) if shown else worst_notes(report.stages)
    about = f"removal of {titled(shown)}" if shown else "gravest verdict of each stage"
    st.image(train_svg(report.train, notes, about=about), width="stretch")
    st.caption(
        "A pattern stands for a verdict that is also written below the box: slanted lines weak, crosses worse than "
        "inlet, dots not shown, upright bars change not explained."
    )
    with st.expander("The diagram as a table"):
        st.table(verdict_table(report, shown).map(plain), hide_index=True)


def verdict_table(report: CommissioningReport, code: str) -> pd.DataFrame:
    """Make the table of stages: of one parameter what went in and came out, else the gravest verdict."""
    if not code:
        notes = worst_notes(report.stages)
        rows = [(stage.name, stage.inlet or "–", stage.outlet, notes.get(stage.name)) for stage in report.train.stages]
        told = [(*row[:3], row[3].verdict if row[3] else "not looked at", row[3].figure if row[3] else "–")
                for row in rows]  # fmt: skip
        return pd.DataFrame(told, columns=["Stage", "From", "To", "Gravest verdict", "Given to"])
    rows_of = report.stages[report.stages["parameter"].eq(code)]
    removal = notes_for(rows_of, code)
    return pd.DataFrame(
        {
            "Stage": rows_of["stage"],
            "Before": rows_of["inlet"] + " " + rows_of["unit"].fillna(""),
            "After": rows_of["outlet"] + " " + rows_of["unit"].fillna(""),
            "Removal": [removal[stage].figure for stage in rows_of["stage"]],
            "Verdict": rows_of["verdict"].fillna("no usual value known"),
            "Usual": rows_of["expected"].fillna("–"),
            "Source": rows_of["expected_source"].fillna("–"),
        }
    )


def draw_suspects(suspects: Sequence[Suspect]) -> None:
    """Draw the stages to look at, the gravest first, each with evidence, next check and caution."""
    st.markdown("##### Look here first")
    if not suspects:
        st.info(NOTHING_FOUND)
    for place, one in enumerate(suspects, start=1):
        with st.container(border=True):
            st.markdown(f"**{place}. {plain(sentence(one.title))}** — stage *{plain(one.stage)}*")
            st.markdown(f"{plain(sentence(GRADES[one.grade]))}. {plain(sentence(one.why))}")
            st.markdown("\n".join(f"- {plain(entry.text)} — *{plain(entry.where)}*" for entry in one.evidence))
            st.markdown(f"**Check next:** {plain(one.check)}")
            st.markdown(f"**Caution:** {plain(one.caution)}")


def draw_profile(readings: DataFrame[Readings], report: CommissioningReport) -> None:
    """Draw one parameter along the train, as chart and table."""
    codes = profiled(readings, report.train)
    if not codes:
        st.info("No parameter has results at two points of the train, so there is no profile.")
        return
    choice, switch = st.columns([3, 2], vertical_alignment="bottom")
    code = choice.selectbox("Parameter along the train", codes, format_func=titled, key=PROFILE_KEY)
    log = switch.toggle("Logarithmic axis", key=LOG_KEY)
    rows, left_out = profile_rows(readings, report.train, code)
    if left_out:
        st.warning(f"{counted(left_out, 'result')} of it have no figure in the unit of the others; see Take in.")
    if rows.empty:
        st.info("None of its results has a figure that could be drawn.")
        return
    st.altair_chart(profile_chart(rows, titled(code), log=log), width="stretch", alt=f"{titled(code)} along the train")
    st.caption(
        "A dashed bar reaches over everything that the result can be: from nothing to the limit given for a “<” "
        "result, and upwards without end for a “>” result. On a logarithmic axis nothing lies below the foot of the chart."
    )
    headings = {"point": "Point", "reported": "Reported", "unit": "Unit", "known": "Known as", "sampled": "Sampled",
                "cell": "Cell"}  # fmt: skip
    st.table(rows[list(headings)].rename(columns=headings).map(plain), hide_index=True)


def figure_table(chapter: Sequence[dict[str, Any]]) -> pd.DataFrame:
    """Make the table of one chapter of working figures (entries of the report's data)."""
    headings = {"name": "Figure", "shown": "Value", "verdict": "Says", "note": "Note", "formula": "Formula",
                "source": "Source"}  # fmt: skip
    return pd.DataFrame(chapter)[list(headings)].rename(columns=headings)


def draw_figures(report: CommissioningReport) -> None:
    """Draw the working figures of membranes, service and fit, and what could not be computed."""
    us_units = st.toggle("United States units (gal/min, psi, °F)", key=US_KEY)
    data = report_data(report, number="–", issued_at="", files=(), us_units=us_units)
    for name, chapter in data["figures"].items():
        st.markdown(f"##### {plain(name)}")
        st.table(figure_table(chapter).map(plain), hide_index=True)
    st.markdown("\n".join(f"- {plain(remark)}" for remark in report.remarks))
    st.caption(plain(REJECTION))


def draw_report(report: CommissioningReport, files: Sequence[FileStamp]) -> None:
    """Draw the number, the button that prepares the papers, and the papers."""
    now = datetime.now().astimezone()
    number = st.text_input("Number of the report", value=f"TRAIN-{now:%Y%m%d}", key=NUMBER_KEY, max_chars=60, width=420)
    if not st.button("Prepare the commissioning report", key=PREPARE_KEY, type="primary", disabled=not number.strip()):
        return
    issued = now.isoformat(timespec="seconds")
    data = report_data(
        report, number=number.strip(), issued_at=issued, files=files, us_units=bool(st.session_state.get(US_KEY))
    )
    papers = {
        "pdf": (pdf_bytes(data), "application/pdf"),
        "xlsx": (workbook_bytes(data), "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"),
        "json": (to_json(data).encode(), "application/json"),
        "svg": (str(data["diagram"]).encode(), "image/svg+xml"),
    }
    st.markdown("Ready to download:")
    with st.container(horizontal=True):
        for ending, (content, mime) in papers.items():
            name = f"{number.strip()}.{ending}"
            st.download_button(f"Download {ending.upper()}: {name}", content, file_name=name, mime=mime,
                               key=f"train download {ending}", on_click="ignore")  # fmt: skip


def _shown_words(code: str) -> str:
    return f"removal of {titled(code)}" if code else "the gravest verdict of each stage"
