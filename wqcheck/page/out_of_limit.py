"""Turns judged results into the list of those that are out of limit or cannot be decided, worst first."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
import streamlit as st

from wqcheck.certificate_lines import ResultLine, result_lines
from wqcheck.page.words import VERDICT_WORDS, counted, plain, result_text, titled
from wqcheck.tables import Judged, LimitClass, Verdict

FLAGGED = (Verdict.FAIL, Verdict.CONDITIONAL_FAIL, Verdict.UNDETERMINED, Verdict.CONDITIONAL_PASS)
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
    rows = judged[judged[Judged.verdict].isin([str(verdict) for verdict in FLAGGED])]
    mild = ~rows[Judged.limit_class].isin([str(harm) for harm in _SEVEREST_FIRST])
    order = pd.DataFrame({"mild": mild, "margin": rows[Judged.margin]}).sort_values(["mild", "margin"], kind="stable")
    return result_lines(rows.loc[order.index], required)


def count_results(lines: Sequence[ResultLine], verdicts: Sequence[Verdict]) -> int:
    """Count the results (not the limits) that have one of these verdicts as their worst; ``lines`` are worst first."""
    worst: dict[tuple[str, str, str], str] = {}
    for line in lines:
        worst.setdefault((line.cell, line.parameter, line.sample), line.verdict)
    return sum(verdict in verdicts for verdict in worst.values())


def flag_table(lines: Sequence[ResultLine], *, markup: bool = True) -> pd.DataFrame:
    """Make the table that is shown: each flag with its reason, limit, clause, table and the cell it came from."""
    safe = plain if markup else str
    rows = [
        {
            "Finding": VERDICT_WORDS[Verdict(line.verdict)],
            "Result": safe(f"{titled(line.parameter, line.name)}: {_as_reported(line)}"),
            "Limit": safe(f"{line.limit} ({line.limit_class})"),
            "Limit table and clause": safe(
                f"{line.table}, {line.clause}" + (line.unverified and f" ({line.unverified})")
            ),
            "Reason": safe(line.reason),
            "Where": safe(" · ".join(filter(None, (line.point, line.sample, line.cell)))),
        }
        for line in lines
    ]
    return pd.DataFrame(rows, columns=["Finding", "Result", "Limit", "Limit table and clause", "Reason", "Where"])


def _as_reported(line: ResultLine) -> str:
    return result_text(line.reported, line.unit, line.basis, line.volume_ml)


def draw_out_of_limit(
    product: Sequence[ResultLine], elsewhere: Sequence[ResultLine], missing: Sequence[str], not_tested: Sequence[str]
) -> None:
    """Draw the flags on finished water, what was not tested, and the flags along the train.

    Parameters
    ----------
    product, elsewhere : sequence of ResultLine
        Flags of finished water, and of the points before it.
    missing, not_tested : sequence of str
        Names: required without a result; with a limit in the chosen tables but without a result.
    """
    exceeding, undecided = count_results(product, EXCEEDING), count_results(product, [Verdict.UNDETERMINED])
    st.markdown(
        f"**Finished water:** {counted(exceeding, 'result')} out of limit, "
        f"{counted(undecided, 'result')} that cannot be decided. Worst first."
    )
    if missing:
        st.warning(f"Required, but no result was found: {plain(', '.join(missing))}.")
    if product:
        st.table(flag_table(product[:SHOWN_IN_FULL]), hide_index=True)
    else:
        st.info("No result on finished water is out of its limit or undecided in the chosen tables.")
    if len(product) > SHOWN_IN_FULL:
        st.caption(f"The first {SHOWN_IN_FULL} of {len(product)} are above; all of them are here:")
        st.dataframe(flag_table(product, markup=False), hide_index=True)
    if elsewhere:
        with st.expander(f"Along the train, before the finished water ({len(elsewhere)}): does not decide the batch"):
            st.dataframe(flag_table(elsewhere, markup=False), hide_index=True)
    if not_tested:
        with st.expander(f"Has a limit in the chosen tables, but was not tested ({len(not_tested)})"):
            st.markdown(plain(", ".join(not_tested)))
