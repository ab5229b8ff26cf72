"""The shipped Indian and South African tables hold the published figures, and only one of each at a time.

Figures are typed here a second time from the texts named beside them. Neither standard could be read at its source:
the row's cell ``evidence`` says where a figure was read, and the same words apply to the figure here.
"""

from __future__ import annotations

import csv
import math
from collections import Counter
from datetime import date
from functools import cache
from pathlib import Path

import pytest

from tests.table_rows import readings_of
from wqcheck.judging import judge
from wqcheck.limit_checks import COLUMNS
from wqcheck.limit_tables import load_limits
from wqcheck.tables import Judged, LimitClass, Product, Rule, Verdict

FOLDER = Path(__file__).parents[1] / "limits"
INDIA, SOUTH_AFRICA = "india_is10500_2012", "south_africa_sans241_2015"
TABLES = (INDIA, SOUTH_AFRICA)
DAY = date(2026, 11, 25)
MEMORY_SHARE = 0.30
Row = dict[str, str]


@cache
def rows_of(table: str) -> tuple[Row, ...]:
    """Return the rows of a shipped *table* as text cells."""
    with (FOLDER / f"{table}.csv").open(encoding="utf-8", newline="") as file:
        return tuple(csv.DictReader(file))


def only(table: str, parameter: str, rule: str) -> Row:
    """Return the one row of that *parameter* and *rule*."""
    found = [row for row in rows_of(table) if (row["parameter"], row["rule"]) == (parameter, rule)]
    assert len(found) == 1, (table, parameter, rule, found)
    return found[0]


# parameter, acceptable limit, unit, basis, permissible limit without an alternate source ("" for none), place;
# IS 10500:2012 (second revision, May 2012), Tables 1 to 4, as transcribed with their serial numbers in a public file
INDIAN_VALUES = (
    ("colour", 5, "mg/L Pt", "", "15 Hazen", "Table 1, serial number i"),
    ("turbidity", 1, "NTU", "", "5 NTU", "Table 1, serial number v"),
    ("total_dissolved_solids", 500, "mg/L", "", "2000 mg/L", "Table 1, serial number vi"),
    ("aluminium", 0.03, "mg/L", "", "0.2 mg/L", "Table 2, serial number i"),
    ("ammonium", 0.5, "mg/L", "N", "", "Table 2, serial number ii"),
    ("anionic_surfactants", 0.2, "mg/L", "", "1.0 mg/L", "Table 2, serial number iii"),
    ("barium", 0.7, "mg/L", "", "", "Table 2, serial number iv"),
    ("boron", 0.5, "mg/L", "", "1.0 mg/L", "Table 2, serial number v"),
    ("calcium", 75, "mg/L", "", "200 mg/L", "Table 2, serial number vi"),
    ("chloramines", 4.0, "mg/L", "Cl2", "", "Table 2, serial number vii"),
    ("chloride", 250, "mg/L", "", "1000 mg/L", "Table 2, serial number viii"),
    ("copper", 0.05, "mg/L", "", "1.5 mg/L", "Table 2, serial number ix"),
    ("fluoride", 1.0, "mg/L", "", "1.5 mg/L", "Table 2, serial number x"),
    ("iron", 0.3, "mg/L", "", "", "Table 2, serial number xii"),
    ("magnesium", 30, "mg/L", "", "100 mg/L", "Table 2, serial number xiii"),
    ("manganese", 0.1, "mg/L", "", "0.3 mg/L", "Table 2, serial number xiv"),
    ("hydrocarbon_index", 0.5, "mg/L", "", "", "Table 2, serial number xv"),
    ("nitrate", 45, "mg/L", "NO3", "", "Table 2, serial number xvi"),
    ("phenols", 0.001, "mg/L", "", "0.002 mg/L", "Table 2, serial number xvii"),
    ("selenium", 0.01, "mg/L", "", "", "Table 2, serial number xviii"),
    ("silver", 0.1, "mg/L", "", "", "Table 2, serial number xix"),
    ("sulfate", 200, "mg/L", "", "400 mg/L", "Table 2, serial number xx"),
    ("sulfide", 0.05, "mg/L", "H2S", "", "Table 2, serial number xxi"),
    ("alkalinity", 200, "mg/L", "CaCO3", "600 mg/L", "Table 2, serial number xxii"),
    ("hardness", 200, "mg/L", "CaCO3", "600 mg/L", "Table 2, serial number xxiii"),
    ("zinc", 5, "mg/L", "", "15 mg/L", "Table 2, serial number xxiv"),
    ("cadmium", 0.003, "mg/L", "", "", "Table 3, serial number i"),
    ("cyanide", 0.05, "mg/L", "CN", "", "Table 3, serial number ii"),
    ("lead", 0.01, "mg/L", "", "", "Table 3, serial number iii"),
    ("mercury", 0.001, "mg/L", "", "", "Table 3, serial number iv"),
    ("molybdenum", 0.07, "mg/L", "", "", "Table 3, serial number v"),
    ("nickel", 0.02, "mg/L", "", "", "Table 3, serial number vi"),
    ("polychlorinated_biphenyls", 0.0005, "mg/L", "", "", "Table 3, serial number viii"),
    ("pahs_16", 0.0001, "mg/L", "", "", "Table 3, serial number ix"),
    ("pahs_4", 0.0001, "mg/L", "", "", "Table 3, serial number ix"),
    ("arsenic", 0.01, "mg/L", "", "0.05 mg/L", "Table 3, serial number x"),
    ("chromium", 0.05, "mg/L", "", "", "Table 3, serial number xi"),
    ("bromoform", 0.1, "mg/L", "", "", "Table 3, serial number xii(a)"),
    ("dibromochloromethane", 0.1, "mg/L", "", "", "Table 3, serial number xii(b)"),
    ("bromodichloromethane", 0.06, "mg/L", "", "", "Table 3, serial number xii(c)"),
    ("chloroform", 0.2, "mg/L", "", "", "Table 3, serial number xii(d)"),
    ("gross_alpha", 0.1, "Bq/L", "", "", "Table 4, serial number i(a)"),
    ("gross_beta", 1.0, "Bq/L", "", "", "Table 4, serial number i(b)"),
)

