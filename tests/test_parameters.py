"""The catalogue of parameters against atomic weights, registry check digits, published factors and published lists."""

from __future__ import annotations

import csv
import itertools
import math
import re
from collections import defaultdict
from importlib import resources
from pathlib import Path

import periodictable
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wqcheck.errors import UnknownParameterError
from wqcheck.limit_tables.loading import shipped_tables
from wqcheck.parameters import (
    Alias,
    aliases,
    catalogue,
    find_parameter,
    normalise,
    parameter_for_cas,
)

LIMITS = Path(__file__).parent.parent / "limits"
KINDS = {"chemical", "physical", "microbiological", "radiological", "combination"}
ELEMENT_LIST = re.compile(r"([A-Z][a-z]?\d*)+")


def rows(file: str) -> list[dict[str, str]]:
    text = resources.files("wqcheck").joinpath(file).read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


def mass(formula: str) -> float:
    return float(periodictable.formula(formula).mass)


# --- the tables themselves


def test_the_catalogue_is_broad_and_every_code_stands_once() -> None:
    codes = [row["code"] for row in rows("parameters.csv")]
    assert len(codes) == len(set(codes)) == len(catalogue())
    assert len(codes) >= 400


def test_every_row_is_whole() -> None:
    """Code in its fixed form, a name, a known kind, a group, a source, and a usual basis that has a mass."""
    for parameter in catalogue().values():
        assert re.fullmatch(r"[a-z0-9]+(_[a-z0-9]+)*", parameter.code)
        assert parameter.name, parameter
        assert parameter.group, parameter
        assert parameter.source, parameter
        assert parameter.kind in KINDS, parameter
        assert 0 <= parameter.decimals <= 4, parameter
        assert all(value > 0 for value in parameter.bases.values()), parameter
        assert not parameter.basis or parameter.basis in parameter.bases, parameter
        assert not parameter.ambiguous or len(parameter.bases) > 1, parameter


def test_rows_are_kept_together_by_group_and_sorted_by_name() -> None:
    by_group: dict[str, list[str]] = defaultdict(list)
    order = [row["group"] for row in rows("parameters.csv")]
    for row in rows("parameters.csv"):
        by_group[row["group"]].append(row["name"].lower())
    assert sum(a != b for a, b in itertools.pairwise(order)) == len(by_group) - 1
    assert all(names == sorted(names) for names in by_group.values())


def test_an_unknown_code_is_refused_with_the_code_in_the_sentence() -> None:
    with pytest.raises(UnknownParameterError, match="unobtainium"):
        find_parameter("unobtainium")


# --- masses, against the atomic weights of periodictable (IUPAC/CIAAW)


def test_every_molar_mass_agrees_with_the_atomic_weights() -> None:
    weighed = [parameter for parameter in catalogue().values() if parameter.molar_mass is not None]
    assert len(weighed) >= 400  # 150 would do; the count is what stands in the table
    off = {
        parameter.code: (parameter.molar_mass, mass(parameter.symbol))
        for parameter in weighed
        if not math.isclose(parameter.molar_mass or 0, mass(parameter.symbol), rel_tol=1e-4)
    }
    assert off == {}


def test_every_basis_is_a_whole_or_simple_fraction_of_its_formula() -> None:
    """A basis is one formula unit, or a half, double … of it per mole of the entity; never an unrelated number."""
    shares = [1, 1 / 2, 2, 3, 4 / 5]
    checked = 0
    for parameter in catalogue().values():
        for basis, value in parameter.bases.items():
            if ELEMENT_LIST.fullmatch(basis):
                checked += 1
                assert any(math.isclose(value, mass(basis) * share, rel_tol=1e-4) for share in shares), parameter.code
    assert checked >= 150


