"""Turns a limit table into an editable copy, a workbook or a CSV file, that loads back cell for cell."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from wqcheck.errors import WqcheckError
from wqcheck.limit_tables.cells import guarded
from wqcheck.limit_tables.columns import ANY_PRODUCT, COLUMNS, EVIDENCE, EXPLAINED, NUMBER_COLUMNS, is_number
from wqcheck.parameters import catalogue
from wqcheck.tables import LimitClass, Product, Rule
from wqcheck.units import COUNT_UNITS

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

LIMITS_SHEET, WORDS_SHEET = "Limits", "Words"
SPARE_ROWS = 500
"""Empty rows below the last limit that keep text format and drop-down lists."""

_WIDTHS = {
    "parameter": 30, "rule": 14, "lower": 9, "upper": 11, "unit": 10, "basis": 10, "volume_ml": 11, "members": 30,
    "weights": 14, "product": 28, "class": 16, "status": 14, "valid_from": 12, "valid_to": 12, "source": 44,
    "clause": 26, "evidence": 40, "note": 60,
}  # fmt: skip
_LISTED = {"parameter": "A", "rule": "B", "unit": "C", "product": "D", "class": "E", "evidence": "F"}
"""Column with a drop-down list → its column in the sheet of words."""

_OPEN_LISTS = frozenset({"unit", "product", "evidence"})
"""Columns whose list only proposes: other units, several products, or where the row was read, may be typed."""

_FURTHER_UNITS = ("ng/L", "µg/L", "mg/L", "pCi/L", "mrem")


class CopyRefusedError(WqcheckError, ValueError):
    """A copy of a limit table was asked for under a name that cannot be written; the text says why."""


def write_copy(cells: pd.DataFrame, path: Path) -> None:
    """Write *cells* to a new file that a spreadsheet program can edit and ``load_limits`` reads back.

    Parameters
    ----------
    cells : DataFrame
        Text cells of :func:`wqcheck.limit_tables.loading.limit_cells`, one row per limit; left as they are.
    path : Path
        Ends in ``.xlsx`` or ``.csv``.

    Raises
    ------
    CopyRefusedError
        The ending is neither, or the file exists: nothing is overwritten.
    """
    writers = {".xlsx": workbook_bytes, ".csv": csv_bytes}
    if path.suffix.lower() not in writers:
        raise CopyRefusedError(f"a copy of a limit table is a .xlsx or a .csv file (given: {path.name!r})")
    content = writers[path.suffix.lower()](cells)
    try:
        with path.open("xb") as file:
            file.write(content)
    except FileExistsError:
        raise CopyRefusedError(f"{path} exists already and is not overwritten; choose another name") from None
    except OSError as problem:
        raise CopyRefusedError(f"{path} cannot be written ({problem.strerror}); choose another folder") from None


def csv_bytes(cells: pd.DataFrame) -> bytes:
    """Return *cells* as CSV with a UTF-8 mark, by which spreadsheet programs know µ; formula-like text is guarded."""
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows([guarded(text) for text in row] for row in cells[list(COLUMNS)].to_numpy().tolist())
    return buffer.getvalue().encode("utf-8-sig")


def workbook_bytes(cells: pd.DataFrame) -> bytes:
    """Return *cells* as a workbook: a sheet of limits and one of the words that its drop-down lists offer."""
    from openpyxl import Workbook  # noqa: PLC0415 loading a CSV table needs no workbook library

    book = Workbook()
    del book["Sheet"]
    sheet: Worksheet = book.create_sheet(LIMITS_SHEET)
    _head(sheet)
    _fill(sheet, cells)
    words: Worksheet = book.create_sheet(WORDS_SHEET)
    sizes = _fill_words(words, set(cells["unit"]))
    _offer(sheet, sizes, len(cells) + SPARE_ROWS)
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def _head(sheet: Worksheet) -> None:
    from openpyxl.comments import Comment  # noqa: PLC0415
    from openpyxl.styles import Alignment, Border, Font, Side  # noqa: PLC0415
    from openpyxl.utils import get_column_letter  # noqa: PLC0415

    for number, column in enumerate(COLUMNS, start=1):
        cell = sheet.cell(1, number, column)
        cell.font, cell.border = Font(bold=True), Border(bottom=Side(style="thin"))
        comment = Comment(EXPLAINED[column], "wqcheck")
        comment.width, comment.height = 340, 40 + 18 * (len(EXPLAINED[column]) // 42)
        cell.comment = comment
        dimension = sheet.column_dimensions[get_column_letter(number)]
        dimension.width = _WIDTHS[column]
        dimension.alignment = Alignment(vertical="top")
        dimension.number_format = "General" if column in NUMBER_COLUMNS else "@"
    sheet.freeze_panes = "B2"


def _fill(sheet: Worksheet, cells: pd.DataFrame) -> None:
    """Put numbers in as numbers that show their decimals, and everything else as text that no program computes."""
    for line, row in enumerate(cells[list(COLUMNS)].to_numpy().tolist(), start=2):
        for number, (column, text) in enumerate(zip(COLUMNS, row, strict=True), start=1):
            cell = sheet.cell(line, number)
            number_format = _number_format(text) if column in NUMBER_COLUMNS else ""
            if number_format:
                cell.value, cell.number_format = float(text), number_format
                continue
            cell.number_format = "General" if column in NUMBER_COLUMNS else "@"
            if text:
                cell.value = text
                cell.data_type = "s"
                cell.quotePrefix = text[0] in "=+-@'"
    sheet.auto_filter.ref = sheet.dimensions


def _number_format(text: str) -> str:
    """Return the format in which a number cell shows *text* exactly, blank where it must stay text."""
    if not is_number(text):
        return ""
    decimals = len(text.partition(".")[2])
    shown = f"{float(text):.{decimals}f}" if decimals < 30 else ""
    return ("0." + "0" * decimals if decimals else "0") if shown == text else ""


def offered_words(used_units: set[str]) -> dict[str, list[str]]:
    """Return the words that are offered in a column, for the columns that have such a list."""
    usual = {entry.unit for entry in catalogue().values()}
    units = sorted({*usual, *used_units, *COUNT_UNITS, *_FURTHER_UNITS} - {""})
    return {
        "parameter": sorted(catalogue()), "rule": [*map(str, Rule)], "unit": units, "class": [*map(str, LimitClass)],
        "product": [ANY_PRODUCT, *map(str, Product), "packaged;spring;natural mineral;purified"],
        "evidence": [*(f"{word}: " for word in EVIDENCE[:2]), EVIDENCE[2]],
    }  # fmt: skip


def _fill_words(sheet: Worksheet, used_units: set[str]) -> dict[str, int]:
    """Write the lists of words, one a column, and return how many words each has."""
    from openpyxl.styles import Font  # noqa: PLC0415

    lists = offered_words(used_units)
    for column, letter in _LISTED.items():
        sheet[f"{letter}1"] = column
        sheet[f"{letter}1"].font = Font(bold=True)
        sheet.column_dimensions[letter].width = _WIDTHS[column]
        for line, word in enumerate(lists[column], start=2):
            cell = sheet[f"{letter}{line}"]
            cell.value, cell.data_type, cell.number_format = str(word), "s", "@"
    sheet.freeze_panes = "A2"
    return {column: len(words) for column, words in lists.items()}


def _offer(sheet: Worksheet, sizes: dict[str, int], rows: int) -> None:
    """Attach the drop-down lists to the limits and to the spare rows below them."""
    from openpyxl.utils import get_column_letter  # noqa: PLC0415
    from openpyxl.worksheet.datavalidation import DataValidation  # noqa: PLC0415

    for column, letter in _LISTED.items():
        listed = f"{WORDS_SHEET}!${letter}$2:${letter}${sizes[column] + 1}"
        offered = DataValidation(type="list", formula1=listed, allow_blank=True, showErrorMessage=False)
        if column not in _OPEN_LISTS:
            offered.showErrorMessage = True
            offered.error, offered.errorTitle = f"Choose a word of the list ({column}).", "Not in the list"
        place = get_column_letter(COLUMNS.index(column) + 1)
        offered.add(f"{place}2:{place}{rows + 1}")
        sheet.add_data_validation(offered)
