"""The summary of a period counts, computes and draws what the records hold, and its three files agree."""

from __future__ import annotations

import io
import json
import subprocess
from datetime import date, timedelta
from pathlib import Path
from typing import Any
from xml.etree import ElementTree
from zipfile import ZipFile

import numpy as np
import pandas as pd
import pypdf
import pytest
from openpyxl import load_workbook
from scipy import stats

from tests.history_stores import FIRST_DAY, HELD, NITRATE_TOO_HIGH, UNDATED, WEEKS, fill, limit_table, year
from tests.record_stores import cluster, place, store
from tests.table_rows import judged_of
from wqcheck.certificate.data import verify_digest
from wqcheck.errors import WqcheckError
from wqcheck.history_files.comparisons import NOTHING, comparisons_of
from wqcheck.history_files.data import report_data
from wqcheck.history_files.drawing import months, round_values
from wqcheck.history_files.gathering import PeriodSummary, summarise
from wqcheck.history_files.period import Period, period_of
from wqcheck.history_files.phrases import ends, share_words, trend_words
from wqcheck.history_files.writing import pdf_bytes, summary_files, write_summary
from wqcheck.records.drifting import drifting, kept_back
from wqcheck.records.history import history
from wqcheck.records.period import batches_of, latest_verdicts, results_of, verdicts_of
from wqcheck.records.store import Store
from wqcheck.statistics.drift import Drift, flags_of, histories_of
from wqcheck.statistics.series_judging import series_verdicts

__all__ = ["cluster", "place", "store", "year"]

ISSUED = "2026-01-05T09:00:00+00:00"
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def summary(year: Store) -> PeriodSummary:
    return summarise(year, period_of("2025"), chosen=[("electrical_conductivity", "SP6")])


@pytest.fixture(scope="module")
def data(summary: PeriodSummary) -> dict[str, Any]:
    return report_data(summary, number="S-2025", issued_at=ISSUED)


def comparison(data: dict[str, Any], code: str) -> dict[str, Any]:
    found = [one for one in data["comparisons"] if one["parameter"] == code]
    assert len(found) == 1
    return dict(found[0])


@pytest.mark.parametrize(
    ("words", "since", "until"),
    [
        ("2024", date(2024, 1, 1), date(2024, 12, 31)),
        ("2024-Q1", date(2024, 1, 1), date(2024, 3, 31)),
        ("2024-02", date(2024, 2, 1), date(2024, 2, 29)),
    ],
)
def test_periods_by_their_words(words: str, since: date, until: date) -> None:
    assert period_of(words) == Period(since, until)
    assert period_of(since=str(since), until=str(until)) == Period(since, until)


@pytest.mark.parametrize(
    "given",
    [("",), ("2024-13",), ("2024-Q5",), ("0000",), ("2024", "2024-01-01"), ("", "2024-01-01"),
     ("", "2024-02-01", "2024-01-01"), ("", "today", "2024-01-01")],
)  # fmt: skip
def test_what_is_no_period_is_refused(given: tuple[str, ...]) -> None:
    with pytest.raises(WqcheckError):
        period_of(*given)


def test_every_batch_and_every_result_is_counted(data: dict[str, Any]) -> None:
    assert data["batches"]["total"] == WEEKS
    assert data["batches"]["by_state"] == {"released": WEEKS - 2, "rejected": 1, "on hold": 1}
    assert data["batches"]["list"][NITRATE_TOO_HIGH]["state"] == "rejected"
    assert data["batches"]["list"][HELD]["day"] == str(FIRST_DAY + timedelta(weeks=HELD))
    codes = ("lead", "nitrate", "trihalomethanes_total", "aluminium", "ph", "turbidity", "escherichia_coli",
             "electrical_conductivity")  # fmt: skip
    assert {row["parameter"]: row["n"] for row in data["statistics"]} == dict.fromkeys(codes, WEEKS)