@pytest.mark.parametrize(
    ("code", "basis", "to_basis", "factor", "source"),
    [
        ("nitrate", "N", "NO3", 50 / 11.3, "50 mg/L as NO3 is 11.3 mg/L as N, in many regulations, from memory"),
        ("nitrite", "N", "NO2", 3.285, "common practice, no source"),
        ("ammonium", "N", "NH4", 1.288, "ratio of formula masses, from memory of ISO 7150-1 tables"),
        ("phosphate", "P", "PO4", 3.066, "ISO 6878 conversion table, from memory"),
        ("phosphate", "P", "P2O5", 2.291, "ISO 6878 conversion table, from memory"),
        ("silica", "Si", "SiO2", 2.139, "common practice, no source"),
        ("calcium", "Ca", "CaCO3", 2.497, "Standard Methods 2340 B: 2.497 Ca + 4.118 Mg, from memory"),
        ("magnesium", "Mg", "CaCO3", 4.118, "Standard Methods 2340 B: 2.497 Ca + 4.118 Mg, from memory"),
        ("hardness", "CaO", "CaCO3", 1.7848, "DIN 38409-6: 1 °dH is 10 mg/L CaO and 17.848 mg/L CaCO3"),
        ("alkalinity", "CaCO3", "HCO3", 1.2193, "Hem, USGS WSP 2254: 61.017 and 50.04 g per equivalent, from memory"),
        ("bicarbonate", "HCO3", "CaCO3", 0.8202, "Hem, USGS WSP 2254, table 8, from memory"),
        (
            "electrical_conductivity",
            "20 °C",
            "25 °C",
            2790 / 2500,
            "(EU) 2020/2184; TrinkwV 2023 Annex 3",
        ),
    ],
)
def test_conversions_between_bases_are_the_published_ones(
    code: str, basis: str, to_basis: str, factor: float, source: str
) -> None:
    bases = find_parameter(code).bases
    assert bases[to_basis] / bases[basis] == pytest.approx(factor, rel=1e-3), source


def test_only_the_parameters_that_labs_report_on_several_bases_are_ambiguous() -> None:
    ambiguous = {parameter.code for parameter in catalogue().values() if parameter.ambiguous}
    assert ambiguous == {
        "alkalinity",
        "ammonium",
        "electrical_conductivity",
        "nitrate",
        "nitrate_plus_nitrite",
        "nitrite",
        "phenolphthalein_alkalinity",
        "phosphate",
        "silica",
    }


# --- CAS numbers: the last digit is a weighted sum of the others (CAS Registry, check digit verification)


def test_every_cas_number_passes_its_check_digit_and_stands_once() -> None:
    numbers = [parameter.cas for parameter in catalogue().values() if parameter.cas]
    assert len(numbers) == len(set(numbers)) >= 400
    for number in numbers:
        assert re.fullmatch(r"\d{2,7}-\d{2}-\d", number), number
        digits = [int(digit) for digit in number.replace("-", "")]
        assert sum(i * digit for i, digit in enumerate(reversed(digits[:-1]), 1)) % 10 == digits[-1], number


@pytest.mark.parametrize(
    ("cas", "code"),
    [("7439-92-1", "lead"), ("67-66-3", "chloroform"), (" 50-32-8 ", "benzo_a_pyrene"), ("999-99-9", None), ("", None)],
)
def test_a_cas_number_finds_its_parameter(cas: str, code: str | None) -> None:
    assert parameter_for_cas(cas) == code


# --- spellings


def test_no_spelling_points_at_two_things() -> None:
    meanings: dict[str, set[tuple[str, str, str]]] = defaultdict(set)
    for row in rows("aliases.csv"):
        meanings[normalise(row["alias"])].add((row["code"], row["basis"], row["fraction"]))
    assert {spelling: found for spelling, found in meanings.items() if len(found) > 1} == {}
    assert "" not in meanings
    assert len(meanings) == len(rows("aliases.csv")), "a spelling stands twice; one row is enough"


def test_every_spelling_points_at_a_parameter_and_a_basis_it_has() -> None:
    for spelling, alias in aliases().items():
        parameter = find_parameter(alias.code)
        assert not alias.basis or alias.basis in parameter.bases, spelling
        assert alias.fraction in {"", "total", "dissolved"}, spelling
    assert {row["language"] for row in rows("aliases.csv")} == {
        *("en", "fr", "pt", "es", "de", "it", "nl", "pl", "cs", "sv", "tr", "formula")
    }


def test_every_parameter_is_found_by_its_code_and_by_its_name() -> None:
    known = aliases()
    lost = [
        text
        for parameter in catalogue().values()
        for text in (parameter.name, parameter.code)
        if known.get(normalise(text), Alias("")).code != parameter.code
    ]
    assert lost == []


def test_headings_that_mean_something_else_are_left_out() -> None:
    assert not {"no", "id", "in", "i", "n", "y", "x", "at", "ton", "name", "date", "unit"} & set(aliases())


