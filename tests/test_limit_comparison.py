"""Several tables beside each other: one unit per parameter, and the strictest named only where it can be told.

Conversions between bases are held against molar masses of the CIAAW abridged standard atomic weights (2021).
"""

from __future__ import annotations

from datetime import date

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.limit_rows import table_of
from wqcheck.limit_comparison.comparison import ComparedLimits, Standing, compare_limits, strictest_limits
from wqcheck.limit_comparison.demands import Relation, demands, relation
from wqcheck.limit_tables.loading import UnknownProductError, load_limits, shipped_tables
from wqcheck.tables import Product

DAY = date(2026, 11, 25)
NO3_PER_N = (14.007 + 3 * 15.999) / 14.007


def compared(*tables: object, product: str = "packaged", on: date = DAY) -> pd.DataFrame:
    return compare_limits(list(tables), product=product, on=on)  # type: ignore[arg-type]


def standings(frame: pd.DataFrame, parameter: str = "lead", asks: str = "at most") -> dict[str, str]:
    rows = frame[(frame["parameter"] == parameter) & (frame["asks"] == asks)]
    return dict(zip(rows["table"], rows["standing"], strict=True))


def test_a_limit_in_another_unit_is_compared_in_the_first_tables_unit() -> None:
    frame = compared(table_of("a", {"upper": "10"}), table_of("b", {"upper": "0.005", "unit": "mg/L"}))
    assert frame["value_low"].to_list() == [10, 5]
    assert set(frame["unit"]) == {"µg/L"}
    assert frame["limit"].to_list() == ["at most 10 µg/L", "at most 0.005 mg/L"]
    assert standings(frame) == {"a": Standing.LESS, "b": Standing.STRICTEST}


def test_a_basis_is_converted_by_molar_mass() -> None:
    nitrate = {"parameter": "nitrate", "unit": "mg/L"}
    frame = compared(table_of("a", {**nitrate, "upper": "50", "basis": "NO3"}),
                     table_of("b", {**nitrate, "upper": "10", "basis": "N"}))  # fmt: skip
    assert frame["value_low"].iloc[1] == pytest.approx(10 * NO3_PER_N, rel=1e-9)
    assert standings(frame, "nitrate") == {"a": Standing.LESS, "b": Standing.STRICTEST}
    assert set(frame["unit"]) == {"mg/L as NO3"}


def test_equal_limits_in_different_units_are_equally_strict() -> None:
    """9 µg/L is not the same float as 0.009 mg/L; it is the same limit."""
    frame = compared(table_of("a", {"upper": "9"}), table_of("b", {"upper": "0.009", "unit": "mg/L"}))
    assert set(standings(frame).values()) == {Standing.EQUAL}


@pytest.mark.parametrize(
    ("first", "second", "expected"),
    [
        ({"rule": "absent", "volume_ml": "250"}, {"rule": "absent", "volume_ml": "100"}, Relation.STRICTER),
        ({"rule": "absent", "volume_ml": "100"}, {"rule": "absent", "volume_ml": "100"}, Relation.EQUAL),
        ({"rule": "max", "upper": "0", "volume_ml": "100"}, {"rule": "absent", "volume_ml": "100"}, Relation.EQUAL),
        ({"rule": "absent", "volume_ml": "100"}, {"upper": "1", "volume_ml": "100"}, Relation.STRICTER),
        ({"upper": "20", "volume_ml": "100"}, {"rule": "absent", "volume_ml": "50"}, Relation.UNKNOWN),
        ({"upper": "20", "volume_ml": "1"}, {"upper": "2000", "volume_ml": "100"}, Relation.EQUAL),
        ({"upper": "20", "volume_ml": "1"}, {"upper": "500", "volume_ml": "100"}, Relation.LAXER),
    ],
)
def test_what_is_absent_in_more_water_is_the_stricter(
    first: dict[str, str], second: dict[str, str], expected: Relation
) -> None:
    organism = {"parameter": "escherichia_coli", "unit": "CFU", "class": "microbiological"}
    frames = [
        table_of(name, {**organism, **row}).rows.assign(table=name) for name, row in (("a", first), ("b", second))
    ]
    one, other = (demands(frame)[0] for frame in frames)
    opposite = {Relation.STRICTER: Relation.LAXER, Relation.LAXER: Relation.STRICTER}
    assert relation(one, other)[0] == expected
    assert relation(other, one)[0] == opposite.get(expected, expected)


