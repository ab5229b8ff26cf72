"""Exports of data bases and sheets of open data: layouts as authorities publish them, every value invented.

The headings are those of published data dictionaries (Sandre, EEA Waterbase, Aquo, USGS RDB), from memory; the rest is
common practice, no source.
"""

from __future__ import annotations

import pytest

from tests.workbooks import read_rows, table_of

Row = list[object]


def test_a_heading_with_a_word_for_a_result_among_others_is_that_of_the_results() -> None:
    """EEA Waterbase, from memory: field names in one word, a flag 1 for below the limit, dates without marks."""
    read = read_rows([
        ["monitoringSiteIdentifier", "observedPropertyDeterminandLabel", "resultUom", "phenomenonTimeSamplingDate",
         "resultObservedValue", "resultQualityObservedValueBelowLOQ", "procedureLOQValue"],
        ["XX-1", "Nitrate", "mg{NO3}/L", "20240118", 11.5, 0, 0.5],
        ["XX-1", "Cadmium and its compounds", "ug/L", "20240118", 0.02, 1, 0.02],
    ])  # fmt: skip
    assert table_of(read, "point", "parameter", "sign", "value", "unit", "basis", "sampled_at") == [
        ("XX-1", "nitrate", "=", 11.5, "mg/L", "NO3", "2024-01-18"),
        ("XX-1", "cadmium", "<", 0.02, "µg/L", None, "2024-01-18"),
    ]


def test_names_of_fields_of_another_data_base_are_read_and_the_quantity_stands_in_for_a_blank_name() -> None:
    """Aquo, from memory: pH is a quantity (*grootheid*) and no parameter."""
    read = read_rows([
        ["meetobject.lokaalID", "begindatum", "grootheid.code", "parameter.code", "eenheid.code", "limietsymbool",
         "numeriekewaarde", "geometriepunt.x"],
        ["NL-1", "2024-02-12", "CONCTTE", "NO3", "mg/l", None, "3,2", 92501],
        ["NL-1", "2024-02-12", "ZUURGD", None, "DIMSLS", None, "7,8", 92502],
        ["NL-1", "2024-02-12", "CONCTTE", "Zn", "ug/l", "<", "5", 92503],
    ])  # fmt: skip
    assert table_of(read, "point", "parameter_text", "parameter", "sign", "value") == [
        ("NL-1", "NO3", "nitrate", "=", 3.2),
        ("NL-1", "ZUURGD", "ph", "=", 7.8),
        ("NL-1", "Zn", "zinc", "<", 5),
    ]


@pytest.mark.parametrize(
    ("heading", "texts", "signs"),
    [
        ("Code remarque", ["1", "10", "2"], ["=", "<", "<"]),
        ("mnemo_remarque", ["Domaine de validité", "Résultat < au seuil de quantification",
          "Résultat < seuil de détection"],
         ["=", "<", "<"]),
    ],
)  # fmt: skip
def test_codes_of_remarks_are_signs(heading: str, texts: list[str], signs: list[str]) -> None:
    """Sandre, nomenclature of remarks on analyses, from memory: 1 is valid, 10 and 2 are below a limit."""
    head: Row = ["Station", "Date prélèvement", "Paramètre", heading, "Résultat", "Unité"]
    read = read_rows([head, *(["P 1", "2024-03-15", "Atrazine", text, 0.02, "µg/L"] for text in texts)])
    assert [row[0] for row in table_of(read, "sign")] == signs


def test_comments_and_a_row_of_field_formats_hold_no_results() -> None:
    """USGS RDB, from memory: comment lines, names of fields, widths and kinds, and columns named by parameter codes."""
    read = read_rows([
        ["# agency comment"], ["#"],
        ["agency_cd", "site_no", "sample_dt", "p00400", "p00618"], ["5s", "15s", "10d", "12s", "12s"],
        ["XXXX", "0149", "2024-10-05", "6.9", "1.27"], ["XXXX", "0149", "2024-11-02", "6.8", "< 0.04"],
    ])  # fmt: skip
    assert table_of(read, "cell", "point", "parameter", "basis", "sign", "value") == [
        ("D5", "0149", "ph", None, "=", 6.9), ("E5", "0149", "nitrate", "N", "=", 1.27),
        ("D6", "0149", "ph", None, "=", 6.8), ("E6", "0149", "nitrate", "N", "<", 0.04),
    ]  # fmt: skip


def test_an_unknown_heading_that_ends_in_a_concentration_is_a_result_and_a_depth_is_none() -> None:
    read = read_rows([
        ["Site", "Date", "Nitrate_mg/L", "XYZ_mg/L", "WELL_DEPTH_m", "CALIDAD_XYZ"],
        ["W 1", "2024-05-01", 12, 3.5, 40, "Alta"], ["W 2", "2024-05-01", 13, 3.7, 55, "Baja"],
    ])  # fmt: skip
    assert table_of(read, "cell", "parameter", "unit") == [
        ("C2", "nitrate", "mg/L"), ("D2", None, "mg/L"), ("C3", "nitrate", "mg/L"), ("D3", None, "mg/L"),
    ]  # fmt: skip


