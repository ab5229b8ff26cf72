"""A store is made and brought up to date, refuses what it is not, takes two writers at once, and goes into a backup."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import sqlite3
import subprocess
import sys
import threading
import zipfile
from contextlib import closing
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from pandas.testing import assert_frame_equal
from sqlalchemy import text
from sqlalchemy.dialects import sqlite

from tests.record_stores import ADA, DAY, MEI, RUI, act, files_of, held, new_database, released, taken_in
from wqcheck.errors import PlantFileError, RecordRefusedError, StoreError
from wqcheck.plant.readings import read_plant_readings
from wqcheck.records.backup import backup, restore
from wqcheck.records.batches import batch, batches, flags_statement
from wqcheck.records.certificates import documents, issue
from wqcheck.records.decisions import decide, review
from wqcheck.records.export import export
from wqcheck.records.history import history, series_names, series_statement
from wqcheck.records.intake import keep_plant_readings, take_in
from wqcheck.records.roles import Role, load_people, single_user
from wqcheck.records.schema import SCHEMA_VERSION, Base
from wqcheck.records.standing import State
from wqcheck.records.store import Store, open_store
from wqcheck.records.touched import Touch, batches_touched_by
from wqcheck.records.verify import verify
from wqcheck.tables import Readings

MIGRATIONS = Path(__file__).resolve().parent.parent / "wqcheck" / "records" / "migrations"
SAMPLES = Path(__file__).resolve().parent.parent / "sample_results"


def certified(store: Store, *numbers: str) -> None:
    """Bring batches all the way to a certificate."""
    for number in numbers:
        taken_in(store, released(number))
        review(store, number, act(RUI))
        decide(store, number, act(MEI), State.RELEASED)
        issue(store, number, act(MEI))


def test_the_migrations_make_the_tables_that_the_package_uses(store: Store) -> None:
    """Alembic's own comparison is the judge."""
    with store.reading() as connection:
        assert compare_metadata(MigrationContext.configure(connection), Base.metadata) == []
    assert ScriptDirectory(str(MIGRATIONS)).get_current_head() == SCHEMA_VERSION


def test_a_store_of_a_newer_version_is_refused(place: str) -> None:
    store = open_store(place)
    with store.alone() as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '9999'")
    store.close()
    with pytest.raises(StoreError, match=r"newer wqcheck \(schema 9999; this one knows up to .*\); update wqcheck"):
        open_store(place)


def test_other_tables_are_not_touched(tmp_path: Path) -> None:
    path = tmp_path / "other.sqlite"
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("CREATE TABLE somebody (elses INTEGER)")
    with pytest.raises(StoreError, match="holds other tables"):
        open_store(path)


@pytest.mark.parametrize(
    ("place", "said"),
    [
        ("mysql://host/db", "is not supported"),
        ("postgresql://nobody@/none?host=/nowhere", "cannot be|refused"),
        ("://", "is no database URL"),
        ("/nowhere/at/all/records.sqlite", "cannot be opened"),
    ],
)
def test_places_that_are_none_give_one_sentence(place: str, said: str) -> None:
    with pytest.raises(StoreError, match=said):
        open_store(place)


def test_a_file_that_is_no_store_gives_one_sentence(tmp_path: Path) -> None:
    path = tmp_path / "text.sqlite"
    path.write_bytes(b"this is a text and no database" * 100)
    with pytest.raises(StoreError, match="is no record store"):
        open_store(path)
    with pytest.raises(StoreError, match="there is no record store"):
        open_store(tmp_path / "none.sqlite", create=False)


def test_two_writers_at_once_lose_nothing_and_share_no_number(place: str) -> None:
    """Two threads with a store of their own work on different batches, and both issue from the same series."""
    open_store(place).close()
    trouble: list[BaseException] = []

    def write(letter: str) -> None:
        own = open_store(place)
        try:
            certified(own, *(f"{letter}{number}" for number in range(6)))
        except BaseException as problem:
            trouble.append(problem)
        own.close()

    threads = [threading.Thread(target=write, args=[letter]) for letter in "AB"]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    store = open_store(place)
    assert trouble == []
    assert len(batches(store)) == 12
    assert documents(store)["number"].tolist() == [f"C-2026-{number:05d}" for number in range(1, 13)]
    assert verify(store).found == ()
    store.close()


