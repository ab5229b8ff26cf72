"""A sheet layout is written, read and applied: it fills what a sheet leaves open and takes nothing away."""

from __future__ import annotations

import csv
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from tests.strategies import Row, sheets
from tests.test_sheets_any_content import written
from tests.workbooks import Rows, csv_text, roles_of, said, table_of, xlsx_bytes
from wqcheck.cli import app
from wqcheck.errors import SheetLayoutError
from wqcheck.near_names import nearest_parameters
from wqcheck.parameters import aliases, catalogue, normalise
from wqcheck.questions import propose_layout
from wqcheck.sheet_layouts.loading import load_layout
from wqcheck.sheet_layouts.records import (
    COLUMN_ROLES,
    MEANINGS,
    ColumnAnswer,
    NameAnswer,
    PointAnswer,
    SheetLayout,
    TableAnswer,
    TextAnswer,
    VolumeAnswer,
)
from wqcheck.sheet_layouts.saving import layout_text, save_layout
from wqcheck.sheets import ReadResult, read_workbook
from wqcheck.sheets.headings import _patterns
from wqcheck.sheets.layouts import find_tables, matching_layout
from wqcheck.sheets.opening import open_book

SAMPLES = sorted(
    path
    for path in (Path(__file__).resolve().parent.parent / "sample_results").iterdir()
    if path.suffix in {".xlsx", ".csv"}
)
TEXTS = st.text(min_size=1, max_size=12).filter(lambda text: text.strip() and normalise(text))
CODES = st.sampled_from(["lead", "nitrate", "electrical_conductivity", "escherichia_coli"])


def read_rows(rows: Rows, layout: SheetLayout | Path | None = None) -> ReadResult:
    return read_workbook(("book.xlsx", xlsx_bytes({"Results": rows})), layout)


def fingerprint_of(rows: Rows) -> str:
    return next(text for table in read_rows(rows).tables if (text := table.found.fingerprint))


# ---- the file


@st.composite
def layouts(draw: st.DrawFn) -> SheetLayout:
    """Draw a layout that is sound."""

    def some(values: st.SearchStrategy, keys: st.SearchStrategy = TEXTS, unique: object = normalise) -> dict:  # type: ignore[type-arg]
        pairs = draw(st.lists(st.tuples(keys, values), max_size=3, unique_by=lambda pair: unique(pair[0])))  # type: ignore[operator]
        return dict(pairs)

    flags = st.booleans()
    columns = st.builds(
        ColumnAnswer, heading=TEXTS, nth=st.integers(1, 3), role=st.sampled_from(["", *sorted(COLUMN_ROLES)]),
        unit=st.sampled_from(["", "mg/L", "CFU/100 mL"]), fraction=st.sampled_from(["", "total"]), replace=flags,
    )  # fmt: skip
    tables = st.builds(
        TableAnswer, fingerprints=st.lists(TEXTS, max_size=2).map(tuple), sheet=st.text(max_size=5), kind=TEXTS,
        header=st.none() | st.integers(1, 99), parameter=st.just("lead"), unit=st.just("µg/L"),
        columns=st.lists(columns, max_size=3).map(tuple), replace=flags,
    )  # fmt: skip
    return SheetLayout(
        name=draw(TEXTS), lab=draw(st.just("") | TEXTS), decimal=draw(st.sampled_from(["", ".", ","])),
        dates=some(st.sampled_from(["dmy", "mdy", "ymd"]), st.sampled_from(["sampled_at", "received_at"]), str),
        aliases=some(st.builds(NameAnswer, parameter=st.just("nitrate"), basis=st.sampled_from(["", "N"]),
                               unit=st.sampled_from(["", "mg/L"]), replace=flags)),
        units=some(st.builds(TextAnswer, text=st.just("mg/L"), replace=flags), st.sampled_from(["lead", "zinc"]), str),
        bases=some(st.builds(TextAnswer, text=st.just("NO3"), replace=flags), st.just("nitrate"), str),
        volumes=some(st.builds(VolumeAnswer, volume_ml=st.floats(0.1, 1000), replace=flags), CODES, str),
        unit_spellings={"mg/litro?": "mg/L"},
        points=some(st.builds(PointAnswer, point=TEXTS, stage=st.just("") | TEXTS)),
        words=some(st.sampled_from(MEANINGS), unique=lambda text: " ".join(text.casefold().split())),
        signs={"k": "<"}, not_parameters=tuple(draw(st.lists(TEXTS, max_size=2))),
        tables=tuple(draw(st.lists(tables, max_size=2))), remarks=(draw(st.text(max_size=20)),),
    )  # fmt: skip


