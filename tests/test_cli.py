"""The commands do what the README says, with results on stdout, messages on stderr and three exit codes."""

from __future__ import annotations

import csv
import json
import subprocess
import sys
from pathlib import Path

import openpyxl
import pytest
from typer.testing import CliRunner, Result

from wqcheck.certificate.data import verify_digest
from wqcheck.cli import app, main
from wqcheck.tables import Ledger, Readings

SAMPLES = Path(__file__).resolve().parent.parent / "sample_results"
CLEAN, TROUBLE = SAMPLES / "run_B2107_clean.xlsx", SAMPLES / "run_B2108_trouble.xlsx"
TRAIN = SAMPLES / "train.toml"
TABLES = ["--limits", "who_gdwq_2022", "--limits", "us_21cfr165_110b"]
PURIFIED = ["--product", "purified", "--train", str(TRAIN)]


def run(*arguments: object) -> Result:
    """Run a command in this process; an unexpected exception is raised here."""
    return CliRunner().invoke(app, [str(argument) for argument in arguments], catch_exceptions=False)


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_read_writes_every_result_and_every_other_cell(tmp_path: Path) -> None:
    """Readings and ledger together hold each non-empty cell of the workbook once, counted by another reader."""
    out, ledger = tmp_path / "readings.csv", tmp_path / "ledger.csv"
    result = run("read", TROUBLE, "--out", out, "--ledger", ledger)
    assert result.exit_code == 0
    readings, others = rows(out), rows(ledger)
    assert list(readings[0]) == list(Readings.to_schema().columns)
    assert list(others[0]) == list(Ledger.to_schema().columns)
    sheet = openpyxl.load_workbook(TROUBLE).active
    assert sheet is not None
    filled = {cell.coordinate for row in sheet.iter_rows() for cell in row if cell.value is not None}
    cells = [row["cell"] for row in readings + others]
    assert len(cells) == len(set(cells))
    assert set(cells) == filled
    assert all(row["role"] and row["reason"] for row in others)


def test_a_clean_batch_is_released_with_exit_code_0() -> None:
    result = run("check", CLEAN, *TABLES, *PURIFIED)
    assert result.exit_code == 0
    assert "RELEASE" in result.stdout
    assert "fail" not in result.stdout.split("batch B2107")[0].replace("0 fail", "")


def test_a_batch_that_fails_is_not_released_and_says_where(tmp_path: Path) -> None:
    out = tmp_path / "judged.csv"
    result = run("check", TROUBLE, *TABLES, "--limits", SAMPLES / "plant_specification.csv", *PURIFIED, "--out", out)
    assert result.exit_code == 1
    assert "REJECT" in result.stdout
    assert "arsenic" in result.stdout
    assert "Escherichia coli is required and has no result" in result.stdout
    assert "does not prove the limit of none in 250 mL" in result.stdout
    assert {row["verdict"] for row in rows(out)} >= {"pass", "fail", "undetermined", "no limit"}


def test_json_of_check_says_the_same_as_the_text() -> None:
    result = run("check", TROUBLE, *TABLES, *PURIFIED, "--json")
    data = json.loads(result.stdout)
    assert result.exit_code == 1
    assert data["decision"]["disposition"] == "reject"
    kinds = {"workbook", "limit table", "sampling plans", "train", "release rules", "judging rules"}
    assert {file["kind"] for file in data["files"]} == kinds
    assert [rule["table"] for rule in data["decision_rules"]] == [
        "who_gdwq_2022", "us_21cfr165_110b", "usual bands"
    ]  # fmt: skip
    assert all(rule["rule"].startswith("simple acceptance; absolute comparison") for rule in data["decision_rules"])
    assert all(len(file["sha256"]) == 64 for file in data["files"])


def test_the_strictest_table_is_shown_once_for_each_result(tmp_path: Path) -> None:
    out = tmp_path / "judged.csv"
    run("check", TROUBLE, *TABLES, *PURIFIED, "--strictest", "--out", out)
    lead = [row for row in rows(out) if row["parameter"] == "lead" and row["reported"] == "<10"]
    assert [(row["table"], row["verdict"]) for row in lead] == [("us_21cfr165_110b", "undetermined")]


def test_stages_prints_bounds_for_non_detects() -> None:
    result = run("stages", SAMPLES / "commissioning_crosstab.xlsx", "--train", TRAIN, "--json")
    table = json.loads(result.stdout)
    assert result.exit_code == 0
    assert {row["bound"] for row in table} == {"exact", "at least", "unknown", "at most"} - (
        {"at most"} - {row["bound"] for row in table}
    )
    arsenic = next(row for row in table if row["stage"] == "whole train" and row["parameter"] == "arsenic")
    assert arsenic["bound"] == "at least"
    assert arsenic["removal_percent"] == pytest.approx(100 * (1 - 0.5 / 8.6))


