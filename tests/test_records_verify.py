"""Each kind of tampering with a store is found and named; the databases themselves refuse changes."""

from __future__ import annotations

import hashlib
import json
import re
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
import sqlalchemy as sa

from tests.record_stores import ADA, MEI, RUI, act, released, taken_in
from wqcheck.errors import RecordRefusedError, StoreError
from wqcheck.records.certificates import issue
from wqcheck.records.decisions import decide, review
from wqcheck.records.log import START, entry_hash, head, joined_digest, row_digest, seal_of
from wqcheck.records.parts import remark
from wqcheck.records.schema import TABLES, log, readings, sealed_names
from wqcheck.records.standing import State
from wqcheck.records.store import Store, open_store
from wqcheck.records.verify import verify

UNGUARDED = [f"DROP TRIGGER {table}_no_{verb}" for table in ("log", "readings", "files", "decisions", "certificates",
             "judged", "signatures", "remarks") for verb in ("update", "delete")]  # fmt: skip


def fill(store: Store) -> None:
    """Record two batches, the first one with a certificate, and a remark after it."""
    for number in ("B1", "B2"):
        taken_in(store, released(number))
        review(store, number, act(RUI))
    decide(store, "B1", act(MEI), State.RELEASED)
    issue(store, "B1", act(MEI))
    remark(store, "B2", act(ADA), "the last entry")


@pytest.fixture
def filled(tmp_path: Path) -> Path:
    """Give the file of a filled SQLite store whose guards someone has dropped, as an attacker would."""
    path = tmp_path / "records.sqlite"
    store = open_store(path)
    fill(store)
    assert verify(store).found == ()
    store.close()
    tamper(path, *UNGUARDED)
    return path


def tamper(path: Path, *statements: str, **values: object) -> None:
    """Change a store behind its back."""
    with closing(sqlite3.connect(path)) as connection, connection:
        for statement in statements:
            connection.execute(statement, values)


def found(path: Path, *anchors: str) -> str:
    """Verify, and give everything but the dropped guards as text."""
    store = open_store(path)
    result = verify(store, anchors)
    store.close()
    return "\n".join(str(one) for one in result.found if not one.where.startswith("guard "))


def test_dropped_guards_alone_are_named(filled: Path) -> None:
    store = open_store(filled)
    names = [one.where for one in verify(store).found]
    store.close()
    assert sorted(names) == sorted(f"guard {line.removeprefix('DROP TRIGGER ')}" for line in UNGUARDED)


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        ("UPDATE readings SET value = 0.001 WHERE entry = 1 AND place = 2",
         r"readings of log entry 1, row 2 \(batch B1, sample S-118, parameter lead, cell C7\): it was changed"),
        ("UPDATE readings SET sampled_at = NULL WHERE entry = 3 AND place = 1", r"readings of log entry 3, row 1"),
        ("UPDATE judged SET verdict = 'fail' WHERE entry = 1 AND place = 0", r"judged of log entry 1, row 0"),
        ("UPDATE decisions SET state = 'rejected' WHERE entry = 5", r"decisions of log entry 5, row 0 \(batch B1"),
        ("UPDATE decisions SET person = 'ada' WHERE entry = 2", r"decisions of log entry 2, row 0"),
        ("UPDATE signatures SET name = 'Someone Else' WHERE entry = 5", r"signatures of log entry 5, row 0"),
        ("UPDATE certificates SET digest = 'x'", r"certificates of log entry 6, row 0 \(batch B1, number C-2026-00001"),
        ("UPDATE remarks SET text = 'fine'", r"remarks of log entry 7, row 0 \(batch B2"),
        ("DELETE FROM readings WHERE entry = 1 AND place = 2", r"readings of log entry 1: row 2 is missing"),
        ("DELETE FROM readings WHERE entry = 1 AND place = 6", r"readings of log entry 1: there are 6 rows where .* 7"),
        ("DELETE FROM readings WHERE entry = 1", r"readings of log entry 1: all 7 rows are missing"),
        ("DELETE FROM remarks", r"remarks of log entry 7: all 1 rows are missing"),
        ("INSERT INTO remarks VALUES (7, 1, 0, 'B2', '', 'put in')", r"remarks of log entry 7, row 1"),
        ("INSERT INTO remarks VALUES (5, 0, 0, 'B2', '', 'put in')", r"remarks of log entry 5.*they were put in"),
        ("UPDATE files SET content = x'00' WHERE entry = 1 AND place = 0", r"file [0-9a-f]{64} of log entry 1: its"),
        ("UPDATE files SET sha256 = 'x' WHERE entry = 1 AND place = 0", r"files of log entry 1, row 0 \(sha256 x\)"),
        ("UPDATE log SET person = 'ada' WHERE seq = 5", r"log entry 5 \(release batch B1\): it was changed"),
        ("UPDATE log SET at = '2020-01-01T00:00:00+00:00' WHERE seq = 2", r"log entry 2 \(review batch B1\)"),
        ("UPDATE log SET rows = '{' WHERE seq = 5", r"log entry 5: what it says of its rows cannot be read"),
        ("DELETE FROM log WHERE seq = 4", r"log entry 4: it is missing; the next one is 5"),
    ],
)  # fmt: skip
def test_each_kind_of_tampering_is_found_and_named(filled: Path, statement: str, said: str) -> None:
    tamper(filled, statement)
    assert re.search(said, found(filled)), found(filled)


