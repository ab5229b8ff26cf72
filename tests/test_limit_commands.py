"""The limit commands print what the library says, within the width of the terminal, and nothing that is not true."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import openpyxl
import pytest
from typer.testing import CliRunner, Result

from wqcheck.cli import app, main
from wqcheck.commands.limit_lines import laid_out
from wqcheck.limit_tables.columns import COLUMNS
from wqcheck.limit_tables.loading import limit_cells, load_limits

EU, OLD_EU, US, CANADA = "eu_2020_2184", "eu_98_83_ec", "us_21cfr165_110b", "canada_gcdwq"


def run(*arguments: object, width: int = 160) -> Result:
    """Run a command in this process at a terminal *width*; an unexpected exception is raised here."""
    environment = {"COLUMNS": str(width)}
    return CliRunner().invoke(app, ["limits", *map(str, arguments)], catch_exceptions=False, env=environment)


@pytest.mark.parametrize("width", [80, 100, 160])
@pytest.mark.parametrize(
    "arguments",
    [("compare", "who_gdwq_2022", EU, US), ("diff", OLD_EU, EU), ("show", EU), ("columns",)],
    ids=lambda arguments: arguments[0],
)
def test_every_listing_fits_the_terminal(arguments: tuple[str, ...], width: int) -> None:
    result = run(*arguments, width=width)
    assert result.exit_code == 0
    assert max(map(len, result.stdout.splitlines())) <= width


def test_compare_says_who_is_strictest_and_who_has_no_limit() -> None:
    lines = run("compare", EU, US, "--on", "2026-11-25").stdout.splitlines()
    nitrate = next(line.split() for line in lines if line.startswith("nitrate "))
    assert nitrate == ["nitrate", "≤", "mg/L", "as", "NO3", "50", "44.27", "(10", "mg/L", "as", "N)", "B"]
    uranium = next(line.split() for line in lines if line.startswith("uranium "))
    assert uranium == ["uranium", "≤", "µg/L", "30", "30", "A", "=", "B"]
    assert not any(line.startswith("legionella") for line in lines), "it is bound for tap water only"
    assert lines[0].startswith("packaged water, limits that hold on 2026-11-25")


def test_compare_of_a_table_without_such_water_says_so() -> None:
    stdout = run("compare", EU, "us_40cfr141_143", "--product", "packaged").stdout
    assert "(no limit for packaged water)" in stdout


def test_json_of_compare_holds_every_table_for_every_limit() -> None:
    data = json.loads(run("compare", EU, US, "--on", "2026-11-25", "--json").stdout)
    lead = [row for row in data if row["parameter"] == "lead"]
    assert [(row["table"], row["value_low"], row["standing"]) for row in lead] == [
        (EU, 10, "less strict"), (US, 5, "strictest"),
    ]  # fmt: skip
    assert {row["standing"] for row in data} <= {"strictest", "equally strict", "only limit", "less strict",
                                                 "not comparable", "no limit"}  # fmt: skip


def test_diff_lists_what_the_recast_changed() -> None:
    stdout = run("diff", OLD_EU, EU, "--product", "tap", "--on", "2026-11-25").stdout
    assert "2 tightened" in stdout
    assert "3 relaxed" in stdout
    tightened = stdout.split("\ntightened\n")[1].split("\n\n")[0]
    assert [line.split()[0] for line in tightened.splitlines()[1:]] == ["chromium", "lead"]
    assert "2036-01-12" in tightened
    assert "Dropped means that the new table has no such limit" in stdout
    data = json.loads(run("diff", OLD_EU, EU, "--product", "tap", "--on", "2026-11-25", "--json").stdout)
    assert {row["new"] for row in data if row["parameter"] == "lead"} == {"at most 10 µg/L", "at most 5 µg/L"}


def test_show_marks_rows_that_were_not_read_in_the_official_text() -> None:
    rows = load_limits(CANADA).rows
    unread = int((~rows["evidence"].str.startswith("primary text")).sum())
    stdout = run("show", CANADA).stdout
    assert f"{len(rows)} rows; {unread} of them not verified against the official text (*)" in stdout
    shown = [line for line in stdout.splitlines()[1:-1] if line[:1].isdigit()]
    assert len(shown) == len(rows)
    assert sum(line.count("*") for line in stdout.splitlines()[1:-1]) == unread
    data = json.loads(run("show", CANADA, "--json").stdout)
    assert sum(row["unverified"] == "not verified against the official text" for row in data) == unread


def test_copy_edit_check_and_use(tmp_path: Path) -> None:
    path = tmp_path / "plant_2027.xlsx"
    result = run("copy", EU, "--to", path)
    assert result.exit_code == 0
    assert f"77 rows of {EU}" in result.stdout
    assert limit_cells(path).equals(limit_cells(EU))
    assert run("check", path, EU).stdout.splitlines() == [f"{path}: 77 rows, sound", f"{EU}: 77 rows, sound"]
    book = openpyxl.load_workbook(path)
    book["Limits"]["A5"], book["Limits"]["E9"] = "e_coli", "furlong"
    book.save(path)
    checked = run("check", path)
    assert checked.exit_code == 2
    assert "plant_2027.xlsx, line 5, column parameter" in checked.stderr
    assert "plant_2027.xlsx, line 9, column unit" in checked.stderr


def test_columns_explains_every_column() -> None:
    stdout = run("columns").stdout
    assert [line.split()[0] for line in stdout.splitlines()[1:] if not line.startswith(" ")] == list(COLUMNS)


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["compare", EU], "two or more different tables"),
        (["compare", EU, EU], "two or more different tables"),
        (["compare", EU, US, "--on", "tomorrow"], "takes a day like 2026-03-31"),
        (["compare", EU, US, "--product", "holy"], "product must be one of"),
        (["diff", EU, "eu_2021"], "no such file and no such shipped table"),
        (["copy", EU, "--to", "copy.ods"], ".xlsx or a .csv file"),
    ],
)
def test_what_cannot_be_done_ends_with_a_sentence_and_exit_code_2(
    arguments: list[str], sentence: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "argv", ["wqcheck", "limits", *arguments])
    with pytest.raises(SystemExit) as stopped:
        main()
    shown = capsys.readouterr()
    assert stopped.value.code == 2
    assert sentence in shown.err
    assert not shown.out


@pytest.mark.parametrize("width", range(20, 60, 3))
def test_wrapped_cells_lose_no_letter(width: int) -> None:
    rows = [["one", "two"], ["1_2_dibromo_3_chloropropane and more", "a_word another"], ["", "x" * 50]]
    lines = laid_out(rows, width)
    assert all(len(line) <= width for line in lines)
    letters = sorted("".join(lines).replace(" ", ""))
    assert letters == sorted("".join("".join(row) for row in rows).replace(" ", ""))