SPELLINGS = {
    "Escherichia coli (E. coli)": Alias("escherichia_coli"),
    "E.coli": Alias("escherichia_coli"),
    "EC": Alias("electrical_conductivity"),
    "Cond.": Alias("electrical_conductivity"),
    "Conductivity at 20 °C": Alias("electrical_conductivity", "20 °C"),
    "Leitfähigkeit (25 °C)": Alias("electrical_conductivity", "25 °C"),
    "FC": Alias("faecal_coliforms"),
    "faecal_coli_count": Alias("faecal_coliforms"),
    "TTHM": Alias("trihalomethanes_total"),
    "TAC": Alias("alkalinity"),
    "Titre alcalimétrique complet": Alias("alkalinity"),
    "NO₃⁻": Alias("nitrate"),
    "NO3-N": Alias("nitrate", "N"),
    "N-NO3": Alias("nitrate", "N"),
    "Nitrate (as N)": Alias("nitrate", "N"),
    "Nitrate nitrogen": Alias("nitrate", "N"),
    "Nitrogênio-Nitrato": Alias("nitrate", "N"),
    "Azoto ammoniacale": Alias("ammonium", "N"),
    "Hardness as CaCO3": Alias("hardness", "CaCO3"),
    "Total Hardness": Alias("hardness"),
    "Ca²⁺": Alias("calcium"),
    "SO4 2-": Alias("sulfate"),
    "HCO3-": Alias("bicarbonate"),
    "Dissolved iron": Alias("iron", "", "dissolved"),
    "Ferro Dissolvido": Alias("iron", "", "dissolved"),
    "Mercúrio Total": Alias("mercury", "", "total"),
    "Si": Alias("silica", "Si"),
    "Tª": Alias("temperature"),
    "Temperatura do Ar": Alias("air_temperature"),
    "ethylene dichloride": Alias("1_2_dichloroethane"),
    "PCE": Alias("tetrachloroethene"),
    "p,p'-DDT": Alias("p_p_ddt"),
    "Dureté totale": Alias("hardness"),
    "Bactéries coliformes": Alias("total_coliforms"),
    "Matières en suspension": Alias("total_suspended_solids"),
    "DBO5": Alias("biochemical_oxygen_demand_5_days"),
    "DCO": Alias("chemical_oxygen_demand"),
    "Condutividade elétrica": Alias("electrical_conductivity"),
    "Sólidos dissolvidos totais": Alias("total_dissolved_solids"),
    "Cor aparente": Alias("colour", "", "total"),
    "Cloro residual livre": Alias("free_chlorine"),
    "Coliformes totais": Alias("total_coliforms"),
    "Turbiedad": Alias("turbidity"),
    "Gesamthärte": Alias("hardness"),
    "Koloniezahl 22 °C": Alias("heterotrophic_plate_count_22c"),
    "Koloniezahl bei 36 °C": Alias("heterotrophic_plate_count_37c"),
    "Durezza": Alias("hardness"),
    "Conducibilità elettrica": Alias("electrical_conductivity"),
    "Residuo fisso a 180 °C": Alias("dry_residue_180c"),
}


@pytest.mark.parametrize(("text", "alias"), SPELLINGS.items())
def test_a_laboratory_spelling_is_recognised(text: str, alias: Alias) -> None:
    """Spellings as they stand on laboratory sheets in six languages (common practice, no source)."""
    assert aliases()[normalise(text)] == alias


EU_ANNEX_I = """Intestinal enterococci|Escherichia coli (E. coli)|Acrylamide|Antimony|Arsenic|Benzene|Benzo(a)pyrene|
Bisphenol A|Boron|Bromate|Cadmium|Chlorate|Chlorite|Chromium|Copper|Cyanide|1,2-dichloroethane|Epichlorohydrin|
Fluoride|Haloacetic acids (HAAs)|Lead|Mercury|Microcystin-LR|Nickel|Nitrate|Nitrite|Pesticides|Pesticides Total|
PFAS Total|Sum of PFAS|Polycyclic aromatic hydrocarbons|Selenium|Tetrachloroethene and trichloroethene|
Trihalomethanes Total|Uranium|Vinyl chloride|Aluminium|Ammonium|Chloride|Clostridium perfringens including spores|
Colour|Conductivity|Hydrogen ion concentration|Iron|Manganese|Odour|Oxidisability|Sulphate|Sodium|Taste|
Colony count 22 °C|Coliform bacteria|Total organic carbon (TOC)|Turbidity|Radon|Tritium|Indicative dose|Legionella"""

