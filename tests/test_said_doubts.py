"""Flags, remarks, diluted samples, blind methods and unread days beside a good figure keep a batch from release."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import pytest

from tests.plain_batches import HEADINGS, PANEL, SAMPLED, Row, checked, holding, rows_of
from wqcheck.release.decision import Disposition
from wqcheck.release.said_doubts import puts_in_doubt

LEAD = ("Lead", 2.0, "µg/L")


def with_column(heading: str, cell: Any, parameter: str = "Lead") -> list[Row]:
    """Return the panel and lead, with one more column that is filled beside one parameter."""
    first, *rows = rows_of(LEAD)
    return [(*first, heading), *((*row, cell if row[4] == parameter else None) for row in rows)]


@pytest.mark.parametrize("flag", ["R", "H", "B", "HT", "J-", "NJ", "J, B", "(H)", "M", "E", ">"])
@pytest.mark.parametrize("parameter", ["Lead", "Escherichia coli"])
def test_a_flag_that_doubts_the_result_holds(flag: str, parameter: str) -> None:
    """R: rejected; H: past the holding time; B: in the blank too (US validation qualifiers, from memory)."""
    assert checked(with_column("Qualifier", flag, parameter)).decision.disposition == Disposition.HOLD


@pytest.mark.parametrize("flag", ["R", "H", "B"])
def test_so_does_a_flag_in_the_cell(flag: str) -> None:
    assert checked(rows_of(("Lead", f"2.0 {flag}", "µg/L"))).decision.disposition == Disposition.HOLD


@pytest.mark.parametrize("flag", ["J", "U", "UJ", "J+", "*", None])
def test_other_flags_inform(flag: str | None) -> None:
    assert checked(with_column("Qualifier", flag)).decision.disposition == Disposition.RELEASE


@pytest.mark.parametrize(
    ("text", "doubt"),
    [
        ("holding time exceeded", True), ("analysed past hold", True), ("blank contamination", True),
        ("sample container broken", True), ("lead: sample lost, value copied from B0", True),
        ("the sample does not comply", True), ("DRAFT", True), ("received outside the holding time", True),
        ("analysed within holding time", False), ("no contamination", False), ("bottle 3 of 3", False),
        ("This report must not be reproduced except in full.", False), ("<: below the limit of quantification", False),
        ("The results relate only to the sample received.", False), ("holding time met", False),
    ],
)  # fmt: skip
def test_words_of_doubt(text: str, doubt: bool) -> None:
    assert puts_in_doubt(text) == doubt


ORDINARY = (
    "sampled by client", "Sampled by the client; the laboratory is not responsible for sampling",
    "analysed in duplicate", "method accredited", "not accredited parameter", "* not accredited",
    "sample received cool", "Samples received in good condition, 4 °C",
    "Information supplied by the client has not been verified by the laboratory",
    "The results relate only to the samples tested.", "This report shall not be reproduced except in full.",
    "This report supersedes report R-117 of 16 June 2026", "This report cancels and replaces report R-117",
    "Sample not filtered", "Accreditation pending", "Method under accreditation, application in progress",
    "Limits in bold are exceeded", "Bold = exceeds the limit", "No limit value was exceeded", "Limit not exceeded",
    "Holding time not exceeded", "Analysed within the holding time", "No leaks", "No visible damage", "Leaks: none",
    "Bottle intact, not leaking", "Sample bottles sealed and intact", "Uncertainty is not taken into account",
    "Measurement uncertainty: 10 % (k = 2)", "R = rejected", "Q: not validated", "J: estimated value below LOQ",
    "ND = not detected; NA = not analysed", "If the sample is contaminated, the result is invalid.",
    "The laboratory is not liable if holding times are exceeded.", "QC passed", "Blank free of contamination",
    "No contamination of the blank", "Presumptive coliforms: absent", "Membrane filtration, 0.45 µm",
    "Sample acidified on arrival", "Analysed undiluted", "Report copied to the client", "Complies with the limits",
    "Does comply", "Subcontracted to an accredited laboratory", "Limits are given for information only",
    "Opinions and interpretations are outside the scope of accreditation", "Provisional guideline value of WHO",
    "Prélèvement effectué par le client", "Analyse réalisée en double", "Paramètre non accrédité",
    "Échantillon reçu à 4 °C", "Accréditation en cours", "Limite non dépassée", "Conforme aux limites de qualité",
    "Les résultats ne concernent que l'échantillon analysé", "Annule et remplace le rapport n° 117",
    "Sauf avis contraire, la règle de décision n'est pas appliquée", "Analyse sous-traitée",
    "Muestra tomada por el cliente", "Análisis por duplicado", "Parámetro no acreditado",
    "Muestra recibida refrigerada", "Límite no superado", "Este informe anula y sustituye al informe 117",
    "Los resultados sólo afectan a la muestra ensayada", "Acreditación en curso", "Partida: B1",
    "Cumple con los límites", "Ensayo subcontratado", "Amostra colhida pelo cliente", "Análise em duplicado",
    "Ensaio não acreditado", "Amostra recebida refrigerada", "Valor limite não ultrapassado",
    "Os resultados referem-se apenas à amostra ensaiada", "Cumpre os limites legais",
    "Este relatório anula e substitui o relatório 117", "Probenahme durch den Auftraggeber", "Doppelbestimmung",
    "Nicht akkreditierter Parameter", "Probe gekühlt eingegangen", "Grenzwert nicht überschritten",
    "Kein Grenzwert überschritten", "Die Prüfergebnisse beziehen sich nur auf die Prüfgegenstände",
    "Ohne Genehmigung darf der Bericht nicht auszugsweise vervielfältigt werden", "Entspricht den Anforderungen",
    "Fremdvergabe", "Messunsicherheit nicht berücksichtigt", "Campionamento a cura del cliente", "Analisi in doppio",
    "Prova non accreditata", "Campione refrigerato all'arrivo", "Limite non superato",
    "Annulla e sostituisce il rapporto 117", "I risultati si riferiscono solo al campione provato",
    "Conforme ai limiti", "Accreditamento in corso", "Parametro non accreditato da ACC", "Prova in subappalto",
    "Report final", "Sample preserved with nitric acid", "Diluted 1:10, result corrected", "Filtered on site",
    "pH measured on site", "Analysis started within 24 h", "Duplicate within limits", "Detection limit 0.5 µg/L",
    "Best before 2027-06", "Frozen storage not required",
)  # fmt: skip
"""What laboratories write every day, in six languages, about sound results (common practice, no source)."""

DOUBTED = (
    "PRELIMINARY REPORT", "Draft – not for release", "Interim results", "Results are provisional pending QA review",
    "This report has been superseded", "Report cancelled", "VOID", "Report withdrawn", "Sample leaked in transit",
    "Sample container broken on arrival", "Sample bottles were not sterile", "Samples were not preserved",
    "Results invalid: QC failed", "Method blank contaminated", "Incubator failure during the test",
    "Instrument out of calibration", "Analysis to be repeated", "Sample received frozen",
    "Sample received in an unsuitable container", "Holding time exceeded",
    "Sample received outside the permitted temperature", "Overall assessment: does not comply",
    "Conclusion: unfit for human consumption", "The water is not potable", "Unsatisfactory",
    "Results awaiting confirmation", "Presumptive result, confirmation in progress", "Sample identity uncertain",
    "Labels of samples 1 and 2 were exchanged", "Sample does not represent the batch",
    "Results for information only, not for release", "Unvalidated results", "Partial report, final report follows",
    "TEST DATA ONLY", "Specimen report - not a real result", "Rapport provisoire",
    "Résultats provisoires, à confirmer", "Rapport annulé", "Échantillon non conforme",
    "Délai de conservation dépassé", "Eau non potable", "Flacon cassé à réception", "Résultats non validés",
    "Eau non conforme", "Informe provisional", "Resultados preliminares", "Informe anulado", "Muestra no conforme",
    "Plazo de conservación superado", "Agua no apta para consumo", "Envase roto", "No cumple",
    "Resultado pendiente de confirmación", "Relatório preliminar", "Relatório provisório", "Amostra não conforme",
    "Prazo de validade da amostra excedido", "Água imprópria para consumo", "Frasco partido",
    "Resultados não validados", "Não conforme", "Vorläufiger Prüfbericht", "Vorläufige Ergebnisse", "Entwurf",
    "Probe beschädigt", "Haltbarkeit der Probe überschritten", "Nicht zum Verzehr geeignet",
    "Entspricht nicht den Anforderungen", "Probe verwechselt", "Prüfbericht ungültig", "Blindwert erhöht",
    "Rapporto provvisorio", "Bozza", "Campione non idoneo", "Acqua non potabile", "Risultati non validati",
    "Contenitore rotto", "Non conforme", "Tempo di conservazione superato", "Results may be biased low",
    "No ice, holding time exceeded", "no ice and holding time exceeded", "Sample was not cooled, leaked",
    "Bottle leaking when received", "* holding time exceeded", "preliminary results only",
    "results not corrected for dilution", "diluted x10, not multiplied", "result from previous batch",
    "copied from last week", "value assumed", "not from this batch", "typed from memory", "instrument failed",
    "wrong bottle", "taken from raw tank", "before UV", "questionable", "do not use", "not reliable", "outlier",
    "to be confirmed", "repeat", "retest pending", "No doubt: leaking. Do not use", "check if contaminated",
    "échantillon congelé, flacon cassé", "résultat douteux", "blanc contaminé", "muestra contaminada",
    "tiempo superado", "resultado dudoso", "amostra contaminada", "frasco quebrado", "Probe undicht",
    "Ergebnis fraglich", "Blindwert erhöht", "campione contaminato", "risultato dubbio", "flacone rotto",
)  # fmt: skip
"""What a careful person would settle with the laboratory first (common practice, no source)."""


@pytest.mark.parametrize("text", ORDINARY)
def test_an_ordinary_remark_does_not_hold(text: str) -> None:
    assert not puts_in_doubt(text)


@pytest.mark.parametrize("text", DOUBTED)
def test_a_remark_that_puts_results_in_doubt_holds(text: str) -> None:
    assert puts_in_doubt(text, frozenset("*"))


def test_a_legend_counts_where_its_sign_stands_at_a_result() -> None:
    legend = [(None,), ("* = holding time exceeded",)]
    assert not holding(checked([*rows_of(LEAD), *legend]))
    assert holding(checked([*rows_of(("Lead", "2.0 *", "µg/L")), *legend])) == {"remark in doubt"}


@pytest.mark.parametrize(
    ("label", "value", "held"),
    [
        ("Report status:", "Preliminary", True), ("Sample condition:", "leaking", True), ("Leaks:", "none", False),
        ("Holding time exceeded:", "yes", True), ("Holding time exceeded:", "no", False),
        ("Report status:", "final", False), ("Temperature on receipt:", "4 °C", False),
        ("Temperature on receipt:", "29 °C", True), ("Température à réception :", "6,5 °C", False),
    ],
)  # fmt: skip
def test_what_a_label_says_counts_with_its_value(label: str, value: str, held: bool) -> None:
    assert bool(holding(checked([(label, value), (None,), *rows_of()]))) == held


def test_the_name_of_the_sheet_counts() -> None:
    assert holding(checked({"DRAFT": rows_of()})) == {"remark in doubt"}


def test_a_remark_counts_beside_finished_water_and_a_footer_for_its_sheet() -> None:
    said = "holding time exceeded"
    assert "remark in doubt" in holding(checked(with_column("Remarks", said)))
    footer = [*rows_of(), (None,), ("Samples were received outside the holding time",)]
    assert holding(checked(footer)) == {"remark in doubt"}
    assert not holding(checked({"Notes": [("DRAFT",)], "Results": rows_of()}))


@pytest.mark.parametrize(
    "name",
    [
        "Escherichia coli (1:100 dilution)",
        "Escherichia coli, diluted 1:10",
        "Escherichia coli (method blank)",
        "E. coli recovery",
    ],
)
def test_a_count_of_a_diluted_sample_holds(name: str) -> None:
    rows = [HEADINGS, *(("S1", "B1", "FP", SAMPLED, *row) for row in ((name, 0, "CFU/250 mL"), *PANEL[1:]))]
    assert checked(rows).decision.disposition == Disposition.HOLD


@pytest.mark.parametrize("reported", [0, 2.0, "<1", "2.0 J"])
def test_a_figure_below_a_reporting_limit_above_the_limit_holds(reported: object) -> None:
    """Lead 0.005 mg/L: 21 CFR 165.110(b)(4)(iii)(A); a method with a reporting limit of 50 µg/L cannot see 6."""
    first, *rows = rows_of(("Lead", reported, "µg/L"))
    for loq, disposition in ((50, Disposition.HOLD), (2, Disposition.RELEASE)):
        sheet = [(*first, "LOQ"), *((*row, loq if row[4] == "Lead" else None) for row in rows)]
        check = checked(sheet)
        assert check.decision.disposition == disposition
        assert ("reporting limit above limit" in holding(check)) == (loq == 50)


@pytest.mark.parametrize("day", ["06/07/2026", "2026", "June 2026", "yesterday"])
def test_a_sampling_day_that_cannot_be_read_holds(day: str) -> None:
    assert holding(checked(rows_of(sampled=day))) == {"day not read", "no sampling day"}


def test_a_sample_that_reached_the_laboratory_after_its_holding_time_holds() -> None:
    """Total coliforms and E. coli 30 h: 40 CFR 141.852(a)(3) as ``holding_times.csv`` cites it."""
    first, *rows = rows_of()
    received = datetime(2026, 6, 18, 9, 0)
    late = [(*first, "Received"), *((*row, received) for row in rows)]
    assert "holding time" in holding(checked(late))


@pytest.mark.parametrize("name", ["LCS", "MB", "Blk 2", "QC standard", "Negative control", "PT sample 3"])
def test_results_under_the_short_name_of_a_control_hold(name: str) -> None:
    rows = [HEADINGS, *((name, "B1", "FP", SAMPLED, *row) for row in PANEL)]
    assert holding(checked(rows)) == {"like a control sample"}
    replicate = [(*HEADINGS, "Replicate"), *(("S1", "B1", "FP", SAMPLED, *row, name) for row in PANEL)]
    assert holding(checked(replicate)) == {"like a control sample"}
