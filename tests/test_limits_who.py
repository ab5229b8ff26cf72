"""Turns the WHO limit table into rows and holds them against the published values, typed here with their source.

``READ`` was read in the text named beside it, seldom in the edition of 2022; ``RECALLED`` was typed from memory of that
edition and not read.
"""

from __future__ import annotations

import csv
import math
from collections import Counter
from collections.abc import Mapping
from pathlib import Path

import pytest

TABLE = Path(__file__).parents[1] / "limits" / "who_gdwq_2022.csv"
HEADER = (
    "parameter,rule,lower,upper,unit,basis,volume_ml,members,weights,product,class,status,valid_from,valid_to,"
    "source,clause,evidence,note"
)
A33 = "WHO 2022, Annex 3, Table A3.3"
CH10 = "WHO 2022, chapter 10"
METALS = A33 + ", in the metals table of heavymetalindex.com (printed in mg/L)"
SIDE_BY_SIDE = "WHO values of 2008 and 2011 side by side, Appendix 2.2 (scribd.com/document/342136060), 2011 column"
SINGAPORE = "Singapore, Non-Packaged Drinking Water Regulations 2025, First Schedule, Part 4 (laws.sg), mg/L"
HONG_KONG = "Hong Kong Water Supplies Department, annual report 2023/24 (flipbook page 139), standards adopted from WHO"
LIST_2011 = "list of WHO values of 2011 or later (scribd.com/document/316265976)"
THIRD = "WHO, 3rd edition, fact sheet "
THAILAND = "Metropolitan Waterworks Authority of Thailand, naming WHO 2006 (mwa.co.th)"
MG_PER_L = {"mg/L": 1.0, "µg/L": 1e-3}

Row = Mapping[str, str]

READ = [
    # parameter, mg/L as printed, mark as printed, source
    ("antimony", 0.02, "", METALS),
    ("arsenic", 0.01, "A, T", METALS),
    ("barium", 1.3, "", METALS),
    ("cadmium", 0.003, "", METALS),
    ("chromium", 0.05, "", METALS),
    ("copper", 2, "", METALS),
    ("lead", 0.01, "A, T", METALS),
    ("manganese", 0.08, "P", METALS),
    ("mercury", 0.006, "", METALS),
    ("boron", 2.4, "", "WHO 2022, pp. 350-351, as quoted in a public repository"),
    ("total_dissolved_solids", 1000, "", "WHO 2022, p. 246, as quoted in a public repository"),
    ("aluminium", 0.2, "", "WHO 2011, Annex 3, Table A3.2 (small works)"),
    ("acrylamide", 0.0005, "", SIDE_BY_SIDE),
    ("atrazine", 0.1, "", SIDE_BY_SIDE),
    ("benzene", 0.01, "", SIDE_BY_SIDE),
    ("benzo_a_pyrene", 0.0007, "", SIDE_BY_SIDE),
    ("bromate", 0.01, "A, T", SIDE_BY_SIDE),
    ("carbon_tetrachloride", 0.004, "", SIDE_BY_SIDE),
    ("chlorate", 0.7, "D", SIDE_BY_SIDE),
    ("chlorite", 0.7, "D", SIDE_BY_SIDE),
    ("chloroform", 0.3, "", SIDE_BY_SIDE),
    ("chlorpyrifos", 0.03, "", SIDE_BY_SIDE),
    ("2_4_db", 0.09, "", SIDE_BY_SIDE),
    ("ddt_and_metabolites", 0.001, "", SINGAPORE),
    ("di_2_ethylhexyl_phthalate", 0.008, "", SINGAPORE),
    ("dibromoacetonitrile", 0.07, "", SINGAPORE),
    ("cyanuric_acid", 40, "", SINGAPORE),
    ("simazine", 0.002, "", HONG_KONG),
    ("styrene", 0.02, "C", HONG_KONG + "; the mark is recalled"),
    ("terbuthylazine", 0.007, "", HONG_KONG),
    ("toluene", 0.7, "C", HONG_KONG + "; the mark is recalled"),
    ("trichloroacetic_acid", 0.2, "", HONG_KONG),
    ("trifluralin", 0.02, "", HONG_KONG),
    ("uranium", 0.03, "P", HONG_KONG + "; the mark is recalled"),
    ("xylenes", 0.5, "C", HONG_KONG + "; the mark is recalled"),
    ("1_2_dichlorobenzene", 1, "C", LIST_2011 + "; the mark is recalled"),
    ("1_4_dichlorobenzene", 0.3, "C", LIST_2011 + "; the mark is recalled"),
    ("1_2_dichloroethane", 0.03, "", LIST_2011),
    ("1_2_dichloroethene", 0.05, "", LIST_2011),
    ("dichloromethane", 0.02, "", LIST_2011),
    ("edetic_acid", 0.6, "", LIST_2011),
    ("selenium", 0.04, "P", LIST_2011 + "; the mark is recalled"),
    ("endrin", 0.0006, "", THIRD + "12.58 (docslib.org/download/1938500)"),
    ("monochloroacetic_acid", 0.02, "", THIRD + "12.90 (scribd.com/document/437485249)"),
    ("nickel", 0.07, "", "list of WHO values of 2006 (lenntech.de)"),
    ("microcystin_lr", 0.001, "P", "abstract at taylorfrancis.com, 10.1201/9780203022870-19"),
    ("chloride", 250, "", THAILAND),
    ("iron", 0.3, "", THAILAND),
    ("sulfate", 250, "", THAILAND),
    ("sodium", 200, "", "Nutrients 17 (2025) 2190"),
]

