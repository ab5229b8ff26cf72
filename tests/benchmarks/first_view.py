"""Prints how soon the page shows what waits while the store behind it holds 2,000,000 readings (Chromium, SQLite).

Run it as ``python -m tests.benchmarks.first_view`` (``--batches 1000`` for a tenth). The readings are those of
``record_growth``. The first visit after the server is up is told apart from later ones, each in its own browser; the
time ends when the heading stands there, when the first list does, and when the page has nothing more to draw.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path

from playwright.sync_api import Page, sync_playwright
from sqlalchemy import event

from tests.benchmarks.record_growth import RESULTS, Plant, hurry
from tests.page_servers import free_port, served
from tests.test_page_browser import CHROMIUM
from wqcheck.page.office import DEFAULT_STORE
from wqcheck.records.store import open_store

WAIT_MS = 120_000
WAYPOINTS = {
    "heading": "h5",
    "first list": '[data-testid="stTable"], [data-testid="stDataFrame"]',
    "all drawn": '[data-testid="stApp"][data-test-script-state="notRunning"]',
}


def filled(folder: Path, batches: int) -> None:
    """Make a store of so many invented batches in a folder."""
    store = open_store(folder / DEFAULT_STORE)
    event.listen(store.engine, "connect", hurry)
    store.engine.dispose()
    Plant(store).grow(0, batches)
    store.close()


def visit(page: Page, address: str) -> dict[str, float]:
    """Open the page and return the seconds to each waypoint."""
    taken = {}
    begin = time.perf_counter()
    page.goto(address, wait_until="commit")
    for name, place in WAYPOINTS.items():
        page.locator(place).first.wait_for(timeout=WAIT_MS)
        taken[name] = time.perf_counter() - begin
    return taken


def main() -> None:
    """Fill a store, serve the page beside it, and print a line for each visit."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--batches", type=int, default=10_000)
    parser.add_argument("--visits", type=int, default=4)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as player:
        filled(Path(folder), options.batches)
        browser = player.chromium.launch(executable_path=str(CHROMIUM), args=["--no-sandbox"])
        port = free_port()
        address = f"http://127.0.0.1:{port}"
        command = [sys.executable, "-m", "wqcheck.cli", "page", f"--port={port}"]
        with served(command, f"{address}/_stcore/health", Path(folder)):
            for number in range(1, options.visits + 1):
                taken = visit(browser.new_context().new_page(), address)
                told = ", ".join(f"{name} {value:.2f} s" for name, value in taken.items())
                print(f"{options.batches * RESULTS} readings, visit {number}: {told}", flush=True)
        browser.close()


if __name__ == "__main__":
    main()
