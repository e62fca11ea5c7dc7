"""A database as it landed before is brought up to date, and its book is in balance."""

import lzma
import os
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from tests import keeper
from tests.present import present
from tests.program import environment, manage

LANDED = Path(__file__).parents[2] / "landed"

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


def test_a_landed_database_is_brought_up_to_date_and_in_balance(landed: dict[str, str]) -> None:
    manage("migrate", "-v", "0", env=landed, timeout=300)

    assert "Everything matches the entries." in manage("audit", env=landed).stdout
    told = manage("shell", "-v", "0", "-c", FACTS, env=landed)
    assert told.stdout.split() == ["True"] * 4


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


def test_names_in_rows_of_before_are_put_apart_in_a_landed_database(landed: dict[str, str]) -> None:
    manage("migrate", "-v", "0", env=landed, timeout=300)

    before, changed, after, again = map(
        int, manage("shell", "-v", "0", "-c", NAMES, env=landed).stdout.split()
    )

    assert before > 0
    assert (changed, after, again) == (before, 0, 0)
    assert "Everything matches the entries." in manage("audit", env=landed).stdout
