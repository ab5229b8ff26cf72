"""Turns a file name or database URL into an open record store, made or brought up to date where need be."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, Engine, create_engine, event, inspect
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, DatabaseError, InterfaceError, SQLAlchemyError

from wqcheck.errors import StoreError
from wqcheck.records.schema import SCHEMA_VERSION

BUSY_SECONDS = 30
"""How long a writer waits for another one before it gives up."""

_ADVISORY = 0x77716368


@dataclass(frozen=True, slots=True, eq=False)
class Store:
    """An open record store; ``name`` is how messages call it, without a password."""

    engine: Engine
    name: str

    @property
    def is_file(self) -> bool:
        """Whether the store is an SQLite file."""
        return self.engine.dialect.name == "sqlite"

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Give a connection on which all reads see the store at one moment."""
        options = {} if self.is_file else {"isolation_level": "REPEATABLE READ"}
        with _clear_words(self.name), self.engine.connect().execution_options(**options) as connection:
            yield connection

    @contextmanager
    def alone(self) -> Iterator[Connection]:
        """Give a connection in a transaction that no other writer shares; it is committed whole or not at all."""
        with (
            _clear_words(self.name),
            self.engine.connect().execution_options(writes=True) as connection,
            connection.begin(),
        ):
            if not self.is_file:
                connection.exec_driver_sql("LOCK TABLE log IN EXCLUSIVE MODE")
            yield connection

    def close(self) -> None:
        """Close all connections."""
        self.engine.dispose()


def open_store(place: str | Path, *, create: bool = True) -> Store:
    """Open a record store, make it where there is none yet, and bring an older one up to date.

    Parameters
    ----------
    place : str or Path
        An SQLite file, or a URL such as ``postgresql://user@host/database``.
    create : bool
        Whether a store that is not there is made.

    Raises
    ------
    StoreError
        The place cannot be opened, holds something else, or a store of a newer version.
    """
    url = _url(place)
    name = url.database or "" if url.get_backend_name() == "sqlite" else url.render_as_string(hide_password=True)
    if url.get_backend_name() == "sqlite" and not create and not Path(name).is_file():
        raise StoreError(f"there is no record store {name}; make it with `wqcheck records init --store {name}`")
    store = Store(_engine(url), name)
    try:
        _prepare(store, create=create)
    except BaseException:
        store.close()
        raise
    return store


def _prepare(store: Store, *, create: bool) -> None:
    """Bring a store up to date while no other program does."""
    with (
        _clear_words(store.name),
        store.engine.connect().execution_options(writes=True) as connection,
        connection.begin(),
    ):
        if not store.is_file:
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_ADVISORY})")
        _bring_up_to_date(connection, store.name, create=create)


def _url(place: str | Path) -> URL:
    text = str(place)
    if "://" not in text:
        return URL.create("sqlite", database=str(Path(text).expanduser().resolve()))
    try:
        url = make_url(text)
    except ArgumentError:
        raise StoreError(
            f"{text} is no database URL; write it as postgresql://user@host/database, or give a file name"
        ) from None
    if url.get_backend_name() == "sqlite" and url.database:
        return url
    if url.get_backend_name() not in {"postgresql", "postgres"}:
        raise StoreError(f"{url.get_backend_name()} is not supported; use an SQLite file or a postgresql:// URL")
    return url.set(drivername="postgresql+psycopg")


def _engine(url: URL) -> Engine:
    if url.get_backend_name() == "sqlite":
        engine = create_engine(url, connect_args={"timeout": BUSY_SECONDS})
        event.listen(engine, "connect", _prepare_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
        return engine
    options = {} if "options" in url.query else {"options": f"-c lock_timeout={BUSY_SECONDS * 1000}"}
    try:
        return create_engine(url, connect_args=options, pool_pre_ping=True)
    except ModuleNotFoundError:
        raise StoreError("PostgreSQL needs one more package: pip install 'wqcheck[postgresql]'") from None


def _prepare_sqlite(connection: sqlite3.Connection, _: object) -> None:
    """Set a new connection: this module begins transactions itself, and a commit is on disk when it returns."""
    connection.isolation_level = None
    for pragma in ("journal_mode=WAL", "foreign_keys=ON", "synchronous=FULL", "recursive_triggers=ON",
                   f"busy_timeout={BUSY_SECONDS * 1000}"):  # fmt: skip
        connection.execute(f"PRAGMA {pragma}")


def _begin_sqlite(connection: Connection) -> None:
    """Begin; a writer takes its turn at once, so that what it has read still holds when it writes."""
    writes = connection.get_execution_options().get("writes")
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _bring_up_to_date(connection: Connection, name: str, *, create: bool) -> None:
    """Run the migrations that the store lacks."""
    tables = set(inspect(connection).get_table_names())
    if not tables & {"alembic_version"}:
        if tables:
            raise StoreError(f"{name} holds other tables than those of a record store; give another place")
        if not create:
            raise StoreError(f"{name} holds no record store yet; make it with `wqcheck records init`")
        known = None
    else:
        known = connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar()
    if known != SCHEMA_VERSION:
        _migrate(connection, name, known)


def _migrate(connection: Connection, name: str, known: str | None) -> None:
    from alembic.operations import Operations
    from alembic.runtime.migration import MigrationContext
    from alembic.script import ScriptDirectory

    scripts = ScriptDirectory(str(Path(__file__).parent / "migrations"))
    steps = {step.revision for step in scripts.walk_revisions()}
    if known is not None and known not in steps:
        raise StoreError(
            f"{name} was written by a newer wqcheck (schema {known}; this one knows up to {SCHEMA_VERSION}); "
            "update wqcheck, nothing was changed"
        )
    context = MigrationContext.configure(connection)
    with Operations.context(context):
        for step in reversed(list(scripts.iterate_revisions("head", known or "base"))):
            step.module.upgrade()
    context.stamp(scripts, "head")


@contextmanager
def _clear_words(name: str) -> Iterator[None]:
    """Turn what a database says into one sentence."""
    try:
        yield
    except InterfaceError as problem:
        raise StoreError(f"{name} cannot be used: {_first_line(problem)}") from problem
    except DatabaseError as problem:
        said = _first_line(problem)
        if "locked" in said or "lock timeout" in said:
            raise StoreError(
                f"{name} is busy: another program has been writing for {BUSY_SECONDS} s; try again, nothing was changed"
            ) from problem
        if "not a database" in said:
            raise StoreError(f"{name} is no record store; give another file, or a new name") from problem
        if "readonly" in said:
            raise StoreError(f"{name} cannot be written; check who owns the file and its folder") from problem
        if "unable to open" in said:
            raise StoreError(f"{name} cannot be opened; check the name and its folder") from problem
        raise StoreError(f"{name}: the database refused: {said}; nothing was changed") from problem


def _first_line(problem: SQLAlchemyError) -> str:
    return str(getattr(problem, "orig", None) or problem).strip().splitlines()[0]
