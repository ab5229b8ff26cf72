"""The page draws finished records, worded in text, and drives the whole way from upload to certificate."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime
from pathlib import Path

import altair as alt
import numpy as np
import openpyxl
import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

from wqcheck.batch import check_workbook
from wqcheck.certificate.data import CertificateKind
from wqcheck.findings import Finding, Severity
from wqcheck.page.as_read import cell_counts, findings_table, readings_table
from wqcheck.page.checking import DESK_KEY
from wqcheck.page.decision import worst_named
from wqcheck.page.main import VIEW_KEY
from wqcheck.page.papers import NUMBER, SIGNATORY, draft
from wqcheck.page.settings import FIRST_TABLES, OWN_TABLES_KEY, TABLES_KEY
from wqcheck.page.sheets_brought import SAMPLE_KEY, UPLOAD_KEY
from wqcheck.page.take_in_view import WHICH_KEY
from wqcheck.page.train_removal import removal_chart, stage_rows, stage_table
from wqcheck.page.words import plain
from wqcheck.release.decision import CAUTION, BatchCheck, BatchDetails
from wqcheck.tables import Judged, Ledger, Readings, Stages

ROOT = Path(__file__).parent.parent

READING = {
    "sample": "S1",
    "point": "FP",
    "parameter": "arsenic",
    "parameter_text": "Arsenic",
    "reported": "14",
    "sign": "=",
    "value": 14.0,
    "unit": "µg/L",
    "workbook": "book.xlsx",
    "sheet": "Run",
    "cell": "Q14",
}
LIMIT = {
    "table": "table_one",
    "rule": "max",
    "upper": 10.0,
    "limit_unit": "µg/L",
    "class": "health",
    "source": "Source",
    "clause": "Table 3",
    "evidence": "primary text: page 3",
    "compared_value": 14.0,
    "compared_low": 14.0,
    "compared_high": 14.0,
    "verdict": "fail",
    "margin": -0.4,
    "reason": "14 µg/L is above 10 µg/L",
}


def frame(model: type[Readings] | type[Stages] | type[Ledger], rows: list[dict[str, object]]) -> pd.DataFrame:
    """Build a table of a model from partial rows; what is left out is blank."""
    schema = model.to_schema()
    table = pd.DataFrame(rows, columns=list(schema.columns))
    for name, column in schema.columns.items():
        kind = str(column.dtype)
        typed = table[name].astype("float64" if "float" in kind else "str")
        table[name] = pd.to_datetime(table[name]) if "datetime" in kind else typed
    return model.validate(table)


def judged(*changes: dict[str, object]) -> pd.DataFrame:
    """Build judged rows that differ from the one above as given."""
    return frame(Judged, [{**READING, **LIMIT, **change} for change in changes])


def test_headline_names_the_worst_first() -> None:
    """Out of limit before undecided, what is required before what is not; each parameter once, unknown ones by text."""
    unknown: dict[str, object] = {
        "parameter": None,
        "parameter_text": "Arsenix",
        "verdict": "undetermined",
        "margin": np.nan,
    }
    rows = judged(
        unknown,
        {"verdict": "undetermined", "margin": np.nan},
        {"parameter": "lead", "margin": -9.0},
        {"parameter": "nitrate"},
        {"verdict": "fail"},
        {"parameter": "boron", "verdict": "pass", "margin": 0.5},
    )
    assert worst_named(rows, ("nitrate",)) == {
        "Nitrate": "fail", "Lead": "fail", "Arsenic": "fail", "Arsenix": "undetermined",
    }  # fmt: skip


def test_sheet_text_is_never_markup() -> None:
    """What a sheet says cannot become a heading, a link, a colour or a formula on the page."""
    assert plain("<b> [x](y) :red[z] $a$ # *") == r"\<b\> \[x\]\(y\) \:red\[z\] \$a\$ \# \*"
    assert plain("one\ntwo") == "one two"


STAGE = {
    "kind": "other",
    "parameter": "arsenic",
    "inlet_point": "SP1",
    "outlet_point": "SP2",
    "inlet": "10",
    "outlet": "5",
    "unit": "µg/L",
    "removal_percent": 50.0,
    "log_removal": 0.30103,
    "bound": "exact",
    "reason": "measured before and after the stage",
}


@pytest.fixture
def stages() -> pd.DataFrame:
    """Give four rows: exact, a bound, unknown, and the whole train first."""
    return frame(
        Stages,
        [
            {**STAGE, "stage": "whole train", "bound": "at least", "removal_percent": 95.0, "log_removal": 1.30103},
            {**STAGE, "stage": "media filter"},
            {**STAGE, "stage": "tank", "removal_percent": -2000.0, "log_removal": -1.3222},
            {**STAGE, "stage": "UV", "bound": "unknown", "removal_percent": np.nan, "log_removal": np.nan},
        ],
    )


def test_stages_stand_in_the_order_of_flow_with_bounds_in_words(stages: pd.DataFrame) -> None:
    """The whole train comes last; a bound is written out; an unknown removal is no number."""
    table = stage_table(stage_rows(stages, "arsenic"))
    assert list(table["Stage"]) == ["media filter", "tank", "UV", "whole train"]
    assert table["Removal"].iloc[0].startswith("50.0 %")
    assert table["Removal"].iloc[2] == "not determinable"
    assert table["Removal"].iloc[3].startswith("at least 95")


@pytest.mark.parametrize(
    ("log", "column", "lowest"), [(False, "removal, %", -100.0), (True, "removal, log10", -1.3222)]
)
def test_chart_draws_every_stage(stages: pd.DataFrame, log: bool, column: str, lowest: float) -> None:
    """Percent and log10 draw the same stages; a bar that would dwarf the others is cut off and says so."""
    chart = removal_chart(stage_rows(stages, "arsenic"), log=log)
    assert isinstance(chart, alt.LayerChart)
    drawn = chart.to_dict()
    bars = drawn["layer"][0]["encoding"]
    assert bars["x"]["title"] == column
    assert bars["x"]["scale"]["domain"][0] == pytest.approx(lowest)
    rows = next(iter(drawn["datasets"].values()))
    assert len(rows) == 4
    cut = [row["words"] for row in rows if "cut off" in row["words"]]
    assert len(cut) == (0 if log else 1)


def test_cells_add_up() -> None:
    """Result cells and other cells are all cells with content; a blank expected cell has none."""
    readings = frame(
        Readings, [READING, {**READING, "cell": "Q15", "reported": "", "sign": "not done", "value": np.nan}]
    )
    others = [("A1", "heading"), ("A2", "heading"), ("A3", "footer")]
    ledger = frame(
        Ledger,
        [{"workbook": "b", "sheet": "s", "cell": c, "text": "t", "role": role, "reason": "r"} for c, role in others],
    )
    assert cell_counts(readings, ledger) == {"result": 1, "heading": 2, "footer": 1}


def test_readings_show_what_was_not_recognised() -> None:
    """A parameter that is in no catalogue stays visible under the name the sheet gave it."""
    row = readings_table(frame(Readings, [{**READING, "parameter": None, "parameter_text": "Arsenix"}])).iloc[0]
    assert (row["Parameter"], row["On the sheet"], row["Cell"]) == ("not recognised", "Arsenix", "Run!Q14")


def test_findings_that_hold_come_first() -> None:
    """A finding that holds the batch stands before one that only informs."""
    note = Finding(code="a", severity=Severity.NOTE, message="small")
    hold = Finding(code="b", severity=Severity.HOLD, message="large", where="book|s!A1", given="O.5")
    table = findings_table([note, hold])
    assert list(table["What and how to mend it"]) == ["Large (given: O.5)", "Small"]
    assert list(table["Leads to"]) == ["Holds the batch", "To know"]


def test_results_are_written_as_a_person_writes_them() -> None:
    """Sign, value, unit, volume and basis stand in one text; a word needs its volume and no unit."""
    rows: list[dict[str, object]] = [
        {"sign": "absent", "value": None, "unit": "CFU", "volume_ml": 250.0, "basis": None, "reported": "absent"},
        {"sign": "<", "value": 0.01, "unit": "mg/L", "volume_ml": None, "basis": "NO3", "reported": "<0.01"},
        {"sign": "=", "value": 68.0, "unit": "µS/cm", "volume_ml": None, "basis": "20 °C", "reported": "68"},
        {"sign": "unreadable", "value": None, "unit": "NTU", "volume_ml": None, "basis": None, "reported": "O.5"},
    ]
    written = readings_table(frame(Readings, [{**READING, **row} for row in rows]))["Result"]
    assert list(written) == ["Absent in 250 mL", "<0.01 mg/L as NO3", "68 µS/cm at 20 °C", "O.5 (unreadable)"]


def test_notes_about_other_batches_are_one_line_and_what_holds_stays() -> None:
    notes = [Finding(code="other batch", severity=Severity.NOTE, message=f"batch {n}", where="b|s!A1") for n in "123"]
    hold = Finding(code="other batch", severity=Severity.HOLD, message="alike", where="b|s!A9")
    table = findings_table([*notes, hold])
    assert list(table["What and how to mend it"]) == [
        "Alike", "The results of 3 other batches were set aside and not judged for this one",
    ]  # fmt: skip


def opened() -> AppTest:
    """Open the page where sheets are taken in."""
    page = AppTest.from_file(str(ROOT / "app.py"), default_timeout=120).run()
    return page.radio(key=VIEW_KEY).set_value("Take in").run()


def uploaded(*names: str) -> AppTest:
    """Open the page and drop sample files on it."""
    page = opened()
    files = [(name, (ROOT / "sample_results" / name).read_bytes(), "application/octet-stream") for name in names]
    page.file_uploader(key=UPLOAD_KEY).set_value(files)
    return page.run()


def words_on(page: AppTest) -> str:
    """Give all words of the page in one text."""
    assert not page.exception, page.exception
    kinds = (page.markdown, page.caption, page.success, page.warning, page.error, page.info)
    return "\n".join(element.value for kind in kinds for element in kind).replace("\\", "")


def test_empty_page_says_what_to_do_and_cautions() -> None:
    """Before anything is taken in, the page says what to do, and shows what it does not claim."""
    words = words_on(opened())
    assert "Drop the laboratory's sheets above" in words
    assert "gone after a reload" in words
    assert CAUTION in words


def test_upload_lies_on_the_desk_and_says_what_comes_next() -> None:
    """A clean sheet is recommended for release without a question; the next steps are recording and Release."""
    words = words_on(uploaded("run_B2107_clean.xlsx"))
    assert "RELEASE: batch B2107" in words
    assert "No parameter is out of limit, undecided or missing" in words
    assert "record the batch at the foot" in words
    assert "The sheets leave nothing open" not in words, "what was read is shown where nothing is open"


def test_upload_in_trouble_is_named_and_sent_to_its_flags() -> None:
    """The run in trouble shows its faults in words, and says where to look next."""
    words = words_on(uploaded("run_B2108_trouble.xlsx"))
    assert "REJECT: batch B2108" in words
    assert "Out of limit (1): Arsenic" in words
    assert "Required but missing (1): Escherichia coli" in words
    assert "look at the results out of limit (1)" in words


def test_draft_of_the_document_is_marked_and_not_for_download() -> None:
    """Before it is recorded a batch has a draft: it says in the places of number and signatory that it is one."""
    page = uploaded("run_B2107_clean.xlsx").radio(key=VIEW_KEY).set_value("Release").run()
    assert "not recorded yet" in words_on(page)
    assert not page.get("download_button")
    drawn = draft(page.session_state[DESK_KEY].check, datetime(2026, 7, 1, tzinfo=UTC))
    assert (drawn.kind, drawn.number, drawn.signed_by) == (CertificateKind.RELEASE, NUMBER, SIGNATORY)
    assert "draft" in f"{NUMBER} {SIGNATORY}".casefold()


def test_page_and_library_agree() -> None:
    """The page shows the outcome that the library gives for the same files."""
    folder = ROOT / "sample_results"
    page = uploaded("run_B2108_trouble.xlsx")
    check = check_workbook(
        [folder / "run_B2108_trouble.xlsx"],
        details=BatchDetails(batch="B2108", product="purified"),
        limits=list(FIRST_TABLES),
        train=None,
        rules=None,
        on=date.today(),
        product="purified",
    )
    shown: BatchCheck = page.session_state[DESK_KEY].check
    assert shown.decision == check.decision
    pd.testing.assert_frame_equal(shown.judged, check.judged)


def test_every_cell_is_accounted_for() -> None:
    """Result cells and other cells add up to the cells with content that a second reader counts in the workbook."""
    name = "commissioning_crosstab.xlsx"
    check: BatchCheck = uploaded(name).session_state[DESK_KEY].check
    book = openpyxl.load_workbook(ROOT / "sample_results" / name)
    filled = sum(cell.value is not None for sheet in book.worksheets for row in sheet.iter_rows() for cell in row)
    assert sum(cell_counts(check.readings, check.ledger).values()) == filled


def test_sample_plant_is_held_to_its_own_specification() -> None:
    """The sample plant asks for absences in 250 mL: an absence in 100 mL cannot decide them."""
    page = opened()
    page.pills(key=SAMPLE_KEY).set_value("B2108: in trouble").run()
    words = words_on(page)
    assert "plant specification (own)" in words
    assert "your own sheets do not use them" in words
    assert re.search(r"Cannot be decided \(\d+\): Pseudomonas aeruginosa", words)


def test_several_batches_are_asked_about() -> None:
    """A year of history names many batches: none is decided until one is chosen."""
    page = uploaded("history_2025_2026_wide.csv")
    words_on(page)
    assert DESK_KEY not in page.session_state
    box = page.selectbox(key=WHICH_KEY)
    assert len(box.options) == 52
    box.select(box.options[0]).run()
    assert "batch B1103" in words_on(page)


def test_other_settings_replace_the_check() -> None:
    """A change of tables checks again; nothing else does."""
    page = uploaded("run_B2107_clean.xlsx")
    first = page.session_state[DESK_KEY]
    assert page.run().session_state[DESK_KEY] is first
    page.multiselect(key=TABLES_KEY).set_value(["who_gdwq_2022"]).run()
    assert page.session_state[DESK_KEY].key != first.key


def test_unusable_files_get_their_sentence() -> None:
    """A file that is no workbook gets the reader's sentence, and an earlier check leaves the page."""
    page = uploaded("run_B2107_clean.xlsx")
    page.file_uploader(key=UPLOAD_KEY).set_value([("book.xlsx", b"PK\x03\x04 not a zip", "application/octet-stream")])
    page.run()
    assert "book.xlsx is a damaged zip file" in words_on(page)
    assert DESK_KEY not in page.session_state


