"""A slip of the hand in a shipped limit table shows here: its rows, sums of columns and evidence were counted once.

The figures were added up from the tables as they were made and checked; they prove that nothing moved since, not that
a value is right. A table that is changed on purpose changes its line here, with the reason in the commit.
"""

from __future__ import annotations

import pytest

from wqcheck.limit_tables.columns import EVIDENCE
from wqcheck.limit_tables.loading import load_limits, shipped_tables

# table: rows, with a number (not guidance), sum of lower, sum of upper, sum of volume_ml,
# primary text, secondary text, memory
PINS = """
australia_adwg              : 274 249 91.5 2954.5821 200 18 255 1
austria_b17                 : 62 58 0 96.6953 2100 62 0 0
canada_gcdwq                : 116 84 7 8631.7222 100 58 34 24
czech_275_2004              : 84 54 4.5 1692.239 1051 84 0 0
england_2007_2785_bottled   : 64 58 4.5 4382.73 1402 64 0 0
england_2007_2785_mineral   : 25 23 0 111.779 1050 25 0 0
england_2016_614            : 56 52 6.5 4230.73 400 56 0 0
eu_2009_54_2003_40          : 31 23 0 111.779 1050 10 21 0
eu_2020_2184                : 77 65 13 5156.13 3200 77 0 0
eu_98_83_ec                 : 61 55 6.5 4277.63 1402 33 22 6
france_2007_03_14_mineral   : 28 21 0 751.1 1050 28 0 0
germany_min_tafelwv_2006    : 37 23 0 111.779 1050 37 0 0
germany_trinkwv_2023        : 78 72 6.5 3989.6671 1502 78 0 0
japan_2003_101              : 52 46 5.8 1332.5655 1 15 37 0
latvia_736_2015             : 39 23 0 111.779 1050 39 0 0
mexico_nom_127_2021         : 54 52 6.7 6624.239 20200 54 0 0
netherlands_1998_527_mineral: 25 23 0 111.779 1050 25 0 0
northern_ireland_2015_365   : 79 74 4.5 4346.509 1400 79 0 0
portugal_dl_69_2023         : 83 72 6.5 5727.33 3200 78 5 0
scotland_2007_483           : 72 70 64.5 1398.0079 1050 72 0 0
spain_rd_1798_2010          : 77 69 4.5 4171.41 2100 77 0 0
spain_rd_3_2023             : 74 70 6 4981.99 1501 74 0 0
us_21cfr165_110b            : 98 96 0 1142.6518 200 98 0 0
us_40cfr141_143             : 121 106 6.5 21205.971 100 121 0 0
wales_2015_1867             : 79 74 4.5 4346.509 1400 79 0 0
who_gdwq_2022               : 191 145 6.7 19008.81 200 0 135 56
"""


def pinned() -> dict[str, str]:
    """Return the line of each table."""
    lines = [line.split(":") for line in PINS.strip().splitlines()]
    return {name.strip(): " ".join(figures.split()) for name, figures in lines}


def counted(name: str) -> str:
    """Return the figures of a shipped table in the order of ``PINS``."""
    rows = load_limits(name).rows
    sums = [f"{rows[column].sum():.8g}" for column in ("lower", "upper", "volume_ml")]
    read = [int(rows["evidence"].str.startswith(word).sum()) for word in EVIDENCE]
    return " ".join(map(str, (len(rows), int((rows["rule"] != "guidance").sum()), *sums, *read)))


@pytest.mark.parametrize("name", shipped_tables())
def test_a_shipped_table_has_the_rows_sums_and_evidence_that_were_counted(name: str) -> None:
    assert pinned().get(name) == counted(name), f"{name}: {counted(name)}"


def test_no_table_is_pinned_that_is_not_shipped() -> None:
    assert set(pinned()) == set(shipped_tables())