READ_IN_1998 = [
    # parameter, µg/L as printed in the 1996/1998 edition; later editions are believed to keep them
    ("alachlor", 20, "FAO y4263e0g, Table A3.3"),
    ("aldicarb", 10, "FAO y4263e0g, Table A3.3"),
    ("aldrin_and_dieldrin", 0.03, "FAO y4263e0g, Table A3.3"),
    ("carbofuran", 7, "FAO y4263e0g, Table A3.3"),
    ("chlordane", 0.2, "FAO y4263e0g, Table A3.3"),
    ("chlorotoluron", 30, "FAO y4263e0g, Table A3.3"),
    ("cyanazine", 0.6, "FAO y4263e0g, Table A3.3"),
    ("1_2_dibromo_3_chloropropane", 1, "FAO y4263e0g, Table A3.3"),
    ("2_4_d", 30, "FAO y4263e0g, Table A3.3"),
    ("1_2_dichloropropane", 40, "FAO y4263e0g, Table A3.3"),
    ("1_3_dichloropropene", 20, "FAO y4263e0g, Table A3.3"),
    ("isoproturon", 9, "FAO y4263e0g, Table A3.3"),
    ("lindane", 2, "FAO y4263e0g, Table A3.3"),
    ("methoxychlor", 20, "FAO y4263e0g, Table A3.3"),
    ("metolachlor", 10, "FAO y4263e0g, Table A3.3"),
    ("molinate", 6, "FAO y4263e0g, Table A3.3"),
    ("nitrate", 50_000, "FAO y4263e0g, Table A3.2 (as nitrate)"),
    ("nitrite", 3_000, "FAO y4263e0g, Table A3.2 (as nitrite, acute)"),
    ("fluoride", 1_500, "waterquality.de, A. Inorganic constituents"),
    ("free_chlorine", 5_000, "waterquality.de, Disinfectants"),
    ("monochloramine", 3_000, "waterquality.de, Disinfectants"),
    ("bromoform", 100, "waterquality.de, Disinfectant by-products"),
    ("dibromochloromethane", 100, "waterquality.de, Disinfectant by-products"),
    ("bromodichloromethane", 60, "waterquality.de, Disinfectant by-products"),
    ("2_4_6_trichlorophenol", 200, "waterquality.de, Disinfectant by-products"),
]

RECALLED = [
    # parameter, mg/L, mark, source (all recalled from memory, none read)
    ("cylindrospermopsins", 0.0007, "P", A33),
    ("saxitoxins", 0.003, "", A33),
    ("perchlorate", 0.07, "", A33),
    ("tetrachloroethene", 0.1, "", A33),
    ("trichloroethene", 0.008, "", A33),
    ("vinyl_chloride", 0.0003, "", A33),
    ("n_nitrosodimethylamine", 0.0001, "", A33),
    ("epichlorohydrin", 0.0004, "P", A33),
    ("hydrogen_sulfide", 0.05, "", CH10),
]

