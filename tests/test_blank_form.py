"""The request sheet asks for what the tables limit, and filled in it is read back without a finding."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from datetime import date, datetime
from functools import cache
from io import BytesIO
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl.worksheet.worksheet import Worksheet
from typer.testing import CliRunner, Result

from wqcheck.batch import check_workbook
from wqcheck.cli import app
from wqcheck.errors import WqcheckError
from wqcheck.findings import Severity
from wqcheck.forms.blank_form import BlankForm, FormLine, blank_form, required_only
from wqcheck.forms.notes import BOTTLE_LETTERS, bottle_rows
from wqcheck.forms.sample_bottles import all_bottles, bottle_for
from wqcheck.forms.workbook import BOTTLES, FIRST_ROW, FREE_ROWS, HEADER_ROW, NOTES, SHEET, form_bytes
from wqcheck.limit_tables.loading import covers, load_limits, shipped_tables
from wqcheck.release.decision import BatchCheck, BatchDetails, Disposition
from wqcheck.sheets import ReadResult, read_workbook
from wqcheck.tables import Product, Readings, Sign
from wqcheck.units import recognise_unit

SAMPLES = Path(__file__).resolve().parent.parent / "sample_results"
TRAIN = SAMPLES / "train.toml"
DAY = date(2026, 6, 16)
OUR_TABLES: tuple[str | Path, ...] = ("who_gdwq_2022", "us_21cfr165_110b", SAMPLES / "plant_specification.csv")
COVERED = [(name, kind) for name in shipped_tables() for kind in Product if covers(load_limits(name), kind)]
BLOCK = {
    "Address": "Quay Road 4, Port Almara, Sorrel coast (invented)", "Batch": "B2301", "Product": "Still water, 1.5 L",
    "Line": "Line 1", "Tank": "Tank T-20", "Run start": datetime(2026, 6, 16, 6, 10),
    "Run end": datetime(2026, 6, 16, 11, 40), "Volume bottled": "27,360 L", "Containers": "18,240 bottles",
    "Container code": "B2301 L1", "Best before": datetime(2027, 6, 16), "Sample ID": "26-06-1187",
    "Sampled": datetime(2026, 6, 16, 8, 40), "Sampled by": "Shift sampler 2 (invented)",
    "Received": datetime(2026, 6, 16, 10, 50), "Laboratory": "Sorrel Coast Water Laboratory (invented)",
    "Report number": "SCW-2026-0533",
}  # fmt: skip


@cache
def our_form() -> BlankForm:
    return blank_form(OUR_TABLES, product="purified", train=TRAIN, rules=None, on=DAY)


@cache
def form_of(table: str, kind: Product) -> BlankForm:
    return blank_form([table], product=kind, train=None, rules=None, on=DAY)


def sheet_of(form: BlankForm) -> tuple[openpyxl.Workbook, Worksheet]:
    book = openpyxl.load_workbook(BytesIO(form_bytes(form)))
    sheet = book[SHEET]
    assert isinstance(sheet, Worksheet)
    return book, sheet


def columns_of(sheet: Worksheet) -> dict[str, int]:
    return {str(cell.value): int(cell.column or 0) for cell in sheet[HEADER_ROW]}


def filled(form: BlankForm, rows: Mapping[str, Mapping[str, object]], block: Mapping[str, object] = BLOCK) -> bytes:
    """Fill in the form as a laboratory does: *rows* are heading → value by parameter code."""
    book, sheet = sheet_of(form)
    for label, value in block.items():
        head = next(cell for row in sheet["A1:L10"] for cell in row if cell.value == label)
        spans = {str(area).split(":")[0]: area for area in sheet.merged_cells.ranges}
        after = spans[head.coordinate].max_col if head.coordinate in spans else head.column
        sheet.cell(head.row, after + 1).value = value  # type: ignore[assignment]
    for row, line in enumerate(form.lines, start=FIRST_ROW):
        for heading, value in rows.get(line.code, {}).items():
            sheet.cell(row, columns_of(sheet)[heading]).value = value  # type: ignore[assignment]
    return saved(book)


def saved(book: openpyxl.Workbook) -> bytes:
    buffer = BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def read(content: bytes) -> ReadResult:
    return read_workbook(("form.xlsx", content))


def said(result: ReadResult) -> list[tuple[str, str, str]]:
    """Return the findings beyond the notes that the two sheets of words hold no results, and on lines left blank."""
    silent = {f"form.xlsx|{name}" for name in (BOTTLES, NOTES)}
    return [
        (found.code, found.where, found.given)
        for found in result.findings
        if not (found.code == "no results" and found.severity == Severity.NOTE and found.where in silent)
        and found.code != "no result given"
    ]


def by_code(result: ReadResult) -> Mapping[str, pd.Series]:
    return {str(row[Readings.parameter]): row for _, row in result.readings.iterrows()}


def good(lines: Iterable[FormLine]) -> Iterator[tuple[str, dict[str, object]]]:
    """Yield a result well within the strictest limit for each line."""
    usual = {"electrical_conductivity": 68, "total_dissolved_solids": 40, "ph": 6.8}
    for line in lines:
        number = re.search(r"\d[\d.e-]*", line.limit)
        small = float(number[0]) / 1000 if number and "part of" not in line.limit else 1e-6
        yield line.code, {"Result": usual.get(line.code, "absent" if "none" in line.limit else small)}


def check(content: bytes) -> BatchCheck:
    return check_workbook(
        [("form.xlsx", content)], details=BatchDetails(batch="", product="purified"), limits=OUR_TABLES, train=TRAIN,
        rules=None, on=DAY, product="purified",
    )  # fmt: skip


def test_a_blank_form_has_no_results_and_says_so() -> None:
    result = read(form_bytes(our_form()))
    assert result.readings.empty
    holds = [found for found in result.findings if found.severity == Severity.HOLD]
    assert [found.code for found in holds] == ["no results"]
    assert {found.code for found in result.findings} == {"no results"}
    assert result.labels == {"plant": "Port Almara bottling plant (invented), Sorrel coast (invented)"}
    ledger = result.ledger()
    assert len(ledger) == result.cells
    assert set(ledger["sheet"]) == {SHEET, BOTTLES, NOTES}
    assert ledger["reason"].str.len().gt(0).all()


@pytest.mark.parametrize(("table", "kind"), COVERED)
def test_every_name_and_unit_of_the_form_is_recognised(table: str, kind: Product) -> None:
    """One number a line, over every shipped table and kind of water: it comes back as what was asked for."""
    form = form_of(table, kind)
    result = read(filled(form, {line.code: {"Result": 1} for line in form.lines}))
    assert said(result) == []
    rows = result.readings
    asked = [recognise_unit(line.unit) for line in form.lines]
    assert rows[Readings.parameter].tolist() == [line.code for line in form.lines]
    assert rows[Readings.unit].tolist() == [unit.label for unit in asked]
    assert rows[Readings.basis].fillna("").tolist() == [unit.basis for unit in asked]
    volumes = pd.Series([unit.volume_ml for unit in asked], dtype="float64")
    pd.testing.assert_series_equal(rows[Readings.volume_ml], volumes, check_names=False)
    pd.testing.assert_series_equal(volumes, pd.Series([line.volume_ml for line in form.lines], dtype="float64"))
    for line in form.lines:
        assert line.unit == line.choices[0]
        assert all(recognise_unit(choice).label for choice in line.choices)


RESULTS = st.one_of(
    st.integers(0, 9_999).map(lambda number: (number, Sign.EQUAL, float(number))),
    st.floats(1e-4, 1e4).map(lambda number: round(number, 5)).map(lambda number: (number, Sign.EQUAL, number)),
    st.integers(1, 999).map(lambda number: (f"<{number / 100}", Sign.LESS, number / 100)),
    st.sampled_from([
        (">2419", Sign.GREATER, 2419.0), ("TNTC", Sign.GREATER, None), ("absent", Sign.ABSENT, None),
        ("present", Sign.PRESENT, None), ("not tested", Sign.NOT_DONE, None), (None, None, None),
    ]),
)  # fmt: skip


@settings(max_examples=15, deadline=None)
@given(data=st.data())
def test_any_mixture_of_results_comes_back_cell_for_cell(data: st.DataObject) -> None:
    table, kind = data.draw(st.sampled_from(COVERED))
    form = required_only(form_of(table, kind))
    given = {line.code: data.draw(RESULTS) for line in form.lines}
    result = read(filled(form, {code: {"Result": text} for code, (text, _, _) in given.items()}))
    expected = {code: (sign, value) for code, (_, sign, value) in given.items() if sign not in {None, Sign.NOT_DONE}}
    if not expected:
        assert [code for code, _, _ in said(result)] in (["no results"], ["no results", "no results"])
        return
    assert said(result) == []
    rows = result.readings
    signs = dict(zip(rows[Readings.parameter], rows[Readings.sign], strict=True))
    assert signs == {code: sign for code, (sign, _) in expected.items()}
    values = dict(zip(rows[Readings.parameter], rows[Readings.value], strict=True))
    for code, (_, value) in expected.items():
        assert values[code] == value if value is not None else pd.isna(values[code])


@pytest.mark.parametrize("label", BLOCK)
def test_each_label_is_read_when_all_others_are_blank(label: str) -> None:
    form = required_only(our_form())
    result = read(filled(form, {"ph": {"Result": 7.1}}, {label: BLOCK[label]}))
    assert said(result) == []
    known = {**result.labels, **{str(name): str(cell) for name, cell in result.readings.iloc[0].items()}}
    role = {"Volume bottled": "volume", "Container code": "container_codes", "Sample ID": "sample"}
    role |= {"Sampled": "sampled_at", "Received": "received_at", "Laboratory": "lab"}
    if label == "Report number":
        assert BLOCK[label] in set(result.ledger()["text"])
        return
    given = BLOCK[label]
    assert known[role.get(label, label.lower().replace(" ", "_"))].startswith(str(given).removesuffix(" 00:00:00"))


def test_everything_around_the_results_is_read() -> None:
    form = our_form()
    rows: dict[str, dict[str, object]] = {
        "escherichia_coli": {"Result": "absent", "Method": "ISO 9308-1", "Analysed": datetime(2026, 6, 16, 12, 50)},
        "total_coliforms": {"Result": "TNTC"},
        "pseudomonas_aeruginosa": {"Result": "not tested"},
        "turbidity": {"Result": 0.12, "LOQ": 0.05, "Uncertainty": "15%"},
        "electrical_conductivity": {"Result": 68, "Uncertainty": "2"},
        "nitrate": {"Result": "<0.5", "LOQ": 0.5},
        "lead": {"Result": "<0.2", "Unit": "mg/L", "Sample ID": "26-06-1190", "Sampling point": "SP6 – RO permeate"},
    }
    result = read(filled(form, rows))
    assert said(result) == []
    found = by_code(result)
    assert set(found) == set(rows) - {"pseudomonas_aeruginosa"}
    ledger = result.ledger()
    assert ledger.loc[ledger["text"] == "not tested", "role"].tolist() == ["not tested"]
    coli, lead = found["escherichia_coli"], found["lead"]
    assert (coli[Readings.sign], coli[Readings.unit], coli[Readings.volume_ml]) == (Sign.ABSENT, "CFU", 250)
    assert coli[Readings.analysed_at] == pd.Timestamp("2026-06-16 12:50")
    assert (coli[Readings.method], coli[Readings.lab]) == ("ISO 9308-1", BLOCK["Laboratory"])
    assert (found["total_coliforms"][Readings.sign], found["nitrate"][Readings.sign]) == (Sign.GREATER, Sign.LESS)
    assert (found["nitrate"][Readings.unit], found["nitrate"][Readings.basis]) == ("mg/L", "NO3")
    assert found["turbidity"][Readings.uncertainty] == pytest.approx(0.018)
    assert found["electrical_conductivity"][Readings.basis] == "25 °C"
    assert (lead[Readings.unit], lead[Readings.sample], lead[Readings.point]) == (
        "mg/L", "26-06-1190", "SP6 – RO permeate",
    )  # fmt: skip
    others = result.readings[result.readings[Readings.parameter] != "lead"]
    for column, value in (
        (Readings.sample, "26-06-1187"), (Readings.point, "FP – finished product"), (Readings.batch, "B2301"),
        (Readings.sampled_at, pd.Timestamp("2026-06-16 08:40")),
        (Readings.received_at, pd.Timestamp("2026-06-16 10:50")),
    ):  # fmt: skip
        assert (others[column] == value).all(), column


def test_a_form_with_all_good_results_leads_to_a_release() -> None:
    form = our_form()
    checked = check(filled(form, dict(good(form.lines))))
    assert checked.decision.disposition == Disposition.RELEASE, checked.decision.reasons
    assert [found for found in checked.findings if found.severity == Severity.HOLD] == []
    assert checked.decision.not_tested == ()
    details = checked.details
    assert (details.batch, details.line, details.tank) == ("B2301", "Line 1", "Tank T-20")
    assert (details.run_start, details.best_before) == ("2026-06-16 06:10:00", "2027-06-16")
    assert (details.product_name, details.volume, details.containers) == (
        "Still water, 1.5 L", "27,360 L", "18,240 bottles",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("result", "disposition"),
    [("TNTC", Disposition.REJECT), ("present", Disposition.REJECT), ("not tested", Disposition.HOLD)],
)
def test_one_bad_result_on_the_form_is_not_lost(result: str, disposition: Disposition) -> None:
    form = required_only(our_form())
    rows = dict(good(form.lines)) | {"escherichia_coli": {"Result": result}}
    assert check(filled(form, rows)).decision.disposition == disposition


def test_what_is_required_stands_first_and_says_so() -> None:
    lines = our_form().lines
    assert [line.code for line in lines[:7]] == [
        "escherichia_coli", "total_coliforms", "pseudomonas_aeruginosa", "turbidity", "ph", "electrical_conductivity",
        "total_dissolved_solids",
    ]  # fmt: skip
    assert lines[0].need == "required"
    assert lines[5].need == "required, or total dissolved solids"
    assert not any(line.need for line in lines[7:])
    assert len({line.code for line in lines}) == len(lines)
    assert [line.code for line in required_only(our_form()).lines] == [line.code for line in lines[:7]]


def test_a_required_sum_is_asked_for_by_its_members(tmp_path: Path) -> None:
    """Total trihalomethanes are the four of Directive (EU) 2020/2184, annex I, part B, note 7."""
    rules = tmp_path / "rules.toml"
    shipped = (SAMPLES.parent / "limits" / "release_rules.toml").read_text(encoding="utf-8")
    rules.write_text(
        shipped.replace('packaged = [\n    "escherichia_coli"', 'packaged = [\n    "trihalomethanes_total"')
    )
    form = required_only(blank_form(["eu_2020_2184"], product="packaged", train=None, rules=rules, on=DAY))
    assert {line.code for line in form.lines[:4]} == {
        "chloroform", "bromoform", "dibromochloromethane", "bromodichloromethane",
    }  # fmt: skip
    assert {line.limit for line in form.lines[:4]} == {"part of trihalomethanes (total)"}
    assert "trihalomethanes_total" not in {line.code for line in form.lines}


@pytest.mark.parametrize(
    ("table", "kind", "code", "unit", "limit"),
    [
        # Directive (EU) 2020/2184, annex I, parts A to C
        ("eu_2020_2184", "packaged", "nitrate", "mg/L as NO3", "at most 50"),
        ("eu_2020_2184", "packaged", "escherichia_coli", "CFU/250 mL", "none in 250 mL"),
        ("eu_2020_2184", "tap", "escherichia_coli", "CFU/100 mL", "none in 100 mL"),
        ("eu_2020_2184", "tap", "electrical_conductivity", "µS/cm at 20 °C", "at most 2500"),
        ("eu_2020_2184", "tap", "ph", "pH", "6.5 to 9.5"),
        ("eu_2020_2184", "tap", "benzo_a_pyrene", "µg/L", "at most 0.01"),
        # 21 CFR 165.110(b)(4)(iii): lead 0.005 mg/L, nitrate 10 mg/L as nitrogen
        ("us_21cfr165_110b", "packaged", "lead", "µg/L", "at most 5"),
        ("us_21cfr165_110b", "packaged", "nitrate", "mg/L as N", "at most 10"),
        # Guidelines for drinking-water quality, 4th edition, table A3.3: arsenic 0.01 mg/L, fluoride 1.5 mg/L
        ("who_gdwq_2022", "packaged", "arsenic", "µg/L", "at most 10"),
        ("who_gdwq_2022", "packaged", "fluoride", "mg/L", "at most 1.5"),
        # Directive 98/83/EC, annex I, part A asks 250 mL of water in bottles; no limit of this table binds the organism
        ("who_gdwq_2022", "packaged", "pseudomonas_aeruginosa", "CFU/250 mL", ""),
    ],
)
def test_unit_and_strictest_limit_are_those_of_the_text(
    table: str, kind: str, code: str, unit: str, limit: str
) -> None:
    line = next(line for line in form_of(table, Product(kind)).lines if line.code == code)
    assert (line.unit, line.limit) == (unit, limit)


def test_the_strictest_of_several_tables_is_shown() -> None:
    """Lead: 10 µg/L in the WHO guidelines, 5 µg/L in 21 CFR 165.110(b). Nitrate: 10 mg/L as N is below 50 as NO3."""
    lines = {line.code: line for line in our_form().lines}
    assert lines["lead"].limit == "at most 5"
    assert (lines["nitrate"].unit, lines["nitrate"].limit) == ("mg/L as NO3", "at most 10 mg/L as N")
    assert lines["escherichia_coli"].limit == "none in 250 mL"


def test_limits_out_of_force_are_not_asked_for(tmp_path: Path) -> None:
    text = (SAMPLES / "plant_specification.csv").read_text(encoding="utf-8")
    table = tmp_path / "own.csv"
    table.write_text(text.replace("health,,,,", "health,,2027-01-01,,"), encoding="utf-8")
    codes = [
        {line.code for line in blank_form([table], product="purified", train=None, rules=None, on=day).lines}
        for day in (DAY, date(2027, 1, 1))
    ]
    assert codes[1] - codes[0] == {"bromate"}


@pytest.mark.parametrize(
    ("code", "start"),
    [
        ("escherichia_coli", "30 hours"),  # 40 CFR 141.852(a)(3)
        ("ph", "15 minutes"),  # this and the next: 40 CFR 136.3, Table II
        ("total_chlorine", "15 minutes"),
        ("colour", "48 hours"),
        ("turbidity", "48 hours"),
        ("hexavalent_chromium", "28 days"),
        ("cyanide", "14 days"),
        ("ammonium", "28 days"),
        ("lead", "6 months"),  # Wisconsin Administrative Code NR 809.113, Table B
    ],
)
def test_hints_on_bottles_are_those_of_the_source(code: str, start: str) -> None:
    assert bottle_for(code).start_within.startswith(start)


def test_every_bottle_has_a_letter_a_source_and_its_tests() -> None:
    bottles = all_bottles()
    assert len(bottles) <= len(BOTTLE_LETTERS)
    assert len({bottle.name for bottle in bottles}) == len(bottles)
    assert all(bottle.source and bottle.container and bottle.start_within for bottle in bottles)
    rows = list(bottle_rows(our_form()))
    assert sum(int(row[1].split(" ")[0]) for row in rows) == len(our_form().lines)
    assert "1,101 mL" in rows[0][3]  # four organisms in 250 mL, one in 100 mL, a plate count in 1 mL


def test_the_sheet_helps_to_fill_it_in() -> None:
    form = our_form()
    book, sheet = sheet_of(form)
    assert book.sheetnames == [SHEET, BOTTLES, NOTES]
    assert sheet.freeze_panes == f"D{FIRST_ROW}"
    last = HEADER_ROW + len(form.lines) + FREE_ROWS
    assert sheet.print_area == f"'{SHEET}'!$A$1:$L${last}"
    assert sheet.print_title_rows == f"${HEADER_ROW}:${HEADER_ROW}"
    rules = {str(rule.sqref): rule for rule in sheet.data_validations.dataValidation}
    offered = rules[f"B{FIRST_ROW}:B{last}"]
    area = offered.formula1.partition("!")[2].replace("$", "")
    assert [row[0].value for row in book[NOTES][area]] == list(form.points)
    for heading, column in columns_of(sheet).items():
        if heading in {"Result", "Unit"}:
            covered = {cell for rule in rules.values() for cells in rule.sqref.ranges for cell in cells.cells}
            assert {(row, column) for row in range(FIRST_ROW, FIRST_ROW + len(form.lines))} <= covered
    assert all(len(rule.formula1) <= 257 for rule in rules.values())  # 255 characters and two quotation marks, ECMA-376
    assert all(cell.data_type != "f" for name in book.sheetnames for row in book[name].iter_rows() for cell in row)


def test_a_name_that_begins_like_a_formula_stays_text(tmp_path: Path) -> None:
    train = tmp_path / "train.toml"
    train.write_text(TRAIN.read_text(encoding="utf-8").replace('name = "Port', 'name = "=1+1 Port'), encoding="utf-8")
    form = blank_form(OUR_TABLES, product="purified", train=train, rules=None, on=DAY)
    _, sheet = sheet_of(form)
    plant = sheet["B4"]
    assert (plant.data_type, str(plant.value)[:4], plant.quotePrefix) == ("s", "=1+1", True)


def run(*arguments: object) -> Result:
    return CliRunner().invoke(app, ["form", *(str(argument) for argument in arguments)])


def test_the_command_writes_a_form_once(tmp_path: Path) -> None:
    out = tmp_path / "new" / "form.xlsx"
    asked = ["--limits", "who_gdwq_2022", "--limits", "us_21cfr165_110b", "--product", "purified", "--train", TRAIN]
    done = run(*asked, "--required-only", "--out", out)
    assert done.exit_code == 0
    assert "7 parameters, 7 of them required" in done.stdout
    before = out.read_bytes()
    assert read_workbook(out).readings.empty
    again = run(*asked, "--out", out)
    assert isinstance(again.exception, WqcheckError)
    assert "may hold results" in str(again.exception)
    assert out.read_bytes() == before


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["--limits", "who_gdwq_2022", "--product", "holy", "--out", "form.xlsx"], "product must be one of"),
        (["--limits", "us_40cfr141_143", "--product", "packaged", "--out", "form.xlsx"], "no limit for packaged water"),
        (["--limits", "who_gdwq_2022", "--product", "tap", "--out", "form.csv"], "ends in .xlsx"),
    ],
)
def test_what_cannot_be_asked_for_is_refused_in_a_sentence(
    arguments: list[str], sentence: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    done = run(*arguments)
    assert isinstance(done.exception, WqcheckError)
    assert sentence in str(done.exception)
    assert list(tmp_path.iterdir()) == []
