"""What nobody knows the date of: one list to check, and the date written down once it is read.

A batch without a date stands for many packs, so a date that is read is of the units in one place,
not of the batch: they are counted as what they turned out to be.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.utils.translation import gettext as _

from gearroom.core.acts.act import Act, Actor
from gearroom.core.acts.problems import Invalid
from gearroom.core.models import Room
from kits.models import Entry, EntryKind, Holding, Lot, Place, PlaceKind
from kits.rules.ledger.facts import Kind, KitState
from kits.services.ledger import lots, readiness
from kits.services.ledger.book import Book, Leg, outer
from kits.services.lookup import find
from kits.services.stock import receiving
from kits.services.text.amounts import units as whole


@dataclass(frozen=True)
class UndatedUnits:
    """Units in a kit or on a shelf whose date is wanted and not known.

    `stops`: they stop their kit now, or on a shelf may go into none. `until` is the last day on
    which they are let be in their kit, None where no such day is set or left.
    """

    place: Place
    lot: Lot
    units: int
    stops: bool
    until: date | None = None


def to_check(room: Room, actor: Actor | None = None) -> list[UndatedUnits]:
    """What has to be looked at in a room's shelves and the kits at home there, or now in it: what
    stops a kit first, then by place. With an actor, of what they may see. Eight queries at most."""
    places = Place.objects.all() if actor is None else find.places_of(actor)
    held = (
        Holding.objects.on_hand()
        .filter(
            lot__expiry__isnull=True,
            lot__item__needs_date=True,
            place__in=places.filter(kind__in=(PlaceKind.SHELF, PlaceKind.SECTION)),
        )
        .select_related("lot__item", "place__kit__home_room", "place__room")
        .order_by("place__kit__name", "place__position", "place", "lot__item__name", "lot")
    )
    rows = [row for row in held if room.pk in _rooms_of(row.place)]
    states = readiness.states({row.place.kit_id for row in rows if row.place.kit_id})
    found = [_undated(row, states.get(row.place.kit_id or 0)) for row in rows]
    return sorted(found, key=lambda row: (not row.stops, row.until is None, not row.place.kit_id))


def record_date(
    act: Act, *, place: Place, lot: Lot, units: int, expiry: date | None, number: str = ""
) -> Entry:
    """Write down that the date of units in a place was read off them, and their lot number where it
    was not known. The rest of the batch there stays as it is.

    Raises Invalid, Refused (`not-enough`).
    """
    count = whole(units)
    if expiry is None:
        raise Invalid(_("Enter the date that is printed on the pack."), field="expiry")
    if lot.expiry is not None or lot.serial:
        raise Invalid(_("The date of this batch is known. Correct the batch instead."), field="lot")
    with Book(act) as book:
        kit = receiving.lock_kit_of(book, place)
        room = receiving.room_of(place, kit)
        act.actor.require("count", room.pk)
        receiving.check_expiry(expiry, receiving.today_in(room))
        known = lots.known(
            item=lot.item, number=lot.number or number, expiry=expiry, opened_on=lot.opened_on
        )
        between = outer(PlaceKind.RECLASSIFIED)
        return book.post(
            EntryKind.COUNT,
            [Leg(lot, place, between, count), Leg(known, between, place, count)],
            kit=kit,
            lot=known,
            room=room,
            detail={"places": [place.pk], "complete": False, "counted": {}, "date_read": True},
        )


# ------------------------------------------------------------------------------------------ inside
def _rooms_of(place: Place) -> set[int | None]:
    kit = place.kit
    if kit is None:
        return {place.room_id}
    return set() if kit.retired_on else {kit.home_room_id, kit.room_id}


def _undated(row: Holding, state: KitState | None) -> UndatedUnits:
    thing = readiness.thing_of(row.lot.item)
    wanted = thing.sterile or thing.kind is Kind.MEDICINE
    if state is None or row.place.kit is None:
        return UndatedUnits(row.place, row.lot, row.units, stops=wanted)
    until = state.undated_grace_until
    let_be = (
        wanted
        and thing.kind is not Kind.MEDICINE
        and until is not None
        and readiness.today_of(row.place.kit) <= until
    )
    return UndatedUnits(
        row.place, row.lot, row.units, stops=wanted and not let_be, until=until if let_be else None
    )
