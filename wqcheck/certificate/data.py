"""Turns a checked batch into a certificate or a notice: plain data, the same byte for byte for the same inputs.

The JSON form is canonical: UTF-8, keys sorted, two spaces of indent, one line feed at the end. Its ``content_digest``
is the SHA-256 of the same text without the ``content_digest`` line, so anyone can check a file without this package::

    grep -v '^  "content_digest": ' CERTIFICATE.json | sha256sum
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, fields, replace
from datetime import datetime
from enum import StrEnum
from typing import Any, TypeVar

from wqcheck import __version__
from wqcheck.certificate.kept import NOT_KEPT, RECORDED, KeptAs
from wqcheck.certificate.lines import (
    ResultLine,
    SampleLine,
    StageLine,
    in_order,
    parameter_name,
    plain_text,
    result_lines,
    sample_lines,
    stage_lines,
)
from wqcheck.certificate.unread import UnreadCell, unread_cells
from wqcheck.certificate.words import next_steps, statement
from wqcheck.errors import ReleaseRefusedError
from wqcheck.explanation import Explanation, Step, explain
from wqcheck.findings import Severity
from wqcheck.judging.rules import RuleStatement
from wqcheck.languages.catalogues import SOURCE, catalogue
from wqcheck.release.decision import CAUTION, BatchCheck, BatchDetails, Disposition, FileStamp, Reason
from wqcheck.tables import Judged, LimitClass, Verdict

SCHEMA = "wqcheck certificate 2"

Record = TypeVar("Record", BatchDetails, Reason, FileStamp, RuleStatement, Explanation, Step)

_REJECTING = (LimitClass.HEALTH, LimitClass.MICROBIOLOGICAL, LimitClass.RADIOLOGICAL)


class CertificateKind(StrEnum):
    """What a document is; only the first one lets a batch leave the plant."""

    RELEASE = "certificate of batch release"
    HOLD = "hold notice"
    REJECT = "reject notice"
    WITHDRAWAL = "withdrawal notice"


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingLine:
    """One finding about the data, as :class:`wqcheck.findings.Finding`."""

    code: str
    severity: str
    message: str
    where: str
    given: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Certificate:
    """A certificate or a notice.

    ``results`` are judged against a limit, those that ask for a decision first; ``without_limit`` were tested but no
    limit listed in ``files`` binds them. ``missing`` are required and not tested; ``not_tested`` have a binding limit
    and no result (both by name). ``unread`` are cells that look like results and were not read. ``issued_at`` is ISO
    8601 text, ``language`` that of the printed paper: the data are always in English. ``decision_rules`` say how each
    limit table was judged; ``workings`` show every step of each result that is not a plain pass. The last five come
    from a record store and are left out of the JSON where they are blank; :class:`KeptAs` explains four of them,
    ``withdrawn`` says since when and why the document no longer holds.
    """

    kind: CertificateKind
    number: str
    issued_at: str
    signed_by: str
    software: str
    batch: BatchDetails
    disposition: Disposition
    reasons: tuple[Reason, ...]
    statement: tuple[str, ...]
    next_steps: tuple[str, ...]
    required: tuple[str, ...]
    missing: tuple[str, ...]
    not_tested: tuple[str, ...]
    samples: tuple[SampleLine, ...]
    results: tuple[ResultLine, ...]
    without_limit: tuple[ResultLine, ...]
    stages: tuple[StageLine, ...]
    findings: tuple[FindingLine, ...]
    files: tuple[FileStamp, ...]
    decision_rules: tuple[RuleStatement, ...] = ()
    workings: tuple[Explanation, ...] = ()
    unread: tuple[UnreadCell, ...] = ()
    language: str = SOURCE
    caution: str = CAUTION
    schema: str = SCHEMA
    revision: int = 0
    supersedes: str = ""
    override: str = ""
    record: str = ""
    withdrawn: str = ""

    @property
    def digest(self) -> str:
        """SHA-256 (hexadecimal) of the canonical JSON without its ``content_digest`` line."""
        return _digest(_data(self))


def issue_certificate(
    check: BatchCheck,
    *,
    number: str,
    signed_by: str,
    issued_at: datetime,
    kept: KeptAs = NOT_KEPT,
    language: str = SOURCE,
) -> Certificate:
    """Issue a certificate of batch release.

    Parameters
    ----------
    check : BatchCheck
        Its disposition must be *release*, with nothing missing and no failing health, microbiological or
        radiological row.
    number, signed_by : str
        The plant's certificate number and the authorised person; neither may be blank.
    issued_at : datetime
        When it is signed; no clock is read here.
    kept : KeptAs
        What a record store adds. An override releases a batch that is recommended to be held, never one to be rejected.
    language : str
        Language of the printed paper, a key of :data:`wqcheck.languages.catalogues.LANGUAGES`.

    Raises
    ------
    ReleaseRefusedError
        When the batch may not be released; the error says why.
    """
    overridden = kept.override.strip() != "" and check.decision.disposition == Disposition.HOLD
    obstacles = _blank_entries(number, signed_by) + (_guarded(check) if overridden else _obstacles(check))
    if obstacles:
        raise ReleaseRefusedError(check.details.batch, str(check.decision.disposition), obstacles)
    document = _document(check, CertificateKind.RELEASE, (number, signed_by, issued_at), kept)
    return replace(document, language=catalogue(language).language)


def issue_notice(
    check: BatchCheck,
    *,
    number: str,
    signed_by: str,
    issued_at: datetime,
    kept: KeptAs = NOT_KEPT,
    language: str = SOURCE,
) -> Certificate:
    """Issue a hold notice or a reject notice, whichever the decision says (arguments as for a certificate).

    Raises
    ------
    ReleaseRefusedError
        When the disposition is *release*, or the number or the name is blank.
    """
    kinds = {Disposition.HOLD: CertificateKind.HOLD, Disposition.REJECT: CertificateKind.REJECT}
    kind = kinds.get(check.decision.disposition)
    obstacles = _blank_entries(number, signed_by)
    if kind is None or obstacles:
        wrong = [] if kind else ["a notice is written for hold and reject only; issue a certificate instead"]
        raise ReleaseRefusedError(check.details.batch, str(check.decision.disposition), obstacles + wrong)
    document = _document(check, kind, (number, signed_by, issued_at), kept)
    return replace(document, language=catalogue(language).language)


def _blank_entries(number: str, signed_by: str) -> list[str]:
    entries = {"the number of the document": number, "the name of the person who signs": signed_by}
    return [f"{what} is blank; give it" for what, text in entries.items() if not text.strip()]


def _obstacles(check: BatchCheck) -> list[str]:
    decision = check.decision
    if decision.disposition != Disposition.RELEASE:
        against = [reason for reason in decision.reasons if reason.disposition != Disposition.RELEASE]
        return [reason.message for reason in against] or ["no reason was recorded"]
    holds = [finding.message for finding in check.findings if finding.severity == Severity.HOLD]
    missing = [f"{parameter_name(code)} is required and has no result" for code in decision.missing]
    return missing + _guarded(check) + holds


def _guarded(check: BatchCheck) -> list[str]:
    """Give what no reason can override: results that fail a health, microbiological or radiological limit."""
    judged = check.judged
    failing = judged[judged[Judged.verdict].eq(Verdict.FAIL) & judged[Judged.limit_class].isin(list(_REJECTING))]
    names = [parameter_name(code) for code in failing[Judged.parameter].dropna().drop_duplicates()]
    return [f"{name} exceeds its limit" for name in names]


def _document(
    check: BatchCheck, kind: CertificateKind, signature: tuple[str, str, datetime], kept: KeptAs
) -> Certificate:
    number, signed_by, issued_at = signature
    decision = check.decision
    disposition = Disposition.RELEASE if kind == CertificateKind.RELEASE else decision.disposition
    override = plain_text(kept.override).strip()
    lines = result_lines(check.judged, decision.required)
    judged = tuple(line for line in lines if line.verdict != Verdict.NO_LIMIT)
    missing = _names(decision.missing)
    doubts = sum(finding.severity == Severity.HOLD for finding in check.findings)
    return Certificate(
        kind=kind,
        number=plain_text(number).strip(),
        issued_at=issued_at.isoformat(timespec="seconds"),
        signed_by=plain_text(signed_by).strip(),
        software=f"wqcheck {__version__}",
        batch=_printable(check.details),
        disposition=disposition,
        reasons=tuple(map(_printable, decision.reasons)),
        statement=(*([override] if override else []), *statement(disposition, judged, missing)),
        next_steps=next_steps(disposition, plain_text(check.details.batch), judged, missing, doubts),
        required=_names(decision.required),
        missing=missing,
        not_tested=_names(decision.not_tested),
        samples=sample_lines(check.readings, check.judged, check.stages, check.details.batch),
        results=judged,
        without_limit=tuple(line for line in lines if line.verdict == Verdict.NO_LIMIT),
        stages=stage_lines(check.stages),
        findings=tuple(
            FindingLine(**{key: plain_text(value) for key, value in asdict(finding).items()})
            for finding in check.findings
        ),
        files=tuple(map(_printable, check.files)),
        unread=unread_cells(check.ledger),
        revision=kept.revision,
        supersedes=plain_text(kept.supersedes),
        override=override,
        record=kept.record,
        decision_rules=tuple(map(_printable, check.decision_rules)),
        workings=_workings(check),
    )


def _workings(check: BatchCheck) -> tuple[Explanation, ...]:
    """Give the working of each judged result that is no plain pass, those that ask for a decision first."""
    flagged = check.judged[~check.judged[Judged.verdict].isin([Verdict.PASS, Verdict.NO_LIMIT])]
    found = explain(in_order(flagged, check.decision.required), check.decision_rules)
    return tuple(replace(_printable(working), steps=tuple(map(_printable, working.steps))) for working in found)


def _printable(record: Record) -> Record:
    """Give the same record with text that UTF-8 can carry."""
    given = {field.name: getattr(record, field.name) for field in fields(record)}
    texts: dict[str, Any] = {name: plain_text(text) for name, text in given.items() if type(text) is str}
    return replace(record, **texts)


def _names(codes: Sequence[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(parameter_name(code) for code in codes))


def to_json(certificate: Certificate) -> str:
    """Write a certificate as canonical JSON, its digest included."""
    data = _data(certificate)
    return _canonical({**data, "content_digest": _digest(data)})


def from_json(text: str) -> Certificate:
    """Read a certificate back from its JSON.

    Raises
    ------
    ValueError
        When the text is not a certificate of this form, or its content does not match its digest.
    """
    if not verify_digest(text):
        raise ValueError("this is not a certificate as it was issued: its content does not match its content_digest")
    data = json.loads(text)
    del data["content_digest"]
    if data.get("schema") != SCHEMA or set(data) | set(RECORDED) != {f.name for f in fields(Certificate)}:
        raise ValueError(f"this certificate has another form than {SCHEMA!r}; read it with the version that wrote it")
    try:
        return Certificate(**{**data, **_records(data)})
    except (TypeError, KeyError) as error:
        raise ValueError(f"this certificate has a record that {SCHEMA!r} does not know: {error}") from error


def _data(certificate: Certificate) -> dict[str, Any]:
    """Give a certificate as plain data, without the fields of a record store that are blank."""
    return {key: value for key, value in asdict(certificate).items() if key not in RECORDED or value}


def _records(data: dict[str, Any]) -> dict[str, Any]:
    kinds: dict[str, Callable[..., Any]] = {
        "reasons": _reason,
        "samples": SampleLine,
        "results": ResultLine,
        "without_limit": ResultLine,
        "stages": StageLine,
        "findings": FindingLine,
        "files": FileStamp,
        "unread": UnreadCell,
        "decision_rules": RuleStatement,
        "workings": _working,
    }
    return {
        **{key: tuple(value) for key, value in data.items() if isinstance(value, list)},
        **{key: tuple(kind(**row) for row in data[key]) for key, kind in kinds.items()},
        "kind": CertificateKind(data["kind"]),
        "disposition": Disposition(data["disposition"]),
        "batch": BatchDetails(**data["batch"]),
    }


def _reason(**row: str) -> Reason:
    return Reason(**{**row, "disposition": Disposition(row["disposition"])})  # type: ignore[arg-type]


def _working(**row: Any) -> Explanation:
    return Explanation(**{**row, "steps": tuple(Step(**step) for step in row["steps"])})


def verify_digest(json_text: str) -> bool:
    """Tell whether a certificate's JSON still has the content its ``content_digest`` was made from.

    Spacing and key order may differ; a key that stands twice never verifies.
    """
    try:
        data = json.loads(json_text, object_pairs_hook=_unique_keys)
        digest = data.pop("content_digest")
        return bool(digest == _digest(data))
    except (ValueError, AttributeError, KeyError, TypeError, UnicodeEncodeError, RecursionError):
        return False


def _unique_keys(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    if len({key for key, _ in pairs}) < len(pairs):
        raise ValueError("a key stands twice")
    return dict(pairs)


def _digest(data: dict[str, Any]) -> str:
    return hashlib.sha256(_canonical(data).encode("utf-8")).hexdigest()


def _canonical(data: dict[str, Any]) -> str:
    return json.dumps(data, ensure_ascii=False, sort_keys=True, indent=2, allow_nan=False) + "\n"
