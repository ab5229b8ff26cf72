"""Turns a certificate and its data into what print shows of them, in the language of the paper."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from itertools import groupby
from typing import Any

from wqcheck.certificate.data import Certificate, CertificateKind
from wqcheck.certificate.figures import compared_words, limit_text, removal_text, unit_words
from wqcheck.certificate.lines import UNVERIFIED, ResultLine, StageLine, parameter_name, reported_unit
from wqcheck.certificate.withdrawal import withdrawal_parts
from wqcheck.certificate.words import next_steps, statement, withdrawal_statement, withdrawal_steps
from wqcheck.certificate_files.code import code_svg
from wqcheck.certificate_files.letterhead import PLAIN, Letterhead
from wqcheck.explanation import STEP_TITLES
from wqcheck.findings import Severity
from wqcheck.languages.catalogues import Catalogue
from wqcheck.limit_tables.acts import short_titles
from wqcheck.release.decision import CAUTION, Disposition, Reason
from wqcheck.tables import Product, Rule, Verdict

DATA_WORDS = (
    *(str(word) for words in (CertificateKind, Disposition, Verdict, Product, Severity) for word in words),
    *("workbook", "limit table", "train", "release rules", "withdrawn", UNVERIFIED, CAUTION),
    *("sampling plans", "sheet layout", "judging rules", "permitted uncertainties", *STEP_TITLES),
)
"""Words and sentences of the data that print translates; all other text of the data stays as it is."""

_MOST_PARTS, _MOST_WORDS = 6, 1_200
"""So many limits of one result, and characters of their reasons, stay together on a page."""

_TABLE = re.compile(r"\[limit table (.*?)\]")


@dataclass(frozen=True, slots=True, kw_only=True)
class SignatureLine:
    """What a paper says of its electronic signature: the signer, when (ISO 8601), and the certificate's SHA-256."""

    name: str
    at: str
    fingerprint: str
    self_signed: bool


def view_of(
    certificate: Certificate,
    data: dict[str, Any],
    say: Catalogue,
    letterhead: Letterhead = PLAIN,
    signature: SignatureLine | None = None,
) -> dict[str, Any]:
    """Add to the certificate's data what only print needs, and put it into the words of its language."""
    return {
        **data,
        **_sentences(certificate, say),
        **_reasons(certificate.reasons),
        "results": _results(certificate, say),
        "decision_rules": [{**rule, "table": table_words(rule["table"])} for rule in data["decision_rules"]],
        "without_limit": [_result(line, say) for line in certificate.without_limit],
        "stages": [
            _stage(line, data_line, say) for line, data_line in zip(certificate.stages, data["stages"], strict=True)
        ],
        "unread": [{"where": cell.where, "text": cell.text} for cell in certificate.unread],
        "title": f"{say(data['kind']).capitalize()} {data['number']}",
        "issued": _issued(certificate, say),
        "revision": certificate.revision,
        "supersedes": certificate.supersedes,
        "withdrawal": _withdrawal(certificate, say),
        "signer": withdrawal_parts(certificate.withdrawn)[1] if certificate.withdrawn else certificate.signed_by,
        "words": dict(say.messages),
        "rtl": say.leftwards,
        "qr": code_svg(certificate),
        "letterhead": _head(letterhead),
        "signature": asdict(signature) if signature else None,
        "replaced": False,
    }


def moment_of(certificate: Certificate) -> datetime:
    """Give when a document was issued; a time without zone counts as UTC."""
    moment = datetime.fromisoformat(certificate.issued_at)
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)


