"""Turns a decided batch into its document with a number of the series, and a document into one that is withdrawn.

Number, data, PDF, workbook and JSON are recorded in one transaction: either all of them are there, or none.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pandas as pd
from sqlalchemy import Connection, select

from wqcheck.certificate.data import Certificate, from_json, issue_certificate, issue_notice, to_json
from wqcheck.certificate.kept import KeptAs
from wqcheck.certificate.withdrawal import withdraw_document
from wqcheck.certificate_files.letterhead import PLAIN, Letterhead
from wqcheck.errors import RecordRefusedError
from wqcheck.languages.catalogues import SOURCE
from wqcheck.records.decisions import Turn, sign, take_turn
from wqcheck.records.frames import listed
from wqcheck.records.intake import keep_file
from wqcheck.records.log import Writing, writing
from wqcheck.records.numbers import PATTERN, next_number
from wqcheck.records.roles import Act, Role, require
from wqcheck.records.schema import Certificates, Files, Signatures, Withdrawals, table_of
from wqcheck.records.standing import State, known_batch, latest_check, standing
from wqcheck.records.store import Store
from wqcheck.records.stored_check import stored_check
from wqcheck.release.decision import BatchCheck, Disposition, Reason

FORMS = ("json", "pdf", "xlsx")
"""Forms in which each document is kept; they are endings of file names too."""

_DECIDED = {
    State.RELEASED: Disposition.RELEASE, State.ON_HOLD: Disposition.HOLD, State.REJECTED: Disposition.REJECT
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Issued:
    """A document as it was recorded: its data, and the bytes of each form of :data:`FORMS`."""

    certificate: Certificate
    files: dict[str, bytes]


@dataclass(frozen=True, slots=True, kw_only=True)
class PaperStyle:
    """How documents are printed: language (ISO 639-1), the plant's letterhead, and folders with further fonts."""

    language: str = SOURCE
    letterhead: Letterhead = PLAIN
    fonts: Sequence[Path] = ()


PLAIN_STYLE = PaperStyle()
"""English, without a letterhead."""


def issue(store: Store, batch: str, act: Act, *, pattern: str = PATTERN, style: PaperStyle = PLAIN_STYLE) -> Issued:
    """Issue the document of a decided batch: a certificate when it is released, otherwise a hold or reject notice.

    Parameters
    ----------
    store : Store
    batch : str
    act : Act
        Who issues it and when; the signature on it is that of the person who decided. ``why`` must be given when a
        document of the same decision exists, for then this one is a revision of it.
    pattern : str
        Number pattern, see :mod:`wqcheck.records.numbers`.
    style : PaperStyle
        Language, letterhead and fonts of the print; the data are the same in each.

    Raises
    ------
    RecordRefusedError
        The person may not, the batch is not decided, or a revision gives no reason.
    wqcheck.errors.ReleaseRefusedError
        The data do not allow a certificate.
    """
    require(act, (Role.RELEASER,), "issue a document")
    with writing(store, act, "issue", f"batch {batch.strip()}") as work:
        turn = _decided_turn(work, batch)
        last = _last_document(work.connection, turn.batch)
        if last and last["decision_version"] == turn.now.version and not act.why.strip():
            raise RecordRefusedError(
                f"batch {turn.batch} has the document {last['number']} for this decision; "
                "a revision of it takes a written reason (--why)"
            )
        number, series, ordinal = next_number(work, pattern)
        certificate = _document(work, turn, (number, last), style.language)
        issued = _printed(certificate, style)
        _keep(work, turn, issued, (series, ordinal))
        return issued


def withdraw(store: Store, batch: str, act: Act, *, style: PaperStyle = PLAIN_STYLE) -> tuple[str, ...]:
    """Withdraw a batch and the documents of it that still hold; return their numbers.

    Each of them gets a notice in every form of :data:`FORMS`, in the language of the document (that of ``style`` does
    not count); :func:`withdrawal_file` gives its bytes.

    Raises
    ------
    RecordRefusedError
        The person may not, gives no reason, or the batch is in no state to be withdrawn.
    """
    with writing(store, act, "withdraw", f"batch {batch.strip()}") as work:
        turn = take_turn(work, batch, State.WITHDRAWN)
        standing_now = _standing_documents(work.connection, turn.batch)
        for row in standing_now:
            text = work.connection.execute(_content(row["json"])).scalar_one().decode("utf-8")
            gone = withdraw_document(from_json(text), reason=act.why, by=act.by.name, at=act.at)
            files = {form: keep_file(work, content) for form, content in _printed(gone, style).files.items()}
            work.add(table_of(Withdrawals), number=row["number"], batch=turn.batch, reason=act.why.strip(), **files)
        sign(work, turn, State.WITHDRAWN)
        return tuple(row["number"] for row in standing_now)


def documents(store: Store, batch: str | None = None) -> pd.DataFrame:
    """Return the documents issued, of one batch or of all, in the order of issue.

    Columns: number, batch, kind, revision, supersedes, issued_at, signed_by, digest, and status: ``in force``,
    ``superseded by NUMBER`` or ``withdrawn``.
    """
    table, gone = table_of(Certificates), table_of(Withdrawals)
    names = ["number", "batch", "kind", "revision", "supersedes", "issued_at", "signed_by", "digest"]
    wanted = select(*(table.c[name] for name in names), gone.c.reason.label("withdrawn"))
    wanted = wanted.outerjoin(gone, gone.c.number == table.c.number).order_by(table.c.entry)
    with store.reading() as connection:
        if batch is not None:
            wanted = wanted.where(table.c.batch == known_batch(connection, batch))
        frame = listed(connection.execute(wanted))
    newer = {old: new for new, old in zip(frame["number"], frame["supersedes"], strict=True) if old}
    status = [
        "withdrawn" if isinstance(reason, str) else f"superseded by {newer[number]}" if number in newer else "in force"
        for number, reason in zip(frame["number"], frame["withdrawn"], strict=True)
    ]
    return frame.drop(columns="withdrawn").assign(status=pd.Series(status, dtype="str"))


