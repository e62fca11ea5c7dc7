"""What went with a casualty and may come back: a splint, a blanket. No name, nothing about whom.

It is out of its kit at once, and listed against that kit until somebody records that it came back,
or that it will not.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q
from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Actor, Invalid, Refused
from gearroom.core.rules.grouping import grouped
from kits.models import Entry, EntryKind, Holding, Kit, Lot, Movement, Place, PlaceKind
from kits.rules.custody import use as rule
from kits.services.ledger import Leg, admission, kit_book, lots, outer
from kits.services.lookup import find
from kits.services.text.amounts import units as whole


@dataclass(frozen=True)
class UnitsAway:
    """Units of a batch from a kit that may come back to a room, and since when."""

    kit: Kit
    lot: Lot
    units: int
    since: datetime


def in_rooms(rooms: Iterable[int]) -> list[UnitsAway]:
    """What may still come back to these rooms (ids), the longest away first. The number of queries
    does not grow with it."""
    places = Place.objects.filter(room__in=list(rooms), kind=PlaceKind.AWAY)
    ids = list(places.values_list("pk", flat=True))
    legs = Movement.objects.filter(Q(from_place__in=ids) | Q(to_place__in=ids)).order_by("id")
    moves = grouped(
        (target, rule.Leaving(kit, lot, units, at))
        if target in ids
        else (source, rule.Leaving(kit, lot, -units, at))
        for kit, lot, units, source, target, at in legs.values_list(
            "entry__kit", "lot", "units", "from_place", "to_place", "entry__occurred_at"
        )
    )
    on_hand = Holding.objects.on_hand().filter(place__in=ids)
    held = grouped((row.place_id, (row.lot_id, row.units)) for row in on_hand)
    rows = [row for pk in ids for row in rule.away(moves[pk], dict(held[pk]))]
    kits = Kit.objects.select_related("home_room").in_bulk({row.kit for row in rows})
    batches = Lot.objects.select_related("item").in_bulk({row.lot for row in rows})
    rows.sort(key=lambda row: (row.since, row.kit, row.lot))
    return [UnitsAway(kits[row.kit], batches[row.lot], row.units, row.since) for row in rows]


def visible_to(actor: Actor) -> list[UnitsAway]:
    """What may still come back to the rooms of somebody."""
    places = find.places_of(actor).filter(kind=PlaceKind.AWAY)
    return in_rooms(pk for pk in places.values_list("room", flat=True) if pk is not None)


def come_back(act: Act, kit: Kit, lot: Lot, units: int, shelf: Place) -> Entry:
    """Put what came back onto a shelf of the kit's home room; what is recalled, kept back or out
    of date goes to quarantine. Raises Invalid, Refused (`not-away`)."""
    if shelf.kind != PlaceKind.SHELF or shelf.room_id != kit.home_room_id:
        raise Invalid(
            _("Choose the shelf in %(room)s to put the item on.") % {"room": kit.home_room.name},
            field="shelf",
        )
    with kit_book(act, kit, home="come_back") as (book, kit):
        lot = lots.held_still([lot.pk])[0]
        leg = Leg(lot, _away_from(kit, lot, units), admission.landing(lot, shelf)[0], units)
        return book.post(EntryKind.COME_BACK, [leg], kit=kit, lot=lot, room=kit.home_room)


def write_off(act: Act, kit: Kit, lot: Lot, units: int) -> Entry:
    """Say that what went with a casualty will not come back: then it was used, against the trip
    that it went on. Raises Invalid, Refused (`not-away`)."""
    with kit_book(act, kit, home="write_off") as (book, kit):
        source = _away_from(kit, lot, units)
        went = (
            Entry.objects.filter(
                kit=kit, kind=EntryKind.USE, movements__lot=lot, movements__to_place=source
            )
            .filter(reversed_by__isnull=True)
            .order_by("-id")
            .first()
        )
        return book.post(
            EntryKind.WRITE_OFF,
            [Leg(lot, source, outer(PlaceKind.USED), units)],
            kit=kit,
            lot=lot,
            room=kit.home_room,
            trip=went.trip if went else None,
        )


def _away_from(kit: Kit, lot: Lot, units: int) -> Place:
    whole(units)
    rows = in_rooms([kit.home_room_id])
    held = sum(row.units for row in rows if row.kit == kit and row.lot == lot)
    if held < units:
        raise Refused(
            "not-away",
            _(
                "The record shows only %(held)d × %(item)s from %(kit)s as gone with a casualty. "
                "Reload the list."
            )
            % {"held": held, "item": lot.item.name, "kit": kit.name},
        )
    return Place.objects.get(room=kit.home_room_id, kind=PlaceKind.AWAY)
