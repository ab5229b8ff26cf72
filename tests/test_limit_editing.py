"""A copy of a limit table under edit: what is wrong in it, what differs, and the plant's own folder of tables.

The tables are invented but for the shipped ones; their figures are those that tests/test_limits_*.py hold.
"""

from __future__ import annotations

import csv
import io
from datetime import date
from pathlib import Path

import openpyxl
import pandas as pd
import pytest

from tests.test_limit_sheets import AWKWARD, GOOD, cells_of
from wqcheck.certificate_files.limit_comparison import comparison_csv, comparison_workbook
from wqcheck.errors import LimitTableError
from wqcheck.limit_comparison.changes import Change, limit_changes
from wqcheck.limit_comparison.comparison import compare_limits
from wqcheck.limit_comparison.side_by_side import Marks, side_by_side
from wqcheck.limit_tables.columns import COLUMNS
from wqcheck.limit_tables.editing import (
    as_own,
    borrowed_in,
    changed_cells,
    edited_table,
    open_cells,
    problems_in,
    tidied,
)
from wqcheck.limit_tables.loading import load_limits, shipped_tables
from wqcheck.limit_tables.own_folder import digest_of, own_tables, save_own
from wqcheck.limit_tables.sheets import CopyRefusedError, csv_bytes
from wqcheck.shipped_files import shipped_folder

US = "us_21cfr165_110b"


def shipped_cells(name: str) -> pd.DataFrame:
    """Open a shipped table as the grid does."""
    path = shipped_folder("limits") / f"{name}.csv"
    return open_cells(path, path.read_bytes())


def line_of(cells: pd.DataFrame, parameter: str) -> int:
    """Give the line of the only row of a parameter."""
    (line,) = cells.index[cells["parameter"] == parameter]
    return int(line)


def with_cell(cells: pd.DataFrame, line: int, column: str, text: str) -> pd.DataFrame:
    """Change one cell of a copy."""
    changed = cells.copy()
    changed.loc[line, column] = text
    return changed


@pytest.mark.parametrize("name", shipped_tables())
def test_every_shipped_table_opens_sound_and_unchanged(name: str) -> None:
    cells = shipped_cells(name)
    assert problems_in(cells, name) == []
    assert (
        edited_table(cells, Path(f"{name}.csv"))
        .rows.drop(columns="line")
        .equals(load_limits(name).rows.drop(columns="line"))
    )


@pytest.mark.parametrize("suffix", [".csv", ".xlsx"])
def test_a_saved_table_gives_back_every_cell(tmp_path: Path, suffix: str) -> None:
    """Leading zeros (007, 50-00-0), ``<``, dates, formula-like text, line breaks and decimals as written."""
    cells = tidied(cells_of(AWKWARD).set_axis(range(2, 2 + len(AWKWARD)), axis=0))
    path = tmp_path / "own" / f"ours{suffix}"
    table = save_own(cells, path)
    assert open_cells(path, path.read_bytes())[list(COLUMNS)].to_numpy().tolist() == cells.to_numpy().tolist()
    assert len(table.rows) == len(AWKWARD)
    assert not [left for left in path.parent.iterdir() if left != path]


def test_decimal_commas_of_an_own_file_become_points_and_doubtful_ones_are_refused() -> None:
    rows = [{**GOOD, "upper": "0,50"}, {**GOOD, "parameter": "lead", "upper": "1,234"}]
    buffer = io.StringIO()
    writer = csv.writer(buffer, delimiter=";")
    writer.writerow(COLUMNS)
    writer.writerow([rows[0].get(column, "") for column in COLUMNS])
    assert open_cells(Path("ours.csv"), buffer.getvalue().encode())["upper"].tolist() == ["0.50"]
    writer.writerow([rows[1].get(column, "") for column in COLUMNS])
    with pytest.raises(LimitTableError, match="thousands"):
        open_cells(Path("ours.csv"), buffer.getvalue().encode())