def test_a_result_without_a_day_counts_with_its_batch(year: Store) -> None:
    """It is in the month of its batch, in no other, and not in a trend."""
    month = FIRST_DAY + timedelta(weeks=UNDATED)
    found = summarise(year, period_of(f"{month:%Y-%m}"))
    row = found.statistics[found.statistics["parameter"].eq("turbidity")].iloc[0]
    assert (row["undated"], row["n"]) == (1, len(found.batches))
    compared = found.comparisons[found.comparisons["parameter"].eq("turbidity")].iloc[0]
    assert compared["n"] == len(found.batches)
    other = summarise(year, period_of("2025-02"))
    assert not other.statistics["undated"].any()


def test_statistics_are_those_of_the_results(year: Store, summary: PeriodSummary) -> None:
    """Median, slope and yearly average agree with numpy, scipy.stats.theilslopes and a quarterly mean of pandas."""
    read = history(year, "FP", "trihalomethanes_total")
    row = summary.statistics[summary.statistics["parameter"].eq("trihalomethanes_total")].iloc[0]
    assert row["median"] == pytest.approx(np.median(read["value"]))
    quarters = read.set_index("sampled_at")["value"].resample("QS").mean()
    assert row["running_annual_average"] == pytest.approx(quarters.mean())
    compared = summary.comparisons[summary.comparisons["parameter"].eq("trihalomethanes_total")].iloc[0]
    days = (read["sampled_at"] - pd.Timestamp("2025-01-01")).dt.total_seconds() / 86400
    assert compared["slope_low"] == compared["slope_high"]
    assert compared["slope_low"] == pytest.approx(365.25 * stats.theilslopes(read["value"], days).slope)
    average = summary.rules[summary.rules["statistic"].eq("running annual average")].iloc[-1]
    assert (average["verdict"], average["low"]) == ("pass", pytest.approx(quarters.mean()))


def test_what_asks_for_attention_stands_first(data: dict[str, Any]) -> None:
    """An exceedance before a drift, a drift before a chart signal; a running average that is met asks for nothing."""
    words = [(one["parameter"], one["attention"].split("; ")[0]) for one in data["comparisons"]]
    assert words[:2] == [("nitrate", "beyond the limit"), ("lead", str(Drift.DRIFTING))]
    assert ("trihalomethanes_total", "nothing asks for attention") in words
    nitrate, lead = comparison(data, "nitrate"), comparison(data, "lead")
    assert (nitrate["passed"], nitrate["failed"]) == (WEEKS - 1, 1)
    assert nitrate["share"] == "51 of 52 (98.1 %); 1 beyond it"
    assert lead["crossing_earliest"] < lead["crossing"] < lead["crossing_latest"]
    assert lead["crossing"] > "2026-01"
    assert comparison(data, "trihalomethanes_total")["share"].startswith("pass, running annual average")


def test_a_series_of_non_detects_is_bounded_and_never_a_figure(data: dict[str, Any]) -> None:
    row = next(one for one in data["statistics"] if one["parameter"] == "aluminium")
    assert (row["non_detects"], row["median"], row["median_shown"], row["least"]) == (WEEKS, None, "<5", "<5")
    assert comparison(data, "aluminium")["trend"] == "none shown (p = 1)"


def test_few_undetermined_results_never_round_up_to_all() -> None:
    row = {"rule": "max", "n": 100000, "passed": 99999, "failed": 0, "undetermined": 1}
    assert share_words(row) == "99999 of 100000 (99.9 %); 1 cannot be told"
    nothing = {"p": float("nan"), "unit": "mg/L", "basis": None}
    assert (trend_words(nothing), ends(float("nan"), 1.0), ends(3.0, float("inf"))) == ("not tested", "–", "at least 3")


