"""Sheets of nine languages as laboratories write them; the plant and its points are invented."""

from __future__ import annotations

import csv
from importlib.resources import files
from typing import NamedTuple

import pytest

from tests.workbooks import read_rows, table_of
from wqcheck.parameters import aliases, normalise
from wqcheck.sheets.headings import heading_role
from wqcheck.sheets.recognise import unit_or_none

CODES = [
    "nitrate", "iron", "lead", "chloride", "turbidity", "electrical_conductivity", "hardness", "total_coliforms",
    "heterotrophic_plate_count_22c", "escherichia_coli", "ph",
]  # fmt: skip


class Form(NamedTuple):
    """Headings, names, units and results of one laboratory, each parted by ``|``."""

    headings: str
    names: str
    units: str
    results: str

    def parts(self) -> tuple[list[str], ...]:
        """Return the four lists."""
        return tuple(text.split("|") for text in self)


FORMS = {
    "nl": Form(
        "Monsternummer|Monsterpunt|Monsternamedatum|Parameter|Resultaat|Eenheid|Rapportagegrens|Methode|"
        "Oordeel|Opmerking",
        "Nitraat|IJzer|Lood|Chloride|Troebelheid|Geleidbaarheid bij 20 °C|Totale hardheid|Coliformen|"
        "Koloniegetal 22 °C|Escherichia coli|Zuurgraad (pH)",
        "mg/l|µg/l|µg/l|mg/l|FTE|mS/m|mmol/l|kve/100 ml|kve/ml|kve/100 ml|-",
        "12,5|<5|< 0,5|45|0,2|48,1|1,8|0|<1|afwezig|7,6",
    ),
    "fr": Form(
        "N° échantillon|Point de prélèvement|Date de prélèvement|Libellé paramètre|Résultat|Unité|"
        "Limite de quantification|Méthode|Conclusion|Commentaire",
        "Nitrates|Fer total|Plomb|Chlorures|Turbidité|Conductivité à 25°C|Dureté totale|Bactéries coliformes|"
        "Germes revivifiables à 22°C|Escherichia coli|pH",
        "mg/l NO3|µg/l|µg/l|mg/l|NFU|µS/cm|°f|UFC/100 ml|UFC/ml|UFC/100 ml|unité pH",
        "12,5|<5|< 0,5|45|0,2|481|18|0|<1|absence|7,6",
    ),
    "de": Form(
        "Labornummer|Entnahmestelle|Probenahmedatum|Parameter|Ergebnis|Einheit|BG|Verfahren|Beurteilung|Bemerkung",
        "Nitrat|Eisen, gesamt|Blei|Chlorid|Trübung|Elektrische Leitfähigkeit bei 25 °C|Gesamthärte|"
        "Coliforme Bakterien|Koloniezahl bei 22 °C|Escherichia coli|pH-Wert",
        "mg/l|mg/l|mg/l|mg/l|NTU|µS/cm|°dH|KBE/100 ml|KBE/ml|KBE/100 ml|-",
        "12,5|<0,005|< 0,0005|45|0,2|481|10,1|0|<1|n.n.|7,6",
    ),
    "it": Form(
        "Campione n.|Punto di prelievo|Data prelievo|Parametro|Risultato|U.M.|LOQ|Metodo|Giudizio|Note",
        "Nitrati|Ferro|Piombo|Cloruri|Torbidità|Conducibilità a 20 °C|Durezza totale|"
        "Batteri coliformi a 37 °C|Conteggio colonie a 22 °C|Escherichia coli|Concentrazione ioni idrogeno",
        "mg/L|µg/L|µg/L|mg/L|NTU|µS/cm|°F|UFC/100 mL|UFC/mL|UFC/100 mL|unità pH",
        "12,5|<5|< 0,5|45|0,2|481|18|0|<1|assente|7,6",
    ),
    "es": Form(
        "Nº de muestra|Punto de muestreo|Fecha de toma|Parámetro|Valor hallado|Unidad|"
        "Límite de cuantificación|Método|Cumple|Observaciones",
        "Nitrato|Hierro|Plomo|Cloruro|Turbidez|Conductividad a 20 °C|Dureza total|Bacterias coliformes|"
        "Recuento de colonias a 22 °C|Escherichia coli|pH",
        "mg/L|µg/L|µg/L|mg/L|UNF|µS/cm|mg/L CaCO3|UFC/100 mL|UFC/1 mL|UFC/100 mL|Unidades pH",
        "12,5|<5|< 0,5|45|0,2|481|180|0|<1|ausencia|7,6",
    ),
    "pt": Form(
        "N.º da amostra|Ponto de amostragem|Data da colheita|Parâmetro|Valor obtido|Unidade|"
        "Limite de quantificação|Método de ensaio|Conformidade|Obs.",
        "Nitratos|Ferro|Chumbo|Cloretos|Turvação|Condutividade a 20 °C|Dureza total|Bactérias coliformes|"
        "Número de colónias a 22 °C|Escherichia coli|pH",
        "mg/L NO3|µg/L|µg/L|mg/L|UNT|µS/cm|mg/L CaCO3|UFC/100 mL|N/mL|UFC/100 mL|Escala de Sorensen",
        "12,5|<5|< 0,5|45|0,2|481|180|0|<1|ausência|7,6",
    ),
    "pl": Form(
        "Nr próbki|Miejsce poboru|Data poboru|Badany parametr|Wynik|Jednostka|Granica oznaczalności|"
        "Metoda badawcza|Ocena|Uwagi",
        "Azotany|Żelazo|Ołów|Chlorki|Mętność|Przewodność elektryczna|Twardość ogólna|Bakterie grupy coli|"
        "Ogólna liczba mikroorganizmów w 22 °C|Escherichia coli|pH",
        "mg/l|µg/l|µg/l|mg/l|NTU|µS/cm|mg/l CaCO3|jtk/100 ml|jtk/1 ml|jtk/100 ml|-",
        "12,5|<5|< 0,5|45|0,2|481|180|0|<1|0|7,6",
    ),
    "cs": Form(
        "Číslo vzorku|Odběrné místo|Datum odběru|Ukazatel|Výsledek|Jednotka|Mez stanovitelnosti|Metoda|"
        "Hodnocení|Poznámka",
        "Dusičnany|Železo|Olovo|Chloridy|Zákal|Konduktivita|Tvrdost celková|Koliformní bakterie|"
        "Počty kolonií při 22 °C|Escherichia coli|pH",
        "mg/l|mg/l|µg/l|mg/l|ZF(n)|mS/m|mmol/l|KTJ/100 ml|KTJ/ml|KTJ/100 ml|-",
        "12,5|<0,005|< 0,5|45|0,2|48,1|1,8|0|<1|0|7,6",
    ),
    "sv": Form(
        "Provnummer|Provtagningsplats|Provtagningsdatum|Parameter|Resultat|Enhet|Rapporteringsgräns|Metod|"
        "Bedömning|Anmärkning",
        "Nitrat|Järn|Bly|Klorid|Turbiditet|Konduktivitet 25 °C|Totalhårdhet|Koliforma bakterier|"
        "Odlingsbara mikroorganismer 22 °C|Escherichia coli|pH",
        "mg/l|mg/l|µg/l|mg/l|FNU|mS/m|°dH|cfu/100 ml|cfu/ml|cfu/100 ml|-",
        "12,5|<0,005|< 0,5|45|0,2|48,1|10,1|<1|<1|ej påvisad|7,6",
    ),
}


