"""Prints how long the daily questions take while a store grows to 10,000 batches and 2,000,000 readings (SQLite).

Run it as ``python -m tests.benchmarks.record_growth`` (``--batches 1000`` for a tenth). The readings are invented:
10 points × 20 parameters for each batch, a year of two batches an hour.
"""

from __future__ import annotations

import argparse
import hashlib
import sqlite3
import tempfile
import time
from collections.abc import Callable
from dataclasses import asdict, replace
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
from sqlalchemy import event

from tests.certificate_batches import good_batch
from tests.record_stores import ADA, DAY, act
from wqcheck.records.batches import batch, batches, flags, waiting
from wqcheck.records.frames import READING_COLUMNS, VERDICT_COLUMNS, split_judged
from wqcheck.records.history import history, series_names
from wqcheck.records.intake import keep_file, take_in
from wqcheck.records.log import Row, Writing, writing
from wqcheck.records.schema import Batches, CheckFiles, Checks, judged, readings, table_of
from wqcheck.records.standing import State, step
from wqcheck.records.store import Store, open_store
from wqcheck.records.touched import Touch, batches_touched_by
from wqcheck.records.verify import verify
from wqcheck.release.decision import FileStamp

BEGIN = datetime(2025, 6, 1)
POINTS = [f"SP{number}" for number in range(1, 10)] + ["FP"]
CODES = [
    *("lead", "nitrate", "ph", "aluminium", "arsenic", "cadmium", "nickel", "uranium", "fluoride", "boron", "sodium"),
    *("chloride", "sulfate", "turbidity", "iron", "manganese", "copper", "zinc", "silica", "bromate"),
]
RESULTS = len(POINTS) * len(CODES)


