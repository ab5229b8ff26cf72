"""Tables for bottled water (United Kingdom, Czechia, Latvia, the Netherlands, Portugal) hold the published figures.

Figures are typed here a second time from the texts that the tables name, in the units of the text.
"""

from __future__ import annotations

from datetime import date

import pytest

from wqcheck.judging.judge import judge
from wqcheck.judging.rules import shipped_judging_rules
from wqcheck.limit_tables.loading import load_limits
from wqcheck.tables import Judged, Verdict

from .table_rows import readings_of
from .test_limits_more_a import Row, in_force, rows_of
from .test_limits_second_entries import figures

UK = ("england_2007_2785_bottled", "wales_2015_1867", "scotland_2007_483", "northern_ireland_2015_365")
UK_MINERAL = ("england_2007_2785_mineral", *UK[1:])
NETHERLANDS, CZECHIA, PORTUGAL = "netherlands_1998_527_mineral", "czech_275_2004", "portugal_dl_69_2023"
LATVIA = "latvia_736_2015"
TODAY = date(2026, 11, 30)


def found(table: str, parameter: str, product: str, rule: str = "max") -> Row:
    """Return the one row with a figure that binds *product* today, other than an indicator beside it."""
    (row,) = in_force(table, parameter, rule, product, TODAY)
    return row


# S.I. 2007/2785 and S.S.I. 2007/483 Schedule 2, S.I. 2015/1867 and S.R. 2015/365 Schedule 7 Part 2
UK_BOTTLED = """
acrylamide 0.10 µg/L; antimony 5 µg/L; arsenic 10 µg/L; benzene 1.0 µg/L; benzo_a_pyrene 0.010 µg/L; boron 1.0 mg/L
bromate 10 µg/L; cadmium 5 µg/L; chromium 50 µg/L; copper 2 mg/L; cyanide 50 µg/L; 1_2_dichloroethane 3.0 µg/L
epichlorohydrin 0.10 µg/L; fluoride 1.5 mg/L; lead 10 µg/L; mercury 1 µg/L; nickel 20 µg/L; nitrate 50 mg/L
nitrite 0.5 mg/L; aldrin 0.030 µg/L; dieldrin 0.030 µg/L; heptachlor 0.030 µg/L; heptachlor_epoxide 0.030 µg/L
pesticide_single 0.10 µg/L; pesticides_total 0.50 µg/L; selenium 10 µg/L; vinyl_chloride 0.50 µg/L
manganese 50 µg/L; aluminium 200 µg/L; sodium 200 mg/L; sulfate 250 mg/L; radon 100 Bq/L; tritium 100 Bq/L
"""
UK_SUMS = (("pahs_4", 0.1, 4), ("tetrachloroethene_plus_trichloroethene", 10, 2), ("trihalomethanes_total", 100, 4))

# Schedule 6 of England and Scotland, Schedule 5 Part 1 of Wales and Northern Ireland, annexes of the others: mg/L
MINERAL = {
    "antimony": 0.005, "arsenic": 0.01, "barium": 1.0, "cadmium": 0.003, "chromium": 0.05, "copper": 1.0,
    "cyanide": 0.07, "fluoride": 5.0, "lead": 0.01, "manganese": 0.5, "mercury": 0.001, "nickel": 0.02,
    "nitrate": 50, "nitrite": 0.1, "selenium": 0.01,
}  # fmt: skip

# Vyhláška 275/2004 Sb., příloha 2: spring water, mg/L unless a unit stands beside it
CZECH_SPRING = """
antimony 0.003; arsenic 0.005; barium 0.5; beryllium 0.0005; cadmium 0.002; chromium 0.025; copper 0.2; cyanide 0.005
fluoride 0.7; lead 0.005; manganese 0.1; mercury 0.0005; nickel 0.02; nitrate 25; nitrite 0.02; selenium 0.01
aluminium 0.05; ammonium 0.25; chloride 100; sodium 100; sulfate 250; total_dissolved_solids 1000
hydrogen_sulfide 0.01; iron 0.3; humic_substances 0.2; oxidisability 2.0; bromate 0.003; ozone 0.05
"""

