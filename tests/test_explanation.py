"""The working of a result can be followed by hand from the cell to the verdict. Sheets and tables are invented."""

from __future__ import annotations

import json
import subprocess
import sys
from datetime import date
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest

from tests.limit_rows import table_of
from tests.table_rows import readings_of
from wqcheck.explanation import Explanation, NothingToExplainError, explain, rows_at
from wqcheck.judging.judge import judge
from wqcheck.judging.rules import JudgingRules
from wqcheck.limit_tables.marks import mark_words
from wqcheck.tables import Judged

DAY = date(2026, 5, 6)
SAMPLES = Path(__file__).resolve().parent.parent / "sample_results"
NITRATE = {"parameter": "nitrate", "rule": "max", "upper": "50", "unit": "mg/L", "basis": "NO3"}
RULES = JudgingRules().overridden("guard band", 0.5)


def working(row: dict[str, Any], *limits: dict[str, str]) -> Explanation:
    judged = judge(readings_of([row]), [table_of("t", *limits)], product="tap", on=DAY, rules=RULES)
    return explain(judged, RULES.statements(["t"]))[-1]


def steps(found: Explanation) -> dict[str, str]:
    return {step.title: step.text for step in found.steps}


def test_a_conversion_of_basis_names_factor_and_molar_masses() -> None:
    """CIAAW abridged standard atomic weights 2021: N 14.007, NO3 62.004 g/mol; 62.004 / 14.007 = 4.4266."""
    row = {
        "parameter": "nitrate", "parameter_text": "Nitrate-N", "reported": "10,5", "value": 10.5, "unit": "mg/L",
        "unit_text": "mg/l N", "basis": "N", "uncertainty": 1.0, "sample": "S7", "point": "FP",
    }  # fmt: skip
    found = steps(working(row, NITRATE))
    assert found["as given"] == "'10,5' for 'Nitrate-N' with the unit 'mg/l N' at book.xlsx|Results!B2 (S7, FP)"
    assert found["read as"] == "the value 10.5; expanded uncertainty 1"
    assert found["unit"] == "mg/L, expressed as N"
    assert found["conversion"].startswith("mg/L as N → mg/L as NO3: × 4.4266438; ")
    assert "molar mass N 14.007 g/mol, NO3 62.004 g/mol" in found["conversion"]
    assert found["conversion"].endswith("; compared as 46.47976 mg/L as NO3")
    assert found["limit"] == "at most 50 mg/L as NO3 (health); t, line 2: Invented table for tests, no. 1"
    assert found["evidence"] == "not verified against the official text: memory"
    assert found["decision rule"].startswith("guard band; guard band w = 0.5 U")
    assert "U = 4.4266438 mg/L" in found["uncertainty"]
    assert "guard band w = 2.2133219 mg/L" in found["uncertainty"]
    assert "probability of conformity 94.4 %" in found["uncertainty"]  # Φ((50 - 46.47976) / (4.42664 / 2)) = 0.9441
    assert found["verdict"].startswith("PASS: reported 10,5 is 46.47976 mg/L and meets")


def test_the_limit_stands_in_the_unit_of_the_result_and_its_own_behind() -> None:
    """SI prefixes: 0.01 mg/L is 10 µg/L; no molar mass is told where none was used."""
    limit = {"parameter": "arsenic", "rule": "max", "upper": "0.01", "unit": "mg/L"}
    row = {"parameter": "arsenic", "reported": "14", "value": 14.0, "unit": "µg/L"}
    found = steps(working(row, limit))
    assert found["limit"].startswith("at most 10 µg/L (0.01 mg/L in the text; health); t, line 2")
    assert found["conversion"] == "µg/L → mg/L: × 0.001; compared as 0.014 mg/L"
    assert steps(working({**row, "unit": "mg/L"}, limit))["conversion"] == "none needed; compared as 14 mg/L"


def test_a_limit_on_another_basis_is_not_rewritten() -> None:
    """A limit as N is never turned into one as NO3 by a rounded molar mass."""
    limit = {**NITRATE, "upper": "10", "basis": "N"}
    row = {"parameter": "nitrate", "reported": "3", "value": 3.0, "unit": "µg/L", "basis": "NO3"}
    assert steps(working(row, limit))["limit"].startswith("at most 10 mg/L as N (health)")


def test_none_found_is_said_with_its_volume() -> None:
    limit = {"parameter": "escherichia_coli", "rule": "absent", "unit": "count", "volume_ml": "250",
             "class": "microbiological"}  # fmt: skip
    row = {"parameter": "escherichia_coli", "reported": "Absent", "sign": "absent", "unit": "CFU", "volume_ml": 100.0}
    assert steps(working(row, limit))["limit"].startswith("none found in 250 mL (microbiological)")


def test_marks_of_the_issuer_are_told_in_words() -> None:
    """WHO Guidelines, Annex 3, notes below Table A3.3 (2022, from memory): A measuring, T treatment."""
    told = mark_words("A, T", "WHO Guidelines for drinking-water quality")
    assert told == "provisional: set by what can be measured; provisional: set by what treatment can reach"
    assert mark_words("A", "a plant's own document") == "A"
    assert mark_words("guidance level", "WHO Guidelines") == "guidance level"
    assert mark_words("", "WHO Guidelines") == ""


