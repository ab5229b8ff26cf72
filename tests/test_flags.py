"""The flags of a batch are all that asks for a person, worst first, each with its working and what to do next."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pandas as pd
import pytest
from pandera.typing import DataFrame

from tests.table_rows import judged_of, readings_of
from wqcheck.batch import check_workbook
from wqcheck.certificate_files.flag_list import csv_bytes, flag_list, workbook_bytes
from wqcheck.findings import Finding, Severity
from wqcheck.limit_tables.loading import load_limits
from wqcheck.parameters import catalogue
from wqcheck.release.asked import Asked, asked
from wqcheck.release.decision import BatchCheck, BatchDetails, Disposition
from wqcheck.release.flag_steps import flag_steps
from wqcheck.release.flags import KIND_OF, FlagKind, Flags, flags, of_tables
from wqcheck.release.next_steps import DEFERENCE, NO_UNIT, PRACTICE, SMALL_VOLUME, next_steps, step_rows, suspects_for
from wqcheck.release.reasons import NO_LIMIT, NO_RESULT, NOT_COMPARED, Reason
from wqcheck.sheets.opening import open_book
from wqcheck.sheets.surroundings import cell_places, cell_position, first_cell, surroundings
from wqcheck.statistics.series_units import in_limit_unit
from wqcheck.tables import Judged, Sign, StageVerdicts, Verdict
from wqcheck.train.commissioning import commission
from wqcheck.train.description import load_train
from wqcheck.train.expectations import load_expectations
from wqcheck.train.kinds import KINDS
from wqcheck.train.stage_verdicts import judge_stages

ROOT = Path(__file__).resolve().parent.parent
SAMPLES, SHIPPED = ROOT / "sample_results", ROOT / "limits"
DAY = date(2026, 6, 18)


@cache
def sample(name: str) -> BatchCheck:
    """Check one workbook of the sample plant against its own specification and two shipped tables."""
    return check_workbook(
        [SAMPLES / name], details=BatchDetails(batch="", product="purified"),
        limits=["who_gdwq_2022", "us_21cfr165_110b", SAMPLES / "plant_specification.csv"],
        train=SAMPLES / "train.toml", rules=None, on=DAY, product="purified",
    )  # fmt: skip


def stages_of(check: BatchCheck) -> DataFrame[StageVerdicts]:
    return judge_stages(check.stages, load_expectations().rows)


def rows(found: pd.DataFrame) -> list[dict[Any, Any]]:
    return found.to_dict("records")


def test_what_rejects_stands_before_what_holds_and_that_before_what_informs() -> None:
    found = flags(sample("run_B2108_trouble.xlsx"))
    order = [["reject", "hold", "release"].index(word) for word in found[Flags.leads_to]]
    assert order == sorted(order)
    assert list(found[Flags.name][:2]) == ["arsenic", "arsenic"]
    holding = found[found[Flags.leads_to].eq("hold")]
    assert list(holding[Flags.kind].unique()) == [FlagKind.REQUIRED, FlagKind.UNDECIDED]
    assert list(holding[Flags.name][:1]) == ["Escherichia coli"]
    undecided = holding[holding[Flags.kind].eq(FlagKind.UNDECIDED)][Flags.limit_class]
    assert list(undecided.unique()) == ["health", "microbiological", "acceptability", "operational"]


def limits_asked() -> DataFrame[Asked]:
    names = (SHIPPED / "who_gdwq_2022.csv", SHIPPED / "us_21cfr165_110b.csv", SAMPLES / "plant_specification.csv")
    return asked([load_limits(path) for path in names], "purified")


def test_a_missing_organism_has_class_tables_and_what_to_order() -> None:
    """WHO Guidelines, Table 7.10 (2022): E. coli not detectable in any 100 mL sample; a plan of 250 mL is stricter."""
    check, limits = sample("run_B2108_trouble.xlsx"), limits_asked()
    found = flags(check, limits=limits)
    missing = found[found[Flags.kind].eq(FlagKind.REQUIRED)].iloc[0]
    assert (missing[Flags.name], missing[Flags.limit_class]) == ("Escherichia coli", "microbiological")
    assert {"who_gdwq_2022", "plant_specification"} <= set(missing[Flags.table].split("; "))
    kept = found[of_tables(found, ["who_gdwq_2022"])]
    assert "Escherichia coli" in set(kept[Flags.name])
    assert "heterotrophic plate count 22 °C" not in set(kept[Flags.name])
    steps = {step.title: step.text for step in flag_steps(check, missing.to_dict(), None, limits)}
    assert "who_gdwq_2022: absent in 100 mL (microbiological)" in steps["limits"]
    assert "plant_specification: absent in 250 mL (microbiological)" in steps["limits"]
    assert steps["order"] == "a test that examines at least 250 mL"
    assert [*steps][-1] == "verdict"


def test_e_coli_stands_before_other_missing_organisms() -> None:
    check = sample("run_B2108_trouble.xlsx")
    first, second = (
        Reason(disposition=Disposition.HOLD, code=NO_RESULT, message="is required", parameter=code)
        for code in ("enterococci", "escherichia_coli")
    )
    both = replace(check, decision=replace(check.decision, reasons=(first, second)))
    found = flags(both)
    missing = found[found[Flags.kind].eq(FlagKind.REQUIRED)]
    assert list(missing[Flags.parameter]) == ["escherichia_coli", "enterococci"]


def test_what_only_informs_never_reads_as_release() -> None:
    """Of an untested parameter no working and no list says that it leads to release."""
    check = sample("run_B2108_trouble.xlsx")
    found = flags(check)
    untested = found[found[Flags.kind].eq(FlagKind.NOT_TESTED)]
    assert len(untested)
    assert set(flag_list(untested, check.judged)["leads to"]) == {"to know"}
    assert not any("release" in step.text.split(";")[0] for step in flag_steps(check, rows(untested)[0]))
    assert "does not hold the batch" in flag_steps(check, rows(untested)[0])[-1].text


def test_every_reason_against_the_batch_is_a_flag() -> None:
    """Nothing that rejects or holds is left out of the list, and nothing is in it twice."""
    check = sample("run_B2108_trouble.xlsx")
    found = flags(check)
    against = [reason for reason in check.decision.reasons if reason.disposition != Disposition.RELEASE]
    listed = found[found[Flags.leads_to].ne("release")]
    assert len(listed) == len(against)
    assert set(listed[Flags.where]) == {reason.where for reason in against}
    flagged = check.judged[Judged.verdict].isin([str(verdict) for verdict in KIND_OF])
    assert sorted(found[Flags.row][found[Flags.row].ge(0)]) == list(np.flatnonzero(flagged))
    assert int(found[Flags.kind].eq(FlagKind.NOT_TESTED).sum()) == len(check.decision.not_tested)


def test_a_finding_that_holds_is_a_flag_and_a_note_is_none() -> None:
    check = sample("run_B2107_clean.xlsx")
    hold = Finding(code="unit slip", severity=Severity.HOLD, message="a factor of 1000", where="b|S!C3", given="12")
    note = replace(hold, severity=Severity.NOTE, code="hardness")
    found = flags(replace(check, findings=(hold, note)))
    told = found[found[Flags.kind].eq(FlagKind.FINDING)]
    assert [tuple(row) for row in told[[Flags.code, Flags.where, Flags.reported]].to_numpy()] == [
        ("unit slip", "b|S!C3", "12")
    ]
    steps = [step.text for step in next_steps(rows(told)[0])]
    assert any("unit" in step for step in steps)
    assert "holds the batch; holds the batch" in flag_steps(check, rows(told)[0])[-1].text


def test_a_row_without_a_reason_of_the_decision_holds() -> None:
    """A flag whose weight is not known never informs only."""
    check = replace(sample("run_B2108_trouble.xlsx"))
    silent = replace(check, decision=replace(check.decision, reasons=()))
    found = flags(silent)
    assert set(found[Flags.leads_to][found[Flags.row].ge(0)]) == {"hold"}


def test_weak_stages_are_flags_that_decide_nothing() -> None:
    check = sample("commissioning_crosstab.xlsx")
    stages = stages_of(check)
    found = flags(check, stages)
    weak = found[found[Flags.kind].eq(FlagKind.STAGE)]
    assert list(weak[Flags.stage].unique()) == ["product tank"]
    assert set(weak[Flags.leads_to]) == {"release"}
    assert set(weak[Flags.where]) == {"Commissioning!J42", "Commissioning!J43"}
    steps = {step.title: step.text for step in flag_steps(check, rows(weak)[0], stages)}
    assert steps["before"].startswith("3 CFU/1 mL at SP6")
    assert steps["usual"] == "a rise of at most 0.5 log (common practice, no source)"
    report = commission(check.readings, load_train(SAMPLES / "train.toml"), load_expectations())
    suspects = suspects_for(rows(weak)[0], report.suspects, stages)
    told = [step.text for step in next_steps(rows(weak)[0], stage_kind="tank", suspects=suspects)]
    assert any(text.startswith("Look at product tank: Bacteria grow in product tank.") for text in told)


def test_nothing_flagged_is_an_empty_table() -> None:
    check = sample("run_B2107_clean.xlsx")
    calm = replace(check, judged=judged_of([{"verdict": "pass"}]), findings=(),
                   decision=replace(check.decision, reasons=(), not_tested=(), missing=()))  # fmt: skip
    assert flags(calm).empty


def test_a_hundred_thousand_flags_are_listed_and_written_as_a_whole() -> None:
    """Same order as a few, and only texts that differ are written anew."""
    few = sample("run_B2108_trouble.xlsx").judged
    many = Judged.validate(pd.concat([few] * (100_000 // len(few) + 1), ignore_index=True))
    check = replace(sample("run_B2108_trouble.xlsx"), judged=many)
    found = flags(check)
    assert int(found[Flags.row].ge(0).sum()) == 15 * (100_000 // len(few) + 1)
    lines = flag_list(found.iloc[:50], many)
    assert set(lines["limit"]) == {"≤ 10 µg/L", "≤ 10 µg/L (= 0.01 mg/L)"}


# What to do next


def known_marks() -> set[str]:
    sources = "\n".join(path.read_text("utf-8") for path in (ROOT / "wqcheck").rglob("*.py"))
    quoted = set(re.findall(r'"([a-z][a-z -]+)"', sources))
    return quoted | {str(word) for kind in (Verdict, Sign, Disposition) for word in kind} | {SMALL_VOLUME, NO_UNIT}


def test_every_word_of_the_table_of_steps_means_something() -> None:
    parameters = catalogue()
    groups = {
        *parameters,
        *(entry.group for entry in parameters.values()),
        *(entry.kind for entry in parameters.values()),
    }
    for row in step_rows():
        assert row.groups <= groups | set(KINDS), row
        assert row.marks <= known_marks(), row
        assert row.step.text.endswith("."), row
        assert not re.search(r"\bsafe\b", row.step.text)


@pytest.mark.parametrize("kind", list(FlagKind))
@pytest.mark.parametrize("group", ["", "arsenic", "escherichia_coli", "ph", "gross_alpha"])
def test_every_flag_has_a_step_of_its_own_and_ends_with_the_regulator(kind: FlagKind, group: str) -> None:
    code = {FlagKind.REQUIRED: NO_RESULT, FlagKind.NOT_TESTED: "not tested"}.get(kind, "some code")
    flag = {Flags.kind: str(kind), Flags.parameter: group, Flags.code: code, Flags.leads_to: "hold"}
    row = {Judged.sign: "<", Judged.unit: "µg/L"} if kind is FlagKind.UNDECIDED else None
    steps = next_steps(flag, row)
    assert steps[-1] == DEFERENCE
    assert len(steps) > 2
    assert steps[0].text.startswith("Do not ship")
    assert all(step.source for step in steps)


def test_required_gaps_have_their_own_step() -> None:
    texts = set()
    for code in (NO_RESULT, NO_LIMIT, NOT_COMPARED):
        flag = {Flags.kind: "required, no usable result", Flags.parameter: "lead", Flags.code: code,
                Flags.leads_to: "hold"}  # fmt: skip
        texts.add(next_steps(flag)[1].text)
    assert len(texts) == 3


def test_coliforms_found_ask_for_e_coli_as_the_rule_of_bottled_water_does() -> None:
    """21 CFR 129.80(g)(1) (annual edition of 2015): a product sample with any coliform is tested for E. coli.

    74 FR 25651 (29 May 2009, govinfo.gov/content/pkg/FR-2009-05-29/html/E9-12494.htm): source water with E. coli is not
    used again before its cause is put right, and records of that are kept.
    """
    base = {Flags.kind: "out of limit", Flags.code: "fail", Flags.leads_to: "reject"}
    coliforms = {step.source: step.text for step in next_steps({**base, Flags.parameter: "total_coliforms"})}
    assert "tested for E. coli" in coliforms["21 CFR 129.80(g)(1)"]
    faecal = next_steps({**base, Flags.parameter: "escherichia_coli"})
    cited = [step.text for step in faecal if step.source.startswith("74 FR 25651")]
    assert [("do not use the source again" in text, "keep a record" in text) for text in cited] == [(True, True)]
    text = (ROOT / "limits" / "required_panels.csv").read_text(encoding="utf-8")
    panels = list(csv.DictReader(text.splitlines()))
    assert any(panel["clause"] == "129.80(g)(1)" and "E. coli" in panel["note"] for panel in panels)


def test_too_little_disinfectant_is_not_answered_as_too_much() -> None:
    """A residual below a least value asks whether that value binds this water (common practice, no source)."""
    flag = {Flags.kind: "out of limit", Flags.code: "fail", Flags.leads_to: "hold", Flags.parameter: "free_chlorine"}
    row = {Judged.sign: "=", Judged.unit: "mg/L", Judged.lower: 0.2, Judged.upper: 5.0}
    little, much = (
        [step.text for step in next_steps(flag, {**row, Judged.compared_low: value, Judged.compared_high: value})]
        for value in (0.02, 6.0)
    )
    assert any("whether it binds this water" in text for text in little)
    assert not any("take it out" in text for text in little)
    assert any("take it out" in text for text in much)


def test_any_failure_is_investigated_at_once_as_the_european_directive_asks() -> None:
    """Directive (EU) 2020/2184, Article 14(1): each failure to meet a value is investigated at once for its cause."""
    for code in ("arsenic", "escherichia_coli", "turbidity"):
        flag = {Flags.kind: "out of limit", Flags.code: "fail", Flags.leads_to: "reject", Flags.parameter: code}
        assert "Directive (EU) 2020/2184, Article 14(1)" in {step.source for step in next_steps(flag)}


def test_an_absence_in_too_little_water_asks_for_the_volume_and_a_high_reporting_limit_for_a_lower_one() -> None:
    found = flags(sample("run_B2108_trouble.xlsx"))
    told = {}
    for flag in rows(found[found[Flags.row].ge(0)]):
        row = sample("run_B2108_trouble.xlsx").judged.iloc[flag[Flags.row]].to_dict()
        told[flag[Flags.name]] = " ".join(step.text for step in next_steps(flag, row))
    assert "at least the volume of the limit" in told["enterococci"]
    assert "reporting limit well below" in told["lead"]
    assert "do not type over it" in told["turbidity"]
    assert "members of the sum" in told["nitrate plus nitrite"]
    assert "diluted count" in told["heterotrophic plate count 22 °C"]


def test_steps_without_a_source_are_marked() -> None:
    assert PRACTICE == "common practice, no source"
    assert {row.step.source for row in step_rows()} >= {PRACTICE, "Directive (EU) 2020/2184, Article 14(1)"}


# Files


def test_formula_like_text_is_neutral_in_both_files() -> None:
    """CSV: a guarding apostrophe, also where a tab or line break hides the sign; XLSX: text, never a formula."""
    text = '=HYPERLINK("http://x","y")'
    found = judged_of([
        {"verdict": "fail", "parameter": "lead", "sample": text, "reported": "\t+1+1|cmd", "unit": "mg/L",
         "rule": "max", "upper": 1.0, "limit_unit": "mg/L", "class": "health", "evidence": "memory",
         "sign": "unreadable"},
    ])  # fmt: skip
    check = replace(sample("run_B2107_clean.xlsx"), judged=found, findings=())
    table = flag_list(flags(check).iloc[:1], found)
    cells = next(csv.DictReader(io.StringIO(csv_bytes(table).decode("utf-8-sig"))))
    assert cells["sample"] == f"'{text}"
    assert cells["result"] == "'+1+1|cmd"
    assert cells["limit"] == "≤ 1 mg/L"
    assert cells["evidence of the limit"] == "not verified against the official text"
    sheet = openpyxl.load_workbook(io.BytesIO(workbook_bytes(table, "B=1")))["Flags"]
    heads = [cell.value for cell in sheet[1]]
    cell = sheet.cell(2, heads.index("sample") + 1)
    assert (cell.value, cell.data_type, cell.quotePrefix) == (text, "s", True)


# The cell in its sheet


def test_cells_around_a_cell_are_those_of_the_file() -> None:
    """Compared with openpyxl, a second reader of the same workbook."""
    path = SAMPLES / "run_B2108_trouble.xlsx"
    around = surroundings(open_book(path).sheets, "Run B2108", "Q16", [12])
    assert around is not None
    assert (around.columns[0], around.columns[-1], around.rows[0], around.headings) == ("M", "U", 12, frozenset({12}))
    sheet = openpyxl.load_workbook(path)["Run B2108"]
    for row, texts in zip(around.rows, around.texts, strict=True):
        for letter, text in zip(around.columns, texts, strict=True):
            value = sheet[f"{letter}{row}"].value
            assert text == ("" if value is None else str(value))


def test_what_a_row_is_about_is_shown_first_however_far_away() -> None:
    """Compared with openpyxl; cells of other rows, and columns that are shown anyway, change nothing."""
    path = SAMPLES / "run_B2108_trouble.xlsx"
    beside = ["A16", "D16", "B14", "O16"]
    around = surroundings(open_book(path).sheets, "Run B2108", "Q16", [12], beside=beside)
    assert around is not None
    assert around.columns == ("A", "D", "O", "P", "Q", "R", "S", "T", "U")
    sheet = openpyxl.load_workbook(path)["Run B2108"]
    row = around.texts[around.rows.index(16)]
    assert row[:2] == tuple(str(sheet[cell].value) for cell in ("A16", "D16"))


def test_headings_far_above_are_shown_and_edges_are_kept() -> None:
    book = open_book(("long.csv", ("Sample,Lead\n" + "\n".join(f"S{n},{n}" for n in range(1, 60))).encode()))
    around = surroundings(book.sheets, "", "B50", [1])
    assert around is not None
    assert around.rows == (1, 46, 47, 48, 49, 50, 51, 52, 53, 54)
    assert around.texts[0] == ("Sample", "Lead")
    corner = surroundings(book.sheets, "", "A1", [1])
    assert corner is not None
    assert (corner.rows, corner.columns) == ((1, 2, 3, 4, 5), ("A", "B"))
    assert surroundings(book.sheets, "", "B900") is None
    assert surroundings(book.sheets, "Other", "B2") is None


def test_names_of_cells() -> None:
    assert cell_position("AA10") == (9, 26)
    assert cell_position("$B$2") == (1, 1)
    assert cell_position("B0") is None
    assert first_cell("I43, I44 and 2 more") == "I43"
    assert first_cell("no cell here") == ""
    assert cell_places("B2; Other!C3; b2.xlsx|S!D4", "b.xlsx", "S") == (
        ("b.xlsx", "S", "B2"), ("b.xlsx", "Other", "C3"), ("b2.xlsx", "S", "D4"),
    )  # fmt: skip


# History in the unit of the limit


def test_results_are_drawn_in_the_unit_of_the_limit() -> None:
    """CIAAW abridged standard atomic weights 2021: N 14.007, NO3 62.004, so 10 mg/L as N is 44.266 mg/L as NO3."""
    nitrate = readings_of([
        {"parameter": "nitrate", "value": 10.0, "unit": "mg/L", "basis": "N"},
        {"parameter": "nitrate", "sign": "<", "value": 100.0, "unit": "µg/L", "basis": "NO3"},
        {"parameter": "nitrate", "value": 1.0, "unit": "NTU"},
    ])  # fmt: skip
    ranges = in_limit_unit(nitrate, "mg/L", "NO3")
    assert ranges.high[:2] == pytest.approx([44.2664, 0.1], rel=1e-4)
    assert ranges.low[1] == 0
    assert np.isnan(ranges.low[2])
    counted = readings_of([{"parameter": "escherichia_coli", "value": 5.0, "unit": "CFU", "volume_ml": 100.0}])
    assert in_limit_unit(counted, "CFU/250 mL").high[0] == pytest.approx(12.5)
    assert in_limit_unit(counted, "CFU/mL").high[0] == pytest.approx(0.05)
