"""Two editions beside each other: what was added, dropped, tightened, relaxed, and what only reads differently."""

from __future__ import annotations

from datetime import date

import pandas as pd
import pytest

from tests.limit_rows import table_of
from wqcheck.limit_comparison.changes import Change, LimitChanges, limit_changes
from wqcheck.limit_tables.loading import UnknownProductError, load_limits, shipped_tables

DAY = date(2026, 11, 25)
GUIDANCE = {"rule": "guidance", "unit": ""}

# parameter → change and first day, from the two texts: Directive 98/83/EC (OJ L 330, 5.12.1998, p. 32), Annex I, and
# Directive (EU) 2020/2184 (OJ L 435, 23.12.2020, p. 1), Annex I; for tap water, seen on 25 November 2026
EU_TAP = {
    "chromium": {("unchanged", ""), ("tightened", "2036-01-12")},  # 50 → 25 µg/L
    "lead": {("unchanged", ""), ("tightened", "2036-01-12")},  # 10 → 5 µg/L
    "antimony": {("relaxed", "")},  # 5.0 → 10 µg/L
    "boron": {("relaxed", "")},  # 1.0 → 1.5 mg/L
    "selenium": {("relaxed", "")},  # 10 → 20 µg/L
    "bisphenol_a": {("added", "")},
    "chlorate": {("added", "")},
    "chlorite": {("added", "")},
    "haloacetic_acids_5": {("added", "")},
    "legionella": {("added", "")},
    "microcystin_lr": {("added", "")},
    "pfas_20": {("added", "")},
    "pfas_total": {("added", "")},
    "uranium": {("added", "")},
    "calcium": {("added", "")},  # softened water, no figure
    "magnesium": {("added", "")},
    "total_dissolved_solids": {("added", "")},
    "indicative_dose": {("dropped", "")},  # radioactivity went to Directive 2013/51/Euratom
    "tritium": {("dropped", "")},
    "bromate": {("unchanged", "")},
    "trihalomethanes_total": {("unchanged", "")},
    "nitrate": {("unchanged", "")},
}


def changes(old: dict[str, str] | None, new: dict[str, str] | None, **options: str) -> pd.DataFrame:
    filler = {"parameter": "zinc", "upper": "1"}
    before, after = (table_of(name, *([row] if row else []), filler) for name, row in (("a", old), ("b", new)))
    frame = limit_changes(before, after, on=DAY, **options)
    return frame[frame["parameter"] != "zinc"]


def the_change(old: dict[str, str] | None, new: dict[str, str] | None) -> tuple[str, str]:
    frame = changes(old, new)
    assert len(frame) == 1
    return frame["change"].iloc[0], frame["reason"].iloc[0]


@pytest.mark.parametrize(
    ("old", "new", "change", "reason"),
    [
        ({"upper": "10"}, {"upper": "5"}, Change.TIGHTENED, ""),
        ({"upper": "10"}, {"upper": "0.005", "unit": "mg/L"}, Change.TIGHTENED, "unit µg/L → mg/L"),
        ({"upper": "5"}, {"upper": "10"}, Change.RELAXED, ""),
        ({"upper": "10"}, {"upper": "10.0"}, Change.UNCHANGED, ""),
        ({"upper": "10"}, {"upper": "0.01", "unit": "mg/L"}, Change.OTHERWISE, "unit µg/L → mg/L"),
        ({"upper": "10"}, {"upper": "10", "class": "indicator"}, Change.OTHERWISE, "class health → indicator"),
        (None, {"upper": "10"}, Change.ADDED, ""),
        ({"upper": "10"}, None, Change.DROPPED, ""),
        ({"upper": "10"}, GUIDANCE, Change.DROPPED, "guidance without a number in the new edition"),
        (GUIDANCE, {"upper": "10"}, Change.ADDED, "guidance without a number in the old edition"),
        (GUIDANCE, GUIDANCE, Change.UNCHANGED, "guidance in both; read the notes"),
        ({"rule": "min", "lower": "1"}, {"rule": "min", "lower": "2"}, Change.TIGHTENED, ""),
    ],
)  # fmt: skip
def test_a_change_has_its_name(
    old: dict[str, str] | None, new: dict[str, str] | None, change: Change, reason: str
) -> None:
    assert the_change(old, new) == (change, reason)


