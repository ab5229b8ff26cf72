"""One call checks a batch: the parts agree with each other, and the same inputs give the same certificate."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path

import openpyxl
import pytest

from wqcheck.batch import check_workbook, take_in
from wqcheck.certificate.data import issue_certificate, issue_notice, to_json
from wqcheck.errors import ReleaseRefusedError
from wqcheck.release.decision import BatchCheck, BatchDetails, Disposition
from wqcheck.tables import Judged, Readings

SAMPLES = Path(__file__).resolve().parent.parent / "sample_results"
ISSUED = datetime(2026, 6, 19, 6, 0, tzinfo=UTC)
HEADINGS = ["Sample ID", "Batch", "Sampling point", "Parameter", "Result", "Unit", "Sampled"]
SAMPLED = datetime(2026, 6, 16, 8, 40)
PANEL = [
    ("Escherichia coli", "absent", "CFU/250 mL"), ("Total coliforms", "absent", "CFU/250 mL"),
    ("Pseudomonas aeruginosa", "absent", "CFU/250 mL"), ("Turbidity", 0.1, "NTU"), ("pH", 7.0, "pH"),
    ("Conductivity at 20 °C", 60.0, "µS/cm"),
]  # fmt: skip


def book(path: Path, rows: list[tuple[object, ...]]) -> Path:
    """Write a long sheet of invented results, all sampled on one day."""
    workbook = openpyxl.Workbook()
    sheet = workbook.active
    assert sheet is not None
    sheet.append(HEADINGS)
    for row in rows:
        sheet.append([*row, SAMPLED])
    workbook.save(path)
    return path


def panel(point: str = "FP", batch: str = "B1") -> list[tuple[object, ...]]:
    """Return a full panel without an exceedance, invented."""
    return [("S1", batch, point, *row) for row in PANEL]


def checked(path: Path, *, train: bool = True, batch: str = "B1") -> BatchCheck:
    """Check a purified-water batch against the US table."""
    return check_workbook(
        [path], details=BatchDetails(batch=batch, product="purified"), limits=["us_21cfr165_110b"],
        train=SAMPLES / "train.toml" if train else None, rules=None, on=date(2026, 6, 19), product="purified",
    )  # fmt: skip


def test_a_full_panel_without_an_exceedance_is_released(tmp_path: Path) -> None:
    check = checked(book(tmp_path / "b.xlsx", panel()))
    assert check.decision.disposition == Disposition.RELEASE
    assert len(check.readings) + len(check.ledger) == len(HEADINGS) * (len(PANEL) + 1)


@pytest.mark.parametrize(
    ("row", "disposition"),
    [
        (("Lead", 6.0, "µg/L"), Disposition.REJECT),
        (("Lead", "<10", "µg/L"), Disposition.HOLD),
        (("Lead", 4.0, None), Disposition.HOLD),
        (("Lead", 4.0, "furlong"), Disposition.HOLD),
        (("Lead", "O.5", "µg/L"), Disposition.HOLD),
        (("Unobtainium", 4.0, "µg/L"), Disposition.HOLD),
        (("Escherichia coli", 1.0, "CFU/250 mL"), Disposition.REJECT),
        (("Escherichia coli", "TNTC", "CFU/250 mL"), Disposition.REJECT),
        (("Chloride", 251.0, "mg/L"), Disposition.HOLD),
        (("Lead", 5.0, "µg/L"), Disposition.RELEASE),
    ],
)
def test_one_more_row_decides(tmp_path: Path, row: tuple[object, ...], disposition: Disposition) -> None:
    """Lead 0.005 mg/L, chloride 250 mg/L and no E. coli: 21 CFR 165.110(b)(4) and (b)(2)."""
    check = checked(book(tmp_path / "b.xlsx", [*panel(), ("S1", "B1", "FP", *row)]))
    assert check.decision.disposition == disposition


def test_raw_water_over_the_limit_does_not_reject_the_product(tmp_path: Path) -> None:
    path = book(tmp_path / "b.xlsx", [*panel(), ("S2", "B1", "SP1", "Arsenic", 40.0, "µg/L")])
    assert checked(path).decision.disposition == Disposition.RELEASE
    assert checked(path, train=False).decision.disposition == Disposition.REJECT


def test_a_result_at_a_place_that_is_no_point_of_the_train_still_counts(tmp_path: Path) -> None:
    path = book(tmp_path / "b.xlsx", [*panel(), ("S2", "B1", "behind the shed", "Arsenic", 40.0, "µg/L")])
    assert checked(path).decision.disposition == Disposition.REJECT


@pytest.mark.parametrize("missing", [row[0] for row in PANEL])
def test_a_missing_required_result_holds(tmp_path: Path, missing: str) -> None:
    rows = [row for row in panel() if row[3] != missing]
    assert checked(book(tmp_path / "b.xlsx", rows)).decision.disposition == Disposition.HOLD


def test_results_of_another_batch_are_set_aside_and_said(tmp_path: Path) -> None:
    path = book(tmp_path / "b.xlsx", [*panel(), ("S9", "B2", "FP", "Lead", 60.0, "µg/L")])
    check = checked(path)
    assert check.decision.disposition == Disposition.RELEASE
    assert any(finding.code == "other batch" for finding in check.findings)
    assert "lead" not in set(check.judged[Judged.parameter])


def test_a_blank_is_no_finished_water_but_a_name_like_one_is_judged(tmp_path: Path) -> None:
    blank = checked(book(tmp_path / "b.xlsx", [*panel(), ("Field blank", "B1", "FP", "Lead", 60.0, "µg/L")]))
    assert blank.decision.disposition == Disposition.RELEASE
    assert {"control sample", "blank"} <= {finding.code for finding in blank.findings}
    assert "lead" not in set(blank.judged[Judged.parameter])
    like = checked(book(tmp_path / "l.xlsx", [*panel(), ("Field blank S1", "B1", "FP", "Lead", 60.0, "µg/L")]))
    assert like.decision.disposition == Disposition.REJECT
    assert "like a control sample" in {finding.code for finding in like.findings}


def test_of_a_result_and_its_duplicate_the_worse_decides(tmp_path: Path) -> None:
    rows = [("S1", "B1", "FP", "Lead", 4.9, "µg/L"), ("S1-DUP", "B1", "FP", "Lead", 5.4, "µg/L")]
    assert checked(book(tmp_path / "b.xlsx", [*panel(), *rows])).decision.disposition == Disposition.REJECT


@pytest.mark.parametrize(
    ("reported", "disposition"),
    [
        ("<1.1", Disposition.RELEASE),
        ("1.1", Disposition.RELEASE),
        ("2.2", Disposition.HOLD),
        ("9.2", Disposition.REJECT),
    ],
)
def test_coliforms_of_ten_tubes(tmp_path: Path, reported: str, disposition: str) -> None:
    """21 CFR 165.110(b)(2)(i)(A)(1): one unit of a lot; 2.2 may be the one that is allowed, 9.2 never is."""
    rows = [row for row in panel() if row[3] != "Total coliforms"]
    cells = ("Total coliforms", reported, "MPN/100 mL")
    check = checked(book(tmp_path / "b.xlsx", [*rows, ("S1", "B1", "FP", *cells)]))
    assert check.decision.disposition == disposition
    if reported == "1.1":
        missing = [row for row in rows if row[3] != "Escherichia coli"]
        check = checked(book(tmp_path / "m.xlsx", [*missing, ("S1", "B1", "FP", *cells)]))
        assert "no follow-up" in {reason.code for reason in check.decision.reasons}


def test_a_table_without_rows_for_the_water_holds(tmp_path: Path) -> None:
    check = check_workbook(
        [book(tmp_path / "b.xlsx", panel())], details=BatchDetails(batch="B1", product="tap"),
        limits=["us_21cfr165_110b"], train=None, rules=None, on=date(2026, 6, 19), product="tap",
    )  # fmt: skip
    assert check.decision.disposition == Disposition.HOLD
    assert any(finding.code == "table without rows" for finding in check.findings)


def test_what_the_sheets_say_of_the_batch_fills_the_details() -> None:
    check = checked(SAMPLES / "run_B2107_clean.xlsx", batch="")
    assert check.details.batch == "B2107"
    assert check.details.containers == "18,240 bottles"
    assert check.details.laboratory == "Sorrel Coast Water Laboratory (invented)"


def test_several_workbooks_are_one_batch(tmp_path: Path) -> None:
    rows = panel()
    paths = [book(tmp_path / "a.xlsx", rows[:3]), book(tmp_path / "b.xlsx", rows[3:])]
    taken = take_in(paths)
    assert len(taken.readings) == len(PANEL)
    assert set(taken.readings[Readings.workbook]) == {"a.xlsx", "b.xlsx"}


def test_the_same_inputs_give_the_same_certificate_byte_for_byte(tmp_path: Path) -> None:
    path = book(tmp_path / "b.xlsx", panel())
    first, second = (
        to_json(issue_certificate(checked(path), number="C-1", signed_by="A. Person", issued_at=ISSUED)) for _ in "12"
    )
    assert first == second


def test_no_certificate_for_a_batch_that_is_held(tmp_path: Path) -> None:
    check = checked(book(tmp_path / "b.xlsx", panel()[1:]))
    with pytest.raises(ReleaseRefusedError, match="Escherichia coli is required and has no result"):
        issue_certificate(check, number="C-1", signed_by="A. Person", issued_at=ISSUED)
    assert issue_notice(check, number="N-1", signed_by="A. Person", issued_at=ISSUED).disposition == Disposition.HOLD


def test_a_sum_on_a_certificate_lists_its_members_with_their_own_units(tmp_path: Path) -> None:
    """Nitrate plus nitrite 10 mg/L as N: 21 CFR 165.110(b)(4)(iii)(A); 1.7 mg/L as NO3 is 0.38404 mg/L as N."""
    rows = [("Nitrate (as NO3)", 1.7, "mg/L"), ("Nitrite (as NO2)", 0.0, "mg/L")]
    check = checked(book(tmp_path / "b.xlsx", [*panel(), *(("S1", "B1", "FP", *row) for row in rows)]))
    certificate = issue_certificate(check, number="C-1", signed_by="A. Person", issued_at=ISSUED)
    line = next(line for line in certificate.results if line.parameter == "nitrate_plus_nitrite")
    assert line.reported == "nitrate 1.7 mg/L as NO3; nitrite 0 mg/L as NO2"
    assert line.unit == ""
    assert line.compared == "0.384038 mg/L as N"


def test_an_own_row_overrides_a_published_one_but_never_relaxes_what_guards_health(tmp_path: Path) -> None:
    """Chloride 250 mg/L is an aesthetic level, lead 0.005 mg/L guards health: 21 CFR 165.110(b)(4)."""
    header = (SAMPLES / "plant_specification.csv").read_text(encoding="utf-8").splitlines()[0]
    own = tmp_path / "own.csv"
    end = "overrides us_21cfr165_110b,,,Invented specification,1,primary text: invented,"
    rows = [
        f"chloride,max,,300,mg/L,Cl,,,,purified,acceptability,{end}",
        f"lead,max,,20,µg/L,,,,,purified,health,{end}",
    ]
    own.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")

    def decided(*extra: tuple[object, ...]) -> BatchCheck:
        path = book(tmp_path / "b.xlsx", [*panel(), *(("S1", "B1", "FP", *row) for row in extra)])
        return check_workbook(
            [path], details=BatchDetails(batch="B1", product="purified"), limits=["us_21cfr165_110b", own],
            train=SAMPLES / "train.toml", rules=None, on=date(2026, 6, 19), product="purified",
        )  # fmt: skip

    salty, leaded = decided(("Chloride", 280.0, "mg/L")), decided(("Lead", 8.0, "µg/L"))
    chloride = salty.judged[salty.judged[Judged.parameter] == "chloride"]
    assert chloride[Judged.table].to_list() == ["own"]
    assert leaded.decision.disposition == Disposition.REJECT
    assert any(finding.severity == "hold" and "lead" in str(finding) for finding in leaded.findings)


@pytest.mark.parametrize("name", ["B-1", "B1/B2", "B1, B2", "Lot B1", "B01", "В1", "Ｂ１"])
def test_a_batch_name_that_may_be_this_batch_in_another_spelling_holds(tmp_path: Path, name: str) -> None:
    path = book(tmp_path / "b.xlsx", [*panel(), ("S9", name, "FP", "Lead", 60.0, "µg/L")])
    assert checked(path).decision.disposition == Disposition.HOLD
