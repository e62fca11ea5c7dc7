"""When a weekly email is due: a local weekday and time, in whatever zone and around clock changes.

A local time that a clock change leaves out is taken as the first instant after the gap; one that
comes twice, as its first occurrence (RFC 5545 §3.3.5 reads the second the same way).
"""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo


def local_instant(day: date, at: time, zone: str) -> datetime:
    """Return the instant of a local date and time in an IANA zone, aware and in that zone."""
    here = ZoneInfo(zone)
    wanted = datetime.combine(day, at, here).replace(fold=0)
    back = wanted.astimezone(UTC).astimezone(here)
    if back.replace(tzinfo=None) == wanted.replace(tzinfo=None):
        return wanted
    # In a gap. The offsets on its two sides (fold 0: before it, fold 1: after) place the wall time
    # behind and before the change; the change itself is between the two, found by halving.
    low = wanted.replace(fold=1).astimezone(UTC)
    high = wanted.astimezone(UTC)
    before = low.astimezone(here).utcoffset()
    while high - low > timedelta(seconds=1):
        middle = low + (high - low) / 2
        if middle.astimezone(here).utcoffset() == before:
            low = middle
        else:
            high = middle
    return high.replace(microsecond=0).astimezone(here)


def last_due(now: datetime, weekday: int, at: time, zone: str) -> datetime:
    """Return the latest instant of that weekday (0: Monday) and local time that is not after
    `now` (aware)."""
    return _nearest(now, weekday, at, zone, ahead=False)


def next_due(now: datetime, weekday: int, at: time, zone: str) -> datetime:
    """Return the first instant of that weekday (0: Monday) and local time that is after `now`."""
    return _nearest(now, weekday, at, zone, ahead=True)


def _nearest(now: datetime, weekday: int, at: time, zone: str, *, ahead: bool) -> datetime:
    if now.tzinfo is None:
        raise ValueError("Give an instant with its offset.")
    if not 0 <= weekday <= 6:
        raise ValueError(f"{weekday} is no day of a week: give 0 (Monday) to 6 (Sunday).")
    today = now.astimezone(ZoneInfo(zone)).date()
    this = today - timedelta(days=(today.weekday() - weekday) % 7)
    days = [this + timedelta(weeks=n) for n in (-1, 0, 1, 2)]
    instants = [local_instant(day, at, zone) for day in days]
    # Compared in UTC: two aware times of one zone would be compared by their wall clocks.
    moment = now.astimezone(UTC)
    if ahead:
        return next(i for i in instants if i.astimezone(UTC) > moment)
    return next(i for i in reversed(instants) if i.astimezone(UTC) <= moment)