@pytest.mark.parametrize(
    ("first", "second", "word"),
    [
        ({"parameter": "nitrate", "unit": "mg/L", "upper": "10"},
         {"parameter": "nitrate", "unit": "mg/L", "upper": "10", "basis": "N"}, "basis is not stated"),
        ({"parameter": "pahs_4", "rule": "sum_max", "upper": "0.1", "members": "fluoranthene;benzo_a_pyrene"},
         {"parameter": "pahs_4", "rule": "sum_max", "upper": "0.2", "members": "fluoranthene"}, "different members"),
        ({"parameter": "total_chlorine", "unit": "mg/L", "upper": "4"},
         {"parameter": "total_chlorine", "unit": "NTU", "upper": "4"}, "cannot be turned"),
    ],
)  # fmt: skip
def test_what_cannot_be_converted_is_said_and_not_guessed(
    first: dict[str, str], second: dict[str, str], word: str
) -> None:
    frame = compared(table_of("a", first), table_of("b", second))
    assert set(frame["standing"]) == {Standing.NOT_COMPARABLE}
    assert all(word in reason for reason in frame["reason"])


def test_one_that_cannot_be_ranked_does_not_hide_the_strictest_of_the_others() -> None:
    chlorine = {"parameter": "total_chlorine", "unit": "mg/L"}
    frame = compared(table_of("a", {**chlorine, "upper": "5"}), table_of("b", {**chlorine, "upper": "4"}),
                     table_of("c", {**chlorine, "upper": "1", "unit": "NTU"}))  # fmt: skip
    found = standings(frame, "total_chlorine")
    assert found == {"a": Standing.LESS, "b": Standing.STRICTEST, "c": Standing.NOT_COMPARABLE}
    assert "not compared with c" in frame.loc[frame["table"] == "b", "reason"].iloc[0]


def test_a_range_is_compared_at_both_ends() -> None:
    ph = {"parameter": "ph", "rule": "range", "unit": "pH"}
    frame = compared(table_of("a", {**ph, "lower": "6.5", "upper": "9.5"}),
                     table_of("b", {**ph, "lower": "6", "upper": "8.5"}))  # fmt: skip
    assert standings(frame, "ph", "at most") == {"a": Standing.LESS, "b": Standing.STRICTEST}
    assert standings(frame, "ph", "at least") == {"a": Standing.STRICTEST, "b": Standing.LESS}


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        ({"parameter": "copper", "upper": "1"}, "no limit"),
        ({"rule": "guidance", "unit": "", "note": "as low as can be"}, "guidance without a number"),
        ({"upper": "5", "valid_from": "2036-01-12"}, "not on this day (from 2036-01-12)"),
        ({"upper": "5", "valid_to": "2020-01-01"}, "not on this day (until 2020-01-01)"),
        ({"upper": "5", "product": "tap;spring"}, "only for tap;spring"),
        ({"upper": "5", "rule": "mean_max"}, "another kind of limit: mean at most 5 µg/L"),
        ({"parameter": "pahs_4", "rule": "sum_max", "upper": "5", "members": "lead;copper"}, "only as part of pahs_4"),
    ],
)
def test_a_table_without_such_a_limit_says_what_it_has_instead(row: dict[str, str], reason: str) -> None:
    frame = compared(table_of("a", {"upper": "10"}), table_of("b", row))
    own = frame[(frame["parameter"] == "lead") & (frame["asks"] == "at most")].set_index("table")
    assert own.loc["a", "standing"] == Standing.ONLY
    assert (own.loc["b", "standing"], own.loc["b", "reason"]) == (Standing.NONE, reason)


def test_the_day_chooses_the_rows() -> None:
    later = table_of("b", {"upper": "10", "valid_to": "2036-01-11"}, {"upper": "5", "valid_from": "2036-01-12"})
    first = table_of("a", {"upper": "7"})
    assert standings(compared(first, later))["b"] == Standing.LESS
    assert standings(compared(first, later, on=date(2036, 1, 12)))["b"] == Standing.STRICTEST


