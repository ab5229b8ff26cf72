"""Which text binds which water is data: Directive (EU) 2020/2184 Articles 3 and 26, 21 CFR 165.110 and 40 CFR 141.1."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from typer.testing import CliRunner

from wqcheck.cli import app
from wqcheck.errors import PlantFileError
from wqcheck.limit_tables.acts import Standing, acts_for, load_acts, remark_on
from wqcheck.limit_tables.loading import covers, load_limits, shipped_tables
from wqcheck.tables import Product

TODAY = date(2026, 3, 1)


def test_every_shipped_table_has_its_act_and_every_act_names_a_table_that_is_shipped() -> None:
    assert {act.table for act in load_acts() if act.table} == set(shipped_tables())


def test_a_table_has_limits_for_every_water_that_its_act_binds() -> None:
    for act in load_acts():
        if act.table:
            table = load_limits(act.table)
            assert all(covers(table, water) for water in act.waters), act


@pytest.mark.parametrize(
    ("table", "water", "said"),
    [
        ("eu_2020_2184", Product.PACKAGED, ""),
        ("eu_2020_2184", Product.NATURAL_MINERAL, "2009/54/EC"),  # Article 3(4)(a) of the Directive
        ("eu_2009_54_2003_40", Product.TAP, "2020/2184"),
        ("us_40cfr141_143", Product.PURIFIED, "us_21cfr165_110b"),  # 40 CFR 141.1: public water systems
        ("us_21cfr165_110b", Product.TAP, "us_40cfr141_143"),
        ("canada_gcdwq", Product.PACKAGED, "Division 12"),
        ("a_table_of_yours", Product.TAP, ""),
    ],
)
def test_a_table_for_another_water_names_the_one_that_binds_it(table: str, water: Product, said: str) -> None:
    remark = remark_on(table, water, TODAY, load_acts())
    assert (said in remark) if said else not remark


def test_a_repealed_act_held_until_its_last_day() -> None:
    """Directive (EU) 2020/2184, Article 26: 98/83/EC is repealed with effect from 13 January 2023."""
    acts = load_acts()
    assert not remark_on("eu_98_83_ec", Product.TAP, date(2023, 1, 12), acts)
    assert "repealed" in remark_on("eu_98_83_ec", Product.TAP, date(2023, 1, 13), acts)


def test_acts_in_force_come_before_guidelines_and_repealed_ones() -> None:
    found = [act.standing for act in acts_for(Product.PACKAGED, load_acts())]
    assert found == sorted(found, key=[Standing.IN_FORCE, Standing.GUIDELINE, Standing.REPEALED].index)


def test_a_bad_file_of_acts_lists_every_problem(tmp_path: Path) -> None:
    file = tmp_path / "acts.toml"
    file.write_text('[[acts]]\nact = "x"\nwaters = ["soup"]\nstanding = "repealed"\nevidence = "hearsay"\n', "utf-8")
    with pytest.raises(PlantFileError) as raised:
        load_acts(file)
    for said in ("jurisdiction is missing", "soup", "last day", "evidence must begin"):
        assert said in str(raised.value)


def test_the_command_says_who_binds_a_water_and_defers() -> None:
    found = CliRunner().invoke(app, ["limits", "acts", "--product", "natural mineral"])
    assert found.exit_code == 0
    assert "2009/54/EC" in found.stdout
    assert "40 CFR 141 (primary)" not in found.stdout
    assert "regulator" in found.stderr
