"""Promises that stand: the kits reserved for trips that have not ended, as the rules see them.

Whatever is decided of a promise (what a kit goes out for, whose it is, what is in the way, what it
is to be made ready for) is decided by `kits.rules.trips.trips` over what is loaded here. The number
of queries does not grow with the kits.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime

from django.conf import settings
from django.db.models import Q
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts.problems import Refused, Unacceptable
from gearroom.core.models import Person
from kits.models import Checkout, Kit, Reservation, Trip
from kits.rules.trips import trips as rule
from kits.rules.trips.trips import Promise
from kits.services.text import wording


@dataclass(frozen=True)
class Standing:
    """A reservation that stands, with its kit, trip and person, and the promise that it is."""

    promise: Promise
    reservation: Reservation

    @property
    def trip(self) -> Trip:
        """The trip that the kit is promised to."""
        return self.reservation.trip

    @property
    def guide(self) -> Person | None:
        """Who takes it on that trip, where somebody is known."""
        return self.reservation.person or self.trip.leader


def zone_of(trip: Trip) -> str:
    """The time zone that a trip's days are counted in."""
    return trip.room.time_zone if trip.room else settings.TIME_ZONE


def standing(
    *,
    kits: Collection[int] | None = None,
    trips: Collection[int] | None = None,
    guide: int | None = None,
    now: datetime | None = None,
) -> list[Standing]:
    """The promises that stand and have not ended, of these kits, to these trips, or to a guide
    (ids), in order."""
    now = now or clock.now()
    rows = Reservation.objects.promised().filter(trip__cancelled_at=None, trip__returns_at__gt=now)
    if kits is not None:
        rows = rows.filter(kit__in=kits)
    if trips is not None:
        rows = rows.filter(trip__in=trips)
    if guide is not None:
        rows = rows.filter(Q(person=guide) | Q(person=None, trip__leader=guide))
    found = list(rows.select_related(*_WITH).defer("kit__list_version__signed_page"))
    spans = _spans(found) if found else {}
    return sorted(
        (
            Standing(_promise(row, spans.get((row.kit_id, row.trip_id))), row)
            for row in found
            if not _ended(row.trip, spans.get((row.kit_id, row.trip_id)), now)
        ),
        key=lambda each: each.promise,
    )


def of_kits(kits: Collection[int], now: datetime | None = None) -> dict[int, list[Standing]]:
    """The promises that stand of each of these kits (ids), in order."""
    found: dict[int, list[Standing]] = defaultdict(list)
    for each in standing(kits=kits, now=now):
        found[each.promise.kit].append(each)
    return found


def next_of(kits: Collection[int], now: datetime | None = None) -> dict[int, Standing]:
    """The promise that each of these kits (ids) is to be made ready for, where there is one."""
    found: dict[int, Standing] = {}
    for kit, its in of_kits(kits, now).items():
        promise = rule.next_promise((each.promise for each in its), kit)
        if promise is not None:
            found[kit] = _of(its, promise)
    return found


def next_trip(kit: Kit) -> Trip | None:
    """The trip that a kit is to be made ready for."""
    found = next_of([kit.pk]).get(kit.pk)
    return found.trip if found else None


def goes_out_for(
    its: Iterable[Standing], kit: Kit, taker: Person | None, today: date
) -> Standing | None:
    """What a kit goes out for by itself when somebody takes it, of its promises."""
    its = list(its)
    promise = rule.goes_out_for(
        (each.promise for each in its), kit.pk, today, taker.pk if taker else None
    )
    return _of(its, promise) if promise is not None else None


def in_the_way(
    its: Iterable[Standing],
    kit: Kit,
    taker: Person | None,
    today: date,
    due_day: date | None,
    *,
    nights: int,
    trip: Trip | None,
) -> list[Standing]:
    """The promises of a kit to others that keep it from being taken, of its promises, in order."""
    its = list(its)
    found = rule.in_the_way(
        (each.promise for each in its),
        kit.pk,
        today,
        due_day,
        taker.pk if taker else None,
        nights=nights,
        going_for=trip.pk if trip else None,
    )
    return [_of(its, promise) for promise in found]


def ended(trip: Trip, last: Checkout | None = None, now: datetime | None = None) -> bool:
    """Whether a trip is over for a kit whose last time out on it is given, or as such."""
    span = (last.out_at, last.in_at) if last else None
    return _ended(trip, span, now or clock.now())


def refuse_ended(trip: Trip | None) -> None:
    """Refuse what is wanted for a trip that takes place no more.

    Raises Refused (`trip-cancelled`), Unacceptable (`trip-is-over`).
    """
    if trip is None or not ended(trip):
        return
    if trip.cancelled_at is not None:
        raise Refused(
            "trip-cancelled",
            _("%(trip)s was cancelled. Choose another trip, or none.") % {"trip": trip.name},
        )
    raise Unacceptable(
        "trip-is-over",
        _("%(trip)s ended on %(day)s. Choose another trip, or none.")
        % {"trip": trip.name, "day": wording.day(trip.last_day)},
    )


# ------------------------------------------------------------------------------------------- inside
_WITH = (
    "kit__home_room",
    "kit__list_version",
    "kit__responsible",
    "kit__deputy",
    "trip__room",
    "trip__leader",
    "person",
)
_Span = tuple[datetime, datetime | None]
"""When a kit last went out on a trip, and when it came back (None: it is out)."""


def _spans(rows: Collection[Reservation]) -> dict[tuple[int, int], _Span]:
    went = (
        Checkout.objects.of_whole_kits()
        .not_undone()
        .filter(kit__in={row.kit_id for row in rows}, trip__in={row.trip_id for row in rows})
    )
    return {
        (kit, trip or 0): (out_at, in_at)
        for kit, trip, out_at, in_at in went.order_by("id").values_list(
            "kit", "trip", "out_at", "in_at"
        )
    }


def _promise(row: Reservation, span: _Span | None) -> Promise:
    trip = row.trip
    guide = row.person_id or trip.leader_id
    taken = span is not None and span[1] is None
    return Promise(trip.first_day, trip.last_day, row.pk, row.kit_id, trip.pk, guide, taken)


def _ended(trip: Trip, span: _Span | None, now: datetime) -> bool:
    back_at = span[1] if span else None
    return rule.ended(
        trip.departs_at,
        trip.returns_at,
        trip.last_day,
        now,
        cancelled=trip.cancelled_at is not None,
        back_at=back_at,
        back_on=clock.local_date(back_at, zone_of(trip)) if back_at else None,
    )


def _of(its: Iterable[Standing], promise: Promise) -> Standing:
    return next(each for each in its if each.promise == promise)