def test_two_writers_on_one_batch_give_one_decision(place: str) -> None:
    store = open_store(place)
    taken_in(store, released())
    review(store, "B2107", act(RUI))
    said: list[str] = []

    def release_it() -> None:
        own = open_store(place)
        try:
            decide(own, "B2107", act(MEI), State.RELEASED)
            said.append("released")
        except RecordRefusedError as refusal:
            said.append(str(refusal))
        own.close()

    threads = [threading.Thread(target=release_it) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(said) == ["batch B2107 is released and cannot be released; possible now: withdraw", "released"]
    assert len(batch(store, "B2107").steps) == 3
    store.close()


def test_a_busy_store_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("wqcheck.records.store.BUSY_SECONDS", 1)
    path = tmp_path / "records.sqlite"
    store = open_store(path)
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreError, match=r"is busy: .* nothing was changed"):
            taken_in(store, released())
    store.close()


@pytest.mark.parametrize("engine", ["sqlite", "postgresql"])
def test_a_process_killed_at_random_moments_loses_nothing(engine: str, request: pytest.FixtureRequest) -> None:
    """The script kills 200 times; the suite a few times on each engine."""
    if engine == "postgresql":
        request.getfixturevalue("cluster")
    command = [sys.executable, "-m", "tests.benchmarks.kill_records", "--rounds", "12", "--engine", engine]
    run = subprocess.run(command, check=True, capture_output=True, text=True)
    figures = json.loads(run.stdout)
    assert figures["wrong"] == []
    assert figures["kills"] == 12
    assert figures["log entries"] > 0


def test_a_backup_comes_back_on_either_engine(store: Store, tmp_path: Path, cluster: str) -> None:
    certified(store, "B1", "B2")
    target = tmp_path / "backup.zip"
    digest = backup(store, target)
    assert hashlib.sha256(target.read_bytes()).hexdigest() == digest
    with pytest.raises(StoreError, match="exists already"):
        backup(store, target)
    for place in (str(tmp_path / "back.sqlite"), new_database(cluster)):
        assert restore(target, place).found == ()
        again = open_store(place, create=False)
        assert_frame_equal(documents(again), documents(store))
        assert_frame_equal(batch(again, "B1").check.judged, batch(store, "B1").check.judged)
        taken_in(again, released("B3"))
        assert verify(again).found == ()
        again.close()
        with pytest.raises(StoreError, match=r"exists already|holds records already"):
            restore(target, place)


