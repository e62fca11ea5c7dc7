"""Which question a kit's verdict answers where nobody asks another: through which day, and for
which trip. One answer for every page, so that the same kit never has two words."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

DAYS_AHEAD = 7
"""A reserved trip that begins within so many days is what its kit is judged for."""


@dataclass(frozen=True)
class Out:
    """A kit's time with somebody: on a trip (its id and last day) or not, and the local day it is
    due, None where nobody set one."""

    trip: int | None = None
    last_day: date | None = None
    due_on: date | None = None


@dataclass(frozen=True, order=True)
class Coming:
    """An open reservation: in order of its trip's first day, last day and id. `returns_on` is the
    local day on which the trip is back."""

    first_day: date
    last_day: date
    trip: int
    returns_on: date


def question(today: date, out: Out | None, coming: Iterable[Coming]) -> tuple[date, int | None]:
    """Return the day a kit is judged through, never before `today`, and the trip's id: the trip
    that it is out on; else the day it is due back; else the next trip it is reserved for that
    begins within `DAYS_AHEAD` days and is not back yet; else today, without a trip."""
    if out is not None:
        last = out.last_day if out.trip is not None else out.due_on
        return max(last or today, today), out.trip
    soon = today + timedelta(days=DAYS_AHEAD)
    ahead = (each for each in coming if each.first_day <= soon and each.returns_on >= today)
    trip = min(ahead, default=None)
    return (max(trip.last_day, today), trip.trip) if trip else (today, None)
