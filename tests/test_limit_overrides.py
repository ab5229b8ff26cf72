"""An own row takes the place of published rows only where that does not relax what guards health."""

from __future__ import annotations

from datetime import date

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.limit_rows import table_of
from tests.table_rows import readings_of
from wqcheck.findings import Finding, Severity
from wqcheck.judging.judge import judge
from wqcheck.limit_comparison.overrides import IDLE, OVERRIDE, REFUSED, RELAXED, apply_overrides
from wqcheck.limit_tables.loading import LimitTable

DAY = date(2026, 11, 25)
OWN = {"status": "overrides published"}


def applied(own: dict[str, str], *published: dict[str, str]) -> tuple[LimitTable, tuple[Finding, ...]]:
    """Return the published table after the override, and the findings."""
    tables = [table_of("published", *published), table_of("plant", {**OWN, **own})]
    (left, _), found = apply_overrides(tables, product="packaged")
    return left, found


def codes(found: tuple[Finding, ...]) -> list[str]:
    return [finding.code for finding in found]


def test_a_stricter_own_row_puts_a_health_row_aside_with_a_note() -> None:
    left, found = applied({"upper": "5"}, {"upper": "10"}, {"parameter": "copper", "upper": "2"})
    assert left.rows["parameter"].to_list() == ["copper"]
    assert [(f.code, f.severity, f.where) for f in found] == [(OVERRIDE, Severity.NOTE, "plant.csv, line 2")]
    assert "at most 5 µg/L" in found[0].message
    assert "published, at most 10 µg/L (no. 1), was put aside" in found[0].message


@pytest.mark.parametrize("guarded", ["health", "microbiological", "radiological"])
@pytest.mark.parametrize(
    ("own", "word"),
    [
        ({"upper": "20"}, "less strict"),
        ({"rule": "mean_max", "upper": "5"}, "cannot be ranked"),
        ({"rule": "guidance", "unit": "", "note": "not needed here"}, "cannot be ranked"),
        ({"upper": "5", "unit": "NTU"}, "cannot be ranked"),
    ],
)
def test_a_row_that_guards_health_never_gives_way_to_a_laxer_one(guarded: str, own: dict[str, str], word: str) -> None:
    left, found = applied({**own, "class": "indicator"}, {"upper": "10", "class": guarded})
    assert len(left.rows) == 1
    assert [(f.code, f.severity) for f in found] == [(REFUSED, Severity.HOLD)]
    assert word in found[0].message


def test_an_indicator_row_gives_way_even_to_a_laxer_one() -> None:
    left, found = applied({"upper": "20"}, {"upper": "10", "class": "indicator"})
    assert left.rows.empty
    assert codes(found) == [RELAXED]
    assert "not known to be as strict" in found[0].message


def test_a_health_row_never_gives_way_to_a_row_of_a_class_that_does_not_reject() -> None:
    left, found = applied({"upper": "5", "class": "operational"}, {"upper": "10"})
    assert len(left.rows) == 1
    assert [(f.code, f.severity) for f in found] == [(REFUSED, Severity.HOLD)]
    assert "operational, does not reject" in found[0].message


def test_a_sum_never_gives_way_to_a_limit_on_a_total_that_nobody_reported() -> None:
    """Chloroform and bromoform of 900 µg/L each would else be compared with nothing."""
    total = {"parameter": "trihalomethanes_total", "unit": "mg/L", "upper": "0.08"}
    summed = {**total, "rule": "sum_max", "members": "chloroform;bromoform"}
    left, found = applied({**total, "rule": "max"}, summed)
    assert len(left.rows) == 1
    assert codes(found) == [REFUSED]
    assert "does not add up the members" in found[0].message
    assert codes(applied(summed, summed)[1]) == [OVERRIDE]