@given(layouts())
@settings(max_examples=60, deadline=None)
def test_a_saved_layout_is_read_back_as_it_was(layout: SheetLayout) -> None:
    path = Path(_folder(), "layout.toml")
    save_layout(layout, path)
    assert load_layout(path) == layout
    assert layout_text(load_layout(path)).strip() in layout_text(layout)


def _folder() -> str:
    import tempfile

    return tempfile.mkdtemp(prefix="layouts-")


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ('colour = "red"', "colour: this key is not known; use one of aliases"),
        ('decimal = ";"', "decimal: write one of '.', ','"),
        ('dates.sampled = "dmy"', "dates.sampled: no such date is read"),
        ('dates.sampled_at = "ddmm"', "dates.sampled_at: write one of 'dmy'"),
        ('aliases.Arsenik = "arsenik"', "did you mean arsenic"),
        ('aliases."Blei" = { parameter = "lead", unti = "mg/L" }', "aliases.Blei.unti: this key is not known"),
        ('aliases."a b" = "lead"\naliases."A-B" = "iron"', "it means the same as 'a b'"),
        ('units.lead = "mg/bucket"', "units.lead: the unit is not known"),
        ('units.lead = "µS/cm"', "units.lead: lead is given in units such as µg/L"),
        ('units.unobtainium = "mg/L"', "units.unobtainium: it is no parameter code"),
        ('bases.nitrate = "CaCO3"', "bases.nitrate: nitrate is expressed as N or NO3"),
        ("volumes.escherichia_coli = 0", "volumes.escherichia_coli: write the volume examined in mL"),
        ('words."n.q." = "none"', "words.n.q.: write one of 'absent'"),
        ("points.RO = {}", "points.RO: write the code of a point"),
        ('[[tables]]\nheader = 0', "tables 1.header: write the number of the row"),
        ('[[tables]]\ncolumns = [{ role = "unit" }]', "tables 1.columns 1: tell the column by its heading"),
        ('[[tables]]\ncolumns = [{ heading = "x", role = "units" }]', "columns 1.role: write one of 'address'"),
        ("[[tables]]\nreplace = 1", "tables 1.replace: write true or false"),
    ],
)  # fmt: skip
def test_each_mistake_in_a_file_is_named_with_key_and_mend(tmp_path: Path, line: str, told: str) -> None:
    path = tmp_path / "lab.toml"
    path.write_text(line, encoding="utf-8")
    with pytest.raises(SheetLayoutError) as problem:
        load_layout(path)
    assert str(path) in str(problem.value)
    assert told in str(problem.value)
    assert "(given: " in str(problem.value)


def test_a_file_that_is_no_toml_or_not_there_is_a_clear_error(tmp_path: Path) -> None:
    (tmp_path / "bad.toml").write_text("a = = 1", encoding="utf-8")
    with pytest.raises(SheetLayoutError, match="not valid TOML"):
        load_layout(tmp_path / "bad.toml")
    with pytest.raises(SheetLayoutError, match="cannot be opened"):
        load_layout(tmp_path / "none.toml")


