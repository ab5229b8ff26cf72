"""Turns the lines of a certificate into its sentences: what was compared, what came of it, and what to do next."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from wqcheck.certificate.lines import UNVERIFIED, ResultLine
from wqcheck.release.decision import Disposition
from wqcheck.tables import Verdict

_FAILING = (Verdict.FAIL, Verdict.CONDITIONAL_FAIL)
_END = {
    Disposition.HOLD: (
        "When every point is settled, check the workbook again; only a certificate of batch release ends the hold."
    ),
    Disposition.REJECT: (
        "Let the authorised person decide in writing what becomes of the batch; tell the authority where it asks."
    ),
}


def statement(disposition: Disposition, lines: Sequence[ResultLine], missing: Sequence[str]) -> tuple[str, ...]:
    """Say what was compared and what came of it; a notice gives no reassurance.

    Parameters
    ----------
    disposition : Disposition
    lines : sequence of ResultLine
        Those that were judged against a limit.
    missing : sequence of str
        Names of required parameters without a result.
    """
    required = _names(line for line in lines if line.verdict in _FAILING and line.required)
    others = _names(line for line in lines if line.verdict in _FAILING and not line.required)
    unverified = sum(line.unverified != "" for line in lines)
    calm = disposition == Disposition.RELEASE and required == ""
    outcome = "; no listed required result exceeded its limit" if calm else ""
    first = f"The results listed were compared with the limits listed{outcome}."
    return (
        first if lines else "No result was compared with a limit.",
        *_said("These required results did not keep their limit: {}.", required),
        *_said("These other results did not keep their limit: {}.", others),
        *_said("These results could not be compared with their limit: {}.", _unclear(lines)),
        *_said("These required parameters have no result: {}.", ", ".join(missing)),
        *_said(f"Of the {len(lines)} limit rows used, {{}} {UNVERIFIED}; the table marks them.", _counted(unverified)),
    )


def next_steps(
    disposition: Disposition, batch: str, lines: Sequence[ResultLine], missing: Sequence[str], doubts: int
) -> tuple[str, ...]:
    """Say what to do next, in the order of doing it (common practice, no source).

    ``doubts`` counts the findings that forbid release; the rest as for :func:`statement`.
    """
    failing, unclear = _names(line for line in lines if line.verdict in _FAILING), _unclear(lines)
    if disposition == Disposition.RELEASE:
        return (
            f"File this certificate with the records of batch {batch}, with the workbooks listed under Files.",
            *_said("Follow up the rows marked in the table: {}.", ", ".join(filter(None, (failing, unclear)))),
        )
    mark = str(disposition).upper()
    return (
        f"Do not dispatch batch {batch}. Keep it apart from other stock and mark it “{mark}”.",
        *_said("Find out why these did not keep their limit: {}. Retest only by a written plan.", failing),
        *_said("Have these tested, or add their results to the workbook: {}.", ", ".join(missing)),
        *_said("Ask the laboratory for a result that can be compared with the limit: {}.", unclear),
        *_said("Settle the data findings marked “hold” ({}); each says what to mend and where.", str(doubts or "")),
        _END[disposition],
    )


def _unclear(lines: Sequence[ResultLine]) -> str:
    failing = {line.name for line in lines if line.verdict in _FAILING}
    return _names(line for line in lines if line.verdict == Verdict.UNDETERMINED and line.name not in failing)


def _names(lines: Iterable[ResultLine]) -> str:
    return ", ".join(dict.fromkeys(line.name for line in lines))


def _counted(number: int) -> str:
    return f"{number} {'is' if number == 1 else 'are'}" if number else ""


def _said(sentence: str, what: str) -> tuple[str, ...]:
    return (sentence.replace("{}", what),) if what else ()
