"""Turns a blank form into a workbook that a laboratory fills in and that the reader of sheets takes back."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from io import BytesIO
from math import ceil
from typing import Literal, TypeAlias

from openpyxl import Workbook
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE, Cell, MergedCell
from openpyxl.cell.rich_text import CellRichText, TextBlock
from openpyxl.cell.text import InlineFont
from openpyxl.formatting.rule import FormulaRule
from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.header_footer import HeaderFooterItem, _HeaderFooterPart
from openpyxl.worksheet.properties import PageSetupProperties
from openpyxl.worksheet.worksheet import Worksheet

from wqcheck.forms.blank_form import BlankForm, FormLine
from wqcheck.forms.notes import POINTS_HEADING, bottle_letters, bottle_rows, notes
from wqcheck.sheets.unread import REQUEST_SHEET

SHEET, BOTTLES, NOTES = REQUEST_SHEET, "Bottles", "How to fill in"
HEADER_ROW, FREE_ROWS = 11, 10
FIRST_ROW = HEADER_ROW + 1

WIDTHS = {
    "Sample ID": 12, "Sampling point": 22, "Parameter": 32, "Result": 13, "Unit": 16, "LOQ": 9, "Uncertainty": 12,
    "Method": 18, "Analysed": 16, "Strictest limit": 30, "Needed": 32, "Bottle": 8,
}  # fmt: skip
"""Heading → width of the table's columns, in characters."""

LABELS = (
    ("Plant", "Address", "Batch", "Product", "Line", "Tank"),
    ("Run start", "Run end", "Volume bottled", "Containers", "Container code", "Best before"),
    ("Sample ID", "Sampled", "Sampled by", "Received", "Laboratory", "Report number"),
)
"""Labels of the block above the table, in three columns; the reader tells an empty one by the known label after it."""

_LABEL_COLUMNS = (("A", "B", "C"), ("D", "F", "H"), ("I", "J", "L"))
"""Column of a label, and first and last column of its value."""

_DATED = frozenset({"Run start", "Run end", "Best before", "Sampled", "Received"})
_TO_FILL = frozenset({"Sample ID", "Sampling point", "Result", "Unit", "LOQ", "Uncertainty", "Method", "Analysed"})
_DATE_FORMAT = "yyyy-mm-dd hh:mm"
_COLUMN = {heading: get_column_letter(number) for number, heading in enumerate(WIDTHS, start=1)}

_INK, _GREY, _AMBER = "1F5F7A", "EEF2F4", "FFE8B8"
_FONT, _LINE_HEIGHT, _NOTE_WIDTH = "Calibri", 14.5, 118
_THIN = Side(style="thin", color="B8C4CA")
_BOX = Border(left=_THIN, right=_THIN, top=_THIN, bottom=_THIN)
_MIDDLE = Alignment(vertical="center", wrap_text=True)
_TOP = Alignment(vertical="top", wrap_text=True)
_TITLE, _LABEL = Font(_FONT, 16, bold=True, color=_INK), Font(_FONT, 11, bold=True, color="44545C")
_HEAD = {"font": Font(_FONT, 11, bold=True, color="FFFFFF"), "fill": PatternFill("solid", _INK), "border": _BOX}

_WORDS = ("absent", "present", "TNTC", "not tested")
_Kind: TypeAlias = Literal["custom", "date", "decimal", "list"]
_Operator: TypeAlias = Literal["greaterThan"]

_HINT = f"A number, or <0.5, >300, {', '.join(_WORDS)}. Leave it blank where nothing was ordered."


def form_bytes(form: BlankForm) -> bytes:
    """Return the workbook: the request, the bottles to take, and how to fill it in."""
    book = Workbook()
    request: Worksheet = book.active  # type: ignore[assignment]
    request.title = SHEET
    _write_bottles(book.create_sheet(BOTTLES), form)
    points = _write_notes(book.create_sheet(NOTES), form)
    _write_heads(request, form)
    _write_block(request, form)
    _write_lines(request, form)
    for rule in _validations(form, points):
        request.add_data_validation(rule)
    _mark_required(request, form)
    _set_up_print(book)
    buffer = BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def _last_row(form: BlankForm) -> int:
    return FIRST_ROW + len(form.lines) + FREE_ROWS - 1


