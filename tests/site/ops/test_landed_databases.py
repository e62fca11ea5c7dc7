"""A database as it landed before is brought up to date, nothing in it is lost, and its book is in
balance."""

import lzma
import os
import sqlite3
import subprocess
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import psycopg
import pytest

from tests import keeper
from tests.present import present
from tests.program import environment, manage

LANDED = Path(__file__).parents[2] / "landed"

COUNTED = ("kits_entry", "kits_movement", "kits_kit", "kits_holding", "kits_seal", "kits_checkout")
FACTS = """
from django.db.models import Count
from kits.models import Checkout, CheckoutFact, Entry, Seal, SealFact
from kits.services.kits import (history)
from kits.models import Kit
print(Seal.objects.count() == SealFact.objects.filter(what="on").count())
opened = CheckoutFact.objects.filter(what="opened")
print(Checkout.objects.count() == opened.count())
print(not SealFact.objects.filter(known=False).exists())
checkout = Checkout.objects.filter(in_at__isnull=False, person__isnull=False).first()
then = checkout.opened_by.recorded_at
print(history.contents(checkout.kit, on=then, known_by=then).holder == checkout.person.name)
"""


@pytest.fixture
def landed(engine: str, make_database: Callable[[], str], tmp_path: Path) -> dict[str, str]:
    """The environment of a program over a copy of a landed database, not brought up to date."""
    url = make_database()
    if engine == "sqlite":
        file = Path(url.removeprefix("sqlite:///"))
        file.write_bytes(lzma.decompress((LANDED / "first.sqlite3.xz").read_bytes()))
    else:
        psql = str(present(keeper.postgresql_programs()) / "psql")
        empty = "DROP SCHEMA public CASCADE; CREATE SCHEMA public;"
        dump = lzma.decompress((LANDED / "first.sql.xz").read_bytes())
        # A later psql refuses what only restricts its own commands.
        lines = [
            x
            for x in dump.splitlines(keepends=True)
            if not x.startswith((b"\\restrict", b"\\unrestrict"))
        ]
        for script in (empty.encode(), b"".join(lines)):
            subprocess.run(
                [psql, "-q", "-v", "ON_ERROR_STOP=1", url],
                input=script,
                capture_output=True,
                check=True,
                env={**os.environ, "PGOPTIONS": "--client-min-messages=warning"},
            )
    return environment(tmp_path, DATABASE_URL=url)


def held(url: str) -> dict[str, int]:
    """How many rows its tables have."""
    counts = {table: f"SELECT count(*) FROM {table}" for table in COUNTED}
    if url.startswith("sqlite:"):
        with closing(sqlite3.connect(url.removeprefix("sqlite:///"))) as book:
            return {table: book.execute(count).fetchone()[0] for table, count in counts.items()}
    with psycopg.connect(url) as book:
        rows = {table: book.execute(count).fetchone() for table, count in counts.items()}
    return {table: present(row)[0] for table, row in rows.items()}


SHAPE_ON_POSTGRESQL = r"""
SELECT concat_ws(' ', table_name, column_name, data_type, character_maximum_length,
    numeric_precision, numeric_scale, is_nullable, column_default, identity_generation)
    FROM information_schema.columns WHERE table_schema = 'public'
UNION ALL SELECT conrelid::regclass || ' '
    || regexp_replace(pg_get_constraintdef(oid), '::(text|character varying)(\[\])?|[()]', '', 'g')
    FROM pg_constraint WHERE connamespace = 'public'::regnamespace
UNION ALL SELECT replace(indexdef, indexname, '') FROM pg_indexes WHERE schemaname = 'public'
UNION ALL SELECT pg_get_triggerdef(oid) FROM pg_trigger WHERE NOT tgisinternal
"""


def shape(url: str) -> list[str]:
    """What its tables are made of, in an order that does not depend on how they came about. On
    PostgreSQL without what it keeps from before: the names of indexes when a table is renamed, and
    in checks the type that a column had."""
    if url.startswith("sqlite:"):
        with closing(sqlite3.connect(url.removeprefix("sqlite:///"))) as book:
            made = book.execute("SELECT type, tbl_name, sql FROM sqlite_master WHERE sql NOTNULL")
            return sorted(
                f"{table} {part}"
                for kind, table, sql in made
                for part in (parts_of_table(sql) if kind == "table" else [sql])
            )
    with psycopg.connect(url) as book:
        return sorted(row[0] for row in book.execute(SHAPE_ON_POSTGRESQL))


def parts_of_table(sql: str) -> Iterator[str]:
    """The columns and constraints of a CREATE TABLE statement: what its outermost commas part."""
    depth, part = 0, ""
    for sign in sql:
        depth += (sign == "(") - (sign == ")")
        if sign == "," and depth == 1:
            yield part.strip()
            part = ""
        elif depth > 1 or (depth == 1 and sign != "("):
            part += sign
    yield part.strip()


NAMES = """
from django.db import connection
from gearroom.core.models import append_only
from gearroom.core.acts.act import Act, actor_of
from gearroom.core.models import Person, User
from gearroom.core.services.people import redaction

def telling():
    words = [w for p in Person.objects.all() for w in (p.name, p.phone, p.email) if w]
    rows = 0
    with connection.cursor() as cursor:
        for model in append_only.registered():
            cursor.execute(f"SELECT * FROM {model._meta.db_table}")
            rows += sum(any(w in str(row) for w in words) for row in cursor.fetchall())
    return rows

who = User.objects.get(person__memberships__room=None, person__memberships__role="administrator")
print(telling())
print(redaction.redact_landed(Act(actor=actor_of(who))).rows.count())
print(telling())
print(redaction.redact_landed(Act(actor=actor_of(who))).rows.count())
"""


def test_a_landed_database_is_brought_up_to_date_in_balance_with_all_that_it_held(
    landed: dict[str, str], make_database: Callable[[], str]
) -> None:
    before = held(landed["DATABASE_URL"])
    assert min(before.values()) > 0, before

    manage("migrate", "-v", "0", env=landed, timeout=300)

    assert held(landed["DATABASE_URL"]) == before
    # A new database, whose first steps are made in one, has the very same tables.
    assert shape(landed["DATABASE_URL"]) == shape(make_database())
    assert "Everything matches the entries." in manage("audit", env=landed).stdout
    told = manage("shell", "-v", "0", "-c", FACTS, env=landed)
    assert told.stdout.split() == ["True"] * 4

    # Names in rows of before are put apart.
    names, changed, after, again = map(
        int, manage("shell", "-v", "0", "-c", NAMES, env=landed).stdout.split()
    )
    assert names > 0
    assert (changed, after, again) == (names, 0, 0)
    assert "Everything matches the entries." in manage("audit", env=landed).stdout