def test_entries_that_changed_places_are_found(filled: Path) -> None:
    tamper(filled, "UPDATE log SET seq = -2 WHERE seq = 2", "UPDATE log SET seq = 2 WHERE seq = 4",
           "UPDATE log SET seq = 4 WHERE seq = -2")  # fmt: skip
    text = found(filled)
    assert "log entry 2 (review batch B2)" in text
    assert "log entry 4 (review batch B1)" in text


def test_a_row_changed_together_with_its_seal_is_found(filled: Path) -> None:
    names = sealed_names(readings)
    with closing(sqlite3.connect(filled)) as connection, connection:
        row = list(
            connection.execute(f"SELECT {', '.join(names)} FROM readings WHERE entry = 1 AND place = 2").fetchone()
        )
        row[names.index("reported")] = "<0.1"
        connection.execute(
            "UPDATE readings SET reported = '<0.1', seal = ? WHERE entry = 1 AND place = 2", [seal_of(row_digest(row))]
        )
    assert "readings of log entry 1: rows and seals were changed together" in found(filled)


def rewrite_log(path: Path, changed: int) -> None:
    """Forge the log after an entry's rows were changed: new digest, new hash, and new hashes for all that follow."""
    names = sealed_names(readings)
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.row_factory = sqlite3.Row
        previous = START
        for entry in connection.execute("SELECT * FROM log ORDER BY seq").fetchall():
            values = {key: entry[key] for key in entry.keys() if key != "hash"} | {"previous": previous}  # noqa: SIM118
            if entry["seq"] == changed:
                rows = connection.execute(f"SELECT {', '.join(names)} FROM readings WHERE entry = ?", [changed])
                digest = joined_digest([row_digest(tuple(row)) for row in rows])
                counted = json.loads(values["rows"])
                counted["readings"][1] = digest
                values["rows"] = json.dumps(counted, separators=(",", ":"), sort_keys=True)
            previous = entry_hash(values)
            connection.execute("UPDATE log SET rows = ?, previous = ?, hash = ? WHERE seq = ?",
                               [values["rows"], values["previous"], previous, entry["seq"]])  # fmt: skip


def test_a_whole_chain_written_anew_is_found_by_what_a_certificate_knows(filled: Path) -> None:
    names = sealed_names(readings)
    with closing(sqlite3.connect(filled)) as connection, connection:
        row = list(
            connection.execute(f"SELECT {', '.join(names)} FROM readings WHERE entry = 1 AND place = 2").fetchone()
        )
        row[names.index("reported")] = "<0.1"
        connection.execute(
            "UPDATE readings SET reported = '<0.1', seal = ? WHERE entry = 1 AND place = 2", [seal_of(row_digest(row))]
        )
    rewrite_log(filled, 1)
    assert "log entry 5: its hash is not the one that certificate C-2026-00001 knows" in found(filled)


