"""Prints how long reading and judging a workbook takes beside merely loading it.

Run it as ``python -m tests.benchmarks.read_and_judge``.

A long sheet of generated, invented results is written once; each figure is the median of several runs in one process,
taken in turn so that a change of the machine's speed meets all of them.
"""

from __future__ import annotations

import argparse
import datetime as dt
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import openpyxl
import python_calamine

from wqcheck.judging.judge import judge
from wqcheck.limit_tables.loading import load_limits
from wqcheck.sheets import read_workbook

ANALYTES = [
    ("Arsenic", "µg/L", 2.0),
    ("Lead", "µg/L", 1.0),
    ("Cadmium", "µg/L", 0.2),
    ("Nickel", "µg/L", 3.0),
    ("Uranium", "µg/L", 2.0),
    ("Nitrate (as NO3)", "mg/L", 12.0),
    ("Nitrite (as NO2)", "mg/L", 0.05),
    ("Fluoride", "mg/L", 0.4),
    ("Boron", "mg/L", 0.3),
    ("Sodium", "mg/L", 40.0),
    ("Chloride", "mg/L", 60.0),
    ("Sulfate", "mg/L", 50.0),
    ("Turbidity", "NTU", 0.3),
    ("pH", "pH", 7.2),
    ("Conductivity at 20 °C", "µS/cm", 420.0),
    ("Chloroform", "µg/L", 9.0),
    ("Bromoform", "µg/L", 4.0),
    ("Bromate", "µg/L", 3.0),
    ("Escherichia coli", "CFU/250 mL", 0.0),
    ("Total coliforms", "CFU/250 mL", 0.0),
]
HEADINGS = ["Sample ID", "Sampling point", "Sampled", "Parameter", "Result", "Unit", "LOQ", "Method"]
TABLES = ("who_gdwq_2022", "eu_2020_2184", "us_21cfr165_110b")


def write_book(path: Path, results: int) -> None:
    """Write a workbook of that many results, about a tenth of them below the limit of quantification."""
    random = np.random.default_rng(20261125)
    book = openpyxl.Workbook(write_only=True)
    sheet = book.create_sheet("Results")
    sheet.append(HEADINGS)
    begin = dt.datetime(2025, 1, 1, 8, 0)
    factors, censored = random.lognormal(0, 0.5, results), random.random(results) < 0.1
    for number in range(results):
        sample, (name, unit, usual) = number // len(ANALYTES), ANALYTES[number % len(ANALYTES)]
        value = float(f"{usual * factors[number]:.4g}")
        result: float | str = f"<{usual / 10:g}" if censored[number] and usual else value
        sampled = begin + dt.timedelta(hours=sample % 8760)
        sheet.append(
            [f"S-{sample:06d}", f"SP{sample % 9 + 1}", sampled, name, result, unit, usual / 10, "in-house (invented)"]
        )
    book.save(path)


def load_with_calamine(path: Path) -> int:
    """Load every cell into Python objects, and nothing more."""
    return len(python_calamine.CalamineWorkbook.from_path(path).get_sheet_by_index(0).to_python())


def walk_with_openpyxl(path: Path) -> int:
    """Walk every row in read-only mode."""
    book = openpyxl.load_workbook(path, read_only=True, data_only=True)
    count = sum(1 for sheet in book for _ in sheet.iter_rows(values_only=True))
    book.close()
    return count


def read_and_judge(path: Path) -> int:
    """Read the workbook into checked readings and judge them against three tables."""
    taken = read_workbook(path)
    return len(
        judge(taken.readings, [load_limits(name) for name in TABLES], product="packaged", on=dt.date(2026, 1, 1))
    )


def seconds(work: Callable[[Path], int], path: Path) -> float:
    """Time one call."""
    begin = time.perf_counter()
    work(path)
    return time.perf_counter() - begin


def main() -> None:
    """Write the workbook, take the figures in turn, and print medians and ratios."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--results", type=int, default=200_000)
    parser.add_argument("--runs", type=int, default=3)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "generated.xlsx")
        write_book(path, options.results)
        read_and_judge(path)
        works = {
            "calamine": load_with_calamine,
            "reading": lambda p: len(read_workbook(p).readings),
            "whole": read_and_judge,
        }
        taken: dict[str, list[float]] = {name: [] for name in works}
        for _ in range(options.runs):
            for name, work in works.items():
                taken[name].append(seconds(work, path))
        median = {name: statistics.median(times) for name, times in taken.items()}
        median["openpyxl"] = seconds(walk_with_openpyxl, path)
    print(f"{options.results} results: " + ", ".join(f"{name} {value:.2f} s" for name, value in median.items()))
    print(f"read+judge / calamine load  = {median['whole'] / median['calamine']:.2f}  (aim ≤ 2.5)")
    print(f"read+judge / openpyxl walk  = {median['whole'] / median['openpyxl']:.2f}  (aim ≤ 0.5)")


if __name__ == "__main__":
    main()
