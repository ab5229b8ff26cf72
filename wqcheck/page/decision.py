"""Turns a decision into what the page says first: release, hold or reject, why, and what to do next."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
import streamlit as st

from wqcheck.certificate.lines import parameter_name
from wqcheck.judging.judge import WORST_FIRST
from wqcheck.judging.rules import RuleStatement
from wqcheck.judging.verdicts import DecisionRule
from wqcheck.page.shown import moment, table_title, titles_in
from wqcheck.page.spoken import later, say
from wqcheck.page.words import (
    DISPOSITION_MEANING,
    DISPOSITION_WORDS,
    EXCEEDING,
    FLAGGED,
    STATE_WORDS,
    plain,
    sentence,
    some_of,
    titled,
)
from wqcheck.records.standing import Standing, State
from wqcheck.release.decision import BatchCheck, Disposition, Reason, ReleaseDecision
from wqcheck.release.reasons import NO_LIMIT, NO_RESULT, NOT_COMPARED
from wqcheck.tables import Judged, LimitClass, Verdict

SEVEREST = (LimitClass.HEALTH, LimitClass.MICROBIOLOGICAL, LimitClass.RADIOLOGICAL)

_BOXES = {Disposition.RELEASE: st.success, Disposition.HOLD: st.warning, Disposition.REJECT: st.error}
_STATE_BOXES = {
    State.RELEASED: st.success, State.ON_HOLD: st.warning, State.REJECTED: st.error, State.WITHDRAWN: st.error,
}  # fmt: skip
_ICONS = {
    Disposition.RELEASE: ":material/check_circle:",
    Disposition.HOLD: ":material/pause_circle:",
    Disposition.REJECT: ":material/cancel:",
}

_RULE_WORDS = {
    str(DecisionRule.SIMPLE): later(
        "A result meets a limit when its value does. Its uncertainty is shown and changes no verdict."
    ),
    str(DecisionRule.GUARD_BAND): later(
        "A result nearer to a limit than the guard band (a multiple of its uncertainty) passes or fails conditionally."
    ),
    str(DecisionRule.GUARDED_ACCEPTANCE): later(
        "A result meets a limit only when it meets it by at least the guard band, a multiple of its uncertainty."
    ),
}
"""Decision rules in plain words, by the first words of their sentence."""

_NAMED = [Judged.parameter, Judged.parameter_text, Judged.verdict]
_REASONS = {Disposition.HOLD: later("Reasons to hold"), Disposition.REJECT: later("Reasons to reject")}


def worst_named(judged: pd.DataFrame, required: tuple[str, ...]) -> dict[str, str]:
    """Give each flagged parameter by its name with its worst verdict: worst first, then what is required, and harm.

    Parameters
    ----------
    judged : DataFrame[Judged], shape (n, …)
        Not changed.
    required : tuple of str
        Codes without which the batch cannot be released.
    """
    rows = judged[judged[Judged.verdict].isin([str(verdict) for verdict in FLAGGED])]
    order = pd.DataFrame(
        {
            "rank": rows[Judged.verdict].map({str(verdict): rank for rank, verdict in enumerate(WORST_FIRST)}),
            "optional": rows[Judged.parameter].isin(required).map({True: 0, False: 1}),
            "mild": rows[Judged.limit_class].isin([str(harm) for harm in SEVEREST]).map({True: 0, False: 1}),
            "margin": rows[Judged.margin],
            "key": rows[Judged.parameter].fillna(rows[Judged.parameter_text]),
        }
    )
    order = order.sort_values(["rank", "optional", "mild", "margin"], kind="stable").drop_duplicates("key")
    named: dict[str, str] = {}
    for parameter, text, verdict in rows.loc[order.index, _NAMED].fillna("").itertuples(index=False, name=None):
        named.setdefault(titled(parameter, text), verdict)
    return named


def missing_names(decision: ReleaseDecision) -> tuple[str, ...]:
    """Name what is required and has no result, each once."""
    return tuple(dict.fromkeys(map(titled, decision.missing)))


def uncompared_names(decision: ReleaseDecision) -> tuple[str, ...]:
    """Name what is required and has results that no limit could be set beside, each once."""
    reasons = [reason for reason in decision.reasons if reason.code in (NO_LIMIT, NOT_COMPARED)]
    return tuple(dict.fromkeys(titled(reason.parameter) for reason in reasons))


def draw_headline(check: BatchCheck, standing: Standing | None = None) -> None:
    """Draw the box at the top: what was decided, or that nothing was, the recommendation, and what is against it.

    ``standing`` is where a recorded batch stands.
    """
    _draw_recommended(check, decided=standing is not None and draw_decided(standing))


def draw_decided(standing: Standing) -> bool:
    """Draw the box that says what was decided, when and by whom; tell whether anything was."""
    if standing.state not in _STATE_BOXES:
        return False
    word = say(STATE_WORDS[standing.state]).upper()
    title = say("{word}: batch {batch}.", word=word, batch=plain(standing.batch))
    told = say("Since {at}, by {person}.", at=plain(moment(standing.at)), person=plain(standing.person))
    reason = f"  \n{say('Reason:')} {plain(standing.reason)}" if standing.reason else ""
    _STATE_BOXES[standing.state](f"**{title}** {told}{reason}", icon=":material/signature:")
    return True


def _draw_recommended(check: BatchCheck, *, decided: bool) -> None:
    """Draw the recommendation of the check; once it was decided on it is no box any more."""
    decision, worst = check.decision, worst_named(check.judged, check.decision.required)
    exceeding = [name for name, verdict in worst.items() if verdict in EXCEEDING]
    undecided = [name for name, verdict in worst.items() if verdict == Verdict.UNDETERMINED]
    missing = missing_names(decision)
    parts = (
        (later("Out of limit ({number}): {names}"), exceeding),
        (later("Cannot be decided ({number}): {names}"), undecided),
        (later("Required but missing ({number}): {names}"), missing),
        (later("Required but not compared with a limit ({number}): {names}"), uncompared_names(decision)),
    )
    listed = [say(text, number=len(names), names=plain(some_of(names))) for text, names in parts if names]
    against = "  \n".join(listed) or say("No parameter is out of limit, undecided or missing.")
    word = say(DISPOSITION_WORDS[decision.disposition])
    title = say("{word}: batch {batch}.", word=word, batch=plain(decision.batch))
    doubts = _doubts(decision)
    if doubts:
        names = plain(some_of(doubts))
        against += "  \n" + say("In doubt about the data ({number}): {names}", number=len(doubts), names=names)
    if decided:
        st.markdown(f"{say('The check recommended:')} **{word}**  \n{against}")
        return
    _BOXES[decision.disposition](
        f"{say('Recommended, not decided:')} **{title}** {say(DISPOSITION_MEANING[decision.disposition])}  \n{against}",
        icon=_ICONS[decision.disposition],
    )


def _doubts(decision: ReleaseDecision) -> list[str]:
    """Name what holds the batch beside results and gaps: findings about the data, each code once."""
    told = {*map(str, Verdict), NO_RESULT, NO_LIMIT, NOT_COMPARED, "not tested"}
    holding = (reason for reason in decision.reasons if reason.disposition != Disposition.RELEASE)
    return list(dict.fromkeys(sentence(reason.code) for reason in holding if reason.code not in told))


def draw_rules(rules: Sequence[RuleStatement]) -> None:
    """Draw by which rule each limit table was judged."""
    tables: dict[str, list[str]] = {}
    for entry in rules:
        tables.setdefault(entry.rule, []).append(table_title(entry.table))
    with st.expander(say("Decision rule of each limit table: how results were set beside the limits")):
        for rule, titles in tables.items():
            word = say("All limit tables") if len(tables) == 1 else "; ".join(titles)
            in_words = say(_RULE_WORDS.get(rule.partition("; ")[0], ""))
            st.markdown(f"**{plain(word)}:** {in_words}  \n*{plain(titles_in(rule))}*")


def draw_decision(decision: ReleaseDecision, next_steps: Sequence[str]) -> None:
    """Draw every reason, grouped by what it leads to, and the steps that come next.

    Parameters
    ----------
    decision : ReleaseDecision
    next_steps : sequence of str
        Sentences, in the order of doing.
    """
    missing = missing_names(decision)
    word = say(DISPOSITION_WORDS[decision.disposition])
    decided_well = decision.disposition == Disposition.RELEASE
    st.markdown(f"##### {say('Recommendation: {word}', word=word)}")
    st.markdown(say("This is a recommendation. The authorised person decides and signs."))
    st.markdown(f"##### {say('What to do next')}")
    st.markdown("\n".join(f"{number}. {plain(titles_in(step))}" for number, step in enumerate(next_steps, start=1)))
    if missing:
        st.markdown(say("**Required and without a result:** {names}.", names=plain(", ".join(missing))))
    for disposition in (Disposition.REJECT, Disposition.HOLD):
        reasons = [reason for reason in decision.reasons if reason.disposition == disposition]
        if reasons:
            st.markdown(f"##### {say(_REASONS[disposition])} ({len(reasons)})")
            st.markdown("\n".join(reason_lines(reasons)))
    informing = [reason for reason in decision.reasons if reason.disposition == Disposition.RELEASE]
    if informing:
        with st.expander(
            say("To know: these do not hold the batch ({number})", number=len(informing)), expanded=decided_well
        ):
            st.markdown("\n".join(reason_lines(informing)))


def reason_lines(reasons: Sequence[Reason]) -> list[str]:
    """Write reasons as a list in Markdown, those of one parameter together, with the cells they come from.

    What to do, the last clause of a reason, is written once for a parameter where all of its reasons end with it; a
    sentence that is true of several cells is written once, with all of them.
    """
    groups: dict[str, list[Reason]] = {}
    for reason in reasons:
        groups.setdefault(reason.parameter or reason.message, []).append(reason)
    return [line for group in groups.values() for line in _of_one(group)]


def _of_one(group: Sequence[Reason]) -> list[str]:
    """Write the reasons of one parameter: alone as one line, several below its name."""
    cells: dict[str, list[str]] = {}
    for reason in group:
        cells.setdefault(reason.message, []).append(reason.where)
    if len(cells) == 1:
        message, where = next(iter(cells.items()))
        return [f"- {_reason_text(message, where)}"]
    name = parameter_name(group[0].parameter)
    endings = {message.rpartition("; ")[2] for message in cells}
    ending = endings.pop() if len(endings) == 1 else ""
    told = f": {plain(ending)}" if ending else ""
    lines = [f"- **{plain(sentence(name))}** ({len(group)}){told}"]
    for message, where in cells.items():
        text = message.removesuffix(f"; {ending}") if ending else message
        lines.append(f"  - {_reason_text(text.removeprefix(f'{name}: '), where)}")
    return lines


def _reason_text(message: str, where: Sequence[str]) -> str:
    listed = "; ".join(dict.fromkeys(filter(None, where)))
    return plain(titles_in(sentence(message))) + (f" — *{plain(listed)}*" if listed else "")
