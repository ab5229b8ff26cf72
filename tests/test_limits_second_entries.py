"""Double entry: a second person compiled four tables without sight of the first, and every figure must be in both.

`second_entries/` holds those compilations, with our codes and units for their names. The United States' were read in
the annual edition of 2015 of 21 CFR 165.110, 40 CFR 141 and 143.3 with the later rules named in their rows, the
European Union's in the Official Journal (L 435, 23.12.2020, p. 1); WHO's figures of 2022 are from memory, so that
agreement guards against slips of the hand only. The mineral-water limits of Directive 2003/40/EC are compared with what
the national texts that were read made of them.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest

from wqcheck.limit_tables.loading import limit_cells
from wqcheck.tables import Rule
from wqcheck.units import conversion, recognise_unit, tidy

ENTRIES = Path(__file__).parent / "second_entries"

SHORT = "the value for short exposure stands in a guidance row; the stricter one for a lifetime is judged"
OTHERWISE = {
    ("us_21cfr165_110b", "total_coliforms"): "a plan over ten units; the row is stricter and says so",
    ("us_21cfr165_110b", "fluoride"): "steps by climate stand in a guidance row, the strictest one is judged",
    ("us_40cfr141_143", "acrylamide"): "a dose in treatment, not a figure in water",
    ("us_40cfr141_143", "epichlorohydrin"): "a dose in treatment, not a figure in water",
    ("us_40cfr141_143", "aldicarb"): "stayed before it took effect",
    ("us_40cfr141_143", "aldicarb_sulfone"): "stayed before it took effect",
    ("us_40cfr141_143", "aldicarb_sulfoxide"): "stayed before it took effect",
    ("who_gdwq_2022", "microcystin_lr"): SHORT,
    ("who_gdwq_2022", "cylindrospermopsins"): SHORT,
}
"""Why a figure of the second compilation stands in another form in the table."""

TRANSPOSITIONS = (
    "germany_min_tafelwv_2006",
    "england_2007_2785_mineral",
    "france_2007_03_14_mineral",
    "spain_rd_1798_2010",
    "czech_275_2004",
    "latvia_736_2015",
    "netherlands_1998_527_mineral",
    "northern_ireland_2015_365",
    "scotland_2007_483",
    "wales_2015_1867",
)


def entries() -> list[tuple[str, dict[str, str]]]:
    found = []
    for path in sorted(ENTRIES.glob("*.csv")):
        with path.open(encoding="utf-8", newline="") as file:
            found += [(path.stem, row) for row in csv.DictReader(file)]
    return found


def cells(table: str) -> list[dict[str, str]]:
    """Return the rows of a table that have a figure, as text."""
    rows = limit_cells(table).to_dict("records")
    return [{str(name): str(cell) for name, cell in row.items()} for row in rows if row["upper"] or row["lower"]]


def figures(table: str, parameter: str, unit: str) -> set[float]:
    """Return every limit of *parameter* in *table*, in *unit*."""
    found = set()
    for row in cells(table):
        if row["parameter"] != parameter:
            continue
        basis = "" if ";" in row["basis"] else row["basis"]
        same = row["unit"] == unit or row["rule"] == Rule.RATIO_SUM_MAX
        factor = 1.0 if same else conversion(parameter, row["unit"], basis, unit, basis).low
        found |= {float(tidy([float(row[end]) * factor])[0]) for end in ("lower", "upper") if row[end]}
    return found


@pytest.mark.parametrize(
    ("table", "row"), entries(), ids=lambda given: given if isinstance(given, str) else given["parameter"]
)
def test_every_figure_of_the_second_compilation_is_in_the_table(table: str, row: dict[str, str]) -> None:
    if (table, row["parameter"]) in OTHERWISE:
        return
    unit = row["unit"] if row["unit"] in {"", "1"} else recognise_unit(row["unit"]).label
    wanted = float(tidy([float(row["upper"])])[0])
    known = figures(table, row["parameter"], unit)
    assert any(math.isclose(wanted, value, rel_tol=1e-9) for value in known), (row, known)


def test_only_figures_that_differ_in_form_are_left_out() -> None:
    named = {(table, row["parameter"]) for table, row in entries()}
    assert set(OTHERWISE) <= named


@pytest.mark.parametrize("table", TRANSPOSITIONS)
def test_a_transposition_has_the_mineral_water_limits_of_the_directive(table: str) -> None:
    """Directive 2003/40/EC, Annex I: thirteen substances and more; national law took the figures over unchanged."""
    compared = 0
    for row in cells("eu_2009_54_2003_40"):
        theirs = figures(table, row["parameter"], row["unit"])
        if row["class"] == "health" and theirs:
            compared += 1
            assert any(math.isclose(float(row["upper"]), value, rel_tol=1e-9) for value in theirs), (row, theirs)
    assert compared >= 12