@pytest.mark.parametrize(
    ("column", "text"),
    [("upper", "5x"), ("upper", "0,5"), ("unit", "ug/L"), ("parameter", "leed"), ("class", ""), ("valid_to", "1.2.26"),
     ("evidence", "seen"), ("note", "a\x07b"), ("lower", "3")],
)  # fmt: skip
def test_what_the_grid_finds_is_what_the_check_of_the_file_finds(tmp_path: Path, column: str, text: str) -> None:
    cells = with_cell(shipped_cells(US), 40, column, text)
    found = problems_in(cells, "ours.csv")
    (tmp_path / "ours.csv").write_bytes(csv_bytes(cells))
    with pytest.raises(LimitTableError) as refused:
        load_limits(tmp_path / "ours.csv")
    assert {(p.line, p.column, p.message) for p in found} == {
        (p.line, p.column, p.message) for p in refused.value.problems
    }
    assert any((problem.line, problem.column) == (40, column) for problem in found)


def test_a_table_without_rows_is_no_table() -> None:
    assert "no rows" in problems_in(shipped_cells(US).iloc[:0], "ours.csv")[0].message


def test_a_changed_limit_must_not_cite_the_law_that_says_another() -> None:
    """21 CFR 165.110(b)(4)(iii)(H) has 0.010 mg/L of bromate; an own 0.005 must name its own document."""
    before = shipped_cells(US)
    line = line_of(before, "bromate")
    after = with_cell(before, line, "upper", "0.005")
    assert before.loc[line, "upper"] == "0.010"
    assert [(problem.line, problem.column) for problem in borrowed_in(before, after, "ours")] == [(line, "source")]
    own = as_own(before, after, "Specification of the plant (invented), issue 4")
    assert borrowed_in(before, own, "ours") == []
    assert problems_in(own, "ours") == []
    assert own.loc[line, "source"] == "Specification of the plant (invented), issue 4"
    assert "0.010" in str(own.loc[line, "note"])
    assert "21 CFR 165.110(b)" in str(own.loc[line, "note"])
    assert changed_cells(before, own)["column"].tolist() == ["upper", "source", "clause", "evidence", "note"]


def test_a_row_turned_to_another_parameter_must_not_cite_the_old_one_either() -> None:
    before = shipped_cells(US)
    after = with_cell(before, line_of(before, "bromate"), "parameter", "chlorate")
    assert len(borrowed_in(before, after, "ours")) == 1


def test_notes_and_days_may_be_written_without_another_source() -> None:
    before = shipped_cells(US)
    line = line_of(before, "bromate")
    assert (
        borrowed_in(before, with_cell(with_cell(before, line, "note", "ours"), line, "valid_to", "2030-01-01"), "")
        == []
    )


def test_own_documents_may_change_their_own_limits() -> None:
    before = cells_of([GOOD]).set_axis([2], axis=0)
    assert borrowed_in(before, with_cell(before, 2, "upper", "0.005"), "ours") == []


def test_the_difference_is_tightened_relaxed_added_and_dropped() -> None:
    """Against 21 CFR 165.110(b): bromate 0.010 → 0.005 tightened, lead 0.005 → 0.010 relaxed (mg/L)."""
    before = shipped_cells(US)
    after = with_cell(before, line_of(before, "bromate"), "upper", "0.005")
    after = with_cell(after, line_of(after, "lead"), "upper", "0.010").drop(index=line_of(before, "cyanide"))
    added = cells_of([{**GOOD, "parameter": "boron", "upper": "1"}]).set_axis([500], axis=0)
    after = tidied(pd.concat([after, added]))
    changes = limit_changes(load_limits(US), edited_table(after, Path("ours.csv")), on=date(2026, 11, 25))
    found = {str(row["parameter"]): row["change"] for row in changes.to_dict("records")}
    assert {found[code] for code in ("bromate",)} == {Change.TIGHTENED}
    assert found["lead"] == Change.RELAXED
    assert found["cyanide"] == Change.DROPPED
    assert found["boron"] == Change.ADDED
    assert (changes["change"] != Change.UNCHANGED).sum() == 4


def test_saving_never_overwrites_what_was_not_seen(tmp_path: Path) -> None:
    cells, path = shipped_cells(US), tmp_path / "ours.csv"
    save_own(cells, path)
    first = digest_of(path)
    with pytest.raises(CopyRefusedError, match="exists already"):
        save_own(cells, path)
    save_own(with_cell(cells, 5, "note", "mine"), path, replaces=first)
    with pytest.raises(CopyRefusedError, match="changed or taken away"):
        save_own(cells, path, replaces=first)
    assert "mine" in path.read_text(encoding="utf-8-sig")


