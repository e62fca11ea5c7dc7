"""How each kind of database is opened: one address in, Django's settings for it out."""

from typing import Any

import environ

SQLITE_PRAGMAS = (
    "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL;"
    "PRAGMA recursive_triggers=ON; PRAGMA temp_store=MEMORY;"
)


def configuration(url: str) -> dict[str, Any]:
    """Django's DATABASES entry for an address such as sqlite:////PATH or postgresql://HOST/NAME.

    SQLite has one writer at a time, taken at BEGIN so that two never deadlock on the way; REPLACE
    fires the append-only triggers; synchronous is FULL because nothing may be lost to a power cut.
    """
    entry: dict[str, Any] = environ.Env.db_url_config(url)
    if entry["ENGINE"].endswith("sqlite3"):
        entry["OPTIONS"] = {
            "transaction_mode": "IMMEDIATE",
            "timeout": 30,
            "init_command": SQLITE_PRAGMAS,
        }
    else:
        entry["CONN_MAX_AGE"] = 60
        entry["CONN_HEALTH_CHECKS"] = True
    return entry
