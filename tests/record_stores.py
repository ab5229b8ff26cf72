"""Turns a temporary folder into record stores for the tests: SQLite files, and databases of an own PostgreSQL."""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from uuid import uuid4

import psycopg
import pytest

from tests.certificate_batches import good_batch, held_batch, rejected_batch
from wqcheck.records.intake import NamedBytes, take_in
from wqcheck.records.roles import Act, Person, Role
from wqcheck.records.store import Store, open_store
from wqcheck.release.decision import BatchCheck

ADA = Person(person="ada", name="Ada Sorrel (invented)", roles=frozenset({Role.ANALYST}))
RUI = Person(person="rui", name="Rui Cove (invented)", roles=frozenset({Role.REVIEWER, Role.RELEASER}))
MEI = Person(person="mei", name="Mei Strand (invented)", roles=frozenset({Role.RELEASER}))
OTTO = Person(person="otto", name="Otto Ledger (invented)", roles=frozenset({Role.AUDITOR}))
BEGIN = datetime(2026, 3, 4, 8, 0, tzinfo=UTC)
DAY = date(2026, 3, 4)


def act(by: Person, why: str = "", minutes: int = 0) -> Act:
    """Give an act of a person some minutes after the tests' morning began."""
    return Act(by=by, at=BEGIN + timedelta(minutes=minutes), why=why)


def binaries() -> Path | None:
    """Find the newest PostgreSQL server programs of a Debian system, or those on the path."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[4]))
    if found:
        return found[-1].parent
    on_path = shutil.which("initdb")
    return Path(on_path).parent if on_path else None


@contextmanager
def running_cluster() -> Iterator[str]:
    """Start a PostgreSQL server on a socket in a folder of its own, and give the URL of its first database.

    The server refuses to run as root, so there it runs as the user that its package made.
    """
    programs = binaries()
    assert programs is not None
    user = "postgres" if os.geteuid() == 0 else None
    folder = Path(tempfile.mkdtemp(prefix="wq", dir="/tmp"))
    if user:
        os.chown(folder, pwd.getpwnam(user).pw_uid, pwd.getpwnam(user).pw_gid)
    data = folder / "data"
    options = f"-k {folder} -c listen_addresses='' -c fsync=off"
    control = [str(programs / "pg_ctl"), "-D", str(data), "-w", "-l", str(folder / "server.log")]
    try:
        _run([str(programs / "initdb"), "-D", str(data), "-U", "keeper", "-A", "trust", "--no-sync"], user)
        _run([*control, "-o", options, "start"], user)
        yield f"postgresql://keeper@/postgres?host={folder}"
    finally:
        if data.exists():
            _run([*control, "-m", "immediate", "stop"], user)
        shutil.rmtree(folder, ignore_errors=True)


def new_database(cluster: str) -> str:
    """Make an empty database in a cluster and give its URL."""
    name = f"records_{uuid4().hex[:12]}"
    with psycopg.connect(cluster, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}".encode())
    return cluster.replace("/postgres?", f"/{name}?")


def _run(command: list[str], user: str | None) -> None:
    subprocess.run(command, check=True, user=user, cwd="/", stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


@pytest.fixture(scope="session")
def cluster() -> Iterator[str]:
    """Give the URL of a running PostgreSQL; without its programs the test is skipped (which CI forbids)."""
    if binaries() is None:
        pytest.skip("PostgreSQL is not installed")
    with running_cluster() as url:
        yield url


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Give the place of an empty store, once on each engine."""
    if request.param == "sqlite":
        return str(tmp_path / "records.sqlite")
    return new_database(request.getfixturevalue("cluster"))


@pytest.fixture
def store(place: str) -> Iterator[Store]:
    """Give an open, empty store, once on each engine."""
    opened = open_store(place)
    yield opened
    opened.close()


def released(batch: str = "B2107") -> BatchCheck:
    """Give a batch that is recommended for release, under a number."""
    return _renamed(good_batch(), batch)


def held(batch: str = "B2107") -> BatchCheck:
    """Give a batch that is recommended to be held, under a number."""
    return _renamed(held_batch(), batch)


def rejected(batch: str = "B2107") -> BatchCheck:
    """Give a batch that is recommended to be rejected, under a number."""
    return _renamed(rejected_batch(), batch)


def files_of(checked: BatchCheck) -> list[NamedBytes]:
    """Give the bytes of the files that a check of these tests lists."""
    return [(stamp.name, f"{checked.details.batch} {stamp.name}".encode()) for stamp in checked.files]


def _renamed(checked: BatchCheck, batch: str) -> BatchCheck:
    """Give a check under another batch number, with the digests of invented files."""
    import hashlib
    from dataclasses import replace

    stamps = tuple(
        replace(stamp, sha256=hashlib.sha256(f"{batch} {stamp.name}".encode()).hexdigest()) for stamp in checked.files
    )
    return replace(
        checked, files=stamps, details=replace(checked.details, batch=batch),
        decision=replace(checked.decision, batch=batch),
        readings=checked.readings.assign(batch=batch), judged=checked.judged.assign(batch=batch),
    )  # fmt: skip


def taken_in(store: Store, checked: BatchCheck, why: str = "") -> int:
    """Take a check in as Ada."""
    return take_in(store, checked, act(ADA, why), files_of(checked), on=DAY)
