"""What keeps the database from doing its work, told apart from mistakes of ours.

Whoever runs this reads the cause in the log; whoever asked gets a problem of the same name, with
what to do (see `gearroom.core.api.problems`). What is only read goes on wherever it can.
"""

import enum
import errno
import logging
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from django.db import InterfaceError, InternalError, OperationalError, connection

_log = logging.getLogger(__name__)


class Failure(enum.StrEnum):
    """What keeps a database from doing its work: somebody else is writing, its disk is full, it
    may only be read, or it cannot be reached or read at all."""

    BUSY = "busy"
    STORAGE_FULL = "storage-full"
    READ_ONLY = "read-only"
    NO_DATABASE = "no-database"


FAILURE_ERRORS = (OperationalError, InternalError, InterfaceError, OSError)
"""The exceptions that a failure comes as; each may be something else too (see `failure_of`)."""

_SQLITE = {
    sqlite3.SQLITE_BUSY: Failure.BUSY,
    sqlite3.SQLITE_LOCKED: Failure.BUSY,
    sqlite3.SQLITE_FULL: Failure.STORAGE_FULL,
    sqlite3.SQLITE_READONLY: Failure.READ_ONLY,
    sqlite3.SQLITE_IOERR: Failure.NO_DATABASE,
    sqlite3.SQLITE_CANTOPEN: Failure.NO_DATABASE,
}
"""By primary result code; an error of another one, such as a table that is not there, is ours."""
_POSTGRESQL = {
    "40001": Failure.BUSY,  # could not serialise
    "40P01": Failure.BUSY,  # deadlock
    "55P03": Failure.BUSY,  # a lock that was not had
    "57014": Failure.BUSY,  # took too long
    "53300": Failure.BUSY,  # too many connections
    "53100": Failure.STORAGE_FULL,
    "25006": Failure.READ_ONLY,
}
"""By SQLSTATE."""
_SYSTEM = {
    errno.ENOSPC: Failure.STORAGE_FULL,
    errno.EDQUOT: Failure.STORAGE_FULL,
    errno.EROFS: Failure.READ_ONLY,
    errno.EACCES: Failure.READ_ONLY,
    errno.EPERM: Failure.READ_ONLY,
    errno.EIO: Failure.NO_DATABASE,
}
_LEAST_ROOM = 128 * 1024
"""With fewer bytes left on its disk SQLite cannot even open what it keeps beside the database."""


def failure_of(error: BaseException) -> Failure | None:
    """The failure that an exception stands for; None where it is a mistake of ours."""
    if isinstance(error, OSError):
        return _SYSTEM.get(error.errno or 0)
    if not isinstance(error, FAILURE_ERRORS):
        return None
    cause = error.__cause__
    if isinstance(cause, sqlite3.Error):
        result = _SQLITE.get(getattr(cause, "sqlite_errorcode", 0) & 0xFF)
        full = result is Failure.NO_DATABASE and _no_room()
        return Failure.STORAGE_FULL if full else result
    if isinstance(error, InternalError):
        return _POSTGRESQL.get(getattr(cause, "sqlstate", None) or "")
    return _POSTGRESQL.get(getattr(cause, "sqlstate", None) or "", Failure.NO_DATABASE)


def was_rolled_back(error: BaseException) -> bool:
    """Whether an act was ended so that another could go on: done again it may well succeed."""
    return getattr(error.__cause__, "sqlstate", None) in ("40001", "40P01")


def _no_room() -> bool:
    with suppress(OSError):
        return shutil.disk_usage(Path(connection.settings_dict["NAME"]).parent).free < _LEAST_ROOM
    return False


def log_failure(failure: Failure, error: BaseException) -> None:
    """Log what lies behind it, for whoever runs this."""
    cause = error.__cause__ or error
    code = getattr(cause, "sqlite_errorname", None) or getattr(cause, "sqlstate", None)
    level = logging.WARNING if failure is Failure.BUSY else logging.ERROR
    sentence = " ".join(str(cause).split())
    _log.log(level, "%s: %s (%s)", failure, sentence, code or type(cause).__name__)


@contextmanager
def tolerating_failure() -> Iterator[None]:
    """Do in the block what nobody needs (note when somebody was last here): where the database is
    failing it is logged and left out. Use it outside of a transaction."""
    try:
        yield
    except FAILURE_ERRORS as error:
        if (failure := failure_of(error)) is None:
            raise
        log_failure(failure, error)
