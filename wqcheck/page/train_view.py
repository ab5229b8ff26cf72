"""Turns a commissioning report into the view of the train: where to look first, diagram, profile, figures, papers."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import streamlit as st

from wqcheck.certificate_files.writing import file_stem
from wqcheck.errors import WqcheckError
from wqcheck.page.checking import Paper
from wqcheck.page.language_note import draw_language_note
from wqcheck.page.office import Office
from wqcheck.page.settings import NamedBytes
from wqcheck.page.shown import figures_in
from wqcheck.page.spoken import say
from wqcheck.page.train_diagram import draw_diagram
from wqcheck.page.train_edit import draw_train_edit
from wqcheck.page.train_figures import draw_figures
from wqcheck.page.train_input import Results, TrainCase, commissioned, draw_results, opened_train
from wqcheck.page.train_profile import draw_profile, profiled
from wqcheck.page.train_readings import draw_plant_readings
from wqcheck.page.train_removal import draw_all_removals, draw_removal, usual_place
from wqcheck.page.words import message_text, plain, sentence, titled
from wqcheck.train.commissioning import CAUTIONS, CommissioningReport
from wqcheck.train.suspects import GRADES, Grade, Suspect
from wqcheck.train_files.data import report_data, to_json
from wqcheck.train_files.writing import pdf_bytes, workbook_bytes

US_KEY = "train United States units"
PARTS_KEY = "train parts"
PROFILE_KEY = "train profile parameter"
LOG_KEY = "train profile log axis"
NUMBER_KEY = "train report number"
PREPARE_KEY = "train report prepare"
PAPERS_KEY = "train report papers"

IN_FULL = 3
"""Suspicions that are named at the top and stand open; the others are opened by a click."""


def draw_train_view(office: Office) -> None:
    """Draw the whole view: whose results at the top, then what comes of them.

    Raises
    ------
    WqcheckError
        The records cannot be read.
    """
    st.markdown("##### " + say("Treatment train"))
    us_units = st.toggle(say("United States units (gal/min, psi, °F)"), key=US_KEY)
    results = draw_results(office)
    if results is not None and results.train is not None:
        try:
            name = opened_train(results.train).name
            draw_parts(office, results, results.train, name, us_units=us_units)
            return
        except WqcheckError as error:
            st.error(message_text(error))
    elif results is not None:
        st.info(say("This batch was checked without a train. Type the train of your plant below, beginning with that "
                    "of the sample plant, or drop its file above."))  # fmt: skip
    with st.expander(say("Stages and ratings"), expanded=results is not None):
        draw_train_edit(office, results.train if results else None, us_units=us_units)


def draw_parts(office: Office, results: Results, train: NamedBytes, plant_name: str, *, us_units: bool) -> None:
    """Draw the parts of the view; the plant readings first, since the others are made from them."""
    headline = st.container()
    parts = [say("Look here first"), say("Diagram"), say("Along the train"), say("Working figures"),
             say("Plant readings"), say("Stages and ratings"), say("Report")]  # fmt: skip
    first, diagram, along, figures, readings, ratings, papers = st.tabs(parts, key=PARTS_KEY)
    with ratings:
        draw_train_edit(office, train, us_units=us_units)
    with readings:
        plant = (*results.plant, *draw_plant_readings(plant_name, us_units=us_units))
    try:
        case = commissioned(results.key, results, train, plant)
    except WqcheckError as error:
        headline.error(message_text(error))
        return
    with headline:
        draw_headline(case.report)
    with first:
        draw_suspects(case.report.suspects)
    with diagram:
        draw_diagram(case.report, us_units=us_units)
    with along:
        draw_along(case)
    with figures:
        _draw_figures(case, us_units=us_units)
    with papers:
        draw_report(case, results, us_units=us_units)
    st.caption(plain(" ".join(CAUTIONS)))
    draw_language_note()


def draw_headline(report: CommissioningReport) -> None:
    """Draw what is to be looked at first, so that it is read before anything is opened."""
    if report.stages.empty:
        st.warning(
            say(
                "No stage has results at both its inlet and its outlet, so no removal can be shown. Check the names of "
                "the points in the sheet and in the train file."
            )
        )
    counts = report.stages["verdict"].value_counts()
    said = ", ".join(f"{number} {say(str(word))}" for word, number in counts.items())
    if not report.suspects:
        st.info(say("Nothing to look at first: no rule found anything. That is not to say that nothing is wrong."))
    else:
        lead = say("Look here first ({number} in all):", number=len(report.suspects))
        worst = [f"{place}. **{plain(sentence(one.title))}**" for place, one in enumerate(report.suspects[:IN_FULL], 1)]
        st.warning("\n".join([lead, "", *worst]))
    if said:
        st.caption(say("Removals of all stages and parameters: {counts}.", counts=plain(said)))


def draw_suspects(suspects: Sequence[Suspect]) -> None:
    """Draw the stages to look at, the gravest first and open, each with evidence, next check and caution."""
    if not suspects:
        st.markdown(say("No rule found anything. What each stage does stands in the diagram and along the train."))
    design = next((place for place, one in enumerate(suspects) if one.grade is Grade.FIT), -1)
    for place, one in enumerate(suspects, start=1):
        if place - 1 == design:
            st.markdown("##### " + say("Design: parts that do not fit the planned day"))
        title = f"**{place}. {plain(sentence(one.title))}** ({say('stage')}: {plain(one.stage)})"
        with st.expander(title, expanded=place <= IN_FULL):
            st.markdown(f"{plain(sentence(say(GRADES[one.grade])))}. {plain(sentence(one.why))}")
            told = (f"- {plain(figures_in(entry.text))} — *{plain(entry.where)}*" for entry in one.evidence)
            st.markdown("\n".join(told))
            st.markdown(f"**{say('Check next:')}** {plain(one.check)}")
            st.markdown(f"**{say('Caution:')}** {plain(one.caution)}")


def draw_along(case: TrainCase) -> None:
    """Draw one parameter along the train and what each stage removed of it, then all of them."""
    report = case.report
    codes = profiled(case.readings, report.train)
    if not codes:
        st.info(say("No parameter has results at two points of the train, so there is no profile."))
        return
    with st.container(horizontal=True, vertical_alignment="bottom"):
        code = st.selectbox(
            say("Parameter along the train"), codes, index=usual_place(codes), format_func=titled, key=PROFILE_KEY,
            width=430,
        )  # fmt: skip
        log = st.toggle(say("Logarithmic axis, removal in log10 units (2 log = 99 %)"), key=LOG_KEY)
    draw_profile(case.readings, report.train, code, log=log)
    removed = list(report.stages["parameter"].unique())
    if code in removed:
        st.markdown("##### " + say("What each stage removed of it"))
        draw_removal(report.stages, code, log=log)
    else:
        st.caption(say("No removal is computed: it is no quantity that a stage takes out, or too little is known."))
    if removed:
        with st.expander(say("All removals ({number} parameters)", number=len(removed))):
            draw_all_removals(report.stages, removed)


def _draw_figures(case: TrainCase, *, us_units: bool) -> None:
    plant = case.report.plant
    data = report_data(case.report, number="–", issued_at="", files=(), us_units=us_units)
    if plant is not None:
        st.caption(say("From the readings in {file}. {notes}", file=plain(plant.path),
                       notes=plain("; ".join(plant.notes))))  # fmt: skip
    draw_figures(data, plant.production_day if plant else None, us_units=us_units)


def draw_report(case: TrainCase, results: Results, *, us_units: bool) -> None:
    """Draw the number, the button that prepares the papers, and the papers while they are those of what is shown."""
    now = datetime.now().astimezone()
    number = st.text_input(
        say("Number of the report"), value=f"TRAIN-{now:%Y%m%d}", key=NUMBER_KEY, max_chars=60, width=420
    ).strip()
    papers_for = (number, us_units, results.key, tuple(stamp.sha256 for stamp in case.files))
    if st.button(say("Prepare the commissioning report"), key=PREPARE_KEY, type="primary", disabled=not number):
        with st.spinner(say("Preparing the report")):
            papers = papers_of(case, number, now, us_units=us_units)
        st.session_state[PAPERS_KEY] = (papers_for, papers)
    kept_for, papers = st.session_state.get(PAPERS_KEY, (None, ()))
    if kept_for != papers_for:
        return
    st.markdown(say("Ready to download:"))
    with st.container(horizontal=True):
        for paper in papers:
            form = paper.name.rsplit(".", 1)[-1]
            st.download_button(
                say("Download {form}", form=form.upper()), paper.content, file_name=paper.name,
                mime=paper.mime, key=f"train download {form}", on_click="ignore",
            )  # fmt: skip


def papers_of(case: TrainCase, number: str, issued: datetime, *, us_units: bool) -> tuple[Paper, ...]:
    """Return the commissioning report as PDF, workbook, JSON and diagram."""
    data = report_data(
        case.report, number=number, issued_at=issued.isoformat(timespec="seconds"), files=case.files, us_units=us_units
    )
    contents = {
        "pdf": ("application/pdf", pdf_bytes(data)),
        "xlsx": ("application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", workbook_bytes(data)),
        "json": ("application/json", to_json(data).encode("utf-8")),
        "svg": ("image/svg+xml", str(data["diagram"]).encode("utf-8")),
    }
    stem = file_stem(number)
    return tuple(
        Paper(name=f"{stem}.{form}", mime=mime, content=content) for form, (mime, content) in contents.items()
    )  # fmt: skip
