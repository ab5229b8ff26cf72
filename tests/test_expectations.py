"""The table of expectations is read whole or refused whole, and gives each removal the verdict that it deserves."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.table_rows import readings_of
from wqcheck.errors import LimitTableError
from wqcheck.limit_tables.loading import shipped_tables
from wqcheck.tables import Measure, StageVerdict
from wqcheck.train.description import Point, Stage, Train
from wqcheck.train.expectations import HEADER, load_expectations
from wqcheck.train.kinds import KINDS
from wqcheck.train.removal import removal_by_stage
from wqcheck.train.stage_verdicts import feed_against_limits, judge_stages

ROW = "tank,salts,chloride,carried,,20,%,a source,,common practice,"
SHIPPED = load_expectations()


def table_of(folder: Path, *lines: str) -> Path:
    path = folder / "mine.csv"
    path.write_text("\n".join([",".join(HEADER), *lines]) + "\n", encoding="utf-8")
    return path


def verdict(kind: str, parameter: str, unit: str, inlet: dict[str, Any], outlet: dict[str, Any]) -> tuple[str, str]:
    """Return verdict and expectation of one stage of that kind."""
    train = Train("T", (Stage("it", kind, "A", "B"),), (Point("A", "a"), Point("B", "b")), ("B",))
    volume = {"volume_ml": 100.0} if unit == "CFU" else {}
    rows = [{"point": p, "parameter": parameter, "unit": unit, **volume, **r} for p, r in (("A", inlet), ("B", outlet))]
    table = judge_stages(removal_by_stage(readings_of(rows), train), SHIPPED.rows)
    row = table[table["stage"].eq("it")].iloc[0]
    return row["verdict"], row["expected"]


def test_the_shipped_table_is_sound_and_no_limit_table() -> None:
    rows = SHIPPED.rows
    assert set(rows["kind"]) <= set(KINDS)
    assert {"reverse osmosis", "activated carbon", "uv", "tank", "media filter", "cartridge filter"} <= set(
        rows["kind"]
    )
    assert set(rows["measure"]) == set(Measure)
    assert rows["source"].str.len().gt(0).all()
    own = rows["source"].eq("common practice, no source")
    assert (rows["evidence"].eq("common practice") == own).all()
    assert "stage_expectations" not in shipped_tables()
    assert len(SHIPPED.digest) == 64


def test_uv_rows_are_those_of_the_regulation() -> None:
    """40 CFR 141.720(d)(1), from memory: 12 mJ/cm² credits 3 log of Cryptosporidium; 39 mJ/cm² 0.5 log of virus."""
    rows = SHIPPED.rows.set_index(["kind", "parameter", "measure"])
    assert rows.loc[("uv", "cryptosporidium", "log"), "lower"] == 3
    assert rows.loc[("uv", "enteroviruses", "log"), "lower"] == 0.5


def test_membranes_keep_back_what_who_says() -> None:
    """WHO Guidelines, fourth edition, Annex 5, from memory: 80 % or more of arsenic, fluoride, nitrate, selenium."""
    rows = SHIPPED.rows.set_index(["kind", "parameter", "measure"])["lower"]
    assert [rows["reverse osmosis", code, "percent"] for code in ("arsenic", "fluoride", "nitrate", "selenium")] == [
        80
    ] * 4


@pytest.mark.parametrize(
    ("line", "column", "told"),
    [
        (ROW.replace("tank", "jar"), "kind", "write one of"),
        (ROW.replace("chloride", "chlorid"), "parameters", "not in the catalogue"),
        (ROW.replace("chloride", " "), "parameters", "name at least one"),
        (ROW.replace("carried", "carries"), "measure", "write one of percent"),
        (ROW.replace("20", "2O"), "upper", "write a number"),
        (ROW.replace(",20,", ",,"), "upper", "needs this number"),
        (ROW.replace(",,20,", ",30,20,"), "upper", "below the lower end"),
        (ROW.replace("%", "mg/L"), "unit", "is in %"),
        (ROW.replace("a source", ""), "source", "may not be blank"),
        (ROW.replace("common practice", "hearsay"), "evidence", "primary text"),
        ("tank,x,chloride,outlet,,1,furlongs,a source,,memory,", "unit", "furlongs"),
    ],
)
def test_a_bad_cell_is_told_with_line_and_column(tmp_path: Path, line: str, column: str, told: str) -> None:
    with pytest.raises(LimitTableError) as caught:
        load_expectations(table_of(tmp_path, ROW.replace("chloride", "sodium"), line))
    assert [(problem.line, problem.column) for problem in caught.value.problems] == [(3, column)]
    assert told in str(caught.value)


def test_all_problems_are_told_and_a_repeated_row_is_one(tmp_path: Path) -> None:
    with pytest.raises(LimitTableError) as caught:
        load_expectations(table_of(tmp_path, ROW, ROW, ROW.replace("tank", "jar")))
    assert [problem.line for problem in caught.value.problems] == [3, 4]


@pytest.mark.parametrize("text", ["", "a,b\n1,2\n"])
def test_another_header_is_refused(tmp_path: Path, text: str) -> None:
    path = tmp_path / "x.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(LimitTableError, match="the header must be kind,group"):
        load_expectations(path)


# Chloride of membranes: usual from 92 %. Exact 95 is met, exact 80 weak; ≥ 95 met, ≥ 80 open; more after it worse.
@pytest.mark.parametrize(
    ("outlet", "word"),
    [
        ({"value": 5.0}, StageVerdict.AS_EXPECTED),
        ({"value": 8.0}, StageVerdict.AS_EXPECTED),
        ({"value": 20.0}, StageVerdict.WEAK),
        ({"value": 9.0, "uncertainty": 3.0}, StageVerdict.NOT_SHOWN),
        ({"sign": "<", "value": 5.0}, StageVerdict.AS_EXPECTED),
        ({"sign": "<", "value": 20.0}, StageVerdict.NOT_SHOWN),
        ({"sign": "unreadable"}, StageVerdict.NOT_SHOWN),
        ({"value": 150.0}, StageVerdict.WORSE),
        ({"value": 110.0, "uncertainty": 30.0}, StageVerdict.WEAK),
    ],
)
def test_a_verdict_needs_what_was_surely_shown(outlet: dict[str, Any], word: StageVerdict) -> None:
    inlet = {"value": 100.0, "uncertainty": 1.0}
    certain = {"uncertainty": 0.0} if outlet.get("value") and "sign" not in outlet else {}
    found, expected = verdict("reverse osmosis", "chloride", "mg/L", inlet, certain | outlet)
    assert (found, expected) == (word, "92 to 99.9 %")


def test_a_level_after_the_stage_is_enough_where_little_is_left_to_remove() -> None:
    """From 0.11 to 0.09 NTU is 18 %, but below 0.1 NTU is what such a membrane gives; units are converted."""
    found, expected = verdict("reverse osmosis", "turbidity", "NTU", {"value": 0.11}, {"value": 0.09})
    assert (found, expected) == (StageVerdict.AS_EXPECTED, "at most 0.1 NTU after it or 50 to 99.9 %")
    assert verdict("media filter", "iron", "µg/L", {"value": 320.0}, {"value": 290.0})[0] == StageVerdict.AS_EXPECTED
    assert verdict("media filter", "iron", "µg/L", {"value": 420.0}, {"value": 390.0})[0] == StageVerdict.WEAK
    assert verdict("media filter", "turbidity", "NTU", {"value": 0.2}, {"value": 0.3})[0] == StageVerdict.AS_EXPECTED
    assert verdict("media filter", "turbidity", "NTU", {"value": 0.2}, {"value": 0.5})[0] == StageVerdict.WORSE


def test_none_found_after_a_lamp_is_as_expected_and_one_found_is_weak() -> None:
    absent, one = {"sign": "absent"}, {"value": 1.0}
    assert verdict("uv", "escherichia_coli", "CFU", one, absent)[0] == StageVerdict.AS_EXPECTED
    assert verdict("uv", "escherichia_coli", "CFU", {"value": 40.0}, {"value": 5.0})[0] == StageVerdict.WEAK


def test_salt_that_changes_where_it_should_pass_is_not_explained() -> None:
    assert verdict("media filter", "chloride", "mg/L", {"value": 100.0}, {"value": 95.0})[0] == StageVerdict.AS_EXPECTED
    assert verdict("media filter", "chloride", "mg/L", {"value": 100.0}, {"value": 20.0})[0] == StageVerdict.UNEXPLAINED
    assert verdict("media filter", "chloride", "mg/L", {"value": 20.0}, {"value": 100.0})[0] == StageVerdict.UNEXPLAINED


def test_a_removal_without_a_row_has_no_verdict() -> None:
    found, expected = verdict("other", "chloride", "mg/L", {"value": 100.0}, {"value": 1.0})
    assert found != found  # noqa: PLR0124 a blank
    assert expected != expected  # noqa: PLR0124


def test_what_flows_into_a_stage_is_held_against_what_it_bears() -> None:
    train = Train("T", (Stage("lamp", "uv", "A", "B"),), (Point("A", "a"), Point("B", "b")), ("B",))
    rows = [
        {"point": "A", "parameter": "turbidity", "unit": "NTU", "value": 1.5},
        {"point": "A", "parameter": "uv_transmittance_254_nm", "unit": "%", "value": 60.0},
        {"point": "A", "parameter": "iron", "unit": "µg/L", "value": 250.0},
        {"point": "A", "parameter": "manganese", "unit": "µg/L", "sign": "<", "value": 100.0},
    ]
    found = feed_against_limits(readings_of(rows), train, SHIPPED.rows).set_index("parameter")
    assert found["passed"].to_dict() == {
        "turbidity": True, "uv_transmittance_254_nm": True, "iron": False, "manganese": False,
    }  # fmt: skip
    assert found.loc["turbidity", "excess"] == 1.5
    assert found.loc["uv_transmittance_254_nm", "excess"] == pytest.approx(75 / 60)
