"""Turns the invented plant's figures into the workbooks and CSV files of ``sample_results/``, the same ones every time.

Run ``python -m tests.make_sample_results`` after changing a figure; a test compares what it writes with what is there.
"""

from __future__ import annotations

import csv
import random
import sys
from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from pathlib import Path

from openpyxl import Workbook
from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from tests.sample_panels import (
    ADDRESS,
    CLEAN_DAY,
    CLEAN_LOG,
    CLEAN_RUN,
    COMMISSIONING,
    CONCENTRATE,
    FAULTY_DAY,
    FAULTY_LAST,
    FRENCH_HEADINGS,
    HISTORY_HEADINGS,
    LABORATORY,
    PLANT,
    PLANT_LOG_HEADINGS,
    POINT_NAMES,
    TROUBLED_RUN,
    rows_of,
)

FOLDER = Path(__file__).parent.parent / "sample_results"
CellValue = str | float | int | datetime | None
STAMP = "yyyy-mm-dd hh:mm"
HEADING_FILL = PatternFill("solid", fgColor="DCE6EA")
THIN = Side(style="thin", color="9AA5AB")
GRID = Border(left=THIN, right=THIN, top=THIN, bottom=THIN)


def typed(text: str) -> CellValue:
    """Give the cell a number where the text is one, nothing where it is blank, and the text itself otherwise."""
    if not text:
        return None
    try:
        return float(text) if "." in text else int(text)
    except ValueError:
        return text


def decimals_format(text: str) -> str:
    """Show as many decimals as the laboratory wrote."""
    return "0." + "0" * len(text.split(".")[1]) if "." in text else "0"


def put(sheet: Worksheet, row: int, column: int, value: CellValue, number_format: str = "General") -> None:
    """Write one cell of the results grid."""
    cell = sheet.cell(row, column, value)
    cell.border = GRID
    cell.alignment = Alignment(horizontal="left" if column == 1 else "center", vertical="center")
    cell.number_format = number_format


def put_result(sheet: Worksheet, row: int, column: int, text: str) -> None:
    """Write one result as the laboratory shows it: numbers as numbers, everything else as text."""
    value = typed(text)
    put(sheet, row, column, value, decimals_format(text) if isinstance(value, int | float) else "General")


def put_headings(sheet: Worksheet, row: int, headings: Sequence[str]) -> None:
    """Write a heading row of the results grid."""
    for column, heading in enumerate(headings, start=1):
        put(sheet, row, column, heading or None)
        cell = sheet.cell(row, column)
        cell.font = Font(bold=True)
        cell.fill = HEADING_FILL
        cell.alignment = Alignment(horizontal="center", vertical="center", wrap_text=True)
    sheet.row_dimensions[row].height = 32


