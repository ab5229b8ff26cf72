"""The commissioning report says the same in PDF, workbook and JSON, and the command line tells it in one call."""

from __future__ import annotations

import hashlib
import json
import subprocess
import sys
from io import BytesIO
from pathlib import Path
from typing import Any

import openpyxl
import pikepdf
import pytest

from wqcheck.batch import take_in
from wqcheck.errors import WqcheckError
from wqcheck.plant.log import joined, open_plant_readings
from wqcheck.release.decision import FileStamp
from wqcheck.tables import StageVerdict
from wqcheck.train.commissioning import CAUTIONS, commission
from wqcheck.train.description import load_train
from wqcheck.train.expectations import load_expectations
from wqcheck.train_files.data import report_data, to_json
from wqcheck.train_files.writing import pdf_bytes, workbook_bytes, write_report

SAMPLES = Path(__file__).parent.parent / "sample_results"
TRAIN = SAMPLES / "train_equipped.toml"
STAMP = FileStamp(name="x.xlsx", sha256="0" * 64, kind="workbook")


def data_of(book: str, *plants: str, us_units: bool = False) -> dict[str, Any]:
    plant = joined(*(open_plant_readings(SAMPLES / name) for name in plants)) if plants else None
    report = commission(take_in([SAMPLES / book]).readings, load_train(TRAIN), load_expectations(), plant=plant)
    return report_data(report, number="T-1", issued_at="2025-05-21T09:00:00+00:00", files=[STAMP], us_units=us_units)


@pytest.fixture(scope="module")
def faulty() -> dict[str, Any]:
    return data_of("commissioning_faults.xlsx", "plant_readings.toml", "plant_log_faults.xlsx")


def text_of(pdf: bytes) -> str:
    """Return the text of a PDF, spaces and line ends made one space."""
    run = subprocess.run(["pdftotext", "-layout", "-", "-"], input=pdf, capture_output=True, check=True)
    return " ".join(run.stdout.decode().split())


def test_the_report_holds_every_chapter(faulty: dict[str, Any]) -> None:
    assert [one["code"] for one in faulty["suspects"]][:2] == ["chlorine at the membranes", "weak UV"]
    assert list(faulty["figures"]) == [
        *("Membranes", "Scaling of the concentrate", "Before the membranes", "Disinfection"),
        *("Fit in flow", "Service", "Equipment"),
    ]
    limiting = [one["name"] for one in faulty["figures"]["Fit in flow"] if "limits" in one["name"]]
    assert limiting == ["product that reverse osmosis allows; it limits"]
    assert {"common practice, no source", "ASTM D4516"} <= set(faulty["sources"])
    assert any("JCGM 100" in source for source in faulty["sources"])
    assert faulty["cautions"] == list(CAUTIONS)
    assert len(faulty["balance"]) >= 14


def test_json_carries_its_own_digest_and_is_the_same_each_time(faulty: dict[str, Any]) -> None:
    text = to_json(faulty)
    read = json.loads(text)
    digest = read.pop("content_digest")
    again = json.dumps(read, ensure_ascii=False, indent=2, sort_keys=True) + "\n"
    assert hashlib.sha256(again.encode()).hexdigest() == digest
    assert to_json(data_of("commissioning_faults.xlsx", "plant_readings.toml", "plant_log_faults.xlsx")) == text


def test_the_pdf_names_both_faults_first_and_attaches_the_data(faulty: dict[str, Any]) -> None:
    content = pdf_bytes(faulty)
    words = text_of(content)
    places = [words.index(one["title"]) for one in faulty["suspects"]]
    assert places == sorted(places)
    assert "1. Free chlorine reaches reverse osmosis: activated carbon has broken through" in words
    assert "2. UV is weak after a dirty product tank" in words
    for said in ("Caution.", "Check next.", "worse than inlet", "Balance around the membranes", "Fit in flow"):
        assert said in words
    with pikepdf.open(BytesIO(content)) as pdf:
        attached = pdf.attachments["T-1.json"].get_file().read_bytes()
    assert attached.decode() == to_json(faulty)