DOSE = [
    # radionuclide, dose per intake [Sv/Bq] and guidance level [Bq/L], WHO 4th ed., Table 9.2, as reprinted at
    # radiological-analysis.com/radiology-in-dw-sub/who-radiological-aspects
    ("uranium_238", 4.5e-8, 10),
    ("uranium_234", 4.9e-8, 1),
    ("thorium_230", 2.1e-7, 1),
    ("radium_226", 2.8e-7, 1),
    ("lead_210", 6.9e-7, 0.1),
    ("polonium_210", 1.2e-6, 0.1),
    ("thorium_232", 2.3e-7, 1),
    ("radium_228", 6.9e-7, 0.1),
    ("thorium_228", 7.2e-8, 1),
    ("caesium_134", 1.9e-8, 10),
    ("caesium_137", 1.3e-8, 10),
    ("strontium_90", 2.8e-8, 10),
    ("iodine_131", 2.2e-8, 10),
    ("tritium", 1.8e-11, 10_000),
    ("carbon_14", 5.8e-10, 100),
    ("plutonium_239", 2.5e-7, 1),
    ("americium_241", 2.0e-7, 1),
]

# Rows and sum of ``upper`` per unit, added up from the table when it was made: a slip of the hand shows here.
SUMS = {
    "µg/L": (96, 6955.76),
    "mg/L": (22, 1865.65),
    "mg/L Pt": (1, 15.0),
    "NTU": (1, 4.0),
    "pH": (1, 8.5),
    "Bq/L": (20, 10_159.8),
    "mSv": (1, 0.1),
}


@pytest.fixture(scope="module")
def rows() -> list[dict[str, str]]:
    with TABLE.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream, strict=True))


def one(rows: list[dict[str, str]], parameter: str, rule: str = "max") -> Row:
    """Return the only row of *parameter* with that *rule*."""
    found = [row for row in rows if (row["parameter"], row["rule"]) == (parameter, rule)]
    assert len(found) == 1, f"{parameter} {rule}: {len(found)} rows"
    return found[0]


def in_mg_per_l(row: Row) -> float:
    return float(row["upper"]) * MG_PER_L[row["unit"]]


def test_header_and_line_ends() -> None:
    content = TABLE.read_bytes()
    assert content.decode("utf-8").split("\n", 1)[0] == HEADER
    assert b"\r" not in content
    assert content.endswith(b"\n")


def test_every_row_has_its_cells_and_says_where_it_comes_from(rows: list[dict[str, str]]) -> None:
    for row in rows:
        assert None not in row, row["parameter"]
        assert all(row[column].strip() for column in ("source", "clause", "evidence", "product", "class")), row
        assert row["evidence"].startswith(("primary text: ", "secondary text: ", "memory")), row["evidence"]


def test_no_key_twice(rows: list[dict[str, str]]) -> None:
    keys = Counter((row["parameter"], row["rule"], row["members"], row["product"], row["valid_from"]) for row in rows)
    assert [key for key, times in keys.items() if times > 1] == []


def test_row_count_and_sums(rows: list[dict[str, str]]) -> None:
    assert len(rows) == 191
    limits: dict[str, list[float]] = {}
    for row in rows:
        if row["upper"]:
            limits.setdefault(row["unit"], []).append(float(row["upper"]))
    found = {unit: (len(values), math.fsum(values)) for unit, values in limits.items()}
    assert found.keys() == SUMS.keys()
    for unit, (count, total) in SUMS.items():
        assert found[unit][0] == count, unit
        assert found[unit][1] == pytest.approx(total, rel=1e-12), unit


@pytest.mark.parametrize(("parameter", "mg_per_l", "mark", "source"), [*READ, *RECALLED])
def test_value_and_mark(rows: list[dict[str, str]], parameter: str, mg_per_l: float, mark: str, source: str) -> None:
    row = one(rows, parameter)
    assert in_mg_per_l(row) == pytest.approx(mg_per_l, rel=1e-12), source
    assert row["status"] == mark, source


@pytest.mark.parametrize(("parameter", "ug_per_l", "source"), READ_IN_1998)
def test_value_kept_from_the_earlier_edition(
    rows: list[dict[str, str]], parameter: str, ug_per_l: float, source: str
) -> None:
    assert in_mg_per_l(one(rows, parameter)) == pytest.approx(ug_per_l / 1000, rel=1e-12), source


def test_what_was_not_read_is_marked_as_memory(rows: list[dict[str, str]]) -> None:
    for recalled, *_ in RECALLED:
        assert one(rows, recalled)["evidence"] == "memory", recalled
    for parameter in [row[0] for row in READ] + [row[0] for row in READ_IN_1998]:
        assert one(rows, parameter)["evidence"].startswith("secondary text: "), parameter


def test_an_older_edition_is_never_passed_off_as_the_one_of_2022(rows: list[dict[str, str]]) -> None:
    """No text of 2022 was read, so no row is primary; a row that rests on an older edition alone says so."""
    for row in rows:
        assert not row["evidence"].startswith("primary"), row["parameter"]
        if row["evidence"].startswith(("secondary text: WHO, 2nd edition", "secondary text: repost of the 2011")):
            assert "2022 text not read" in row["evidence"], row["parameter"]


