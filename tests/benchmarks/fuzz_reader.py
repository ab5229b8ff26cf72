"""Reads damaged workbooks and prints how many ended otherwise than in a result or a sentence.

Run it as ``python -m tests.benchmarks.fuzz_reader --count 20000 --seed 1``; ``--keep DIR`` writes each crashing input
there, and ``--only NUMBER`` reads one input again in this process, so that its traceback is seen.

Input *n* is made from *seed* and *n* alone: one of the forms in :func:`forms`, with odd cells, odd bytes or odd parts.
A worker process reads one after the other; it is killed and replaced where it takes too long or too much memory.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import random
import resource
import time
import traceback
import warnings
from collections import Counter
from multiprocessing.connection import Connection
from pathlib import Path

from tests.benchmarks.damage import damaged
from tests.benchmarks.odd_books import odd_book
from wqcheck.errors import WqcheckError
from wqcheck.sheets import read_books

SECONDS, MEGABYTES = 20.0, 1_500
"""What one input may take (wall time), and the whole worker (peak memory)."""

Report = tuple[int, str, str]


def made(seed: int, number: int) -> tuple[str, bytes]:
    """Return the name and bytes of one input."""
    chance = random.Random(f"{seed}/{number}")
    name, data = odd_book(chance)
    return name, damaged(chance, data)


def outcome(name: str, data: bytes) -> str:
    """Read one input and say how it ended; whatever else is raised goes up.

    Raises
    ------
    AssertionError
        Cells are lost or told twice, or a refusal is no sentence about this file.
    """
    try:
        results = read_books((name, data))
    except WqcheckError as problem:
        sentence = str(problem)
        if not sentence.startswith(name) or "\n" in sentence or len(sentence) > 1_000:
            raise AssertionError(f"no sentence about the file: {sentence!r}") from problem
        return "refused"
    for read in results:
        places = [*(read.readings["sheet"] + "!" + read.readings["cell"])]
        ledger = read.ledger()
        places += [*(ledger["sheet"] + "!" + ledger["cell"])]
        if len(places) != read.cells:
            raise AssertionError(f"{read.cells} cells, but {len(places)} are told")
    return "read" if any(len(read.readings) for read in results) else "read, no result"


def _work(seed: int, numbers: range, channel: Connection) -> None:
    os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
    warnings.simplefilter("error", RuntimeWarning)
    for number in numbers:
        channel.send((number, "begins", ""))
        name, data = made(seed, number)
        try:
            ended, why = outcome(name, data), ""
        except BaseException as problem:  # whatever ends a reading otherwise is what is looked for
            ended, why = type(problem).__name__, traceback.format_exc()
        if resource.getrusage(resource.RUSAGE_SELF).ru_maxrss > MEGABYTES * 1024:
            ended, why = "too much memory", f"peak over {MEGABYTES} MB"
            channel.send((number, ended, why))
            return
        channel.send((number, ended, why))


class Run:
    """The inputs read so far: how they ended, and the crashes among them."""

    def __init__(self, seed: int, keep: Path | None) -> None:
        self.seed, self.keep = seed, keep
        self.ends: Counter[str] = Counter()
        self.crashes: list[Report] = []

    def read(self, first: int, count: int) -> None:
        """Read that many inputs."""
        after = first + count
        while first < after:
            first = self._until_trouble(range(first, after))

    def _until_trouble(self, numbers: range) -> int:
        """Read *numbers* in a worker and return the first one that is left."""
        ours, theirs = multiprocessing.get_context("fork").Pipe()
        worker = multiprocessing.get_context("fork").Process(target=_work, args=(self.seed, numbers, theirs))
        worker.start()
        theirs.close()
        current: int = numbers[0]
        try:
            while current < numbers[-1] + 1:
                if not ours.poll(SECONDS):
                    self._end(current, "too slow", f"over {SECONDS:g} s")
                    return current + 1
                number, ended, why = ours.recv()
                if ended == "begins":
                    current = number
                    continue
                self._end(number, ended, why)
                current = number + 1
                if ended == "too much memory":
                    return current
        except EOFError:
            self._end(current, "process died", "the worker ended without a word")
            return current + 1
        finally:
            worker.kill()
            worker.join()
        return current

    def _end(self, number: int, ended: str, why: str) -> None:
        self.ends[ended] += 1
        if not why:
            return
        self.crashes.append((number, ended, why))
        if self.keep is not None:
            name, data = made(self.seed, number)
            self.keep.mkdir(parents=True, exist_ok=True)
            (self.keep / f"{self.seed}_{number}_{name}").write_bytes(data)
            (self.keep / f"{self.seed}_{number}.txt").write_text(f"{ended}\n{why}", encoding="utf-8")


def main() -> None:
    """Read the inputs and print how they ended; the exit code is 1 where one crashed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=2_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--only", type=int, help="read this one again, in this process")
    parser.add_argument("--keep", type=Path, help="folder for crashing inputs")
    options = parser.parse_args()
    if options.only is not None:
        name, data = made(options.seed, options.only)
        print(name, len(data), outcome(name, data))
        return
    begin = time.perf_counter()
    run = Run(options.seed, options.keep)
    run.read(options.first, options.count)
    print(f"{options.count:,} inputs of seed {options.seed} in {time.perf_counter() - begin:.0f} s: "
          + ", ".join(f"{count:,} {ended}" for ended, count in run.ends.most_common()))  # fmt: skip
    for number, ended, why in run.crashes[:20]:
        print(f"--only {number}: {ended}: {why.strip().splitlines()[-1][:200]}")
    print(f"crashed {len(run.crashes)}")
    raise SystemExit(min(len(run.crashes), 1))


if __name__ == "__main__":
    main()