US_BOTTLED = """Arsenic|Chloride|Iron|Manganese|Phenols|Total dissolved solids|Zinc|Barium|Chromium|Copper|Cyanide|
Lead|Mercury|Nickel|Nitrate|Nitrite|Total Nitrate and Nitrite|Selenium|Antimony|Beryllium|Thallium|Benzene|
Carbon tetrachloride|o-Dichlorobenzene|p-Dichlorobenzene|1,2-Dichloroethane|1,1-Dichloroethylene|
cis-1,2-Dichloroethylene|trans-1,2-Dichloroethylene|Dichloromethane|1,2-Dichloropropane|Ethylbenzene|
Monochlorobenzene|Styrene|Tetrachloroethylene|Toluene|1,2,4-Trichlorobenzene|1,1,1-Trichloroethane|
1,1,2-Trichloroethane|Trichloroethylene|Vinyl chloride|Xylenes|Alachlor|Atrazine|Benzo(a)pyrene|Carbofuran|Chlordane|
Dalapon|1,2-Dibromo-3-chloropropane|2,4-D|Dinoseb|Diquat|Endothall|Endrin|Ethylene dibromide|Glyphosate|Heptachlor|
Heptachlor epoxide|Hexachlorobenzene|Hexachlorocyclopentadiene|Lindane|Methoxychlor|Oxamyl|Pentachlorophenol|PCBs|
Picloram|Simazine|2,3,7,8-TCDD (Dioxin)|Toxaphene|2,4,5-TP (Silvex)|Di(2-ethylhexyl)adipate|Di(2-ethylhexyl)phthalate|
Aluminum|Silver|Sulfate|Bromate|Chlorite|Haloacetic acids (five)|Total Trihalomethanes|Chloramine|Chlorine|
Chlorine dioxide|Combined radium-226 and radium-228|Gross alpha particle activity|
Beta particle and photon radioactivity|Uranium|Total coliform|E. coli|Turbidity|Color|Odor"""


WHO_A3_3 = """Acrylamide|Alachlor|Aldicarb|Aldrin and dieldrin|Antimony|Arsenic|
Atrazine and its chloro-s-triazine metabolites|Barium|Benzene|Benzo[a]pyrene|Boron|Bromate|Bromodichloromethane|
Bromoform|Cadmium|Carbofuran|Carbon tetrachloride|Chlorate|Chlordane|Chlorine|Chlorite|Chloroform|Chlorotoluron|
Chlorpyrifos|Chromium|Copper|Cyanazine|Cylindrospermopsins|2,4-D|2,4-DB|DDT and metabolites|Dibromoacetonitrile|
Dibromochloromethane|1,2-Dibromo-3-chloropropane|1,2-Dibromoethane|Dichloroacetate|Dichloroacetonitrile|
1,2-Dichlorobenzene|1,4-Dichlorobenzene|1,2-Dichloroethane|1,2-Dichloroethene|Dichloromethane|1,2-Dichloropropane|
1,3-Dichloropropene|Dichlorprop|Di(2-ethylhexyl)phthalate|Dimethoate|1,4-Dioxane|Edetic acid|Endrin|Epichlorohydrin|
Ethylbenzene|Fenoprop|Fluoride|Hexachlorobutadiene|Hydroxyatrazine|Isoproturon|Lead|Lindane|Manganese|MCPA|Mecoprop|
Mercury|Methoxychlor|Metolachlor|Microcystin-LR|Molinate|Monochloramine|Monochloroacetate|Nickel|Nitrate|
Nitrilotriacetic acid|Nitrite|N-Nitrosodimethylamine|Pendimethalin|Pentachlorophenol|Perchlorate|Saxitoxins|Selenium|
Simazine|Sodium dichloroisocyanurate|Styrene|2,4,5-T|Terbuthylazine|Tetrachloroethene|Toluene|Trichloroacetate|
Trichloroethene|2,4,6-Trichlorophenol|Trifluralin|Trihalomethanes|Uranium|Vinyl chloride|Xylenes|Anatoxin-a|PFOS|
PFOA"""

