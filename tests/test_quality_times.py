"""Dates in an order that cannot be are found, and holding times are elapsed time up to the start of analysis."""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest
from pandera.typing import DataFrame

from tests.table_rows import readings_of
from wqcheck.findings import Finding, Severity
from wqcheck.parameters import catalogue
from wqcheck.quality.checks import check_quality
from wqcheck.quality.holding_times import elapsed_hours, holding_times, times_for
from wqcheck.tables import Readings

START = pd.Timestamp("2026-03-02 08:30")


def one(parameter: str, begin: str, end: str, **others: Any) -> DataFrame[Readings]:
    row = {"sample": "S1", "parameter": parameter, "value": 1.0, "unit": "mg/L", "sampled_at": pd.Timestamp(begin),
           "analysed_at": pd.Timestamp(end), **others}  # fmt: skip
    return readings_of([row])


def after(parameter: str, hours: float) -> list[Finding]:
    """Return the findings on the time of a result analysed so many hours after sampling."""
    end = START + pd.Timedelta(hours=hours)
    found = check_quality(one(parameter, str(START), str(end)))
    return [finding for finding in found if finding.code == "holding time"]


@pytest.mark.parametrize(
    ("parameter", "hours", "within"),
    [
        ("total_coliforms", 17.5, True),
        ("heterotrophic_plate_count", 7.9, True),
        ("heterotrophic_plate_count", 9.0, False),  # 8 h, 40 CFR 141.74(a)(1)
        ("ph", 0.2, True),
        ("ph", 220 / 60, False),  # 15 min, 40 CFR 136.3 Table II
        ("turbidity", 47.9, True),
        ("turbidity", 48.1, False),  # 48 h, Table II
        ("colour", 48.1, False),
        ("alkalinity", 24 * 13.9, True),
        ("alkalinity", 24 * 14.1, False),  # 14 days, Table II
        ("cyanide", 24 * 14.1, False),
        ("chloride", 24 * 27.9, True),
        ("chloride", 24 * 28.1, False),  # 28 days, Table II
        ("mercury", 24 * 28.1, False),  # 28 days although a metal
        ("lead", 24 * 28.1, True),
        ("lead", 24 * 190, False),  # 6 months, Table II
        ("total_dissolved_solids", 24 * 7.1, False),  # 7 days, Table II
    ],
)
def test_holding_times(parameter: str, hours: float, within: bool) -> None:
    """Limits as 40 CFR 136.3 Table II prints them, and those of drinking water where they differ."""
    assert (after(parameter, hours) == []) is within


@pytest.mark.parametrize(("hours", "severity"), [(29.5, Severity.NOTE), (30.5, Severity.HOLD)])
def test_coliforms_of_drinking_water_hold_after_30_hours(hours: float, severity: Severity) -> None:
    """30 h (40 CFR 141.21(f)(3) and 141.852), not the 8 h of source water; ISO 19458 recommends less."""
    for parameter in ("total_coliforms", "escherichia_coli"):
        found = after(parameter, hours)
        assert [finding.severity for finding in found] == [severity]
        assert ("30 h" in found[0].message) is (severity == Severity.HOLD)


def test_days_are_elapsed_and_not_counted_on_the_calendar() -> None:
    """1 May 16:00 to 15 May 09:00 is 13.708 days, within 14 (US EPA frequent question 215886648)."""
    begin, end = pd.Series(pd.to_datetime(["2024-05-01 16:00"])), pd.Series(pd.to_datetime(["2024-05-15 09:00"]))
    least, most = elapsed_hours(begin, end)
    assert least[0] / 24 == most[0] / 24 == pytest.approx(13.7083, abs=1e-4)
    assert check_quality(one("alkalinity", "2024-05-01 16:00", "2024-05-15 09:00")) == ()


def test_a_date_without_a_time_only_counts_where_it_is_certain() -> None:
    """Sampled some time on the 2nd and analysed some time on the 4th: 24 to 72 h."""
    begin, end = pd.Series(pd.to_datetime(["2026-03-02"])), pd.Series(pd.to_datetime(["2026-03-04"]))
    assert [float(hours[0]) for hours in elapsed_hours(begin, end)] == [24.0, 72.0]
    assert check_quality(one("turbidity", "2026-03-02", "2026-03-04")) == ()
    assert check_quality(one("turbidity", "2026-03-02", "2026-03-05 12:00")) != ()


@pytest.mark.parametrize(
    ("times", "code"),
    [
        ({"received_at": "2026-03-02 07:00", "analysed_at": "2026-03-02 12:00"}, "order of dates"),
        ({"received_at": "2026-03-02 10:00", "analysed_at": "2026-03-01 12:00"}, "order of dates"),
        ({"received_at": "2026-03-02", "analysed_at": "2026-03-03"}, ""),
        ({"received_at": "2026-03-02 10:00", "analysed_at": "2026-03-02 11:00"}, ""),
    ],
)
def test_orders_of_dates_that_cannot_be(times: dict[str, str], code: str) -> None:
    row = {"sample": "S1", "parameter": "lead", "value": 1.0, "sampled_at": START}
    found = check_quality(readings_of([{**row, **{name: pd.Timestamp(text) for name, text in times.items()}}]))
    assert [finding.code for finding in found if finding.severity == Severity.HOLD] == ([code] if code else [])


def test_analysis_before_receipt_is_noted_but_not_for_what_is_measured_on_site() -> None:
    times = {
        "sampled_at": START,
        "analysed_at": START + pd.Timedelta(minutes=5),
        "received_at": START + pd.Timedelta(hours=4),
    }
    rows = [{"sample": "S1", "parameter": code, "value": 1.0, "unit": unit, **times}
            for code, unit in (("free_chlorine", "mg/L"), ("lead", "µg/L"))]  # fmt: skip
    found = check_quality(readings_of(rows))
    assert [(finding.code, finding.severity, finding.where) for finding in found] == [
        ("order of dates", Severity.NOTE, "book.xlsx|Results!B3")
    ]


def test_one_note_tells_all_late_results_of_a_rule() -> None:
    late = {"sampled_at": START, "analysed_at": START + pd.Timedelta(hours=3)}
    rows = [{"sample": f"S{number}", "parameter": code, "value": 0.5, "unit": unit, **late}
            for number in range(4) for code, unit in (("ph", "pH"), ("free_chlorine", "mg/L"))]  # fmt: skip
    found = check_quality(readings_of(rows))
    assert [finding.code for finding in found] == ["holding time"]
    assert "4 samples" in found[0].message
    assert found[0].where.endswith("; B9")


def test_every_holding_time_names_known_parameters_and_its_source() -> None:
    groups = {entry.group for entry in catalogue().values()}
    for line in holding_times():
        group = line.covers.removeprefix("group:")
        assert line.covers in catalogue() or (group != line.covers and group in groups), line
        assert line.source
        assert line.hours > 0
    keys = [(line.covers, line.applies, line.source) for line in holding_times()]
    assert len(keys) == len(set(keys))
    assert times_for("sodium")[0].covers == "group:major cation"
    assert times_for("unobtainium") == ()
