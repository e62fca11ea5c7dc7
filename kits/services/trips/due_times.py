"""When what is out is due back: put off for one kit, or for all of a trip in one act."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Act, Actor, Refused, store
from gearroom.core.models import Room
from kits.models import Checkout, Entry, EntryKind, Kit, Place, Trip
from kits.rules.custody.due_times import Later, later
from kits.services.ledger import Book, kit_book
from kits.services.ledger.kit_state import iso
from kits.services.lookup import open_checkout, promises
from kits.services.trips import change_times, trip_facts, trip_notices, trips
from kits.services.trips.purpose import refuse_past


@dataclass(frozen=True)
class Extension:
    """A trip that returns at another time, what is out on it, and its kits that are reserved for
    another trip on those days."""

    trip: Trip
    checkouts: Sequence[Checkout]
    entry: Entry
    clashes: Sequence[trip_notices.Clash] = field(default_factory=list)


@dataclass(frozen=True)
class DueTimes:
    """A kit that is out, and the times that whoever asks may have it due at instead; with those
    that all of its trip may. None of either where they may not change it. `late`: it is past
    due."""

    checkout: Checkout
    times: Sequence[Later] = ()
    trip_times: Sequence[Later] = ()
    late: bool = False


def due(actor: Actor, held: Checkout) -> DueTimes:
    """When a kit that is out is due, and what may be chosen instead."""
    room = held.kit.home_room
    times = later(_local(room.time_zone), room.closing_time)
    return DueTimes(
        held,
        [each for each in times if each.at != held.due_at and actor.may("set_due", room.pk)],
        longer(actor, held.trip, room) if held.trip else (),
        late=held.due_at is not None and held.due_at <= clock.now(),
    )


def longer(actor: Actor, trip: Trip, room: Room | None = None) -> Sequence[Later]:
    """The times that a trip with kits out may return at instead, where whoever asks may say so.
    `room` is where the kits go back to, for a trip that leaves from none."""
    room = trip.room or room
    if room is None or trip.cancelled_at is not None or not actor.may("set_due", trip.room_id):
        return ()
    return later(_local(room.time_zone), room.closing_time, longer_than=trip.returns_at)


def _local(zone: str) -> datetime:
    return clock.now().astimezone(ZoneInfo(zone))


def set_due(act: Act, kit: Kit, due_at: datetime | None, section: Place | None = None) -> Checkout:
    """Have a kit that is out, or a section of it, be due at another time; None: at no set time.

    Raises Refused (`not-out`), Unacceptable (`due-in-the-past`).
    """
    with kit_book(act, kit, home="set_due") as (book, kit):
        if (held := open_checkout(kit, section)) is None:
            raise Refused(
                "not-out",
                _("%(kit)s is not out. Scan it to take it out.") % {"kit": kit.name},
                kit=kit.name,
            )
        refuse_past(act, due_at)
        book.post(
            EntryKind.KIT,
            kit=kit,
            trip=held.trip,
            checkout=held,
            detail={"what": "due", "due_at": [iso(held.due_at), iso(due_at)]},
        )
        store(held, due_at=due_at)
    return held


def extend(act: Act, trip: Trip, returns_at: datetime) -> Extension:
    """Have a trip return at another time, and all that is out on it be due then.

    Raises Refused (`trip-cancelled`), Unacceptable (`due-in-the-past`,
    `trip-ends-before-it-begins`, `trip-too-long`).
    """
    out = Checkout.objects.open().filter(trip=trip)
    with Book(act) as book:
        book.lock(*out.values_list("kit", flat=True))
        act.actor.require("set_due", trip.room_id)
        trip = Trip.objects.select_for_update(of=("self",), no_key=True).get(pk=trip.pk)
        if trip.cancelled_at is not None:
            raise Refused(
                "trip-cancelled",
                _("%(trip)s was cancelled, so it has no return time.") % {"trip": trip.name},
            )
        refuse_past(act, returns_at)
        last_day = clock.local_date(returns_at, promises.zone_of(trip))
        trip_facts.check_span(trip.departs_at, returns_at, trip.first_day, last_day)
        held = list(
            out.filter(kit__in=book.locked)
            .select_related("kit__home_room", "person", "trip", "section")
            .order_by("kit", "id")
        )
        entry = book.post(
            EntryKind.TRIP,
            room=trip.room,
            trip=trip,
            detail={
                "what": "extended",
                "changed": {
                    "returns_at": [iso(trip.returns_at), iso(returns_at)],
                    "last_day": [trip.last_day.isoformat(), last_day.isoformat()],
                },
                "due": {str(each.pk): iso(each.due_at) for each in held},
            },
        )
        store(
            trip,
            returns_at=returns_at,
            last_day=last_day,
            changed_at=change_times.next_time(),
            revision=trip.revision + 1,
        )
        for each in held:
            each.trip, each.due_at = trip, returns_at
            each.save(update_fields=["due_at"])
        if clashes := trips.clashes_of(trip):
            trip_notices.changed(entry, trip, "changed", clashes=clashes)
    return Extension(trip, held, entry, clashes)