GERMANY = """Aluminium|Ammonium|Calcitlösekapazität|Chlorid|Clostridium perfringens, einschließlich Sporen|
Coliforme Bakterien|Eisen|Elektrische Leitfähigkeit|Färbung|Geruch|Geschmack|Koloniezahl bei 22 °C|
Koloniezahl bei 36 °C|Mangan|Natrium|Sulfat|Trübung|Wasserstoffionenkonzentration|Escherichia coli (E. coli)|
Enterokokken|Pseudomonas aeruginosa|Acrylamid|Benzol|Bor|Bromat|Chrom|Cyanid|1,2-Dichlorethan|Fluorid|Nitrat|
Quecksilber|Selen|Tetrachlorethen und Trichlorethen|Uran|Antimon|Arsen|Benzo-(a)-pyren|Blei|Cadmium|Epichlorhydrin|
Kupfer|Nickel|Nitrit|Polyzyklische aromatische Kohlenwasserstoffe|Trihalogenmethane|Vinylchlorid|Oxidierbarkeit|
Organisch gebundener Kohlenstoff (TOC)|Säurekapazität bis pH-Wert 4,3|Basekapazität bis pH-Wert 8,2"""

BRAZIL = """Antimônio|Arsênio|Bário|Cádmio|Chumbo|Cobre|Cromo|Fluoreto|Mercúrio Total|Níquel|Nitrato (como N)|
Nitrito (como N)|Selênio|Urânio|Acrilamida|Benzeno|Benzo[a]pireno|Cloreto de Vinila|1,2 Dicloroetano|Diclorometano|
Di(2-etilhexil)ftalato|Dioxano|Epicloridrina|Etilbenzeno|Pentaclorofenol|Tetracloreto de carbono|Tetracloroeteno|
Tolueno|Tricloroeteno|Xilenos|2,4 D|Alacloro|Aldrin + Dieldrin|Ametrina|Carbendazim|Carbofurano|Ciproconazol|Clordano|
Clorotalonil|Difenoconazol|Dimetoato + ometoato|Diuron|Epoxiconazol|Fipronil|Flutriafol|Glifosato + AMPA|
Hidroxi-Atrazina|Lindano (gama HCH)|Malationa|Mancozebe + ETU|Metamidofós + Acefato|Metolacloro|Metribuzim|Molinato|
Paraquate|Picloram|Profenofós|Propargito|Simazina|Tebuconazol|Terbufós|Tiametoxam|Tiodicarbe|Tiram|Trifluralina|
2,4,6-Triclorofenol|2,4-Diclorofenol|Ácidos haloacéticos total|Bromato|Cloraminas Total|Clorato|Clorito|
Cloro residual livre|N-nitrosodimetilamina|Trihalometanos Total|Alumínio|Amônia (como N)|Cloreto|Cor Aparente|
1,2 diclorobenzeno|1,4 diclorobenzeno|Dureza total|Ferro|Gosto e odor|Manganês|Monoclorobenzeno|Sódio|
Sólidos dissolvidos totais|Sulfato|Sulfeto de hidrogênio|Turbidez|Zinco"""

FRANCE = """Escherichia coli|Entérocoques|Acrylamide|Antimoine|Arsenic|Baryum|Benzène|Benzo[a]pyrène|Bore|Bromates|
Cadmium|Chrome|Chlorure de vinyle|Cuivre|Cyanures totaux|1,2-dichloroéthane|Épichlorhydrine|Fluorures|
Hydrocarbures aromatiques polycycliques|Mercure|Microcystine-LR|Nickel|Nitrates|Nitrites|Total des pesticides|Plomb|
Sélénium|Tétrachloroéthylène et trichloroéthylène|Total trihalométhanes|Turbidité|Aluminium total|Ammonium|
Carbone organique total|Oxydabilité au permanganate de potassium|Chlore libre|Chlorites|Chlorures|
Bactéries coliformes|Bactéries sulfito-réductrices y compris les spores|Conductivité|Couleur|Fer total|Manganèse|
Odeur|Saveur|Sodium|Sulfates|Température|Activité alpha globale|Activité bêta globale résiduelle|Dose indicative|
Tritium"""