# parameter, limit in µg/L, serial number; the same standard, Table 5, pesticide residues, no relaxation
INDIAN_PESTICIDES = (
    ("alachlor", 20, "i"),
    ("atrazine", 2, "ii"),
    ("alpha_hch", 0.01, "iv"),
    ("beta_hch", 0.04, "v"),
    ("butachlor", 125, "vi"),
    ("chlorpyrifos", 30, "vii"),
    ("delta_hch", 0.04, "viii"),
    ("2_4_d", 30, "ix"),
    ("ethion", 3, "xii"),
    ("lindane", 2, "xiii"),
    ("isoproturon", 9, "xiv"),
    ("malathion", 190, "xv"),
    ("parathion_methyl", 0.3, "xvi"),
    ("monocrotophos", 1, "xvii"),
    ("phorate", 2, "xviii"),
)

# parameter, limit, unit, number of members, place; the same standard, remarks of Table 2 and Table 5
INDIAN_SUMS = (
    ("iron_plus_manganese", 0.3, "mg/L", 2, "Table 2, serial number xii and xiv, remarks"),
    ("aldrin_and_dieldrin", 0.03, "µg/L", 2, "Table 5, serial number iii"),
    ("ddt_and_metabolites", 1, "µg/L", 6, "Table 5, serial number x"),
    ("endosulfan", 0.4, "µg/L", 3, "Table 5, serial number xi"),
)

# parameter, volume in mL, place; the same standard, Table 6 and clause 4
INDIAN_ABSENT = (
    ("escherichia_coli", 100, "Table 6, serial number i to iii"),
    ("faecal_coliforms", 100, "Table 6, serial number i to iii"),
    ("total_coliforms", 100, "Table 6, serial number ii and iii"),
    ("f_specific_coliphages", 1_000, "4.2.7"),
    ("cryptosporidium", 10_000, "4.3.8"),
    ("giardia", 10_000, "4.3.9"),
)

