"""Turns an invented plant's year of weekly batches into a record store, for the tests of reports over a period.

Finished water (FP): lead rises slowly and still passes, nitrate was too high once, trihalomethanes are judged by their
running annual average, aluminium is never detected, pH and turbidity are steady. Permeate (SP6) has no limits.
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from sqlalchemy import event

from tests.certificate_batches import good_batch
from tests.record_stores import ADA, BEGIN, MEI, RUI
from tests.table_rows import readings_of
from wqcheck.judging.judge import judge
from wqcheck.limit_tables.loading import LimitTable, load_limits
from wqcheck.records.decisions import decide, review
from wqcheck.records.intake import take_in
from wqcheck.records.roles import Act
from wqcheck.records.standing import State
from wqcheck.records.store import Store, open_store
from wqcheck.release.decision import BatchCheck, Disposition, FileStamp
from wqcheck.tables import Judged, Readings

FIRST_DAY = date(2025, 1, 6)
WEEKS = 52
HEADINGS = (
    "parameter,rule,lower,upper,unit,basis,volume_ml,members,weights,product,class,status,valid_from,valid_to,source,"
    "clause,evidence,note"
)
ROWS = (
    ("lead", "max", "", "10", "µg/L", "", "", "health"),
    ("nitrate", "max", "", "50", "mg/L", "NO3", "", "health"),
    ("trihalomethanes_total", "mean_max", "", "80", "µg/L", "", "", "health"),
    ("aluminium", "max", "", "200", "µg/L", "", "", "indicator"),
    ("ph", "range", "6.5", "9.5", "pH", "", "", "indicator"),
    ("turbidity", "max", "", "1", "NTU", "", "", "acceptability"),
    ("escherichia_coli", "absent", "", "", "CFU", "", "250", "microbiological"),
)
NITRATE_TOO_HIGH, HELD, UNDATED = 20, 30, 40
"""Weeks of the nitrate above its limit, of the batch on hold, and of the result without a day."""


@pytest.fixture(scope="session")
def year(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    """Give a store of the year, once for all tests that only read it."""
    folder = tmp_path_factory.mktemp("year")
    store = open_store(folder / "records.sqlite")
    event.listen(store.engine, "connect", hurry)
    store.engine.dispose()
    fill(store, folder)
    yield store
    store.close()


def hurry(connection: sqlite3.Connection, _: object) -> None:
    """Do not wait for the disk: these records are thrown away."""
    connection.execute("PRAGMA synchronous=OFF")


def limit_table(folder: Path) -> LimitTable:
    """Write the limits of the invented plant as a file and load them."""
    path = folder / "almara_limits.csv"
    lines = [
        f"{code},{rule},{lower},{upper},{unit},{basis},{volume},,,any,{kind},,,,Port Almara limits (invented),"
        f"no. {number},memory: invented for tests,"
        for number, (code, rule, lower, upper, unit, basis, volume, kind) in enumerate(ROWS, start=1)
    ]
    path.write_text("\n".join([HEADINGS, *lines, ""]), encoding="utf-8")
    return load_limits(path)


def fill(store: Store, folder: Path, weeks: int = WEEKS) -> LimitTable:
    """Take in a batch a week, decide each, and give the limits that they were compared with."""
    limits = limit_table(folder)
    chance = np.random.default_rng(20261125)
    rows = [row for week in range(weeks) for row in _rows(week, chance)]
    read = readings_of(rows)
    product = read[read["point"].eq("FP").to_numpy()].reset_index(drop=True)
    found = judge(Readings.validate(product), [limits], product="purified", on=FIRST_DAY)
    for week in range(weeks):
        check = week_check(week, limits, read, found)
        files = [(stamp.name, _content(stamp, limits)) for stamp in check.files]
        at = BEGIN + timedelta(minutes=10 * week)
        take_in(store, check, Act(by=ADA, at=at, why=""), files, on=FIRST_DAY)
        review(store, check.details.batch, Act(by=RUI, at=at + timedelta(minutes=1), why=""))
        to = {NITRATE_TOO_HIGH: State.REJECTED, HELD: State.ON_HOLD}.get(week, State.RELEASED)
        why = "" if to == State.RELEASED else "as the results ask (invented)"
        decide(store, check.details.batch, Act(by=MEI, at=at + timedelta(minutes=2), why=why), to)
    return limits


def week_check(week: int, limits: LimitTable, read: pd.DataFrame, found: pd.DataFrame) -> BatchCheck:
    """Make the checked batch of a week from the readings and judged rows of all weeks."""
    batch, day = f"W{week:02d}", FIRST_DAY + timedelta(weeks=week)
    own, judged = (frame[frame["batch"].eq(batch).to_numpy()].reset_index(drop=True) for frame in (read, found))
    names = (f"{batch}.csv", "workbook"), (limits.path.name, "limit table")
    stamps = [FileStamp(name=name, sha256="", kind=kind, title=limits.title) for name, kind in names]
    stamps = [replace(one, sha256=hashlib.sha256(_content(one, limits)).hexdigest()) for one in stamps]
    check = good_batch()
    failed = judged[Judged.verdict].eq("fail").any()
    decision = replace(check.decision, batch=batch, disposition=Disposition.REJECT if failed else Disposition.RELEASE)
    details = replace(check.details, batch=batch, run_start=f"{day} 06:10", run_end="")
    return replace(
        check, details=details, readings=Readings.validate(own), judged=Judged.validate(judged), files=tuple(stamps),
        decision=decision,
    )  # fmt: skip


def _content(stamp: FileStamp, limits: LimitTable) -> bytes:
    return limits.path.read_bytes() if stamp.kind == "limit table" else f"invented sheet {stamp.name}".encode()


def _rows(week: int, chance: np.random.Generator) -> list[dict[str, Any]]:
    """Make the results of a week: point, parameter, sign, value, unit."""
    batch, day = f"W{week:02d}", FIRST_DAY + timedelta(weeks=week)
    lead = round(0.3 + 0.16 * max(0, week - 8) + abs(float(chance.normal(0, 0.25))), 2)
    results: list[tuple[str, str, str, float | None, str]] = [
        ("FP", "lead", "=" if lead >= 0.5 else "<", lead if lead >= 0.5 else 0.5, "µg/L"),
        ("FP", "nitrate", "=", 61.0 if week == NITRATE_TOO_HIGH else round(12 + float(chance.normal(0, 1)), 1), "mg/L"),
        ("FP", "trihalomethanes_total", "=", round(30 + float(chance.normal(0, 3)), 1), "µg/L"),
        ("FP", "aluminium", "<", 5.0, "µg/L"),
        ("FP", "ph", "=", round(7.2 + float(chance.normal(0, 0.1)), 2), "pH"),
        ("FP", "turbidity", "=", round(0.2 + abs(float(chance.normal(0, 0.03))), 2), "NTU"),
        ("FP", "escherichia_coli", "absent", None, "CFU"),
        ("SP6", "electrical_conductivity", "=", round(12 + 0.05 * week + float(chance.normal(0, 0.5)), 1), "µS/cm"),
    ]
    return [
        {"sample": f"{batch}-{point}", "batch": batch, "point": point, "parameter": code, "parameter_text": code,
         "sampled_at": None if (week, code) == (UNDATED, "turbidity") else pd.Timestamp(day) + pd.Timedelta(hours=12),
         "reported": "Absent" if sign == "absent" else f"{sign.strip('=')}{value:g}", "sign": sign, "value": value,
         "unit": unit, "unit_text": unit, "basis": "NO3" if code == "nitrate" else None, "workbook": f"{batch}.csv",
         "volume_ml": 250.0 if code == "escherichia_coli" else None,
         "reporting_limit": value if sign == "<" else None, "cell": f"C{spot}"}
        for spot, (point, code, sign, value, unit) in enumerate(results, start=2)
    ]  # fmt: skip