def test_charts_are_of_flagged_and_chosen_series(data: dict[str, Any]) -> None:
    """Non-detects are open rings in the drawing, detections filled dots, and every point is one of them."""
    titles = [one["title"] for one in data["charts"]]
    assert titles[:2] == ["nitrate at FP", "lead at FP"]
    assert "electrical conductivity at SP6" in titles
    assert "pH at FP" not in titles
    lead = data["charts"][1]
    drawing = ElementTree.fromstring(lead["svg"])
    circles = drawing.findall(f"{SVG}circle")
    below = sum(point["low"] < point["high"] for point in lead["points"])
    assert [sum(one.get("fill") == fill for one in circles) for fill in ("#ffffff", "#1d2b33")] == [
        below,
        WEEKS - below,
    ]
    assert below > 0
    words = [one.text for one in drawing.findall(f"{SVG}text")]
    assert "limit 10" in words
    assert drawing.findtext(f"{SVG}title") == "lead at FP"


def test_ticks_are_round_and_within() -> None:
    assert round_values(0, 10.6) == [0, 5, 10]
    assert round_values(6.5, 9.5) == [7, 8, 9]
    begin, end = (pd.Timestamp(day).timestamp() for day in ("2023-01-15", "2025-12-31"))
    assert [f"{moment:%Y-%m}" for moment in months(begin, end)] == [
        "2023-07", "2024-01", "2024-07", "2025-01", "2025-07",
    ]  # fmt: skip


def test_files_agree_and_are_sound(data: dict[str, Any], tmp_path: Path) -> None:
    """The PDF is sound, reads as the data say, and holds the JSON byte for byte; the workbook has the same figures."""
    pdf, book, text = write_summary(data, tmp_path)
    checked = subprocess.run(["qpdf", "--check", str(pdf)], capture_output=True, text=True, check=False)
    assert checked.returncode == 0, checked.stdout
    printed = subprocess.run(["pdftotext", "-layout", str(pdf), "-"], capture_output=True, text=True, check=True).stdout
    for words in ("Summary of 2025-01-01 to 2025-12-31", "What asks for attention", "drifting, still passing",
                  "regulator", "Mann-Kendall", "W20", "Port Almara limits (invented)"):  # fmt: skip
        assert words in printed
    reader = pypdf.PdfReader(pdf)
    assert reader.attachments["S-2025.json"][0] == text.read_bytes()
    assert reader.xmp_metadata is not None
    assert b"pdfaid:part" in reader.xmp_metadata.stream.get_data()
    assert verify_digest(text.read_text(encoding="utf-8"))
    sheets = load_workbook(book)
    rows = list(sheets["Comparisons"].iter_rows(min_row=2, values_only=True))
    assert [row[1] for row in rows] == [one["name"] for one in data["comparisons"]]
    assert [row[8] for row in rows] == [one["passed"] for one in data["comparisons"]]
    assert sheets["Batches"].max_row == WEEKS + 1
    drawings = [name for name in ZipFile(book).namelist() if name.startswith("xl/charts/chart")]
    assert len(drawings) == len(data["charts"])
    assert sheets["Chart points"].max_row == 1 + sum(len(one["points"]) for one in data["charts"])


def test_same_data_same_bytes(data: dict[str, Any]) -> None:
    assert summary_files(data) == summary_files(json.loads(json.dumps(data)))


def test_another_summary_of_that_number_is_not_written_over(data: dict[str, Any], tmp_path: Path) -> None:
    write_summary(data, tmp_path)
    before = (tmp_path / "S-2025.pdf").read_bytes()
    with pytest.raises(WqcheckError, match="holds another summary"):
        write_summary({**data, "plant": "Another plant (invented)"}, tmp_path)
    assert (tmp_path / "S-2025.pdf").read_bytes() == before


def test_hostile_names_stay_text(data: dict[str, Any]) -> None:
    """A batch and a reason that look like markup or a formula are printed as they are."""
    batches = {
        **data["batches"],
        "list": [{**data["batches"]["list"][0], "batch": "=1+1", "reason": "#panic() $x$ *b*"}],
    }
    made = {**data, "batches": batches}
    printed = "".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf_bytes(made))).pages)
    assert "#panic() $x$ *b*" in printed
    sheet = load_workbook(io.BytesIO(summary_files(made)["S-2025.xlsx"]))["Batches"]
    assert (sheet.cell(2, 2).value, sheet.cell(2, 2).data_type) == ("=1+1", "s")


