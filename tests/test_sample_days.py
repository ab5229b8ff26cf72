"""Results that were sampled on another day than the batch cannot release it, and the reason names sample and day."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from typing import Any

import pytest

from tests.plain_batches import ON, checked, holding, rows_of
from wqcheck.errors import PlantFileError
from wqcheck.release.decision import BatchCheck, Disposition, load_release_rules
from wqcheck.shipped_files import shipped_folder


def reason(check: BatchCheck, code: str) -> str:
    """Return the one reason of that code."""
    (found,) = [reason for reason in check.decision.reasons if reason.code == code]
    return found.message


def test_samples_of_the_run_are_released() -> None:
    for sampled in (datetime(2026, 6, 16, 8, 40), datetime(2026, 6, 16), datetime(2026, 6, 19)):
        assert checked(rows_of(sampled=sampled)).decision.disposition == Disposition.RELEASE


@pytest.mark.parametrize("sampled", [datetime(2026, 6, 15, 8, 40), datetime(2025, 6, 16), datetime(2026, 6, 16, 5, 0)])
def test_a_sample_from_before_the_run_holds(sampled: datetime) -> None:
    check = checked(rows_of(sampled=sampled))
    assert check.decision.disposition == Disposition.HOLD
    assert f"sample S1 was sampled on {sampled:%Y-%m-%d}, before the run" in reason(check, "sampled before the run")


def test_without_the_start_of_the_run_the_age_on_the_day_of_the_check_counts() -> None:
    old, young = (
        checked(rows_of(sampled=day), details={"run_start": ""}) for day in (date(2026, 3, 20), date(2026, 3, 21))
    )
    assert "sample S1 was sampled on 2026-03-20, 91 days before" in reason(old, "sample too old")
    assert young.decision.disposition == Disposition.RELEASE


def test_an_old_panel_without_a_batch_informs_beside_fresh_results() -> None:
    """Lead of a yearly panel: it is judged and told, and the fresh panel decides."""
    older = ("P-25", None, "FP", datetime(2025, 9, 1), "Lead", 1.0, "µg/L")
    check = checked([*rows_of(), older])
    assert check.decision.disposition == Disposition.RELEASE
    assert "sampled before the run" in {finding.code for finding in check.findings}
    stated = checked([*rows_of(), ("P-25", "B1", *older[2:])])
    assert holding(stated) == {"sampled before the run"}


@pytest.mark.parametrize("column", ["Sampled", "Received", "Analysed"])
def test_a_day_after_the_check_holds(column: str) -> None:
    heading, *rows = rows_of()
    days = {"Sampled": datetime(2026, 6, 16), "Received": datetime(2026, 6, 17), "Analysed": datetime(2026, 6, 17)}
    days[column] = datetime(2026, 6, 20)
    if column == "Sampled":
        days |= {"Received": datetime(2026, 6, 20), "Analysed": datetime(2026, 6, 20)}
    sheet = [[*heading[:3], "Sampled", "Received", "Analysed", *heading[4:]]]
    sheet += [[*row[:3], *days.values(), *row[4:]] for row in rows]
    check = checked(sheet)
    assert check.decision.disposition == Disposition.HOLD
    assert any(
        f"{column.lower()} on 2026-06-20, after the day of the check, 2026-06-19" in str(r) for r in check.findings
    )


def test_required_results_without_batch_and_day_hold() -> None:
    check = checked(rows_of(sampled=None, batch=None))
    assert "nothing says that they are of B1" in reason(check, "no batch and no day")
    assert checked(rows_of(batch=None)).decision.disposition == Disposition.RELEASE


def test_required_results_with_their_batch_and_no_sampling_day_hold() -> None:
    """A day of receipt or analysis does not say when the sample was taken."""
    assert holding(checked(rows_of(sampled=None))) == {"no sampling day"}
    first, *rows = rows_of(sampled=None)
    dated = [(*first, "Received", "Analysed"), *((*row, datetime(2026, 6, 17), datetime(2026, 6, 17)) for row in rows)]
    assert holding(checked(dated)) == {"no sampling day"}


def test_one_required_result_without_a_day_holds_beside_dated_ones() -> None:
    heading, *rows = rows_of()
    sheet = [heading, *((*row[:3], None if row[4] == "pH" else row[3], *row[4:]) for row in rows)]
    assert holding(checked(sheet)) == {"no sampling day"}


@pytest.mark.parametrize(
    ("sheet", "held"),
    [("Batch B7", True), ("Lote 12-A", True), ("Batch B1", False), ("Results", False), ("Lot", False)],
)
def test_a_sheet_named_for_another_batch_holds(sheet: str, held: bool) -> None:
    assert holding(checked({sheet: rows_of(batch=None)})) == ({"other batch"} if held else set())


def test_a_result_that_is_not_required_may_lack_its_day() -> None:
    check = checked([*rows_of(), ("S1", "B1", "FP", None, "Lead", 1.0, "µg/L")])
    assert check.decision.disposition == Disposition.RELEASE


def test_a_day_on_which_no_row_of_a_table_was_in_force_holds() -> None:
    """21 CFR 165.110(b) stands in the table without days; Directive 98/83/EC was repealed on 2023-01-13.

    Repeal: Article 26 of Directive (EU) 2020/2184. A sample of 2026 finds no row of the repealed one.
    """
    check = checked(rows_of(), limits=["us_21cfr165_110b", "eu_98_83_ec"], product="packaged")
    assert check.decision.disposition == Disposition.HOLD
    assert "was in force on 2026-06-16, when sample S1 was sampled" in reason(check, "no limit in force")


@pytest.mark.parametrize(
    ("start", "held"), [("16/06/2026", False), ("06/07/2026", True), ("night shift", True), ("20 June 2026", True)]
)
def test_the_start_of_the_run_as_text(start: str, held: bool) -> None:
    """06/07/2026 may be 7 June or 6 July: the later one lies after the check."""
    assert (checked(rows_of(), details={"run_start": start}).decision.disposition == Disposition.HOLD) == held


@pytest.mark.parametrize("days", ["-1", "1.5", "true", '"90"'])
def test_sample_days_is_a_whole_number(tmp_path: Path, days: Any) -> None:
    text = (shipped_folder("limits") / "release_rules.toml").read_text(encoding="utf-8")
    path = tmp_path / "rules.toml"
    path.write_text(text.replace("sample_days = 90", f"sample_days = {days}"), encoding="utf-8")
    with pytest.raises(PlantFileError, match="sample_days: it must be a whole number of days"):
        load_release_rules(path)


def test_sample_days_decides(tmp_path: Path) -> None:
    text = (shipped_folder("limits") / "release_rules.toml").read_text(encoding="utf-8")
    path = tmp_path / "rules.toml"
    path.write_text(text.replace("sample_days = 90", "sample_days = 2"), encoding="utf-8")
    check = checked(rows_of(), details={"run_start": ""}, rules=path)
    assert holding(check) == {"sample too old"}
    assert (ON - date(2026, 6, 16)).days == 3
