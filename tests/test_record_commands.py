"""The commands over the record store do what the README says, with clear refusals and exit codes."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from wqcheck.cli import app
from wqcheck.errors import RecordRefusedError, StoreError, WqcheckError

SAMPLES = Path(__file__).resolve().parent.parent / "sample_results"


def run(place: Path, *arguments: object) -> Result:
    """Run a command of the records in this process; an unexpected exception is raised here."""
    given = ["records", *map(str, arguments), "--store", str(place)]
    return CliRunner().invoke(app, given, catch_exceptions=False)


def test_a_batch_from_sheet_to_certificate_and_back(tmp_path: Path) -> None:
    place, papers = tmp_path / "records.sqlite", tmp_path / "papers"
    with pytest.raises(StoreError, match="wqcheck records init"):
        run(place, "batches")
    assert run(place, "init").exit_code == 0
    book = SAMPLES / "run_B2107_clean.xlsx"
    taken = run(place, "import", book, "--limits", "us_21cfr165_110b", "--product", "purified", "--train",
                SAMPLES / "train.toml", "--as", "Ada")  # fmt: skip
    assert "taken in, check 1" in taken.stdout
    run(place, "review", "B2107", "--as", "Rui")
    with pytest.raises(RecordRefusedError, match="two different people"):
        run(place, "release", "B2107", "--as", "Rui")
    run(place, "release", "B2107", "--as", "Mei")
    issued = run(place, "issue", "B2107", "--as", "Mei", "--out", papers, "--pattern", "Q{number:03d}")
    assert issued.stdout.split() == [str(papers / f"Q001.{form}") for form in ("json", "pdf", "xlsx")]
    assert "Q001" in run(place, "show", "B2107").stdout
    assert "Q001" in run(place, "touched", "workbook", book.name).stdout
    sound = run(place, "verify", "--certificate", papers / "Q001.json")
    assert (sound.exit_code, "sound; 4 log entries" in sound.stdout) == (0, True)
    assert run(place, "log").stdout.splitlines()[-1].startswith("head 4:")
    cut = run(place, "verify", "--anchor", f"9:{'0' * 64}")
    assert (cut.exit_code, "the end was cut off" in cut.stdout) == (1, True)
    assert run(place, "backup", tmp_path / "b.zip").exit_code == 0
    assert "restored and sound" in run(tmp_path / "again.sqlite", "restore", tmp_path / "b.zip").stdout
    assert run(place, "export", tmp_path / "e.zip").exit_code == 0
    gone = run(place, "withdraw", "B2107", "--as", "Mei", "--why", "cap defect", "--out", papers).stdout
    assert "documents withdrawn: Q001" in gone
    assert (papers / "Q001-withdrawn.pdf").read_bytes().startswith(b"%PDF")
    assert "withdrawn" in run(place, "batches", "--state", "withdrawn", "--json").stdout


def test_parts_of_a_batch_and_plant_readings_are_recorded(tmp_path: Path) -> None:
    """Sub-lot, retained and linked sample stand in ``show``; days and roles are asked for in clear words."""
    place = tmp_path / "records.sqlite"
    run(place, "init")
    run(place, "import", SAMPLES / "run_B2107_clean.xlsx", "--limits", "us_21cfr165_110b", "--product", "purified",
        "--train", SAMPLES / "train.toml", "--as", "Ada")  # fmt: skip
    run(place, "sub-lot", "B2107", "P-01", "--containers", "1 to 960", "--as", "Ada")
    kept = ("--quantity", "6 bottles of 0.5 L", "--kept-at", "shelf 3")
    run(place, "retain", "B2107", "R-01", *kept, "--keep-until", "2027-03-31", "--as", "Ada")
    run(place, "link", "B2107", "Y-2026", "--role", "yearly panel", "--valid-until", "2026-12-31", "--as", "Ada")
    shown = run(place, "show", "B2107").stdout
    assert all(code in shown for code in ("P-01", "R-01", "Y-2026"))
    with pytest.raises(WqcheckError, match="--keep-until takes a day like"):
        run(place, "retain", "B2107", "R-02", *kept, "--keep-until", "31/3/27", "--as", "Ada")
    with pytest.raises(WqcheckError, match="--role must be one of finished product"):
        run(place, "link", "B2107", "Y-2027", "--role", "panel", "--as", "Ada")
    day = run(place, "plant-readings", SAMPLES / "plant_readings.toml", "--on", "2026-03-04", "--as", "Ada")
    assert "recorded for 2026-03-04" in day.stdout
    assert run(place, "verify").exit_code == 0


def test_sheets_without_limits_are_kept_for_later(tmp_path: Path) -> None:
    place = tmp_path / "records.sqlite"
    run(place, "init")
    kept = run(place, "import", SAMPLES / "run_B2108_trouble.xlsx", "--as", "Ada")
    assert "1 of them new" in kept.stdout
    assert run(place, "batches").stdout == ""


def test_a_people_file_decides_who_may(tmp_path: Path) -> None:
    place, people = tmp_path / "records.sqlite", tmp_path / "people.toml"
    people.write_text('[[people]]\nperson = "otto"\nroles = ["auditor"]\n', encoding="utf-8")
    run(place, "init")
    with pytest.raises(RecordRefusedError, match=r"otto may not receive sheets: .* they are an auditor"):
        run(place, "import", SAMPLES / "run_B2108_trouble.xlsx", "--as", "otto", "--people", people)


def test_a_remark_is_kept_on_one_result_and_shown_with_the_batch(tmp_path: Path) -> None:
    place = tmp_path / "records.sqlite"
    run(place, "init")
    run(place, "import", SAMPLES / "run_B2108_trouble.xlsx", "--limits", "us_21cfr165_110b", "--product", "purified",
        "--as", "Ada")  # fmt: skip
    kept = run(place, "remark", "B2108", "Called the laboratory.", "--cell", "Run B2108!Q16", "--as", "Rui")
    about = "run_B2108_trouble.xlsx|Run B2108!Q16 (arsenic)"
    assert kept.stdout == f"batch B2108: remark kept, about {about}\n"
    run(place, "remark", "B2108", "Bottles stood in the sun.", "--as", "Rui")
    shown = run(place, "show", "B2108").stdout
    assert about in shown
    assert "Bottles stood in the sun." in shown
    with pytest.raises(RecordRefusedError, match="no judged result has cell Q99"):
        run(place, "remark", "B2108", "Nowhere.", "--cell", "Q99", "--as", "Rui")
    with pytest.raises(RecordRefusedError, match=r"3 results fit .*; give cell and parameter"):
        run(place, "remark", "B2108", "Which?", "--parameter", "arsenic", "--as", "Rui")
    with pytest.raises(RecordRefusedError, match="the remark is blank"):
        run(place, "remark", "B2108", " ", "--cell", "Q16", "--as", "Rui")


def test_the_summary_of_a_period(tmp_path: Path) -> None:
    """It writes three files, says what it counted, and refuses what is no period or no series."""
    place, out = tmp_path / "records.sqlite", tmp_path / "summaries"
    run(place, "init")
    run(place, "import", SAMPLES / "run_B2107_clean.xlsx", "--limits", "us_21cfr165_110b", "--product", "purified",
        "--train", SAMPLES / "train.toml", "--as", "Ada")  # fmt: skip
    made = run(place, "summary", "--from", "2026-01-01", "--to", "2026-12-31", "--out", out, "--chart", "lead@nowhere")
    stem = "summary_2026-01-01_2026-12-31"
    assert made.stdout.split() == [str(out / f"{stem}.{form}") for form in ("pdf", "xlsx", "json")]
    assert made.stderr.startswith("1 batch(es)")
    assert "lead@nowhere has no results" in made.stderr
    with pytest.raises(WqcheckError, match="a period is written"):
        run(place, "summary", "--period", "spring", "--out", out)
    with pytest.raises(WqcheckError, match="PARAMETER@POINT"):
        run(place, "summary", "--period", "2026", "--out", out, "--chart", "gold dust")
