"""How the laboratory worked (analyst, instrument, series, dilution) stands beside results and is none."""

from __future__ import annotations

from typing import Any

import pytest

from tests.workbooks import Rows, read_rows, roles_of, table_of
from wqcheck.findings import Severity
from wqcheck.sheets import ReadResult
from wqcheck.sheets.headings import heading_role

LABELS = [
    ("Dilution", "Analyst", "Batch QC", "Instrument"),
    ("Facteur de dilution", "Analyste", "Lot CQ", "Appareil"),
    ("Verdünnung", "Bearbeiter", "Messserie", "Gerät"),
    ("Factor de dilución", "Analista", "Lote QC", "Equipo"),
    ("Fator de diluição", "Analista", "Lote CQ", "Equipamento"),
    ("Fattore di diluizione", "Analista", "Lotto QC", "Strumento"),
]
VALUES: list[tuple[Any, Any]] = [(1, 10), ("AB", "CD"), ("Q1", "Q2"), (1, 2)]
EXPECTED = [("lead", 1.0), ("iron", 2.0), ("lead", 3.0), ("iron", 4.0)]


def held(read: ReadResult) -> list[tuple[str, str, str]]:
    return [(f.code, f.where.partition("!")[2], f.given) for f in read.findings if f.severity == Severity.HOLD]


def whole(rows: Rows) -> ReadResult:
    read = read_rows(rows)
    assert len(read.ledger()) + len(read.readings) == read.cells
    return read


@pytest.mark.parametrize("labels", LABELS)
@pytest.mark.parametrize("layout", ["bare", "labelled", "repeated", "once"])
def test_rows_of_the_bench_are_no_results_in_six_languages(labels: tuple[str, ...], layout: str) -> None:
    rows: list[list[Any]] = [["Sample", *(["Type"] if layout in {"labelled", "repeated"} else []),
                              "Lead (µg/L)", "Iron (µg/L)"]]  # fmt: skip
    for name, results in (("S-1", (1.0, 2.0)), ("S-2", (3.0, 4.0))):
        first: list[Any] = [name, "Result"] if layout in {"labelled", "repeated"} else [name]
        again: list[Any] = [None] if layout == "labelled" else [name] if layout == "repeated" else []
        rows.append([*first, *results])
        if layout != "once":
            rows += [[*again, label, *values] for label, values in zip(labels, VALUES, strict=True)]
    if layout == "once":
        rows += [[label, *values] for label, values in zip(labels, VALUES, strict=True)]
    read = whole(rows)
    assert table_of(read, "parameter", "value") == EXPECTED
    assert {code for code, _, _ in held(read)} == {"dilution"}
    assert {"bench", "dilution"} <= set(roles_of(read).values())


@pytest.mark.parametrize("labels", LABELS)
def test_so_it_is_in_crosstabs_long_tables_and_columns(labels: tuple[str, ...]) -> None:
    across: Rows = [
        ["Parameter", "Unit", "S-1", "S-2"], ["Lead", "µg/L", 1.0, 3.0], ["Iron", "µg/L", 2.0, 4.0],
        *([label, None, *values] for label, values in zip(labels, VALUES, strict=True)),
    ]  # fmt: skip
    read = whole(across)
    assert sorted(table_of(read, "parameter", "value")) == sorted(EXPECTED)
    assert held(read) == [("dilution", "D4", "10")]
    down: Rows = [
        ["Sample", "Parameter", "Result", "Unit"], ["S-1", "Lead", 1.0, "µg/L"],
        *(["S-1", label, values[1], None] for label, values in zip(labels, VALUES, strict=True)),
        ["S-1", "Iron", 2.0, "µg/L"],
    ]  # fmt: skip
    read = whole(down)
    assert table_of(read, "parameter", "value") == EXPECTED[:2]
    assert held(read) == [("dilution", "C3", "10")]
    columns: Rows = [
        ["Sample", *labels, "Lead (µg/L)", "Iron (µg/L)"],
        ["S-1", *(first for first, _ in VALUES), 1.0, 2.0], ["S-2", *(second for _, second in VALUES), 3.0, 4.0],
    ]  # fmt: skip
    read = whole(columns)
    assert table_of(read, "parameter", "value") == EXPECTED
    assert held(read) == [("dilution", "B3", "10")]


@pytest.mark.parametrize("factor", [1, "1", "1:1", "x1", "1x", "-", None, "none", "1,0"])
def test_a_factor_of_one_changes_nothing(factor: Any) -> None:
    read = whole([["Sample", "Dilution", "Lead (µg/L)"], ["S-1", factor, 1.0], ["S-2", 1, 2.0]])
    assert (table_of(read, "value"), held(read)) == ([(1.0,), (2.0,)], [])


def test_rows_below_a_label_that_is_not_known_are_no_results_where_results_are_labelled_and_hold() -> None:
    rows: Rows = [
        ["Sample", "Type", "Lead (µg/L)", "Iron (µg/L)"],
        ["S-1", "Result", 1.0, 2.0], ["S-1", "Qualifier", "U", None], ["S-1", "Corr. sum", 9.0, 9.5],
        ["S-2", "Result", 3.0, 4.0], ["S-2", "Qualifier", None, None], ["S-2", "Corr. sum", 9.0, 9.5],
    ]  # fmt: skip
    read = whole(rows)
    assert table_of(read, "parameter", "value") == EXPECTED
    assert [given for code, _, given in held(read) if code == "rows not read"] == ["S-1, Corr. sum, S-2"]
    assert {roles_of(read)[cell] for cell in ("C4", "D7")} == {"not used"}


def test_a_column_of_operators_holds_signs_or_persons_by_its_content() -> None:
    def column(*given: str) -> Rows:
        rows = [["S-1", name, sign, 5.0, "µg/L"] for name, sign in zip(("Lead", "Iron"), given, strict=True)]
        return [["Sample", "Parameter", "Operator", "Result", "Unit"], *rows]

    assert table_of(whole(column("<", "=")), "sign") == [("<",), ("=",)]
    read = whole(column("A. Meier", "JB"))
    assert (table_of(read, "sign"), roles_of(read)["C2"]) == ([("=",), ("=",)], "bench")


def test_the_words_are_read_with_or_without_accents_and_capitals() -> None:
    assert {heading_role(word) for word in ("VERDUNNUNG", "dilución", "Facteur de dilution")} == {"dilution"}
    assert {heading_role(word) for word in ("geraet", "gerat", "ANALYSTE", "strumento")} >= {"bench"}