@pytest.mark.parametrize(("parameter", "sievert_per_becquerel", "printed"), DOSE)
def test_guidance_level_is_the_dose_criterion_rounded_to_a_power_of_ten(
    rows: list[dict[str, str]], parameter: str, sievert_per_becquerel: float, printed: float
) -> None:
    """WHO, section 9.3: criterion 0.1 mSv a year over 730 L times the dose coefficient; from 3 upwards round up."""
    level = 1e-4 / (730 * sievert_per_becquerel)
    power = math.floor(math.log10(level))
    rounded = 10.0 ** (power + (level / 10.0**power >= 3))
    row = one(rows, parameter)
    assert float(row["upper"]) == printed == pytest.approx(rounded)
    assert (row["unit"], row["class"]) == ("Bq/L", "radiological")


def test_radiological_screening_and_dose(rows: list[dict[str, str]]) -> None:
    """WHO, chapter 9: gross alpha 0.5 Bq/L and gross beta 1 Bq/L, read as adopted by Hong Kong; 0.1 mSv a year."""
    for parameter, upper, unit in (
        ("gross_alpha", 0.5, "Bq/L"),
        ("gross_beta", 1, "Bq/L"),
        ("indicative_dose", 0.1, "mSv"),
    ):
        row = one(rows, parameter)
        assert (float(row["upper"]), row["unit"]) == (upper, unit)


@pytest.mark.parametrize("parameter", ["escherichia_coli", "faecal_coliforms"])
def test_none_in_100_ml(rows: list[dict[str, str]], parameter: str) -> None:
    """WHO, Table 7.10; read as Table A3.1 of FAO y4263e0g: none detectable in any 100 mL sample."""
    row = one(rows, parameter, "absent")
    assert (row["volume_ml"], row["class"], row["product"]) == ("100", "microbiological", "any")


@pytest.mark.parametrize("parameter", ["nitrate_nitrite_ratio", "trihalomethanes_ratio", "radionuclides_ratio"])
def test_weights_of_a_ratio_are_the_single_values(rows: list[dict[str, str]], parameter: str) -> None:
    """WHO, Table A3.3 and section 9.3: each over its own value, the sum not above 1."""
    row = one(rows, parameter, "ratio_sum_max")
    members, weights = row["members"].split(";"), row["weights"].split(";")
    assert float(row["upper"]) == 1
    single = [one(rows, member) for member in members]
    assert [float(weight) for weight in weights] == [float(limit["upper"]) for limit in single]
    assert {limit["unit"] for limit in single} == {row["unit"]}


def test_nitrate_and_nitrite_are_ions(rows: list[dict[str, str]]) -> None:
    """WHO, Table A3.3: as nitrate ion and as nitrite ion, not as nitrogen (FAO y4263e0g, Table A3.2)."""
    assert one(rows, "nitrate")["basis"] == "NO3"
    assert one(rows, "nitrite")["basis"] == "NO2"
    assert one(rows, "nitrate_nitrite_ratio", "ratio_sum_max")["basis"] == "NO3;NO2"


def test_sum_of_members_has_the_limit_of_the_reported_sum(rows: list[dict[str, str]]) -> None:
    for row in (row for row in rows if row["rule"] == "sum_max"):
        code = row["parameter"].removesuffix("_and_metabolites")
        whole = [other for other in rows if other["rule"] == "max" and other["parameter"] in (row["parameter"], code)]
        assert [(other["upper"], other["unit"]) for other in whole] == [(row["upper"], row["unit"])], row["parameter"]


@pytest.mark.parametrize("parameter", ["bentazone", "iodine", "silver", "organotins", "asbestos", "anatoxin_a", "mcpa"])
def test_chemicals_without_a_guideline_value_are_not_judged(rows: list[dict[str, str]], parameter: str) -> None:
    """WHO 2022, Annex 3, Table A3.2 (recalled from memory; bentazone and asbestos read there in the 2011 edition)."""
    assert [row["rule"] for row in rows if row["parameter"] == parameter] == ["guidance"]


def test_chlorine_residual_binds_tap_water_only(rows: list[dict[str, str]]) -> None:
    """WHO 2022, Table A3.3, remark on chlorine: at least 0.2 mg/L at the point of delivery (recalled from memory)."""
    row = one(rows, "free_chlorine", "min")
    assert (row["lower"], row["unit"], row["product"]) == ("0.2", "mg/L", "tap")