def test_a_unit_that_cannot_be_turned_is_said_so() -> None:
    row = {"parameter": "nitrate", "reported": "3", "value": 3.0, "unit": "NTU", "basis": "NO3"}
    found = steps(working(row, NITRATE))
    assert found["conversion"].startswith("none: NTU cannot be turned into mg/L")
    assert found["verdict"].startswith("UNDETERMINED")


def test_a_sum_shows_its_members_and_its_three_bounds() -> None:
    limit = {"parameter": "xylenes", "rule": "sum_max", "upper": "10", "unit": "µg/L", "members": "o_xylene;m_xylene"}
    rows = [
        {"sample": "S", "parameter": "o_xylene", "reported": "6", "value": 6.0, "unit": "µg/L"},
        {"sample": "S", "parameter": "m_xylene", "reported": "<2", "sign": "<", "value": 2.0, "unit": "µg/L"},
    ]
    judged = judge(readings_of(rows), [table_of("t", limit)], product="tap", on=DAY)
    at_second = rows_at(judged, cell="Results!B3")
    assert list(at_second[Judged.parameter]) == ["m_xylene", "xylenes"]
    found = steps(explain(at_second, RULES.statements(["t"]))[-1])
    assert found["as given"].startswith("'o_xylene 6 µg/L; m_xylene <2 µg/L' at book.xlsx|Results!B2; B3")
    assert found["bounds"].startswith("lower bound 6, middle 7, upper 8 µg/L")


def test_a_result_without_a_limit_says_why() -> None:
    found = working({"parameter": "silica", "reported": "4", "value": 4.0, "unit": "mg/L"}, NITRATE)
    assert "no limit for silica" in steps(found)["verdict"]
    assert found.result == "silica beside no limit table"


def test_lines_are_the_steps_in_order() -> None:
    found = working({"parameter": "nitrate", "reported": "3", "value": 3.0, "unit": "mg/L", "basis": "NO3"}, NITRATE)
    assert [line.split("  ")[0] for line in found.lines()] == [step.title for step in found.steps]


def test_what_is_not_there_is_refused_with_what_is() -> None:
    rows = [{"parameter": "nitrate", "sample": "S1", "value": 3.0, "unit": "mg/L"}]
    judged = judge(readings_of(rows), [table_of("t", NITRATE)], product="tap", on=DAY)
    with pytest.raises(NothingToExplainError, match=r"cell Results!Z9; judged results stand at Results!B2"):
        rows_at(judged, cell="Results!Z9")
    with pytest.raises(NothingToExplainError, match="sample S2, parameter nitrate; samples: S1"):
        rows_at(judged, sample="S2", parameter="nitrate")
    with pytest.raises(NothingToExplainError, match="say which result"):
        rows_at(judged)
    assert len(rows_at(judged, cell="b2")) == len(rows_at(judged, cell="book.xlsx|Results!$B$2")) == 1
    assert len(rows_at(judged, sample="S1", parameter="Nitrate")) == 1


def command(*words: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "wqcheck.cli", *map(str, words)], capture_output=True, text=True, check=False
    )


def test_the_command_prints_every_limit_of_a_cell_and_the_caution() -> None:
    book = SAMPLES / "run_B2108_trouble.xlsx"
    options = ("--limits", "eu_2020_2184", "--limits", "us_21cfr165_110b", "--product", "purified")
    result = command("explain", book, *options, "--cell", "Run B2108!Q16", "--decision-rule", "guarded acceptance")
    assert result.returncode == 0
    assert result.stdout.count("as given ") == 2
    assert "arsenic beside eu_2020_2184: fail" in result.stdout
    assert "× 0.001" in result.stdout
    assert "guarded acceptance; guard band w = 1 U" in result.stdout
    assert "an authorised person" in result.stderr
    missing = command("explain", book, *options, "--cell", "Run B2108!A1")
    assert missing.returncode == 2
    assert "Traceback" not in missing.stderr
    wrong = command("check", book, *options, "--decision-rule", "lenient")
    assert (wrong.returncode, "must be one of" in wrong.stderr) == (2, True)


def test_every_flagged_line_of_a_notice_has_its_working(tmp_path: Path) -> None:
    book = SAMPLES / "run_B2108_trouble.xlsx"
    result = command(
        *("certificate", book, "--batch", "B2108", "--limits", "eu_2020_2184", "--product", "purified"),
        *("--signed-by", "A. Person", "--out", tmp_path, "--number", "N1", "--guard-multiple", "0.83"),
    )
    assert result.returncode == 1
    data = json.loads((tmp_path / "N1.json").read_text("utf-8"))
    flagged = [line for line in data["results"] if line["verdict"] != "pass"]
    assert flagged
    assert [(entry["where"], entry["verdict"]) for entry in data["workings"]] == [
        (line["cell"], line["verdict"]) for line in flagged
    ]
    assert data["decision_rules"][0]["table"] == "eu_2020_2184"
    assert {file["kind"] for file in data["files"]} >= {"judging rules", "permitted uncertainties"}
    sheet = openpyxl.load_workbook(tmp_path / "N1.xlsx")
    rows = pd.DataFrame(sheet["Certificate"].values)
    assert rows[0].eq("Decision rule").sum() == len(data["decision_rules"])
    assert sheet["Working"].max_row == 1 + sum(len(entry["steps"]) for entry in data["workings"])
