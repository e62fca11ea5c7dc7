"""The day on which a test began. A run may go on past midnight, so it is looked up for each test;
it stays the same in a test that travels in time."""

from datetime import date

from django.utils import timezone

_days: list[date] = []


def begin() -> None:
    """A test begins, or the tests are being collected."""
    _days[:] = [timezone.localdate(timezone=timezone.get_default_timezone())]


def today() -> date:
    """The day on which this test began."""
    if not _days:
        begin()
    return _days[0]