def test_a_period_without_batches_says_so(year: Store, tmp_path: Path) -> None:
    found = summarise(year, period_of("2020"))
    written = report_data(found, number="S-2020", issued_at=ISSUED)
    assert (written["batches"]["total"], written["comparisons"], written["charts"]) == (0, [], [])
    pdf, *_ = write_summary(written, tmp_path)
    assert "Nothing does, of what was sampled" in pypdf.PdfReader(pdf).pages[0].extract_text()


def test_a_quarter_looks_back_for_its_trend_and_not_for_its_counts(year: Store) -> None:
    found = summarise(year, period_of("2025-Q4"))
    lead = found.comparisons[found.comparisons["parameter"].eq("lead")].iloc[0]
    assert lead["n"] == len(found.batches) == 13
    assert lead["drift"] == Drift.DRIFTING
    assert found.rules["period"].tolist() == ["four quarters to 2025 Q4"]
    assert found.rules["verdict"].tolist() == ["pass"]


def test_what_drifts_on_a_day(year: Store) -> None:
    """A trend that comes to the limit is a drift; a year later the series says nothing of that day."""
    flags = drifting(year, date(2026, 1, 5))
    assert flags["parameter"].tolist()[0] == "lead"
    assert flags["drift"].tolist()[0] == Drift.DRIFTING
    assert drifting(year, date(2027, 6, 1)).empty


def test_a_rejected_batch_is_no_drift_of_the_water(year: Store) -> None:
    """The day after the batch with too much nitrate was rejected, nitrate is not beyond its limit."""
    day = FIRST_DAY + timedelta(weeks=NITRATE_TOO_HIGH, days=1)
    assert kept_back(year) == {f"w{NITRATE_TOO_HIGH}"}
    assert "nitrate" not in drifting(year, day)["parameter"].tolist()


def test_a_rule_over_all_points_stands_beside_each() -> None:
    """The 90th percentile of all taps passes: no tap of it asks for attention (40 CFR 141.80(c)(3))."""
    rule = {"table": "taps", "rule": "percentile_max", "upper": 15.0, "limit_unit": "µg/L", "clause": "141.80(c)",
            "limit_line": 2.0, "parameter": "lead", "class": "health", "status": "90th percentile"}  # fmt: skip
    rows = [
        {**rule, "point": f"tap {tap}", "verdict": "undetermined", "compared_low": 3.0, "compared_high": 3.0,
         "sampled_at": pd.Timestamp("2025-02-01")}
        for tap in range(6)
    ]  # fmt: skip
    judged = judged_of(rows)
    rules = series_verdicts(judged, {})
    assert rules["verdict"].tolist() == ["pass"]
    table = comparisons_of(judged, flags_of(histories_of(judged), None, 365), rules)
    assert table["rule_verdict"].tolist() == ["pass"] * 6
    assert set(table["attention"]) == {NOTHING}


def test_records_of_a_period_on_each_engine(store: Store, tmp_path: Path) -> None:
    """SQLite and PostgreSQL give the same batches, results and verdicts of a month."""
    fill(store, tmp_path, weeks=5)
    since, until = FIRST_DAY, FIRST_DAY + timedelta(weeks=3, days=-1)
    batches = batches_of(store, since, until)
    assert batches["batch"].tolist() == ["W00", "W01", "W02"]
    assert batches["documents"].tolist() == [""] * 3
    entries = set(batches["entry"])
    assert len(results_of(store, "lead", since, until, entries)) == 3
    assert results_of(store, None, since, until, entries).empty
    verdicts = verdicts_of(store, since, until, entries)
    assert len(verdicts) == 3 * 7
    assert set(verdicts["batch"]) == {"W00", "W01", "W02"}
    latest = latest_verdicts(store, since, until, 2)
    assert latest.groupby("parameter").size().unique().tolist() == [2]
    assert len(verdicts_of(store, since, until, None, ("lead", "FP"))) == 3
    assert limit_table(tmp_path).name == "almara_limits"
