"""The databases that tests run on are the real ones, and hold what the program asks of them."""

import threading
from collections.abc import Callable
from io import StringIO
from pathlib import Path

import pytest
from django.contrib.contenttypes.models import ContentType
from django.core.management import CommandError, call_command
from django.db import OperationalError, connection, connections, transaction


@pytest.mark.django_db
def test_it_runs_on_the_engine_it_says(engine: str) -> None:
    assert connection.vendor == engine


def test_it_starts_migrated_and_empty_of_what_tests_write(db: None) -> None:
    assert ContentType.objects.filter(app_label="core", model="user").exists()
    ContentType.objects.create(app_label="left", model="behind")


def test_it_starts_without_what_another_test_wrote(db: None) -> None:
    assert not ContentType.objects.filter(app_label="left").exists()


def test_it_commits_for_real_where_other_threads_must_see(open_database: str) -> None:
    seen = []

    def look() -> None:
        seen.append(ContentType.objects.filter(app_label="seen").exists())
        connections.close_all()

    ContentType.objects.create(app_label="seen", model="x")
    thread = threading.Thread(target=look)
    thread.start()
    thread.join()
    assert seen == [True]


@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)
def test_it_keeps_sqlite_safe_against_power_cuts(db: None, engine: str) -> None:
    with connection.cursor() as cursor:
        answers = {
            name: cursor.execute(f"PRAGMA {name}").fetchone()[0]
            for name in ("journal_mode", "synchronous", "recursive_triggers", "foreign_keys")
        }
    assert answers == {
        "journal_mode": "wal",
        "synchronous": 2,
        "recursive_triggers": 1,
        "foreign_keys": 1,
    }


@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)
def test_it_takes_the_write_lock_when_a_transaction_begins(open_database: str, engine: str) -> None:
    """So that two transactions that read first and write later never deadlock."""
    outcome = []

    def begin() -> None:
        connections["default"].settings_dict["OPTIONS"]["timeout"] = 0
        try:
            with transaction.atomic():
                outcome.append("began")
        except OperationalError as problem:
            outcome.append(str(problem))
        connections.close_all()

    with transaction.atomic():
        thread = threading.Thread(target=begin)
        thread.start()
        thread.join()
    assert outcome == ["database is locked"]


@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)
@pytest.mark.parametrize("command", [("audit",), ("issue_token", "jo"), ("send_digests",)])
def test_a_command_over_a_database_that_is_not_set_up_says_what_to_do(
    command: tuple[str] | tuple[str, str], use_database: Callable[[str], None], tmp_path: Path
) -> None:
    use_database(f"sqlite:///{tmp_path / 'empty.sqlite3'}")

    with pytest.raises(CommandError, match=r"Run `manage\.py migrate` first"):
        call_command(*command, stdout=StringIO())