# Decreto-Lei n.º 69/2023, anexo I parte B and C
PORTUGUESE = """
acrylamide 0.10 µg/L; antimony 10 µg/L; arsenic 10 µg/L; benzene 1.0 µg/L; benzo_a_pyrene 0.010 µg/L
bisphenol_a 2.5 µg/L; boron 1.5 mg/L; bromate 10 µg/L; cadmium 5.0 µg/L; chlorate 0.25 mg/L; chlorite 0.25 mg/L
chromium 25 µg/L; copper 2.0 mg/L; cyanide 50 µg/L; lead 5 µg/L; vinyl_chloride 0.50 µg/L; 1_2_dichloroethane 3.0 µg/L
epichlorohydrin 0.10 µg/L; fluoride 1.5 mg/L; mercury 1.0 µg/L; microcystin_lr 1.0 µg/L; nickel 20 µg/L
nitrate 50 mg/L; nitrite 0.50 mg/L; pesticide_single 0.10 µg/L; pesticides_total 0.50 µg/L; pfas_total 0.50 µg/L
selenium 20 µg/L; uranium 30 µg/L; aluminium 200 µg/L; ammonium 0.50 mg/L; chloride 250 mg/L; iron 200 µg/L
manganese 50 µg/L; oxidisability 5.0 mg/L; sodium 200 mg/L; sulfate 250 mg/L; turbidity 4 NTU; radon 500 Bq/L
tritium 100 Bq/L; odour 3 TON; taste 3 TFN; colour 20 mg/L Pt
"""


def typed(text: str, unit: str = "") -> list[tuple[str, float, str]]:
    """Return parameter, figure and unit of each entry of a list above."""
    entries = [entry.split(maxsplit=2) for line in text.strip().splitlines() for entry in line.split(";")]
    return [(first, float(second), rest[0] if rest else unit) for first, second, *rest in entries]


@pytest.mark.parametrize("table", UK)
@pytest.mark.parametrize(("parameter", "upper", "unit"), typed(UK_BOTTLED))
def test_bottled_drinking_water_of_the_united_kingdom(table: str, parameter: str, upper: float, unit: str) -> None:
    row = found(table, parameter, "purified")
    assert (float(row["upper"]), row["unit"]) == (upper, unit)
    assert row["evidence"].startswith("primary text: legislation.gov.uk")


@pytest.mark.parametrize("table", UK)
@pytest.mark.parametrize(("parameter", "upper", "members"), UK_SUMS)
def test_sums_of_the_united_kingdom(table: str, parameter: str, upper: float, members: int) -> None:
    row = found(table, parameter, "packaged", "sum_max")
    assert (float(row["upper"]), len(row["members"].split(";"))) == (upper, members)


@pytest.mark.parametrize("table", UK)
@pytest.mark.parametrize("parameter", ["escherichia_coli", "enterococci", "pseudomonas_aeruginosa"])
@pytest.mark.parametrize("product", ["packaged", "purified", "spring"])
def test_organisms_absent_in_250_ml_of_every_bottle(table: str, parameter: str, product: str) -> None:
    assert found(table, parameter, product, "absent")["volume_ml"] == "250"


@pytest.mark.parametrize("table", [*UK[1:], NETHERLANDS, CZECHIA, LATVIA])
def test_mineral_water_has_the_constituents_of_directive_2003_40(table: str) -> None:
    """Directive 2003/40/EC, Annex I, as the national texts print it, in mg/L."""
    for parameter, upper in MINERAL.items():
        row = found(table, parameter, "natural mineral")
        assert (float(row["upper"]), row["unit"]) == (upper, "mg/L"), parameter


def test_what_england_dropped_in_2018_still_holds_in_scotland() -> None:
    """S.S.I. 2007/483, Schedule 2 paragraph 1(d) and fourth table; not in S.I. 2007/2785 with S.I. 2018/352."""
    assert found(UK[2], "hardness", "purified", "min")["lower"] == "60"
    assert found(UK[2], "carbon_tetrachloride", "packaged")["upper"] == "3"
    gone = {row["parameter"] for row in rows_of(UK[0])}
    assert gone.isdisjoint({"hardness", "carbon_tetrachloride"})


def test_water_without_calcium_does_not_meet_the_scottish_rule() -> None:
    """60 mg/L as Ca is 60 × 100.086 / 40.078 = 149.8 mg/L as CaCO3 (CIAAW atomic weights)."""
    readings = readings_of(
        [
            {"parameter": "hardness", "value": value, "unit": "mg/L", "basis": "CaCO3", "sample": f"S{value:.0f}"}
            for value in (149.0, 150.0)
        ]
    )
    judged = judge(readings, [load_limits(UK[2])], product="purified", on=TODAY)
    verdicts = dict(zip(judged[Judged.sample], judged[Judged.verdict], strict=True))
    assert verdicts == {"S149": Verdict.FAIL, "S150": Verdict.PASS}