def test_the_example_of_the_readme_is_sound(tmp_path: Path) -> None:
    text = (Path(__file__).resolve().parent.parent / "README.md").read_text(encoding="utf-8")
    example = text.split("```toml\n")[1].split("```")[0]
    (tmp_path / "coast.toml").write_text(example, encoding="utf-8")
    layout = load_layout(tmp_path / "coast.toml")
    assert layout.volumes == {"escherichia_coli": VolumeAnswer(volume_ml=250)}
    assert layout.tables[0].columns[0].parameter == "lead"
    assert load_saved(layout) == layout


def test_every_role_that_headings_have_can_be_told() -> None:
    assert {role for role, _ in _patterns()} <= COLUMN_ROLES


# ---- a proposal changes nothing


def check_proposal_changes_nothing(name: str, data: bytes) -> None:
    read = read_workbook((name, data))
    layout = propose_layout(read)
    again = read_workbook((name, data), load_saved(layout))
    pd.testing.assert_frame_equal(again.readings, read.readings)
    pd.testing.assert_frame_equal(again.ledger(), read.ledger())
    new = [finding for finding in again.findings if finding not in read.findings]
    assert [finding.code for finding in new] == ["sheet layout"]
    assert len(again.readings) + len(again.ledger()) == again.cells


def load_saved(layout: SheetLayout) -> SheetLayout:
    path = Path(_folder(), "layout.toml")
    save_layout(layout, path)
    loaded = load_layout(path)
    assert loaded == layout
    return loaded


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.name)
def test_a_proposed_layout_changes_no_reading_of_a_sample_sheet(path: Path) -> None:
    check_proposal_changes_nothing(path.name, path.read_bytes())


def test_a_unit_in_a_cell_that_nobody_knows_is_told_once() -> None:
    """The proposal gives the unit of the column; that the cell states another one is an unknown unit already."""
    rows = [["Sample ID", "Date", "Coliformes totales"], [None, None, "CFU/100 mL"], ["S1", "2026-03-01", "0a"]]
    book = ("book.xlsx", xlsx_bytes({"Results": rows}))
    again = read_workbook(book, propose_layout(read_workbook(book)))
    assert [finding.code for finding in again.findings] == ["unknown unit", "sheet layout"]


@given(st.lists(sheets(), min_size=1, max_size=2))
@settings(max_examples=40, deadline=None)
def test_a_proposed_layout_changes_no_reading_of_any_workbook(books: list[list[Row]]) -> None:
    check_proposal_changes_nothing(
        "book.xlsx", xlsx_bytes({f"Sheet {n}": written(rows) for n, rows in enumerate(books)})
    )


@given(sheets(), st.sampled_from([",", ";"]))
@settings(max_examples=30, deadline=None)
def test_a_proposed_layout_changes_no_reading_of_any_text_file(rows: list[Row], delimiter: str) -> None:
    data = csv_text(written(rows), delimiter).encode()
    assume(data)
    check_proposal_changes_nothing("book.csv", data)


@given(sheets(), layouts())
@settings(max_examples=40, deadline=None)
def test_no_layout_makes_a_result_or_a_cell_vanish(rows: list[Row], layout: SheetLayout) -> None:
    data = xlsx_bytes({"Sheet": written(rows)})
    plain, told = read_workbook(("book.xlsx", data)), read_workbook(("book.xlsx", data), layout)
    assert len(told.readings) + len(told.ledger()) == told.cells == plain.cells
    assert set(plain.readings["cell"]) <= set(told.readings["cell"])


# ---- fingerprints and matching

WIDE: list[Row] = [["Sample", "Date", "Lead", "Kalcij"], ["S-1", "2026-03-25", 3, 40], ["S-2", "2026-03-26", 4, 41]]


def test_a_fingerprint_does_not_change_with_data_batch_dates_or_place_of_the_table() -> None:
    later = [
        ["Batch: B-77"], [], [None, "Sample", "Date", "Lead", "Kalcij"],
        [None, "S-9", "2027-01-02", "<1", 7], [None, "S-8", "2027-01-03", 2, 9],
    ]  # fmt: skip
    assert fingerprint_of(later) == fingerprint_of(WIDE)
    other = [[*WIDE[0][:2], "Iron", "Kalcij"], *WIDE[1:]]
    assert fingerprint_of(other) != fingerprint_of(WIDE)


