"""Which events are settled, so that a reader who goes on from the last one never misses any.

On PostgreSQL ids are given in another order than transactions commit: a reader sees 6, goes on
from there, and never sees 5, which commits a moment later. So whoever writes events leaves a mark
before it gets ids: an advisory lock of its transaction, shared, so nobody waits for anybody, whose
number is the last id that was given by then. All that it writes has a higher one. Whoever reads
first looks which id was given last, then which marks there are: nothing up to the lowest of them
can be on its way. A mark is gone when its transaction ended, and by then what it wrote can be seen;
it goes with a process that dies. SQLite has one writer at a time, so its ids are in the order of
the commits.
"""

from django.db import connection

from kits.models import Event

# The upper half of the advisory locks' numbers: ours alone. Mark and id share the lower 31 bits.
_SPACE = 0x6576  # "ev"
_ROOM = 1 << 31


def leave() -> None:
    """Leave a mark before events are written, in their transaction."""
    if connection.vendor != "postgresql":
        return
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT pg_advisory_xact_lock_shared("
            "  (%s::bigint << 32)"
            "  | ((CASE WHEN is_called THEN last_value ELSE last_value - 1 END) %% %s))"
            f" FROM {_sequence()}",
            [_SPACE, _ROOM],
        )


def horizon() -> int:
    """The highest id up to which every event that will ever be there can be seen now: the position
    where a new reader begins who wants only what happens from now on."""
    if connection.vendor != "postgresql":
        return Event.objects.order_by("-id").values_list("id", flat=True).first() or 0
    with connection.cursor() as cursor:
        # In this order, and two statements: who left its mark between the two gets a higher id.
        cursor.execute(
            f"SELECT CASE WHEN is_called THEN last_value ELSE last_value - 1 END FROM {_sequence()}"
        )
        (last,) = cursor.fetchone()
        cursor.execute(
            "SELECT objid::bigint FROM pg_locks WHERE locktype = 'advisory' AND objsubid = 1"
            " AND classid::bigint = %s AND pid <> pg_backend_pid()"
            " AND database = (SELECT oid FROM pg_database WHERE datname = current_database())",
            [_SPACE],
        )
        return min([int(last), *(_behind(last, mark) for (mark,) in cursor.fetchall())])


def _behind(last: int, mark: int) -> int:
    """The id that a mark stands for, which has its lower bits; one that was left since the last was
    read holds nothing back."""
    distance = (last - mark) % _ROOM
    return last - distance if distance < _ROOM // 2 else last


def _sequence() -> str:
    return connection.ops.quote_name(f"{Event._meta.db_table}_id_seq")
