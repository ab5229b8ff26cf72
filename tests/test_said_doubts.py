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


@pytest.mark.parametrize("flag", ["R", "H", "B", "HT", "J-", "NJ", "J, B", "(H)"])
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


def test_a_remark_counts_beside_finished_water_and_a_footer_for_its_sheet() -> None:
    said = "holding time exceeded"
    assert "remark in doubt" in holding(checked(with_column("Remarks", said)))
    footer = [*rows_of(), (None,), ("Samples were received outside the holding time",)]
    assert holding(checked(footer)) == {"remark in doubt"}
    assert not holding(checked({"Notes": [("DRAFT",)], "Results": rows_of()}))


@pytest.mark.parametrize("name", ["Escherichia coli (1:100 dilution)", "Escherichia coli, diluted 1:10"])
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
    assert holding(checked(rows_of(sampled=day))) == {"day not read"}


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
