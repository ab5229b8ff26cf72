"""Turns tables into tables that only grow: triggers that refuse to change or delete a row, in SQLite and PostgreSQL."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from sqlalchemy import Connection

_REFUSAL = "records are never changed or deleted; a correction is a new version"

_FUNCTION = f"""CREATE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS
$$ BEGIN RAISE EXCEPTION '{_REFUSAL} (table %)', TG_TABLE_NAME; END $$"""

_SQLITE = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
_POSTGRESQL = """SELECT tgname, pg_get_triggerdef(pg_trigger.oid), tgenabled FROM pg_trigger
JOIN pg_class ON pg_class.oid = tgrelid WHERE NOT tgisinternal AND relnamespace = current_schema()::regnamespace"""
_BODY = "SELECT prosrc FROM pg_proc WHERE proname = 'refuse_change' AND pronamespace = current_schema()::regnamespace"


def guard_tables(connection: Connection, tables: Iterable[str]) -> None:
    """Make the guards of *tables*."""
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql(_FUNCTION.replace("%", "%%"))
    for table in tables:
        for statement in _guards(connection, table).values():
            connection.exec_driver_sql(statement)


def missing_guards(connection: Connection, tables: Iterable[str]) -> Iterator[str]:
    """Yield the name of each guard of *tables* that is gone, switched off or no longer as it was made."""
    if connection.dialect.name == "sqlite":
        standing = {row.name: row.sql for row in connection.exec_driver_sql(_SQLITE)}
        for table in tables:
            yield from (name for name, sql in _guards(connection, table).items() if standing.get(name) != sql)
        return
    body = connection.exec_driver_sql(_BODY).scalar()
    if body is None or _REFUSAL not in body:
        yield "refuse_change"
    active = {name for name, sql, enabled in connection.exec_driver_sql(_POSTGRESQL)
              if "refuse_change" in sql and enabled not in {b"D", "D"}}  # fmt: skip
    for table in tables:
        yield from (name for name in _guards(connection, table) if name not in active)


def _guards(connection: Connection, table: str) -> dict[str, str]:
    """Give the name and the statement of each guard of a table."""
    if connection.dialect.name == "postgresql":
        return {
            f"{table}_keeps_rows": f"CREATE TRIGGER {table}_keeps_rows BEFORE UPDATE OR DELETE ON {table} "
            "FOR EACH ROW EXECUTE FUNCTION refuse_change()",
            f"{table}_keeps_all": f"CREATE TRIGGER {table}_keeps_all BEFORE TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()",
        }
    return {
        f"{table}_no_{verb}": f"CREATE TRIGGER {table}_no_{verb} BEFORE {verb.upper()} ON {table} "
        f"BEGIN SELECT RAISE(ABORT, '{_REFUSAL} (table {table})'); END"
        for verb in ("update", "delete")
    }