def test_a_basis_that_changes_is_no_change_of_the_value() -> None:
    nitrate = {"parameter": "nitrate", "unit": "mg/L"}
    halved, reason = the_change({**nitrate, "upper": "50", "basis": "NO3"}, {**nitrate, "upper": "10", "basis": "N"})
    assert (halved, reason) == (Change.TIGHTENED, "basis NO3 → N")
    ammonium = {"parameter": "ammonium", "unit": "mg/L", "upper": "1.5"}
    assert the_change({**ammonium, "basis": "NH4"}, {**ammonium, "basis": "N"})[0] == Change.RELAXED


def test_volume_and_members_that_change_are_named() -> None:
    coli = {"parameter": "escherichia_coli", "unit": "CFU", "rule": "absent", "class": "microbiological"}
    assert the_change({**coli, "volume_ml": "100"}, {**coli, "volume_ml": "250"}) == (Change.TIGHTENED, "")
    pahs = {"parameter": "pahs_4", "rule": "sum_max", "upper": "0.1"}
    was, now = {**pahs, "members": "fluoranthene;pyrene"}, {**pahs, "members": "fluoranthene"}
    change, reason = the_change(was, now)
    assert change == Change.OTHERWISE
    assert "sums of different members" in reason
    assert "members gone: pyrene; come: none" in reason


def test_waters_with_the_same_change_share_a_row() -> None:
    frame = changes({"upper": "10", "product": "tap;packaged"}, {"upper": "5", "product": "tap;spring;packaged"})
    found = {(row["change"], row["product"]) for row in frame.to_dict("records")}
    assert found == {("tightened", "tap; packaged"), ("added", "spring")}
    assert changes({"upper": "10"}, {"upper": "5"})["product"].to_list() == ["any"]
    assert changes({"upper": "10"}, {"upper": "5"}, product="tap")["product"].to_list() == ["tap"]


def test_a_change_that_lies_ahead_stands_with_its_day() -> None:
    new = table_of("b", {"upper": "10", "valid_from": "2023-01-12", "valid_to": "2036-01-11"},
                   {"upper": "5", "valid_from": "2036-01-12"})  # fmt: skip
    frame = limit_changes(table_of("a", {"upper": "10", "valid_to": "2023-01-12"}), new, on=DAY)
    shown = [(row["change"], row["starts"]) for row in frame.to_dict("records")]
    assert shown == [("tightened", pd.Timestamp("2036-01-12")), ("unchanged", pd.NaT)]
    assert (frame["new_line"].to_list(), frame["old_line"].to_list()) == ([3, 2], [2, 2])


def test_a_limit_that_will_end_is_dropped_on_the_day_after() -> None:
    frame = limit_changes(table_of("a", {"upper": "10"}),
                          table_of("b", {"upper": "10", "valid_to": "2030-12-31"}), on=DAY)  # fmt: skip
    shown = {(row["change"], str(row["starts"])[:10]) for row in frame.to_dict("records")}
    assert shown == {("unchanged", "NaT"), ("dropped", "2031-01-01")}


def test_the_recast_of_the_european_directive_reads_as_its_text() -> None:
    frame = limit_changes(load_limits("eu_98_83_ec"), load_limits("eu_2020_2184"), on=DAY, product="tap")
    for parameter, expected in EU_TAP.items():
        rows = frame[frame["parameter"] == parameter]
        days = rows["starts"].dt.strftime("%Y-%m-%d").fillna("")
        assert set(zip(rows["change"], days, strict=True)) == expected, parameter
    moved = set(frame.loc[frame["change"] != "unchanged", "parameter"])
    assert moved == {name for name, found in EU_TAP.items() if found != {("unchanged", "")}}


def test_bottled_water_lost_its_colony_counts_and_pseudomonas_in_the_recast() -> None:
    """Directive 98/83/EC, Annex I Part A: P. aeruginosa 0/250 mL, colonies 100/mL at 22 °C and 20/mL at 37 °C."""
    frame = limit_changes(load_limits("eu_98_83_ec"), load_limits("eu_2020_2184"), on=DAY, product="packaged")
    gone = set(frame.loc[frame["change"] == "dropped", "old"])
    assert {"none in 250 mL", "at most 100 CFU in 1 mL", "at most 20 CFU in 1 mL"} <= gone


@pytest.mark.parametrize("name", shipped_tables())
def test_a_table_does_not_differ_from_itself(name: str) -> None:
    table = load_limits(name)
    frame = limit_changes(table, table, on=DAY)
    ahead = frame["starts"].notna()
    assert set(frame.loc[~ahead, "change"]) == {"unchanged"}
    LimitChanges.validate(frame)


def test_an_unknown_water_is_refused() -> None:
    with pytest.raises(UnknownProductError):
        changes({"upper": "1"}, {"upper": "2"}, product="holy")
