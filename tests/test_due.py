"""Which required tests are in date follows the periods that the texts name, and no doubtful result is evidence."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from tests.table_rows import readings_of
from wqcheck.batch import check_workbook
from wqcheck.cli import app
from wqcheck.errors import LimitTableError
from wqcheck.limit_tables.loading import load_limits
from wqcheck.limit_tables.required_panels import load_panels, samples_a_year
from wqcheck.limit_tables.sampling_plans import load_plans
from wqcheck.release.decision import BatchDetails
from wqcheck.release.due import Due, State, due
from wqcheck.shipped_files import shipped_folder
from wqcheck.train.description import load_train

SAMPLES = Path(__file__).parent.parent / "sample_results"
US, EU = load_limits("us_21cfr165_110b"), load_limits("eu_2020_2184")
ON = date(2026, 6, 20)


def sampled(parameter: str, day: str | None, **others: Any) -> dict[str, Any]:
    return {
        "parameter": parameter,
        "sampled_at": None if day is None else pd.Timestamp(day),
        "value": 1.0,
        "unit": "µg/L",
        **others,
    }


def panel(*rows: dict[str, Any], table: Any = US, product: str = "packaged", **others: Any) -> pd.DataFrame:
    return due(readings_of(rows), [table], product=product, on=ON, **others)


def one(table: pd.DataFrame, parameter: str, water: str = "product") -> dict[str, Any]:
    (row,) = table[table["parameter"].eq(parameter) & table["water"].eq(water)].to_dict("records")
    return {str(name): value for name, value in row.items()}


@pytest.mark.parametrize(
    ("parameter", "last", "state", "until"),
    [
        ("total_coliforms", "2026-06-13", State.IN_DATE, "2026-06-20"),
        ("total_coliforms", "2026-06-12", State.OVERDUE, "2026-06-19"),
        ("lead", "2025-06-20", State.IN_DATE, "2026-06-20"),
        ("lead", "2025-06-19", State.OVERDUE, "2026-06-19"),
        ("gross_alpha", "2025-06-20", State.IN_DATE, "2026-06-20"),
        ("turbidity", "2025-06-19", State.OVERDUE, "2026-06-19"),
    ],
)
def test_finished_bottled_water(parameter: str, last: str, state: State, until: str) -> None:
    """21 CFR 129.80(g): coliforms weekly; chemical, physical and radiological purposes at least annually."""
    row = one(panel(sampled(parameter, "2024-01-01"), sampled(parameter, last)), parameter)
    assert (row["state"], row["next_due"], row["last"]) == (state, pd.Timestamp(until), pd.Timestamp(last))
    assert row["where"] == "book.xlsx|Results!B3"


@pytest.mark.parametrize(
    ("parameter", "last", "state"),
    [
        ("lead", "2025-06-20", State.IN_DATE),
        ("gross_alpha", "2022-06-20", State.IN_DATE),
        ("gross_alpha", "2022-06-19", State.OVERDUE),
        ("total_coliforms", "2026-06-12", State.OVERDUE),
    ],
)
def test_source_water(parameter: str, last: str, state: State) -> None:
    """21 CFR 129.35(a)(3)(i): chemical once each year, radiological once every 4 years, coliforms each week."""
    train = load_train(SAMPLES / "train.toml")
    rows = sampled(parameter, last, point=train.stages[0].outlet)
    assert one(panel(rows, train=train), parameter, "source")["state"] == state
    assert one(panel(rows, train=train), parameter)["state"] == State.NO_RESULT
    assert one(panel(rows), parameter, "source")["state"] == State.NOT_KNOWN


@pytest.mark.parametrize(
    ("volume", "group_a", "group_b"),
    [
        (9.9, None, None), (10, 2, 1), (100, 2, 1), (101, 4, 1), (1000, 4, 1), (4300, 16, 2), (10_000, 31, 3),
        (20_000, 61, 4), (100_000, 301, 12), (125_000, 376, 13),
    ],
)  # fmt: skip
def test_samples_a_year_by_volume(volume: float, group_a: int | None, group_b: int | None) -> None:
    """Directive (EU) 2020/2184, Annex II Part B, Table 1; 4 300 m³ a day give 16 samples of group A (Note 3)."""
    assert (samples_a_year("volume A", volume), samples_a_year("volume B", volume)) == (group_a, group_b)


def test_groups_by_volume() -> None:
    """Annex II Part B: of 4 a year each stands 91 days; without the volume only core parameters have a period."""
    rows = [
        sampled("turbidity", "2026-03-21"),
        sampled("escherichia_coli", "2025-06-20"),
        sampled("lead", "2025-06-20"),
    ]
    known = panel(*rows, table=EU, product="tap", volume=500)
    assert one(known, "turbidity")["next_due"] == pd.Timestamp("2026-06-20")
    assert one(known, "lead")["state"] == State.IN_DATE
    assert one(known, "escherichia_coli")["state"] == State.OVERDUE
    assert "legionella" not in set(known["parameter"])
    unknown = panel(*rows, table=EU, product="tap")
    assert one(unknown, "escherichia_coli")["state"] == State.IN_DATE
    assert one(unknown, "lead")["state"] == State.NOT_KNOWN


@pytest.mark.parametrize(
    "others",
    [
        {"sign": "not done"}, {"sign": "unreadable"}, {"sampled_at": None}, {"sampled_at": pd.Timestamp("2026-06-21")},
        {"sample": "Field blank"},
    ],
)  # fmt: skip
def test_what_is_no_evidence(others: dict[str, Any]) -> None:
    """A test not done, an unreadable or undated result, one of a later day and a blank."""
    assert one(panel({**sampled("lead", "2026-06-01"), **others}), "lead")["state"] == State.NO_RESULT


def test_a_sum_is_as_old_as_its_oldest_member() -> None:
    members = ["chloroform", "bromodichloromethane", "dibromochloromethane", "bromoform"]
    days = ["2026-06-01", "2025-01-01", "2026-06-01", "2026-06-01"]
    rows = [sampled(code, day) for code, day in zip(members, days, strict=True)]
    assert one(panel(*rows), "trihalomethanes_total")["state"] == State.OVERDUE
    assert one(panel(*rows[:3]), "trihalomethanes_total")["state"] == State.NO_RESULT


@settings(max_examples=10, deadline=None)
@given(
    st.lists(st.tuples(st.sampled_from(["lead", "turbidity"]), st.integers(0, 900)), max_size=6), st.integers(0, 900)
)
def test_more_evidence_never_makes_a_test_due_earlier(drawn: list[tuple[str, int]], age: int) -> None:
    def rows(pairs: list[tuple[str, int]]) -> list[dict[str, Any]]:
        return [sampled(code, str(pd.Timestamp(ON) - pd.Timedelta(days=days))) for code, days in pairs]

    before, after = panel(*rows(drawn)), panel(*rows([*drawn, ("lead", age)]))
    Due.validate(after)
    first, second = (pd.Timestamp(one(table, "lead")["next_due"]) for table in (before, after))
    assert pd.isna(first) or first <= second


def test_the_command(tmp_path: Path) -> None:
    book, out = SAMPLES / "history_2025_2026_wide.csv", tmp_path / "due.csv"
    arguments = ["due", str(book), "--limits", "us_21cfr165_110b", "--product", "purified", "--on", "2026-06-20"]
    result = CliRunner().invoke(app, [*arguments, "--out", str(out)], catch_exceptions=False)
    assert result.exit_code == 1
    assert "each batch (release rules): escherichia_coli, total_coliforms" in result.stdout
    assert "next: total_coliforms by 2026-06-23" in result.stdout
    assert list(pd.read_csv(out)) == list(Due.to_schema().columns)
    rows = json.loads(CliRunner().invoke(app, [*arguments, "--json"], catch_exceptions=False).stdout)
    assert {row["parameter"] for row in rows if row["state"] == "in date"} >= {"lead", "turbidity", "total_coliforms"}
    none = CliRunner().invoke(app, ["due", str(book), "--limits", "who_gdwq_2022"], catch_exceptions=False)
    assert "no panel for these tables" in none.stdout


@pytest.mark.parametrize(("word", "disposition"), [("note", "release"), ("hold", "hold")])
def test_a_batch_whose_yearly_panel_is_out_of_date(tmp_path: Path, word: str, disposition: str) -> None:
    rules = tmp_path / "rules.toml"
    text = (shipped_folder("limits") / "release_rules.toml").read_text("utf-8")
    rules.write_text(text.replace('overdue = "note"', f'overdue = "{word}"'), encoding="utf-8")
    check = check_workbook(
        [SAMPLES / "run_B2107_clean.xlsx"], details=BatchDetails(batch="", product="purified"),
        limits=["us_21cfr165_110b"], train=SAMPLES / "train.toml", rules=rules, on=ON, product="purified",
    )  # fmt: skip
    assert check.decision.disposition == disposition
    assert any(finding.code == "overdue" and "129.80(g)(2)" in finding.message for finding in check.findings)
    assert "sampling plans" in {file.kind for file in check.files}


@pytest.mark.parametrize(
    ("old", "new", "line", "told"),
    [
        (",week,", ",fortnight,", 2, "isin"),
        ("total_coliforms,week", "e_coli,week", 2, "codes of parameters.csv"),
        ("packaged;spring", "bottled;spring", 2, "kinds of water"),
        ("primary text: 21 CFR 129.80", "seen: 21 CFR 129.80", 2, "str_matches"),
        ("table,waters", "tables,waters", 1, "the headings must be"),
    ],
)
def test_a_bad_panel_file_names_line_and_rule(tmp_path: Path, old: str, new: str, line: int, told: str) -> None:
    text = (shipped_folder("limits") / "required_panels.csv").read_text("utf-8")
    assert old in text
    path = tmp_path / "required_panels.csv"
    path.write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(LimitTableError) as caught:
        load_panels(path)
    assert f"required_panels.csv, line {line}" in str(caught.value)
    assert told in str(caught.value)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("10,1,2.2", "10,10,2.2", "c is below n"),
        ("10,1,2.2", "10,one,2.2", "write a whole number"),
        ("2.2,9.2", "9.3,9.2", "M is not below m"),
        ("membrane filter,10", "MPN,10", "one row for each method"),
        (",MPN,100,", ",MPN,,", "volume_ml"),
    ],
)
def test_a_bad_plan_file_is_refused(tmp_path: Path, old: str, new: str, told: str) -> None:
    text = (shipped_folder("limits") / "sampling_plans.csv").read_text("utf-8")
    assert old in text
    (tmp_path / "sampling_plans.csv").write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(LimitTableError) as caught:
        load_plans(tmp_path)
    assert told in str(caught.value)
