"""Limit tables load strictly: every bad cell is named with its line and column, and nothing is loaded.

The tables written here are invented; the shipped ones are read at the end.
"""

from __future__ import annotations

import csv
import hashlib
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

from wqcheck.errors import LimitTableError, WqcheckError
from wqcheck.limit_tables.checks import RULES
from wqcheck.limit_tables.columns import ALWAYS, COLUMNS, EVIDENCE, EXPLAINED, NEEDED, UNUSED
from wqcheck.limit_tables.loading import UnknownProductError, covers, load_limits, shipped_tables
from wqcheck.limit_tables.schema import ONE_ROW_EACH, SCHEMA, table_problems
from wqcheck.shipped_files import shipped_folder
from wqcheck.tables import Limits, Product, Rule

GOOD = {
    "parameter": "lead",
    "rule": "max",
    "upper": "0.01",
    "unit": "mg/L",
    "product": "any",
    "class": "health",
    "source": "Invented table for tests, 1st edition",
    "clause": "no. 1",
    "evidence": "memory",
}
RATIO = {
    **GOOD,
    "parameter": "nitrate_nitrite_ratio",
    "rule": "ratio_sum_max",
    "upper": "1",
    "basis": "NO3;NO2",
    "members": "nitrate;nitrite",
    "weights": "50;3",
}
SUM = {**RATIO, "parameter": "nitrate_plus_nitrite", "rule": "sum_max", "basis": "N", "weights": ""}
ABSENT = {**GOOD, "parameter": "escherichia_coli", "rule": "absent", "upper": "", "unit": "CFU", "volume_ml": "250"}

Write = Callable[..., Path]


@pytest.fixture
def write(tmp_path: Path) -> Write:
    def written(*rows: dict[str, str], name: str = "invented.csv") -> Path:
        path = tmp_path / name
        with path.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, COLUMNS, restval="", lineterminator="\n")
            writer.writeheader()
            writer.writerows(rows)
        return path

    return written


def test_a_good_table_loads_with_name_title_digest_and_lines(write: Write) -> None:
    path = write(GOOD, ABSENT, {**RATIO, "valid_from": "2023-01-12"})
    table = load_limits(path)
    assert (table.name, table.title) == ("invented", GOOD["source"])
    assert table.digest == hashlib.sha256(path.read_bytes()).hexdigest()
    assert table.rows[Limits.line].to_list() == [2, 3, 4]
    assert table.rows[Limits.upper].iloc[0] == 0.01
    assert pd.isna(table.rows[Limits.upper].iloc[1])
    assert table.rows[Limits.valid_from].iloc[2] == pd.Timestamp("2023-01-12")
    Limits.validate(table.rows)


