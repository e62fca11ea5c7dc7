"""Until when a kit may be had: the few times that are offered by one tap."""

import enum
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta

LONGER = timedelta(hours=2)


class Until(enum.StrEnum):
    """What a time is called, seen from today."""

    TWO_HOURS = "two-hours"
    TONIGHT = "tonight"
    TOMORROW_EVENING = "tomorrow-evening"
    EVENING = "evening"  # of a later day


@dataclass(frozen=True)
class Later:
    """A time to choose, and what it is called."""

    until: Until
    at: datetime


def later(
    now: datetime, closing: time, *, longer_than: datetime | None = None
) -> tuple[Later, ...]:
    """Return the times offered to whoever has a kit at `now` in a room that closes at `closing`,
    soonest first: this evening where it is still to come, and the next.

    `now` is in the room's own time, and so are the answers. With `longer_than`, when a trip
    returns, all are after that: two hours longer, that evening, and the next.
    """
    since = now
    times = []
    if longer_than is not None:
        since = max(now, longer_than.astimezone(now.tzinfo))
        longer = (since.astimezone(UTC) + LONGER).astimezone(now.tzinfo)
        times.append(Later(Until.TWO_HOURS, longer))
    for more in (0, 1):
        day = since.date() + timedelta(days=more)
        if (evening := datetime.combine(day, closing, now.tzinfo)) > since:
            away = (day - now.date()).days
            until = {0: Until.TONIGHT, 1: Until.TOMORROW_EVENING}.get(away, Until.EVENING)
            times.append(Later(until, evening))
    return tuple(sorted(times, key=lambda each: each.at))