def test_an_end_cut_off_is_found_by_an_anchor(filled: Path) -> None:
    store = open_store(filled)
    with store.reading() as connection:
        anchor = str(head(connection))
    store.close()
    tamper(filled, "DELETE FROM remarks", "DELETE FROM log WHERE seq = 7")
    assert found(filled) == ""
    assert found(filled, anchor) == "log entry 7: it is missing, but the anchor given knows it: the end was cut off"


def test_an_end_cut_off_before_a_certificate_leaves_rows_without_their_entry(filled: Path) -> None:
    tamper(filled, "DELETE FROM log WHERE seq >= 5")
    text = found(filled)
    assert "certificates of log entry 6: the log knows nothing of these 1 rows" in text
    assert "log entry 5: it is missing, but certificate C-2026-00001 knows it" in text


def test_an_anchor_that_is_none_is_refused(filled: Path) -> None:
    with pytest.raises(RecordRefusedError, match="NUMBER:HASH"):
        found(filled, "7")


def test_hash_and_digest_can_be_computed_without_this_package(filled: Path) -> None:
    """Only json and hashlib: what the log's description promises to a stranger."""

    def canonical(value: object) -> bytes:
        return json.dumps(value, ensure_ascii=False, separators=(",", ":"), sort_keys=True).encode()

    with closing(sqlite3.connect(filled)) as connection:
        connection.row_factory = sqlite3.Row
        previous = "0" * 64
        for row in connection.execute("SELECT * FROM log ORDER BY seq"):
            entry = dict(row)
            stated = entry.pop("hash")
            assert entry["previous"] == previous
            assert hashlib.sha256(canonical(entry)).hexdigest() == stated
            previous = stated
        count, stated = json.loads(connection.execute("SELECT rows FROM log WHERE seq = 1").fetchone()[0])[
            "check_files"
        ]
        digests = b""
        for row in connection.execute("SELECT * FROM check_files WHERE entry = 1 ORDER BY place"):
            values = [value for key, value in dict(row).items() if key != "seal"]
            digests += hashlib.sha256(canonical(values)).digest()
            assert row["seal"] == int.from_bytes(digests[-32:-24], "big", signed=True)
        assert len(digests) == 32 * count
        assert hashlib.sha256(digests).hexdigest() == stated


@pytest.mark.parametrize("table", ["log", *(table.name for table in TABLES)])
def test_the_database_refuses_to_change_or_delete_rows(store: Store, table: str) -> None:
    fill(store)
    with store.reading() as connection:
        empty = connection.execute(sa.select(sa.func.count()).select_from(sa.text(table))).scalar() == 0
    statements = [f"UPDATE {table} SET {'seq = seq' if table == 'log' else 'place = place'}", f"DELETE FROM {table}"]
    if not store.is_file:
        statements.append(f"TRUNCATE {table} CASCADE")
    for statement in [] if empty and store.is_file else statements[2:] if empty else statements:
        with pytest.raises(StoreError, match="never changed or deleted"), store.alone() as connection:
            connection.exec_driver_sql(statement)
    assert verify(store).found == ()


def test_a_guard_switched_off_in_postgresql_is_named(cluster: str) -> None:
    from tests.record_stores import new_database

    store = open_store(new_database(cluster))
    fill(store)
    with store.alone() as connection:
        connection.exec_driver_sql("ALTER TABLE readings DISABLE TRIGGER readings_keeps_rows")
        connection.execute(sa.update(readings).where(readings.c.entry == 1, readings.c.place == 2).values(value=0.0))
    text = "\n".join(map(str, verify(store).found))
    store.close()
    assert "guard readings_keeps_rows" in text
    assert "readings of log entry 1, row 2 (batch B1, sample S-118, parameter lead" in text


def test_every_act_makes_one_log_entry(store: Store) -> None:
    fill(store)
    with store.reading() as connection:
        rows = connection.execute(sa.select(log.c.seq, log.c.action, log.c.subject).order_by(log.c.seq)).all()
    assert [tuple(row) for row in rows] == [
        (1, "take in", "batch B1"), (2, "review", "batch B1"), (3, "take in", "batch B2"), (4, "review", "batch B2"),
        (5, "release", "batch B1"), (6, "issue", "batch B1"), (7, "remark", "batch B2"),
    ]  # fmt: skip