ITALY = """Enterococchi intestinali|Escherichia coli|Acrilammide|Antimonio|Arsenico|Benzene|Benzo(a)pirene|
Bisfenolo A|Boro|Bromato|Cadmio|Clorato|Clorito|Cromo|Rame|Cianuro|1,2-dicloroetano|Epicloridrina|Fluoruro|
Acidi aloacetici (HAA)|Piombo|Mercurio|Microcistina-LR|Nichel|Nitrato|Nitrito|Antiparassitari|Antiparassitari totale|
PFAS totale|Somma di PFAS|Idrocarburi policiclici aromatici|Selenio|Tetracloroetilene e tricloroetilene|
Trialometani totale|Uranio|Cloruro di vinile|Alluminio|Ammonio|Cloruro|Colore|Conducibilità|
Concentrazione ioni idrogeno|Ferro|Manganese|Odore|Ossidabilità|Solfato|Sodio|Sapore|Conteggio delle colonie a 22 °C|
Batteri coliformi|Carbonio organico totale (TOC)|Torbidità|Durezza|Residuo secco a 180 °C|Disinfettante residuo"""

SPAIN = """Escherichia coli|Enterococo intestinal|Clostridium perfringens (incluidas las esporas)|Antimonio|Arsénico|
Benceno|Benzo(a)pireno|Boro|Bromato|Cadmio|Cianuro|Cobre|Cromo|1,2-dicloroetano|Fluoruro|
Hidrocarburos policíclicos aromáticos|Mercurio|Microcistina-LR|Níquel|Nitrato|Nitritos|Total de plaguicidas|
Plaguicida individual|Plomo|Selenio|Trihalometanos|Tricloroeteno + Tetracloroeteno|Acrilamida|Epiclorhidrina|
Cloruro de vinilo|Bacterias coliformes|Recuento de colonias a 22 °C|Aluminio|Amonio|Carbono orgánico total|
Cloro combinado residual|Cloro libre residual|Cloruro|Color|Conductividad|Hierro|Manganeso|Olor|Oxidabilidad|pH|Sabor|
Sodio|Sulfato|Turbidez|Dosis indicativa|Tritio|Actividad alfa total|Actividad beta resto"""


@pytest.mark.parametrize(
    ("published", "least"),
    [
        pytest.param(WHO_A3_3, 95, id="WHO GDWQ 4th ed. 2022, Table A3.3, names from memory"),
        pytest.param(EU_ANNEX_I, 58, id="Directive (EU) 2020/2184 Annex I and 2013/51/Euratom"),
        pytest.param(US_BOTTLED, 91, id="21 CFR 165.110(b), names from memory"),
        pytest.param(GERMANY, 50, id="Trinkwasserverordnung 2001 and 2023, annexes"),
        pytest.param(BRAZIL, 90, id="Portaria GM/MS 888/2021, annexes 9 and 11, names from memory"),
        pytest.param(FRANCE, 50, id="Arrêté of 11 January 2007, names from memory"),
        pytest.param(ITALY, 55, id="Decreto legislativo 18/2023, annex I, names from memory"),
        pytest.param(SPAIN, 50, id="Real Decreto 140/2003 and 3/2023, names from memory"),
    ],
)
def test_every_name_of_a_published_list_is_recognised(published: str, least: int) -> None:
    names = [name.strip() for name in published.split("|")]
    assert len(names) >= least
    assert [name for name in names if normalise(name) not in aliases()] == []


def test_every_code_of_the_limit_tables_stands_in_the_catalogue() -> None:
    tables = [LIMITS / f"{name}.csv" for name in shipped_tables()]
    assert tables
    for table in tables:
        with table.open(encoding="utf-8", newline="") as stream:
            for row in csv.DictReader(stream):
                for code in filter(None, [row["parameter"], *row["members"].split(";")]):
                    assert code.strip() in catalogue(), f"{table.name}: {code}"
                for basis in filter(None, row["basis"].split(";")):
                    members = row["members"].split(";") if row["members"] else [row["parameter"]]
                    assert any(basis in find_parameter(member).bases for member in members), f"{table.name}: {row}"


# --- normalise


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("  Dureté  totale ", "durete totale"),
        ("Cl⁻", "cl"),
        ("NO₃⁻", "no3"),
        ("Tª", "t"),
        ("Turbidity (NTU)", "turbidity ntu"),
        ("tds_mg_l", "tds mg l"),
        ("˂ –", ""),
        ("", ""),
        (7.5, "7 5"),
    ],
)
def test_normalise_keeps_letters_and_digits_only(text: object, expected: str) -> None:
    assert normalise(text) == expected


@settings(deadline=None)
@given(st.text())
def test_normalising_twice_changes_nothing_more(text: str) -> None:
    assert normalise(normalise(text)) == normalise(text)
