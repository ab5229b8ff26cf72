"""Turns judged results into the list of those that are out of limit or cannot be decided, worst first."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
import streamlit as st

from wqcheck.certificate.lines import ResultLine, in_order, result_lines
from wqcheck.explanation import explain
from wqcheck.judging.rules import RuleStatement
from wqcheck.page.words import VERDICT_WORDS, counted, plain, result_text, sentence, titled
from wqcheck.tables import Judged, LimitClass, Verdict

FLAGGED = (Verdict.FAIL, Verdict.CONDITIONAL_FAIL, Verdict.UNDETERMINED, Verdict.CONDITIONAL_PASS)
FLAGS_KEY = "flags"
WORKING_KEY = "working"
EXCEEDING = (Verdict.FAIL, Verdict.CONDITIONAL_FAIL)
SHOWN_IN_FULL = 60
"""Rows written out one by one; what lies beyond is in the scrolling table, which holds them all."""

_SEVEREST_FIRST = [LimitClass.HEALTH, LimitClass.MICROBIOLOGICAL, LimitClass.RADIOLOGICAL]


def flagged_lines(judged: pd.DataFrame, required: tuple[str, ...]) -> tuple[ResultLine, ...]:
    """Make one line per flagged result × limit, worst first: by verdict, then what is required, harm, and margin.

    Parameters
    ----------
    judged : DataFrame[Judged], shape (n, …)
        Not changed.
    required : tuple of str
        Codes without which the batch cannot be released.
    """
    rows = _flagged(judged)
    mild = ~rows[Judged.limit_class].isin([str(harm) for harm in _SEVEREST_FIRST])
    order = pd.DataFrame({"mild": mild, "margin": rows[Judged.margin]}).sort_values(["mild", "margin"], kind="stable")
    return result_lines(rows.loc[order.index], required)


def _flagged(judged: pd.DataFrame) -> pd.DataFrame:
    return judged[judged[Judged.verdict].isin([str(verdict) for verdict in FLAGGED])]


def unlimited_lines(judged: pd.DataFrame) -> tuple[ResultLine, ...]:
    """Make one line per result of ``judged`` (``DataFrame[Judged]``, not changed) that no limit binds."""
    return result_lines(judged[judged[Judged.verdict].eq(str(Verdict.NO_LIMIT))], ())


def names_with(lines: Sequence[ResultLine], verdicts: Sequence[Verdict]) -> tuple[str, ...]:
    """Name the parameters that have one of these verdicts as their worst, each once; ``lines`` are worst first."""
    worst: dict[str, str] = {}
    for line in lines:
        worst.setdefault(titled(line.parameter, line.name), line.verdict)
    return tuple(name for name, verdict in worst.items() if verdict in verdicts)


def flag_table(lines: Sequence[ResultLine], *, markup: bool = True) -> pd.DataFrame:
    """Make the table that is shown: each flag with its reason, limit, clause, table and the cell it came from."""
    shown = plain if markup else str
    rows = [
        {
            "Finding": VERDICT_WORDS[Verdict(line.verdict)],
            "Result": shown(f"{titled(line.parameter, line.name)}: {_as_reported(line)}"),
            "Limit": shown(f"{line.limit} ({line.limit_class})"),
            "Limit table and clause": shown(
                f"{line.table}, {line.clause}" + (line.unverified and f" ({line.unverified})")
            ),
            "Reason": shown(sentence(line.reason)),
            "Where": shown(" · ".join(filter(None, (line.point, line.sample, line.cell)))),
        }
        for line in lines
    ]
    return pd.DataFrame(rows, columns=["Finding", "Result", "Limit", "Limit table and clause", "Reason", "Where"])


def _as_reported(line: ResultLine) -> str:
    return result_text(line.reported, line.unit, line.basis, line.volume_ml)


def draw_out_of_limit(flags: Sequence[ResultLine], missing: Sequence[str]) -> None:
    """Draw the flags on finished water.

    Parameters
    ----------
    flags : sequence of ResultLine
        From :func:`flagged_lines`.
    missing : sequence of str
        Names of what is required and has no result.
    """
    places = len({line.cell for line in flags})
    st.markdown(
        f"**Finished water:** {counted(len(flags), 'line')} from {counted(places, 'cell')}, worst first. "
        "One result stands once for each limit that it does not clearly keep."
    )
    if missing:
        st.warning(f"Required, but no result was found: {plain(', '.join(missing))}.")
    if flags:
        with st.container(key=FLAGS_KEY):
            st.table(flag_table(flags[:SHOWN_IN_FULL]), hide_index=True)
    else:
        st.info("No result on finished water is out of its limit or undecided in the chosen tables.")
    if len(flags) > SHOWN_IN_FULL:
        st.caption(f"The first {SHOWN_IN_FULL} of {len(flags)} are above; all of them are here:")
        st.dataframe(flag_table(flags, markup=False), hide_index=True)


def draw_workings(judged: pd.DataFrame, required: tuple[str, ...], rules: Sequence[RuleStatement]) -> None:
    """Draw the working of the flagged result that is chosen, step by step from its cell to its verdict.

    Parameters
    ----------
    judged : DataFrame[Judged], shape (n, …)
        Not changed.
    required : tuple of str
        Codes without which the batch cannot be released.
    rules : sequence of RuleStatement
        How each limit table was judged.
    """
    flagged = in_order(_flagged(judged), required)
    if flagged.empty:
        return
    with st.expander("Working of a flagged result, step by step"):
        places = list(range(len(flagged)))
        names = [
            f"{parameter} beside {table}, {cell}"
            for parameter, table, cell in zip(
                flagged[Judged.parameter], flagged[Judged.table], flagged[Judged.cell], strict=True
            )
        ]
        chosen = st.selectbox("Result", places, format_func=names.__getitem__, key=WORKING_KEY)
        for working in explain(flagged.iloc[[chosen or 0]], rules):
            steps = pd.DataFrame([{"Step": step.title, "What it gives": plain(step.text)} for step in working.steps])
            st.table(steps, hide_index=True)


def draw_not_compared(unlimited: Sequence[ResultLine], not_tested: Sequence[str]) -> None:
    """Draw what the verdicts say nothing about.

    Parameters
    ----------
    unlimited : sequence of ResultLine
        From :func:`unlimited_lines`.
    not_tested : sequence of str
        Names of what has a limit in the chosen tables but no result.
    """
    if unlimited:
        with st.expander(
            f"Tested, but without a limit in the chosen tables ({len(unlimited)}): look at these yourself"
        ):
            columns = ["Result", "Reason", "Where"]
            st.dataframe(flag_table(unlimited, markup=False)[columns], hide_index=True)
    if not_tested:
        with st.expander(f"Has a limit in the chosen tables, but was not tested ({len(not_tested)})"):
            st.markdown(plain(", ".join(not_tested)))
