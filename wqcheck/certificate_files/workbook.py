"""Turns a certificate into a workbook of plain text and numbers, in which nothing given can act as a formula."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from io import BytesIO
from typing import Any
from zipfile import ZIP_DEFLATED, BadZipFile, ZipFile, ZipInfo

from openpyxl import Workbook, load_workbook
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
from openpyxl.styles import Font
from openpyxl.utils.exceptions import InvalidFileException
from openpyxl.worksheet.header_footer import HeaderFooterItem, _HeaderFooterPart
from openpyxl.worksheet.worksheet import Worksheet

from wqcheck.certificate.data import Certificate, to_json
from wqcheck.certificate.figures import compared_words, limit_text
from wqcheck.certificate.lines import ResultLine, reported_unit
from wqcheck.certificate_files.sheet_cells import add_sheet, set_up_print
from wqcheck.certificate_files.view import moment_of, sentences
from wqcheck.languages.catalogues import Catalogue, catalogue

_PIECE = 30_000
_CLOCK = re.compile(rb"(<dcterms:(?:created|modified)[^>]*>)[^<]*<")
_SHEETS = {
    "Certificate": {"Entry": 26, "Content": 90},
    "Results": {
        "Verdict": 16, "Parameter": 24, "Required": 10, "Sample": 14, "Point": 14, "Reported": 14, "Unit": 16,
        "Compared": 20, "Limit": 20, "Limit table": 22, "Clause": 22, "Limit text": 24, "Reason": 46, "Method": 22,
        "Laboratory": 20, "Read from": 34, "Compared from": 14, "Compared to": 14, "Lower limit": 12,
        "Upper limit": 12, "Limit unit": 14, "Decision rule": 22, "U": 12, "U from": 30, "Guard band": 12,
        "Probability of conformity": 14, "Reporting limit, % of limit": 14, "Sum, lower bound": 12,
        "Sum, middle": 12, "Sum, upper bound": 12,
    },
    "Working": {"Result": 40, "Verdict": 18, "Read from": 34, "Step": 18, "What it gives": 100},
    "Stages": {
        "Stage": 28, "Parameter": 24, "Point before": 16, "Before": 16, "Point after": 16, "After": 16, "Unit": 10,
        "Removal": 14, "Removal %": 12, "log10 removal": 12, "Bound": 12, "Remark": 50,
    },
    "Not tested": {"Parameter with a limit and no result": 50, "Required": 12},
    "Not read": {"Where": 40, "Text": 30, "Part in the sheet": 16, "Reason": 60},
    "Samples": {
        "Sample": 20, "Point": 20, "Taken": 18, "Received": 24, "Analysed": 24, "Laboratory": 30, "Results": 10,
    },
    "Findings": {"Weight": 10, "What": 80, "Where": 40, "Given": 30},
    "Files": {"Kind": 16, "File": 40, "Title and edition": 50, "SHA-256": 70},
}  # fmt: skip
_ENTRIES = (
    "Document", "Number", "Issued", "Revision", "Replaces", "Withdrawn", "Decision", "Reason", "Next step",
    "Statement", "Decision rule", "Plant", "Address", "Batch", "Product", "Line", "Tank", "Run started", "Run ended",
    "Volume", "Containers", "Container codes", "Best before", "Laboratory", "Sampled by", "Remarks", "Caution",
    "Signed by", "Software", "Content digest (SHA-256)",
)  # fmt: skip
DATA_SHEET = "Data"
"""Its rows are the lines of the certificate's JSON, a long line cut over several cells."""
WORKBOOK_WORDS = (*_SHEETS, *(heading for headings in _SHEETS.values() for heading in headings), *_ENTRIES)
"""Titles, headings and entries of the workbook in English, for the catalogues."""


def workbook_bytes(certificate: Certificate) -> bytes:
    """Write the certificate's sheets in its language, and its JSON; the same certificate gives the same bytes."""
    say = catalogue(certificate.language)
    book = Workbook()
    del book["Sheet"]
    for title, rows in _rows(certificate, say).items():
        sheet = add_sheet(book, say(title), {say(heading): width for heading, width in _SHEETS[title].items()}, rows)
        sheet.sheet_view.rightToLeft = say.leftwards
        if title == "Results":
            _embolden(sheet, [say(verdict) for verdict in ("fail", "conditional fail", "undetermined")])
    add_sheet(book, DATA_SHEET, {"JSON": 120}, _json_rows(to_json(certificate)))
    _set_up_print(book, certificate)
    buffer = BytesIO()
    book.save(buffer)
    return steady(buffer.getvalue(), moment_of(certificate))


def _rows(certificate: Certificate, say: Catalogue) -> dict[str, Iterable[Sequence[Any]]]:
    """Give the rows of each sheet; a withdrawal notice keeps its results in the data alone."""
    results = () if certificate.withdrawn else (*certificate.results, *certificate.without_limit)
    workings = () if certificate.withdrawn else certificate.workings
    missing = certificate.missing
    untested = () if certificate.withdrawn else dict.fromkeys((*missing, *certificate.not_tested))
    return {
        "Certificate": _entries(certificate, say),
        "Results": (_result(line, say) for line in results),
        "Working": (
            (working.result, say(working.verdict), working.where, say(step.title), step.text)
            for working in workings for step in working.steps
        ),
        "Stages": (
            (s.stage, s.name, s.inlet_point, s.inlet, s.outlet_point, s.outlet, s.unit, s.removal, s.removal_percent,
             s.log_removal, s.bound, s.reason) for s in certificate.stages
        ),
        "Not tested": ((name, say("required") if name in missing else "") for name in untested),
        "Not read": ((cell.where, cell.text, cell.role, cell.reason) for cell in certificate.unread),
        "Samples": (
            (s.sample, s.point, s.sampled, s.received, s.analysed, s.laboratory, s.results)
            for s in certificate.samples
        ),
        "Findings": ((say(f.severity), f.message, f.where, f.given) for f in certificate.findings),
        "Files": ((say(f.kind), f.name, f.title, f.sha256) for f in certificate.files),
    }  # fmt: skip