# parameter, limit, unit, basis, class, table; SANS 241-1:2015, as tabulated at hwt.co.za (sans-241-check-and-compare)
# or, for organisms, arsenic, copper, lead and zinc, as stated in a training course and on a supplier's page
SOUTH_AFRICAN_VALUES = (
    ("total_coliforms", 10, "count", "", "operational", "Table 1"),
    ("heterotrophic_plate_count", 1000, "count", "", "operational", "Table 1"),
    ("colour", 15, "mg/L Pt", "", "acceptability", "Table 2"),
    ("electrical_conductivity", 170 * 10, "µS/cm", "25 °C", "acceptability", "Table 2"),  # 1 mS/m is 10 µS/cm
    ("total_dissolved_solids", 1200, "mg/L", "", "acceptability", "Table 2"),
    ("turbidity", 1, "NTU", "", "operational", "Table 2"),
    ("total_organic_carbon", 10, "mg/L", "", "health", "Table 2"),
    ("nitrate", 11, "mg/L", "N", "health", "Table 2"),
    ("nitrite", 0.9, "mg/L", "N", "health", "Table 2"),
    ("sulfate", 250, "mg/L", "", "acceptability", "Table 2"),
    ("fluoride", 1.5, "mg/L", "", "health", "Table 2"),
    ("ammonium", 1.5, "mg/L", "N", "acceptability", "Table 2"),
    ("chloride", 300, "mg/L", "", "acceptability", "Table 2"),
    ("sodium", 200, "mg/L", "", "acceptability", "Table 2"),
    ("iron", 300, "µg/L", "", "acceptability", "Table 2"),
    ("manganese", 100, "µg/L", "", "acceptability", "Table 2"),
    ("zinc", 5, "mg/L", "", "acceptability", "Table 2"),
    ("arsenic", 10, "µg/L", "", "health", "Table 2"),
    ("copper", 2000, "µg/L", "", "health", "Table 2"),
    ("lead", 10, "µg/L", "", "health", "Table 2"),
)

# parameter, limit in µg/L; SANS 241-1:2015, Table 2, from memory
SOUTH_AFRICAN_RECALLED = (
    ("antimony", 20),
    ("barium", 700),
    ("boron", 2400),
    ("cadmium", 3),
    ("chromium", 50),
    ("cyanide", 200),
    ("mercury", 6),
    ("nickel", 70),
    ("selenium", 40),
    ("uranium", 30),
)


@pytest.mark.parametrize(("parameter", "upper", "unit", "basis", "permissible", "clause"), INDIAN_VALUES)
def test_indian_acceptable_limits(
    parameter: str, upper: float, unit: str, basis: str, permissible: str, clause: str
) -> None:
    """The acceptable limit is judged, and the permissible one stands in the note, or that there is none."""
    row = only(INDIA, parameter, "max")
    assert (float(row["upper"]), row["unit"], row["basis"], row["clause"]) == (upper, unit, basis, clause)
    assert (permissible or "no relaxation") in row["note"]
    assert ("Permissible" in row["note"]) is bool(permissible)


@pytest.mark.parametrize(("parameter", "upper", "place"), INDIAN_PESTICIDES)
def test_indian_pesticides(parameter: str, upper: float, place: str) -> None:
    """Table 5 counts in µg/L, unlike every other table of the standard."""
    row = only(INDIA, parameter, "max")
    assert (float(row["upper"]), row["unit"]) == (upper, "µg/L")
    assert row["clause"] == f"Table 5, serial number {place}"


@pytest.mark.parametrize(("parameter", "upper", "unit", "members", "clause"), INDIAN_SUMS)
def test_indian_sums(parameter: str, upper: float, unit: str, members: int, clause: str) -> None:
    """One limit that names several substances is held against their sum."""
    row = only(INDIA, parameter, "sum_max")
    assert (float(row["upper"]), row["unit"], row["clause"]) == (upper, unit, clause)
    assert len(set(row["members"].split(";"))) == members
    assert not row["weights"]


