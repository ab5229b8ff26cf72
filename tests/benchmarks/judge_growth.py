"""Prints how long judging takes for 10⁴, 10⁵ and 10⁶ readings × 3 tables, beside a plain merge-and-compare in pandas.

Run it as ``python -m tests.benchmarks.judge_growth``.

The readings are generated and invented. The plain version is what one would write by hand for the same verdicts on the
same data: units turned into one, one merge on parameter, one comparison; it gives no reasons, notes, bounds or sources.
Both verdicts are compared row by row before any time is printed.
"""

from __future__ import annotations

import argparse
import datetime as dt
import resource
import statistics
import time
from collections.abc import Callable, Sequence
from functools import partial
from typing import Any

import numpy as np
import pandas as pd
from pandera.typing import DataFrame

from wqcheck.judging.judge import judge
from wqcheck.limit_tables.loading import LimitTable, load_limits
from wqcheck.tables import Judged, Readings, Rule, Verdict

TABLES = ("who_gdwq_2022", "eu_2020_2184", "us_21cfr165_110b")
PRODUCT = "packaged"
MOST_COMPARED = 100_000
DAY = dt.date(2026, 1, 1)
FACTORS = {"mg/L": 1.0, "µg/L": 1e-3}
ANALYTES = {
    "arsenic": 2e-3, "lead": 1e-3, "cadmium": 2e-4, "nickel": 3e-3, "uranium": 2e-3, "fluoride": 0.4, "boron": 0.3,
    "sodium": 40.0, "selenium": 2e-3, "antimony": 1e-3, "mercury": 2e-4, "copper": 0.2, "barium": 0.1, "iron": 0.05,
    "manganese": 0.02, "aluminium": 0.05, "benzene": 2e-4, "atrazine": 3e-5, "bromate": 3e-3, "vinyl_chloride": 1e-4,
}  # fmt: skip
"""Codes without a basis and a usual amount in mg/L."""


def readings_of(count: int) -> DataFrame[Readings]:
    """Return *count* invented readings, about a tenth of them below the limit of quantification."""
    random = np.random.default_rng(20261125)
    codes, usual = np.array(list(ANALYTES), dtype=object), np.array(list(ANALYTES.values()))
    which = np.arange(count) % len(codes)
    micro = random.random(count) < 0.5
    amount = usual[which] * random.lognormal(0, 0.8, count)
    value = np.array([float(f"{number:.4g}") for number in amount * np.where(micro, 1e3, 1.0)])
    censored = random.random(count) < 0.1
    sample = (np.arange(count) // len(codes)).astype(str)
    number = np.arange(count)
    given: dict[Any, Any] = {
        Readings.sample: np.char.add("S-", sample),
        Readings.parameter: codes[which],
        Readings.parameter_text: codes[which],
        Readings.reported: np.where(censored, "<", "") + value.astype(str).astype(object),
        Readings.sign: np.where(censored, "<", "="),
        Readings.value: value,
        Readings.unit: np.where(micro, "µg/L", "mg/L"),
        Readings.uncertainty: np.where(censored, np.nan, value / 5),
        Readings.workbook: "generated.xlsx",
        Readings.sheet: "Results",
        Readings.cell: np.char.add("E", (number + 2).astype(str)),
        Readings.sampled_at: pd.Timestamp(2025, 1, 1) + pd.to_timedelta(number % 8760, unit="h"),
    }
    types: dict[str, Any] = {name: column.dtype.type for name, column in Readings.to_schema().columns.items()}
    cells = {name: pd.Series(given.get(name), index=range(count)).astype(kind) for name, kind in types.items()}
    return Readings.validate(pd.DataFrame(cells))


def plain(readings: pd.DataFrame, tables: Sequence[LimitTable]) -> pd.DataFrame:
    """Return readings × limits with a verdict, the short way."""
    rows = pd.concat([table.rows.assign(table=table.name) for table in tables], ignore_index=True)
    bound = rows[
        rows["product"].map(lambda words: bool({"any", PRODUCT} & {word.strip() for word in words.split(";")}))
    ]
    bound = bound[bound["rule"].isin([Rule.MAX, Rule.RANGE, Rule.MIN])]
    factor = bound["unit"].map(FACTORS)
    bound = bound.assign(low=bound["lower"] * factor, high=bound["upper"] * factor)
    met: pd.DataFrame = readings.merge(bound, on="parameter", how="inner", suffixes=("", "_limit"))
    day = met["sampled_at"].dt.normalize()
    begun, ended = met["valid_from"].fillna(day) <= day, met["valid_to"].fillna(day) >= day
    met = met[begun & ended]
    value = met["value"] * met["unit"].map(FACTORS)
    high, less = met["high"], met["sign"].eq("<")
    meets = value <= high * (1 + 1e-12)
    met["verdict"] = np.select([meets, ~meets & ~less], ["pass", "fail"], "undetermined")
    met["margin"] = (high - value) / high
    return met


def seconds(work: Callable[[], object]) -> float:
    """Time one call."""
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def compare(judged: pd.DataFrame, by_hand: pd.DataFrame) -> int:
    """Return how many rows both have, and stop where their verdicts differ."""
    limited = judged[judged[Judged.verdict] != Verdict.NO_LIMIT]
    keys = [str(Judged.cell), str(Judged.table), "line"]
    ours = limited.assign(line=limited[Judged.limit_line].astype(int)).sort_values(keys)[[*keys, "verdict"]]
    theirs = by_hand.sort_values(keys)[[*keys, "verdict"]]
    both = theirs.merge(ours, on=keys, how="left", suffixes=("", "_judged"))
    assert (both["verdict"] == both["verdict_judged"]).all(), both[both["verdict"] != both["verdict_judged"]].head()
    return len(both)


def main() -> None:
    """Judge each size several times in turn, and print medians, ratios and growth."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sizes", type=int, nargs="+", default=[10_000, 100_000, 1_000_000])
    parser.add_argument("--runs", type=int, default=3)
    options = parser.parse_args()
    tables = [load_limits(name) for name in TABLES]
    for size in options.sizes:
        readings = readings_of(size)
        works: dict[str, Callable[[], pd.DataFrame]] = {
            "judge": partial(judge, readings, tables, product=PRODUCT, on=DAY),
            "plain": partial(plain, readings, tables),
        }
        rows = compare(works["judge"](), works["plain"]()) if size <= MOST_COMPARED else 0
        taken: dict[str, list[float]] = {name: [] for name in works}
        for _ in range(options.runs):
            for name, work in works.items():
                taken[name].append(seconds(work))
        median = {name: statistics.median(times) for name, times in taken.items()}
        print(
            f"{size:>9} readings: judge {median['judge']:.2f} s, plain {median['plain']:.2f} s, ratio "
            f"{median['judge'] / median['plain']:.2f} (aim ≤ 2), {1e6 * median['judge'] / size:.2f} µs a reading"
            + (f", {rows} verdicts agree" if rows else ""),
            flush=True,
        )
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6:.1f} GB")


if __name__ == "__main__":
    main()
