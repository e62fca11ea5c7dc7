"""What somebody sees of what is theirs in part: a movement between two rooms, an act of the whole
organisation, a batch that several rooms received."""

import copy
from collections.abc import Sequence

from django.db.models import QuerySet

from gearroom.core.acts import Actor
from gearroom.core.models import Room
from gearroom.core.services.people import people
from kits.models import Entry, Lot, Movement, Place, Receipt


def own_side(actor: Actor, movement: Movement) -> Movement:
    """The movement, with no more of another room than which one it is: its place is called by the
    room's name, and who acted there, why and for which trip is left out. Give it one loaded with
    its places, rooms and entry; it is not to be saved."""
    movement.from_place = _seen(actor, movement.from_place, movement.from_room)
    movement.to_place = _seen(actor, movement.to_place, movement.to_room)
    entry = movement.entry
    if entry.room_id is not None and not actor.belongs_to(entry.room_id):
        entry = copy.copy(entry)
        entry.person, entry.trip, entry.reason, entry.irregular = None, None, "", []
        movement.entry = entry
    return movement


def _seen(actor: Actor, place: Place, room: Room | None) -> Place:
    if room is None or actor.belongs_to(room.pk):
        return place
    return Place(kind=place.kind, name=room.name)


def without_strangers(actor: Actor, entries: Sequence[Entry]) -> Sequence[Entry]:
    """The entries, with nobody named in acts of the whole organisation whom the actor may not see.
    Give them loaded with their people; they are not to be saved."""
    own = actor.person.pk if actor.person else None
    theirs = {
        entry.person_id
        for entry in entries
        if entry.room_id is None and entry.kit_id is None and entry.person_id not in (None, own)
    }
    if not theirs or actor.everywhere:
        return entries
    visible = set(
        people.visible_to(actor).filter(pk__in=filter(None, theirs)).values_list("pk", flat=True)
    )
    for entry in entries:
        if entry.person_id in theirs - visible:
            entry.person = None
    return entries


def receipts_of(actor: Actor, lot: Lot) -> QuerySet[Receipt]:
    """How a batch came, as far as the actor receives for the rooms that it came to: from whom and
    for how much is each room's own."""
    rows = Receipt.objects.filter(lot=lot, entry__reversed_by=None).select_related("entry")
    if actor.everywhere:
        return rows if actor.may("receive") else rows.none()
    return rows.filter(entry__room__in=[r for r in actor.room_ids if actor.may("receive", r)])
