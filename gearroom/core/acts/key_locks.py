"""Claims on a key, refused to a second taker and gone with the process that holds them, however
that ends.

PostgreSQL: advisory locks. SQLite (one machine): a POSIX lock on one byte of a file, at the place
that the key's hash gives; threads of one process, which such a lock does not keep apart, are told
apart by a set.
"""

import fcntl
import hashlib
import os
import threading
import uuid
from collections.abc import Iterator
from contextlib import contextmanager

from django.conf import settings
from django.db import connection, transaction

_held: set[int] = set()
_guard = threading.Lock()
_file: int | None = None


class KeyLocked(Exception):
    """Somebody else is doing this act now."""


@contextmanager
def locked_transaction(key: uuid.UUID) -> Iterator[None]:
    """A transaction that nobody else has open under the same key. Raises KeyLocked."""
    place = _place(key)
    if connection.vendor == "postgresql":
        with transaction.atomic():
            _take("pg_try_advisory_xact_lock", place)
            yield
        return
    # Before the transaction: on SQLite a second writer would wait for the first, then see its end.
    _acquire(place)
    try:
        with transaction.atomic():
            yield
    finally:
        _release(place)


@contextmanager
def locked(key: uuid.UUID) -> Iterator[None]:
    """A time, in no transaction, in which nobody else has the key. On PostgreSQL it ends with the
    connection too: whoever writes then looks whether what they read still holds. Raises
    KeyLocked."""
    place = _place(key)
    if connection.vendor == "postgresql":
        _take("pg_try_advisory_lock", place)
        try:
            yield
        finally:
            with connection.cursor() as cursor:
                cursor.execute("SELECT pg_advisory_unlock(%s)", [place])
        return
    _acquire(place)
    try:
        yield
    finally:
        _release(place)


def _place(key: uuid.UUID) -> int:
    return int.from_bytes(hashlib.sha256(key.bytes).digest()[:8], "big") >> 2


def _take(function: str, place: int) -> None:
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT {function}(%s)", [place])
        (taken,) = cursor.fetchone()
    if not taken:
        raise KeyLocked


def _acquire(place: int) -> None:
    with _guard:
        if place in _held:
            raise KeyLocked
        file = _lock_file()
        try:
            fcntl.lockf(file, fcntl.LOCK_EX | fcntl.LOCK_NB, 1, place)
        except (BlockingIOError, PermissionError):
            raise KeyLocked from None
        _held.add(place)


def _release(place: int) -> None:
    with _guard:
        _held.discard(place)
        fcntl.lockf(_lock_file(), fcntl.LOCK_UN, 1, place)


def _lock_file() -> int:
    """The file, opened once: closing any descriptor of it would drop every lock of the process."""
    global _file
    if _file is None:
        _file = os.open(settings.DATA_DIR / "claims", os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    return _file


def _drop_locks_of_parent() -> None:
    """After a fork: the parent's claims are not the child's, and its guard may be held."""
    global _guard
    _guard = threading.Lock()
    _held.clear()


os.register_at_fork(after_in_child=_drop_locks_of_parent)