@pytest.mark.parametrize(
    ("row", "column", "word"),
    [
        ({**GOOD, "rule": "maximum"}, "rule", "write one of"),
        ({**GOOD, "class": "danger"}, "class", "write one of"),
        ({**GOOD, "product": "bottled"}, "product", "packaged"),
        ({**GOOD, "product": ""}, "product", "any"),
        ({**GOOD, "product": "any;tap"}, "product", "alone"),
        ({**GOOD, "product": "tap;tap"}, "product", "once"),
        ({**GOOD, "upper": "0,01"}, "upper", "decimal point"),
        ({**GOOD, "upper": "nan"}, "upper", "decimal point"),
        ({**GOOD, "upper": "inf"}, "upper", "decimal point"),
        ({**GOOD, "upper": "1_0"}, "upper", "decimal point"),
        ({**GOOD, "upper": "10 µg/L"}, "upper", "decimal point"),
        ({**GOOD, "upper": ""}, "upper", "needs"),
        ({**GOOD, "upper": "1e999"}, "upper", "decimal point"),
        ({**GOOD, "upper": "١٠"}, "upper", "decimal point"),
        ({**GOOD, "lower": "0.001"}, "lower", "no use"),
        ({**GOOD, "rule": "min", "upper": ""}, "lower", "needs"),
        ({**GOOD, "rule": "range", "lower": "2", "upper": "1"}, "lower", "above the upper"),
        ({**GOOD, "rule": "range", "lower": ""}, "lower", "needs"),
        ({**GOOD, "unit": ""}, "unit", "needs"),
        ({**GOOD, "unit": "furlong"}, "unit", "units.csv"),
        ({**GOOD, "unit": "ug/l"}, "unit", "µg/L"),
        ({**GOOD, "unit": "NTU"}, "unit", "no result of lead"),
        ({**GOOD, "parameter": "ph", "unit": "mg/L"}, "unit", "no result of ph"),
        ({**GOOD, "parameter": "leed"}, "parameter", "nearest: lead"),
        ({**GOOD, "basis": "Pb2"}, "basis", "not expressed so"),
        ({**GOOD, "parameter": "nitrate", "basis": "Cl"}, "basis", "NO3, N"),
        ({**GOOD, "parameter": "nitrate"}, "basis", "say what nitrate is expressed as: NO3, N"),
        ({**GOOD, "valid_from": "12.1.2023"}, "valid_from", "ISO date"),
        ({**GOOD, "valid_from": "20230112"}, "valid_from", "dashes"),
        ({**GOOD, "valid_from": "2023-01-12", "valid_to": "2022-01-12"}, "valid_to", "before it begins"),
        ({**GOOD, "source": ""}, "source", "needs"),
        ({**GOOD, "clause": " "}, "clause", "needs"),
        ({**GOOD, "evidence": ""}, "evidence", "needs"),
        ({**GOOD, "evidence": "somebody said so"}, "evidence", "begin with"),
        ({**GOOD, "evidence": "primary text"}, "evidence", "where it was read"),
        ({**GOOD, "evidence": "secondary text: "}, "evidence", "where it was read"),
        ({**GOOD, "status": "overrides who_gdwq_2022;"}, "status", "name the tables"),
        ({**GOOD, "note": "x" * 32_768}, "note", "at most 32767 characters"),
        ({**ABSENT, "volume_ml": ""}, "volume_ml", "needs the volume"),
        ({**ABSENT, "volume_ml": "0"}, "volume_ml", "above 0 mL"),
        ({**ABSENT, "unit": "mg/L"}, "unit", "counts organisms"),
        ({**ABSENT, "upper": "2"}, "upper", "0 or none"),
        ({**RATIO, "members": ""}, "members", "needs"),
        ({**SUM, "members": ""}, "members", "needs"),
        ({**SUM, "members": "nitrate;nitrate_plus_nitrite"}, "members", "not a member of itself"),
        ({**RATIO, "weights": ""}, "weights", "needs"),
        ({**RATIO, "weights": "50"}, "weights", "one weight for each of the 2"),
        ({**RATIO, "weights": "50;0"}, "weights", "above 0"),
        ({**RATIO, "members": "nitrate;nitrite;ammonium", "weights": "1;1;1"}, "basis", "one for each of the 3"),
        ({**RATIO, "members": "nitrate;nitrit"}, "members", "nearest: nitrite"),
        ({**RATIO, "members": "nitrate;nitrate"}, "members", "once"),
        ({**RATIO, "upper": "0"}, "upper", "above 0"),
        ({**GOOD, "rule": "guidance", "upper": "", "unit": ""}, "note", "needs"),
        ({**GOOD, "rule": "guidance", "note": "keep it low"}, "upper", "no use"),
    ],
)
def test_a_bad_cell_is_named_with_file_line_column_and_mend(
    write: Write, row: dict[str, str], column: str, word: str
) -> None:
    with pytest.raises(LimitTableError) as caught:
        load_limits(write(ABSENT, row))
    hits = [problem for problem in caught.value.problems if problem.column == column and word in problem.message]
    assert hits, str(caught.value)
    assert {(problem.file, problem.line) for problem in caught.value.problems} == {("invented.csv", 3)}


def test_all_problems_of_all_rows_come_in_one_error(write: Write) -> None:
    bad = [{**GOOD, "upper": "x", "class": "y"}, {**ABSENT, "evidence": "z"}, {**RATIO, "valid_to": "soon"}]
    with pytest.raises(LimitTableError) as caught:
        load_limits(write(*bad))
    assert [(p.line, p.column) for p in caught.value.problems] == [
        (2, "class"),
        (2, "upper"),
        (3, "evidence"),
        (4, "valid_to"),
    ]
    assert all(problem.given in {"x", "y", "z", "soon"} for problem in caught.value.problems)


@pytest.mark.parametrize(
    ("first", "second", "clash"),
    [
        ({}, {}, True),
        ({"product": "tap"}, {"product": "packaged"}, False),
        ({"product": "tap;packaged"}, {"product": "packaged;purified"}, True),
        ({"product": "any"}, {"product": "packaged"}, True),
        ({"valid_to": "2026-01-11"}, {"valid_from": "2026-01-12"}, False),
        ({"valid_to": "2026-01-12"}, {"valid_from": "2026-01-12"}, True),
        ({}, {"valid_from": "2030-01-01"}, True),
        ({}, {"unit": "µg/L", "upper": "10"}, True),
        ({}, {"status": "provisional"}, True),
        ({}, {"parameter": "copper"}, False),
        ({}, {"class": "acceptability"}, False),
        ({}, {"rule": "mean_max"}, False),
    ],
)
def test_two_rows_may_not_bind_the_same_at_the_same_time(
    write: Write, first: dict[str, str], second: dict[str, str], clash: bool
) -> None:
    path = write({**GOOD, **first}, {**GOOD, **second})
    if not clash:
        assert len(load_limits(path).rows) == 2
        return
    with pytest.raises(LimitTableError, match="line 2 already binds"):
        load_limits(path)