def put_letterhead(sheet: Worksheet, title: str, details: Mapping[str, CellValue], columns: tuple[int, int]) -> int:
    """Write laboratory, title and the labelled details in two blocks that start in ``columns``; give the next free row.

    Each label stands in one cell and its value in the next.
    """
    sheet["A1"] = LABORATORY
    sheet["A1"].font = Font(bold=True, size=14)
    sheet["A2"] = title
    sheet["A2"].font = Font(size=12, color="44545C")
    items = list(details.items())
    half = (len(items) + 1) // 2
    span = columns[1] - columns[0] - 2
    for place, (label, value) in enumerate(items):
        row, column = 4 + place % half, columns[place // half]
        sheet.cell(row, column, label).font = Font(bold=True)
        cell = sheet.cell(row, column + 1, value)
        cell.alignment = Alignment(horizontal="left")
        cell.number_format = STAMP if isinstance(value, datetime) else "General"
        sheet.merge_cells(start_row=row, end_row=row, start_column=column + 1, end_column=column + span)
    return 4 + half + 1


def put_footer(sheet: Worksheet, row: int, lines: Sequence[str]) -> None:
    """Write the small print below the results."""
    for place, line in enumerate(lines):
        sheet.cell(row + place, 1, line).font = Font(italic=True, size=9, color="44545C")


def lay_out(sheet: Worksheet, widths: Sequence[float], freeze: str) -> None:
    """Set column widths, the frozen heading and a landscape page as wide as the sheet."""
    for column, width in enumerate(widths, start=1):
        sheet.column_dimensions[get_column_letter(column)].width = width
    sheet.freeze_panes = freeze
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.paperSize = 9  # A4
    sheet.page_setup.fitToHeight = 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True  # type: ignore[union-attr]
    sheet.oddFooter.center.text = "Page &P of &N"  # type: ignore[union-attr]


def new_book(title: str) -> tuple[Workbook, Worksheet]:
    """Start a workbook whose properties do not change from run to run."""
    book = Workbook()
    book.properties.creator = LABORATORY
    book.properties.created = book.properties.modified = datetime(2026, 1, 1)
    sheet = book.worksheets[0]
    sheet.title = title
    return book, sheet


def commissioning_crosstab() -> Workbook:
    """Write an analyte per row, sampling point per column: the whole train on one day."""
    return crosstab(rows_of(COMMISSIONING), POINT_NAMES, "SCW-2025-0412", "C-01")


def commissioning_day(panel: str, report: str, batch: str) -> Workbook:
    """Write a day of the train with its concentrate: the panel above with the rows of *panel* in place."""
    own = {cells[0]: cells[1:] for cells in rows_of(panel)}
    strong = dict(rows_of(CONCENTRATE))
    rows = []
    for parameter, unit, method, *results in rows_of(COMMISSIONING):
        taken = own.get(parameter, results)
        rows.append([parameter, unit, method, *taken[:6], strong.get(parameter, ""), *taken[6:]])
    points = (*POINT_NAMES[:6], ("CON", "RO concentrate"), *POINT_NAMES[6:])
    return crosstab(rows, points, report, batch)


def crosstab(rows: Sequence[Sequence[str]], points: Sequence[tuple[str, str]], report: str, batch: str) -> Workbook:
    """Write an analyte per row and a sampling point per column, one day."""
    book, sheet = new_book("Commissioning")
    details: dict[str, CellValue] = {
        "Plant:": PLANT,
        "Address:": ADDRESS,
        "Report no.:": report,
        "Batch:": batch,
        "Sampled:": datetime(2025, 5, 20, 8, 30),
        "Received:": datetime(2025, 5, 20, 11, 15),
        "Analysed:": datetime(2025, 5, 20, 12, 0),
        "Sampled by:": "Commissioning team (invented)",
    }
    first = put_letterhead(sheet, "Commissioning of the treatment train: results by sampling point", details, (1, 8))
    put_headings(sheet, first, ["Parameter", "Unit", "Method", *(code for code, _ in points)])
    for place, (parameter, unit, method, *results) in enumerate(rows, start=first + 1):
        for column, text in enumerate((parameter, unit, method), start=1):
            put(sheet, place, column, text)
        for column, text in enumerate(results, start=4):
            put_result(sheet, place, column, text)
    named = [f"{code} {name}" for code, name in points]
    notes = [
        f"Sampling points: {'; '.join(named[:5])};",
        f"{'; '.join(named[5:])}.",
        "<: below the limit of quantification. ND: none of the components detected. Absent: none found in the volume.",
        "The results relate only to the samples received. All names and figures are invented.",
    ]
    put_footer(sheet, first + len(rows) + 2, notes)
    lay_out(sheet, [34, 13, 15, *[11] * len(points)], f"D{first + 1}")
    return book


def faulty_log() -> list[list[str]]:
    """Give the log of the faulty plant: the clean one with its newest rows changed, in United States units."""
    newest = {row[0]: row for row in rows_of(FAULTY_LAST)}
    return [in_us_units(newest.get(row[0], row)) for row in rows_of(CLEAN_LOG)]


def in_us_units(row: Sequence[str]) -> list[str]:
    """Give flows in gal/min, pressures in psi and the temperature in °F, as gauges in the United States do."""
    flows = [f"{float(text) / 0.2271247:.2f}" for text in row[1:4]]
    pressures = [f"{float(text) * 14.503774:.2f}" for text in row[4:7]]
    drop = f"{float(row[12]) * 14.503774:.2f}"
    return [row[0], *flows, *pressures, f"{float(row[7]) * 1.8 + 32:.1f}", *row[8:12], drop, *row[13:]]


def plant_log_faults() -> Workbook:
    """Write the log of the faulty plant: a row per week, units in the headings."""
    book, sheet = new_book("Log")
    sheet["A1"] = PLANT
    sheet["A1"].font = Font(bold=True, size=14)
    sheet["A2"] = "Readings taken on Tuesdays by the shift. All names and figures are invented."
    us = PLANT_LOG_HEADINGS.replace("(m3/h)", "(gal/min)").replace("(bar)", "(psi)").replace("(°C)", "(°F)")
    put_headings(sheet, 4, us.split("|"))
    sheet.row_dimensions[4].height = 48
    for place, (day, *readings, remark) in enumerate(faulty_log(), start=5):
        put(sheet, place, 1, datetime.fromisoformat(day), "yyyy-mm-dd")
        for column, text in enumerate((*readings, remark), start=2):
            put_result(sheet, place, column, text)
    lay_out(sheet, [12, *[13] * 20, 26], "B5")
    return book


def run_details(batch: str, report: str, start: datetime) -> dict[str, CellValue]:
    """Give what the sheet of a bottling run says about the run itself."""
    return {
        "Plant:": PLANT,
        "Address:": ADDRESS,
        "Report no.:": report,
        "Batch:": batch,
        "Product:": "Purified drinking water, 1.5 L bottle",
        "Line:": "Line 1",
        "Tank:": "Product tank T-20",
        "Run start:": start,
        "Run end:": start + timedelta(hours=5, minutes=30),
        "Volume bottled:": "27,360 L",
        "Containers:": "18,240 bottles",
        "Container code:": f"{batch} L1 0001 to {batch} L1 18240",
        "Laboratory:": LABORATORY,
        "Sampled by:": "Shift sampler 2 (invented)",
    }


def run_clean() -> Workbook:
    """Write a result per row: a full panel on the finished product, all of it well within the limits."""
    book, sheet = new_book("Results")
    details = run_details("B2107", "SCW-2026-0533", datetime(2026, 6, 16, 6, 10))
    first = put_letterhead(sheet, "Test report: bottling run B2107, finished product", details, (1, 7))
    headings = ["Parameter", "Result", "Unit", "LOQ", "Uncertainty (k=2)", "Method", "Sample ID", "Batch"]
    put_headings(sheet, first, [*headings, "Sampling point", "Sampled", "Received", "Analysed"])
    sampled, received = datetime(2026, 6, 16, 8, 40), datetime(2026, 6, 16, 10, 50)
    rows = rows_of(CLEAN_RUN)
    for place, (parameter, result, unit, loq, uncertainty, method, hours) in enumerate(rows, start=first + 1):
        put(sheet, place, 1, parameter)
        put_result(sheet, place, 2, result)
        put(sheet, place, 3, unit)
        put_result(sheet, place, 4, loq)
        put_result(sheet, place, 5, uncertainty)
        for column, text in enumerate((method, "26-06-1187", "B2107", "FP"), start=6):
            put(sheet, place, column, text)
        for column, moment in enumerate((sampled, received, received + timedelta(hours=int(hours))), start=10):
            put(sheet, place, column, moment, STAMP)
    notes = [
        "FP: finished product at the filler. LOQ: limit of quantification. <: below it. Uncertainty: expanded, k = 2.",
        "The results relate only to the sample received. All names and figures are invented.",
    ]
    put_footer(sheet, first + len(rows) + 2, notes)
    lay_out(sheet, [33, 10, 14, 9, 13, 15, 17, 10, 11, 17, 17, 17], f"B{first + 1}")
    return book


def run_trouble() -> Workbook:
    """Write a sample per row, the unit in a second heading row: a run with nearly every fault."""
    book, sheet = new_book("Run B2108")
    start = datetime(2026, 6, 17, 6, 5)
    details = run_details("B2108", "SCW-2026-0537", start)
    first = put_letterhead(sheet, "Test report: bottling run B2108, three bottles of the run", details, (1, 7))
    rows = rows_of(TROUBLED_RUN)
    put_headings(sheet, first, ["Sample ID", "Batch", "Sampling point", "Sampled", "Received", *(r[0] for r in rows)])
    put_headings(sheet, first + 1, ["", "", "", "", "", *(row[1] for row in rows)])
    sheet.row_dimensions[first + 1].height = 16
    received = datetime(2026, 6, 17, 13, 20)
    for place in range(3):
        row = first + 2 + place
        for column, text in enumerate((f"26-06-119{place + 2}", "B2108", "FP"), start=1):
            put(sheet, row, column, text)
        put(sheet, row, 4, start + timedelta(hours=2.5 * place, minutes=15), STAMP)
        put(sheet, row, 5, received, STAMP)
        for column, cells in enumerate(rows, start=6):
            put_result(sheet, row, column, cells[2 + place])
    notes = [
        "Bottles taken at the start, in the middle and at the end of the run. FP: finished product at the filler.",
        "E. coli: report to follow. TNTC: too numerous to count. <: below the limit of quantification.",
        "The results relate only to the samples received. All names and figures are invented.",
    ]
    put_footer(sheet, first + 7, notes)
    lay_out(sheet, [15, 9, 10, 16, 16, *[15] * len(rows)], f"D{first + 2}")
    sheet.page_setup.fitToWidth = 2
    sheet.print_title_cols = "A:C"
    return book


def figure(value: float, decimals: int, smallest: float = 0.0) -> str:
    """Write a figure with the laboratory's decimals, as ``<`` its limit of quantification where it is smaller."""
    return f"<{smallest:g}" if value < smallest else f"{value:.{decimals}f}"


def history_week(week: int, chance: random.Random) -> list[str]:
    """Give one week's results on the finished product: as the membranes age, more salt and bromate pass."""

    def around(middle: float, spread: float) -> float:
        return middle * (1 + spread * (2 * chance.random() - 1))

    day = date(2025, 6, 24) + timedelta(weeks=week)
    conductivity = around(54 + 0.62 * week, 0.04)
    return [
        day.isoformat(),
        f"B{1100 + 10 * week + 3}",
        "FP",
        figure(around(6.25, 0.02), 1),
        figure(conductivity, 0),
        figure(conductivity * 0.59, 0),
        figure(around(0.08, 0.5), 2, 0.05),
        figure(conductivity * 0.255, 1),
        figure(around(1.5 + 0.006 * week, 0.08), 1),
        figure(around(0.41 + 0.0025 * week, 0.04), 2),
        figure(around(0.45 + 0.006 * week, 0.3), 1, 0.5),
        figure(around(0.15, 0.6), 1, 0.2),
        figure(around(0.35 + 0.022 * week, 0.2), 1, 0.5),
        figure(around(0.13, 0.2), 2, 0.10),
        figure(around(4.0, 0.95), 0, 1),
        "Absent",
        "Absent",
        "Absent",
    ]


def history() -> list[list[str]]:
    """Give twelve months of weekly results, heading row first."""
    chance = random.Random(2025)
    return [HISTORY_HEADINGS.split(","), *(history_week(week, chance) for week in range(52))]


def history_french() -> list[list[str]]:
    """Give the last quarter of the history as a French spreadsheet writes it: day first, decimal comma."""
    kept = [0, 1, 2, 3, 4, 6, 7, 8, 9, 10, 11, 12, 15, 16, 17]
    rows = []
    for week in history()[-13:]:
        year, month, day = week[0].split("-")
        cells = [week[column].replace(".", ",").replace("Absent", "Absence") for column in kept]
        rows.append([f"{day}/{month}/{year}", *cells[1:]])
    return [FRENCH_HEADINGS.split(";"), *rows]


def write_csv(path: Path, rows: Sequence[Sequence[str]], delimiter: str, encoding: str) -> None:
    """Write rows with the given delimiter and encoding."""
    with path.open("w", encoding=encoding, newline="") as file:
        csv.writer(file, delimiter=delimiter, lineterminator="\n").writerows(rows)


def write_sample_results(folder: Path) -> tuple[Path, ...]:
    """Write all sample files into a folder and give their paths."""
    books = {
        "commissioning_crosstab.xlsx": commissioning_crosstab(),
        "commissioning_clean.xlsx": commissioning_day(CLEAN_DAY, "SCW-2025-0418", "C-02"),
        "commissioning_faults.xlsx": commissioning_day(FAULTY_DAY, "SCW-2025-0419", "C-03"),
        "plant_log_faults.xlsx": plant_log_faults(),
        "run_B2107_clean.xlsx": run_clean(),
        "run_B2108_trouble.xlsx": run_trouble(),
    }
    for name, book in books.items():
        book.save(folder / name)
    write_csv(folder / "history_2025_2026_wide.csv", history(), ",", "utf-8")
    write_csv(folder / "history_semicolon.csv", history_french(), ";", "utf-8-sig")
    write_csv(folder / "plant_log_clean.csv", [PLANT_LOG_HEADINGS.split("|"), *rows_of(CLEAN_LOG)], ",", "utf-8")
    texts = ("history_2025_2026_wide.csv", "history_semicolon.csv", "plant_log_clean.csv")
    return tuple(folder / name for name in (*books, *texts))


if __name__ == "__main__":
    for written in write_sample_results(FOLDER):
        sys.stdout.write(f"{written.name}\n")