def _put(cell: Cell | MergedCell, text: str) -> None:
    """Put in a text that no program takes for a formula."""
    cell.value = ILLEGAL_CHARACTERS_RE.sub("\ufffd", text) or None
    if text:
        cell.data_type = "s"
        cell.quotePrefix = text.startswith(("=", "+", "-", "@", "\t", "\r"))


def _height(text: str, width: float) -> float:
    """Return the height in points that a wrapped *text* takes in a column of *width* characters."""
    return _LINE_HEIGHT * max(1, ceil(len(text) / width))


def _style(cell: Cell | MergedCell, **style: object) -> None:
    for name, value in style.items():
        setattr(cell, name, value)


def _write_heads(sheet: Worksheet, form: BlankForm) -> None:
    """Write title, what the form asks for, the headings, and the widths of the columns."""
    asked = f"For {form.product} water. Compared with {'; '.join(form.sources)}. Required by {form.rules}."
    fill = "White cells are for you, amber ones first. Two more sheets say which bottles to take and how to fill in."
    for row, text, height in ((1, "Request for analysis", 26), (2, asked, 30), (3, fill, 16)):
        sheet.merge_cells(f"A{row}:L{row}")
        _put(sheet.cell(row, 1), text)
        _style(sheet.cell(row, 1), alignment=_MIDDLE, font=Font(_FONT, 11, color="44545C"))
        sheet.row_dimensions[row].height = height
    _style(sheet["A1"], font=_TITLE)
    for heading, width in WIDTHS.items():
        cell = sheet[f"{_COLUMN[heading]}{HEADER_ROW}"]
        _put(cell, heading)
        _style(cell, **_HEAD, alignment=Alignment(vertical="center"))
        sheet.column_dimensions[_COLUMN[heading]].width = width
    sheet.row_dimensions[HEADER_ROW].height = 22
    sheet.freeze_panes = f"D{FIRST_ROW}"
    sheet.auto_filter.ref = f"A{HEADER_ROW}:L{_last_row(form)}"
    sheet.sheet_view.showGridLines = False
    sheet.sheet_view.zoomScale = 90


def _write_block(sheet: Worksheet, form: BlankForm) -> None:
    """Write the labels of run and sample, each with an empty cell for its value."""
    given = {"Plant": form.plant}
    for labels, (label_column, first, last) in zip(LABELS, _LABEL_COLUMNS, strict=True):
        for row, label in enumerate(labels, start=HEADER_ROW - 1 - len(labels)):
            head, value = sheet[f"{label_column}{row}"], sheet[f"{first}{row}"]
            sheet.merge_cells(f"{first}{row}:{last}{row}")
            if label_column == "D":
                sheet.merge_cells(f"D{row}:E{row}")
            _put(head, label)
            _put(value, given.get(label, ""))
            _style(head, font=_LABEL, alignment=Alignment(vertical="center", horizontal="right"))
            _style(value, number_format=_DATE_FORMAT if label in _DATED else "@")
            _style(value, alignment=Alignment(vertical="center", horizontal="left", indent=1))
            for cell in sheet[f"{first}{row}:{last}{row}"][0]:
                _style(cell, border=_BOX)
            sheet.row_dimensions[row].height = 18
    sheet.row_dimensions[HEADER_ROW - 1].height = 8


def _write_lines(sheet: Worksheet, form: BlankForm) -> None:
    letters = bottle_letters(form)
    for row, line in enumerate([*form.lines, *[None] * FREE_ROWS], start=FIRST_ROW):
        texts = _texts(line, letters[line.bottle]) if line else {}
        for heading in WIDTHS:
            cell = sheet[f"{_COLUMN[heading]}{row}"]
            _put(cell, {"Sampling point": form.point}.get(heading, texts.get(heading, "")))
            _style(cell, border=_BOX, alignment=_MIDDLE, number_format=_format(heading))
            if heading not in _TO_FILL and (line or heading != "Parameter"):
                _style(cell, fill=PatternFill("solid", _GREY))
        _style(sheet[f"{_COLUMN['Result']}{row}"], alignment=Alignment(vertical="center", horizontal="right"))
        _style(sheet[f"{_COLUMN['Bottle']}{row}"], alignment=Alignment(vertical="center", horizontal="center"))
        sheet.row_dimensions[row].height = max(
            18.0, _height(texts.get("Strictest limit", ""), WIDTHS["Strictest limit"]) + 2
        )
        if line and line.need:
            _style(sheet[f"{_COLUMN['Parameter']}{row}"], font=Font(_FONT, 11, bold=True))


