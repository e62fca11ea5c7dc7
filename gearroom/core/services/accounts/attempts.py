"""Counts of tries at what guards somebody's account: passwords, PINs, mails for a new password.

A try is counted before it is looked at, by one statement in the database: so no number of them at
once, in however many processes, gets more than the limit through, and nothing pushes a count out.
The limits stand in settings with those of the API; a count starts anew when its time is over.
"""

import hashlib

from django.db import connection
from rest_framework.settings import api_settings

from gearroom.core import clock
from gearroom.core.models import TryCount

SECONDS = {"s": 1, "m": 60, "h": 3600, "d": 86400}

_COUNT = """
INSERT INTO core_trycount (guard, who, until, used) VALUES (%s, %s, %s, 1)
ON CONFLICT (guard, who) DO UPDATE SET
    used = CASE WHEN core_trycount.until <= %s THEN 1 ELSE core_trycount.used + 1 END,
    until = CASE WHEN core_trycount.until <= %s THEN excluded.until ELSE core_trycount.until END
RETURNING used, until
"""


def count(guard: str, who: str) -> int:
    """Count one try of `who` (a name, an address) at a guard that settings limit; 0 if it may go
    on, else the seconds until one may again."""
    number, length = limit(guard)
    now = int(clock.now().timestamp())
    with connection.cursor() as cursor:
        cursor.execute(_COUNT, [guard, _hash(who), now + length, now, now])
        used, until = cursor.fetchone()
    return 0 if used <= number else min(max(until - now, 1), length)


def give_back(guard: str, who: str) -> None:
    """Count one try less: it was right."""
    with connection.cursor() as cursor:
        cursor.execute(
            "UPDATE core_trycount SET used = used - 1 WHERE guard = %s AND who = %s AND used > 0",
            [guard, _hash(who)],
        )


def forget_old() -> int:
    """Forget the counts whose time is over; how many there were."""
    return TryCount.objects.filter(until__lte=int(clock.now().timestamp())).delete()[0]


def limit(guard: str) -> tuple[int, int]:
    """How many tries settings allow in how many seconds."""
    number, _, period = str(api_settings.DEFAULT_THROTTLE_RATES[guard]).partition("/")
    return int(number), SECONDS[period[0]]


def _hash(who: str) -> str:
    return hashlib.sha256(who.encode("utf-8", "surrogatepass")).hexdigest()[:32]
