"""Trips and the kits promised to them, by local dates.

Days are counted whole and with both ends: a kit promised for a trip is away from the morning of
its first day to the evening of its last, when the driver drops it. So two trips that share a day
cannot share a kit, and a trip that starts the day after another ends can have its kit only if
nothing more than that night is wanted for sorting it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from kits.rules.sentences import Wrong, say


class TripDaysError(Wrong):
    """A trip that ends before it begins. The message says what to change."""


def check_days(first_day: date, last_day: date) -> None:
    """Raise `TripDaysError` when a trip's last day is before its first."""
    if last_day < first_day:
        raise TripDaysError(
            say(
                "The trip ends on %(last)s, before it begins on %(first)s. Give a last day that is "
                "the same or later.",
                last=last_day,
                first=first_day,
            )
        )


@dataclass(frozen=True, order=True)
class Promise:
    """A reservation that stands: a kit promised to a trip, first to last day. `taken` when the kit
    has gone out for it. In order of first day, last day and id."""

    first_day: date
    last_day: date
    id: int
    kit: int
    trip: int
    taken: bool = False


def in_the_way(
    wanted: Promise, promises: Iterable[Promise], *, nights: int = 1
) -> tuple[Promise, ...]:
    """Return the promises of the same kit to other trips that keep it from `wanted`, in order.

    `nights` is how many nights lie at least between one trip's last day and the next one's first:
    1 lets a kit go out the morning after it came back, 0 on the very day.
    """
    return tuple(
        sorted(
            other
            for other in promises
            if other.kit == wanted.kit
            and other.trip != wanted.trip
            and _after(wanted.first_day, other.last_day) < nights
            and _after(other.first_day, wanted.last_day) < nights
        )
    )


def _after(day: date, other: date) -> int:
    return (day - other).days


def next_promise(promises: Iterable[Promise], kit: int, today: date) -> Promise | None:
    """Return the promise that a kit is to be made ready for: the first one not over by `today`
    that it has not gone out for yet; None when there is none."""
    return min(
        (p for p in promises if p.kit == kit and not p.taken and p.last_day >= today),
        default=None,
    )


def goes_out_for(
    promises: Iterable[Promise], kit: int, today: date, *, days_ahead: int = 1
) -> Promise | None:
    """Return the promise that a kit scanned out on `today` goes for: its next one, if that has
    begun or begins within `days_ahead` days (packed the evening before); else None."""
    promise = next_promise(promises, kit, today)
    if promise is None or _after(promise.first_day, today) > days_ahead:
        return None
    return promise


def still_to_take(promises: Iterable[Promise], trip: int) -> tuple[Promise, ...]:
    """Return the promises to a trip whose kit has not gone out yet, in order."""
    return tuple(sorted(p for p in promises if p.trip == trip and not p.taken))


def ready_through(
    promises: Sequence[Promise], kit: int, today: date, *, otherwise_days: int = 0
) -> date:
    """Return the day through which a kit has to be fit when it is refilled: the last day of the
    trip it is promised to next; without one, `otherwise_days` from today."""
    promise = next_promise(promises, kit, today)
    return promise.last_day if promise is not None else today + timedelta(days=otherwise_days)
