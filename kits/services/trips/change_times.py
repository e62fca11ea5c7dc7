"""When trips changed, so that nobody who asks what changed since a time misses anything.

Every change of a trip is given a time under one lock that is held until it is there to be read, and
never one before the last. So whatever is there once somebody read a trip that changed at a time,
has its time by then or later: who asks again from the greatest time that they were given on (that
one included) gets every change, some of them twice.

The lock is the last of its transaction: kits are locked before, then trips by number.
"""

from datetime import datetime, timedelta
from typing import Any

from django.db import connection
from django.db.models import F, Max, QuerySet

from gearroom.core import clock
from kits.models import Trip

_LOCK = 0x7472697073
"""The key of the advisory lock on PostgreSQL; SQLite has one writer at a time anyway."""


def next_time() -> datetime:
    """The time of a change of trips that this transaction is about to write."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [_LOCK])
    now = clock.now()
    last = Trip.objects.aggregate(last=Max("changed_at"))["last"]
    return max(now, last + timedelta(microseconds=1)) if last else now


def change_all(trips: QuerySet[Trip], **columns: Any) -> list[Trip]:
    """Set these columns of trips, and that they changed; return them as they were."""
    rows = list(trips.select_for_update(of=("self",), no_key=True).order_by("pk"))
    if rows:
        Trip.objects.filter(pk__in=[row.pk for row in rows]).update(
            **columns, changed_at=next_time(), revision=F("revision") + 1
        )
    return rows
