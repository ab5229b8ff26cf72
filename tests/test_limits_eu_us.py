"""The shipped European and United States tables hold the published figures, and only one of each at a time.

Figures are typed here a second time from the texts named beside them. Where a text could not be read at its source,
the row's cell ``evidence`` says so, and the same words apply to the figure here.
"""

from __future__ import annotations

import csv
from collections import Counter, defaultdict
from collections.abc import Iterator
from datetime import date, timedelta
from functools import cache
from itertools import combinations
from pathlib import Path

import pytest

from wqcheck.limit_tables.loading import load_limits

FOLDER = Path(__file__).parent.parent / "limits"
EU, US = "eu_2020_2184", "us_21cfr165_110b"
HEADER = (
    "parameter,rule,lower,upper,unit,basis,volume_ml,members,weights,product,class,status,"
    "valid_from,valid_to,source,clause,evidence,note"
)
UNITS = {"mg/L", "µg/L", "µS/cm", "NTU", "mg/L Pt", "TON", "pH", "CFU", "count", "pCi/L", "mrem", ""}
WATERS = {"tap", "packaged", "spring", "natural mineral", "purified"}
TODAY = date(2026, 11, 25)
Row = dict[str, str]


@cache
def rows_of(table: str) -> list[Row]:
    """Return the rows of a shipped *table* as text cells."""
    with (FOLDER / f"{table}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def in_force(table: str, parameter: str, rule: str, product: str, on: date = TODAY) -> Row | None:
    """Return the one row of *parameter* and *rule* that binds *product* on that day, or ``None``."""
    day = on.isoformat()
    found = [
        row
        for row in rows_of(table)
        if row["parameter"] == parameter and row["rule"] == rule and product in row["product"].split(";")
        if row["valid_from"] <= day <= (row["valid_to"] or "9999-12-31")
    ]
    assert len(found) <= 1, found
    return found[0] if found else None


# parameter, upper, unit, basis; Directive (EU) 2020/2184, OJ L 435, 23.12.2020, Annex I Part B, table of parametric
# values, in force on 25 November 2026 for water of every kind that the directive binds
EU_PART_B = (
    ("acrylamide", 0.10, "µg/L", ""),
    ("antimony", 10, "µg/L", ""),
    ("arsenic", 10, "µg/L", ""),
    ("benzene", 1.0, "µg/L", ""),
    ("benzo_a_pyrene", 0.010, "µg/L", ""),
    ("bisphenol_a", 2.5, "µg/L", ""),
    ("boron", 1.5, "mg/L", ""),
    ("bromate", 10, "µg/L", ""),
    ("cadmium", 5.0, "µg/L", ""),
    ("chlorate", 0.25, "mg/L", ""),
    ("chlorite", 0.25, "mg/L", ""),
    ("chromium", 50, "µg/L", ""),
    ("copper", 2.0, "mg/L", ""),
    ("cyanide", 50, "µg/L", "CN"),
    ("1_2_dichloroethane", 3.0, "µg/L", ""),
    ("epichlorohydrin", 0.10, "µg/L", ""),
    ("fluoride", 1.5, "mg/L", ""),
    ("lead", 10, "µg/L", ""),
    ("mercury", 1.0, "µg/L", ""),
    ("microcystin_lr", 1.0, "µg/L", ""),
    ("nickel", 20, "µg/L", ""),
    ("nitrate", 50, "mg/L", "NO3"),
    ("nitrite", 0.50, "mg/L", "NO2"),
    ("pesticide_single", 0.10, "µg/L", ""),
    ("aldrin", 0.030, "µg/L", ""),
    ("dieldrin", 0.030, "µg/L", ""),
    ("heptachlor", 0.030, "µg/L", ""),
    ("heptachlor_epoxide", 0.030, "µg/L", ""),
    ("pesticides_total", 0.50, "µg/L", ""),
    ("pfas_total", 0.50, "µg/L", ""),
    ("selenium", 20, "µg/L", ""),
    ("uranium", 30, "µg/L", ""),
    ("vinyl_chloride", 0.50, "µg/L", ""),
)

# the same directive, Annex I Part C, indicator parameters with a figure and no special case for bottles
EU_PART_C = (
    ("aluminium", 200, "µg/L", ""),
    ("ammonium", 0.50, "mg/L", "NH4"),
    ("chloride", 250, "mg/L", ""),
    ("electrical_conductivity", 2500, "µS/cm", "20 °C"),
    ("iron", 200, "µg/L", ""),
    ("manganese", 50, "µg/L", ""),
    ("oxidisability", 5.0, "mg/L", "O2"),
    ("sulfate", 250, "mg/L", ""),
    ("sodium", 200, "mg/L", ""),
)

# parameter, upper, number of members; the same directive, Annex I Part B (PFAS: Annex III Part B point 3)
EU_SUMS = (
    ("haloacetic_acids_5", 60, 5),
    ("pfas_20", 0.10, 20),
    ("pahs_4", 0.10, 4),
    ("tetrachloroethene_plus_trichloroethene", 10, 2),
    ("trihalomethanes_total", 100, 4),
)

# parameter, volume for tap water, volume for bottles (mL); the same directive, Annex I Part A, and Part C for coliforms
EU_ABSENT = (
    ("enterococci", 100, 250),
    ("escherichia_coli", 100, 250),
    ("total_coliforms", 100, 250),
    ("clostridium_perfringens", 100, 100),
)

# parameter, volume in mL, point of Article 5(2); Directive 2009/54/EC, which Article 9(4)(b) applies to spring water.
# Article 3(5) of Directive (EU) 2020/2184 takes spring water out of Annex I Part A.
EU_SPRING = (
    ("enterococci", 250, "(b)"),
    ("escherichia_coli", 250, "(b)"),
    ("total_coliforms", 250, "(b)"),
    ("sulfite_reducing_clostridia", 50, "(c)"),
    ("pseudomonas_aeruginosa", 250, "(d)"),
)

# Directive (EU) 2020/2184, Article 25: to be met by 12 January 2026
EU_FROM_2026 = (
    *("bisphenol_a", "chlorate", "chlorite", "haloacetic_acids_5"),
    *("microcystin_lr", "pfas_total", "pfas_20", "uranium"),
)

# parameter, upper, unit, basis, clause of 21 CFR 165.110; binding on all bottled water, mineral water included
US_ALL_WATERS = (
    ("turbidity", 5, "NTU", "", "(b)(3)(i)"),
    ("phenols", 0.001, "mg/L", "", "(b)(4)(i)(A)"),
    ("antimony", 0.006, "mg/L", "", "(b)(4)(iii)(A)"),
    ("arsenic", 0.010, "mg/L", "", "(b)(4)(iii)(A)"),
    ("barium", 2, "mg/L", "", "(b)(4)(iii)(A)"),
    ("beryllium", 0.004, "mg/L", "", "(b)(4)(iii)(A)"),
    ("cadmium", 0.005, "mg/L", "", "(b)(4)(iii)(A)"),
    ("chromium", 0.1, "mg/L", "", "(b)(4)(iii)(A)"),
    ("copper", 1.0, "mg/L", "", "(b)(4)(iii)(A)"),
    ("cyanide", 0.2, "mg/L", "CN", "(b)(4)(iii)(A)"),
    ("lead", 0.005, "mg/L", "", "(b)(4)(iii)(A)"),
    ("mercury", 0.002, "mg/L", "", "(b)(4)(iii)(A)"),
    ("nickel", 0.1, "mg/L", "", "(b)(4)(iii)(A)"),
    ("nitrate", 10, "mg/L", "N", "(b)(4)(iii)(A)"),
    ("nitrite", 1, "mg/L", "N", "(b)(4)(iii)(A)"),
    ("selenium", 0.05, "mg/L", "", "(b)(4)(iii)(A)"),
    ("thallium", 0.002, "mg/L", "", "(b)(4)(iii)(A)"),
    ("benzene", 0.005, "mg/L", "", "(b)(4)(iii)(B)"),
    ("carbon_tetrachloride", 0.005, "mg/L", "", "(b)(4)(iii)(B)"),
    ("1_4_dichlorobenzene", 0.075, "mg/L", "", "(b)(4)(iii)(B)"),
    ("1_1_1_trichloroethane", 0.20, "mg/L", "", "(b)(4)(iii)(B)"),
    ("tetrachloroethene", 0.005, "mg/L", "", "(b)(4)(iii)(B)"),
    ("vinyl_chloride", 0.002, "mg/L", "", "(b)(4)(iii)(B)"),
    ("alachlor", 0.002, "mg/L", "", "(b)(4)(iii)(C)"),
    ("atrazine", 0.003, "mg/L", "", "(b)(4)(iii)(C)"),
    ("benzo_a_pyrene", 0.0002, "mg/L", "", "(b)(4)(iii)(C)"),
    ("di_2_ethylhexyl_phthalate", 0.006, "mg/L", "", "(b)(4)(iii)(C)"),
    ("glyphosate", 0.7, "mg/L", "", "(b)(4)(iii)(C)"),
    ("lindane", 0.0002, "mg/L", "", "(b)(4)(iii)(C)"),
    ("2_3_7_8_tcdd", 3e-8, "mg/L", "", "(b)(4)(iii)(C)"),
    ("aluminium", 0.2, "mg/L", "", "(b)(4)(iii)(D)"),
    ("silver", 0.1, "mg/L", "", "(b)(4)(iii)(D)"),
    ("bromate", 0.010, "mg/L", "", "(b)(4)(iii)(H)"),
    ("chlorite", 1.0, "mg/L", "", "(b)(4)(iii)(H)"),
    ("total_chlorine", 4.0, "mg/L", "Cl2", "(b)(4)(iii)(H)"),
    ("chlorine_dioxide", 0.8, "mg/L", "", "(b)(4)(iii)(H)"),
    ("gross_alpha", 15, "pCi/L", "", "(b)(5)(i)(B)"),
    ("beta_photon_dose", 4, "mrem", "", "(b)(5)(i)(C)"),
    ("uranium", 30, "µg/L", "", "(b)(5)(i)(D)"),
)

# parameter, upper, unit, basis, members, clause of 21 CFR 165.110
US_SUMS = (
    ("nitrate_plus_nitrite", 10, "mg/L", "N;N", 2, "(b)(4)(iii)(A)"),
    ("xylenes", 10, "mg/L", "", 3, "(b)(4)(iii)(B)"),
    ("haloacetic_acids_5", 0.060, "mg/L", "", 5, "(b)(4)(iii)(H)"),
    ("trihalomethanes_total", 0.080, "mg/L", "", 4, "(b)(4)(iii)(H)"),
    ("radium_226_228", 5, "pCi/L", "", 2, "(b)(5)(i)(A)"),
)

# parameter, upper, unit, clause; 21 CFR 165.110, footnote of (b)(3) and (b)(4): mineral water is exempt from these
US_NOT_MINERAL = (
    ("colour", 15, "mg/L Pt", "(b)(3)(ii)"),
    ("odour", 3, "TON", "(b)(3)(iii)"),
    ("chloride", 250, "mg/L", "(b)(4)(i)(A)"),
    ("iron", 0.3, "mg/L", "(b)(4)(i)(A)"),
    ("manganese", 0.05, "mg/L", "(b)(4)(i)(A)"),
    ("total_dissolved_solids", 500, "mg/L", "(b)(4)(i)(A)"),
    ("zinc", 5.0, "mg/L", "(b)(4)(i)(A)"),
    ("sulfate", 250, "mg/L", "(b)(4)(iii)(D)"),
)


@pytest.mark.parametrize(("parameter", "upper", "unit", "basis"), EU_PART_B + EU_PART_C)
@pytest.mark.parametrize("product", ["tap", "packaged", "purified", "spring"])
def test_eu_parametric_values(parameter: str, upper: float, unit: str, basis: str, product: str) -> None:
    """Each parametric value of Parts B and C binds tap, packaged, purified and spring water alike."""
    row = in_force(EU, parameter, "max", product)
    assert row is not None
    assert (float(row["upper"]), row["unit"], row["basis"]) == (upper, unit, basis)


@pytest.mark.parametrize(("parameter", "upper", "members"), EU_SUMS)
def test_eu_sums(parameter: str, upper: float, members: int) -> None:
    """A sum has the value of Part B and as many members as the directive names."""
    row = in_force(EU, parameter, "sum_max", "packaged")
    assert row is not None
    assert (float(row["upper"]), row["unit"]) == (upper, "µg/L")
    assert len(set(row["members"].split(";"))) == members


def test_eu_nitrate_nitrite_ratio() -> None:
    """Nitrate over 50 plus nitrite over 3 is at most 1, each as its ion in mg/L (Annex I Part B, note on nitrate)."""
    row = in_force(EU, "nitrate_nitrite_ratio", "ratio_sum_max", "tap")
    assert row is not None
    cells = (row["members"], row["weights"], row["basis"], row["unit"], float(row["upper"]))
    assert cells == ("nitrate;nitrite", "50;3", "NO3;NO2", "mg/L", 1)


@pytest.mark.parametrize(("parameter", "tap", "bottle"), EU_ABSENT)
def test_eu_organisms_absent(parameter: str, tap: float, bottle: float) -> None:
    """Tap water is examined in 100 mL and bottles in 250 mL, but Clostridium perfringens always in 100 mL."""
    for product, volume in (("tap", tap), ("packaged", bottle), ("purified", bottle), ("spring", bottle)):
        row = in_force(EU, parameter, "absent", product)
        assert row is not None
        assert (float(row["volume_ml"]), row["unit"]) == (volume, "count")


@pytest.mark.parametrize(("parameter", "volume", "point"), EU_SPRING)
def test_eu_spring_water_has_the_microbiology_of_natural_mineral_water(
    parameter: str, volume: float, point: str
) -> None:
    """Spring water meets Article 5 of Directive 2009/54/EC instead of Part A, and a failure can reject a batch."""
    row = in_force(EU, parameter, "absent", "spring")
    assert row is not None
    assert (float(row["volume_ml"]), row["unit"], row["class"]) == (volume, "count", "microbiological")
    assert row["source"].startswith("Directive 2009/54/EC")
    assert row["clause"] == f"Article 9(4)(b) with Article 5(2){point}"


@pytest.mark.parametrize(("parameter", "figure"), [("22c", "100 per mL"), ("37c", "20 per mL")])
def test_eu_spring_water_counts_within_12_hours_of_bottling(parameter: str, figure: str) -> None:
    """100 per mL at 20 to 22 °C and 20 at 37 °C hold only within 12 hours of bottling (2009/54/EC, Article 5(1))."""
    row = in_force(EU, f"heterotrophic_plate_count_{parameter}", "guidance", "spring")
    assert row is not None
    assert figure in row["note"]
    assert "12 hours" in row["note"]


def test_eu_annex_i_part_a_leaves_spring_water_out() -> None:
    """Article 3(5): bottlers comply with Parts A and B, but Part A does not apply to spring water."""
    part_a = [row for row in rows_of(EU) if row["clause"] == "Annex I Part A"]
    assert {product for row in part_a for product in row["product"].split(";")} == {"tap", "packaged", "purified"}


def test_eu_ph_range() -> None:
    """The pH lies between 6.5 and 9.5 (Annex I Part C); the national choice of 4.5 for still bottles is a note."""
    for product in ("tap", "packaged"):
        row = in_force(EU, "ph", "range", product)
        assert row is not None
        assert (float(row["lower"]), float(row["upper"]), row["unit"]) == (6.5, 9.5, "pH")
    assert "4.5" in str(in_force(EU, "ph", "range", "packaged"))


def test_eu_legionella_strictly_below_1000() -> None:
    """Fewer than 1 000 CFU per litre (Annex I Part D), so 1 000 itself does not meet it."""
    row = in_force(EU, "legionella", "max", "tap")
    assert row is not None
    assert float(row["upper"]) < 1000
    assert float(row["upper"]) + 1 == float(row["volume_ml"]) == 1000


@pytest.mark.parametrize(("parameter", "before", "after"), [("lead", 10, 5), ("chromium", 50, 25)])
def test_eu_values_that_change_on_12_january_2036(parameter: str, before: float, after: float) -> None:
    """The lower value is to be met by 12 January 2036 and the higher one holds until then (Annex I Part B)."""
    last, first = date(2036, 1, 11), date(2036, 1, 12)
    old, new = in_force(EU, parameter, "max", "packaged", last), in_force(EU, parameter, "max", "packaged", first)
    assert old is not None
    assert new is not None
    assert (float(old["upper"]), float(new["upper"])) == (before, after)
    assert last + timedelta(days=1) == first


@pytest.mark.parametrize("parameter", EU_FROM_2026)
def test_eu_values_that_begin_on_12_january_2026(parameter: str) -> None:
    """Article 25: these are to be met by 12 January 2026, so nothing is judged the day before."""
    last, first = date(2026, 1, 11), date(2026, 1, 12)
    held = [[in_force(EU, parameter, rule, "packaged", day) for rule in ("max", "sum_max")] for day in (last, first)]
    assert held[0] == [None, None]
    assert held[1].count(None) == 1


def test_eu_leaves_natural_mineral_water_out() -> None:
    """Natural mineral water is outside the directive (Article 3(1)(a)); it is under Directive 2009/54/EC."""
    products = {product for row in rows_of(EU) for product in row["product"].split(";")}
    assert products == WATERS - {"natural mineral"}


def test_eu_holds_no_radiological_row() -> None:
    """Radioactivity is under Council Directive 2013/51/Euratom, not under this directive."""
    assert "radiological" not in {row["class"] for row in rows_of(EU)}


@pytest.mark.parametrize(("parameter", "upper", "unit", "basis", "clause"), US_ALL_WATERS)
@pytest.mark.parametrize("product", ["packaged", "spring", "natural mineral", "purified"])
def test_us_allowable_levels(parameter: str, upper: float, unit: str, basis: str, clause: str, product: str) -> None:
    """Each allowable level binds every kind of bottled water, mineral water included."""
    row = in_force(US, parameter, "max", product)
    assert row is not None
    assert (float(row["upper"]), row["unit"], row["basis"], row["clause"]) == (upper, unit, basis, clause)


@pytest.mark.parametrize(("parameter", "upper", "unit", "clause"), US_NOT_MINERAL)
def test_us_aesthetic_levels_exempt_mineral_water(parameter: str, upper: float, unit: str, clause: str) -> None:
    """The aesthetic levels bind packaged, spring and purified water, and not mineral water."""
    assert in_force(US, parameter, "max", "natural mineral") is None
    for product in ("packaged", "spring", "purified"):
        row = in_force(US, parameter, "max", product)
        assert row is not None
        assert (float(row["upper"]), row["unit"], row["clause"]) == (upper, unit, clause)
        assert row["class"] == "acceptability"


def test_us_no_other_level_exempts_mineral_water() -> None:
    """Only the eight aesthetic parameters leave mineral water out."""
    limits = [row for row in rows_of(US) if row["parameter"] != "fluoride"]
    exempt = {row["parameter"] for row in limits if "natural mineral" not in row["product"].split(";")}
    assert exempt == {parameter for parameter, *_ in US_NOT_MINERAL}


def test_us_fluoride_cases() -> None:
    """0.7 mg/L where added (87 FR 23434, compliance 17 October 2022); 1.4 is the lowest of the rest."""
    assert in_force(US, "fluoride", "max", "packaged", date(2022, 10, 16)) is None
    for product, upper in (("packaged", 0.7), ("purified", 0.7), ("spring", 1.4), ("natural mineral", 1.4)):
        row = in_force(US, "fluoride", "max", product)
        assert row is not None
        assert (float(row["upper"]), row["unit"]) == (upper, "mg/L")
    climate = in_force(US, "fluoride", "guidance", "packaged")
    assert climate is not None
    assert all(step in climate["note"] for step in ("2.4", "2.2", "2.0", "1.8", "1.6", "1.4"))


def test_us_coliforms_and_e_coli() -> None:
    """No E. coli (74 FR 25651); for coliforms a plan of ten units for each method, 165.110(b)(2)(i)(A)."""
    row = in_force(US, "total_coliforms", "attribute_plan", "spring")
    absent = in_force(US, "escherichia_coli", "absent", "spring")
    assert row is not None
    assert absent is not None
    assert absent["volume_ml"] == row["volume_ml"] == "100"
    assert row["status"] == "plan us_coliforms"
    assert all(figure in row["note"] for figure in ("2.2", "9.2", "4.0", "mean of at most 1"))


@pytest.mark.parametrize(("parameter", "upper", "unit", "basis", "members", "clause"), US_SUMS)
def test_us_sums(parameter: str, upper: float, unit: str, basis: str, members: int, clause: str) -> None:
    """Each sum has its allowable level, its members and, for nitrate with nitrite, both as nitrogen."""
    row = in_force(US, parameter, "sum_max", "natural mineral")
    assert row is not None
    assert (float(row["upper"]), row["unit"], row["basis"], row["clause"]) == (upper, unit, basis, clause)
    assert len(set(row["members"].split(";"))) == members


# rows, sum of all upper cells per unit, rows per kind of evidence; counted on 2026-11-25 to make any edit deliberate
SHAPES: tuple[tuple[str, int, dict[str, float], dict[str, int]], ...] = (
    (
        EU,
        77,
        {"µg/L": 875.63, "mg/L": 762.5, "µS/cm": 2500, "pH": 19, "CFU": 999},
        {"primary text": 77},
    ),
    (
        US,
        98,
        {
            **{"mg/L": 1065.65175003, "µg/L": 30, "pCi/L": 20, "mrem": 4},
            **{"NTU": 5, "mg/L Pt": 15, "TON": 3},
        },
        {"primary text": 98},
    ),
)


@pytest.mark.parametrize(("table", "count", "sums", "kinds"), SHAPES)
def test_shape_of_the_table(table: str, count: int, sums: dict[str, float], kinds: dict[str, int]) -> None:
    """Rows, column sums and kinds of evidence change only together with this test."""
    rows = rows_of(table)
    uppers: defaultdict[str, float] = defaultdict(float)
    for row in rows:
        if row["upper"]:
            uppers[row["unit"]] += float(row["upper"])
    assert len(rows) == count
    assert dict(uppers) == pytest.approx(sums)
    assert dict(Counter(row["evidence"].split(":")[0] for row in rows)) == kinds


@pytest.mark.parametrize("table", [EU, US])
def test_file_form(table: str) -> None:
    """UTF-8 without mark, LF line ends, the exact header, one line per row."""
    content = (FOLDER / f"{table}.csv").read_bytes()
    text = content.decode("utf-8")
    assert not text.startswith("\ufeff")
    assert "\r" not in text
    assert text.splitlines()[0] == HEADER
    assert text.count("\n") == len(rows_of(table)) + 1


@pytest.mark.parametrize("table", [EU, US])
def test_words_of_the_cells(table: str) -> None:
    """Units and products are the agreed words; source, clause and evidence are never blank."""
    for row in rows_of(table):
        assert row["unit"] in UNITS, row
        assert set(row["product"].split(";")) <= WATERS, row
        assert row["source"], row
        assert row["clause"], row
        assert row["evidence"] == "memory" or row["evidence"].startswith(("primary text: ", "secondary text: ")), row


def overlapping(rows: list[Row]) -> Iterator[tuple[Row, Row]]:
    """Yield pairs of *rows* of the same parameter and rule that bind a product in common on a day in common."""
    groups: dict[tuple[str, str], list[Row]] = defaultdict(list)
    for row in rows:
        groups[row["parameter"], row["rule"]].append(row)
    for group in groups.values():
        for one, other in combinations(group, 2):
            ends = [row["valid_to"] or "9999-12-31" for row in (one, other)]
            shared = set(one["product"].split(";")) & set(other["product"].split(";"))
            if shared and one["valid_from"] <= ends[1] and other["valid_from"] <= ends[0]:
                yield one, other


@pytest.mark.parametrize("table", [EU, US])
def test_no_row_says_twice_what_another_says(table: str) -> None:
    """At any time one row at most holds for a parameter, rule and product."""
    assert list(overlapping(rows_of(table))) == []


@pytest.mark.parametrize("table", [EU, US])
def test_the_loader_takes_the_table(table: str) -> None:
    """Every code, unit and basis of the table is known to the catalogue, and every row is complete."""
    loaded = load_limits(FOLDER / f"{table}.csv")
    assert len(loaded.rows) == len(rows_of(table))