def _texts(line: FormLine, letter: str) -> Mapping[str, str]:
    return {
        "Parameter": line.name, "Unit": line.unit, "Strictest limit": line.limit, "Bottle": letter, "Needed": line.need,
    }  # fmt: skip


def _format(heading: str) -> str:
    """Return a cell format; text where a program would turn ``15%`` or ``3-5`` into something else."""
    return {"Analysed": _DATE_FORMAT, "Result": "General", "LOQ": "General"}.get(heading, "@")


def _validations(form: BlankForm, points: str) -> Iterator[DataValidation]:
    """Yield what each column offers and warns of; nothing is refused, for the reader says what it cannot read."""
    last = _last_row(form)
    whole = {heading: f"{letter}{FIRST_ROW}:{letter}{last}" for heading, letter in _COLUMN.items()}
    if points:
        yield _rule(whole["Sampling point"], "list", points, "This is no sampling point of the plant.")
    by_units: dict[str, list[int]] = {}
    counted = []
    for row, line in enumerate(form.lines, start=FIRST_ROW):
        by_units.setdefault(f'"{",".join(line.choices)}"', []).append(row)
        counted += [row] if line.volume_ml else []
    for units, rows in by_units.items():
        text = "This unit is not among the usual ones. It is read if it is a known unit."
        yield _rule(_cells("Unit", rows), "list", units, text)
    if counted:
        yield _rule(_cells("Result", counted), "list", f'"{",".join(_WORDS)}"', "", _HINT)
    others = sorted(set(range(FIRST_ROW, last + 1)) - set(counted))
    yield _rule(
        _cells("Result", others), "custom", _result_formula(f"D{others[0]}"),
        "This is neither a number nor one of the words and signs of the sheet of notes.", _HINT,
    )  # fmt: skip
    yield _rule(whole["LOQ"], "decimal", "0", "The LOQ is a number in the unit of the row.", operator="greaterThan")
    dates = [f"{first}{4 + labels.index(label)}" for labels, (_, first, _) in zip(LABELS, _LABEL_COLUMNS, strict=True)
             for label in labels if label in _DATED]  # fmt: skip
    yield _rule(
        " ".join([*dates, whole["Analysed"]]), "date", "36526", "Write the day as 2026-03-31.", operator="greaterThan"
    )


def _cells(heading: str, rows: Iterable[int]) -> str:
    """Return the cells of one column in *rows*, as ranges with blanks between."""
    runs: list[list[int]] = []
    for row in rows:
        if runs and row == runs[-1][1] + 1:
            runs[-1][1] = row
        else:
            runs.append([row, row])
    return " ".join(f"{_COLUMN[heading]}{first}:{_COLUMN[heading]}{last}" for first, last in runs)


def _result_formula(cell: str) -> str:
    words = ",".join(f'LOWER(TRIM({cell}))="{word.lower()}"' for word in _WORDS)
    return f'OR(ISNUMBER({cell}),LEFT(TRIM({cell}),1)="<",LEFT(TRIM({cell}),1)=">",{words})'


def _rule(
    cells: str, kind: _Kind, formula: str, warning: str, hint: str = "", operator: _Operator | None = None
) -> DataValidation:
    rule = DataValidation(type=kind, formula1=formula, operator=operator, allow_blank=True, sqref=cells)
    rule.errorStyle, rule.showErrorMessage = "warning", bool(warning)
    rule.errorTitle, rule.error = "Please look again", warning or None
    rule.showInputMessage, rule.promptTitle, rule.prompt = bool(hint), "Result" if hint else None, hint or None
    return rule


