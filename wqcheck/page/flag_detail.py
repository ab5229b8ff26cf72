"""Turns one flag into its page: what to do next, the working, the cell in its sheet, its history, and remarks."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from functools import partial
from typing import Any

import pandas as pd
import streamlit as st
from pandera.typing import DataFrame

from wqcheck.certificate.figures import limit_text, unit_text
from wqcheck.certificate.lines import plain_text
from wqcheck.errors import WqcheckError
from wqcheck.explanation import Step
from wqcheck.page.flag_cell import draw_cells, draw_no_cells
from wqcheck.page.flag_history import draw_points, history_points
from wqcheck.page.in_hand import InHand
from wqcheck.page.looked_into import LookedInto, sheets_of
from wqcheck.page.office import Office, do, draw_refusal
from wqcheck.page.recording import draw_recording
from wqcheck.page.shown import figures_in, moment, table_title, titles_in
from wqcheck.page.spoken import count_text, later, printed, say
from wqcheck.page.words import plain, refusal_text, sentence
from wqcheck.records.history import history
from wqcheck.records.parts import remark
from wqcheck.records.remarks import about_flag, remarks_about
from wqcheck.release.asked import Asked, least_volume
from wqcheck.release.flag_steps import flag_steps
from wqcheck.release.flags import FlagKind, Flags
from wqcheck.release.next_steps import PRACTICE, next_steps, suspects_for
from wqcheck.release.reasons import NO_LIMIT, NOT_COMPARED, Disposition
from wqcheck.sheets.surroundings import cell_places, cell_position, first_cell, heading_rows, surroundings
from wqcheck.tables import Judged, Ledger, Readings, Rule, StageVerdict, StageVerdicts, Verdict

EVIDENCE, VERDICT = "evidence", "verdict"
SAMPLE_ROLES = ("sample", "sampled at")
"""Roles of the cells that tell of which sample a row of results is."""
CELL_KEY = "cell of the flag"
REMARK_KEY = "remark on the flag"
KEEP_KEY = "keep the remark"

KIND_WORDS = {
    FlagKind.OUT: later("Out of limit"),
    FlagKind.UNDECIDED: later("Cannot be decided"),
    FlagKind.CLOSE: later("Within the limit, but by less than its uncertainty"),
    FlagKind.REQUIRED: later("Required, no usable result"),
    FlagKind.FINDING: later("Finding that holds the batch"),
    FlagKind.RULE: later("Held by a release rule"),
    FlagKind.STAGE: later("Weak stage"),
    FlagKind.NOT_TESTED: later("Has a limit, not tested"),
}
VERDICT_KINDS = {
    "FAIL": FlagKind.OUT, "UNDETERMINED": FlagKind.UNDECIDED, "CONDITIONAL PASS": FlagKind.CLOSE,
    "MISSING RESULT": FlagKind.REQUIRED,
}  # fmt: skip
"""The kind of flag that a verdict of a working is shown as."""
CODE_WORDS = {
    NO_LIMIT: later("Required, has a result but no limit to compare with"),
    NOT_COMPARED: later("Required, none of its results could be compared with a limit"),
}
"""Words for what a kind alone does not tell, by the code of the flag."""
LEADS_WORDS = {
    Disposition.REJECT: later("rejects the batch"),
    Disposition.HOLD: later("holds the batch"),
    Disposition.RELEASE: later("to know"),
}
Flag = Mapping[Hashable, Any]


def kind_words(flag: Flag) -> str:
    """Say what a flag is about."""
    return say(CODE_WORDS.get(flag[Flags.code]) or KIND_WORDS[FlagKind(flag[Flags.kind])])


def draw_flag(flag: Flag, title: str, hand: InHand, looked: LookedInto, office: Office) -> None:
    """Draw one flag under its title; ``flag`` is its row of ``DataFrame[Flags]``.

    Raises
    ------
    wqcheck.errors.WqcheckError
        The records cannot be read.
    """
    leads = Disposition(flag[Flags.leads_to])
    st.markdown(f"#### {plain(title)}")
    reason = plain(titles_in(sentence(flag[Flags.reason])))
    st.markdown(f"**{kind_words(flag)}** · {say(LEADS_WORDS[leads])} · {reason}")
    row = _judged_row(flag, hand)
    if row is not None and not str(row[Judged.evidence]).startswith("primary text"):
        st.warning(say("This limit was not checked against the official text. Look it up there before you rely on it."))
    _draw_asked(flag, looked)
    _draw_next(flag, row, looked)
    st.markdown(f"##### {say('Working, step by step')}")
    _draw_working(flag, hand, looked)
    st.markdown(f"##### {say('The cell in its sheet')}")
    _draw_surroundings(flag, row, hand, office)
    st.markdown(f"##### {say('History of this parameter at this point')}")
    _draw_history(flag, row, hand, office)
    st.markdown(f"##### {say('Remarks')}")
    _draw_remarks(flag, hand, office)


def draw_steps(steps: Sequence[Step]) -> None:
    """Draw the steps of a working, numbered."""
    lines = [f"{at}. {_step_words(step)}" for at, step in enumerate(steps, 1)]
    st.markdown("\n".join(lines))


def _step_words(step: Step) -> str:
    """Write a step with its title, and a verdict by the words that the list of flags has for it."""
    text = step.text
    if step.title == VERDICT:
        head, colon, rest = text.partition(": ")
        if head in VERDICT_KINDS:
            text = f"{say(KIND_WORDS[VERDICT_KINDS[head]])}{colon}{rest}"
        else:
            word = next((word for word in (*Verdict, *StageVerdict) if text.startswith(word.upper())), None)
            text = say(word).upper() + text.removeprefix(word.upper()) if word else text
    return f"**{plain(say(step.title))}:** {plain(titles_in(text))}"


def _draw_working(flag: Flag, hand: InHand, looked: LookedInto) -> None:
    """Draw the working of a flag; where its limit was read stands behind a fold."""
    steps = flag_steps(hand.check, flag, looked.stages, looked.asked)
    draw_steps([step for step in steps if step.title != EVIDENCE])
    for step in steps:
        if step.title == EVIDENCE:
            with st.expander(say("Where this limit was read")):
                st.markdown(_step_words(step))


def _draw_asked(flag: Flag, looked: LookedInto) -> None:
    """Say which limits a parameter without a result has, so that the right test can be ordered."""
    if flag[Flags.kind] not in (FlagKind.REQUIRED, FlagKind.NOT_TESTED):
        return
    limits = looked.asked[looked.asked[Asked.parameter].eq(flag[Flags.parameter])].to_dict("records")
    if limits:
        lines = [
            f"- {plain(table_title(row['table']))}: **{plain(figures_in(row['limit']))}** ({say(row['class'])})"
            for row in limits
        ]
        told = [say("Order the test so that the result can be set beside these limits:"), "\n".join(lines)]
        volume = least_volume(pd.DataFrame(limits))
        if volume > 0:
            told.append(say("At least {volume} mL have to be examined.", volume=f"{volume:g}"))
        st.markdown("\n\n".join(told))


def _judged_row(flag: Flag, hand: InHand) -> Flag | None:
    """Give the judged row of a flag on a result."""
    if flag[Flags.kind] == FlagKind.STAGE or int(flag[Flags.row]) < 0:
        return None
    return hand.check.judged.iloc[int(flag[Flags.row])].to_dict()


def _draw_next(flag: Flag, row: Flag | None, looked: LookedInto) -> None:
    kind = ""
    if flag[Flags.kind] == FlagKind.STAGE:
        kind = str(looked.stages[StageVerdicts.kind].iloc[int(flag[Flags.row])])
    suspects = suspects_for(flag, looked.suspects, looked.stages)
    steps = next_steps(flag, row, stage_kind=kind, suspects=suspects)
    st.markdown(f"##### {say('What to do next')}")
    lines = []
    for place, step in enumerate(steps, start=1):
        source = "" if step.source == PRACTICE else f" *({plain(step.source)})*"
        lines.append(f"{place}. {plain(say(step.text))}{source}")
    st.markdown("\n".join(lines))
    st.caption(say("Steps without a source are common practice."))


def _places(flag: Flag, row: Flag | None) -> tuple[tuple[str, str, str], ...]:
    """Give workbook, sheet and cell of each place behind a flag, as far as they are known."""
    if row is not None:
        return cell_places(str(row[Judged.cell]), str(row[Judged.workbook]), plain_text(row[Judged.sheet]))
    where = str(flag[Flags.where])
    workbook, _, rest = where.rpartition("|")
    sheet, _, cells = rest.rpartition("!")
    return ((workbook, sheet, first_cell(cells)),) if first_cell(cells) else ()


def _draw_surroundings(flag: Flag, row: Flag | None, hand: InHand, office: Office) -> None:
    """Draw the cells around the one that the flag comes from; a sum has several to choose from."""
    places = [place for place in _places(flag, row) if cell_position(place[2])]
    if not places:
        draw_no_cells(str(flag[Flags.where]))
        return
    workbook, sheet, cell = places[0]
    if len(places) > 1:
        names = [f"{sheet}!{cell}" if sheet else cell for _, sheet, cell in places]
        at = st.selectbox(say("Cell"), range(len(places)), format_func=names.__getitem__,
                          key=f"{CELL_KEY} {flag[Flags.where]}")  # fmt: skip
        workbook, sheet, cell = places[at or 0]
    ledger = hand.check.ledger
    ledger = ledger[ledger[Ledger.sheet].fillna("").eq(sheet)]
    ledger = ledger[ledger[Ledger.workbook].eq(workbook)] if workbook else ledger
    heads, beside = (ledger.loc[ledger[Ledger.role].isin(roles), Ledger.cell] for roles in (["heading"], SAMPLE_ROLES))
    try:
        sheets = sheets_of(hand, office, workbook)
    except WqcheckError as problem:
        st.warning(refusal_text(problem))
        return
    around = surroundings(sheets, sheet, cell, heading_rows(heads), beside=beside)
    if around is None:
        draw_no_cells(str(flag[Flags.where]))
    else:
        draw_cells(around, workbook)


def _draw_history(flag: Flag, row: Flag | None, hand: InHand, office: Office) -> None:
    """Draw the recorded results of the parameter at the point, with those of the batch on the desk."""
    code, point = str(flag[Flags.parameter]), str(flag[Flags.point])
    check = hand.check
    if not code:
        st.caption(say("This flag is about no single parameter."))
        return
    points = [point] if point else sorted(check.judged[Judged.point].dropna().unique())
    kept = history(office.store(), points, code) if office.exists and points else None
    readings = _with_desk(kept, hand, code, points)
    if kept is None or kept.empty:
        st.caption(say("Only results of this batch: the records hold no earlier one of this parameter at this point."))
    if readings.empty:
        return
    if hand.record is None and kept is not None and len(readings) > len(kept) > 0:
        st.caption(say("Of these results {recorded} are recorded; {others} stand only in the sheets of this check.",
                       recorded=count_text(len(kept)), others=count_text(len(readings) - len(kept))))  # fmt: skip
    unit, basis, limits = _drawn_in(row, readings)
    drawn, left_out = history_points(readings, unit, basis, check.details.batch)
    draw_points(drawn, limits, unit_text(unit, basis), left_out, _absence(row))


def _absence(row: Flag | None) -> str:
    """Say in words the limit that no line can show."""
    if row is None or row[Judged.rule] != Rule.ABSENT:
        return ""
    unit = unit_text(plain_text(row[Judged.limit_unit]), "", say=printed())
    return say("The limit: {limit}.", limit=limit_text(str(Rule.ABSENT), None, None, unit, printed()))


def _with_desk(kept: DataFrame[Readings] | None, hand: InHand, code: str, points: list[str]) -> DataFrame[Readings]:
    """Give the recorded results, and those of the batch on the desk where it is not the recorded one."""
    own = hand.check.readings
    own = own[own[Readings.parameter].eq(code) & own[Readings.point].isin(points)]
    own = own.assign(**{Readings.batch: own[Readings.batch].fillna(hand.check.details.batch).astype("str")})
    if kept is None or kept.empty:
        return Readings.validate(own.reset_index(drop=True))
    if hand.record is not None:
        return kept
    both = pd.concat([kept, own], ignore_index=True)
    same = [Readings.workbook, Readings.sheet, Readings.cell, Readings.sample, Readings.reported]
    return Readings.validate(both.drop_duplicates(same, keep="last").reset_index(drop=True))


def _drawn_in(row: Flag | None, readings: DataFrame[Readings]) -> tuple[str, str, tuple[float, float]]:
    """Give unit, basis and limits to draw in: those of the limit, else the unit that most results have."""
    if row is not None and not pd.isna(row[Judged.limit_unit]):
        basis = "" if pd.isna(row[Judged.limit_basis]) else str(row[Judged.limit_basis])
        return str(row[Judged.limit_unit]), basis, (float(row[Judged.lower]), float(row[Judged.upper]))
    common = readings.groupby([Readings.unit, Readings.basis], dropna=False).size().sort_values()
    unit, basis = common.index[-1]
    return "" if pd.isna(unit) else str(unit), "" if pd.isna(basis) else str(basis), (float("nan"), float("nan"))


def _draw_remarks(flag: Flag, hand: InHand, office: Office) -> None:
    """Draw the remarks on this flag, and the field for one more; only a recorded batch can have any."""
    if hand.record is None:
        st.caption(say("Remarks are kept with the records: record this batch first."))
        if hand.desk is not None:
            draw_recording(office, hand.desk)
        return
    about = about_flag(str(flag[Flags.where]), str(flag[Flags.parameter] or flag[Flags.code]))
    found = remarks_about(hand.record.remarks, about)
    for entry in found.to_dict("records"):
        with st.container(border=True):
            st.markdown(f"{plain(entry['text'])}  \n*{plain(entry['person'])}, {plain(moment(entry['at']))}*")
    if found.empty:
        st.caption(say("No remark on this flag yet."))
    key = f"{REMARK_KEY} {about}"
    st.text_area(say("Remark on this flag"), key=key, height=68)
    st.button(
        say("Keep the remark"), key=KEEP_KEY, on_click=do, args=(partial(_keep, hand, office, about, key), KEEP_KEY)
    )
    draw_refusal(KEEP_KEY)


def _keep(hand: InHand, office: Office, about: str, key: str) -> str:
    """Keep what was written, and empty the field."""
    assert hand.record is not None
    remark(office.store(), hand.record.standing.batch, office.act(), str(st.session_state[key]), about=about)
    st.session_state[key] = ""
    return say("The remark is kept with batch {batch}, about {about}.", batch=plain(hand.record.standing.batch),
               about=plain(about))  # fmt: skip