def test_a_range_gives_way_only_when_both_ends_are_kept() -> None:
    ph = {"parameter": "ph", "rule": "range", "unit": "pH"}
    published = {**ph, "lower": "6.5", "upper": "9.5"}
    assert codes(applied({**ph, "lower": "6.5", "upper": "8.5"}, published)[1]) == [OVERRIDE]
    assert codes(applied({**ph, "lower": "4.5", "upper": "9.5"}, published)[1]) == [REFUSED]


def test_on_days_on_which_the_own_row_does_not_hold_the_published_one_does() -> None:
    own = {"upper": "5", "valid_from": "2026-06-01", "valid_to": "2026-12-31"}
    left, _ = applied(own, {"upper": "10", "valid_from": "2020-01-01"})
    days = [(str(row.valid_from)[:10], str(row.valid_to)[:10]) for row in left.rows.itertuples()]
    assert days == [("2020-01-01", "2026-05-31"), ("2027-01-01", "NaT")]
    assert codes(applied(own, {"upper": "10", "valid_to": "2026-05-31"})[1]) == [IDLE]


def test_rows_for_other_waters_are_left_alone() -> None:
    left, found = applied({"upper": "5"}, {"upper": "10", "product": "tap"}, {"upper": "9", "product": "packaged;tap"})
    assert left.rows["product"].to_list() == ["tap"]
    assert codes(found) == [OVERRIDE]
    assert codes(applied({"upper": "5", "product": "tap"}, {"upper": "10"})[1]) == []


def test_a_name_that_is_not_given_is_said() -> None:
    tables = [table_of("plant", {"upper": "5", "status": "overrides publisched; plant"})]
    (left,), found = apply_overrides(tables, product="tap")
    assert left is tables[0]
    assert [(f.code, f.severity) for f in found] == [(IDLE, Severity.NOTE)] * 2
    assert "publisched is not among" in found[0].message


def test_other_marks_override_nothing() -> None:
    tables = [table_of("published", {"upper": "10"}), table_of("plant", {"upper": "5", "status": "provisional"})]
    left, found = apply_overrides(tables, product="tap")
    assert left == tables
    assert found == ()


def test_tables_of_one_name_are_both_overridden_and_none_is_lost() -> None:
    tables = [table_of("published", {"upper": "10"}, {"parameter": "zinc", "upper": "3"}),
              table_of("published", {"upper": "20"}, {"parameter": "iron", "upper": "2"}),
              table_of("plant", {**OWN, "upper": "5"})]  # fmt: skip
    left, found = apply_overrides(tables, product="tap")
    assert [table.rows["parameter"].to_list() for table in left] == [["zinc"], ["iron"], ["lead"]]
    assert codes(found) == [OVERRIDE, OVERRIDE]


@settings(deadline=None, max_examples=25)
@given(
    own=st.sampled_from(["1", "5", "10", "20"]),
    theirs=st.sampled_from(["1", "5", "10", "20"]),
    value=st.sampled_from([0.5, 1, 3, 7, 10, 15, 30]),
    kind=st.sampled_from(["health", "microbiological", "radiological"]),
)
def test_no_override_turns_a_failure_against_a_health_limit_into_a_pass(
    own: str, theirs: str, value: float, kind: str
) -> None:
    tables = [table_of("published", {"upper": theirs, "class": kind}), table_of("plant", {**OWN, "upper": own})]
    left, _ = apply_overrides(tables, product="packaged")
    reading = readings_of([{"parameter": "lead", "value": value, "reported": str(value), "unit": "µg/L"}])
    before, after = (judge(reading, some, product="packaged", on=DAY)["verdict"] for some in (tables, left))
    assert ("fail" in set(before)) == ("fail" in set(after))


def test_what_was_given_is_left_as_it_is() -> None:
    tables = [table_of("published", {"upper": "10"}), table_of("plant", {**OWN, "upper": "5"})]
    copies = [table.rows.copy() for table in tables]
    apply_overrides(tables, product="tap")
    for table, copy in zip(tables, copies, strict=True):
        pd.testing.assert_frame_equal(table.rows, copy)
