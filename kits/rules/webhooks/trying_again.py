"""When an event that a server did not accept is sent again: soon at first, then ever more rarely
over three days, after which somebody has to look at it (as the Standard Webhooks specification
recommends under *Deliverability and reliability*).
"""

from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime

WAITS = (
    timedelta(seconds=5),
    timedelta(minutes=1),
    timedelta(minutes=5),
    timedelta(minutes=30),
    timedelta(hours=2),
    timedelta(hours=5),
    timedelta(hours=10),
    timedelta(hours=14),
    timedelta(hours=20),
    timedelta(hours=20),
)
"""After each failure in a row; in all three days less half an hour."""
SPREAD = 0.1
"""By which part a wait is longer or shorter, so that not all come back at one time."""
LONGEST_ASKED_FOR = timedelta(days=1)
"""Of what a server asks to be left alone for, so much is given it at most."""

_ASKS = (429, 503)
"""Too many requests, not available: with Retry-After (RFC 9110, 10.2.3; RFC 6585, 4)."""


def wait_after(tries: int, chance: float, asked_for: timedelta = timedelta()) -> timedelta | None:
    """How long to wait after so many failures in a row; None: it is given up.

    `chance` is from 0 to 1. `asked_for` is how long the server asked to be left alone.
    """
    if tries > len(WAITS):
        return None
    wait = WAITS[tries - 1] * (1 + SPREAD * (2 * chance - 1))
    return max(wait, min(asked_for, LONGEST_ASKED_FOR))


def asked_to_wait(status: int, retry_after: str, now: datetime) -> timedelta:
    """How long an answer asks to be left alone: Retry-After in seconds or as a date."""
    text = retry_after.strip()
    if status not in _ASKS or not text:
        return timedelta()
    if text.isascii() and text.isdigit():
        return min(timedelta(seconds=min(int(text[:9]), 10**8)), LONGEST_ASKED_FOR)
    try:
        until = parsedate_to_datetime(text)
    except (ValueError, OverflowError):
        return timedelta()
    until = until if until.tzinfo else until.replace(tzinfo=UTC)
    return min(max(until - now, timedelta()), LONGEST_ASKED_FOR)
