"""Open promises: the kits reserved for trips that have not ended, as the rules see them.

Whatever is decided of a promise (what a kit goes out for, whose it is, what is in the way, what it
is to be made ready for) is decided by `kits.rules.trips.trips` over what is loaded here. The number
of queries does not grow with the kits.
"""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime

from django.conf import settings
from django.db.models import Q
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Refused, Unacceptable
from gearroom.core.models import Person, Room
from gearroom.core.rules.grouping import grouped
from kits.models import Checkout, Kit, Reservation, Trip
from kits.rules.trips import trips as rule
from kits.rules.trips.trips import Promise
from kits.services.text import wording


@dataclass(frozen=True)
class OpenPromise:
    """An open reservation with its kit, trip and person, and the promise that it is."""

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


def open_promises(
    *,
    kits: Collection[int] | None = None,
    trips: Collection[int] | None = None,
    guide: int | None = None,
    now: datetime | None = None,
) -> list[OpenPromise]:
    """The open promises of these kits, to these trips, or to a guide (ids), in order."""
    now = now or clock.now()
    rows = Reservation.objects.promised().filter(trip__cancelled_at=None, trip__returns_at__gt=now)
    if kits is not None:
        rows = rows.filter(kit__in=kits)
    if trips is not None:
        rows = rows.filter(trip__in=trips)
    if guide is not None:
        rows = rows.filter(Q(person=guide) | Q(person=None, trip__leader=guide))
    rows = rows.select_related(*_WITH).defer("kit__list_version__signed_page")
    reservations = list(rows.order_by())
    back = _back(reservations) if reservations else {}
    return sorted(
        (
            OpenPromise(_promise(row, back), row)
            for row in reservations
            if not _ended(row.trip, back.get((row.kit_id, row.trip_id)), now)
        ),
        key=lambda each: each.promise,
    )


def of_kits(kits: Collection[int], now: datetime | None = None) -> dict[int, list[OpenPromise]]:
    """The open promises of each of these kits (ids), in order."""
    return grouped((each.promise.kit, each) for each in open_promises(kits=kits, now=now))


def next_of(kits: Collection[int]) -> dict[int, OpenPromise]:
    """The promise that each of these kits (ids) is to be made ready for, where there is one."""
    return {
        kit: _of(its, promise)
        for kit, its in of_kits(kits).items()
        if (promise := rule.next_promise((each.promise for each in its), kit)) is not None
    }


def next_trip(kit: Kit) -> Trip | None:
    """The trip that a kit is to be made ready for."""
    promise = next_of([kit.pk]).get(kit.pk)
    return promise.trip if promise else None


def ready_through(its: Iterable[OpenPromise], kit: int, without_trip: date) -> date:
    """The day that a kit (its id) is to be made ready through, of its promises; `without_trip`
    where no trip is ahead."""
    return rule.ready_through((each.promise for each in its), kit, without_trip)


def goes_out_for(
    its: Collection[OpenPromise], kit: Kit, taker: Person | None, today: date
) -> OpenPromise | None:
    """What a kit goes out for by itself when somebody takes it, of its promises."""
    promise = rule.goes_out_for(
        (each.promise for each in its), kit.pk, today, taker.pk if taker else None
    )
    return _of(its, promise) if promise is not None else None


def in_the_way(
    its: Collection[OpenPromise],
    kit: Kit,
    taker: Person | None,
    today: date,
    due_day: date | None,
    *,
    nights: int,
    trip: Trip | None,
) -> list[OpenPromise]:
    """The promises of a kit to others that keep it from being taken, of its promises, in order."""
    others = rule.in_the_way(
        (each.promise for each in its),
        kit.pk,
        today,
        due_day,
        taker.pk if taker else None,
        nights=nights,
        going_for=trip.pk if trip else None,
    )
    return [_of(its, promise) for promise in others]


def ended(trip: Trip, last: Checkout | None = None, now: datetime | None = None) -> bool:
    """Whether a trip is over for a kit whose last time out on it is given, or as such."""
    return _ended(trip, last.in_at if last else None, now or clock.now())


def back_in_time(held: Checkout, room: Room, trip: Trip, now: datetime) -> bool:
    """Whether what somebody has is back in its room, and sorted, before a trip begins, as it looks
    at an instant: what is overdue may stay out as well."""
    due = held.due_at
    return rule.back_in_time(
        trip.first_day,
        clock.local_date(due, room.time_zone) if due else None,
        overdue=due is not None and due <= now,
        nights=room.sorting_nights,
    )


def refuse_ended(trip: Trip, cancelled: str, over: str = "") -> None:
    """Refuse what is wanted for a trip that takes place no more, in these words.

    Raises Refused (`trip-cancelled`), Unacceptable (`trip-is-over`).
    """
    if trip.cancelled_at is not None:
        raise Refused("trip-cancelled", cancelled % {"trip": trip.name})
    if ended(trip):
        over = over or _("%(trip)s ended on %(day)s. Check the trip’s dates.")
        raise Unacceptable(
            "trip-is-over", over % {"trip": trip.name, "day": wording.day(trip.last_day)}
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
_Back = dict[tuple[int, int], datetime | None]
"""When each kit came back from its last time out on each trip, by both ids; None: it is out."""


def _back(rows: Collection[Reservation]) -> _Back:
    went = Checkout.objects.filter(
        kit__in={row.kit_id for row in rows},
        trip__in={row.trip_id for row in rows},
        section=None,
        undone=None,
    )
    return {
        (kit, trip or 0): in_at
        for kit, trip, in_at in went.order_by("id").values_list("kit", "trip", "in_at")
    }


def _promise(row: Reservation, back: _Back) -> Promise:
    trip = row.trip
    guide = row.person_id or trip.leader_id
    went = (row.kit_id, trip.pk)
    taken = went in back and back[went] is None
    returned = went in back and not taken
    return Promise(
        trip.first_day, trip.last_day, row.pk, row.kit_id, trip.pk, guide, taken, returned
    )


def _ended(trip: Trip, back_at: datetime | None, now: datetime) -> bool:
    return rule.ended(
        trip.departs_at,
        trip.returns_at,
        trip.last_day,
        now,
        cancelled=trip.cancelled_at is not None,
        back_at=back_at,
        back_on=clock.local_date(back_at, zone_of(trip)) if back_at else None,
    )


def _of(its: Iterable[OpenPromise], promise: Promise) -> OpenPromise:
    return next(each for each in its if each.promise == promise)
