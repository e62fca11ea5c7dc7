"""The kinds of database that tests run on, which tests need both, and copies of an empty one."""

import os
import shutil
from collections import Counter
from collections.abc import Iterable, Iterator
from itertools import count
from pathlib import Path

import pytest

from tests import keeper

ENGINES = ("sqlite", "postgresql")
# What answers and texts are made of: every service that they call runs on both.
ONCE = (
    "tests/attacks/files/test_hostile_input.py::test_mutated_files",
    "tests/attacks/requests/test_lost_updates.py",
    "tests/attacks/visibility",
    "tests/core/api/test_answers.py",
    "tests/core/api/test_schema.py",
    "tests/core/api/test_views.py",
    "tests/e2e/test_mail.py::test_a_450",
    "tests/e2e/test_mail.py::test_a_550",
    "tests/e2e/test_mail.py::test_dropped_after_its_data",
    "tests/e2e/test_mail.py::test_it_arrives_with_the_headers",
    "tests/kits/ledger/undo/test_undo_replayed.py",
    "tests/kits/mail/test_digest_verdicts.py",
    "tests/kits/notices/test_one_cause.py",
    "tests/kits/planning/test_back_tests.py",
    "tests/kits/planning/test_carrying.py",
    "tests/kits/planning/test_counted_by_hand.py",
    "tests/kits/planning/test_drafting.py",
    "tests/kits/planning/test_fit.py",
    "tests/kits/planning/test_past_use.py",
    "tests/kits/planning/test_plans_api.py",
    "tests/kits/planning/test_replays.py",
    "tests/kits/planning/test_season_page.py",
    "tests/kits/stock/test_answers_conform.py",
    "tests/kits/test_answers_conform.py",
    "tests/labels/scan",
    "tests/site/accounts",
    "tests/site/page/test_languages.py",
    "tests/site/scan",
)
# The services, a function a test: the statements of each are few, and each file has them.
SAMPLED = ("tests/kits/", "tests/attacks/accounts/", "tests/labels/printing/")
EVERY = 16
# They open a database of their own: for threads, for processes, for what a commit does.
OF_ITS_OWN = {"own_database", "make_database", "use_database"}
_numbers = count(1)


def engine_of(item: pytest.Item) -> str | None:
    """The engine that a test runs on, or None where it takes no database."""
    call = getattr(item, "callspec", None)
    return call.params.get("engine") if call else None


def left_to_sqlite(items: Iterable[pytest.Item]) -> Iterator[pytest.Item]:
    """Tests on PostgreSQL whose promise the same test on SQLite keeps.

    A test that says its engine, or has a database of its own, runs on each. Of `ONCE` none does
    both, of the files of `SAMPLED` the first and every sixteenth from there.
    """
    both = (i for i in items if engine_of(i) == "postgresql" and not _needs_both(i))
    sampled = []
    for item in both:
        if item.nodeid.startswith(ONCE):
            yield item
        else:
            sampled.append(item)
    yield from between(sampled, EVERY)


def between(items: Iterable[pytest.Item], every: int) -> Iterator[pytest.Item]:
    """All of these but the first of each file of `SAMPLED` and every so many from there; files of
    others are whole."""
    numbers: Counter[str] = Counter()
    for item in items:
        if item.nodeid.startswith(SAMPLED):
            file = item.nodeid.split("::")[0]
            if numbers[file] % every:
                yield item
            numbers[file] += 1


def _needs_both(item: pytest.Item) -> bool:
    if any("engine" in mark.args[0] for mark in item.iter_markers("parametrize")):
        return True
    own = OF_ITS_OWN.intersection(getattr(item, "fixturenames", ()))
    return bool(own) and not item.nodeid.startswith(ONCE)


class Engine:
    """One kind of database: copies of the migrated template, and which one is open here."""

    def __init__(self, name: str, folder: Path) -> None:
        self.name = name
        self.folder = folder
        self.home: str | None = None

    def copy(self) -> str:
        """The address of a fresh copy of the migrated, empty database."""
        template = keeper.ask(self.folder, want="template", engine=self.name)["name"]
        name = f"copy_{os.getpid()}_{next(_numbers)}"
        if self.name == "sqlite":
            file = self.folder / f"{name}.sqlite3"
            shutil.copyfile(template, file)
            return f"sqlite:///{file}"
        self._administer(f"CREATE DATABASE {name} TEMPLATE {template}")
        return self._server().rsplit("/", 1)[0] + f"/{name}"

    def drop(self, url: str) -> None:
        if self.name == "sqlite":
            for file in self.folder.glob(url.rsplit("/", 1)[1] + "*"):
                file.unlink()
        else:
            self._administer(f"DROP DATABASE {url.rsplit('/', 1)[1]} WITH (FORCE)")

    def open(self, url: str) -> None:
        """Let Django's default database be this one, in every thread that has not opened it."""
        from asgiref.local import Local
        from django.conf import settings
        from django.db import connections

        from gearroom.core.setup.database import configuration

        connections.close_all()
        settings.DATABASES = {"default": configuration(url)}
        connections.settings = connections.configure_settings(settings.DATABASES)
        # All of them: a browser's event loop keeps connections apart from those of its thread.
        connections._connections = Local(  # type: ignore[attr-defined]  # not in its types
            connections.thread_critical
        )

    def open_home(self) -> None:
        """Open this worker's own copy, where transactions are rolled back."""
        self.home = self.home or self.copy()
        self.open(self.home)

    def _server(self) -> str:
        return str(keeper.ask(self.folder, want="postgresql")["url"])

    def _administer(self, statement: str) -> None:
        import psycopg

        with psycopg.connect(self._server(), autocommit=True) as admin:
            admin.execute(statement)