class Plant:
    """Writes invented batches through the store's own writer, row by row as ``take_in`` would.

    The rows of a first batch come from :func:`take_in`; the others vary number, time, value and verdict of it. Making
    a table of each batch first would take longer than writing it, and is not what is measured here.
    """

    def __init__(self, store: Store) -> None:
        self.store = store
        self.chance = np.random.default_rng(20261125)
        check = good_batch()
        stamp = FileStamp(name="run.csv", sha256=hashlib.sha256(b"run").hexdigest(), kind="workbook")
        first = replace(check, files=(stamp,), details=replace(check.details, batch="FIRST"))
        take_in(store, first, act(ADA), [("run.csv", b"run")], on=DAY)
        read, verdicts = split_judged(check.readings, check.judged)
        self.reading, self.verdict = list(read[2]), list(verdicts[2])
        self.details = {**asdict(check.details), "version": 1}

    def grow(self, begin: int, end: int) -> None:
        """Write the batches from *begin* up to *end*; nearly all of them are released, as in a plant that works."""
        for number in range(begin, end):
            with writing(self.store, act(ADA), "take in", f"batch B{number:05d}") as work:
                self._write(work, number)

    def _write(self, work: Writing, number: int) -> None:
        name, book = f"B{number:05d}", f"run_{number:05d}.csv"
        work.add(table_of(Batches), **{**self.details, "batch": name, "key": name.casefold()})
        work.add(
            table_of(Checks), batch=name, version=1, product="purified", checked_on="2026-03-04", disposition="release",
            required="[]", missing="[]", not_tested="[]", decision_rules="[]",
            software="benchmark",
        )  # fmt: skip
        digest = keep_file(work, f"invented workbook {number}".encode())
        work.add(table_of(CheckFiles), name=book, kind="workbook", title="", sha256=digest)
        ledger = keep_file(work, b"workbook,sheet,cell,text,role,reason\n")
        work.add(table_of(CheckFiles), name="ledger.csv", kind="ledger", title="", sha256=ledger)
        work.add_rows(readings, self._readings(number, name, book))
        work.add_rows(judged, self._verdicts())
        step(work, name, State.RELEASED if number % 50 else State.UNDER_REVIEW, 1, reason="")

    def _readings(self, number: int, name: str, book: str) -> list[Row]:
        """Make the 200 readings of a batch."""
        sampled = (BEGIN + timedelta(minutes=30 * number)).strftime("%Y-%m-%dT%H:%M:%S")
        values = np.round(self.chance.lognormal(0, 0.4, RESULTS), 3).tolist()
        place = {column: 1 + READING_COLUMNS.index(column) for column in READING_COLUMNS}
        rows = []
        for spot, value in enumerate(values):
            point, code = POINTS[spot // len(CODES)], CODES[spot % len(CODES)]
            row = list(self.reading)
            for column, given in (("sample", f"S{number}-{point}"), ("batch", name), ("point", point),
                                  ("sampled_at", sampled), ("parameter", code), ("parameter_text", code),
                                  ("value", value), ("reported", str(value)), ("sign", "="), ("unit", "mg/L"),
                                  ("workbook", book), ("cell", f"C{spot + 2}")):  # fmt: skip
                row[place[column]] = given
            rows.append(tuple(row))
        return rows

    def _verdicts(self) -> list[Row]:
        """Judge each result of finished water; about 2 % are undetermined."""
        place = 1 + VERDICT_COLUMNS.index("verdict")
        rows = []
        for spot, open_question in enumerate((self.chance.random(len(CODES)) < 0.02).tolist()):
            row = list(self.verdict)
            row[0], row[place] = RESULTS - len(CODES) + spot, "undetermined" if open_question else "pass"
            rows.append(tuple(row))
        return rows


def seconds(question: Callable[[], object], runs: int = 3) -> float:
    """Time a question: the median of some runs, the first one on a store just opened."""
    taken = []
    for _ in range(runs):
        begin = time.perf_counter()
        question()
        taken.append(time.perf_counter() - begin)
    return sorted(taken)[runs // 2]


def questions(store: Store, count: int) -> dict[str, Callable[[], object]]:
    """Give what a working day asks a store of *count* batches."""
    middle = f"B{count // 2:05d}"
    return {
        "open a batch": lambda: batch(store, middle),
        "its flags": lambda: flags(store, middle),
        "history, whole": lambda: history(store, "FP", "lead"),
        "history, a month": lambda: history(store, "FP", "lead", date(2025, 6, 1), date(2025, 6, 30)),
        "list all batches": lambda: batches(store),
        "what waits": lambda: waiting(store, DAY),
        "names of series": lambda: series_names(store),
        "recall a sample": lambda: batches_touched_by(store, Touch.SAMPLE, f"S{count // 2}-FP"),
        "recall a workbook": lambda: batches_touched_by(store, Touch.WORKBOOK, f"run_{count // 2:05d}.csv"),
    }


def hurry(connection: sqlite3.Connection, _: object) -> None:
    """Let the disk be slow to confirm: filling a store in minutes is no plant's work."""
    connection.execute("PRAGMA synchronous=OFF")


def main() -> None:
    """Grow a store in steps and print a line of figures for each."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--batches", type=int, default=10_000)
    options = parser.parse_args()
    sizes = [size for size in (50, 500, 5_000) if size < options.batches] + [options.batches]
    with tempfile.TemporaryDirectory() as folder:
        store = open_store(Path(folder, "records.sqlite"))
        event.listen(store.engine, "connect", hurry)
        store.engine.dispose()
        plant, have = Plant(store), 0
        for size in sizes:
            begin = time.perf_counter()
            plant.grow(have, size)
            rate = (size - have) * RESULTS / (time.perf_counter() - begin)
            have = size
            figures = {name: seconds(question) for name, question in questions(store, size).items()}
            told = ", ".join(f"{name} {value:.3f} s" for name, value in figures.items())
            megabytes = Path(store.name).stat().st_size / 1e6
            print(f"{size * RESULTS} readings, {megabytes:.0f} MB, {rate:.0f} readings/s taken in: {told}", flush=True)
        begin = time.perf_counter()
        found = verify(store).found
        print(f"verify: {time.perf_counter() - begin:.1f} s, {len(found)} thing(s) found")
        store.close()


if __name__ == "__main__":
    main()