def test_the_samples_across_a_crosstab_do_not_count() -> None:
    def crosstab(*samples: str) -> list[Row]:
        return [["Parameter", "Unit", *samples], ["Lead", "µg/L", 1, 2], ["Iron", "mg/L", 3, 4], ["Zinc", "mg/L", 3, 4]]

    assert fingerprint_of(crosstab("S-101", "S-102")) == fingerprint_of(crosstab("Tap 7", "Tap 8"))


def test_the_layout_of_a_folder_that_knows_the_headings_is_applied_and_said(tmp_path: Path) -> None:
    layout = SheetLayout(
        name="Coast lab", units={"lead": TextAnswer(text="µg/L")}, aliases={"kalcij": NameAnswer(parameter="calcium")},
        tables=(TableAnswer(fingerprints=(fingerprint_of(WIDE),)),),
    )  # fmt: skip
    save_layout(layout, tmp_path / "coast.toml")
    save_layout(SheetLayout(name="Another", tables=(TableAnswer(fingerprints=("00",)),)), tmp_path / "other.toml")
    read = read_rows(WIDE, tmp_path)
    assert table_of(read, "cell", "parameter", "unit") == [
        ("C2", "lead", "µg/L"), ("D2", "calcium", None), ("C3", "lead", "µg/L"), ("D3", "calcium", None),
    ]  # fmt: skip
    note = next(finding for finding in read.findings if finding.code == "sheet layout")
    assert note.given == str(tmp_path / "coast.toml")
    assert note.message == (
        "the sheet layout 'Coast lab' was applied: it supplied the parameter of 2 result(s), the unit of 2 result(s)"
    )
    found = matching_layout(open_book(("book.xlsx", xlsx_bytes({"Results": WIDE}))), tmp_path)
    assert found == layout
    assert read_rows([["Sample", "Iron (mg/L)"], ["S-1", 1]], tmp_path).layout is None


def test_check_judges_with_the_layout_of_the_folder(tmp_path: Path) -> None:
    """Lead of 20 µg/L is above the guideline value of 10 µg/L (WHO, Guidelines, 4th ed. with addenda, Table A3.3)."""
    rows: list[Row] = [["Sample", "Date", "Lead"], ["S-1", "2026-03-25", 20], ["S-2", "2026-03-26", 2]]
    table = TableAnswer(fingerprints=(fingerprint_of(rows),))
    save_layout(
        SheetLayout(name="Coast lab", units={"lead": TextAnswer(text="µg/L")}, tables=(table,)), tmp_path / "coast.toml"
    )
    book, out = tmp_path / "book.xlsx", tmp_path / "judged.csv"
    book.write_bytes(xlsx_bytes({"Results": rows}))
    asked = ["check", str(book), "--limits", "who_gdwq_2022", "--out", str(out)]
    verdicts = []
    for options in ([], ["--layouts", str(tmp_path)]):
        CliRunner().invoke(app, [*asked, *options])
        verdicts.append([row["verdict"] for row in csv.DictReader(out.read_text(encoding="utf-8").splitlines())])
    assert verdicts[1] == ["fail", "pass"]
    assert "pass" not in verdicts[0]


def test_sheets_of_another_laboratory_do_not_match(tmp_path: Path) -> None:
    headed = [["Laboratory:", "Hill lab"], [], *WIDE]
    layout = SheetLayout(name="Coast", lab="Coast lab", tables=(TableAnswer(fingerprints=(fingerprint_of(headed),)),))
    save_layout(layout, tmp_path / "coast.toml")
    assert read_rows(headed, tmp_path).layout is None
    assert read_rows([["Laboratory:", "COAST LAB"], [], *WIDE], tmp_path).layout == layout


