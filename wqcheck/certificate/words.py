"""Turns the lines of a certificate into its sentences: what was compared, what came of it, and what to do next."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from wqcheck.certificate.lines import ResultLine
from wqcheck.languages.catalogues import ENGLISH, Catalogue
from wqcheck.release.decision import Disposition
from wqcheck.tables import Verdict

_FAILING = (Verdict.FAIL, Verdict.CONDITIONAL_FAIL)


def statement(
    disposition: Disposition, lines: Sequence[ResultLine], missing: Sequence[str], say: Catalogue = ENGLISH
) -> tuple[str, ...]:
    """Say what was compared and what came of it; a notice gives no reassurance.

    Parameters
    ----------
    disposition : Disposition
    lines : sequence of ResultLine
        Those that were judged against a limit.
    missing : sequence of str
        Names of required parameters without a result.
    say : Catalogue
        The language.
    """
    required = _names(line for line in lines if line.verdict in _FAILING and line.required)
    others = _names(line for line in lines if line.verdict in _FAILING and not line.required)
    unclear, absent = _unclear(lines), ", ".join(missing)
    sentences = (
        (True, _first(lines, calm=disposition == Disposition.RELEASE and required == "", say=say)),
        (required, say("These required results did not keep their limit: {names}.", names=required)),
        (others, say("These other results did not keep their limit: {names}.", names=others)),
        (unclear, say("These results could not be compared with their limit: {names}.", names=unclear)),
        (absent, say("These required parameters have no result: {names}.", names=absent)),
    )
    return (*(sentence for given, sentence in sentences if given), *_unverified(lines, say))


def _first(lines: Sequence[ResultLine], *, calm: bool, say: Catalogue) -> str:
    if not lines:
        return say("No result was compared with a limit.")
    if calm:
        return say(
            "The results listed were compared with the limits listed; no listed required result exceeded its limit."
        )
    return say("The results listed were compared with the limits listed.")


def _unverified(lines: Sequence[ResultLine], say: Catalogue) -> tuple[str, ...]:
    number, count = sum(line.unverified != "" for line in lines), len(lines)
    if number == 1:
        one = say(
            "Of the {count} limit rows used, 1 is not verified against the official text; the table marks it.",
            count=count,
        )
        return (one,)
    more = say(
        "Of the {count} limit rows used, {number} are not verified against the official text; the table marks them.",
        count=count,
        number=number,
    )
    return (more,) if number else ()


def next_steps(
    disposition: Disposition,
    batch: str,
    lines: Sequence[ResultLine],
    missing: Sequence[str],
    doubts: int,
    say: Catalogue = ENGLISH,
) -> tuple[str, ...]:
    """Say what to do next, in the order of doing it (common practice, no source).

    ``doubts`` counts the findings that forbid release; the rest as for :func:`statement`.
    """
    failing, unclear = _names(line for line in lines if line.verdict in _FAILING), _unclear(lines)
    if disposition == Disposition.RELEASE:
        names = ", ".join(filter(None, (failing, unclear)))
        filed = say(
            "File this certificate with the records of batch {batch}, with the workbooks listed under Files.",
            batch=batch,
        )
        return (filed, say("Follow up the rows marked in the table: {names}.", names=names)) if names else (filed,)
    tests, unsettled = ", ".join(missing), str(doubts or "")
    steps = (
        (True, _kept_apart(disposition, batch, say)),
        (
            failing,
            say("Find out why these did not keep their limit: {names}. Retest only by a written plan.", names=failing),
        ),
        (tests, say("Have these tested, or add their results to the workbook: {names}.", names=tests)),
        (unclear, say("Ask the laboratory for a result that can be compared with the limit: {names}.", names=unclear)),
        (
            unsettled,
            say("Settle the data findings marked “hold” ({number}); each says what to mend and where.", number=doubts),
        ),
        (True, _end(disposition, say)),
    )
    return tuple(step for given, step in steps if given)


def _kept_apart(disposition: Disposition, batch: str, say: Catalogue) -> str:
    return say(
        "Do not dispatch batch {batch}. Keep it apart from other stock and mark it “{mark}”.",
        batch=batch,
        mark=say(str(disposition)).upper(),
    )


def _end(disposition: Disposition, say: Catalogue) -> str:
    if disposition == Disposition.HOLD:
        return say(
            "When every point is settled, check the workbook again; only a certificate of batch release ends the hold."
        )
    return say(
        "Let the authorised person decide in writing what becomes of the batch; tell the authority where it asks."
    )


def withdrawal_statement(number: str, say: Catalogue = ENGLISH) -> tuple[str, ...]:
    """Say that a document no longer holds."""
    return (say("The document {number} is withdrawn. It no longer holds, and nobody may rely on it.", number=number),)


def withdrawal_steps(batch: str, say: Catalogue = ENGLISH) -> tuple[str, ...]:
    """Say what to do about a document that no longer holds (common practice, no source)."""
    return (
        say("Do not dispatch what is left of batch {batch}; find out where the rest of it went.", batch=batch),
        say("Tell everyone who holds the withdrawn document, and replace each copy with this notice."),
        say("Let the authorised person decide in writing about a recall; tell the authority where it asks."),
    )


def _unclear(lines: Sequence[ResultLine]) -> str:
    failing = {line.name for line in lines if line.verdict in _FAILING}
    return _names(line for line in lines if line.verdict == Verdict.UNDETERMINED and line.name not in failing)


def _names(lines: Iterable[ResultLine]) -> str:
    return ", ".join(dict.fromkeys(line.name for line in lines))
