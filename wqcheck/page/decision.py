"""Turns a decision into what the page says first: release, hold or reject, why, and what to do next."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from wqcheck.page.words import DISPOSITION_MEANING, DISPOSITION_WORDS, counted, plain, sentence, some_of
from wqcheck.release import CAUTION, Disposition, Reason, ReleaseDecision

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
    counts = "  \n".join(
        f"{counted(len(names), 'parameter')} {what}" + (f": {plain(some_of(names))}" if names else "")
        for what, names in parts.items()
    )
    word = DISPOSITION_WORDS[decision.disposition]
    _BOXES[decision.disposition](
        f"**{word}: batch {plain(decision.batch)}.** {DISPOSITION_MEANING[decision.disposition]}  \n{counts}",
        icon=_ICONS[decision.disposition],
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
            informs = disposition == Disposition.RELEASE and decision.disposition != disposition
            st.markdown("##### " + ("To know" if informs else f"Reasons to {disposition}") + f" ({len(reasons)})")
            st.markdown("\n".join(_reason_line(reason) for reason in reasons))
    if missing:
        st.markdown(f"**Required and without a result:** {plain(', '.join(missing))}.")


def _reason_line(reason: Reason) -> str:
    """Write one reason as a list entry, with the cell it comes from."""
    where = f" — *{plain(reason.where)}*" if reason.where else ""
    return f"- {plain(sentence(reason.message))}{where}"
