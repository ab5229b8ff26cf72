"""Prints what reading costs beside merely loading: ratios of time, and peak memory of a whole process.

Run it as ``python -m tests.benchmarks.reading``; ``--folder DIR`` keeps the generated, invented books there.

Times are medians of runs taken in turn, so that a change of the machine's speed meets all of them. The bare load is
python-calamine's for xlsx, and the csv module's parse for csv. Memory is the peak of a process that reads one book.
"""

from __future__ import annotations

import argparse
import csv
import io
import resource
import statistics
import subprocess
import sys
import tempfile
import time
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from xml.sax.saxutils import escape

import numpy as np
import python_calamine

from tests.benchmarks.read_and_judge import ANALYTES, HEADINGS
from wqcheck.sheets import read_workbook
from wqcheck.sheets.roles import column_name

Row = list[str | float]

_PARTS = {
    "[Content_Types].xml": '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="xml" ContentType="application/xml"/><Override PartName="/xl/workbook.xml" '
    'ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/></Types>',
    "_rels/.rels": '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship '
    'Id="r1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument" '
    'Target="xl/workbook.xml"/></Relationships>',
    "xl/workbook.xml": '<workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" '
    'xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"><sheets>'
    '<sheet name="Results" sheetId="1" r:id="r1"/></sheets></workbook>',
    "xl/_rels/workbook.xml.rels": '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Id="r1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" '
    'Target="worksheets/sheet1.xml"/><Relationship Id="r2" Target="sharedStrings.xml" '
    'Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/sharedStrings"/></Relationships>',
}
_MAIN = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'


def long_rows(results: int, columns: int) -> Iterator[Row]:
    """Yield headings and that many results, about a tenth of them below the limit; *columns* is 8 or more."""
    random = np.random.default_rng(20261125)
    factors, censored = random.lognormal(0, 0.5, results), random.random(results) < 0.1
    spare = columns - len(HEADINGS)
    yield [*HEADINGS, *(f"Register {n}" for n in range(1, spare + 1))]
    for number in range(results):
        sample, (name, unit, usual) = number // len(ANALYTES), ANALYTES[number % len(ANALYTES)]
        value = float(f"{usual * factors[number]:.4g}")
        result: float | str = f"<{usual / 10:g}" if censored[number] and usual else value
        day = f"2025-{sample // 28 % 12 + 1:02d}-{sample % 28 + 1:02d}"
        register: Row = [f"R{(number + n) % 500}" if n % 2 else float((number * n) % 1000) for n in range(spare)]
        yield [f"S-{sample:06d}", f"SP{sample % 9 + 1}", day, name, result, unit, usual / 10, "in-house", *register]


def write_xlsx(path: Path, rows: Iterator[Row]) -> None:
    """Write *rows* as an xlsx file with shared strings."""
    places: dict[str, int] = {}
    letters = [column_name(n) for n in range(200)]
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        with archive.open("xl/worksheets/sheet1.xml", "w", force_zip64=True) as part:
            part.write(f"<worksheet {_MAIN}><sheetData>".encode())
            for number, row in enumerate(rows, start=1):
                cells = [
                    f'<c r="{letter}{number}" t="s"><v>{places.setdefault(cell, len(places))}</v></c>'
                    if isinstance(cell, str)
                    else f'<c r="{letter}{number}"><v>{cell!r}</v></c>'
                    for letter, cell in zip(letters, row, strict=False)
                ]
                part.write(f'<row r="{number}">{"".join(cells)}</row>'.encode())
            part.write(b"</sheetData></worksheet>")
        texts = "".join(f"<si><t>{escape(text)}</t></si>" for text in places)
        archive.writestr("xl/sharedStrings.xml", f"<sst {_MAIN}>{texts}</sst>")
        for name, text in _PARTS.items():
            archive.writestr(name, text)


def write_csv(path: Path, rows: Iterator[Row]) -> None:
    """Write *rows* as comma-separated text."""
    with path.open("w", newline="", encoding="utf-8") as stream:
        csv.writer(stream).writerows(rows)


def bare_load(path: Path) -> int:
    """Load every cell into Python objects, and nothing more."""
    if path.suffix == ".csv":
        return len(list(csv.reader(io.StringIO(path.read_bytes().decode("utf-8")))))
    return len(python_calamine.CalamineWorkbook.from_path(path).get_sheet_by_index(0).to_python())


def whole_reading(path: Path) -> int:
    """Read the book into checked readings."""
    return len(read_workbook(path).readings)


def seconds(work: Callable[[Path], int], path: Path) -> float:
    """Time one call."""
    begin = time.perf_counter()
    work(path)
    return time.perf_counter() - begin


def peak_megabytes(path: Path) -> float:
    """Return the peak memory of a fresh process that reads *path*."""
    command = [sys.executable, "-m", "tests.benchmarks.reading", "--peak-of", str(path)]
    return float(subprocess.run(command, check=True, capture_output=True, text=True).stdout)


def book(folder: Path, results: int, columns: int, suffix: str) -> Path:
    """Return the path of a generated book, written if it is not there yet."""
    path = folder / f"long_{results}x{columns}{suffix}"
    if not path.exists():
        (write_csv if suffix == ".csv" else write_xlsx)(path, long_rows(results, columns))
    return path


def compare(folder: Path, results: int, columns: int, runs: int) -> None:
    """Print the ratio of reading to bare loading for both forms."""
    for suffix in (".xlsx", ".csv"):
        path = book(folder, results, columns, suffix)
        whole_reading(path)
        pairs = [(seconds(bare_load, path), seconds(whole_reading, path)) for _ in range(runs)]
        bare, whole = (statistics.median(column) for column in zip(*pairs, strict=True))
        print(f"{path.name}: bare load {bare:.2f} s, reading {whole:.2f} s, ratio {whole / bare:.2f}  (aim ≤ 2)")


def main() -> None:
    """Write the books, take the figures, and print them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--results", type=int, default=100_000)
    parser.add_argument("--columns", type=int, default=8)
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--memory", action="store_true", help="also the peak memory at 430,000 rows of 24 columns")
    parser.add_argument("--folder", type=Path)
    parser.add_argument("--peak-of", type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.peak_of:
        whole_reading(options.peak_of)
        print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
        return
    with tempfile.TemporaryDirectory() as spare:
        folder = options.folder or Path(spare)
        compare(folder, options.results, options.columns, options.runs)
        for suffix in (".xlsx", ".csv") if options.memory else ():
            path = book(folder, 430_000, 24, suffix)
            print(f"{path.name}: peak memory {peak_megabytes(path):.0f} MB  (aim ≤ 1,500)")


if __name__ == "__main__":
    main()