def test_several_sheets_are_taken_in_together() -> None:
    """Two sheets of two batches are read together; the chosen batch is decided on its own results."""
    page = uploaded("run_B2107_clean.xlsx", "run_B2108_trouble.xlsx")
    box = page.selectbox(key=WHICH_KEY)
    assert [words.partition(",")[0] for words in box.options] == ["B2107", "B2108"]
    box.select(box.options[0]).run()
    assert "RELEASE: batch B2107" in words_on(page)
    check: BatchCheck = page.session_state[DESK_KEY].check
    assert set(check.readings[Readings.workbook]) == {"run_B2107_clean.xlsx", "run_B2108_trouble.xlsx"}
    assert set(check.judged[Judged.workbook]) == {"run_B2107_clean.xlsx"}


def test_bad_limit_table_is_refused_line_by_line() -> None:
    """A table of one's own with a bad row stops the check; its line and column stand on the page."""
    page = uploaded("run_B2107_clean.xlsx")
    table = (ROOT / "limits" / "who_gdwq_2022.csv").read_text(encoding="utf-8").splitlines()[:2]
    bad = "\n".join([table[0], table[1].replace(",", ",nonsense", 1)]).encode("utf-8")
    page.file_uploader(key=OWN_TABLES_KEY).set_value([("ours.csv", bad, "text/csv")])
    page.run()
    assert "ours.csv, line 2, column rule" in words_on(page)
    assert DESK_KEY not in page.session_state


@pytest.mark.parametrize("sample", ["B2107: in order", "B2108: in trouble", "C-01: commissioning"])
def test_page_never_says_safe_and_always_cautions(sample: str) -> None:
    """Whatever the outcome, the page shows the caution and never calls water safe."""
    page = opened()
    page.pills(key=SAMPLE_KEY).set_value(sample).run()
    words = words_on(page)
    assert CAUTION in words
    assert not re.search(r"\b(un)?safe", words, re.IGNORECASE)