@pytest.mark.parametrize(
    ("name", "said"),
    [(f"{US}.csv", "never overwritten"), ("Ours 2027.csv", "small letters"), ("../ours.xls", "csv or a .xlsx"),
     ("ours.xlsx", "ours.csv has this name")],
)  # fmt: skip
def test_names_that_would_mislead_are_refused(tmp_path: Path, name: str, said: str) -> None:
    cells = shipped_cells(US)
    save_own(cells, tmp_path / "ours.csv")
    with pytest.raises(CopyRefusedError, match=said):
        save_own(cells, tmp_path / name)


def test_the_folder_of_shipped_tables_is_never_written() -> None:
    path = shipped_folder("limits") / "a_table_that_must_not_come_to_be.csv"
    with pytest.raises(CopyRefusedError, match="never overwritten"):
        save_own(shipped_cells(US), path)
    assert not path.exists()


def test_a_bad_row_is_never_saved(tmp_path: Path) -> None:
    with pytest.raises(LimitTableError):
        save_own(with_cell(shipped_cells(US), 9, "upper", "n/a"), tmp_path / "ours.csv")
    assert not list(tmp_path.iterdir())


def test_the_own_folder_lists_all_and_says_what_is_wrong(tmp_path: Path) -> None:
    cells = shipped_cells(US)
    for name in ("good.csv", "twice.csv"):
        save_own(cells, tmp_path / name)
    (tmp_path / "twice.xlsx").write_bytes(b"PK\x03\x04")
    (tmp_path / "bad.csv").write_bytes(csv_bytes(with_cell(cells, 9, "upper", "n/a")))
    (tmp_path / f"{US}.csv").write_bytes(csv_bytes(cells))
    for name in ("~$good.xlsx", "sampling_plans.csv", "read me.txt"):
        (tmp_path / name).write_bytes(b"x")
    found = {own.path.name: own for own in own_tables(tmp_path)}
    assert sorted(found) == ["bad.csv", "good.csv", "twice.csv", "twice.xlsx", f"{US}.csv"]
    table = found["good.csv"].table
    assert table is not None
    assert len(table.rows) == len(cells)
    assert found["good.csv"].problem == ""
    assert "line 9, column upper" in found["bad.csv"].problem
    assert "another file" in found["twice.csv"].problem
    assert "shipped table" in found[f"{US}.csv"].problem
    assert own_tables(tmp_path / "none") == ()


def test_a_comparison_to_take_away_holds_no_formula(tmp_path: Path) -> None:
    """Lead: 5 µg/L in 21 CFR 165.110(b) is stricter than the own 7; the clause that begins with = stays text."""
    own = cells_of([{**GOOD, "parameter": "lead", "upper": "0.007", "clause": "=1+1", "product": "any"}])
    path = tmp_path / "ours.csv"
    save_own(own.set_axis([2], axis=0), path)
    compared = compare_limits([load_limits(US), load_limits(path)], product="packaged", on=date(2026, 11, 25))
    rows = list(csv.DictReader(io.StringIO(comparison_csv(compared).decode("utf-8-sig"))))
    lead = [row for row in rows if row["parameter"] == "lead"]
    assert [(row["table"], row["value_low"], row["standing"]) for row in lead] == [
        (US, "0.005", "strictest"), ("ours", "0.007", "less strict"),
    ]  # fmt: skip
    assert lead[1]["clause"] == "'=1+1"
    names = {US: US, "ours": "ours"}
    beside = side_by_side(compared, names, Marks(unverified=" (not verified)", single="", nothing="no limit"))
    assert beside.set_index("parameter").loc["lead", "ours"] == "0.007 (not verified)"
    book = openpyxl.load_workbook(io.BytesIO(comparison_workbook(compared, beside, "what")))
    kinds = {cell.data_type for sheet in book.worksheets for row in sheet.iter_rows() for cell in row}
    assert "f" not in kinds
    assert "=1+1" in {cell.value for cell in book["Every line"]["N"]}