@pytest.mark.parametrize("language", FORMS)
def test_a_long_sheet_is_read_whole_with_no_finding(language: str) -> None:
    """Common practice, no source: headings, names and units as laboratories of each language write them."""
    headings, names, units, results = FORMS[language].parts()
    rows = [
        [f"A-{n}", f"P {n}", f"2026-03-1{n}", name, result, unit, None, "ISO 1"]
        for n in range(3)
        for name, result, unit in zip(names, results, units, strict=True)
    ]
    read = read_rows([headings[:8], *rows])
    wanted = [(f"A-{n}", f"P {n}", f"2026-03-1{n}", code, "ISO 1") for n in range(3) for code in CODES]
    assert table_of(read, "sample", "point", "sampled_at", "parameter", "method") == wanted
    assert read.findings == ()
    assert read.readings["unit"].notna().all()
    assert len(read.readings) + len(read.ledger()) == read.cells


@pytest.mark.parametrize("language", FORMS)
def test_analytes_across_and_samples_across_are_read_alike(language: str) -> None:
    headings, names, units, results = FORMS[language].parts()
    wide = read_rows([[*headings[:3], *names], [None] * 3 + units, ["A-1", "P 1", "2026-03-11", *results]])
    across = read_rows(
        [
            [headings[3], headings[5], "P 1", "P 2"],
            *([name, unit, result, result] for name, unit, result in zip(names, units, results, strict=True)),
        ]
    )
    columns = ("parameter", "point", "sign", "value", "unit")
    of_first = [row for row in table_of(across, *columns) if row[1] == "P 1"]
    assert table_of(wide, *columns) == of_first
    assert [row[0] for row in of_first] == CODES
    assert wide.findings == across.findings == ()


def heading_words() -> list[dict[str, str]]:
    text = files("wqcheck.sheets").joinpath("heading_words.csv").read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


def test_every_heading_means_one_thing_and_is_no_name_of_a_parameter() -> None:
    words = [normalise(row["heading"]) for row in heading_words()]
    assert len(words) == len(set(words)) > 1500
    assert not set(words) & set(aliases())
    assert all(heading_role(row["heading"]) == row["role"] for row in heading_words())


@pytest.mark.parametrize(
    ("text", "label", "basis", "volume"),
    [
        ("kve/100 ml", "CFU", "", 100.0), ("KBE/(100 ml)", "CFU", "", 100.0), ("jtk/1 ml", "CFU", "", 1.0),
        ("UFC en 100 ml", "CFU", "", 100.0),
        ("FTE", "FNU", "", None), ("UNT", "NTU", "", None), ("°fH", "°fH", "CaCO3", None),
        ("mS/m bij 20 °C", "mS/m", "20 °C", None), ("mg/dm3", "mg/L", "", None), ("mg N/l", "mg/L", "N", None),
        ("mg/l als stikstof", "mg/L", "N", None), ("Duitse graden", "°dH", "CaO", None), ("mgF/l", "mg/L", "F", None),
    ],
)  # fmt: skip
def test_a_unit_of_another_language_is_known(text: str, label: str, basis: str, volume: float | None) -> None:
    """Common practice, no source: spellings of units on laboratory sheets."""
    unit = unit_or_none(text)
    assert unit is not None
    assert (unit.label, unit.basis, unit.volume_ml) == (label, basis, volume)
