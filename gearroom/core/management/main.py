"""The command line as people meet it: where settings or the database keep a command from its work,
it says in one sentence what to do, and exits with 1."""

import sqlite3
import sys
from collections.abc import Sequence

from django.core.exceptions import ImproperlyConfigured
from django.core.management import execute_from_command_line
from django.db import DatabaseError, connection

from gearroom.core.database_failures import FAILURE_ERRORS, Failure, failure_of

REMEDIES = {
    Failure.BUSY: "Others are writing to it. Try again in a moment.",
    Failure.STORAGE_FULL: "Its disk is full. Make room there.",
    Failure.READ_ONLY: (
        "It may only be read. Give its file and folder to the user that runs Gearroom, on a disk "
        "that can be written to."
    ),
    Failure.NO_DATABASE: "See that DATABASE_URL names it, and that its server runs and lets us in.",
}


def main(arguments: Sequence[str]) -> None:
    """Run a command of `manage.py`. With --traceback nothing is kept short."""
    try:
        execute_from_command_line(list(arguments))
    except (ImproperlyConfigured, DatabaseError, *FAILURE_ERRORS) as error:
        explanation = _explanation(error)
        if explanation is None or "--traceback" in arguments:
            raise
        sys.exit(f"{arguments[0]}: {explanation}")


def _explanation(error: Exception) -> str | None:
    """What is wrong and what to do; None where it is a mistake of the program."""
    if isinstance(error, ImproperlyConfigured):
        return str(error)
    cause = " ".join(str(error).split()).rstrip(".?")
    if isinstance(error, OSError):
        if failure_of(error) is None and not isinstance(error, PermissionError):
            return None
        return f"{cause}. Gearroom has to be able to write there, and needs room on the disk."
    failure = Failure.NO_DATABASE if _is_no_database(error) else failure_of(error)
    if failure is None:
        return None
    where = connection.settings_dict
    database = f"{where['NAME']} at {where['HOST']}" if where["HOST"] else where["NAME"]
    return f"The database {database} cannot be used: {cause}. {REMEDIES[failure]}"


def _is_no_database(error: Exception) -> bool:
    """Whether SQLite was given a file that is something else, or is damaged."""
    code = getattr(error.__cause__, "sqlite_errorcode", 0) & 0xFF
    return code in (sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_CORRUPT)
