"""Tables whose rows are written once: the database itself refuses to change or remove them.

`@append_only` on a model registers its table. After every migrate (SQLite rebuilds a table to
alter it and drops its triggers) the triggers are made anew. All refusals read
`append-only: TABLE`; on PostgreSQL they carry the SQLSTATE `GR001` as well. SQLite runs them for
REPLACE only on connections with `recursive_triggers` on, which the settings see to.
"""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any, TypeVar

from django.apps import AppConfig
from django.db import DEFAULT_DB_ALIAS, connections, models, transaction
from django.db.backends.base.base import BaseDatabaseWrapper

SQLSTATE = "GR001"
TEXT = "append-only: "

_M = TypeVar("_M", bound=type[models.Model])
_registered: list[type[models.Model]] = []


class InOrder(models.Model):
    """A table whose rows are listed in the order in which they were written."""

    class Meta:
        abstract = True
        ordering = ["id"]


def append_only(model: _M) -> _M:
    """Register a model class whose rows may be added, and neither changed nor removed."""
    _registered.append(model)
    return model


def protect(
    *, using: str = DEFAULT_DB_ALIAS, app_config: AppConfig | None = None, **_signal: Any
) -> None:
    """Make the triggers of every registered table that exists; connected to post_migrate, which
    calls it for one app after another."""
    connection = connections[using]
    tables = set(connection.introspection.table_names())
    with transaction.atomic(using=using), connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(_PG_FUNCTION)
        for model in _registered:
            ours = app_config is None or model._meta.app_label == app_config.label
            if ours and model._meta.db_table in tables:
                for statement in _statements(connection, model):
                    cursor.execute(statement)


def registered() -> list[type[models.Model]]:
    """The models whose tables are protected, by the tables' names."""
    return sorted(_registered, key=lambda model: model._meta.db_table)


@contextmanager
def lifted(model: type[models.Model]) -> Iterator[None]:
    """Let rows of a protected table be changed meanwhile, by this transaction alone: for
    `gearroom.core.services.people.redaction`, and nothing else. Other writers of the table wait."""
    connection, name = connections[DEFAULT_DB_ALIAS], _name(model, "update")
    table = connection.ops.quote_name(model._meta.db_table)
    if not connection.in_atomic_block:
        raise RuntimeError("Protection is lifted within a transaction alone.")
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            # A table is altered only once what it refers to was looked at.
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
            cursor.execute(f"ALTER TABLE {table} DISABLE TRIGGER {name}")
        else:
            cursor.execute(f"DROP TRIGGER {name}")
    yield
    with connection.cursor() as cursor:
        for statement in _statements(connection, model):
            cursor.execute(statement)
        if connection.vendor == "postgresql":
            cursor.execute("SET CONSTRAINTS ALL DEFERRED")


def missing(*, using: str = DEFAULT_DB_ALIAS) -> list[str]:
    """What is not protected as it should be, a line each; empty when all is well."""
    connection = connections[using]
    wanted = {
        (model._meta.db_table, _name(model, what))
        for model in _registered
        for what in _operations(connection)
    }
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                "SELECT c.relname, t.tgname FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid"
                " WHERE t.tgenabled = 'A' AND pg_table_is_visible(c.oid)"
            )
            return sorted(f"{t}: no trigger {n}" for t, n in wanted - set(cursor.fetchall()))
        cursor.execute("SELECT tbl_name, name FROM sqlite_master WHERE type = 'trigger'")
        lines = sorted(f"{t}: no trigger {n}" for t, n in wanted - set(cursor.fetchall()))
        if cursor.execute("PRAGMA recursive_triggers").fetchone() != (1,):
            lines.append("connection: recursive_triggers is off, so REPLACE would not be refused")
        return lines


def _operations(connection: BaseDatabaseWrapper) -> list[str]:
    return ["update", "delete", *(["truncate"] if connection.vendor == "postgresql" else [])]


def _name(model: type[models.Model], what: str) -> str:
    return f"{model._meta.db_table}_no_{what}"


_PG_FUNCTION = f"""
CREATE OR REPLACE FUNCTION gearroom_refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION '{TEXT}%', TG_TABLE_NAME USING ERRCODE = '{SQLSTATE}';
END $$
"""


def _statements(connection: BaseDatabaseWrapper, model: type[models.Model]) -> Iterable[str]:
    quote = connection.ops.quote_name
    table = quote(model._meta.db_table)
    for what in _operations(connection):
        name = quote(_name(model, what))
        if connection.vendor == "postgresql":
            each = "STATEMENT" if what == "truncate" else "ROW"
            yield (
                f"CREATE OR REPLACE TRIGGER {name} BEFORE {what} ON {table} FOR EACH {each}"
                " EXECUTE FUNCTION gearroom_refuse_change()"
            )
            # ALWAYS: also in sessions that set session_replication_role.
            yield f"ALTER TABLE {table} ENABLE ALWAYS TRIGGER {name}"
        else:
            yield f"DROP TRIGGER IF EXISTS {name}"
            yield (
                f"CREATE TRIGGER {name} BEFORE {what} ON {table}"
                f" BEGIN SELECT RAISE(ABORT, '{TEXT}{model._meta.db_table}'); END"
            )