def _mark_required(sheet: Worksheet, form: BlankForm) -> None:
    """Colour the result of a required row until it is filled in."""
    need, result = (f"${_COLUMN[heading]}{FIRST_ROW}" for heading in ("Needed", "Result"))
    formula = f'AND(LEFT({need},8)="required",LEN({result})=0)'
    rule = FormulaRule(  # type: ignore[no-untyped-call]
        formula=[formula], fill=PatternFill("solid", bgColor=_AMBER), stopIfTrue=True
    )
    sheet.conditional_formatting.add(f"D{FIRST_ROW}:D{_last_row(form)}", rule)


def _write_bottles(sheet: Worksheet, form: BlankForm) -> None:
    """Write one row for each kind of bottle; no cell looks like a result."""
    widths = {"Letter": 8, "Take it for": 46, "What to take": 30, "How much": 24, "Add, and keep": 34,
              "Begin the analysis after at most": 24, "Where the hint comes from": 56}  # fmt: skip
    _put(sheet["A1"], "Bottles to take")
    _style(sheet["A1"], font=_TITLE)
    _put(
        sheet["A2"],
        "Hints only: what the laboratory and the regulator ask prevails. Where a source was not read, it says so.",
    )
    _grid(sheet, widths, bottle_rows(form), 4)
    sheet.freeze_panes = "A5"
    sheet.print_title_rows = "4:4"


def _grid(sheet: Worksheet, widths: Mapping[str, int], rows: Iterable[Sequence[str]], start: int) -> None:
    for number, (heading, width) in enumerate(widths.items(), start=1):
        _put(sheet.cell(start, number), heading)
        _style(sheet.cell(start, number), **_HEAD, alignment=_MIDDLE)
        sheet.column_dimensions[get_column_letter(number)].width = width
    for line, row in enumerate(rows, start=start + 1):
        for number, text in enumerate(row, start=1):
            _put(sheet.cell(line, number), text)
            _style(sheet.cell(line, number), border=_BOX, alignment=_TOP)
        sheet.row_dimensions[line].height = max(map(_height, row, widths.values())) + 4
    sheet.row_dimensions[start].height = 32
    sheet.sheet_view.showGridLines = False


def _write_notes(sheet: Worksheet, form: BlankForm) -> str:
    """Write the notes and the list of points below them; return the range of the points, blank without a train."""
    sheet.column_dimensions["A"].width = _NOTE_WIDTH
    sheet.sheet_view.showGridLines = False
    _put(sheet["A1"], NOTES)
    _style(sheet["A1"], font=_TITLE)
    row = 2
    for row, (lead, rest) in enumerate(notes(form), start=3):
        sheet.cell(row, 1).value = CellRichText(TextBlock(InlineFont(rFont=_FONT, sz=11, b=True), lead), f" {rest}")
        _style(sheet.cell(row, 1), alignment=_TOP)
        sheet.row_dimensions[row].height = _height(f"{lead} {rest}", _NOTE_WIDTH) + 4
    if not form.points:
        return ""
    _put(sheet.cell(row + 2, 1), POINTS_HEADING)
    _style(sheet.cell(row + 2, 1), font=_LABEL)
    for line, point in enumerate(form.points, start=row + 3):
        _put(sheet.cell(line, 1), point)
    return f"'{NOTES}'!$A${row + 3}:$A${row + 2 + len(form.points)}"


def _set_up_print(book: Workbook) -> None:
    for sheet in book.worksheets:
        sheet.page_setup.orientation = "landscape"
        sheet.page_setup.paperSize = sheet.PAPERSIZE_A4
        sheet.page_setup.fitToHeight = 0
        sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
        sheet.page_margins.left = sheet.page_margins.right = sheet.page_margins.top = 0.4
        sheet.HeaderFooter.oddFooter = HeaderFooterItem(
            left=_HeaderFooterPart(text="&A"), right=_HeaderFooterPart(text="&P / &N")
        )
    request = book[SHEET]
    request.print_area = f"A1:L{request.max_row}"
    request.print_title_rows = f"{HEADER_ROW}:{HEADER_ROW}"
    book.properties.title, book.properties.creator = "Request for analysis", "wqcheck"