def _json_rows(text: str) -> Iterable[Sequence[str]]:
    return ([line[start : start + _PIECE] for start in range(0, len(line), _PIECE)] for line in text.splitlines())


def workbook_json(content: bytes) -> str:
    """Read the certificate's JSON back from the sheet ``Data`` of its workbook.

    Raises
    ------
    ValueError
        It is no workbook, or has no such sheet.
    """
    try:
        book = load_workbook(BytesIO(content), read_only=True)
        rows = book[DATA_SHEET].iter_rows(min_row=2, values_only=True)
        return "".join("".join(str(cell) for cell in row if cell is not None) + "\n" for row in rows)
    except (KeyError, OSError, BadZipFile, InvalidFileException) as error:
        raise ValueError(f"this is no workbook of a certificate ({error})") from error


def steady(content: bytes, moment: datetime) -> bytes:
    """Write a workbook again with the time of issue in place of the clock's, so that its bytes never change."""
    stamp = max(moment, datetime(1980, 1, 1, tzinfo=moment.tzinfo)).timetuple()[:6]
    steady = BytesIO()
    with ZipFile(BytesIO(content)) as old, ZipFile(steady, "w", ZIP_DEFLATED) as new:
        for name in old.namelist():
            part = old.read(name)
            if name == "docProps/core.xml":
                part = _CLOCK.sub(rf"\g<1>{moment.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}<".encode(), part)
            new.writestr(ZipInfo(name, stamp), part, ZIP_DEFLATED)
    return steady.getvalue()


def _entries(certificate: Certificate, say: Catalogue) -> list[tuple[str, str]]:
    batch = certificate.batch
    said, steps = sentences(certificate, say)
    product = ", ".join(filter(None, (batch.product_name, say(str(batch.product)))))
    decision = say("withdrawn") if certificate.withdrawn else say(str(certificate.disposition))
    head = (say(certificate.kind), certificate.number, certificate.issued_at, str(certificate.revision or ""),
            certificate.supersedes, certificate.withdrawn, decision.upper())  # fmt: skip
    facts = (batch.plant, batch.address, batch.batch, product, batch.line, batch.tank, batch.run_start, batch.run_end,
             batch.volume, batch.containers, batch.container_codes, batch.best_before, batch.laboratory,
             batch.sampled_by, batch.remarks, say(certificate.caution), certificate.signed_by, certificate.software,
             certificate.digest)  # fmt: skip
    reasons = [" ".join(filter(None, (r.message, r.where and f"(at {r.where})"))) for r in certificate.reasons]
    rows = [
        *zip(_ENTRIES[:7], head, strict=True),
        *(("Reason", text) for text in reasons),
        *(("Next step", step) for step in steps),
        *(("Statement", part) for part in said),
        *(("Decision rule", f"{entry.table}: {entry.rule}") for entry in certificate.decision_rules),
        *zip(_ENTRIES[11:], facts, strict=True),
    ]
    return [(say(entry), str(content)) for entry, content in rows if content]


def _result(line: ResultLine, say: Catalogue) -> tuple[str | float | None, ...]:
    limit = limit_text(line.rule, line.limit_lower, line.limit_upper, line.limit_unit, say)
    return (
        say(line.verdict),
        line.name,
        say("required") if line.required else "",
        line.sample,
        line.point,
        line.reported,
        reported_unit(line, say),
        compared_words(line.compared, line.limit_unit, say),
        limit if line.rule else line.limit,
        line.table,
        line.clause,
        say(line.unverified) if line.unverified else "",
        line.reason,
        line.method,
        line.laboratory,
        line.cell,
        line.compared_low,
        line.compared_high,
        line.limit_lower,
        line.limit_upper,
        line.limit_unit,
        line.decision_rule,
        line.uncertainty,
        line.uncertainty_source,
        line.guard_band,
        line.conformity,
        line.loq_percent,
        line.sum_lower,
        line.sum_middle,
        line.sum_upper,
    )


def _embolden(sheet: Worksheet, verdicts: Sequence[str]) -> None:
    for row in sheet.iter_rows(min_row=2):
        if row[0].value in verdicts:
            for cell in row:
                cell.font = Font(bold=True)
            row[0].value = str(row[0].value).upper()


def _set_up_print(book: Workbook, certificate: Certificate) -> None:
    number = ILLEGAL_CHARACTERS_RE.sub("\ufffd", certificate.number)
    footer = f"{number[:100]} – {certificate.digest[:16]}".replace("&", "&&")
    set_up_print(book)
    for sheet in book.worksheets:
        sheet.HeaderFooter.oddFooter = HeaderFooterItem(
            left=_HeaderFooterPart(text=footer), right=_HeaderFooterPart(text="&P / &N")
        )
    book.properties.title = f"{certificate.kind} {number}"
    book.properties.creator = ILLEGAL_CHARACTERS_RE.sub("\ufffd", certificate.signed_by)