def sentences(certificate: Certificate, say: Catalogue) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Give the statement and the next steps again from the lines of a document, in any language."""
    batch = certificate.batch.batch
    if certificate.withdrawn:
        return withdrawal_statement(certificate.number, say), withdrawal_steps(batch, say)
    doubts = sum(finding.severity == Severity.HOLD for finding in certificate.findings)
    lines, missing = certificate.results, certificate.missing
    said = statement(certificate.disposition, lines, missing, say)
    override = (certificate.override,) if certificate.override else ()
    return (*override, *said), next_steps(certificate.disposition, batch, lines, missing, doubts, say)


def _sentences(certificate: Certificate, say: Catalogue) -> dict[str, Any]:
    said, steps = sentences(certificate, say)
    return {"statement": list(said), "next_steps": list(steps)}


def _issued(certificate: Certificate, say: Catalogue) -> str:
    zone = certificate.issued_at[19:]
    return say.day(moment_of(certificate)) + (f" (UTC{zone})" if zone else "")


def _withdrawn_at(text: str, say: Catalogue) -> str:
    try:
        return say.day(datetime.fromisoformat(text)) + (f" (UTC{text[19:]})" if text[19:] else "")
    except ValueError:
        return text


def table_words(name: str) -> str:
    """Name a limit table as a person knows it: a shipped one in a few words, an own one by its file."""
    return short_titles().get(name, name.replace("_", " "))


def _results(certificate: Certificate, say: Catalogue) -> list[dict[str, Any]]:
    """Put what neighbouring lines say of one result together: the result once, and a part for each of its limits."""
    books = {stamp.name for stamp in certificate.files if stamp.kind == "workbook"}
    shown = []
    for (_, _, cell), lines in groupby(certificate.results, key=lambda line: (line.parameter, line.sample, line.cell)):
        place = cell.partition("|")[2] if len(books) == 1 and "|" in cell else cell
        for parts in _on_one_page([_result(line, say) for line in lines]):
            shown.append({**parts[0], "cell": place, "limits": parts})
    return shown


def _on_one_page(parts: Sequence[dict[str, Any]]) -> Iterator[list[dict[str, Any]]]:
    """Yield *parts* in runs that surely fit on a page together; a part too long for that stands alone."""
    run: list[dict[str, Any]] = []
    for part in parts:
        if run and (len(run) == _MOST_PARTS or sum(len(each["reason"]) for each in (*run, part)) > _MOST_WORDS):
            yield run
            run = []
        run.append(part)
    yield run


def _result(line: ResultLine, say: Catalogue) -> dict[str, Any]:
    unit = line.limit_unit
    return {
        **asdict(line),
        "table": table_words(line.table),
        "plan": line.rule == Rule.ATTRIBUTE_PLAN,
        "unit_text": reported_unit(line, say),
        "limit": limit_text(line.rule, line.limit_lower, line.limit_upper, unit, say) if line.rule else line.limit,
        "compared": compared_words(line.compared, unit, say),
    }


def _stage(line: StageLine, data: dict[str, Any], say: Catalogue) -> dict[str, Any]:
    removal = removal_text(line.removal_percent, line.bound, say)
    return {**data, "removal": removal, "unit": unit_words(line.unit, say)}


def _withdrawal(certificate: Certificate, say: Catalogue) -> dict[str, str] | None:
    if not certificate.withdrawn:
        return None
    at, by, reason = withdrawal_parts(certificate.withdrawn)
    return {"at": _withdrawn_at(at, say), "by": by, "reason": reason}


def _head(letterhead: Letterhead) -> dict[str, Any] | None:
    if not (letterhead.lines or letterhead.logo):
        return None
    return {"lines": list(letterhead.lines), "logo": list(letterhead.logo)}


def _reasons(reasons: Sequence[Reason]) -> dict[str, Any]:
    against = [reason for reason in reasons if reason.disposition != Disposition.RELEASE]
    return {
        "headlines": _headlines(against),
        "against": [_printed_reason(reason) for reason in against],
        "noted": [_printed_reason(reason) for reason in reasons if reason not in against],
    }


def _headlines(against: Sequence[Reason]) -> list[dict[str, Any]]:
    """Give one reason per parameter, the gravest first, with how many more there are about it."""
    groups: dict[str, list[Reason]] = {}
    for reason in against:
        groups.setdefault(reason.parameter or reason.message, []).append(reason)
    return [{**_printed_reason(reasons[0]), "more": len(reasons) - 1} for reasons in groups.values()]


def _printed_reason(reason: Reason) -> dict[str, Any]:
    """Split off the name of the parameter, where the message begins with it, so that it can be set in bold."""
    name, message = parameter_name(reason.parameter) if reason.parameter else "", reason.message
    begins = message.lower().startswith(name.lower())
    name, message = (message[: len(name)], message[len(name) :]) if begins else (name, f": {message}")
    message = _TABLE.sub(lambda found: f"[{table_words(found[1])}]", message)
    return {"name": name, "message": message, "where": reason.where, "more": 0}
