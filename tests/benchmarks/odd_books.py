"""Makes workbooks of every form whose cells are odd, for the fuzz run of the reader."""

from __future__ import annotations

import csv
import io
import random
import zipfile
from collections.abc import Callable
from typing import Any

from tests.workbook_forms import ods_bytes, strict_xlsx, unzipped, xls_bytes, xlsb_bytes, xml_spreadsheet, zipped
from tests.workbooks import xlsx_bytes

Rows = list[list[Any]]

PLAIN: tuple[Rows, ...] = (
    [["Sample", "Date", "Lead (µg/L)", "Iron (mg/L)"], ["S-1", "2026-03-01", 1.5, "<0.1"],
     ["S-2", "2026-03-02", "ND", 0.25], ["S-3", "3/4/2026", "#N/A", "12,5"]],
    [["Sample", "Parameter", "Result", "Unit", "LOQ"], ["S-1", "Lead", 1, "µg/L", 0.5], ["S-1", "pH", 7.2, "", None],
     ["S-2", "E. coli", "absent/250 mL", "CFU", None], ["S-2", "Nitrate", "<0,5", "mg/L NO3", "0,5"]],
    [["Batch: B-7", None, None], ["Parameter", "Raw", "After RO"], ["Conductivity (µS/cm)", 812, 14.2],
     ["Sodium mg/L", "1.2e2", "±"], ["Turbidity NTU", 0.31, "<0.1"]],
    [["Well 1", 12.5], ["Well 2", "<2"], ["Well 3", "TNTC"], ["Well 4", None], ["Well 5", 3]],
    [["Sample", "Sampling point", "Date", "Batch"], ["S-1", "Raw", "2026-03-01", "B-7"],
     ["S-2", "After RO", "3/4/2026", "B-7"], ["s 3", "Raw", None, 7], ["S-1", "Raw", "2026-03-02", "B-7"]],
    [["Code", "Parameter", "Unit"], ["PB01", "Lead", "µg/L"], ["NO3", "Nitrate", "mg/L"], [17, "pH", None]],
    [["Sample", "Code", "Result", "LOQ"], ["S-1", "PB01", 1, "1.000"], ["S-2", "NO3", "<0,5", "0,05"]],
    [["Sample", "Type", "Lead (µg/L)", "Hardness (°F)"], ["S-1", "Result", 1.5, "<0.1"], [None, "Dilution", 1, 10],
     [None, "Analyst", "AB", "CD"], ["S-2", "Result", "ND", 0.25], [None, "Dilution", 1, "x5"],
     [None, "Analyst", "AB", "CD"]],
    [["Sample", "Date", "Result"], ["S-1", "2026-03-01", 1.5], ["S-2", "2026-03-02", "<2"]],
)  # fmt: skip
"""Tables of each layout: wide, long, crosstab, list, lists of samples and parameters, rows of the bench (invented)."""

NAMES = ("Sheet {}", "Sheet {}", "Lead", "Well {}", "Results {}", "Leadd", "°F")

ODD: tuple[Any, ...] = (
    "1e999", "-1e-999", "٣٫٥", "½", "1²", "inf", "nan", "NaN", "-0", "0x1F", "1e", "1.2.3.4", "1,2,3", "٠", "二", "①",
    "31/02/2026", "0000-00-00", "99/99/9999", "9999-12-31T23:59:60", "2026-13-45", "1/1/1", "0001-01-01", "12/2026",
    "25:61", "24:00", "<", ">", "<<5", "< >", "±", "1±", "<-5", "(", ")", "()", "[", "%", "=1+", "=", "=A1", "#REF!",
    "Sample", "Lead", "pH", "mg/L", "Limit", "Mean", "Unit", "LOQ", "Result", "Date", "Parameter", "Remarks", "Verdict",
    "S-1", "a" * 5_000, "9" * 400, "1" * 5_000, "," * 50, "\u202e1.5", "\ufeff1", "\u200b", "\xa0", "\t", "a\nb", '"',
    "'", "''", "\U0001f4a7", "e\u0301" * 40, "İ", "ß", "ﬁ", "Å", "\ud7ff", "null", "None", "TRUE", "x10^99999999",
    "5 x 10^400", "1e-400", "absent/0 mL", "0/0", "<1e400", "1 to", "5-1", "1–2–3", "CFU/0mL", "mg/L as", "µg/l/l",
    "10^^5", "Batch:", ":", "Date: ", "Sampled: 99/99/99", "7439-92-1", "0-0-0", "\x0b", "\x85", "\u2028",
    0, -1, 1e308, -1e308, 5e-324, 1e15, 123456789012345678, 2958465, 2958466, 60, 59.5, -5, 80000, 0.1 + 0.2, True,
    1e300, 45000.99999, 20001,
)  # fmt: skip
"""What stands in a cell by mistake, or never should."""


def odd_book(chance: random.Random) -> tuple[str, bytes]:
    """Return the file name and bytes of a workbook with up to a dozen odd cells."""
    sheets = {chance.choice(NAMES).format(n): _odd_rows(chance) for n in range(chance.choice([1, 1, 1, 2, 3]))}
    suffix, write = chance.choice(FORMS)
    data = write(chance, sheets)
    if chance.random() < 0.02:
        suffix = chance.choice([".xls", ".xlsx", ".ods", ".csv", ".xlsb", "", ".zip"])
    return f"book{suffix}", data