def test_a_certificate_is_written_in_three_forms(tmp_path: Path) -> None:
    result = run("certificate", CLEAN, "--batch", "B2107", *TABLES, *PURIFIED, "--signed-by", "A. Person (invented)",
                 "--number", "C-1", "--out", tmp_path)  # fmt: skip
    assert result.exit_code == 0
    written = {path.suffix: path for path in tmp_path.iterdir()}
    assert set(written) == {".pdf", ".xlsx", ".json"}
    text = written[".json"].read_text(encoding="utf-8")
    assert json.loads(text)["kind"] == "certificate of batch release"
    assert verify_digest(text)
    assert written[".pdf"].read_bytes().startswith(b"%PDF")


def test_a_batch_that_is_not_released_gets_a_notice_instead(tmp_path: Path) -> None:
    result = run("certificate", TROUBLE, "--batch", "B2108", *TABLES, *PURIFIED, "--signed-by", "A. Person (invented)",
                 "--number", "N-1", "--out", tmp_path)  # fmt: skip
    assert result.exit_code == 1
    assert json.loads((tmp_path / "N-1.json").read_text(encoding="utf-8"))["kind"] == "reject notice"


def test_results_of_another_batch_release_nothing(tmp_path: Path) -> None:
    result = run("check", CLEAN, *TABLES, *PURIFIED, "--batch", "B9999")
    assert result.exit_code == 1
    assert "there is no result of the finished water" in result.stdout


def test_limits_are_listed_shown_and_checked(tmp_path: Path) -> None:
    listed = run("limits", "list").stdout
    assert {"who_gdwq_2022", "eu_2020_2184", "us_21cfr165_110b"} <= {
        line.split("\t")[0] for line in listed.splitlines()
    }
    shown = json.loads(run("limits", "show", "eu_2020_2184", "--product", "packaged", "--json").stdout)
    assert all("packaged" in row["product"] or row["product"] == "any" for row in shown)
    bad = tmp_path / "bad.csv"
    table = (SAMPLES / "plant_specification.csv").read_text(encoding="utf-8").replace("bromate,max", "bromat,max")
    bad.write_text(table.replace(",0.5,NTU", ",half,NTU"), encoding="utf-8")
    result = run("limits", "check", bad, SAMPLES / "plant_specification.csv")
    assert result.exit_code == 2
    assert "line 7, column upper" in result.stderr
    assert "line 8, column parameter" in result.stderr
    assert "8 rows, sound" in result.stdout


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["check", "missing.xlsx", *TABLES], "missing.xlsx does not exist"),
        (["check", str(CLEAN), "--limits", "who_2022"], "no such file and no such shipped table"),
        (["check", str(CLEAN), *TABLES, "--product", "holy"], "product must be one of"),
        (["check", str(CLEAN), *TABLES, "--on", "yesterday"], "takes a day like 2026-03-31"),
        (["stages", str(CLEAN), "--train", str(CLEAN)], "run_B2107_clean.xlsx"),
    ],
)
def test_what_cannot_be_checked_ends_with_a_sentence_and_exit_code_2(
    arguments: list[str], sentence: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "argv", ["wqcheck", *arguments])
    with pytest.raises(SystemExit) as stopped:
        main()
    shown = capsys.readouterr()
    assert stopped.value.code == 2
    assert sentence in shown.err
    assert "Traceback" not in shown.err
    assert not shown.out


def test_demo_leaves_a_certificate_and_a_notice(tmp_path: Path) -> None:
    """The README's first command, run as a user does, in a process of its own."""
    command = [sys.executable, "-m", "wqcheck.cli", "demo", "--out", str(tmp_path / "demo")]
    done = subprocess.run(command, capture_output=True, text=True, check=True, timeout=120)
    kinds = [
        json.loads(path.read_text(encoding="utf-8"))["kind"] for path in sorted((tmp_path / "demo").glob("*.json"))
    ]
    assert kinds == ["certificate of batch release", "reject notice"]
    assert "Open " in done.stdout
    assert len(list((tmp_path / "demo").glob("*.pdf"))) == 2


def test_help_imports_nothing_heavy() -> None:
    code = (
        "import sys; sys.argv = ['wqcheck', '--help']\n"
        "from wqcheck.cli import main\n"
        "try:\n    main()\nexcept SystemExit:\n    pass\n"
        "print(sorted({'pandas', 'pandera', 'pint', 'streamlit', 'typst', 'openpyxl'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.rstrip().endswith("[]")
