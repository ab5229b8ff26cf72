"""Turns a certificate into a workbook of plain text and numbers, in which nothing given can act as a formula."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO

from openpyxl import Workbook
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
from openpyxl.styles import Font
from openpyxl.worksheet.header_footer import HeaderFooterItem, _HeaderFooterPart
from openpyxl.worksheet.properties import PageSetupProperties
from openpyxl.worksheet.worksheet import Worksheet

from wqcheck.certificate.data import Certificate
from wqcheck.certificate.lines import ResultLine, reported_unit
from wqcheck.certificate_files.sheet_cells import add_sheet as _sheet

_RESULT_COLUMNS = {
    "Verdict": 16, "Parameter": 24, "Required": 10, "Sample": 14, "Point": 14, "Reported": 14, "Unit": 16,
    "Compared": 20, "Limit": 20, "Limit table": 22, "Clause": 22, "Limit text": 24, "Reason": 46, "Method": 22,
    "Laboratory": 20, "Read from": 34, "Compared from": 14, "Compared to": 14, "Lower limit": 12, "Upper limit": 12,
    "Limit unit": 14, "Decision rule": 22, "U": 12, "U from": 30, "Guard band": 12, "Probability of conformity": 14,
    "Reporting limit, % of limit": 14, "Sum, lower bound": 12, "Sum, middle": 12, "Sum, upper bound": 12,
}  # fmt: skip


def workbook_bytes(certificate: Certificate) -> bytes:
    """Write the certificate's sheets, from its entries and results to the files that it rests on."""
    book = Workbook()
    del book["Sheet"]
    _sheet(book, "Certificate", {"Entry": 26, "Content": 90}, _entries(certificate))
    results = _sheet(book, "Results", _RESULT_COLUMNS, map(_result, (*certificate.results, *certificate.without_limit)))
    _embolden(results, ("fail", "conditional fail", "undetermined"))
    _sheet(book, "Working", {"Result": 40, "Verdict": 18, "Read from": 34, "Step": 18, "What it gives": 100},
           ((working.result, working.verdict, working.where, step.title, step.text)
            for working in certificate.workings for step in working.steps))  # fmt: skip
    _sheet(book, "Stages", {"Stage": 28, "Parameter": 24, "Point before": 16, "Before": 16, "Point after": 16,
                            "After": 16, "Unit": 10, "Removal": 14, "Removal %": 12, "log10 removal": 12,
                            "Bound": 12, "Remark": 50},
           ((s.stage, s.name, s.inlet_point, s.inlet, s.outlet_point, s.outlet, s.unit, s.removal, s.removal_percent,
             s.log_removal, s.bound, s.reason) for s in certificate.stages))  # fmt: skip
    missing = certificate.missing
    untested = dict.fromkeys((*missing, *certificate.not_tested))
    _sheet(book, "Not tested", {"Parameter with a limit and no result": 50, "Required": 12},
           ((name, "required" if name in missing else "") for name in untested))  # fmt: skip
    _sheet(book, "Samples", {"Sample": 20, "Point": 20, "Taken": 18, "Received": 24, "Analysed": 24, "Laboratory": 30,
                             "Results": 10},
           ((s.sample, s.point, s.sampled, s.received, s.analysed, s.laboratory, s.results)
            for s in certificate.samples))  # fmt: skip
    _sheet(book, "Findings", {"Weight": 10, "What": 80, "Where": 40, "Given": 30},
           ((f.severity, f.message, f.where, f.given) for f in certificate.findings))  # fmt: skip
    _sheet(book, "Files", {"Kind": 16, "File": 40, "Title and edition": 50, "SHA-256": 70},
           ((f.kind, f.name, f.title, f.sha256) for f in certificate.files))  # fmt: skip
    _set_up_print(book, certificate)
    buffer = BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def _entries(certificate: Certificate) -> list[tuple[str, str]]:
    batch = certificate.batch
    rows = [
        ("Document", certificate.kind),
        ("Number", certificate.number),
        ("Issued", certificate.issued_at),
        ("Decision", str(certificate.disposition).upper()),
        *(("Reason", " ".join(filter(None, (r.message, r.where and f"(at {r.where})")))) for r in certificate.reasons),
        *(("Next step", step) for step in certificate.next_steps),
        *(("Statement", part) for part in certificate.statement),
        *(("Decision rule", f"{entry.table}: {entry.rule}") for entry in certificate.decision_rules),
        ("Plant", batch.plant),
        ("Address", batch.address),
        ("Batch", batch.batch),
        ("Product", ", ".join(filter(None, (batch.product_name, str(batch.product))))),
        ("Line", batch.line),
        ("Tank", batch.tank),
        ("Run started", batch.run_start),
        ("Run ended", batch.run_end),
        ("Volume", batch.volume),
        ("Containers", batch.containers),
        ("Container codes", batch.container_codes),
        ("Best before", batch.best_before),
        ("Laboratory", batch.laboratory),
        ("Sampled by", batch.sampled_by),
        ("Remarks", batch.remarks),
        ("Caution", certificate.caution),
        ("Signed by", certificate.signed_by),
        ("Software", certificate.software),
        ("Content digest (SHA-256)", certificate.digest),
    ]
    return [(entry, str(content)) for entry, content in rows if content]


def _result(line: ResultLine) -> tuple[str | float | None, ...]:
    return (
        line.verdict,
        line.name,
        "required" if line.required else "",
        line.sample,
        line.point,
        line.reported,
        reported_unit(line),
        line.compared,
        line.limit,
        line.table,
        line.clause,
        line.unverified,
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
    for sheet in book.worksheets:
        sheet.page_setup.orientation = "landscape"
        sheet.page_setup.paperSize = sheet.PAPERSIZE_A4
        sheet.page_setup.fitToHeight = 0
        sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
        sheet.print_title_rows = "1:1"
        sheet.HeaderFooter.oddFooter = HeaderFooterItem(
            left=_HeaderFooterPart(text=footer), right=_HeaderFooterPart(text="&P / &N")
        )
    book.properties.title = f"{certificate.kind} {number}"
    book.properties.creator = ILLEGAL_CHARACTERS_RE.sub("\ufffd", certificate.signed_by)
