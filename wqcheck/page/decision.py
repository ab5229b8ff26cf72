"""Turns a decision into what the page says first: release, hold or reject, why, and what to do next."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from wqcheck.judging.rules import RuleStatement
from wqcheck.page.words import DISPOSITION_MEANING, DISPOSITION_WORDS, counted, plain, sentence, some_of
from wqcheck.release.decision import CAUTION, Disposition, Reason, ReleaseDecision

_BOXES = {Disposition.RELEASE: st.success, Disposition.HOLD: st.warning, Disposition.REJECT: st.error}
_ICONS = {
    Disposition.RELEASE: ":material/check_circle:",
    Disposition.HOLD: ":material/pause_circle:",
    Disposition.REJECT: ":material/cancel:",
}


def draw_headline(
    decision: ReleaseDecision, exceeding: Sequence[str], undecided: Sequence[str], missing: Sequence[str]
) -> None:
    """Draw the box at the top: the recommendation and what stands against the batch.

    Parameters
    ----------
    decision : ReleaseDecision
    exceeding, undecided, missing : sequence of str
        Names of parameters of finished water that are out of limit, that cannot be decided, and that are required and
        have no result.
    """
    parts = {"out of limit": exceeding, "cannot be decided": undecided, "required but missing": missing}
    listed = [
        f"{counted(len(names), 'parameter')} {what}: {plain(some_of(names))}" for what, names in parts.items() if names
    ]
    against = "  \n".join(listed) or "No parameter is out of limit, undecided or missing."
    word = DISPOSITION_WORDS[decision.disposition]
    _BOXES[decision.disposition](
        f"**{word}: batch {plain(decision.batch)}.** {DISPOSITION_MEANING[decision.disposition]}  \n{against}",
        icon=_ICONS[decision.disposition],
    )
    st.caption(plain(CAUTION))


def draw_rules(rules: Sequence[RuleStatement]) -> None:
    """Draw by which rule each limit table was judged."""
    with st.expander("Decision rule of each limit table: how results were set beside the limits"):
        st.markdown("\n".join(f"- **{plain(entry.table)}:** {plain(entry.rule)}" for entry in rules))


def draw_decision(decision: ReleaseDecision, missing: Sequence[str], next_steps: Sequence[str]) -> None:
    """Draw every reason, grouped by what it leads to, and the steps that come next.

    Parameters
    ----------
    decision : ReleaseDecision
    missing : sequence of str
        Names of what is required and has no result.
    next_steps : sequence of str
        Sentences, in the order of doing.
    """
    word = DISPOSITION_WORDS[decision.disposition]
    decided_well = decision.disposition == Disposition.RELEASE
    st.markdown(f"##### Recommendation: {word}")
    st.markdown("This is a recommendation. The authorised person decides and signs.")
    st.markdown("##### What to do next")
    st.markdown("\n".join(f"{number}. {plain(step)}" for number, step in enumerate(next_steps, start=1)))
    if missing:
        st.markdown(f"**Required and without a result:** {plain(', '.join(missing))}.")
    for disposition in (Disposition.REJECT, Disposition.HOLD):
        reasons = [reason for reason in decision.reasons if reason.disposition == disposition]
        if reasons:
            st.markdown(f"##### Reasons to {disposition} ({len(reasons)})")
            st.markdown("\n".join(_reason_line(reason) for reason in reasons))
    informing = [reason for reason in decision.reasons if reason.disposition == Disposition.RELEASE]
    if informing:
        with st.expander(f"To know: these do not hold the batch ({len(informing)})", expanded=decided_well):
            st.markdown("\n".join(_reason_line(reason) for reason in informing))


def _reason_line(reason: Reason) -> str:
    """Write one reason as a list entry, with the cell it comes from."""
    where = f" — *{plain(reason.where)}*" if reason.where else ""
    return f"- {plain(sentence(reason.message))}{where}"
