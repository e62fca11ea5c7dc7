"""The one clock: now, and today where a room is."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.utils import timezone


def now() -> datetime:
    """This instant, in UTC."""
    return timezone.now()


def local_date(instant: datetime, zone: str) -> date:
    """The calendar date of an instant in an IANA time zone."""
    return instant.astimezone(ZoneInfo(zone)).date()


def today(zone: str) -> date:
    """Today's date in an IANA time zone."""
    return local_date(now(), zone)
