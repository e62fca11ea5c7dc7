"""Rows written once stay as they were written, whoever asks the database to change them."""

import uuid
from datetime import UTC, datetime

import pytest
from django.apps import apps
from django.db import DatabaseError, connection, migrations, models, transaction
from django.db.migrations.state import ProjectState
from django.db.models.signals import post_migrate

from gearroom.core.models import KeptAnswer, append_only

TABLE = KeptAnswer._meta.db_table


def a_row() -> KeptAnswer:
    return KeptAnswer.objects.create(
        key=uuid.uuid4(),
        request_sha256="0" * 64,
        status=200,
        body="{}",
        created_at=datetime(2026, 5, 1, tzinfo=UTC),
    )


def refused(statement: str) -> DatabaseError:
    with (
        pytest.raises(DatabaseError) as caught,
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(statement)
    assert append_only.TEXT in str(caught.value), caught.value
    return caught.value


@pytest.mark.django_db
@pytest.mark.parametrize(
    "statement",
    [f"UPDATE {TABLE} SET status = 201", f"UPDATE {TABLE} SET body = body", f"DELETE FROM {TABLE}"],
)
def test_it_refuses_to_change_or_remove_a_row(statement: str) -> None:
    a_row()
    refused(statement)
    assert KeptAnswer.objects.get().status == 200


@pytest.mark.django_db
def test_it_refuses_what_the_orm_does(engine: str) -> None:
    row = a_row()
    row.status = 201
    for change in (row.save, row.delete, KeptAnswer.objects.all().delete):
        with (
            pytest.raises(DatabaseError, match="append-only: core_keptanswer"),
            transaction.atomic(),
        ):
            change()


@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)
@pytest.mark.parametrize("verb", ["REPLACE", "INSERT OR REPLACE"])
def test_it_refuses_replace_on_sqlite(db: None, engine: str, verb: str) -> None:
    a_row()
    refused(f"{verb} INTO {TABLE} SELECT * FROM {TABLE}")


@pytest.mark.parametrize("engine", ["postgresql"], indirect=True)
@pytest.mark.parametrize(
    "statement",
    [
        f"TRUNCATE {TABLE}",
        f"TRUNCATE {TABLE} CASCADE",
        "TRUNCATE core_user CASCADE",
        f"INSERT INTO {TABLE} SELECT * FROM {TABLE} ON CONFLICT (key) DO UPDATE SET status = 201",
        f"SET LOCAL session_replication_role = replica; DELETE FROM {TABLE}",
    ],
)
def test_it_refuses_the_other_ways_on_postgresql(db: None, engine: str, statement: str) -> None:
    a_row()
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
    assert getattr(refused(statement).__cause__, "sqlstate", None) == append_only.SQLSTATE


@pytest.mark.django_db
def test_every_registered_table_is_protected() -> None:
    assert append_only.missing() == []
    assert KeptAnswer in append_only._registered


@pytest.mark.django_db
def test_it_says_what_is_missing() -> None:
    on = f" ON {TABLE}" if connection.vendor == "postgresql" else ""
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TRIGGER {TABLE}_no_delete{on}")
    assert append_only.missing() == [f"{TABLE}: no trigger {TABLE}_no_delete"]
    append_only.protect()
    assert append_only.missing() == []


@pytest.mark.parametrize("engine", ["postgresql"], indirect=True)
def test_it_says_so_when_a_trigger_is_switched_off(db: None, engine: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(f"ALTER TABLE {TABLE} DISABLE TRIGGER {TABLE}_no_update")
    assert append_only.missing() == [f"{TABLE}: no trigger {TABLE}_no_update"]


@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)
def test_it_says_so_when_replace_would_get_through(db: None, engine: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA recursive_triggers = OFF")
        lines = append_only.missing()
        cursor.execute("PRAGMA recursive_triggers = ON")
    assert [line for line in lines if "recursive_triggers" in line]


def test_it_is_still_there_after_a_migration_that_rebuilds_the_table(open_database: str) -> None:
    before = ProjectState.from_apps(apps)
    operation = migrations.AlterField(
        "keptanswer", "request_sha256", models.CharField(max_length=90)
    )
    after = before.clone()
    operation.state_forwards("core", after)
    with connection.schema_editor() as editor:
        operation.database_forwards("core", editor, before, after)
    if connection.vendor == "sqlite":
        assert append_only.missing(), "a rebuild that keeps the triggers proves nothing here"
    post_migrate.send(
        sender=apps.get_app_config("core"),
        app_config=apps.get_app_config("core"),
        verbosity=0,
        interactive=False,
        using="default",
    )
    assert append_only.missing() == []
    a_row()
    refused(f"DELETE FROM {TABLE}")
