"""A whole database as one file and back, each engine by its own means.

SQLite: a copy by its online backup API, which holds no writer up. PostgreSQL: pg_dump's custom
format, put back by psql in one transaction, so that a failure leaves what was there.
"""

import os
import shutil
import sqlite3
import subprocess
from collections.abc import Mapping
from contextlib import closing
from pathlib import Path

from django.db import connection, connections

NAMES = {"sqlite": "database.sqlite3", "postgresql": "database.pgdump"}


class DumpError(Exception):
    """The database could not be copied or put back; the message says what to do."""


def save(path: Path) -> None:
    """Write the default database as it is at one instant to `path`, while others write to it."""
    if connection.vendor == "sqlite":
        _save_sqlite(path)
    else:
        _run("pg_dump", ["--format=custom", "--no-owner", "--no-privileges", f"--file={path}"])


def load(path: Path) -> None:
    """Put a saved database in the place of the default one, whatever is there.

    Raises DumpError, with what was there kept, when the file is not whole or the database in use.
    """
    connections.close_all()
    if connection.vendor == "sqlite":
        _load_sqlite(path)
    else:
        _load_postgresql(path)
    connections.close_all()


def others_connected() -> int:
    """How many other connections the default database has; 0 where the engine can't tell."""
    if connection.vendor != "postgresql":
        return 0
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(*) FROM pg_stat_activity"
            " WHERE datname = current_database() AND pid <> pg_backend_pid()"
            " AND backend_type = 'client backend'"
        )
        return int(cursor.fetchone()[0])


# ------------------------------------------------------------------------------------------ SQLite
def _save_sqlite(path: Path) -> None:
    try:
        with (
            closing(sqlite3.connect(_sqlite_file())) as source,
            closing(sqlite3.connect(path)) as copy,
        ):
            source.backup(copy)  # all pages in one step: one instant of the database
            copy.execute("PRAGMA journal_mode=DELETE")
    except sqlite3.Error as problem:
        raise DumpError(f"The database can't be copied: {problem}.") from problem
    _check_sqlite(path)


def _check_sqlite(path: Path) -> None:
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as copy:
        try:
            result = copy.execute("PRAGMA integrity_check").fetchall()
        except sqlite3.DatabaseError as problem:
            raise DumpError(f"The database in the backup can't be read: {problem}.") from problem
    if result != [("ok",)]:
        raise DumpError(f"The copy of the database is not whole: {result[0][0]}.")


def _load_sqlite(path: Path) -> None:
    target = _sqlite_file()
    (fresh,) = drafts(str(target))
    try:
        shutil.copyfile(path, fresh)
        _check_sqlite(fresh)
        with fresh.open("rb+") as file:
            os.fsync(file.fileno())
        if target.exists():
            _settle_sqlite(target)
        fresh.replace(target)
    finally:
        fresh.unlink(missing_ok=True)


def drafts(name: str) -> list[Path]:
    """Where a database of that path lies while it is put back."""
    return [Path(f"{name}.restoring")]


def _settle_sqlite(target: Path) -> None:
    """Leave no write-ahead log: beside the new file it would be taken for that one's."""
    with closing(sqlite3.connect(target, timeout=1, isolation_level=None)) as old:
        try:
            old.execute("PRAGMA journal_mode=DELETE")
            old.execute("BEGIN EXCLUSIVE")
            old.execute("ROLLBACK")
        except sqlite3.OperationalError as problem:
            raise DumpError(
                "Another program has the database open. Stop it, then try again."
            ) from problem
        except sqlite3.DatabaseError:
            pass  # what is there is no database, or a broken one: that is why one restores
    for suffix in ("-wal", "-shm", "-journal"):
        target.with_name(target.name + suffix).unlink(missing_ok=True)


def _sqlite_file() -> Path:
    return Path(connection.settings_dict["NAME"])


# -------------------------------------------------------------------------------------- PostgreSQL
def _load_postgresql(path: Path) -> None:
    script = path.with_suffix(".sql")
    with script.open("wb") as out:
        out.write(b"DROP SCHEMA public CASCADE;\nCREATE SCHEMA public;\n")
        out.flush()
        _run("pg_restore", ["--no-owner", "--no-privileges", "--file=-", str(path)], stdout=out)
    _run(
        "psql",
        ["--no-psqlrc", "--quiet", "--single-transaction", "--set=ON_ERROR_STOP=1",
         "--output=/dev/null", f"--file={script}"],
    )  # fmt: skip


def _run(program: str, arguments: list[str], stdout: object = subprocess.DEVNULL) -> None:
    if (where := shutil.which(program)) is None:
        raise DumpError(f"{program} is not installed. On Debian: apt-get install postgresql-client")
    result = subprocess.run(
        [where, *arguments],
        env={**os.environ, **_postgresql_environment()},
        stdin=subprocess.DEVNULL,
        stdout=stdout,  # type: ignore[call-overload]  # a file or DEVNULL
        stderr=subprocess.PIPE,
        text=True,
    )
    if result.returncode:
        raise DumpError(f"{program} failed: {result.stderr.strip()}")


def _postgresql_environment() -> Mapping[str, str]:
    """libpq's variables for the default database: the password is on no command line."""
    where = connection.settings_dict
    values = {
        "PGHOST": where["HOST"],
        "PGPORT": str(where["PORT"]),
        "PGUSER": where["USER"],
        "PGPASSWORD": where["PASSWORD"],
        "PGDATABASE": where["NAME"],
        "PGSSLMODE": where["OPTIONS"].get("sslmode", ""),
    }
    return {name: value for name, value in values.items() if value}
