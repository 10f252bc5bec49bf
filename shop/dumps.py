"""A consistent copy of the database while it is in use, and putting one back, on SQLite and PostgreSQL."""

import os
import shutil
import sqlite3
import subprocess
import time
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.apps import apps
from django.db import DatabaseError, connection, models, transaction

PATIENCE_S = 60  # for a database that somebody else is writing to
BUSY = {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}
FILE_NAMES = {"sqlite": "database.sqlite3", "postgresql": "database.pgdump"}
#: Rows that are there before anybody has entered anything, or that come by themselves.
NOBODYS = {"migrations", "contenttypes", "sessions", "auth", "axes"}


class BackupError(Exception):
    """Why there is no backup, or why it was not restored, in words for whoever runs the server."""


@dataclass(frozen=True)
class Facts:
    """What a copy holds: migrations and counts of rows by table, and the names of stored files."""

    server: str
    migrations: list[str]
    counts: dict[str, int]
    files: list[str]


def vendor() -> str:
    """``sqlite`` or ``postgresql``."""
    if connection.vendor not in FILE_NAMES:
        raise BackupError(f"There is no way to copy a database of the kind {connection.vendor}.")
    return connection.vendor


def copy_database(path: Path) -> Facts:
    """Write a copy of the database as it stands at one moment; others go on reading and writing."""
    return _copy_sqlite(path) if vendor() == "sqlite" else _copy_postgresql(path)


def check_copy(path: Path) -> None:
    """Open a copy and let the database's own tools look through it. Raises ``BackupError``."""
    if vendor() == "postgresql":
        _client("pg_restore", "--list", str(path), connected=False)
        return
    try:
        with closing(sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)) as copy:
            found = [word for (word,) in copy.execute("PRAGMA integrity_check")]
            loose = copy.execute("PRAGMA foreign_key_check").fetchall()
    except sqlite3.Error as error:
        raise BackupError(f"The copy of the database cannot be read: {error}.") from error
    if found != ["ok"]:
        raise BackupError(f"The copy of the database is damaged: {found[0]}")
    if loose:
        raise BackupError(f"The copy of the database is damaged: {len(loose)} rows point nowhere.")


def put_back(path: Path) -> None:
    """Put a checked copy in the place of all that the database holds, as a whole or not at all."""
    if vendor() == "sqlite":
        _put_back_sqlite(path)
    else:
        _put_back_postgresql(path)


def facts_now() -> Facts:
    """What the connected database holds."""
    with connection.cursor() as cursor:
        return _facts(cursor, _server())


def holdings() -> dict[str, int]:
    """Counts of the rows that somebody entered, by table; empty for a new database."""
    found = {}
    with connection.cursor() as cursor:
        there = set(connection.introspection.table_names(cursor))
        for model in _models():
            if model._meta.app_label not in NOBODYS and model._meta.db_table in there:
                count = _count(cursor, model._meta.db_table)
                if count:
                    found[model._meta.db_table] = count
    return found


# SQLite


def _copy_sqlite(path: Path) -> Facts:
    connection.ensure_connection()
    with closing(sqlite3.connect(path)) as copy:
        _copy_pages(connection.connection, copy)
        copy.execute("PRAGMA journal_mode=DELETE")  # one file, nothing beside it
        with closing(copy.cursor()) as cursor:
            return _facts(cursor, sqlite3.sqlite_version)


def _copy_pages(source: sqlite3.Connection, target: sqlite3.Connection) -> None:
    end = time.monotonic() + PATIENCE_S

    def waited(status: int, remaining: int, total: int) -> None:
        if status in BUSY and time.monotonic() > end:
            raise BackupError(f"The database was being written to for {PATIENCE_S} s; try again.")

    source.backup(target, progress=waited)


def _put_back_sqlite(path: Path) -> None:
    try:
        connection.ensure_connection()
        with closing(sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)) as source:
            _copy_pages(source, connection.connection)
    except (sqlite3.Error, DatabaseError) as error:
        raise BackupError(f"The database could not be written: {error}.") from error


def set_aside(stamp: str) -> Path:
    """Rename an SQLite database that cannot be read, with its journals, so that a new one can begin."""
    connection.close()
    path = Path(connection.settings_dict["NAME"])
    aside = path.with_name(f"{path.name}.unreadable-{stamp}")
    for suffix in ("", "-wal", "-shm"):
        part = path.with_name(path.name + suffix)
        if part.exists():
            part.rename(aside.with_name(aside.name + suffix))
    return aside


