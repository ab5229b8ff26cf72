"""On CI nothing may be skipped: a missing program there is a mistake of the set-up."""

from __future__ import annotations

import os

import pytest

from tests.record_stores import cluster, place, store

__all__ = ["cluster", "place", "store"]


def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    """Fail a run on CI in which a test was skipped."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if reporter is None or not os.environ.get("CI"):
        return
    skipped = reporter.stats.get("skipped", [])
    if skipped and exitstatus == 0:
        reporter.write_line(f"{len(skipped)} tests were skipped on CI; install what they need", red=True)
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
