"""Kills a process at random moments while it takes in batches and issues documents, and prints what the store lost.

Run it as ``python -m tests.benchmarks.kill_records`` (200 rounds on SQLite) or with ``--engine postgresql``.

Each round a child process goes on where the records end: it takes in a batch, reviews, releases and certifies it, and
reports on a pipe each act *after* it is committed. The parent kills it with SIGKILL at a random moment, then looks:
every reported act must be there, every row must agree with the log, numbers must run from 1 without gap or double.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import signal
import tempfile
import time
from contextlib import ExitStack
from pathlib import Path

from sqlalchemy import func, select

from tests.record_stores import MEI, RUI, act, new_database, released, running_cluster, taken_in
from wqcheck.records.batches import batches
from wqcheck.records.certificates import documents, issue
from wqcheck.records.decisions import decide, review
from wqcheck.records.log import head
from wqcheck.records.schema import Checks, readings, table_of
from wqcheck.records.standing import State
from wqcheck.records.store import Store, open_store
from wqcheck.records.verify import verify

LONGEST = 1.5
"""Seconds after which a child is killed at the latest; its first batch takes about 0.8 s, the next ones 0.2 s."""


def work(place: str, report: int) -> None:
    """Finish the batch that is not finished, then do one after the other, until killed."""
    store = open_store(place)
    known = batches(store)
    states = dict(zip(known["batch"], known["state"], strict=True))
    certified = set(documents(store)["batch"])
    number = 0
    while True:
        number += 1
        name = f"B{number:05d}"
        if name in certified:
            continue
        _finish(store, name, states.get(name, ""), report)


def _finish(store: Store, name: str, state: str, report: int) -> None:
    if state == "":
        taken_in(store, released(name))
        _say(report, f"received {name}")
    if state in {"", "received"}:
        review(store, name, act(RUI))
        _say(report, f"under review {name}")
    if state != "released":
        decide(store, name, act(MEI), State.RELEASED)
        _say(report, f"released {name}")
    _say(report, f"issued {issue(store, name, act(MEI)).certificate.number} {name}")


def _say(report: int, text: str) -> None:
    os.write(report, f"{text}\n".encode())


def killed_round(place: str, moment: float) -> list[str]:
    """Let a child work, kill it after *moment* seconds, and return what it reported as committed."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reading)
        try:
            work(place, writing)
        finally:
            os._exit(1)
    os.close(writing)
    time.sleep(moment)
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    with os.fdopen(reading, encoding="utf-8") as pipe:
        reported = pipe.read().splitlines()
    if not os.WIFSIGNALED(status):
        raise RuntimeError("the child ended by itself; see its message")
    return reported


def losses(place: str, reported: list[str]) -> list[str]:
    """Return everything that is not as it should be after all rounds so far; also whether one can go on."""
    store = open_store(place)
    known = batches(store)
    papers = documents(store)
    states = dict(zip(known["batch"], known["state"], strict=True))
    order = ["received", "under review", "released"]
    wrong = [str(one) for one in verify(store).found]
    for line in reported:
        *what, name = line.split()
        if what[0] == "issued":
            held = papers[(papers["batch"] == name) & (papers["number"] == what[1])]
            wrong += [] if len(held) == 1 else [f"lost: {line}"]
        elif order.index(states.get(name, "received")) < order.index(" ".join(what)) or name not in states:
            wrong.append(f"lost: {line}")
    expected = [f"C-2026-{number:05d}" for number in range(1, len(papers) + 1)]
    wrong += [] if papers["number"].tolist() == expected else ["numbers have a gap or a double"]
    wrong += _half_written(store)
    store.close()
    return wrong


def _half_written(store: Store) -> list[str]:
    """Return the batches whose readings are not all there."""
    whole = len(released().readings)
    checks = table_of(Checks)
    counted = select(checks.c.batch, func.count(readings.c.place)).outerjoin(
        readings, readings.c.entry == checks.c.entry
    )
    with store.reading() as connection:
        rows = connection.execute(counted.group_by(checks.c.batch)).all()
    return [f"{batch} is half written: {count} of {whole} readings" for batch, count in rows if count != whole]


def run(place: str, rounds: int, seed: int) -> dict[str, object]:
    """Kill *rounds* times and return the figures."""
    chance = random.Random(seed)
    open_store(place).close()
    reported: list[str] = []
    wrong: list[str] = []
    begin = time.perf_counter()
    for number in range(rounds):
        reported += killed_round(place, chance.uniform(0.01, LONGEST))
        if number % 20 == 19 or number == rounds - 1:
            wrong += losses(place, reported)
    store = open_store(place)
    with store.reading() as connection:
        entries = head(connection).seq
    figures: dict[str, object] = {
        "kills": rounds, "batches": len(batches(store)), "documents": len(documents(store)), "log entries": entries,
        "acts reported": len(reported), "acts committed but not yet reported": entries - len(reported),
        "wrong": wrong, "seconds": round(time.perf_counter() - begin, 1),
    }  # fmt: skip
    store.close()
    return figures


def main() -> None:
    """Run the rounds on a new store and print the figures as JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=200)
    parser.add_argument("--engine", choices=["sqlite", "postgresql"], default="sqlite")
    parser.add_argument("--seed", type=int, default=20261125)
    options = parser.parse_args()
    with ExitStack() as stack:
        if options.engine == "sqlite":
            place = str(Path(stack.enter_context(tempfile.TemporaryDirectory()), "records.sqlite"))
        else:
            place = new_database(stack.enter_context(running_cluster()))
        print(json.dumps({"engine": options.engine, **run(place, options.rounds, options.seed)}, indent=2))


if __name__ == "__main__":
    main()