# PostgreSQL


def _copy_postgresql(path: Path) -> Facts:
    """A dump, and counts taken of the very same moment."""
    with transaction.atomic(durable=True), connection.cursor() as cursor:
        cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        cursor.execute("SELECT pg_export_snapshot()")
        (snapshot,) = cursor.fetchone()
        facts = _facts(cursor, _server())
        _client(
            "pg_dump",
            "--format=custom",
            "--no-owner",
            "--no-privileges",
            f"--snapshot={snapshot}",
            f"--file={path}",
        )
    return facts


def _put_back_postgresql(path: Path) -> None:
    """In one transaction: all tables away, whatever their release, then those of the copy."""
    away, script = path.with_suffix(".away.sql"), path.with_suffix(".sql")
    with connection.cursor() as cursor:
        there = connection.introspection.table_names(cursor)
    quote = connection.ops.quote_name
    away.write_text("".join(f"DROP TABLE IF EXISTS {quote(name)} CASCADE;\n" for name in there))
    script.touch(0o600)
    options = ("--no-owner", "--no-privileges", f"--file={script}", str(path))
    _client("pg_restore", *options, connected=False)
    connection.close()
    strict = ("--no-psqlrc", "--quiet", "--single-transaction", "--set=ON_ERROR_STOP=1")
    _client("psql", *strict, f"--file={away}", f"--file={script}")


def _client(program: str, *options: str, connected: bool = True) -> None:
    """Run one of PostgreSQL's programs; the password goes by the environment, where nobody reads it."""
    found = shutil.which(program)
    if found is None:
        raise BackupError(
            f"{program} is not installed (Debian: apt-get install postgresql-client)."
        )
    command, environment = list(options), dict(os.environ)
    if connected:
        (_, *command), extra = connection.client.settings_to_cmd_args_env(
            connection.settings_dict, [*options, "--no-password"]
        )
        environment |= extra or {}
    done = subprocess.run(  # noqa: S603  the program by its full path, no shell
        [found, *command], env=environment, capture_output=True, text=True, check=False
    )
    if done.returncode != 0:
        said = done.stderr.strip().splitlines() or [f"it ended with {done.returncode}"]
        raise BackupError(f"{program} failed: {said[-1] if len(said) == 1 else said[0]}")


def _server() -> str:
    if connection.vendor == "sqlite":
        return sqlite3.sqlite_version
    version = connection.get_database_version()
    return ".".join(str(number) for number in version)


# What is in it


def _facts(cursor: Any, server: str) -> Facts:
    """Read by a cursor of the connected database or of an SQLite copy."""
    there = _tables(cursor)
    migrations = []
    if "django_migrations" in there:
        cursor.execute("SELECT app, name FROM django_migrations ORDER BY app, name")
        migrations = [f"{app}.{name}" for app, name in cursor.fetchall()]
    tables = sorted({model._meta.db_table for model in _models()} & there)
    return Facts(
        server=server,
        migrations=migrations,
        counts={table: _count(cursor, table) for table in tables},
        files=sorted(_files(cursor, there)),
    )


def _tables(cursor: Any) -> set[str]:
    if isinstance(cursor, sqlite3.Cursor):
        cursor.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
        return {name for (name,) in cursor.fetchall()}
    return set(connection.introspection.table_names(cursor))


def _models() -> Sequence[type[models.Model]]:
    return apps.get_models(include_auto_created=True)


def _count(cursor: Any, table: str) -> int:
    cursor.execute(f"SELECT COUNT(*) FROM {connection.ops.quote_name(table)}")  # noqa: S608  our own name
    (count,) = cursor.fetchone()
    return int(count)


def _files(cursor: Any, there: set[str]) -> Iterator[str]:
    """Names of the stored files that rows point to."""
    quote = connection.ops.quote_name
    for model in _models():
        if model._meta.db_table not in there:
            continue
        for field in model._meta.local_concrete_fields:
            if isinstance(field, models.FileField) and field.column:
                table, column = quote(model._meta.db_table), quote(field.column)
                cursor.execute(f"SELECT {column} FROM {table} WHERE {column} <> ''")  # noqa: S608
                yield from (name for (name,) in cursor.fetchall())