def test_of_two_layouts_that_fit_none_is_applied(tmp_path: Path) -> None:
    for name in ("a", "b"):
        table = TableAnswer(fingerprints=(fingerprint_of(WIDE),))
        save_layout(SheetLayout(name=name, tables=(table,)), tmp_path / f"{name}.toml")
    read = read_rows(WIDE, tmp_path)
    assert read.layout is None
    assert [f.severity for f in read.findings if f.code == "several sheet layouts"] == ["hold"]


def test_a_form_that_differs_in_a_heading_is_named_and_not_taken_for_the_same(tmp_path: Path) -> None:
    rows: list[Row] = [["Sample", "Date", "Lead", "Iron", "Zinc"], ["S-1", "2026-03-25", 3, 40, 1]]
    save_layout(propose_layout(read_rows(rows)), tmp_path / "lab.toml")
    wider = [[*rows[0], "Copper"], [*rows[1], 5]]
    read = read_rows(wider, tmp_path)
    assert read.layout is None
    note = next(finding for finding in read.findings if finding.code == "layout nearly fits")
    assert note.given == "copper"
    assert fingerprint_of(wider) in note.message


# ---- what an answer may and may not do


def test_what_the_cell_states_holds_against_an_answer_unless_it_may_replace() -> None:
    rows = [["Sample", "Parameter", "Result", "Unit"], ["S-1", "Lead", 3, "mg/L"], ["S-2", "Lead", 4, None]]
    filled = read_rows(rows, SheetLayout(units={"lead": TextAnswer(text="µg/L")}))
    assert table_of(filled, "cell", "unit", "unit_text") == [("C2", "mg/L", "mg/L"), ("C3", "µg/L", None)]
    assert said(filled)["layout not used"] == "Results!C2"
    replaced = read_rows(rows, SheetLayout(units={"lead": TextAnswer(text="µg/L", replace=True)}))
    assert table_of(replaced, "cell", "unit") == [("C2", "µg/L"), ("C3", "µg/L")]
    assert said(replaced)["layout replaced"] == "Results!C2"


def test_a_known_name_means_what_it_says_unless_an_answer_may_replace_it() -> None:
    rows = [["Sample", "Parameter", "Result", "Unit"], ["S-1", "Lead", 3, "mg/L"], ["S-1", "Iron", 4, "mg/L"]]
    kept = read_rows(rows, SheetLayout(aliases={"Lead": NameAnswer(parameter="zinc")}))
    assert table_of(kept, "parameter") == [("lead",), ("iron",)]
    assert "layout not used" in said(kept)
    layout = SheetLayout(aliases={"Lead": NameAnswer(parameter="zinc", replace=True)})
    for either in (rows, [["Sample", "Lead", "Iron"], ["S-1", 3, 4]]):
        replaced = read_rows(either, layout)
        assert table_of(replaced, "parameter") == [("zinc",), ("iron",)]
        assert "layout replaced" in said(replaced)


def test_a_column_of_results_is_not_taken_away_without_replace() -> None:
    def told(*, replace: bool) -> SheetLayout:
        column = ColumnAnswer(heading="lead", role="remark", replace=replace)
        return SheetLayout(tables=(TableAnswer(fingerprints=(fingerprint_of(WIDE),), columns=(column,)),))

    kept = read_rows(WIDE, told(replace=False))
    assert table_of(kept, "cell") == [("C2",), ("C3",)]
    assert "layout not used" in said(kept)
    gone = read_rows([[*WIDE[0][:3], "Iron"], *WIDE[1:]], SheetLayout(tables=(TableAnswer(
        fingerprints=(fingerprint_of([[*WIDE[0][:3], "Iron"], *WIDE[1:]]),),
        columns=(ColumnAnswer(heading="Lead", role="remark", replace=True),)),)))  # fmt: skip
    assert table_of(gone, "cell") == [("D2",), ("D3",)]
    assert roles_of(gone)["C2"] == "remark"
    assert "2 cell(s) are no results only because" in next(
        f.message for f in gone.findings if f.code == "layout replaced"
    )


