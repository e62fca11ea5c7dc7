"""A database as it landed before is brought up to date, and its book is in balance."""

from __future__ import annotations

import lzma
import os
import subprocess
from pathlib import Path

import pytest

from tests import keeper
from tests.program import environment, manage

LANDED = Path(__file__).parent.parent / "landed"

FACTS = """
from django.db.models import Count
from kits.models import Checkout, CheckoutFact, Entry, Seal, SealFact
from kits.services import contents
from kits.models import Kit
print(Seal.objects.count() == SealFact.objects.filter(what="on").count())
opened = CheckoutFact.objects.filter(what="opened")
print(Checkout.objects.count() == opened.count())
print(not SealFact.objects.filter(known=False).exists())
checkout = Checkout.objects.filter(in_at__isnull=False, person__isnull=False).first()
then = checkout.opened_by.recorded_at
print(contents.contents(checkout.kit, on=then, known_by=then).holder == checkout.person.name)
"""


@pytest.fixture
def landed(engine, make_database, tmp_path):
    """The environment of a program over a copy of a landed database, not brought up to date."""
    url = make_database()
    if engine == "sqlite":
        file = Path(url.removeprefix("sqlite:///"))
        file.write_bytes(lzma.decompress((LANDED / "first.sqlite3.xz").read_bytes()))
    else:
        psql = str(keeper.postgresql_programs() / "psql")
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


def test_a_landed_database_is_brought_up_to_date_and_in_balance(landed):
    manage("migrate", "-v", "0", env=landed, timeout=300)

    assert "balance" in manage("audit", env=landed).stdout
    told = manage("shell", "-v", "0", "-c", FACTS, env=landed)
    assert told.stdout.split() == ["True"] * 4