@pytest.mark.parametrize(("parameter", "volume", "clause"), INDIAN_ABSENT)
def test_indian_organisms_absent(parameter: str, volume: float, clause: str) -> None:
    """Bacteria are absent in 100 mL, phages in 1 L and parasites in 10 L."""
    row = only(INDIA, parameter, "absent")
    assert (float(row["volume_ml"]), row["unit"], row["clause"]) == (volume, "count", clause)
    assert row["class"] == LimitClass.MICROBIOLOGICAL


def test_indian_ph_and_chlorine() -> None:
    """The pH lies between 6.5 and 8.5 (Table 1, iii); chlorinated water keeps 0.2 mg/L at the tap (Table 2, xi)."""
    ph, chlorine = only(INDIA, "ph", "range"), only(INDIA, "free_chlorine", "min")
    assert (float(ph["lower"]), float(ph["upper"]), ph["unit"]) == (6.5, 8.5, "pH")
    assert (float(chlorine["lower"]), chlorine["unit"], chlorine["upper"]) == (0.2, "mg/L", "")
    assert "only for water that is chlorinated" in chlorine["note"]


@pytest.mark.parametrize("parameter", ["iron", "arsenic", "uranium"])
def test_indian_amendments_are_named_where_they_are_recalled(parameter: str) -> None:
    """Three amendments were not read: iron and arsenic keep the stricter figure of 2012, uranium is from memory."""
    row = only(INDIA, parameter, "max")
    assert "Amendment" in row["note"] + row["clause"]
    assert (row["evidence"] == "memory") is (parameter == "uranium")


@pytest.mark.parametrize(("parameter", "upper", "unit", "basis", "group", "clause"), SOUTH_AFRICAN_VALUES)
def test_south_african_values(parameter: str, upper: float, unit: str, basis: str, group: str, clause: str) -> None:
    """Each value that was read, with the kind of risk that the standard names."""
    row = only(SOUTH_AFRICA, parameter, "max")
    assert (float(row["upper"]), row["unit"], row["basis"]) == (upper, unit, basis)
    assert (row["class"], row["clause"]) == (group, clause)
    assert row["evidence"].startswith("secondary text")


@pytest.mark.parametrize(("parameter", "upper"), SOUTH_AFRICAN_RECALLED)
def test_south_african_values_from_memory_say_so(parameter: str, upper: float) -> None:
    """Values that no text at hand confirmed are marked as recalled."""
    row = only(SOUTH_AFRICA, parameter, "max")
    assert (float(row["upper"]), row["unit"], row["evidence"]) == (upper, "µg/L", "memory")


@pytest.mark.parametrize(("parameter", "figure"), [("iron", "2000"), ("manganese", "400"), ("sulfate", "500")])
def test_south_african_notes_hold_the_health_limit_above_the_aesthetic_one(parameter: str, figure: str) -> None:
    """Where the standard has an aesthetic and a health limit, the stricter is judged and the other is a note."""
    row = only(SOUTH_AFRICA, parameter, "max")
    assert float(row["upper"]) < float(figure)
    assert figure in row["note"]


@pytest.mark.parametrize("parameter", ["escherichia_coli", "faecal_coliforms"])
def test_south_african_faecal_bacteria_are_not_detected_in_100_ml(parameter: str) -> None:
    """SANS 241-1:2015, Table 1, as stated in a training course on it."""
    row = only(SOUTH_AFRICA, parameter, "absent")
    assert (row["volume_ml"], row["unit"], row["class"]) == ("100", "count", LimitClass.MICROBIOLOGICAL)


def test_south_african_ph() -> None:
    """The pH lies between 5 and 9.7 (SANS 241-1:2015, Table 2, as tabulated at hwt.co.za)."""
    row = only(SOUTH_AFRICA, "ph", "range")
    assert (float(row["lower"]), float(row["upper"])) == (5.0, 9.7)