@pytest.mark.parametrize(("parameter", "upper", "unit"), typed(CZECH_SPRING, "mg/L"))
def test_czech_spring_water(parameter: str, upper: float, unit: str) -> None:
    row = found(CZECHIA, parameter, "spring")
    assert (float(row["upper"]), row["unit"]) == (upper, unit)


def test_czech_ranges_conductivity_and_the_sum_of_three_bromoforms() -> None:
    """Příloha 2 no. 28, 29 and 45, příloha 1 no. 27 with note 7: the limit is on the sum of three substances."""
    ph = found(CZECHIA, "ph", "spring", "range")
    assert (ph["lower"], ph["upper"]) == ("4.5", "8")
    assert figures(CZECHIA, "electrical_conductivity", "µS/cm") == {1250.0}
    for product in ("natural mineral", "spring"):
        row = found(CZECHIA, "trihalomethanes_brominated", product, "sum_max")
        assert (row["upper"], len(row["members"].split(";"))) == ("0.001", 3)


def test_latvian_water_for_infants_is_guidance_with_the_figures_of_the_annex() -> None:
    """Noteikumi Nr. 736, 5. pielikums no. 12, in mg/L: a rule for the label, which judges no water without it."""
    text = """ammonium 0.50; arsenic 0.005; boron 1.0; bromate 0.003; chloride 200; cyanide 0.05; fluoride 0.50
    iron 0.20; manganese 0.40; nitrate 10; nitrite 0.05; sodium 20; sulfate 200; total_dissolved_solids 1000"""
    rows = {row["parameter"]: row for row in rows_of(LATVIA) if row["rule"] == "guidance" and "infants" in row["note"]}
    assert {name: float(row["note"].split()[2]) for name, row in rows.items()} == {
        name: upper for name, upper, _ in typed(text, "mg/L")
    }


@pytest.mark.parametrize(("parameter", "upper", "unit"), typed(PORTUGUESE))
@pytest.mark.parametrize("product", ["tap", "packaged", "purified", "spring"])
def test_portuguese_values(parameter: str, upper: float, unit: str, product: str) -> None:
    row = found(PORTUGAL, parameter, product)
    assert (float(row["upper"]), row["unit"]) == (upper, unit)


@pytest.mark.parametrize(
    ("product", "volume"), [("tap", "100"), ("packaged", "250"), ("purified", "250"), ("spring", "250")]
)
def test_portuguese_volumes(product: str, volume: str) -> None:
    """Anexo I parte A note 1 and parte C note 1; spring water: Decreto-Lei n.º 156/98, artigo 4.º n.º 5."""
    for parameter in ("escherichia_coli", "enterococci", "total_coliforms"):
        assert found(PORTUGAL, parameter, product, "absent")["volume_ml"] == volume


def test_portuguese_values_of_2026_do_not_hold_before() -> None:
    """Artigo 52.º n.º 6: haloacetic acids, both PFAS values, uranium and bisphenol A from 12 January 2026."""
    for parameter in ("bisphenol_a", "uranium", "pfas_total"):
        assert not in_force(PORTUGAL, parameter, "max", "tap", date(2026, 1, 11)), parameter
        assert in_force(PORTUGAL, parameter, "max", "tap", date(2026, 1, 12)), parameter


@pytest.mark.parametrize(("value", "verdict"), [("0.11", Verdict.FAIL), ("0.09", Verdict.PASS)], ids=["above", "below"])
def test_english_sum_counts_what_was_quantified(value: str, verdict: str) -> None:
    """S.I. 2007/2785, Schedule 2 Part 3: the sum is of what was "detected and quantified", no more."""
    names = ("benzo_b_fluoranthene", "benzo_k_fluoranthene", "benzo_ghi_perylene", "indeno_1_2_3_cd_pyrene")
    rows = [{"parameter": names[0], "value": float(value), "unit": "µg/L", "sample": "S1"}]
    rows += [{"parameter": name, "value": 0.03, "sign": "<", "unit": "µg/L", "sample": "S1"} for name in names[1:]]
    judged = judge(readings_of(rows), [load_limits(UK[0])], product="packaged", on=TODAY, rules=shipped_judging_rules())
    sums = judged[judged[Judged.parameter] == "pahs_4"]
    assert set(sums[Judged.verdict]) == {verdict}