def document_file(store: Store, number: str, form: str) -> bytes:
    """Return the bytes of a document in one of :data:`FORMS`, as they were recorded when it was issued.

    Raises
    ------
    RecordRefusedError
        There is no such number or form.
    """
    return _kept_file(store, Certificates, number, form)


def withdrawal_file(store: Store, number: str, form: str) -> bytes:
    """Return the bytes of the notice that withdraws a document, in one of :data:`FORMS`.

    Raises
    ------
    RecordRefusedError
        There is no such form, or no document of that number was withdrawn.
    """
    return _kept_file(store, Withdrawals, number, form)


def _kept_file(store: Store, model: type[Certificates | Withdrawals], number: str, form: str) -> bytes:
    table, what = table_of(model), "document" if model is Certificates else "withdrawn document"
    if form not in FORMS:
        raise RecordRefusedError(f"a document is kept as {', '.join(FORMS)} (given: {form!r})")
    with store.reading() as connection:
        digest = connection.execute(select(table.c[form]).where(table.c.number == number.strip())).scalar()
        if digest is None:
            raise RecordRefusedError(f"the store has no {what} {number.strip()!r}")
        return bytes(connection.execute(_content(digest)).scalar_one())


def _decided_turn(work: Writing, batch: str) -> Turn:
    known = known_batch(work.connection, batch)
    now, check = standing(work.connection, known), latest_check(work.connection, known)
    if now is None or check is None or now.state not in _DECIDED:
        state = now.state if now else "not taken in"
        raise RecordRefusedError(
            f"batch {known} is {state}; a document is issued when it is released, on hold or rejected"
        )
    return Turn(known, now, check)


def _document(work: Writing, turn: Turn, place: tuple[str, Any], language: str) -> Certificate:
    """Make the data of a document from the decided check; *place* is its number and the document before it."""
    now, (number, last) = turn.now, place
    check = _as_decided(stored_check(work.connection, turn.batch, now.check_version), turn)
    signed = table_of(Signatures)
    name = work.connection.execute(
        select(signed.c.name).where(signed.c.batch == turn.batch, signed.c.decision_version == now.version)
    ).scalar_one()
    against = f"Released by {name} against the recommendation to hold the batch. Written reason: {now.reason}"
    kept = KeptAs(
        revision=last["revision"] + 1 if last else 0, supersedes=last["number"] if last else "",
        override=against if now.override else "", record=str(work.before),
    )  # fmt: skip
    make = issue_certificate if now.state is State.RELEASED else issue_notice
    return make(check, number=number, signed_by=name, issued_at=work.act.at, kept=kept, language=language)


def _as_decided(check: BatchCheck, turn: Turn) -> BatchCheck:
    """Give a check that a person holds or rejects their reason and disposition; a release keeps the recommendation."""
    disposition, now = _DECIDED[turn.now.state], turn.now
    if disposition == Disposition.RELEASE:
        return check
    reason = Reason(disposition=disposition, code="decided", message=f"decided by {now.person}: {now.reason}")
    reasons = tuple(sorted((reason, *check.decision.reasons), key=Reason.weight))
    return replace(check, decision=replace(check.decision, disposition=disposition, reasons=reasons))


def _printed(certificate: Certificate, style: PaperStyle) -> Issued:
    from wqcheck.certificate_files.workbook import workbook_bytes
    from wqcheck.certificate_files.writing import pdf_bytes

    data = to_json(certificate).encode("utf-8")
    pdf = pdf_bytes(certificate, fonts=style.fonts, letterhead=style.letterhead)
    files = {"json": data, "pdf": pdf, "xlsx": workbook_bytes(certificate)}
    return Issued(certificate=certificate, files=files)


def _keep(work: Writing, turn: Turn, issued: Issued, place: tuple[str, int]) -> None:
    made = issued.certificate
    work.add(
        table_of(Certificates), number=made.number, series=place[0], ordinal=place[1], batch=turn.batch,
        kind=str(made.kind), revision=made.revision, supersedes=made.supersedes, check_version=turn.now.check_version,
        decision_version=turn.now.version, issued_at=made.issued_at, signed_by=made.signed_by, digest=made.digest,
        **{form: keep_file(work, content) for form, content in issued.files.items()},
    )  # fmt: skip


def _last_document(connection: Connection, batch: str) -> Any:
    table = table_of(Certificates)
    wanted = select(table).where(table.c.batch == batch).order_by(table.c.entry.desc()).limit(1)
    return connection.execute(wanted).mappings().first()


def _standing_documents(connection: Connection, batch: str) -> Sequence[Any]:
    """Give the documents of a batch that are neither superseded nor withdrawn."""
    table, gone = table_of(Certificates), table_of(Withdrawals)
    newer = table.alias()
    wanted = select(table).where(
        table.c.batch == batch,
        ~select(newer.c.entry).where(newer.c.supersedes == table.c.number).exists(),
        ~select(gone.c.entry).where(gone.c.number == table.c.number).exists(),
    )
    return connection.execute(wanted.order_by(table.c.entry)).mappings().all()


def _content(digest: str) -> Any:
    table = table_of(Files)
    return select(table.c.content).where(table.c.sha256 == digest)
