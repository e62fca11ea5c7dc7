"""A claim on a key while its act is being done: refused to a second taker, and gone with the
process that holds it, however that ends.

PostgreSQL: an advisory lock of the transaction. SQLite (one machine): a POSIX lock on one byte of
a file, at the place that the key's hash gives; threads of one process, which such a lock does not
keep apart, are told apart by a set.
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
    place = int.from_bytes(hashlib.sha256(key.bytes).digest()[:8], "big") >> 2
    if connection.vendor == "postgresql":
        with transaction.atomic():
            with connection.cursor() as cursor:
                cursor.execute("SELECT pg_try_advisory_xact_lock(%s)", [place])
                (taken,) = cursor.fetchone()
            if not taken:
                raise KeyLocked
            yield
        return
    # Before the transaction: on SQLite a second writer would wait for the first, then see its end.
    _acquire(place)
    try:
        with transaction.atomic():
            yield
    finally:
        _release(place)


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
        path = settings.DATA_DIR / "claims"
        _file = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    return _file


def _drop_locks_of_parent() -> None:
    """After a fork: the parent's claims are not the child's, and its guard may be held."""
    global _guard
    _guard = threading.Lock()
    _held.clear()


os.register_at_fork(after_in_child=_drop_locks_of_parent)
