"""The one clock: now, and today where a room is."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.utils import timezone

_PRETENDED: ContextVar[datetime | None] = ContextVar("pretended", default=None)


def now() -> datetime:
    """This instant, in UTC."""
    return _PRETENDED.get() or timezone.now()


@contextmanager
def pretending(instant: datetime) -> Iterator[None]:
    """Have it be another instant for this thread: only for playing an invented past."""
    before = _PRETENDED.set(instant)
    try:
        yield
    finally:
        _PRETENDED.reset(before)


def local_date(instant: datetime, zone: str) -> date:
    """The calendar date of an instant in an IANA time zone. Raises `ValueError` for one that is not
    aware: it could be any of two days."""
    if instant.utcoffset() is None:
        raise ValueError("An instant without a time zone is no point in time. Give an aware one.")
    return instant.astimezone(ZoneInfo(zone)).date()


def today(zone: str) -> date:
    """Today's date in an IANA time zone."""
    return local_date(now(), zone)


def end_of_day(day: date, zone: str) -> datetime:
    """The last second of a day in an IANA time zone."""
    return datetime.combine(day + timedelta(days=1), time(), ZoneInfo(zone)) - timedelta(seconds=1)