def test_a_told_row_of_headings_is_not_used_where_it_would_lose_results() -> None:
    table = TableAnswer(fingerprints=(fingerprint_of(WIDE),), header=3)
    read = read_rows(WIDE, SheetLayout(tables=(table,)))
    assert table_of(read, "cell") == table_of(read_rows(WIDE), "cell")
    assert [f.severity for f in read.findings if f.code == "layout not used"] == ["hold"]


def test_columns_can_be_told_where_the_reader_finds_no_table() -> None:
    rows = [["Vzorec", "Svinec", "Baker"], ["V-1", 3, 0.1], ["V-2", "<1", 0.2]]
    assert read_rows(rows).readings.empty
    columns = (
        ColumnAnswer(heading="Vzorec", role="sample"),
        ColumnAnswer(heading="Svinec", role="analyte", parameter="lead", unit="µg/L"),
        ColumnAnswer(heading="Baker", role="analyte", parameter="copper", unit="mg/L"),
    )
    table = TableAnswer(fingerprints=(fingerprint_of(rows),), header=1, columns=columns)
    read = read_rows(rows, SheetLayout(tables=(table,)))
    assert table_of(read, "sample", "parameter", "reported", "unit") == [
        ("V-1", "lead", "3", "µg/L"), ("V-1", "copper", "0.1", "mg/L"),
        ("V-2", "lead", "<1", "µg/L"), ("V-2", "copper", "0.2", "mg/L"),
    ]  # fmt: skip


def test_order_of_dates_and_decimal_mark_are_supplied_only_where_the_sheet_proves_none() -> None:
    layout = SheetLayout(dates={"sampled_at": "mdy"}, decimal=",")
    open_ones = [["Sample", "Date", "Lead (µg/L)"], ["S-1", "03/04/2026", "27,385"], ["S-2", "05/06/2026", "1.234"]]
    assert table_of(read_rows(open_ones), "sampled_at", "value") == [(None, None), (None, 1.234)]
    assert table_of(read_rows(open_ones, layout), "sampled_at", "value") == [
        ("2026-03-04", 27.385), ("2026-05-06", 1234.0),
    ]  # fmt: skip
    proven = [["Sample", "Date", "Lead (µg/L)"], ["S-1", "13/04/2026", "0.5"], ["S-2", "05/06/2026", "27,385"]]
    read = read_rows(proven, layout)
    assert table_of(read, "sampled_at", "value") == [("2026-04-13", 0.5), ("2026-06-05", 27385.0)]
    assert "layout not used" in said(read)


def test_years_of_two_digits_in_front_are_read_where_a_layout_says_so() -> None:
    rows = [["Sample", "Date", "Lead (µg/L)"], ["S-1", "26/03/04", 1], ["S-2", "26/03/15", 2]]
    read = read_rows(rows, SheetLayout(dates={"sampled_at": "ymd"}))
    assert table_of(read, "sampled_at") == [("2026-03-04",), ("2026-03-15",)]


def test_words_signs_bases_volumes_and_points_are_supplied() -> None:
    rows = [
        ["Point", "Parameter", "Result", "Unit", "Flag"], ["Nach RO", "Nitrate", 5, "mg/L", None],
        ["Nach RO", "Lead", "n.q.", "µg/L", None], ["Nach RO", "Iron", 0.01, "mg/Ltr?", "K9"],
        ["Abfüller", "E. coli", "absent", None, None], ["Abfüller", "Zinc", "q.u.", "mg/L", None],
    ]  # fmt: skip
    layout = SheetLayout(
        bases={"nitrate": TextAnswer(text="NO3")}, volumes={"escherichia_coli": VolumeAnswer(volume_ml=250)},
        words={"n.q.": "not detected", "q.u.": "not tested"}, signs={"k9": "<"}, unit_spellings={"mg/ltr?": "mg/L"},
        points={"nach ro": PointAnswer(point="SP5", stage="reverse osmosis"), "Abfüller": PointAnswer(point="SP9")},
    )  # fmt: skip
    read = read_rows(rows, layout)
    assert table_of(read, "point", "stage", "parameter", "sign", "unit", "basis", "volume_ml") == [
        ("SP5", "reverse osmosis", "nitrate", "=", "mg/L", "NO3", None),
        ("SP5", "reverse osmosis", "lead", "<", "µg/L", None, None),
        ("SP5", "reverse osmosis", "iron", "<", "mg/L", None, None),
        ("SP9", None, "escherichia_coli", "absent", "count", None, 250.0),
        ("SP9", None, "zinc", "not done", "mg/L", None, None),
    ]


