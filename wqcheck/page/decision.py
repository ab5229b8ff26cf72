"""Turns a decision into what the page says first: release, hold or reject, why, and what to do next."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from wqcheck.page.words import DISPOSITION_MEANING, DISPOSITION_WORDS, counted, plain
from wqcheck.release import CAUTION, Disposition, Reason, ReleaseDecision

_MARKS = {Disposition.RELEASE: "✓", Disposition.HOLD: "‖", Disposition.REJECT: "✕"}
_BOXES = {Disposition.RELEASE: st.success, Disposition.HOLD: st.warning, Disposition.REJECT: st.error}


def draw_headline(decision: ReleaseDecision, exceeding: int, undecided: int) -> None:
    """Draw the box at the top: the recommendation and the three counts behind it.

    Parameters
    ----------
    decision : ReleaseDecision
    exceeding, undecided : int
        Results on finished water that are out of limit, and that cannot be decided.
    """
    counts = (
        f"{counted(exceeding, 'result')} out of limit · {counted(undecided, 'result')} cannot be decided · "
        f"{counted(len(decision.missing), 'required result')} missing"
    )
    word = DISPOSITION_WORDS[decision.disposition]
    _BOXES[decision.disposition](
        f"**{_MARKS[decision.disposition]} {word}: batch {plain(decision.batch)}.** "
        f"{DISPOSITION_MEANING[decision.disposition]}  \n{counts}"
    )
    st.caption(plain(CAUTION))


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
    st.markdown(f"##### Recommendation: {word}")
    st.markdown("This is a recommendation. The authorised person decides and signs.")
    st.markdown("##### What to do next")
    st.markdown("\n".join(f"{number}. {plain(step)}" for number, step in enumerate(next_steps, start=1)))
    for disposition in (Disposition.REJECT, Disposition.HOLD, Disposition.RELEASE):
        reasons = [reason for reason in decision.reasons if reason.disposition == disposition]
        if reasons:
            st.markdown(f"##### Reasons to {disposition} ({len(reasons)})")
            st.markdown("\n".join(_reason_line(reason) for reason in reasons))
    if missing:
        st.markdown(f"**Required and without a result:** {plain(', '.join(missing))}.")


def _reason_line(reason: Reason) -> str:
    """Write one reason as a list entry, with the cell it comes from."""
    where = f" — *{plain(reason.where)}*" if reason.where else ""
    return f"- {plain(reason.message)}{where}"
