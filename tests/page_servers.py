"""Runs the page, and what it talks to, as real servers on free loopback ports, and ends them whatever happens."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent


def free_port() -> int:
    """Give a loopback port that nobody listens on."""
    with socket.socket() as door:
        door.bind(("127.0.0.1", 0))
        return int(door.getsockname()[1])


def wait_until_answered(address: str, server: subprocess.Popen[bytes], seconds: float = 60) -> None:
    """Wait for a server to answer; one that ends early or never answers fails the test."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        assert server.poll() is None, "the server ended before it answered"
        try:
            with urllib.request.urlopen(address, timeout=2) as answer:
                if answer.status == 200:
                    return
        except OSError:
            time.sleep(0.2)
    pytest.fail(f"{address} did not answer within {seconds} s")


@contextmanager
def served(command: Sequence[str], answers_at: str, folder: Path) -> Iterator[None]:
    """Run a server in a folder, from the time it answers at an address to the end of the block."""
    silent = subprocess.DEVNULL
    this_package = {**os.environ, "PYTHONPATH": str(ROOT)}
    server = subprocess.Popen(command, cwd=folder, stdout=silent, stderr=silent, env=this_package)
    try:
        wait_until_answered(answers_at, server)
        yield
    finally:
        server.kill()
        server.wait(timeout=30)


@contextmanager
def served_page(folder: Path) -> Iterator[str]:
    """Serve the page from a folder, where its records and settings are kept, and give its address."""
    port = free_port()
    own = [f"--server.port={port}", "--server.address=127.0.0.1", "--server.maxUploadSize=50"]
    quiet = ["--server.headless=true", "--browser.gatherUsageStats=false", "--server.fileWatcherType=none"]
    command = [sys.executable, "-m", "streamlit", "run", str(ROOT / "app.py"), *own, *quiet]
    with served(command, f"http://127.0.0.1:{port}/_stcore/health", folder):
        yield f"http://127.0.0.1:{port}"
