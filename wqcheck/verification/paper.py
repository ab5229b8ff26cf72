"""Turns the bytes of a paper (PDF, JSON or workbook) into a report of what can be checked of it offline."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from io import BytesIO

from wqcheck.certificate.data import Certificate, from_json, to_json
from wqcheck.certificate_files.letterhead import PLAIN, Letterhead
from wqcheck.certificate_files.view import SignatureLine
from wqcheck.certificate_files.workbook import workbook_bytes, workbook_json
from wqcheck.certificate_files.writing import document_stem, pdf_bytes
from wqcheck.errors import WqcheckError
from wqcheck.signatures.checking import SignatureCheck, check_signature, is_signed
from wqcheck.verification.recomputing import decision_problems, not_recomputable, verdict_problems
from wqcheck.verification.report import Check, Outcome, Report, from_problems

_LIMITS = (
    "who wrote the data (only a signature by a key that you know shows that), whether the laboratory's figures are "
    "true, whether the limits stand in the published texts, and whether the document was withdrawn later"
)


def verify_paper(content: bytes, *, letterhead: Letterhead = PLAIN) -> Report:
    """Check a paper with nothing but its own bytes.

    Parameters
    ----------
    content : bytes
        A PDF, the JSON, or the workbook of a certificate or notice.
    letterhead : Letterhead
        The head it was printed with; without it the print of a paper with a head cannot be compared byte for byte.

    Raises
    ------
    WqcheckError
        It is none of these files.
    """
    if content.startswith(b"%PDF"):
        return _verify_pdf(content, letterhead)
    if content.startswith(b"PK"):
        return _verify_workbook(content)
    if content.lstrip()[:1] == b"{":
        return _verify_json(content)
    raise WqcheckError("this is no PDF, JSON or workbook of a certificate; give the file as it was issued")


def _verify_json(content: bytes) -> Report:
    certificate, check = _data(content)
    if certificate is None:
        return Report((check,))
    return Report((check, *_recomputed(certificate)))


def _verify_workbook(content: bytes) -> Report:
    try:
        text = workbook_json(content)
    except Exception as error:  # a damaged zip fails in many ways, each of which is the answer
        return Report((_wrong("data in the workbook", f"they cannot be read ({error})"),))
    certificate, check = _data(text.encode("utf-8"))
    if certificate is None:
        return Report((check,))
    same = workbook_bytes(certificate) == content
    problem = [] if same else ["the workbook is not, byte for byte, the one that its data give"]
    return Report((check, *_recomputed(certificate), from_problems("sheets against data", problem, "byte for byte")))


def _verify_pdf(content: bytes, letterhead: Letterhead) -> Report:
    signature, signed = _signature(content)
    try:
        name, attached = _attachment(content)
    except Exception as error:  # a damaged PDF fails in many ways, each of which is the answer
        return Report((*signed, _wrong("attached data", f"they cannot be read ({error})")))
    certificate, check = _data(attached)
    if certificate is None:
        return Report((*signed, check))
    named = [] if name == f"{document_stem(certificate)}.json" else [f"the attached file has another name: {name}"]
    printed = content[: signature.printed_length] if signature else content
    line = signature.line if signature else None
    return Report(
        (
            *signed,
            check,
            from_problems("attached file", named, name),
            *_recomputed(certificate),
            _print_check(printed, certificate, letterhead, line),
        )
    )


def _recomputed(certificate: Certificate) -> tuple[Check, ...]:
    lines, series = len(certificate.results), not_recomputable(certificate)
    known = f"{lines - series} of {lines} follow from their limits and results"
    more = (
        f"{series} rest on a sampling plan over the units of a lot that they do not state with its figures, so these "
        "were not recomputed: set them beside the plan. Running averages and percentiles take "
        "results of many days, which no certificate of a batch holds; a line under such a rule is right only as "
        "undetermined"
    )
    unknown = Check(what="verdicts of series", outcome=Outcome.NOT_CHECKED, message=more)
    return (
        from_problems("verdicts", verdict_problems(certificate), known),
        from_problems(
            "decision", decision_problems(certificate), f"{certificate.disposition} follows from reasons and results"
        ),
        *([unknown] if series else []),
        Check(what="beyond this file", outcome=Outcome.NOT_CHECKED, message=_LIMITS),
    )


def _data(content: bytes) -> tuple[Certificate | None, Check]:
    try:
        text = content.decode("utf-8")
        certificate = from_json(text)
    except ValueError as error:
        return None, _wrong("data", str(error))
    if to_json(certificate) != text:
        return None, _wrong("data", "the content has its digest, but the file is not written as it was issued")
    return certificate, Check(what="data", outcome=Outcome.HOLDS, message=f"digest {certificate.digest}")


def _signature(content: bytes) -> tuple[SignatureCheck | None, tuple[Check, ...]]:
    what = "signature"
    if not is_signed(content):
        text = "not signed: only the data inside was checked, and that the print shows them"
        return None, (Check(what=what, outcome=Outcome.NOT_CHECKED, message=text),)
    try:
        found = check_signature(content)
    except ValueError as error:
        return None, (_wrong(what, str(error)),)
    line = found.line
    who = "self-signed, compare its SHA-256 with the one published" if line.self_signed else "see who issued it"
    good = f"by {line.name} at {line.at} (the plant's clock), certificate SHA-256 {line.fingerprint} ({who})"
    return found, (from_problems(what, found.problems, good),)


def _attachment(content: bytes) -> tuple[str, bytes]:
    from pypdf import PdfReader

    reader = PdfReader(BytesIO(content), strict=True)
    ((name, files),) = reader.attachments.items()
    (attached,) = files
    return name, attached


def _print_check(printed: bytes, certificate: Certificate, letterhead: Letterhead, line: SignatureLine | None) -> Check:
    what = "print against data"
    again = pdf_bytes(certificate, letterhead=letterhead, signature=line)
    if again == printed:
        return Check(what=what, outcome=Outcome.HOLDS, message="every byte of the print follows from the data")
    try:
        problems = list(_text_problems(printed, again))
    except Exception as error:  # a damaged PDF fails in many ways, each of which is the answer
        return _wrong(what, f"the print cannot be read ({error})")
    if problems:
        return from_problems(what, problems, "")
    return _wrong(
        what,
        "the words of the print are those of the data, but the file is not, byte for byte, what this version prints: "
        "it was changed, or printed with a letterhead (give it with --letterhead), fonts or another version",
    )


def _text_problems(printed: bytes, again: bytes) -> Iterator[str]:
    """Yield the words that only one of both prints has; where a line breaks does not matter."""
    found, wanted = Counter(_words(printed)), Counter(_words(again))
    lost, added = wanted - found, found - wanted
    if lost:
        yield f"the data say, and the print does not: {' '.join(list(lost)[:12])}"
    if added:
        yield f"the print says, and the data do not: {' '.join(list(added)[:12])}"


def _words(content: bytes) -> Iterator[str]:
    from pypdf import PdfReader

    for page in PdfReader(BytesIO(content)).pages:
        yield from page.extract_text().split()


def _wrong(what: str, message: str) -> Check:
    return Check(what=what, outcome=Outcome.WRONG, message=message)