@pytest.mark.parametrize(
    ("nitrate", "nitrite", "ratio", "verdict"),
    [
        (8.0, 0.5, 8 / 11 + 0.5 / 0.9, Verdict.FAIL),  # the course's own example: 0.73 + 0.56 = 1.29, each within
        (5.5, 0.45, 1.0, Verdict.PASS),  # half of each limit, by hand
    ],
)
def test_south_african_nitrate_and_nitrite_together(
    nitrate: float, nitrite: float, ratio: float, verdict: Verdict
) -> None:
    """A worked example of a training course on SANS 241-1:2015: both pass alone and the sum of the ratios fails."""
    given = {"nitrate": nitrate, "nitrite": nitrite}
    readings = readings_of(
        [{"parameter": code, "unit": "mg/L", "basis": "N", "value": value} for code, value in given.items()]
    )
    judged = judge(readings, [load_limits(SOUTH_AFRICA)], product=Product.TAP, on=DAY)
    sums = judged[judged[Judged.rule] == Rule.RATIO_SUM_MAX]
    assert set(judged.loc[judged[Judged.rule] == Rule.MAX, Judged.verdict]) == {Verdict.PASS}
    assert sums[Judged.verdict].to_list() == [verdict]
    assert sums[Judged.compared_value].iloc[0] == pytest.approx(ratio, rel=1e-9)


# table, rows, sum of upper limits, rows from memory
PINS = ((INDIA, 73, 1945.4657, 1), (SOUTH_AFRICA, 34, 10655.6, 10))


@pytest.mark.parametrize(("table", "count", "total", "recalled"), PINS)
def test_a_changed_row_is_noticed(table: str, count: int, total: float, recalled: int) -> None:
    """Rows, their sum and the rows from memory are pinned, and memory stays below a third."""
    rows = rows_of(table)
    assert len(rows) == count
    assert math.fsum(float(row["upper"]) for row in rows if row["upper"]) == pytest.approx(total, rel=1e-12)
    evidence = Counter(row["evidence"].split(":")[0] for row in rows)
    assert evidence == {"secondary text": count - recalled, "memory": recalled}
    assert recalled / count <= MEMORY_SHARE


@pytest.mark.parametrize("table", TABLES)
def test_every_row_is_typed_here_a_second_time(table: str) -> None:
    """The typed values above cover all rows of *table* but those of taste, odour and uranium."""
    typed = {INDIA: INDIAN_VALUES + INDIAN_PESTICIDES + INDIAN_SUMS + INDIAN_ABSENT}.get(
        table, SOUTH_AFRICAN_VALUES + SOUTH_AFRICAN_RECALLED
    )
    others = {
        INDIA: {"odour", "taste", "ph", "free_chlorine", "uranium"},
        SOUTH_AFRICA: {"escherichia_coli", "faecal_coliforms", "ph", "nitrate_nitrite_ratio"},
    }
    assert {row["parameter"] for row in rows_of(table)} == {str(entry[0]) for entry in typed} | others[table]


@pytest.mark.parametrize("table", TABLES)
def test_the_file_is_plain_and_loads(table: str) -> None:
    """UTF-8 with line feeds, the header of every table, no empty cell where one is needed, and it loads."""
    content = (FOLDER / f"{table}.csv").read_bytes()
    assert b"\r" not in content
    assert content.decode("utf-8").splitlines()[0] == ",".join(COLUMNS)
    assert len(load_limits(table).rows) == len(rows_of(table))


@pytest.mark.parametrize("table", TABLES)
def test_no_limit_stands_twice(table: str) -> None:
    """No parameter has two rows of one rule, and every row binds tap water and nothing else."""
    keys = Counter((row["parameter"], row["rule"]) for row in rows_of(table))
    assert [key for key, count in keys.items() if count > 1] == []
    assert {row["product"] for row in rows_of(table)} == {Product.TAP}
