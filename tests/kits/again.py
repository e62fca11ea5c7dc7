"""Writing the same rows again, where making them through the services would take long.

A test that starts from the small school gets what the services made of it the first time, row by
row, under the same ids.
"""

import copy
from collections.abc import Callable
from dataclasses import dataclass
from datetime import time
from functools import wraps
from typing import Any, TypeVar

from django.apps import apps
from django.db import connection, transaction

APPS = ("core", "kits", "labels")
Made = TypeVar("Made")


@dataclass
class Kept:
    """Rows by table, and what was made of them."""

    made: Any
    rows: dict[str, tuple[list[str], list[tuple[Any, ...]]]]


_KEPT: dict[tuple[str, str], Kept] = {}


def once(name: str, make: Callable[[], Any]) -> Any:
    """What `make` made the first time, written again; made anew where the database is not empty."""
    if not _empty():
        return make()
    kept = _KEPT.get((connection.vendor, name))
    if kept is None:
        before = {table: _ids(table) for table in _tables()}
        made = make()
        _KEPT[connection.vendor, name] = Kept(
            copy.deepcopy(made), {table: _rows(table, before[table]) for table in before}
        )
        return made
    with transaction.atomic():  # rows point at rows of tables that come later
        for table, (columns, rows) in kept.rows.items():
            _write(table, columns, rows)
    return copy.deepcopy(kept.made)


def kept(make: Callable[[], Made]) -> Callable[[], Made]:
    """A fixture that starts from nothing, made through the services once. Rows that migrations made
    are not among what is written again: it may not change them."""

    @wraps(make)
    def again() -> Made:
        made: Made = once(f"{make.__module__}.{make.__qualname__}", make)
        return made

    return again


def _tables() -> list[str]:
    return [
        model._meta.db_table
        for app in APPS
        for model in apps.get_app_config(app).get_models(include_auto_created=True)
        if model._meta.pk.name == "id"
    ]


def _empty() -> bool:
    return not any(_ids(table) for table in ("core_room", "core_user", "core_person", "kits_item"))


def _as_stored(value: Any) -> Any:
    """A value as both engines take it: SQLite reads times of day, and writes only text."""
    return value.isoformat() if isinstance(value, time) else value


def _ids(table: str) -> set[int]:
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT id FROM {table}")
        return {row[0] for row in cursor.fetchall()}


def _rows(table: str, there: set[int]) -> tuple[list[str], list[tuple[Any, ...]]]:
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT * FROM {table} ORDER BY id")
        columns = [column[0] for column in cursor.description]
        at = columns.index("id")
        rows = [row for row in cursor.fetchall() if row[at] not in there]
    return columns, [tuple(map(_as_written, row)) for row in rows]


def _as_written(value: Any) -> Any:
    # Python's sqlite3 takes a date, but no time.
    return connection.ops.adapt_timefield_value(value) if isinstance(value, time) else value


def _write(table: str, columns: list[str], rows: list[tuple[Any, ...]]) -> None:
    if not rows:
        return
    names = ", ".join(f'"{column}"' for column in columns)
    values = ", ".join(["%s"] * len(columns))
    with connection.cursor() as cursor:
        cursor.executemany(
            f"INSERT INTO {table} ({names}) VALUES ({values})",
            [tuple(map(_as_stored, row)) for row in rows],
        )
        if connection.vendor == "postgresql":
            cursor.execute(
                f"SELECT setval(pg_get_serial_sequence('{table}', 'id'), "
                f"(SELECT max(id) FROM {table}))"
            )