def test_the_row_for_any_single_pesticide_stands_for_those_that_others_name() -> None:
    frame = compared(table_of("a", {"parameter": "pesticide_single", "upper": "0.1"}),
                     table_of("b", {"parameter": "atrazine", "upper": "100"},
                              {"parameter": "ddt_and_metabolites", "upper": "1"}))  # fmt: skip
    assert standings(frame, "atrazine") == {"a": Standing.STRICTEST, "b": Standing.LESS}
    assert standings(frame, "ddt_and_metabolites") == {"a": Standing.NONE, "b": Standing.ONLY}
    assert "any single pesticide" in frame.loc[frame["parameter"] == "atrazine", "limit"].iloc[0]


def test_tables_of_one_name_are_told_apart_by_their_paths() -> None:
    one, other = table_of("a", {"upper": "1"}), table_of("a", {"upper": "2"})
    object.__setattr__(other, "path", other.path.with_suffix(".xlsx"))
    assert standings(compared(one, other)) == {"a.csv": Standing.STRICTEST, "a.xlsx": Standing.LESS}


def test_strictest_limits_gives_the_winning_row_and_why() -> None:
    tables = [table_of("a", {"upper": "10"}), table_of("b", {"upper": "5", "clause": "no. 7"})]
    won = strictest_limits(tables, product="tap", on=DAY)
    assert won[["table", "clause", "reason"]].to_numpy().tolist() == [["b", "no. 7", "a asks for at most 10 µg/L"]]


def test_shipped_tables_are_compared_as_published() -> None:
    """Figures: EU 2020/2184 Annex I Part B (Official Journal); 21 CFR 165.110(b) and WHO 2022 as in their own tests."""
    tables = [load_limits(name) for name in ("who_gdwq_2022", "eu_2020_2184", "us_21cfr165_110b")]
    frame = compared(*tables)
    assert standings(frame, "nitrate")["us_21cfr165_110b"] == Standing.STRICTEST
    assert standings(frame, "selenium")["eu_2020_2184"] == Standing.STRICTEST
    assert standings(frame, "escherichia_coli") == {
        "who_gdwq_2022": Standing.LESS, "eu_2020_2184": Standing.STRICTEST, "us_21cfr165_110b": Standing.LESS,
    }  # fmt: skip


@pytest.mark.parametrize("product", list(Product))
def test_every_shipped_table_stands_once_or_more_for_every_limit(product: Product) -> None:
    tables = [load_limits(name) for name in shipped_tables()]
    frame = compare_limits(tables, product=product, on=DAY)
    ComparedLimits.validate(frame)
    assert (frame.groupby(["parameter", "asks"])["table"].nunique() == len(tables)).all()
    assert (frame["reason"] != "").all()
    limits = frame[frame["standing"] != Standing.NONE]
    assert limits["limit"].notna().all()
    winners = limits[limits["standing"].isin(["strictest", "only limit"])].drop_duplicates(
        ["parameter", "asks", "table"]
    )
    assert not winners.duplicated(["parameter", "asks"]).any()


@settings(deadline=None, max_examples=12)
@given(st.lists(st.sampled_from(["1", "1.0", "2", "5", "0.001 mg/L", "0.005 mg/L"]), min_size=2, max_size=4))
def test_the_smallest_upper_limit_wins_whatever_its_unit_and_place(texts: list[str]) -> None:
    rows = [{"upper": t.split()[0], "unit": [*t.split(), "µg/L"][1]} for t in texts]
    values = [float(row["upper"]) * (1000 if row["unit"] == "mg/L" else 1) for row in rows]
    frame = compared(*(table_of(f"t{n}", row) for n, row in enumerate(rows)))
    won = frame["standing"].isin([Standing.STRICTEST, Standing.EQUAL]).to_list()
    assert won == [value == pytest.approx(min(values)) for value in values]


def test_an_unknown_water_is_refused() -> None:
    with pytest.raises(UnknownProductError):
        compared(table_of("a", {"upper": "1"}), product="holy")