def test_a_clean_report_says_that_no_rule_found_anything_and_what_that_means() -> None:
    clean = data_of("commissioning_clean.xlsx", "plant_log_clean.csv")
    words = text_of(pdf_bytes(clean))
    assert "No rule found anything." in words
    assert "does not mean that nothing is wrong" in words
    assert "Fit in flow was not computed" in words
    for word in (StageVerdict.WEAK, StageVerdict.WORSE, StageVerdict.UNEXPLAINED):
        assert all(stage[word] == 0 for stage in clean["summary"])


def test_the_workbook_holds_every_removal_and_no_formula(faulty: dict[str, Any]) -> None:
    book = openpyxl.load_workbook(BytesIO(workbook_bytes(faulty)))
    assert book.sheetnames == [
        "Look here first",
        "Stages",
        "Feeds",
        "Balance",
        "Figures",
        "Findings",
        "Sources",
        "Files",
    ]
    assert book["Stages"].max_row == len(faulty["stages"]) + 1
    assert book["Look here first"]["B2"].value == "activated carbon"
    assert not any(cell.data_type == "f" for sheet in book.worksheets for row in sheet.iter_rows() for cell in row)


def test_figures_are_shown_in_either_system_with_the_same_words() -> None:
    one, other = (data_of("commissioning_clean.xlsx", "plant_log_clean.csv", us_units=us) for us in (False, True))
    shown = [{f["name"]: f["shown"] for f in data["figures"]["Membranes"]} for data in (one, other)]
    assert shown[0]["net driving pressure"].endswith("kPa")
    assert shown[1]["net driving pressure"].endswith("psi")
    assert [s["verdict"] for s in one["stages"]] == [s["verdict"] for s in other["stages"]]


def test_four_files_are_written(tmp_path: Path, faulty: dict[str, Any]) -> None:
    written = write_report(faulty, tmp_path / "new")
    assert [path.name for path in written] == ["T-1.pdf", "T-1.xlsx", "T-1.json", "T-1.svg"]
    assert all(path.stat().st_size > 1000 for path in written)
    with pytest.raises(WqcheckError, match="holds another report with this number"):
        write_report({**faulty, "plant": "Another plant"}, tmp_path / "new")


def run(*words: str | Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", "wqcheck.cli", "train", *map(str, words)],
                          capture_output=True, text=True, check=False)  # fmt: skip


def test_commands_check_draw_and_report(tmp_path: Path) -> None:
    checked = run("check", TRAIN)
    assert checked.returncode == 0
    assert "reverse osmosis (reverse osmosis): SP5 → SP6, concentrate CON" in checked.stdout
    assert run("diagram", TRAIN, "--out", tmp_path / "t.svg").returncode == 0
    assert (tmp_path / "t.svg").read_text(encoding="utf-8").startswith("<svg")
    shown = run("diagram", TRAIN, "--out", tmp_path / "c.svg", "--results", SAMPLES / "commissioning_faults.xlsx",
                "--parameter", "chloride")  # fmt: skip
    assert shown.returncode == 0
    assert "removal of chloride" in (tmp_path / "c.svg").read_text(encoding="utf-8")
    assert run("diagram", TRAIN, "--out", tmp_path / "d.svg", "--parameter", "chloride").returncode == 2
    made = run("report", SAMPLES / "commissioning_faults.xlsx", "--train", TRAIN, "--plant",
               SAMPLES / "plant_log_faults.xlsx", "--out", tmp_path, "--number", "N1")  # fmt: skip
    assert made.returncode == 1
    first = made.stdout.index("activated carbon has broken through")
    assert first < made.stdout.index("UV is weak after a dirty product tank")
    assert (tmp_path / "N1.pdf").exists()


def test_a_bad_train_file_ends_with_its_problems_and_code_two(tmp_path: Path) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text(TRAIN.read_text(encoding="utf-8").replace('kind = "uv"', 'kind = "sun"'), encoding="utf-8")
    failed = run("check", bad)
    assert failed.returncode == 2
    assert "the kind 'sun' is not known" in failed.stderr
