"""The shipped tables of the United States, Canada, Australia and the older European law hold the published figures.

Figures are typed here a second time from the texts named beside them. Where a text could not be read at its source,
the row's cell ``evidence`` says so, and the same words apply to the figure here.
"""

from __future__ import annotations

import csv
from collections import Counter, defaultdict
from datetime import date, timedelta
from functools import cache
from itertools import combinations
from pathlib import Path

import pytest

from wqcheck.judging.judge import judge
from wqcheck.limit_tables.loading import load_limits
from wqcheck.tables import Judged, Verdict

from .table_rows import readings_of

FOLDER = Path(__file__).parent.parent / "limits"
US, CANADA, AUSTRALIA = "us_40cfr141_143", "canada_gcdwq", "australia_adwg"
MINERAL, OLD_EU = "eu_2009_54_2003_40", "eu_98_83_ec"
TABLES = (US, CANADA, AUSTRALIA, MINERAL, OLD_EU)
HEADER = (
    "parameter,rule,lower,upper,unit,basis,volume_ml,members,weights,product,class,status,"
    "valid_from,valid_to,source,clause,evidence,note"
)
TODAY = date(2026, 11, 25)
Row = dict[str, str]


@cache
def rows_of(table: str) -> list[Row]:
    """Return the rows of a shipped *table* as text cells."""
    with (FOLDER / f"{table}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def in_force(table: str, parameter: str, rule: str, product: str, on: date = TODAY) -> list[Row]:
    """Return the rows of *parameter* and *rule* that bind *product* on that day."""
    day = on.isoformat()
    return [
        row
        for row in rows_of(table)
        if row["parameter"] == parameter and row["rule"] == rule
        if {product, "any"} & set(row["product"].split(";"))
        if row["valid_from"] <= day <= (row["valid_to"] or "9999-12-31")
    ]


# parameter, upper, unit, basis, class, clause of 40 CFR: levels of Part 141, and secondary levels of 143.3
US_MAX = (
    ("antimony", 0.006, "mg/L", "", "health", "141.62(b)(11)"),
    ("arsenic", 0.010, "mg/L", "", "health", "141.62(b)(16)"),
    ("barium", 2, "mg/L", "", "health", "141.62(b)(3)"),
    ("cadmium", 0.005, "mg/L", "", "health", "141.62(b)(4)"),
    ("free_cyanide", 0.2, "mg/L", "CN", "health", "141.62(b)(13)"),
    ("fluoride", 4.0, "mg/L", "", "health", "141.62(b)(1)"),
    ("mercury", 0.002, "mg/L", "", "health", "141.62(b)(6)"),
    ("nitrate", 10, "mg/L", "N", "health", "141.62(b)(7)"),
    ("nitrite", 1, "mg/L", "N", "health", "141.62(b)(8)"),
    ("thallium", 0.002, "mg/L", "", "health", "141.62(b)(15)"),
    ("benzene", 0.005, "mg/L", "", "health", "141.61(a)(2)"),
    ("1_4_dichlorobenzene", 0.075, "mg/L", "", "health", "141.61(a)(6)"),
    ("tetrachloroethene", 0.005, "mg/L", "", "health", "141.61(a)(15)"),
    ("vinyl_chloride", 0.002, "mg/L", "", "health", "141.61(a)(1)"),
    ("atrazine", 0.003, "mg/L", "", "health", "141.61(c)(1)"),
    ("glyphosate", 0.7, "mg/L", "", "health", "141.61(c)(1)"),
    ("2_3_7_8_tcdd", 3e-8, "mg/L", "", "health", "141.61(c)(1)"),
    ("bromate", 0.010, "mg/L", "", "health", "141.64(a)"),
    ("chlorite", 1.0, "mg/L", "", "health", "141.64(a)"),
    ("total_chlorine", 4.0, "mg/L", "Cl2", "health", "141.65(a)"),
    ("gross_alpha", 15, "pCi/L", "", "radiological", "141.66(c)"),
    ("beta_photon_dose", 4, "mrem", "", "radiological", "141.66(d)"),
    ("uranium", 30, "µg/L", "", "radiological", "141.66(e)"),
    ("aluminium", 0.2, "mg/L", "", "acceptability", "143.3"),
    ("chloride", 250, "mg/L", "", "acceptability", "143.3"),
    ("fluoride", 2.0, "mg/L", "", "acceptability", "143.3"),
    ("iron", 0.3, "mg/L", "", "acceptability", "143.3"),
    ("odour", 3, "TON", "", "acceptability", "143.3"),
    ("total_dissolved_solids", 500, "mg/L", "", "acceptability", "143.3"),
    ("zinc", 5, "mg/L", "", "acceptability", "143.3"),
)

# the same for Canada; Health Canada, guideline technical document or Canada Gazette notice on the parameter
CANADA_MAX = (
    ("antimony", 0.006, "mg/L", "", "health", "antimony"),
    ("arsenic", 0.010, "mg/L", "", "health", "arsenic (2006)"),
    ("boron", 5, "mg/L", "", "health", "boron"),
    ("cadmium", 0.007, "mg/L", "", "health", "cadmium (2020)"),
    ("copper", 2, "mg/L", "", "health", "copper (2019)"),
    ("copper", 1, "mg/L", "", "acceptability", "copper (2019)"),
    ("lead", 0.005, "mg/L", "", "health", "lead (2019)"),
    ("manganese", 0.12, "mg/L", "", "health", "manganese (2019)"),
    ("manganese", 0.02, "mg/L", "Mn", "acceptability", "manganese (2019)"),
    ("nitrate", 45, "mg/L", "NO3", "health", "nitrate and nitrite"),
    ("nitrite", 3, "mg/L", "NO2", "health", "nitrate and nitrite"),
    ("selenium", 0.05, "mg/L", "", "health", "selenium (2014)"),
    ("strontium", 7.0, "mg/L", "", "health", "strontium (2019)"),
    ("uranium", 0.02, "mg/L", "", "health", "uranium (2019)"),
    ("1_4_dioxane", 0.050, "mg/L", "", "health", "1,4-dioxane (2021)"),
    ("malathion", 0.29, "mg/L", "", "health", "malathion (2023)"),
    ("metribuzin", 0.08, "mg/L", "", "health", "metribuzin (2021)"),
    ("sulfate", 500, "mg/L", "", "acceptability", "sulfate"),
)

# the same for Australia; NHMRC, Australian Drinking Water Guidelines 6 (2011), Table 10.6, with the update of 2025
AUSTRALIA_MAX = (
    ("acephate", 0.008, "mg/L", "", "health"),
    ("acrylamide", 0.0002, "mg/L", "", "health"),
    ("aldicarb", 0.004, "mg/L", "", "health"),
    ("ammonium", 0.5, "mg/L", "NH3", "acceptability"),
    ("antimony", 0.003, "mg/L", "", "health"),
    ("arsenic", 0.01, "mg/L", "", "health"),
    ("atrazine", 0.02, "mg/L", "", "health"),
    ("benzene", 0.001, "mg/L", "", "health"),
    ("boron", 4, "mg/L", "", "health"),
    ("cadmium", 0.002, "mg/L", "", "health"),
    ("copper", 2, "mg/L", "", "health"),
    ("copper", 1, "mg/L", "", "acceptability"),
    ("fluoride", 1.5, "mg/L", "", "health"),
    ("glyphosate", 1, "mg/L", "", "health"),
    ("hardness", 200, "mg/L", "CaCO3", "acceptability"),
    ("manganese", 0.1, "mg/L", "", "health"),
    ("manganese", 0.05, "mg/L", "Mn", "acceptability"),
    ("nitrate", 50, "mg/L", "NO3", "health"),
    ("perfluorohexanesulfonic_acid", 30, "ng/L", "", "health"),
    ("perfluorooctanesulfonic_acid", 8, "ng/L", "", "health"),
    ("perfluorooctanoic_acid", 200, "ng/L", "", "health"),
    ("selenium", 0.004, "mg/L", "", "health"),
    ("sodium", 180, "mg/L", "", "acceptability"),
    ("total_dissolved_solids", 600, "mg/L", "", "acceptability"),
)

# parameter, upper in mg/L, basis; Directive 2003/40/EC, Annex I, as transposed by UK SI 2004/656, Schedule 6
MINERAL_MAX = (
    ("antimony", 0.0050, ""),
    ("arsenic", 0.010, ""),
    ("barium", 1.0, ""),
    ("cadmium", 0.003, ""),
    ("chromium", 0.050, ""),
    ("copper", 1.0, ""),
    ("cyanide", 0.070, "CN"),
    ("fluoride", 5.0, ""),
    ("lead", 0.010, ""),
    ("manganese", 0.50, ""),
    ("mercury", 0.0010, ""),
    ("nickel", 0.020, ""),
    ("nitrate", 50, "NO3"),
    ("nitrite", 0.1, "NO2"),
    ("selenium", 0.010, ""),
)

# parameter, volume in mL, point of Article 5(2); Directive 2009/54/EC
MINERAL_ABSENT = (
    ("escherichia_coli", 250, "(b)"),
    ("total_coliforms", 250, "(b)"),
    ("enterococci", 250, "(b)"),
    ("sulfite_reducing_clostridia", 50, "(c)"),
    ("pseudomonas_aeruginosa", 250, "(d)"),
)

# parameter, upper, unit, basis, part of Annex I; Directive 98/83/EC, OJ L 330, 5.12.1998, on 31 December 2022
OLD_EU_MAX = (
    ("acrylamide", 0.10, "µg/L", "", "B"),
    ("antimony", 5.0, "µg/L", "", "B"),
    ("arsenic", 10, "µg/L", "", "B"),
    ("benzene", 1.0, "µg/L", "", "B"),
    ("boron", 1.0, "mg/L", "", "B"),
    ("bromate", 10, "µg/L", "", "B, note 2"),
    ("cadmium", 5.0, "µg/L", "", "B"),
    ("copper", 2.0, "mg/L", "", "B"),
    ("cyanide", 50, "µg/L", "CN", "B"),
    ("fluoride", 1.5, "mg/L", "", "B"),
    ("lead", 10, "µg/L", "", "B, note 4"),
    ("nitrate", 50, "mg/L", "NO3", "B"),
    ("nitrite", 0.50, "mg/L", "NO2", "B"),
    ("pesticides_total", 0.50, "µg/L", "", "B"),
    ("selenium", 10, "µg/L", "", "B"),
    ("ammonium", 0.50, "mg/L", "NH4", "C"),
    ("electrical_conductivity", 2500, "µS/cm", "20 °C", "C"),
    ("manganese", 50, "µg/L", "", "C"),
    ("sodium", 200, "mg/L", "", "C"),
    ("tritium", 100, "Bq/L", "", "C"),
)

# table, parameter, product, upper, unit, number of members, clause; the texts named above
SUMS = (
    (US, "nitrate_plus_nitrite", "tap", 10, "mg/L", 2, "141.62(b)(9)"),
    (US, "xylenes", "tap", 10, "mg/L", 3, "141.61(a)(18)"),
    (US, "trihalomethanes_total", "tap", 0.080, "mg/L", 4, "141.64(b)(2)"),
    (US, "haloacetic_acids_5", "tap", 0.060, "mg/L", 5, "141.64(b)(2)"),
    (US, "radium_226_228", "tap", 5, "pCi/L", 2, "141.66(b)"),
    (CANADA, "trihalomethanes_total", "packaged", 0.100, "mg/L", 4, "Guideline technical document, trihalomethanes"),
    (CANADA, "pfas_25", "tap", 30, "ng/L", 25, "Objective for per- and polyfluoroalkyl substances (2024)"),
    (AUSTRALIA, "aldrin_and_dieldrin", "tap", 0.0003, "mg/L", 2, "Table 10.6"),
    (AUSTRALIA, "trihalomethanes_total", "tap", 0.25, "mg/L", 4, "Table 10.6"),
    (AUSTRALIA, "1_2_dichloroethene", "tap", 0.06, "mg/L", 2, "Table 10.6"),
)


def assert_limit(table: str, product: str, typed: tuple[str, float, str, str], cls: str = "", clause: str = "") -> None:
    """Find the one row of that parameter, basis and class and compare upper, unit and clause."""
    parameter, upper, unit, basis = typed
    found = [
        row for row in in_force(table, parameter, "max", product) if row["basis"] == basis and cls in ("", row["class"])
    ]
    assert len(found) == 1, (parameter, found)
    assert (float(found[0]["upper"]), found[0]["unit"]) == (upper, unit)
    assert found[0]["source"]
    assert clause in ("", found[0]["clause"])


@pytest.mark.parametrize(("parameter", "upper", "unit", "basis", "cls", "clause"), US_MAX)
def test_us_levels(parameter: str, upper: float, unit: str, basis: str, cls: str, clause: str) -> None:
    """Each level of 40 CFR 141 and 143.3 stands with its clause and binds tap water."""
    assert_limit(US, "tap", (parameter, upper, unit, basis), cls, clause)


@pytest.mark.parametrize(("parameter", "upper", "unit", "basis", "cls", "document"), CANADA_MAX)
def test_canadian_values(parameter: str, upper: float, unit: str, basis: str, cls: str, document: str) -> None:
    """Each Canadian maximum or aesthetic objective stands with the document that sets it."""
    assert_limit(CANADA, "packaged", (parameter, upper, unit, basis), cls, f"Guideline technical document, {document}")


@pytest.mark.parametrize(("parameter", "upper", "unit", "basis", "cls"), AUSTRALIA_MAX)
def test_australian_values(parameter: str, upper: float, unit: str, basis: str, cls: str) -> None:
    """Each Australian health or aesthetic value stands under Table 10.6."""
    assert_limit(AUSTRALIA, "tap", (parameter, upper, unit, basis), cls, "Table 10.6")


@pytest.mark.parametrize(("parameter", "upper", "basis"), MINERAL_MAX)
def test_mineral_water_constituents(parameter: str, upper: float, basis: str) -> None:
    """Each constituent of Annex I has its maximum, for natural mineral water and for no other water."""
    assert_limit(MINERAL, "natural mineral", (parameter, upper, "mg/L", basis), "health", "Annex I")
    assert in_force(MINERAL, parameter, "max", "spring") == []


@pytest.mark.parametrize(("parameter", "volume", "point"), MINERAL_ABSENT)
@pytest.mark.parametrize("product", ["natural mineral", "spring"])
def test_mineral_water_organisms_absent(parameter: str, volume: float, point: str, product: str) -> None:
    """Article 5(2) binds natural mineral water, and through Article 9(4) spring water."""
    (row,) = in_force(MINERAL, parameter, "absent", product)
    assert (float(row["volume_ml"]), row["unit"], row["class"]) == (volume, "count", "microbiological")
    assert row["clause"] == f"Article 5(2){point}"


@pytest.mark.parametrize(("parameter", "figures"), [("22c", ("100 per mL", "20 to 22 °C")), ("37c", ("20 per mL",))])
def test_mineral_water_counts_within_12_hours_of_bottling(parameter: str, figures: tuple[str, ...]) -> None:
    """100 per mL at 20 to 22 °C and 20 at 37 °C hold only within 12 hours of bottling (Article 5(1))."""
    (row,) = in_force(MINERAL, f"heterotrophic_plate_count_{parameter}", "guidance", "natural mineral")
    assert all(figure in row["note"] for figure in (*figures, "12 hours"))


@pytest.mark.parametrize(("parameter", "upper"), [("ozone", 50), ("bromate", 3), ("bromoform", 1)])
def test_residues_of_ozone_enriched_air(parameter: str, upper: float) -> None:
    """Directive 2003/40/EC, Annex III, as transposed by UK SI 2007/2785, Schedule 1."""
    for product in ("natural mineral", "spring"):
        assert_limit(MINERAL, product, (parameter, upper, "µg/L", ""), "health", "Annex III")


@pytest.mark.parametrize(("parameter", "upper", "unit", "basis", "part"), OLD_EU_MAX)
@pytest.mark.parametrize("product", ["tap", "packaged", "purified", "spring"])
def test_old_eu_values(parameter: str, upper: float, unit: str, basis: str, part: str, product: str) -> None:
    """Each value of 98/83/EC held on its last years and holds no more."""
    (row,) = in_force(OLD_EU, parameter, "max", product, date(2022, 12, 31))
    cells = (float(row["upper"]), row["unit"], row["basis"], row["clause"], row["status"])
    assert cells == (upper, unit, basis, f"Annex I Part {part}", "repealed")
    assert in_force(OLD_EU, parameter, "max", product) == []


def test_old_eu_ends_when_the_recast_begins() -> None:
    """The directive is repealed with effect from 13 January 2023 (Directive (EU) 2020/2184, Article 26)."""
    ends = {row["valid_to"] for row in rows_of(OLD_EU)}
    assert max(ends) == "2023-01-12"
    assert ends - {"2023-01-12"} == {"2008-12-24", "2013-12-24"}, "interim values of bromate and lead"


@pytest.mark.parametrize(
    ("parameter", "last", "before", "after"),
    [("bromate", date(2008, 12, 24), 25, 10), ("lead", date(2013, 12, 24), 25, 10)],
)
def test_old_eu_interim_values(parameter: str, last: date, before: float, after: float) -> None:
    """Bromate: 25 µg/L in years five to ten (note 2); lead: 25 µg/L in years five to fifteen (note 4, memory)."""
    for day, upper in ((last, before), (last + timedelta(days=1), after)):
        (row,) = in_force(OLD_EU, parameter, "max", "tap", day)
        assert float(row["upper"]) == upper


@pytest.mark.parametrize("product", ["packaged", "purified", "spring"])
def test_old_eu_bottles(product: str) -> None:
    """Annex I Part A: bottles are examined in 250 mL, with counts of 100 at 22 °C and 20 at 37 °C per mL."""
    day = date(2022, 12, 31)
    for parameter in ("escherichia_coli", "enterococci", "pseudomonas_aeruginosa"):
        (row,) = in_force(OLD_EU, parameter, "absent", product, day)
        assert row["volume_ml"] == "250"
    for parameter, upper in (("22c", 100), ("37c", 20)):
        (row,) = in_force(OLD_EU, f"heterotrophic_plate_count_{parameter}", "max", product, day)
        assert (float(row["upper"]), row["unit"], row["volume_ml"]) == (upper, "CFU", "1")


@pytest.mark.parametrize(("table", "parameter", "product", "upper", "unit", "members", "clause"), SUMS)
def test_sums(table: str, parameter: str, product: str, upper: float, unit: str, members: int, clause: str) -> None:
    """A sum has its value, and as many members as the text names."""
    (row,) = in_force(table, parameter, "sum_max", product)
    assert (float(row["upper"]), row["unit"], row["clause"]) == (upper, unit, clause)
    assert len(set(row["members"].split(";"))) == members


def test_us_pfas_levels_of_2024() -> None:
    """89 FR 32532, 26 April 2024: 4.0 and 10 ng/L and a hazard index of 1, to be met from 26 April 2029."""
    last, first = date(2029, 4, 25), date(2029, 4, 26)
    typed = {"perfluorooctanoic_acid": 4.0, "perfluorooctanesulfonic_acid": 4.0}
    typed |= dict.fromkeys(("perfluorohexanesulfonic_acid", "perfluorononanoic_acid", "hfpo_da"), 10)
    for parameter, upper in typed.items():
        assert in_force(US, parameter, "max", "tap", last) == []
        (row,) = in_force(US, parameter, "max", "tap", first)
        assert (float(row["upper"]), row["unit"]) == (upper, "ng/L")
        assert "rescind" in row["note"] or "keeps" in row["note"]
    (index,) = in_force(US, "pfas_hazard_index", "ratio_sum_max", "tap", first)
    pairs = dict(zip(index["members"].split(";"), index["weights"].split(";"), strict=True))
    assert pairs == {
        **{"hfpo_da": "10", "perfluorobutanesulfonic_acid": "2000"},
        **{"perfluorononanoic_acid": "10", "perfluorohexanesulfonic_acid": "10"},
    }


@pytest.mark.parametrize(
    ("parameter", "day", "upper"),
    [
        ("lead", date(2027, 10, 31), 0.015),  # 40 CFR 141.80(c), edition of 2015
        ("lead", date(2027, 11, 1), 0.010),  # 89 FR 86418, 30 October 2024; its date of compliance from memory
        ("copper", date(2027, 11, 1), 1.3),  # 40 CFR 141.80(c)
    ],
)
def test_us_action_levels_are_judged_on_the_90th_percentile(parameter: str, day: date, upper: float) -> None:
    """Lead and copper have action levels for the 90th percentile, so that no single result meets or fails them."""
    (row,) = in_force(US, parameter, "percentile_max", "tap", day)
    assert float(row["upper"]) == upper
    assert row["clause"].startswith("141.80(c)")
    reading = readings_of([{"parameter": parameter, "value": 5.0, "unit": "mg/L"}])
    verdicts = judge(reading, [load_limits(US)], product="tap", on=day)
    assert set(verdicts.loc[verdicts[Judged.rule] == "percentile_max", Judged.verdict]) == {Verdict.UNDETERMINED}


@pytest.mark.parametrize(
    ("table", "reading", "expected"),
    [
        # between the aesthetic and the health value of Table 10.6: 0.025 and 0.8 mg/L, 1 and 2 mg/L, 0.02 and 0.6 mg/L
        (AUSTRALIA, {"parameter": "toluene", "value": 0.03}, {"health": "pass", "acceptability": "fail"}),
        (AUSTRALIA, {"parameter": "copper", "value": 1.5}, {"health": "pass", "acceptability": "fail"}),
        (AUSTRALIA, {"parameter": "xylenes", "value": 0.1}, {"health": "pass", "acceptability": "fail"}),
        (AUSTRALIA, {"parameter": "toluene", "value": 0.01}, {"health": "pass", "acceptability": "pass"}),
        # Health Canada: 0.02 and 0.12 mg/L; 40 CFR 143.3 and 141.62(b)(1): 2.0 and 4.0 mg/L
        (CANADA, {"parameter": "manganese", "value": 0.05}, {"health": "pass", "acceptability": "fail"}),
        (US, {"parameter": "fluoride", "value": 3.0}, {"health": "pass", "acceptability": "fail"}),
    ],
)
def test_aesthetic_values_are_judged_beside_health_values(
    table: str, reading: dict[str, object], expected: dict[str, str]
) -> None:
    """A result between the two values meets the health value and misses the aesthetic one."""
    readings = readings_of([{"unit": "mg/L", **reading}])
    judged = judge(readings, [load_limits(table)], product="tap", on=TODAY)
    found = dict(zip(judged[Judged.limit_class].astype(str), judged[Judged.verdict].astype(str), strict=True))
    assert found == expected
    assert len(judged) == len(expected)


def test_withdrawn_canadian_guidelines_have_no_figure() -> None:
    """Health Canada withdrew 17 guidelines in January 2022, 13 of them for pesticides."""
    withdrawn = [row for row in rows_of(CANADA) if row["clause"].startswith("Withdrawal")]
    assert len(withdrawn) == 17
    assert {row["rule"] for row in withdrawn} == {"guidance"}
    figures = {row["parameter"] for row in rows_of(CANADA) if row["upper"]}
    assert not figures & {row["parameter"] for row in withdrawn}


# rows, sum of all upper cells per unit, rows per kind of evidence; counted on 2026-11-25 to make any edit deliberate
SHAPES: dict[str, tuple[int, dict[str, float], dict[str, int]]] = {
    US: (
        121,
        {
            "mg/L": 1071.47075003,
            "ng/L": 39.0,
            "pCi/L": 20028.0,
            "mrem": 4.0,
            "MFL": 7.0,
            "µg/L": 30.0,
            "mg/L Pt": 15.0,
            "TON": 3.0,
            "pH": 8.5,
        },
        {"primary text": 121},
    ),
    CANADA: (
        116,
        {"mg/L": 1529.72218, "ng/L": 30.0, "Bq/L": 7031.5, "mg/L Pt": 15.0, "°C": 15.0, "pH": 10.5},
        {"primary text": 58, "secondary text": 34, "memory": 24},
    ),
    AUSTRALIA: (
        274,
        {
            "µg/L": 1.3,
            "Bq/L": 1.0,
            "mSv": 1.0,
            "mg/L": 1684.78211,
            "ng/L": 1238.0,
            "mg/L Pt": 15.0,
            "NTU": 5.0,
            "pH": 8.5,
        },
        {"primary text": 18, "secondary text": 255, "memory": 1},
    ),
    MINERAL: (31, {"mg/L": 57.779, "µg/L": 54.0}, {"primary text": 10, "secondary text": 21}),
    OLD_EU: (
        61,
        {"CFU": 120.0, "µg/L": 786.53, "mg/L": 761.5, "µS/cm": 2500.0, "pH": 9.5, "Bq/L": 100.0, "mSv": 0.1},
        {"primary text": 33, "memory": 6, "secondary text": 22},
    ),
}


@pytest.mark.parametrize("table", TABLES)
def test_shape_of_the_table(table: str) -> None:
    """Rows, column sums and kinds of evidence change only together with this test."""
    uppers: defaultdict[str, float] = defaultdict(float)
    for row in rows_of(table):
        if row["upper"]:
            uppers[row["unit"]] += float(row["upper"])
    kinds = Counter(row["evidence"].split(":")[0] for row in rows_of(table))
    count, sums, evidence = SHAPES[table]
    assert len(rows_of(table)) == count
    assert dict(uppers) == pytest.approx(sums)
    assert dict(kinds) == evidence
    assert kinds["memory"] <= 0.3 * count


@pytest.mark.parametrize("table", TABLES)
def test_file_form(table: str) -> None:
    """UTF-8 without mark, LF line ends, the exact header, one line per row."""
    text = (FOLDER / f"{table}.csv").read_bytes().decode("utf-8")
    assert not text.startswith("\ufeff")
    assert "\r" not in text
    assert text.splitlines()[0] == HEADER
    assert text.count("\n") == len(rows_of(table)) + 1


@pytest.mark.parametrize("table", TABLES)
def test_no_two_rows_of_one_key_overlap(table: str) -> None:
    """One row for each parameter, rule, basis, volume, set of members, class and product at a time."""
    spans: defaultdict[tuple[str, ...], list[tuple[str, str]]] = defaultdict(list)
    for row in rows_of(table):
        key = tuple(row[column] for column in ("parameter", "rule", "basis", "volume_ml", "members", "class"))
        for product in row["product"].split(";"):
            spans[(*key, product)].append((row["valid_from"], row["valid_to"] or "9999-12-31"))
    for key, held in spans.items():
        for first, second in combinations(sorted(held), 2):
            assert first[1] < second[0], key


@pytest.mark.parametrize("table", TABLES)
def test_table_loads(table: str) -> None:
    """The loader finds nothing to report and keeps every row."""
    assert len(load_limits(table).rows) == len(rows_of(table))
