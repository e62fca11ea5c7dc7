"""Kits over the days: for which trips each is reserved, and when it was or is out."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from django.db.models import Q

from gearroom.core import clock
from gearroom.core.acts import Actor
from gearroom.core.models import Room
from gearroom.core.rules.grouping import grouped
from kits.models import Checkout, Kit, Reservation, Trip
from kits.rules.trips.lanes import Days
from kits.services.lookup import find


class Stand(StrEnum):
    """What a kit does on the days of a span."""

    RESERVED = "reserved"
    OUT = "out"
    BACK = "back"


@dataclass(frozen=True)
class Span:
    """Days on which a kit is reserved, or is or was out: for a trip, where it is known and one that
    the actor may see. `elsewhere`: for a trip that they may not see. `clashes`: the kit is reserved
    for another trip on one of these days too."""

    days: Days
    stand: Stand
    trip: Trip | None
    elsewhere: bool
    clashes: bool = False


@dataclass(frozen=True)
class KitDays:
    """A kit with its spans, the earliest first."""

    kit: Kit
    spans: Sequence[Span]


def kit_calendar(actor: Actor, shown: Days, room: Room | None = None) -> list[KitDays]:
    """The kits in use that somebody may see (at home in a room), by name, with what is of the days
    shown. The number of queries does not grow with them."""
    kits = find.kits_of(actor).active().select_related("home_room").order_by("name")
    if room is not None:
        kits = kits.filter(home_room=room)
    rows = list(kits)
    promised = grouped(
        (each.kit_id, each)
        for each in Reservation.objects.promised()
        .filter(
            kit__in=rows,
            trip__cancelled_at=None,
            trip__first_day__lte=shown.last,
            trip__last_day__gte=shown.first,
        )
        .select_related("trip__room")
    )
    gone = grouped(
        (each.kit_id, each)
        for each in Checkout.objects.of_whole_kits()
        .not_undone()
        .filter(Q(in_at=None) | Q(in_at__date__gte=shown.first), kit__in=rows)
        .filter(out_at__date__lte=shown.last)
        .select_related("trip__room")
    )
    trips = {each.trip for of_kit in promised.values() for each in of_kit}
    trips |= {each.trip for of_kit in gone.values() for each in of_kit if each.trip}
    theirs = set(
        find.trips_of(actor).filter(pk__in=[trip.pk for trip in trips]).values_list("pk", flat=True)
    )
    return [
        KitDays(
            kit,
            _spans(kit, promised.get(kit.pk, ()), gone.get(kit.pk, ()), theirs, shown),
        )
        for kit in rows
    ]


def _spans(
    kit: Kit,
    promised: Iterable[Reservation],
    gone: Iterable[Checkout],
    theirs: set[int],
    shown: Days,
) -> list[Span]:
    """A reservation whose kit went on its trip is drawn as the time out, not twice."""
    out = {each.trip_id: each for each in gone if each.trip_id is not None}
    found: list[tuple[Days, Stand, Trip | None]] = []
    for each in promised:
        days = Days(each.trip.first_day, each.trip.last_day)
        went = out.pop(each.trip_id, None)
        if went is None:
            found.append((days, Stand.RESERVED, each.trip))
        else:
            own = _days_out(kit, went)
            both = Days(min(days.first, own.first), max(own.last, days.last))
            found.append((own if went.in_at else both, _stand(went), each.trip))
    found += [
        (_days_out(kit, each), _stand(each), each.trip)
        for each in gone
        if each.trip_id is None or each.trip_id in out
    ]
    spans = [
        Span(
            days,
            stand,
            trip if trip is not None and trip.pk in theirs else None,
            elsewhere=trip is not None and trip.pk not in theirs,
            clashes=stand is Stand.RESERVED
            and any(
                kind is Stand.RESERVED and other != trip and days.meets(of_other)
                for of_other, kind, other in found
            ),
        )
        for days, stand, trip in found
        if days.meets(shown)
    ]
    return sorted(spans, key=lambda each: (each.days.first, each.days.last))


def _stand(went: Checkout) -> Stand:
    return Stand.OUT if went.in_at is None else Stand.BACK


def _days_out(kit: Kit, went: Checkout) -> Days:
    """From the day that it went to the day that it came back; one that is out is so until it is
    due, at least until today."""
    zone = kit.home_room.time_zone
    first = clock.local_date(went.out_at, zone)
    if went.in_at is not None:
        return Days(first, clock.local_date(went.in_at, zone))
    due: date = clock.local_date(went.due_at, zone) if went.due_at else first
    return Days(first, max(first, due, clock.today(zone)))
