"""A database that people have opens with the program as it is now: it migrates, it balances, and
nothing in it is lost."""

import lzma
import sqlite3
import subprocess
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import psycopg
import pytest

from tests import keeper
from tests.conftest import need
from tests.program import environment, manage

LANDED = Path(__file__).resolve().parents[2] / "landed"
COUNTED = ("kits_entry", "kits_movement", "kits_kit", "kits_holding", "kits_seal", "kits_checkout")

Rows = dict[str, int]


def test_a_landed_sqlite_database_migrates_and_balances(tmp_path: Path) -> None:
    file = tmp_path / "landed.sqlite3"
    file.write_bytes(lzma.decompress((LANDED / "first.sqlite3.xz").read_bytes()))

    def rows() -> Rows:
        with closing(sqlite3.connect(file)) as book:
            return {
                table: book.execute(f"SELECT count(*) FROM {table}").fetchone()[0]
                for table in COUNTED
            }

    migrates_and_balances(f"sqlite:///{file}", rows, tmp_path)


def test_a_landed_postgresql_database_migrates_and_balances(
    tmp_path: Path, session_folder: Path
) -> None:
    need("postgresql")
    server = keeper.ask(session_folder, want="postgresql")["url"]
    name = "landed_first"
    url = f"{server.rsplit('/', 1)[0]}/{name}"
    with psycopg.connect(server, autocommit=True) as admin:
        admin.execute(f"CREATE DATABASE {name}")
    try:
        _load(url, lzma.decompress((LANDED / "first.sql.xz").read_bytes()))

        def rows() -> Rows:
            with psycopg.connect(url) as book:
                found = {table: book.execute(f"SELECT count(*) FROM {table}") for table in COUNTED}
                return {table: row[0] for table, rows in found.items() for row in rows}

        migrates_and_balances(url, rows, tmp_path)
    finally:
        with psycopg.connect(server, autocommit=True) as admin:
            admin.execute(f"DROP DATABASE {name} WITH (FORCE)")


def migrates_and_balances(url: str, rows: Callable[[], Rows], folder: Path) -> None:
    """Migrate a landed database and audit it; what it held is all there afterwards."""
    before = rows()
    assert min(before.values()) > 0, before
    env = environment(folder, DATABASE_URL=url)

    manage("migrate", "--verbosity=0", env=env)
    audit = manage("audit", env=env, check=False)

    assert audit.returncode == 0, audit.stdout + audit.stderr
    assert rows() == before


def _load(url: str, dump: bytes) -> None:
    """What pg_dump wrote. Its \\restrict is left out, which an older psql does not know."""
    programs = keeper.postgresql_programs()
    assert programs is not None  # need() found them
    lines = [row for row in dump.split(b"\n") if not row.startswith((b"\\restrict", b"\\unrestri"))]
    loaded = subprocess.run(
        [programs / "psql", "--quiet", "-v", "ON_ERROR_STOP=1", "-d", url],
        input=b"\n".join(lines),
        capture_output=True,
    )
    if loaded.returncode:
        pytest.fail(loaded.stderr.decode())