def test_a_wrong_header_names_the_missing_columns(tmp_path: Path) -> None:
    path = tmp_path / "short.csv"
    path.write_text("parameter,rule,upper\nlead,max,1\n", encoding="utf-8")
    with pytest.raises(LimitTableError, match="missing: lower, unit, basis"):
        load_limits(path)


@pytest.mark.parametrize(
    ("content", "word"),
    [
        (b"", "header"),
        ("parameter;Bäder".encode("latin-1"), "UTF-8"),
        (",".join(COLUMNS).encode(), "no rows"),
        ((",".join(COLUMNS) + "\nlead,max,1\n").encode(), "18 cells"),
        ((",".join(COLUMNS) + '\n"lead\n').encode(), "CSV"),
    ],
)
def test_a_file_that_is_no_table_is_refused_with_a_sentence(tmp_path: Path, content: bytes, word: str) -> None:
    path = tmp_path / "broken.csv"
    path.write_bytes(content)
    with pytest.raises(LimitTableError, match=word):
        load_limits(path)


def test_a_cell_with_line_breaks_does_not_shift_the_line_numbers(write: Write) -> None:
    path = write({**GOOD, "note": "two\nlines"}, {**ABSENT, "class": "?"})
    with pytest.raises(LimitTableError) as caught:
        load_limits(path)
    assert [problem.line for problem in caught.value.problems] == [4]


def test_an_unknown_name_lists_the_shipped_tables_and_a_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(LimitTableError) as caught:
        load_limits("who_gdwq_2021")
    assert "nearest: who_gdwq_2022" in str(caught.value)
    assert all(name in str(caught.value) for name in shipped_tables())
    with pytest.raises(LimitTableError, match="folder"):
        load_limits(tmp_path)


def test_covers_says_whether_a_table_has_a_limit_for_a_product(write: Write) -> None:
    guidance = {**GOOD, "rule": "guidance", "upper": "", "unit": "", "note": "as low as can be", "product": "purified"}
    table = load_limits(write({**GOOD, "product": "tap;spring"}, {**guidance, "parameter": "sodium"}))
    assert [word for word in Product if covers(table, word)] == [Product.TAP, Product.SPRING]
    assert all(covers(load_limits(write(GOOD)), word) for word in Product)


def test_an_unknown_product_lists_the_words(write: Write) -> None:
    with pytest.raises(UnknownProductError, match="tap, packaged, spring, natural mineral, purified") as caught:
        covers(load_limits(write(GOOD)), "sparkling")
    assert isinstance(caught.value, WqcheckError)
    assert isinstance(caught.value, ValueError)


def test_the_kinds_of_shipped_files_are_closed() -> None:
    assert shipped_folder("limits").name == "limits"
    with pytest.raises(ValueError, match="limits, sample_results"):
        shipped_folder("secrets")


def test_shipped_tables_are_found_and_sorted() -> None:
    names = shipped_tables()
    assert names == sorted(names)
    assert {"eu_2020_2184", "who_gdwq_2022"} <= set(names)


@pytest.mark.parametrize("name", shipped_tables())
def test_every_shipped_table_loads_and_says_where_each_row_was_read(name: str) -> None:
    table = load_limits(name)
    rows = table.rows
    assert table.name == name
    assert rows[Limits.evidence].str.startswith(EVIDENCE).all()
    judged = rows[~rows[Limits.rule].isin([Rule.GUIDANCE, Rule.ABSENT, Rule.MIN, Rule.ATTRIBUTE_PLAN])]
    assert judged[Limits.upper].notna().all()


def test_every_column_is_explained_and_every_rule_says_which_cells_it_needs() -> None:
    assert tuple(EXPLAINED) == COLUMNS
    assert set(NEEDED) == set(UNUSED) == set(Rule)
    for rule in Rule:
        assert set(NEEDED[rule]) | set(UNUSED[rule]) | set(ALWAYS) <= set(COLUMNS)
        assert not set(NEEDED[rule]) & set(UNUSED[rule])


def test_the_schema_states_every_column_and_rule_in_a_sentence() -> None:
    assert {name: column.description for name, column in SCHEMA.columns.items()} == dict(EXPLAINED)
    assert [check.error for check in SCHEMA.checks] == [*RULES, ONE_ROW_EACH]


def test_what_the_schema_refuses_and_what_the_problems_name_agree() -> None:
    good = {column: GOOD.get(column, "") for column in COLUMNS}
    assert not table_problems("f.csv", [(2, good), (3, good | {"class": "acceptability"})])
    broken = [(2, good), (3, good), (7, good | {"unit": "furlong", "product": "tap"})]
    assert {(problem.line, problem.column) for problem in table_problems("f.csv", broken)} == {
        (3, "parameter"),
        (7, "parameter"),
        (7, "unit"),
    }
