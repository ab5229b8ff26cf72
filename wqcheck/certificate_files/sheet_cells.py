"""Turns rows of plain values into a sheet of a workbook in which nothing given can act as a formula."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from openpyxl import Workbook
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE, Cell, MergedCell
from openpyxl.styles import Alignment, Border, Font, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.properties import PageSetupProperties
from openpyxl.worksheet.worksheet import Worksheet

_LONGEST = 32_767  # characters in one cell, ECMA-376 / the spreadsheet's own limit
WRAP = Alignment(wrap_text=True, vertical="top")
RULE = Border(bottom=Side(style="thin"))


def add_sheet(book: Workbook, title: str, widths: dict[str, int], rows: Iterable[Sequence[Any]]) -> Worksheet:
    """Add one sheet with a bold, frozen and repeated header row."""
    sheet: Worksheet = book.create_sheet(title)
    for number, (heading, width) in enumerate(widths.items(), start=1):
        cell = sheet.cell(1, number)
        fill(cell, heading)
        cell.font, cell.border = Font(bold=True), RULE
        sheet.column_dimensions[get_column_letter(number)].width = width
    for line, row in enumerate(rows, start=2):
        for number, content in enumerate(row, start=1):
            fill(sheet.cell(line, number), content)
    sheet.freeze_panes = "A2"
    sheet.auto_filter.ref = sheet.dimensions
    return sheet


def set_up_print(book: Workbook) -> None:
    """Let every sheet print in landscape on A4, as wide as the page, with its headings on each page."""
    for sheet in book.worksheets:
        sheet.page_setup.orientation = "landscape"
        sheet.page_setup.paperSize = sheet.PAPERSIZE_A4
        sheet.page_setup.fitToHeight = 0
        sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
        sheet.print_title_rows = "1:1"


def fill(cell: Cell | MergedCell, content: Any) -> None:
    """Put a number in as a number and everything else as text that no program takes for a formula."""
    cell.alignment = WRAP
    if content is None or isinstance(content, int | float):
        cell.value = content
        return
    text = ILLEGAL_CHARACTERS_RE.sub("\ufffd", str(content))
    cell.value = text if len(text) <= _LONGEST else f"{text[: _LONGEST - 1]}…"
    cell.data_type = "s"
    cell.quotePrefix = text.startswith(("=", "+", "-", "@", "\t", "\r"))