def _odd_rows(chance: random.Random) -> Rows:
    rows = [list(row) for row in chance.choice(PLAIN)]
    for _ in range(chance.choice([0, 0, 1, 3, 12])):
        _change(chance, rows)
    return rows


def _change(chance: random.Random, rows: Rows) -> None:
    row = chance.choice(rows)
    act = chance.randrange(8)
    if act < 4 and row:
        row[chance.randrange(len(row))] = chance.choice(ODD)
    elif act == 4:
        rows.insert(chance.randrange(len(rows) + 1), [chance.choice([None, *ODD]) for _ in range(chance.randrange(6))])
    elif act == 5 and len(rows) > 1:
        rows.remove(row)
    elif act == 6:
        row.insert(chance.randrange(len(row) + 1), chance.choice([None, *ODD]))
    else:
        rows.extend([list(row)] * chance.choice([1, 3]))


def _texts(rows: Rows) -> list[list[str]]:
    return [["" if cell is None else str(cell) for cell in row] for row in rows]


def _xlsx(_: random.Random, sheets: dict[str, Rows]) -> bytes:
    printable = {name: [[_writable(cell) for cell in row] for row in rows] for name, rows in sheets.items()}
    return xlsx_bytes(printable)


def _strict(chance: random.Random, sheets: dict[str, Rows]) -> bytes:
    return strict_xlsx(_xlsx(chance, sheets))


def _writable(cell: Any) -> Any:
    return "".join(c for c in cell if c.isprintable() or c in "\n\t")[:30_000] if isinstance(cell, str) else cell


def _readable(sheets: dict[str, Rows]) -> dict[str, Rows]:
    return {name: [[_writable(cell) for cell in row] for row in rows] for name, rows in sheets.items()}


def _ods(chance: random.Random, sheets: dict[str, Rows]) -> bytes:
    data = ods_bytes(_readable(sheets))
    parts = unzipped(data)
    note = b"<office:annotation><text:p>void</text:p></office:annotation><text:p>"
    parts["content.xml"] = parts["content.xml"].replace(b"<text:p>", note, chance.randrange(2))
    return zipped(parts)


def _xml(_: random.Random, sheets: dict[str, Rows]) -> bytes:
    return xml_spreadsheet(_readable(sheets))


def _xls(chance: random.Random, sheets: dict[str, Rows]) -> bytes:
    short = {name: [[c[:2_000] if isinstance(c, str) else c for c in row] for row in rows]
             for name, rows in sheets.items()}  # fmt: skip
    notes = {(chance.randrange(4), chance.randrange(4)): "void"} if chance.random() < 0.3 else {}
    shown = chance.choice(["", "", '"<"0.0', "0%", ";;;", "0.0,"])
    return xls_bytes(
        short, hidden_rows=[chance.randrange(4)], struck=chance.random() < 0.3, shown=shown, notes=notes
    )  # fmt: skip


def _xlsb(chance: random.Random, sheets: dict[str, Rows]) -> bytes:
    return xlsb_bytes(sheets, hidden_rows=[chance.randrange(4)])


def _text(chance: random.Random, sheets: dict[str, Rows]) -> bytes:
    stream = io.StringIO()
    delimiter, line_end = chance.choice(",;\t|"), chance.choice(["\n", "\r\n", "\r", "\n\r", "\x0b"])
    writer = csv.writer(stream, delimiter=delimiter, lineterminator=line_end)
    for rows in sheets.values():
        writer.writerows(_texts(rows))
    encoding = chance.choice(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252", "latin-1", "utf-32",
                              "cp850", "mac-roman", "cp1251", "utf-7"])  # fmt: skip
    return stream.getvalue().encode(encoding, errors="replace")


def _page(_: random.Random, sheets: dict[str, Rows]) -> bytes:
    tables = "".join(
        "<table>" + "".join("<tr>" + "".join(f"<td>{cell}</td>" for cell in row) + "</tr>" for row in _texts(rows))
        + "</table>" for rows in sheets.values()
    )  # fmt: skip
    return f"<html><body>{tables}</body></html>".encode()


def _folder(chance: random.Random, sheets: dict[str, Rows]) -> bytes:
    members = [chance.choice(FORMS[:-1]) for _ in range(chance.choice([1, 2, 3]))]
    parts = {f"in/{n}{suffix}": write(chance, sheets) for n, (suffix, write) in enumerate(members)}
    return zipped(parts, zipfile.ZIP_STORED)


FORMS: tuple[tuple[str, Callable[[random.Random, dict[str, Rows]], bytes]], ...] = (
    (".xlsx", _xlsx), (".xlsx", _xlsx), (".xlsx", _strict), (".ods", _ods), (".xls", _xls), (".xlsb", _xlsb),
    (".xls", _xml), (".xls", _page), (".csv", _text), (".csv", _text), (".tsv", _text), (".zip", _folder),
)  # fmt: skip