def test_unknown_numbers_between_analytes_and_numbered_analytes_are_results() -> None:
    read = read_rows([
        ["Site", "Date", "pH", "PHCODE", "SSED", "SSEDCODE", "Turb1", "Turb2", "Turb", "Chloride", "Sulfate",
         "Session"],
        ["W 1", "2024-05-01", 7.1, "A", 3.5, "A", 1.1, 1.3, 1.2, 20, 8, 4],
        ["W 2", "2024-05-01", 7.2, "A", 4.5, "A", 2.1, 2.3, 2.2, 21, 9, 4],
    ])  # fmt: skip
    assert table_of(read, "cell", "parameter")[:6] == [
        ("C2", "ph"), ("E2", None), ("G2", "turbidity"), ("H2", "turbidity"), ("I2", "turbidity"), ("J2", "chloride"),
    ]  # fmt: skip
    assert len(read.readings) == 14


def test_flags_in_capitals_are_no_symbols_of_elements() -> None:
    """*ND* and *BA* are flags (not detected, below the action level) here, not neodymium and barium."""
    read = read_rows([
        ["Sample ID #", "Sample Location", "Sample Collection Time & Date", "Test Results (ppb)", "ppb Level"],
        ["A-1", "Kitchen", "6:03 AM 5/6/24", "ND", "-"], ["A-2", "Hall", "6:06 AM 5/17/24", 15.4, "AA"],
        ["A-3", "Hall", "6:11 AM 5/17/24", 9.96, "BA"], ["A-4", "Hall", "6:13 AM 5/17/24", "ND", "-"],
    ])  # fmt: skip
    assert table_of(read, "sample", "sampled_at", "parameter", "reported") == [
        ("A-1", "2024-05-06 06:03:00", None, "ND"), ("A-2", "2024-05-17 06:06:00", None, "15.4"),
        ("A-3", "2024-05-17 06:11:00", None, "9.96"), ("A-4", "2024-05-17 06:13:00", None, "ND"),
    ]  # fmt: skip


def test_the_only_dates_and_the_finest_place_need_no_known_heading() -> None:
    read = read_rows([
        ["District", "Village", "cdate", "Nitrate"],
        ["D 1", "V 1", "1999-10-07", 1.4], ["D 1", "V 2", "1999-11-04", 1.2], ["D 2", "V 3", "1999-12-30", 1.1],
    ])  # fmt: skip
    assert table_of(read, "point", "sampled_at", "value") == [
        ("V 1", "1999-10-07", 1.4), ("V 2", "1999-11-04", 1.2), ("V 3", "1999-12-30", 1.1),
    ]  # fmt: skip


def test_points_that_neither_column_tells_apart_are_named_by_both() -> None:
    rows: list[Row] = [[f"Beach {b}", f"Point {p}", "2024-06-01", 10 * b + p] for b in (1, 2) for p in (1, 2)]
    read = read_rows([["Location", "Sampling point", "Date", "E. coli (CFU/100 mL)"], *rows])
    assert [row[0] for row in table_of(read, "point")] == [f"Beach {b} / Point {p}" for b in (1, 2) for p in (1, 2)]


def test_a_row_that_names_only_a_street_keeps_its_results() -> None:
    """A blank in the column of points is no reason to take the row for a stray value where other columns name it."""
    head: Row = ["Stadt", "Zone", "Nitrat (mg/l)", "Chlorid (mg/l)"]
    read = read_rows([head, ["Altdorf", "Zone 1", "5,9", "7,8"], ["Neudorf", None, "10,2", "15,1"]])
    assert len(read.readings) == 4


def test_a_row_of_a_list_without_a_result_names_the_group_of_points_below_it() -> None:
    rows: list[Row] = [["park_location", "result"], ["North", None], ["Lobby", "<0.12 U"], ["Special room", 1.1]]
    read = read_rows([*rows, ["South", None], ["Lobby", "0.9 J"]])
    assert table_of(read, "point", "sign", "value") == [
        ("North / Lobby", "<", 0.12), ("North / Special room", "=", 1.1), ("South / Lobby", "=", 0.9),
    ]  # fmt: skip


def test_type_and_unit_of_a_limit_are_not_the_limit() -> None:
    read = read_rows([
        ["Station", "Date", "Analyte", "Result", "Unit", "Detection limit type", "Detection limit",
         "Detection limit unit"],
        ["W 1", "2024-06-03", "Arsenic", 4.2, "ug/L", "Method detection level", 0.5, "ug/L"],
    ])  # fmt: skip
    assert table_of(read, "parameter", "value", "reporting_limit") == [("arsenic", 4.2, 0.5)]


def test_a_turkish_report_is_read() -> None:
    read = read_rows([
        ["NUMUNE ALIM TARİHİ:", "12.03.2024"], ["NUMUNE NOKTASI:", "Depo Çıkışı"], [],
        ["Parametre", "Birim", "Sonuç", "Limit Değer", "Değerlendirme", "Metot"],
        ["İletkenlik (20°C)", "µS/cm", "412", "2500", "Uygun", "TS 9748"],
        ["Amonyum", "mg/L", "<0,05", "0,5", "Uygun", "SM 4500"],
        ["Koliform Bakteri", "KOB/100 mL", "0", "0", "Uygun", "TS 9308"],
    ])  # fmt: skip
    assert table_of(read, "point", "sampled_at", "parameter", "sign", "value", "unit") == [
        ("Depo Çıkışı", "2024-03-12", "electrical_conductivity", "=", 412, "µS/cm"),
        ("Depo Çıkışı", "2024-03-12", "ammonium", "<", 0.05, "mg/L"),
        ("Depo Çıkışı", "2024-03-12", "total_coliforms", "=", 0, "CFU"),
    ]
