"""A result that no limit table binds must lie in its usual band; one outside, or that cannot be compared, holds."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from tests.plain_batches import Row, checked, rows_of
from wqcheck.certificate.data import issue_certificate, issue_notice, to_json
from wqcheck.errors import PlantFileError
from wqcheck.release.decision import BatchCheck, Disposition, load_release_rules
from wqcheck.shipped_files import shipped_folder
from wqcheck.tables import Verdict
from wqcheck.verification.paper import verify_paper
from wqcheck.verification.recomputing import verdict_problems

EC = "Conductivity at 20 °C"
US, EU = "us_21cfr165_110b", "eu_2020_2184"
SECTION = "\n[usual]\n"
WHEN = datetime(2026, 6, 19, 12, tzinfo=UTC)


def with_result(name: str, *result: Any) -> list[Row]:
    """Return the plain panel with another result of the parameter *name*."""
    return [(*row[:5], *result) if row[4] == name else row for row in rows_of()]


def against(check: BatchCheck) -> list[str]:
    return [reason.message for reason in check.decision.reasons if reason.disposition != Disposition.RELEASE]


@pytest.mark.parametrize(
    ("table", "name", "result", "unit"),
    [
        (US, "pH", 0.7, "pH"), (US, "pH", 13, "pH"), (US, "pH", "<7", "pH"), (US, "pH", ">6", "pH"),
        (US, "pH", "4-7", "pH"), (US, EC, 0, "µS/cm"), (US, EC, 60, "mS/cm"), (US, EC, "<2000", "µS/cm"),
        (US, EC, ">5", "µS/cm"), (EU, EC, 0, "µS/cm"), (EU, "Turbidity", "<100", "NTU"), (EU, "Turbidity", 12, "NTU"),
        (US, EC, 60, "mg/L"),
    ],
)  # fmt: skip
def test_a_figure_that_is_not_usual_holds(table: str, name: str, result: Any, unit: str) -> None:
    """Neither table limits these: 21 CFR 165.110(b) names no pH and conductivity, Annex I no figure of turbidity."""
    check = checked(with_result(name, result, unit), limits=[table])
    assert check.decision.disposition == Disposition.HOLD
    assert any("usual band" in message for message in against(check))


@pytest.mark.parametrize(
    ("table", "name", "result", "unit"),
    [
        (US, "pH", 5.6, "pH"), (US, "pH", 7, None), (US, "pH", "6.1-7.2", "pH"), (US, EC, "<10", "µS/cm"),
        (US, EC, 2, "µS/cm"), (EU, EC, "<2000", "µS/cm"), (EU, "Turbidity", "<0.5", "NTU"), (EU, "Turbidity", 0, "NTU"),
    ],
)  # fmt: skip
def test_a_usual_figure_does_not_hold(table: str, name: str, result: Any, unit: str | None) -> None:
    """A non-detect of conductivity says nothing about the lower end of its band."""
    check = checked(with_result(name, result, unit), limits=[table])
    assert check.decision.disposition == Disposition.RELEASE, against(check)


def test_a_band_counts_only_where_no_limit_binds(tmp_path: Path) -> None:
    """Turbidity 3 NTU meets 21 CFR 165.110(b)(3)(i), 5 NTU, and lies outside the band of purified water."""
    rows = with_result("Turbidity", 3, "NTU")
    assert checked(rows, limits=[US]).decision.disposition == Disposition.RELEASE
    assert checked(rows, limits=[EU]).decision.disposition == Disposition.HOLD
    assert checked(rows, limits=[EU], product="packaged").decision.disposition == Disposition.RELEASE


def test_a_class_that_only_informs_does_not_let_a_band_go(tmp_path: Path) -> None:
    silica = ("Silica as SiO2", 900, "mg/L")
    path = rules_file(tmp_path, "note_classes = []", 'note_classes = ["operational"]')
    path.write_text(path.read_text("utf-8").replace(', "operational"]\nnote', "]\nnote"), "utf-8")
    assert checked(rows_of(silica), rules=path).decision.disposition == Disposition.RELEASE
    banded = path.read_text("utf-8").replace(
        SECTION, SECTION + 'silica = { upper = 50, unit = "mg/L", basis = "SiO2" }\n'
    )
    path.write_text(banded, "utf-8")
    assert checked(rows_of(silica), rules=path).decision.disposition == Disposition.HOLD


def test_the_paper_shows_the_band_and_verifying_recomputes_it() -> None:
    good = issue_certificate(checked(rows_of()), number="1", signed_by="M. Quell (invented)", issued_at=WHEN)
    lines = [line for line in good.results if line.table == "usual bands"]
    assert {line.parameter: (line.limit_lower, line.limit_upper) for line in lines} == {
        "ph": (4.5, 10), "electrical_conductivity": (0.5, 1000)
    }  # fmt: skip
    assert all(line.clause == "release rules" and not line.unverified for line in lines)
    assert "usual bands" in {entry.table for entry in good.decision_rules}
    assert verify_paper(to_json(good).encode()).sound
    check = checked(with_result("pH", 0.7, "pH"))
    bad = issue_notice(check, number="2", signed_by="M. Quell (invented)", issued_at=WHEN)
    assert verify_paper(to_json(bad).encode()).sound
    changed = tuple(
        replace(line, verdict=str(Verdict.PASS)) if line.parameter == "ph" else line for line in bad.results
    )
    assert any("pH" in problem for problem in verdict_problems(replace(bad, results=changed)))


def rules_file(folder: Path, old: str, new: str) -> Path:
    text = (shipped_folder("limits") / "release_rules.toml").read_text(encoding="utf-8")
    assert old in text
    path = folder / "rules.toml"
    path.write_text(text.replace(old, new), encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('ph = { lower = 4.5, upper = 10, unit = "pH" }', "", "reported_only: 'ph' has no band under [usual] for tap"),
        ("lower = 4.5", "lower = 14", "lower must be at most upper"),
        ("lower = 4.5", 'lower = "4.5"', "lower: it must be a number"),
        ("lower = 4.5", "lower = nan", "lower: it must be a number"),
        ("lower = 4.5, upper = 10", "lower = 4.5", "it has no upper end"),
        ('unit = "pH"', 'unit = "mg/L"', "the unit (and basis) must fit pH"),
        ('unit = "NTU" }', 'units = "NTU" }', "the key 'units' is not known"),
        ("total_dissolved_solids = { upper = 1500", "solids = { upper = 1500", "solids: this is no kind of water"),
        (', basis = "25 °C"', "", "the unit (and basis) must fit µS/cm on 25 °C"),
        (SECTION, SECTION + 'total_coliforms = { upper = 0, unit = "CFU" }\n', "volume_ml: it is missing"),
        (SECTION, SECTION + "silica = 50\n", "it must be a band"),
    ],
)  # fmt: skip
def test_a_wrong_band_is_refused_with_a_sentence(tmp_path: Path, old: str, new: str, told: str) -> None:
    with pytest.raises(PlantFileError) as refused:
        load_release_rules(rules_file(tmp_path, old, new))
    assert told in str(refused.value)


def test_usual_that_is_no_table_is_refused(tmp_path: Path) -> None:
    text = (shipped_folder("limits") / "release_rules.toml").read_text(encoding="utf-8")
    path = tmp_path / "rules.toml"
    start, end = text.index(SECTION), text.index("# What every batch must have a result for")
    path.write_text("usual = 3\n" + text[:start] + text[end:], encoding="utf-8")
    with pytest.raises(PlantFileError, match="usual: it must be a table"):
        load_release_rules(path)
