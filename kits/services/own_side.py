"""What somebody sees of a movement between two rooms of which only one is theirs."""

from __future__ import annotations

import copy

from gearroom.core.act import Actor
from gearroom.core.models import Room
from kits.models import Movement, Place


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