# ---- near names


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("Arsenik", "arsenic"), ("Sulphte", "sulfate"), ("Total colifroms", "total_coliforms"),
        ("Chlordie", "chloride"),
        ("Heavy stuff (Pb)", "lead"), ("7439921", "lead"), ("Hexaclorbutadieno", "hexachlorobutadiene"),
    ],
)  # fmt: skip
def test_a_misspelt_name_is_offered_and_never_applied(text: str, code: str) -> None:
    """The CAS number of lead is 7439-92-1 (CAS registry); the misspellings are invented."""
    assert code in nearest_parameters(text)
    read = read_rows([["Sample", "Parameter", "Result", "Unit"], ["S", text, 1, "mg/L"], ["S", "Iron", 2, "mg/L"]])
    assert table_of(read, "parameter") == [(None,), ("iron",)]


@given(st.sampled_from(sorted(aliases())), st.integers(0, 30), st.sampled_from("qxz"))
@settings(max_examples=60, deadline=None)
def test_no_near_miss_is_applied(name: str, place: int, letter: str) -> None:
    spoilt = f"{name[: place % len(name)]}{letter}{name[place % len(name) :]}"
    offered = nearest_parameters(spoilt)
    assert set(offered) <= set(catalogue())
    rows = [["Sample", "Parameter", "Result", "Unit"], ["S", f"{spoilt}qqx", 1, "mg/L"], ["S", "Iron", 2, "mg/L"]]
    assert table_of(read_rows(rows), "parameter")[0] == (None,)


def test_tables_of_a_book_are_found_as_they_are_read() -> None:
    book = open_book(("book.xlsx", xlsx_bytes({"Results": WIDE})))
    assert [table.fingerprint for table in find_tables(book.sheets[0])] == [fingerprint_of(WIDE)]


def test_explain_due_and_the_record_store_apply_the_layout_of_the_folder(tmp_path: Path) -> None:
    """WHO, Guidelines, 4th ed. with addenda, Table A3.3: lead of 20 µg/L is above 10 µg/L."""
    rows: list[Row] = [["Sample", "Date", "Lead"], ["S-1", "2026-03-25", 20], ["S-2", "2026-03-26", 2]]
    folder, book, store = tmp_path / "own", tmp_path / "book.xlsx", str(tmp_path / "records.sqlite")
    folder.mkdir()
    table = TableAnswer(fingerprints=(fingerprint_of(rows),))
    save_layout(
        SheetLayout(name="Coast lab", units={"lead": TextAnswer(text="µg/L")}, tables=(table,)), folder / "coast.toml"
    )
    book.write_bytes(xlsx_bytes({"Results": rows}))
    with_layout = ["--limits", "who_gdwq_2022", "--layouts", str(folder)]

    def said(*words: str) -> str:
        return CliRunner().invoke(app, [*words], catch_exceptions=False).output

    working = said("explain", str(book), "--cell", "C2", *with_layout)
    assert "fail" in working
    assert "'Coast lab' was applied" in said("due", str(book), *with_layout)
    assert said("records", "init", "--store", store)
    took = said("records", "import", str(book), *with_layout, "--batch", "B-1", "--as", "Ada", "--store", store)
    assert "batch B-1: taken in, check 1" in took
    assert "'Coast lab' was applied" in took
    assert "sound" in said("records", "verify", "--store", store)
