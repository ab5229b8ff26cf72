"""Long tables: one result per row, every part of it taken from its row, its heading or the labels around the table.

The layouts are those that laboratories send: common practice, no source. All data are invented.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from tests.workbooks import read_rows, roles_of, said, table_of

DAY = dt.datetime(2026, 3, 1)
FULL = [
    ["Sample ID", "Batch", "Point", "Stage", "Date", "Parameter", "Result", "Unit", "LOQ", "Uncertainty", "Method",
    "Laboratory", "Replicate"],
    ["S-1", "B-7", "Tank", "product", DAY, "Lead", "<1", "µg/L", 1, None, "ICP-MS", "Lab A", 1],
    ["S-1", "B-7", "Tank", "product", DAY, "Nitrate as NO3", 12.5, "mg/L", 0.5, 0.8, "IC", "Lab A", 1],
    ["S-1", "B-7", "Tank", "product", DAY, "E. coli", "absent/250 mL", None, None, None, "MF", "Lab A", 1],
    ["S-1", "B-7", "Tank", "product", DAY, "Iron, dissolved", "0.02 J", "mg/L", 0.01, "10 %", "ICP-MS", "Lab A", 2],
]  # fmt: skip


def test_every_part_of_a_result_is_read_from_its_row() -> None:
    read = read_rows(FULL)
    assert table_of(read, "cell", "sample", "batch", "point", "stage", "sampled_at", "lab", "method", "replicate") == [
        ("G2", "S-1", "B-7", "Tank", "product", "2026-03-01", "Lab A", "ICP-MS", "1"),
        ("G3", "S-1", "B-7", "Tank", "product", "2026-03-01", "Lab A", "IC", "1"),
        ("G4", "S-1", "B-7", "Tank", "product", "2026-03-01", "Lab A", "MF", "1"),
        ("G5", "S-1", "B-7", "Tank", "product", "2026-03-01", "Lab A", "ICP-MS", "2"),
    ]
    assert table_of(
        read, "parameter", "reported", "sign", "value", "unit", "basis", "volume_ml", "fraction", "qualifier"
    ) == [
        ("lead", "<1", "<", 1, "µg/L", None, None, None, None),
        ("nitrate", "12.5", "=", 12.5, "mg/L", "NO3", None, None, None),
        ("escherichia_coli", "absent/250 mL", "absent", None, "count", None, 250, None, None),
        ("iron", "0.02 J", "=", 0.02, "mg/L", None, None, "dissolved", "J"),
    ]
    assert table_of(read, "reporting_limit", "uncertainty") == [
        (1, None),
        (0.5, 0.8),
        (None, None),
        (0.01, pytest.approx(0.002)),
    ]
    assert set(read.readings["workbook"]) == {"book.xlsx"}
    assert set(read.readings["sheet"]) == {"Results"}
    assert said(read) == {}


HEADINGS = {
    "French": [
        "Échantillon",
        "Date de prélèvement",
        "Paramètre",
        "Résultat",
        "Unité",
        "Limite de quantification",
        "Laboratoire",
    ],
    "Portuguese": ["Amostra", "Data da coleta", "Parâmetro", "Resultado", "Unidade", "LQ", "Laboratório"],
    "Spanish": [
        "Muestra",
        "Fecha de muestreo",
        "Parámetro",
        "Resultado",
        "Unidad",
        "Límite de cuantificación",
        "Laboratorio",
    ],
    "German": ["Probe", "Probenahmedatum", "Parameter", "Ergebnis", "Einheit", "Bestimmungsgrenze", "Labor"],
    "Italian": ["Campione", "Data di prelievo", "Parametro", "Risultato", "Unità", "LOQ", "Laboratorio"],
}
LEAD = {"French": "Plomb", "Portuguese": "Chumbo", "Spanish": "Plomo", "German": "Blei", "Italian": "Piombo"}


@pytest.mark.parametrize("language", HEADINGS)
def test_headings_and_names_in_other_languages(language: str) -> None:
    read = read_rows([HEADINGS[language], ["S-1", "15.03.2026", LEAD[language], "<0,5", "µg/l", "0,5", "Lab A"]])
    columns = ("sample", "sampled_at", "parameter", "sign", "value", "unit", "reporting_limit", "lab", "cell")
    assert table_of(read, *columns) == [("S-1", "2026-03-15", "lead", "<", 0.5, "µg/L", 0.5, "Lab A", "D2")]
    assert said(read) == {}


def test_limits_verdicts_and_computed_columns_are_never_results() -> None:
    head = [
        "Parameter",
        "Unit",
        "Result",
        "WHO guideline",
        "EU 2020/2184",
        "Standard",
        "Max permitted",
        "Verdict",
        "Mean",
        "Remarks",
    ]
    read = read_rows(
        [
            head,
            ["Lead", "µg/L", 2, 10, 5, "5", 5, "Pass", 2.5, "ok"],
            ["pH", "-", 7.2, "6.5-8.5", "6.5-9.5", None, 9, "OK", 7, None],
        ]
    )
    assert table_of(read, "cell", "parameter", "value") == [("C2", "lead", 2), ("C3", "ph", 7.2)]
    roles = roles_of(read)
    assert {roles[cell] for cell in ("D2", "E2", "F2", "G2", "D3", "E3", "G3")} == {"limit"}
    assert (roles["H2"], roles["I2"], roles["J2"]) == ("verdict", "computed", "remark")


def test_numbers_that_name_things_are_never_results() -> None:
    read = read_rows(
        [
            ["No", "Lab no", "Parameter", "Code", "Unit", "Result"],
            [1, 9001, "Lead", 82, "µg/L", 3],
            [2, 9002, "Iron", 26, "mg/L", 0.1],
        ]
    )
    assert table_of(read, "cell", "parameter", "value") == [("F2", "lead", 3), ("F3", "iron", 0.1)]


def test_a_sign_column_and_a_flag_column_belong_to_the_result() -> None:
    read = read_rows(
        [
            ["Parameter", "Sign", "Result", "Unit", "Flag"],
            ["Lead", "<", 1, "µg/L", None], ["Zinc", "menor que", 2, "µg/L", None], ["Iron", "=", 3, "µg/L", "J"],
            ["Copper", None, 4, "µg/L", "U"], ["Nickel", ">", 5, "µg/L", "B"], ["Barium", "<", "<6", "µg/L", None],
        ]
    )  # fmt: skip
    assert table_of(read, "sign", "value", "qualifier") == [
        ("<", 1, None), ("<", 2, None), ("=", 3, "J"), ("<", 4, "U"), (">", 5, "B"), ("<", 6, None),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("limit", "unit", "value"),
    [
        (0.5, "µg/L", 0.5),
        ("0,5", "µg/L", 0.5),
        ("0.5 µg/L", "µg/L", 0.5),
        ("0.0005 mg/L", "µg/L", 0.5),
        (None, "µg/L", None),
    ],
)
def test_below_the_limit_of_quantification_takes_the_limit_of_its_row(
    limit: Any, unit: str, value: float | None
) -> None:
    read = read_rows(
        [
            ["Sample", "Parameter", "Result", "Unit", "LOQ"],
            ["S-1", "Lead", "<LOQ", unit, limit],
            ["S-1", "Zinc", 2, "mg/L", 1],
        ]
    )
    [(sign, found, reporting), _] = table_of(read, "sign", "value", "reporting_limit")
    assert (sign, found, reporting) == ("<", value, value)


def test_quantification_limit_goes_before_detection_limit() -> None:
    read = read_rows(
        [
            ["Parameter", "Result", "Unit", "LOD", "LOQ"],
            ["Lead", "ND", "µg/L", 0.1, 0.3],
            ["Zinc", "ND", "µg/L", 0.1, None],
        ]
    )
    assert table_of(read, "sign", "value") == [("<", 0.3), ("<", 0.1)]


def test_the_decimal_mark_of_a_column_is_what_its_other_cells_prove() -> None:
    comma = read_rows([["Parameter", "Unit", "Result"], ["Lead", "µg/L", "27,385"], ["Iron", "mg/L", "0,1"]])
    point = read_rows([["Parameter", "Unit", "Result"], ["Lead", "µg/L", "27,385"], ["Iron", "mg/L", "0.1"]])
    unknown = read_rows([["Parameter", "Unit", "Result"], ["Lead", "µg/L", "27,385"], ["Iron", "mg/L", "5"]])
    assert table_of(comma, "value") == [(27.385,), (0.1,)]
    assert table_of(point, "value") == [(27385,), (0.1,)]
    assert table_of(unknown, "sign", "value") == [("unreadable", None), ("=", 5)]
    assert said(unknown) == {"unreadable result": "Results!C2"}


def test_unreadable_cells_stay_as_readings_and_untested_ones_in_the_ledger() -> None:
    read = read_rows(
        [
            ["Parameter", "Unit", "Result"],
            ["Lead", "µg/L", "O.5"],
            ["Iron", "mg/L", "n.a."],
            ["Zinc", "mg/L", "-"],
            ["Tin", "mg/L", True],
        ]
    )
    assert table_of(read, "cell", "reported", "sign", "value") == [
        ("C2", "O.5", "unreadable", None),
        ("C5", "TRUE", "unreadable", None),
    ]
    assert roles_of(read)["C3"] == roles_of(read)["C4"] == "not tested"
    assert said(read)["unreadable result"] in {"Results!C2", "Results!C5"}


def test_units_in_result_cells_go_before_the_unit_column() -> None:
    read = read_rows(
        [
            ["Parameter", "Unit", "Result"],
            ["Lead", "mg/L", "3 µg/L"],
            ["Iron", "mg/L", 2],
            ["Zinc", None, 1],
            ["Tin", "furlong", 1],
            ["pH", None, 7],
        ]
    )
    assert table_of(read, "unit", "unit_text") == [
        ("µg/L", "µg/L".replace("µ", "μ")),
        ("mg/L", "mg/L"),
        (None, None),
        (None, "furlong"),
        ("pH", None),
    ]
    assert said(read) == {"missing unit": "Results!C4", "unknown unit": "Results!C5"}


def test_a_name_and_a_unit_that_state_different_bases_leave_the_basis_open() -> None:
    read = read_rows(
        [
            ["Parameter", "Unit", "Result"],
            ["Nitrate as N", "mg/L NO3", 3],
            ["Nitrate", "mg/L as N", 3],
            ["Nitrate-N", "mg/L", 3],
        ]
    )
    assert table_of(read, "basis") == [(None,), ("N",), ("N",)]
    assert said(read) == {"contradicting basis": "Results!C2"}


def test_a_sample_named_once_for_a_group_of_rows_is_carried_down_and_said() -> None:
    head = ["Sample", "Date", "Parameter", "Unit", "Result"]
    rows = [
        ["S-1", DAY, "Lead", "µg/L", 1],
        [None, None, "Iron", "mg/L", 2],
        ["S-2", DAY.replace(day=2), "Lead", "µg/L", 3],
        [None, None, "Iron", "mg/L", 4],
    ]
    read = read_rows([head, *rows])
    assert table_of(read, "sample", "sampled_at") == [("S-1", "2026-03-01")] * 2 + [("S-2", "2026-03-02")] * 2
    assert said(read) == {"carried down": "Results!E3, E5"}


def test_section_rows_repeated_headings_and_footers_are_no_results() -> None:
    head = ["Parameter", "Unit", "Result"]
    read = read_rows(
        [
            head,
            ["METALS"],
            ["Lead", "µg/L", 1],
            head,
            ["Other"],
            ["pH", "-", 7],
            [],
            ["ND = not detected"],
            ["Approved by", "the head of laboratory"],
        ]
    )
    assert table_of(read, "cell", "parameter") == [("C3", "lead"), ("C6", "ph")]
    roles = roles_of(read)
    assert roles["A4"] == roles["C4"] == "heading"
    assert (roles["A8"], roles["A9"], roles["B9"]) == ("text", "label", "label value")


def test_a_row_of_totals_below_the_table_names_no_analyte() -> None:
    read = read_rows(
        [
            ["Sample", "Parameter", "Unit", "Result"],
            ["S-1", "Lead", "µg/L", 1],
            ["S-1", "Iron", "mg/L", 2],
            [None, None, None, 3],
        ]
    )
    assert table_of(read, "cell") == [("D2",), ("D3",)]
    assert said(read) == {"value without owner": "Results!D4"}


def test_an_analyte_that_is_not_known_stays_as_a_reading_without_parameter() -> None:
    read = read_rows([["Parameter", "Unit", "Result"], ["Unobtainium", "µg/L", 1], ["Lead", "µg/L", 2]])
    assert table_of(read, "parameter", "parameter_text", "value") == [(None, "Unobtainium", 1), ("lead", "Lead", 2)]


def test_a_registry_number_names_the_analyte_where_its_name_does_not() -> None:
    read = read_rows(
        [["Parameter", "CAS", "Unit", "Result"], ["Analyte 1", "7439-92-1", "µg/L", 1], ["Arsenic", None, "µg/L", 2]]
    )
    assert table_of(read, "parameter") == [("lead",), ("arsenic",)]


def test_parameter_limit_and_unit_in_one_cell() -> None:
    read = read_rows(
        [
            ["Parameter", "Result"],
            ["Ferro - VMP: 0,3 mg/L", "0,1"],
            ["Nitrato (como N) - VMP: 10,0 mg/L", "0,5"],
            ["Lead (µg/L), dissolved", "2"],
        ]
    )
    assert table_of(read, "parameter", "value", "unit", "fraction") == [
        ("iron", 0.1, "mg/L", None), ("nitrate", 0.5, "mg/L", None), ("lead", 2, "µg/L", "dissolved"),
    ]  # fmt: skip


def test_results_without_headings_take_units_from_the_column_that_holds_units() -> None:
    read = read_rows([["Lead", "µg/L", 2], ["Turbidity", "NTU", 0.5], ["pH", "-", 7], ["Iron", "mg/L", "<0.1"]])
    assert table_of(read, "cell", "parameter", "unit", "value") == [
        ("C1", "lead", "µg/L", 2), ("C2", "turbidity", "NTU", 0.5), ("C3", "ph", "1", 7), ("C4", "iron", "mg/L", 0.1),
    ]  # fmt: skip


def test_rows_of_means_and_limits_among_samples_are_no_results() -> None:
    head = ["Sample", "Parameter", "Result", "Unit"]
    names = ["S-1", "S-2", "Mean", "Max", "WHO limit"]
    read = read_rows([head, *([name, "Lead", 2, "µg/L"] for name in names)])
    assert table_of(read, "cell", "sample") == [("C2", "S-1"), ("C3", "S-2")]
    assert roles_of(read)["C4"] == roles_of(read)["C6"] == "not used"


def test_two_numbered_result_columns_are_results_both() -> None:
    read = read_rows([["Sample", "Parameter", "Unit", "Result 1", "Result 2"], ["S-1", "Lead", "µg/L", 1, 2]])
    assert table_of(read, "cell", "sample", "point", "value") == [("D2", "S-1", None, 1), ("E2", "S-1", None, 2)]


def test_units_in_the_headings_of_results_and_limits() -> None:
    read = read_rows([["Analyte", "Conc. (µg/L)", "Det. limit (µg/L)", "MCL (µg/L)"], ["Benzene", "<0.5", 0.5, 5]])
    assert table_of(read, "cell", "sign", "value", "unit", "reporting_limit") == [("B2", "<", 0.5, "µg/L", 0.5)]
