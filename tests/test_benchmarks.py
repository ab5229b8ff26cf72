"""The benchmarks run: at a tiny size here, so that none is found broken only when its figures are wanted."""

from __future__ import annotations

import subprocess
import sys

import pytest

TINY = {
    "first_view": ["--batches", "2", "--visits", "1"],
    "fuzz_reader": ["--count", "60"],
    "judge_growth": ["--sizes", "300", "--runs", "1"],
    "kill_records": ["--rounds", "1"],
    "read_and_judge": ["--results", "300", "--runs", "1"],
    "reading": ["--results", "300", "--runs", "1"],
    "record_growth": ["--batches", "5"],
}


@pytest.mark.parametrize("name", TINY)
def test_a_benchmark_prints_its_figures(name: str) -> None:
    """Each one ends well, says something and warns of nothing."""
    command = [sys.executable, "-W", "error::RuntimeWarning", "-m", f"tests.benchmarks.{name}", *TINY[name]]
    done = subprocess.run(command, capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 0, done.stderr
    assert any(character.isdigit() for character in done.stdout)