def test_a_damaged_backup_is_not_restored(tmp_path: Path) -> None:
    store = open_store(tmp_path / "records.sqlite")
    certified(store, "B1")
    target = tmp_path / "backup.zip"
    backup(store, target)
    store.close()
    content = bytearray(target.read_bytes())
    content[len(content) // 2] ^= 1
    target.write_bytes(content)
    with pytest.raises(StoreError, match=r"does not agree with backup\.zip\.sha256"):
        restore(target, tmp_path / "back.sqlite")
    Path(f"{target}.sha256").unlink()
    with pytest.raises(StoreError, match=r"damaged|does not agree"):
        restore(target, tmp_path / "back.sqlite")
    assert not (tmp_path / "back.sqlite").exists()


def test_an_export_can_be_read_without_this_package(store: Store, tmp_path: Path) -> None:
    certified(store, "B1")
    target = tmp_path / "export.zip"
    export(store, target)
    with zipfile.ZipFile(target) as archive:
        manifest = json.loads(archive.read("manifest.json"))
        for name, digest in manifest["sha256"].items():
            assert hashlib.sha256(archive.read(name)).hexdigest() == digest
        assert set(archive.namelist()) == {*manifest["sha256"], "manifest.json"}
        rows = list(csv.DictReader(io.StringIO(archive.read("tables/readings.csv").decode())))
        data = json.loads(archive.read("tables/readings.json"))
        assert json.loads(archive.read("tables/remarks.json")) == []
        workbooks = [name for name in manifest["sha256"] if name.endswith("-run_B2107.xlsx")]
        assert archive.read(workbooks[0]) == b"B1 run_B2107.xlsx"
        assert sum(name.endswith(".pdf") for name in manifest["sha256"]) == 1
    expected = released("B1").readings
    assert [row["reported"] for row in rows] == expected["reported"].tolist()
    assert [row["cell"] for row in data] == expected["cell"].tolist()


def test_which_batches_are_touched(store: Store) -> None:
    certified(store, "B1", "B2")
    taken_in(store, held("B3"))
    lab = " sorrel coast water LABORATORY (invented)"

    def batches_of(kind: Touch, value: str) -> list[str]:
        return list(batches_touched_by(store, kind, value)["batch"])

    assert batches_of(Touch.LAB, lab) == ["B1", "B2", "B3"]
    assert batches_of(Touch.SAMPLE, "s-118") == ["B1", "B2", "B3"]
    assert batches_of(Touch.POINT, "FP") == ["B1", "B2", "B3"]
    assert batches_of(Touch.POINT, "SP99") == []
    assert batches_of(Touch.WORKBOOK, released("B2").files[0].sha256) == ["B2"]
    assert batches_of(Touch.WORKBOOK, "RUN_B2107.xlsx") == ["B1", "B2", "B3"]
    assert batches_of(Touch.LIMIT_ROW, "invented_limits_2025:2") == ["B1", "B2", "B3"]
    assert batches_of(Touch.LIMIT_ROW, "invented_limits_2025:3") == []
    table = next(stamp.name for stamp in released().files if stamp.kind == "limit table")
    assert batches_of(Touch.LIMIT_TABLE, Path(table).stem) == ["B1", "B2", "B3"]
    frame = batches_touched_by(store, Touch.SAMPLE, "S-118")
    assert frame["state"].tolist() == ["released", "released", "received"]
    assert frame["documents"].tolist() == ["C-2026-00001", "C-2026-00002", ""]
    with pytest.raises(RecordRefusedError, match="TABLE:LINE"):
        batches_of(Touch.LIMIT_ROW, "invented_limits_2025")


def test_a_superseded_check_still_answers_a_recall(store: Store) -> None:
    taken_in(store, held())
    newer = released()
    other = newer.readings.assign(sample="S-119")
    taken_in(store, type(newer)(**{**vars(newer), "readings": other, "judged": newer.judged.assign(sample="S-119")}),
             why="retest")  # fmt: skip
    frame = batches_touched_by(store, Touch.SAMPLE, "S-118")
    assert (frame["checks"].tolist(), frame["latest"].tolist()) == (["1"], [False])


def test_history_holds_each_result_of_the_latest_checks_once(store: Store) -> None:
    for number in ("B1", "B2"):
        taken_in(store, released(number))
    taken_in(store, released("B1"), why="read again")
    later = released("B3")
    moved = later.readings.assign(
        sampled_at=later.readings["sampled_at"] + (datetime(2026, 4, 1) - datetime(2026, 3, 1))
    )
    take_in(store, type(later)(**{**vars(later), "readings": moved, "judged": later.judged}), act(ADA),
            files_of(later), on=DAY)  # fmt: skip
    frame = history(store, "FP", "lead")
    assert len(frame) == 2, "the same cell of a workbook shared by two batches is one result"
    assert frame[Readings.sampled_at].is_monotonic_increasing
    assert frame[Readings.reported].tolist() == ["<0.2", "<0.2"]
    assert len(history(store, ["FP", "fp"], "lead", date(2026, 3, 3))) == 1
    assert len(history(store, "FP", "lead", None, date(2026, 3, 2))) == 1
    assert history(store, "FP", "gold").empty
    assert ("FP", "lead") in set(series_names(store)[["point", "parameter"]].itertuples(index=False, name=None))


def plan(store: Store, statement: object) -> str:
    """Explain how SQLite walks through a statement."""
    compiled = statement.compile(dialect=sqlite.dialect(), compile_kwargs={"literal_binds": True})  # type: ignore[attr-defined]
    with store.reading() as connection:
        rows = connection.execute(text(f"EXPLAIN QUERY PLAN {str(compiled).replace(':', chr(92) + ':')}")).all()
    return "\n".join(row[3] for row in rows)


def test_daily_questions_use_their_indexes(tmp_path: Path) -> None:
    store = open_store(tmp_path / "records.sqlite")
    taken_in(store, released())
    series = plan(store, series_statement("FP", "lead", date(2026, 1, 1), date(2026, 12, 31)))
    assert "SEARCH readings USING INDEX readings_series (point=? AND parameter=? AND sampled_at>?" in series
    flagged = plan(store, flags_statement(1))
    assert "SEARCH judged USING PRIMARY KEY (entry=?" in flagged or "USING INDEX judged_verdict" in flagged
    assert "SEARCH readings USING PRIMARY KEY (entry=? AND place=?)" in flagged
    for walk in (series, flagged):
        assert "SCAN readings" not in walk
        assert "SCAN judged" not in walk
    store.close()


def test_plant_readings_are_kept_with_their_day(store: Store) -> None:
    path = SAMPLES / "plant_readings.toml"
    read = read_plant_readings(path)
    keep_plant_readings(store, (path.name, path.read_bytes()), read, act(ADA), day=date(2026, 6, 1))
    with pytest.raises(RecordRefusedError, match="has changed since it was read"):
        keep_plant_readings(store, (path.name, b"other"), read, act(ADA), day=date(2026, 6, 1))
    with store.reading() as connection:
        row = connection.execute(text("SELECT plant, day FROM plant_readings")).one()
    assert tuple(row) == (read.name, "2026-06-01")
    assert verify(store).found == ()


PEOPLE = """
[[people]]
person = "ada"
name = "Ada Sorrel (invented)"
email = "ada@plant.example"
roles = ["analyst"]

[[people]]
person = "rui"
subject = "id-7"
email = "rui@plant.example"
roles = ["reviewer", "releaser"]
"""


def test_a_login_becomes_a_person_with_roles(tmp_path: Path) -> None:
    """Claims as OpenID Connect Core 1.0 names them: sub (section 2), email and email_verified (section 5.1)."""
    path = tmp_path / "people.toml"
    path.write_text(PEOPLE, encoding="utf-8")
    people = load_people(path)
    assert people.named("ADA").roles == {Role.ANALYST}
    assert people.logged_in(subject="id-7").person == "rui"
    assert people.logged_in(subject="x", email="Ada@plant.example", email_verified=True).person == "ada"
    with pytest.raises(RecordRefusedError, match="has not verified"):
        people.logged_in(subject="x", email="ada@plant.example")
    with pytest.raises(RecordRefusedError, match="nobody in the people file"):
        people.logged_in(subject="id-8", email="rui@plant.example", email_verified=True)
    with pytest.raises(RecordRefusedError, match="does not list 'Eve'"):
        people.named("Eve")


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('roles = ["analyst"]', 'roles = ["boss"]', "roles must be a list of analyst, reviewer, releaser, auditor"),
        ('roles = ["analyst"]', 'roles = ["analyst"]\npassword = "x"', "is a secret and must not stand here"),
        ('person = "rui"', 'person = "ADA"', "stands in 2 entries"),
        ('person = "rui"', "", "person is missing"),
        ('subject = "id-7"', "subject = 7", "subject must be text"),
        ('subject = "id-7"', 'sub = "id-7"', "'sub' is not known"),
        (PEOPLE, "", "lists nobody"),
    ],
)
def test_a_wrong_people_file_is_refused(tmp_path: Path, old: str, new: str, said: str) -> None:
    path = tmp_path / "people.toml"
    path.write_text(PEOPLE.replace(old, new), encoding="utf-8")
    with pytest.raises(PlantFileError, match=said):
        load_people(path)


def test_a_single_user_still_names_who_acts() -> None:
    assert single_user().named("Ada").roles >= {Role.ANALYST, Role.REVIEWER, Role.RELEASER}
    with pytest.raises(RecordRefusedError, match="nobody is named"):
        single_user().named("  ")


def test_text_that_a_database_cannot_hold_is_kept_legible(store: Store) -> None:
    from wqcheck.records.parts import remark

    taken_in(store, released())
    remark(store, "B2107", act(ADA), "a\x00b \udce9 水")
    assert batch(store, "B2107").remarks["text"].tolist() == ["a\ufffdb ? 水"]
    assert verify(store).found == ()


def test_acts_are_kept_with_their_own_time(store: Store) -> None:
    taken_in(store, released())
    assert batches(store)["since"].tolist() == [datetime(2026, 3, 4, 8, tzinfo=UTC).isoformat()]
