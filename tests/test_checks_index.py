"""The table of outside checks is up to date and long enough to mean something."""

from __future__ import annotations

from tests.checks_index import SUBJECTS, TABLE, checks, table


def test_the_table_is_what_the_tests_say_now() -> None:
    assert TABLE.read_text("utf-8") == table(), "run python -m tests.checks_index"


def test_statistics_consistency_and_judging_rest_on_sixty_checks_or_more() -> None:
    found = list(checks())
    judged = [check for check in found if check.subject in list(SUBJECTS)[:3]]
    assert len(judged) >= 60
    assert len({check.test for check in found}) == len(found)
    assert all(check.citation and check.figure for check in found)


def test_a_docstring_without_a_source_is_no_check() -> None:
    tests = {check.test for check in checks()}
    assert "test_series_rules.py::test_running_annual_average_of_trihalomethanes" in tests
    assert "test_series_rules.py::test_the_compliant_share_leaves_undecidable_results_open" not in tests
