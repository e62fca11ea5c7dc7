"""A room's wall calendar: what goes out of date in its kits, month by month, as of now."""

from dataclasses import dataclass
from datetime import datetime

from gearroom.core import clock
from gearroom.core.acts import Actor
from gearroom.core.models import Room
from kits.rules.stock import wall_calendar as rules
from kits.services.ledger import readiness
from kits.services.lookup import find


@dataclass(frozen=True)
class RoomCalendar:
    """The calendar of the `kits` (so many) that are at home in a room, as of an instant."""

    room: Room
    as_of: datetime
    kits: int
    calendar: rules.WallCalendar


def of_room(actor: Actor, room: Room) -> RoomCalendar:
    """The calendar of a room's kits that somebody may see. Not of training kits, whose stock is out
    of date on purpose, nor of lost ones, which nobody can look into. The number of queries does not
    grow with the kits."""
    as_of = clock.now()
    ids = (
        find.kits_of(actor)
        .active()
        .filter(home_room=room, training=False, lost_since=None)
        .values_list("pk", flat=True)
    )
    states = readiness.states(ids)
    today = clock.local_date(as_of, room.time_zone)
    return RoomCalendar(room, as_of, len(states), rules.wall_calendar(states.values(), today))
